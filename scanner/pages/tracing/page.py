"""The tracing page: one file in which lots are drawn by hand on the plane that a scan measures on."""

from __future__ import annotations

from collections.abc import Sequence
from difflib import get_close_matches
from itertools import groupby
from typing import Any

import numpy as np
import pandas as pd
import shapely
from geopandas import GeoDataFrame

from scanner.errors import BookError
from scanner.pages.sealed import (
    fill_page,
    leaflet_script,
    leaflet_style,
    offer_backgrounds,
    read_asset,
    script_json,
)
from scanner.schema.documents import Book
from scanner.schema.feature_kinds import SITE_KINDS
from scanner.schema.tables import ALONG, UTILITIES

_ASSETS = "tracing/assets"
BUTTONS = sorted(
    SITE_KINDS.values(),
    key=lambda kind: (
        ("The lot", "Paved", "Lines and marks", "Other ground").index(kind.group),
        not kind.is_own,
    ),
)
"""Of each group, what is drawn for one client goes first."""

TOLD = ("words", "key", "drawn_as", "is_own")
"""What the page is told of each kind."""

_SCRIPTS = ("plane.js", "shapes.js", "files.js", "sheet.js", "hand.js", "page.js")
"""In the order in which they build on each other."""


def render_trace(book: Book, *, client_ids: Sequence[str] = ()) -> str:
    """Make the tracing page of a book.

    A whole page that needs no other file; the same book gives the same text.
    """
    backgrounds = offer_backgrounds(book.rules.backgrounds)
    data = page_data(book, client_ids=client_ids)
    return fill_page(
        f"{_ASSETS}/page.html", backgrounds,
        company=book.rules.company,
        name=data["book"],
        groups=[(group, list(kinds)) for group, kinds in groupby(BUTTONS, lambda kind: kind.group)],
        kinds=BUTTONS,
        style=leaflet_style() + "\n" + read_asset(f"{_ASSETS}/page.css"),
        leaflet=leaflet_script(),
        script="\n".join(read_asset(f"{_ASSETS}/{name}") for name in _SCRIPTS),
        data=script_json(data | {"backgrounds": backgrounds}),
    )  # fmt: skip


UNITS_PER_DEGREE = 1_000_000_000
"""Coordinates are whole units of the ninth decimal of a degree: 0.0004 ft."""

_REACH_DEGREES = (
    0.002  # of latitude, 730 ft: what a lot may have to do with, and a bit to look round
)
_MANY_POINTS = 1_000

_Shapes = np.ndarray
_Places = list[int]


def page_data(book: Book, *, client_ids: Sequence[str] = ()) -> dict[str, Any]:
    """Collect what the tracing page's script shows, as plain lists for JSON.

    ``book`` (its name), ``kinds``, ``along``, ``what``, ``ids`` (all clients), ``clients`` (id,
    name, address, place, whether measured on foot, number among those without a place or -1),
    ``town`` (south-west corner of all lots and places, blank where there is none), ``files``
    and ``beneath``: of each shape of the book its kind, client and file by place in their lists (-1
    for none), what more it says, and its rings, the first point whole, the rest as steps in
    `UNITS_PER_DEGREE`.
    """
    chosen = _choose(_number_lost(book.clients), client_ids)
    features = book.features if not client_ids else _near(book.features, chosen)
    files = sorted(features["file"].unique())
    on_foot = chosen["client_id"].isin(book.measured["client_id"])
    people = chosen[["client_id", "name", "address", "lon", "lat", "nth"]].assign(on_foot=on_foot)
    return {
        "book": book.folder.name,
        "kinds": [
            {"kind": kind.name, **{name: getattr(kind, name) for name in TOLD}} for kind in BUTTONS
        ],
        "along": list(ALONG),
        "what": list(UTILITIES),
        "ids": book.clients["client_id"].tolist(),
        "clients": [
            [client_id, name, address, _units(lon, lat), int(is_on_foot), nth]
            for client_id, name, address, lon, lat, nth, is_on_foot in people.itertuples(
                index=False, name=None
            )
        ],
        "town": _find_corner(book),
        "files": files,
        "beneath": _beneath(features, book.clients["client_id"].tolist(), files),
    }


def _choose(clients: pd.DataFrame, client_ids: Sequence[str]) -> pd.DataFrame:
    known = clients["client_id"].tolist()
    for client_id in client_ids:
        if client_id not in known:
            near = get_close_matches(client_id, known, n=1, cutoff=0.8)
            hint = f"; is {near[0]} meant?" if near else ": write the id as it stands there"
            message = f"client '{client_id}' is not in the client list{hint}"
            raise BookError(message)
    return clients[clients["client_id"].isin(client_ids)] if client_ids else clients


def _number_lost(clients: pd.DataFrame) -> pd.DataFrame:
    """Number those without a place, so that each has a made-up spot of its own on every page."""
    is_lost = clients["lon"].isna() | clients["lat"].isna()
    return clients.assign(nth=(is_lost.cumsum() - 1).where(is_lost, -1))


def _find_corner(book: Book) -> _Places:
    is_lot = (book.features["kind"] == "property") & (book.features["client_id"] != "")
    lots = shapely.bounds(book.features.geometry[is_lot].to_numpy())[:, :2]
    places = book.clients[["lon", "lat"]].dropna().to_numpy(dtype=float)
    every = np.concatenate([lots.reshape(-1, 2), places])
    return _units(*every.min(axis=0).tolist()) if len(every) else []


def _near(features: GeoDataFrame, clients: pd.DataFrame) -> GeoDataFrame:
    """Keep what lies round some clients; a city-wide shape is cut to the ground round them."""
    is_theirs = features["client_id"].isin(clients["client_id"])
    lots = features[is_theirs & (features["kind"] == "property")].geometry.to_numpy()
    placed = clients.dropna(subset=["lon", "lat"])
    places = np.concatenate([lots, shapely.points(placed[["lon", "lat"]].to_numpy(dtype=float))])
    ground = shapely.union_all(_boxes(places))
    is_near = is_theirs.to_numpy() | shapely.intersects(features.geometry.to_numpy(), ground)
    near = features[is_near]
    shapes = near.geometry.to_numpy().copy()
    is_large = shapely.get_num_coordinates(shapes) > _MANY_POINTS
    shapes[is_large] = shapely.intersection(shapes[is_large], ground)
    return GeoDataFrame(near.assign(geometry=shapes), geometry="geometry", crs=features.crs)


def _boxes(shapes: _Shapes) -> _Shapes:
    west, south, east, north = shapely.bounds(shapes).T
    lon_reach = _REACH_DEGREES / np.cos(np.radians((south + north) / 2))
    return shapely.box(
        west - lon_reach, south - _REACH_DEGREES, east + lon_reach, north + _REACH_DEGREES
    )


def _beneath(features: GeoDataFrame, ids: list[str], files: list[str]) -> list[list[Any]]:
    kinds = {kind.name: at for at, kind in enumerate(BUTTONS)}
    client_at = {client_id: at for at, client_id in enumerate(ids)}
    file_at = {file: at for at, file in enumerate(files)}
    rings = _rings(features.geometry.to_numpy())
    columns = ["kind", "client_id", "file", "along", "what"]
    rows = features[columns].itertuples(index=False, name=None)
    return [
        [kinds[kind], client_at.get(client_id, -1), file_at[file], along or what, *rings[at]]
        for at, (kind, client_id, file, along, what) in enumerate(rows)
        if at in rings
    ]


def _rings(shapes: _Shapes) -> dict[int, list[_Places]]:
    """Each shape's rings, lines and points as whole numbers x, y, dx, dy, ..."""
    parts, row_of_part = shapely.get_parts(shapes, return_index=True)
    is_area = shapely.get_type_id(parts) == shapely.GeometryType.POLYGON
    borders, part_of_border = shapely.get_rings(parts[is_area], return_index=True)
    lines = np.concatenate([borders, parts[~is_area]])
    row_of_line = np.concatenate([row_of_part[is_area][part_of_border], row_of_part[~is_area]])
    points, line_of_point = shapely.get_coordinates(lines, return_index=True)
    whole = np.rint(points * UNITS_PER_DEGREE).astype(np.int64)
    starts = np.searchsorted(line_of_point, np.arange(len(lines)))
    rings: dict[int, list[_Places]] = {}
    for row, line in zip(row_of_line.tolist(), np.split(whole, starts)[1:], strict=True):
        steps = np.diff(line, axis=0, prepend=np.zeros((1, 2), dtype=np.int64))
        rings.setdefault(row, []).append(steps.ravel().tolist())
    return rings


def _units(lon: float, lat: float) -> _Places:
    if np.isnan(lon) or np.isnan(lat):
        return []
    return [round(lon * UNITS_PER_DEGREE), round(lat * UNITS_PER_DEGREE)]
