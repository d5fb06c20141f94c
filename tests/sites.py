"""
Tiny sites drawn in feet, with answers worked out by hand: the cases of the design.

A `Drawing` is laid anywhere on the map, turned, reversed, densified or taken apart by
gaps, and then surveyed as a scan would; the answers must stay the same.
"""

from __future__ import annotations

import math
import pickle
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from functools import lru_cache
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from shapely import Geometry, LineString, Point, Polygon, affinity, box

from scanner.book.settings import read_rules
from scanner.ground.kinds import Lots, shift
from scanner.ground.lawn import Lawn
from scanner.ground.survey import IN_PLANE, Survey, survey_block
from scanner.plane import frame as frames
from scanner.schema.documents import LocalRules
from scanner.schema.tables import CLIENTS, FEATURES, check_table

HERE = "-98.75,41.25"
"""Open country: the plane that drawings lie in unless they are moved."""

APART_FT, SEEN_FT = 4000.0, 650.0
"""How far apart drawings in one block lie, and how far a lot looks at the most, twice over."""

STANDARD_RULES = read_rules(None)[0]

RING = ("front", "side", "back")
"""All house faces pitched."""


@dataclass(frozen=True)
class Drawing:
    """Features in feet: kind, shape, client and other columns."""

    features: tuple[tuple[str, Geometry, dict[str, object]], ...] = field(default=())

    def add(self, kind: str, shape: Geometry, client: str = "A", **columns: object) -> Drawing:
        """Add a feature; ``client=""`` serves every site in reach."""
        return replace(
            self, features=(*self.features, (kind, shape, {"client_id": client, **columns}))
        )

    def change(self, change: Callable[[Geometry], Geometry]) -> Drawing:
        """Change every shape alike."""
        return Drawing(tuple((kind, change(shape), row) for kind, shape, row in self.features))


def rules_of_cases(**changes: object) -> LocalRules:
    """Standard rules as the worked cases take them: no guessed opening."""
    return STANDARD_RULES.model_copy(update={"default_opening_ft": 0.0, **changes})


def clients_of(drawing: Drawing, **columns: object) -> pd.DataFrame:
    """One client for each id in a drawing."""
    ids = sorted({row["client_id"] for _, _, row in drawing.features} - {""})
    blank = {
        name: np.nan if str(column.dtype) == "float64" else ""
        for name, column in CLIENTS.columns.items()
    }
    clients = pd.DataFrame(blank | {"client_id": ids} | columns, index=range(len(ids)))
    return check_table(clients, CLIENTS)


def features_of(drawing: Drawing, frame: str = HERE, *, decimals: int = 15) -> gpd.GeoDataFrame:
    """Lay a drawing on the map, with as many decimals of a degree as a file would keep."""
    rows = []
    for at, (kind, _, columns) in enumerate(drawing.features):
        row = {"feature_id": f"case#{at + 1}", "file": "case", "kind": kind, "along": "",
               "curbed": "", "parking": "", "pavement_ft": math.nan, "dbh_in": math.nan, "year_built": math.nan,
               "what": "", "drives_known": ""}  # fmt: skip
        rows.append({**row, **columns})
    # Off the plane's very centre, where a projection library may answer by a special case.
    shapes = np.array(
        [affinity.translate(shape, 5000, 3000) for _, shape, _ in drawing.features], dtype=object
    )
    degrees = frames.to_degrees(shapes, frame)
    degrees = shapely.transform(degrees, lambda points: np.round(points, decimals))
    table = gpd.GeoDataFrame(rows, geometry=degrees, crs=frames.WGS84)
    return check_table(table, FEATURES)


def survey(
    drawing: Drawing,
    rules: LocalRules | None = None,
    frame: str = HERE,
    *,
    decimals: int = 15,
    **known: object,
) -> Survey:
    """Survey a drawing as a scan would, with stored beds or answers where they are known."""
    how = drawing, rules or rules_of_cases(), frame, decimals
    return _survey(*how, **known) if known else _survey_once(pickle.dumps(how))


@lru_cache(maxsize=64)
def _survey_once(how: bytes) -> Survey:
    """Survey the same drawing once; nobody may change what was found."""
    return _survey(*pickle.loads(how))  # noqa: S301  # made by our caller


def _survey(
    drawing: Drawing, rules: LocalRules, frame: str, decimals: int, **known: object
) -> Survey:
    features, clients = features_of(drawing, frame, decimals=decimals), clients_of(drawing)
    is_outline = (features["kind"] == "property") & (features["client_id"] != "")
    lots = np.unique(features.loc[is_outline, "client_id"].to_numpy(str)).astype(object)
    return survey_block(features, lots, clients, rules=rules, **known)


def surveys(
    drawings: Mapping[Any, Drawing],
    rules: LocalRules | None = None,
    frame: str = HERE,
    *,
    decimals: int = 15,
    by_ft: tuple[float, float] = (0.0, 0.0),
) -> dict[Any, Survey]:
    """
    Survey drawings side by side in one block, and give each one's part as if it were alone.

    A block of eighty lots takes less than twice the time of one. A part has no ground to combine
    beds on. ``by_ft`` moves all of them within the plane.
    """
    features: list[tuple[str, Geometry, dict[str, object]]] = []
    places = [np.array([at % 12, at // 12]) * APART_FT for at in range(len(drawings))]
    for at, drawing in enumerate(drawings.values()):
        laid = drawing.change(moved(*(places[at] + by_ft)))
        features += [
            (kind, shape, {**columns, "client_id": columns["client_id"] and f"{at:03d}{columns['client_id']}"})
            for kind, shape, columns in laid.features
        ]  # fmt: skip
        reach = np.abs([shape.bounds for _, shape, _ in drawing.features])
        assert reach.max() < APART_FT / 2 - SEEN_FT, "too large, or too far off, for its place"
    found = survey(Drawing(tuple(features)), rules, frame, decimals=decimals)
    return {name: _part(found, f"{at:03d}", places[at]) for at, name in enumerate(drawings)}


def _part(found: Survey, prefix: str, place: np.ndarray) -> Survey:
    """What was found on one drawing's lots, by the names that it has for them."""
    at = np.flatnonzero([client.startswith(prefix) for client in found.lots.client_id])
    lots = Lots(*(column[at] for column in found.lots))
    names = np.array([client.removeprefix(prefix) for client in lots.client_id], object)
    beds = found.beds[found.beds["lot"].isin(at)].reset_index(drop=True)
    for column in ("bed_id", "client_id"):
        beds[column] = beds[column].str.removeprefix(prefix)
    for column in IN_PLANE:
        beds[column] = shift(beds[column].to_numpy(), np.tile(-place, (len(beds), 1)))
    return replace(
        found,
        lots=lots._replace(client_id=names, origin=lots.origin - place),
        lawn=Lawn(**{name: column[at] for name, column in vars(found.lawn).items()}),
        limits=replace(found.limits, removed=found.limits.removed[at]),
        ground=None,
        is_guessed=found.is_guessed[at],
        edges=found.edges[found.edges["lot"].isin(at)],
        beds=beds,
    )


def beds_of(found: Survey, along: str, client: str = "A") -> pd.DataFrame:
    """Beds along one kind on one lot, skipped ones too, by name."""
    beds = found.beds
    return beds[(beds["along"] == along) & (beds["client_id"] == client)]


def in_plane(found: Survey, shapes: np.ndarray) -> np.ndarray:
    """Shapes, one a lot, moved from their lots' frames into the plane."""
    return shift(shapes, found.lots.origin)


def turned(degrees: float) -> Callable[[Geometry], Geometry]:
    """Turn about a point off the lot."""
    return lambda shape: affinity.rotate(shape, degrees, origin=(31.0, -17.0))


def moved(east_ft: float, north_ft: float) -> Callable[[Geometry], Geometry]:
    """Move within the plane."""
    return lambda shape: affinity.translate(shape, east_ft, north_ft)


def densified(step_ft: float) -> Callable[[Geometry], Geometry]:
    """Put vertices on every straight side."""
    return lambda shape: shapely.segmentize(shape, step_ft)


def restarted(shape: Geometry) -> Geometry:
    """Start every ring at another vertex and run it the other way."""
    if not isinstance(shape, Polygon):
        return shapely.reverse(shape)
    ring = list(shape.exterior.coords)[:-1]
    half = len(ring) // 2
    return Polygon([*ring[half:], *ring[:half]][::-1], [hole.coords for hole in shape.interiors])


def arc(center: tuple[float, float], radius_ft: float, start: float, end: float) -> list:
    """Points of an arc from one bearing to another [degrees], a quarter of a degree apart."""
    steps = max(int(abs(end - start) / 0.25), 1)
    angles = np.radians(np.linspace(start, end, steps + 1))
    return [
        (center[0] + radius_ft * math.cos(a), center[1] + radius_ft * math.sin(a)) for a in angles
    ]


def street_south(y_ft: float, west_ft: float = -200, east_ft: float = 300) -> Polygon:
    """A street whose curb runs along ``y = y_ft``."""
    return box(west_ft, y_ft - 30, east_ft, y_ft)


def mid_block() -> Drawing:
    """Case 1."""
    return (
        Drawing()
        .add("property", box(0, 0, 80, 120))
        .add("street", street_south(-10), "")
        .add("drive", box(10, -10, 30, 35))
        .add("house", box(20, 35, 60, 65))
    )


def corner_lot() -> Drawing:
    """Case 2: the curb return stands in for the corner of the lot."""
    lot = Polygon([*arc((25, 25), 25, 180, 270), (100, 0), (100, 100), (0, 100)])
    streets = box(-40, -40, 300, 300) - box(0, 0, 300, 300)
    curb = streets.union(box(0, 0, 25, 25) - Polygon([*arc((25, 25), 25, 180, 270), (25, 25)]))
    return Drawing().add("property", lot).add("street", curb, "")


def cul_de_sac(*, with_drive: bool = False) -> Drawing:
    """Case 3: a 60° wedge off a bulb of radius 40, its outline at radius 50."""
    lot = Polygon([*arc((0, 0), 50, 60, 120), *arc((0, 0), 150, 120, 60)])
    bulb = Polygon(arc((0, 0), 40, 0, 360)).union(box(-15, -150, 15, 0))
    drawing = Drawing().add("property", lot).add("street", bulb, "")
    if with_drive:
        drawing = drawing.add("drive", box(-6, 30, 6, 100))
    return drawing


def parkway(*, at_curb: bool = False) -> Drawing:
    """Case 4, and its variant without grass between sidewalk and curb."""
    drawing = Drawing().add("property", box(0, 0, 60, 120))
    if at_curb:
        return drawing.add("street", street_south(-3), "").add(
            "sidewalk", box(-200, -3, 300, 0), ""
        )
    return (
        drawing.add("street", street_south(-8), "")
        .add("sidewalk", box(-200, -5, 300, 0), "")
        .add("drive", box(6, -8, 24, 40))
    )


def front_walk() -> Drawing:
    """Case 5."""
    return (
        Drawing()
        .add("property", box(0, 0, 60, 100))
        .add("street", street_south(0), "")
        .add("walk", box(28, 0, 32, 60))
    )


def narrow_front(room_ft: float) -> Drawing:
    """Case 6: lawn 50 ft long between curb and wall, the house as wide as the lot."""
    return (
        Drawing()
        .add("property", box(0, 0, 50, 60))
        .add("lawn", box(0, 0, 50, room_ft))
        .add("street", street_south(0), "")
        .add("house", box(0, room_ft, 50, 60))
    )


def bad_drawing() -> Drawing:
    """Case 8: a gap at the curb, lawn drawn under the house."""
    return (
        Drawing()
        .add("property", box(0, 0, 60, 60))
        .add("lawn", box(0, 0.5, 60, 40))
        .add("house", box(10, 38, 50, 60))
        .add("street", street_south(0), "")
    )


def hydrant_front() -> Drawing:
    """Case 9: a hydrant 2 ft in from a 60 ft curb."""
    return (
        Drawing()
        .add("property", box(0, 0, 60, 100))
        .add("street", street_south(0), "")
        .add("hydrant", Point(30, 2), "")
    )


def neighbors() -> Drawing:
    """Case 10: B's house stands on the line to A."""
    return (
        Drawing()
        .add("property", box(0, 0, 50, 100), "A")
        .add("property", box(50, 0, 100, 100), "B")
        .add("house", box(10, 30, 40, 60), "A")
        .add("house", box(50, 30, 80, 60), "B")
    )


def five_acres(*, with_lawn: bool) -> Drawing:
    """Case 11."""
    drawing = Drawing().add("property", box(0, 0, 330, 660))
    if not with_lawn:
        return drawing
    return (
        drawing.add("lawn", box(100, 100, 200, 300))
        .add("house", box(120, 180, 180, 220))
        .add("street", street_south(-60, -300, 600), "")
    )


def one_bed(curb_ft: float = 0.0) -> Drawing:
    """Case 12: 60 ft of curb between a drive and an open lot line."""
    return (
        Drawing()
        .add("property", box(0, 0, 80, 100))
        .add("street", street_south(curb_ft), "")
        .add("drive", box(0, -5, 20, 60))
    )


def curb_line(points: list[tuple[float, float]]) -> LineString:
    """A curb drawn as a line."""
    return LineString(points)


def first_sets(order: pd.DataFrame) -> pd.DataFrame:
    """The first two, three … beds of each client, as sets to be laid together."""
    sizes = order[order["place"] > 1][["client_id", "place"]].rename(columns={"place": "size"})
    sets = sizes.merge(order, on="client_id").query("place <= size")
    return sets.assign(offer_id=sets["client_id"] + "+" + sets["size"].astype("str"))
