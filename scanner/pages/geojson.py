"""
The beds as RFC 7946 GeoJSON, for maps and other programs.

Written by ourselves: coordinates are rounded to 9 decimals of a degree (a tenth of a
millimetre), rings that the rounding broke are repaired, outer rings run counterclockwise.
"""

from __future__ import annotations

import json
from typing import Any

import numpy as np
import pandas as pd
import shapely

from scanner.pages.summary import unseen_beds
from scanner.schema.documents import FINISHES, Scan
from scanner.sheets.cells import json_value, number, usd

DEGREE_DIGITS = 9
MEASURES = (
    "edge_ft", "area_ft2", "mean_depth_ft", "bed_line_ft", "absorbed_ft2", "right_of_way_ft2",
    "low_plant_ft2", "plant_free_ft2", "trim_ft", "turf_left_ft2",
)  # fmt: skip
TAKE_OFF = {
    "sod_bank_yd3": 3, "sod_loose_yd3": 3, "sod_lb": 0, "haul_loads": 0, "compost_yd3": 3, "mulch_yd3": 3,
    "gravel_yd3": 3, "edging_ft": 2, "plant_count": 0,
}  # fmt: skip
"""Quantities of a bed sold alone and the decimals they are written with."""

PRICE_ENDS = {"": "price_cents", "_low": "price_low_cents", "_high": "price_high_cents"}


def beds_geojson(scan: Scan) -> bytes:
    """
    Write `candidates.geojson`: one feature a bed, those that were skipped too.

    Parameters
    ----------
    scan
        Its beds, shapes, quantities, prices, offers and calls.

    Returns
    -------
    content
        The file's bytes. A bed measured on foot has no geometry; a skipped bed has no
        quantities and no prices. Prices are those of the bed sold alone and ``confirmed`` is
        the bed's own; ``reasons`` are those of the offer that holds it, as in the call list.
    """
    columns = _columns(scan)
    rows = zip(*columns.values(), strict=True)
    features = [
        f'{{"type": "Feature", "id": {json_value(row[0])}, "geometry": {geometry}, '
        f'"properties": {json_value(dict(zip(columns, row, strict=True)))}}}'
        for geometry, row in zip(_geometries(scan), rows, strict=True)
    ]
    lines = ",\n".join(features)
    return f'{{"type": "FeatureCollection", "features": [\n{lines}\n]}}\n'.encode()


def rounded_polygons(shapes: np.ndarray) -> np.ndarray:
    """
    Round polygons to what the file holds, still valid and by the right-hand rule.

    Parameters
    ----------
    shapes
        Polygons or multipolygons, degrees.

    Returns
    -------
    rounded
        Valid polygons, outer rings counterclockwise, at most 9 decimals.

    Notes
    -----
    Plain rounding breaks about one ring in 3,000; only those are laid on the grid anew,
    which may drop a sliver thinner than the grid.

    Examples
    --------
    >>> square = shapely.box(0, 0, 1e-3, 1e-3)
    >>> bool(shapely.is_ccw(shapely.get_exterior_ring(rounded_polygons(np.array([square]))[0])))
    True
    """
    rounded = shapely.transform(shapes, lambda degrees: np.round(degrees, DEGREE_DIGITS))
    is_broken = ~shapely.is_valid(rounded)
    regular = shapely.make_valid(shapes[is_broken], method="structure", keep_collapsed=False)
    repaired = shapely.set_precision(regular, 10.0**-DEGREE_DIGITS)
    rounded[is_broken] = shapely.transform(
        repaired, lambda degrees: np.round(degrees, DEGREE_DIGITS)
    )
    return shapely.orient_polygons(rounded)


def _geometries(scan: Scan) -> list[str]:
    """Write the geometry of each bed as JSON, null where it lies nowhere."""
    drawn = (
        scan.table("shapes")[scan.table("shapes")["layer"] == "bed"]
        .drop_duplicates("ref")
        .set_index("ref")
    )
    shapes = drawn.geometry.reindex(scan.table("beds")["bed_id"]).to_numpy()
    is_drawn = ~(shapely.is_missing(shapes) | shapely.is_empty(shapes))
    texts = np.full(len(shapes), "null", dtype=object)
    texts[is_drawn] = [
        json.dumps(shapely.geometry.mapping(shape)) for shape in rounded_polygons(shapes[is_drawn])
    ]
    return texts.tolist()


def _columns(scan: Scan) -> dict[str, list[Any]]:
    """Give each property of the beds as a column, in the file's order."""
    beds = scan.table("beds")
    is_alone = scan.table("quantities")["offer_id"] == scan.table("quantities")["bed_id"]
    quantities = scan.table("quantities")[is_alone].set_index("bed_id").reindex(beds["bed_id"])
    prices = scan.table("prices")[scan.table("prices")["offer_id"].isin(beds["bed_id"])].set_index(
        "offer_id"
    )
    leads = prices[prices["is_lead"]].reindex(beds["bed_id"])
    return {
        **_texts(beds, ("bed_id", "client_id", "along", "face")),
        **_texts(leads, ("finish",)),
        **_texts(beds, ("lawn_source", "edge_source", "skip_reason")),
        **{name: [number(value) for value in beds[name]] for name in MEASURES},
        **{name: [number(value, digits=d) for value in quantities[name]] for name, d in TAKE_OFF.items()},
        **_texts(leads, ("method",)),
        **{name: [number(value) for value in leads[name]] for name in ("labor_hours", "crew_days")},
        "direct_cost_usd": _usd(leads["direct_cost_cents"]),
        **_price_columns(leads, "price"),
        **_finish_columns(prices, beds),
        "gross_profit_usd": _usd(leads["gross_profit_cents"]),
        "confirmed": _confirmed(scan).tolist(),
        **_texts(beds, ("cautions",)),
        "reasons": _of_offer(scan, scan.calls, "reasons").fillna("").tolist(),
        "turf_left_width_ft": [number(value) for value in beds["turf_left_width_ft"]],
    }  # fmt: skip


def _finish_columns(prices: pd.DataFrame, beds: pd.DataFrame) -> dict[str, list[Any]]:
    columns: dict[str, list[Any]] = {}
    for finish in FINISHES:
        of_finish = prices[prices["finish"] == finish].reindex(beds["bed_id"])
        columns |= _price_columns(of_finish, f"price_{finish}")
    return columns


def _price_columns(prices: pd.DataFrame, name: str) -> dict[str, list[Any]]:
    return {f"{name}{end}_usd": _usd(prices[column]) for end, column in PRICE_ENDS.items()}


def _confirmed(scan: Scan) -> pd.Series[bool]:
    """Tell which beds rest on ground that is known, though another of their offer may not."""
    offers = scan.offers
    if "unseen_bed_ids" not in offers:
        return _of_offer(scan, offers, "is_confirmed").eq(1)
    offered = set(offers["bed_ids"].str.split().explode()) - unseen_beds(offers)
    return scan.table("beds")["bed_id"].isin(offered)


def _of_offer(scan: Scan, table: pd.DataFrame, column: str) -> pd.Series[Any]:
    """Give each bed what a table says of the offer that holds it; missing where none does."""
    offers = scan.offers
    parts = offers[["offer_id"]].assign(bed_id=offers["bed_ids"].str.split()).explode("bed_id")
    said = parts.merge(table[["offer_id", column]], on="offer_id").set_index("bed_id")
    return scan.table("beds")["bed_id"].map(said[column])


def _texts(table: pd.DataFrame, names: tuple[str, ...]) -> dict[str, list[Any]]:
    return {name: [None if pd.isna(text) else text for text in table[name]] for name in names}


def _usd(amounts_cents: pd.Series) -> list[Any]:
    return [None if pd.isna(amount) else usd(amount) for amount in amounts_cents]
