"""
What the map page's script draws and shows, as plain lists.

Geometry goes into the page as whole numbers and sentences stand there once, so that
a page of thousands of lots stays light.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pandas as pd
import shapely
from geopandas import GeoDataFrame

from scanner.pages.webmap_rows import LEFT_OUT, SKIPPED, TOLD, dial, page_left_out, rank_band
from scanner.schema.documents import FINISH_WORDS, FINISHES, Scan
from scanner.schema.tables import LAYERS, UTILITIES

Numbers = list[int]

DEGREES_TO_UNITS = 10_000_000
"""Coordinates are whole units of the seventh decimal of a degree: 0.04 ft."""

_SIMPLER_DEGREES = 1.2e-7  # half an inch: rings with a point every foot lose what no screen shows


def page_data(scan: Scan) -> dict[str, Any]:
    """
    Collect what the page's script draws and shows, as plain lists for JSON.

    Parameters
    ----------
    scan
        Everything.

    Returns
    -------
    data
        ``layers``, ``words`` (each sentence once; elsewhere by its place), ``finishes`` and
        ``clients`` with their offers, beds and shapes. Coordinates are in
        units of `DEGREES_TO_UNITS`, the first point of a ring whole, the rest as steps.
    """
    words: dict[str, int] = {}
    offers = _group(_offers(scan), words)
    beds = _group(_beds(scan), words)
    numbers = {what: n for n, what in enumerate(UTILITIES)}
    numbers |= {bed[0]: n for of in beds.values() for n, bed in enumerate(of)}
    shapes = _shapes(GeoDataFrame(scan.table("shapes"), geometry="geometry"), numbers)
    left_out = page_left_out(scan).set_index("client_id")["why"]
    told = scan.clients.sort_values("client_id")[[*TOLD, "lon", "lat"]]
    clients = [
        {
            "id": client_id,
            "told": [name, address, phone, dial(phone), route, mow_day],
            "at": _units(lon, lat),
            "out": left_out.get(client_id, ""),
            "offers": offers.get(client_id, []),
            "beds": beds.get(client_id, []),
            "shapes": shapes.get(client_id, []),
        }
        for client_id, name, address, phone, route, mow_day, lon, lat in told.itertuples(
            index=False, name=None
        )
    ]
    return {
        "layers": list(LAYERS),
        "words": list(words),
        "finishes": [FINISH_WORDS[finish] for finish in FINISHES],
        "clients": clients,
    }


def _offers(scan: Scan) -> pd.DataFrame:
    """Client, offer, rank, band, money and words of each offer, best first."""
    calls = scan.calls[["offer_id", "rank", "reasons", "chance"]]
    offers = scan.offers.merge(calls, on="offer_id", how="left")
    offers = offers.assign(
        rank=offers["rank"].fillna(0).astype(int), reasons=offers["reasons"].fillna("")
    )
    offers = offers.assign(
        band=rank_band(offers["rank"]), chance=offers["chance"].fillna(0.0).round(3)
    )
    offers = offers.assign(
        crew_days=offers["crew_days"].round(2), is_confirmed=offers["is_confirmed"].astype(int)
    )
    offers = offers.sort_values(["client_id", "phase", "offer_id"])
    columns = ["client_id", "offer_id", "rank", "band", "offer", "bed_ids", "price_cents", "price_low_cents",
               "price_high_cents", "crew_days", "saving_cents", "chance", "is_confirmed", "reasons",
               "unknowns"]  # fmt: skip
    return offers[columns]


def _beds(scan: Scan) -> pd.DataFrame:
    """Client, bed, band, sizes, prices of the bed alone and cautions, in the order of the ids."""
    offers = _offers(scan)[["band", "bed_ids"]]
    of_bed = offers.assign(bed_id=offers["bed_ids"].str.split()).explode("bed_id")
    band = of_bed.groupby("bed_id")["band"].min()
    beds = pd.DataFrame(
        scan.table("beds").drop(columns=["geometry", "plantable", "edge"])
    ).sort_values(["client_id", "bed_id"])
    beds = beds.assign(
        band=beds["bed_id"]
        .map(band)
        .fillna(LEFT_OUT)
        .astype(int)
        .where(beds["skip_reason"] == "", SKIPPED),
        prices=beds["bed_id"].map(_prices(scan)).map(lambda of: of if isinstance(of, list) else []),
    )
    measures = ["edge_ft", "area_ft2", "mean_depth_ft", "bed_line_ft"]
    columns = [
        "client_id",
        "bed_id",
        "along",
        "face",
        "band",
        "skip_reason",
        *measures,
        "prices",
        "cautions",
    ]
    return beds.assign(**{name: beds[name].round(1) for name in measures})[columns]


def _prices(scan: Scan) -> dict[str, list[list[float]]]:
    """Finish, price, low, high, crew-days and lead of each bed sold alone."""
    prices = scan.table("prices")[
        scan.table("prices")["offer_id"].isin(scan.table("beds")["bed_id"])
    ]
    prices = prices.assign(
        finish=prices["finish"].map(FINISHES.index), crew_days=prices["crew_days"].round(2),
        is_lead=prices["is_lead"].astype(int),
    ).sort_values(["offer_id", "finish"])  # fmt: skip
    columns = [
        "finish",
        "price_cents",
        "price_low_cents",
        "price_high_cents",
        "crew_days",
        "is_lead",
    ]
    return {
        str(offer_id): of[columns].astype(object).to_numpy().tolist()
        for offer_id, of in prices.groupby("offer_id")
    }


def _group(table: pd.DataFrame, words: dict[str, int]) -> dict[str, list[list[Any]]]:
    """Rows by client, as lists; sentences become their place among the words."""
    for name in ("reasons", "cautions", "unknowns"):
        if name in table:
            numbered = pd.Series([_numbered(said, words) for said in table[name]], dtype=object)
            table = table.assign(**{name: numbered.set_axis(table.index)})
    groups: dict[str, list[list[Any]]] = {}
    for client_id, *rest in table.astype(object).itertuples(index=False, name=None):
        groups.setdefault(client_id, []).append(rest)
    return groups


def _numbered(said: str, words: dict[str, int]) -> Numbers:
    return [words.setdefault(sentence, len(words)) for sentence in said.split("; ") if sentence]


def _shapes(shapes: GeoDataFrame, numbers: dict[str, int]) -> dict[str, list[list[Any]]]:
    """By client: layer, number of the bed or utility or -1, then each ring, line or point as steps."""
    place = shapes["layer"].map(LAYERS.index)
    shapes = shapes.assign(place=place).sort_values(["place", "client_id", "ref"], kind="stable")
    rings = _rings(shapes.geometry.to_numpy())
    groups: dict[str, list[list[Any]]] = {}
    for row, (layer, client_id, ref) in enumerate(
        zip(shapes["place"], shapes["client_id"], shapes["ref"], strict=True)
    ):
        if row in rings:
            groups.setdefault(client_id, []).append([layer, numbers.get(ref, -1), *rings[row]])
    return groups


def _rings(geometries: np.ndarray) -> dict[int, list[Numbers]]:
    """Each geometry's rings, lines and points as whole numbers x, y, dx, dy, ..."""
    simpler = shapely.simplify(geometries, _SIMPLER_DEGREES)
    parts, row_of_part = shapely.get_parts(simpler, return_index=True)
    is_area = shapely.get_type_id(parts) == shapely.GeometryType.POLYGON
    borders, part_of_border = shapely.get_rings(parts[is_area], return_index=True)
    lines = np.concatenate([borders, parts[~is_area]])
    row_of_line = np.concatenate([row_of_part[is_area][part_of_border], row_of_part[~is_area]])
    points, line_of_point = shapely.get_coordinates(lines, return_index=True)
    whole = np.rint(points * DEGREES_TO_UNITS).astype(np.int64)
    starts = np.searchsorted(line_of_point, np.arange(len(lines)))
    rings: dict[int, list[Numbers]] = {}
    for row, line in zip(row_of_line, np.split(whole, starts)[1:], strict=True):
        steps = np.diff(line, axis=0, prepend=np.zeros((1, 2), dtype=np.int64))
        rings.setdefault(int(row), []).append(steps.ravel().tolist())
    return rings


def _units(lon: float, lat: float) -> Numbers:
    if math.isnan(lon) or math.isnan(lat):
        return []
    return [round(lon * DEGREES_TO_UNITS), round(lat * DEGREES_TO_UNITS)]
