"""
Make the sample book: an invented lawn company in an invented town.

Run ``python sample_data/make_sample.py``; the same seed gives the same files byte
for byte. Nothing here is real: town, streets, people, phone numbers and company.
"""

from __future__ import annotations

import csv
import json
from collections import Counter
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from pyproj import CRS
from shapely.affinity import rotate
from shapely.geometry import box
from town_people import describe_clients, walk_lots
from town_plan import Lot, plan_lots
from town_streets import Streets, plan_streets
from town_yards import (
    BUILT,
    Thing,
    draw_lawn,
    find_turf,
    furnish,
    plant_trees,
    set_posts,
    yard_of_acre,
)

SEED = 20260225
HERE = Path(__file__).parent
BOOK = HERE / "book"
DIGITS = 8  # a millimetre
TURN_DEG = 3.5  # no town lies square to the compass
LON, LAT = -98.7934, 41.3391  # open prairie
PLANE = CRS.from_proj4(f"+proj=laea +lat_0={LAT} +lon_0={LON} +datum=WGS84 +units=ft +no_defs")
NEIGHBOURS = frozenset({3, 9, 20, 27, 38, 46, 51, 60, 75})  # lots whose people are not clients
TRAITS = {13: {"on the line"}, 70: {"no drive"}, 66: {"flare"}, 97: {"flare"}}
FILES = ("lots", "lawns", "buildings", "yards", "streets", "points", "limits")


def main() -> None:
    """Draw the town, write the book, say what it holds."""
    streets = plan_streets()
    lots = plan_lots(streets)
    things = [*street_things(streets), *limit_things(lots)]
    rows = []
    for number, lot in enumerate(lots):
        client_id = None if number in NEIGHBOURS else name_client(len(rows))
        drawn, turf_ft2 = lot_things(lot, streets, number, client_id)
        things += drawn
        if client_id is not None:
            rows.append((client_id, lot, turf_ft2))
    clients = describe_clients(rows, seed=SEED, to_degrees=to_degrees)
    measured = walk_lots(clients)
    write_book(things, clients, measured)
    tell(things, clients)


def name_client(place: int) -> str:
    """Give the id of the n-th client; one comes from an older list and keeps its zeros."""
    return "007" if place == 6 else f"C{place + 1:04d}"


def lot_things(
    lot: Lot, streets: Streets, number: int, client_id: str | None, *, seed: int = SEED
) -> tuple[list[Thing], float]:
    """Draw one lot: its outline, buildings, yard, lawn and points, and say how much turf it has."""
    seed += number
    chance = np.random.default_rng([seed, 3])
    traits = set(TRAITS.get(number, ()))
    traits |= old_beds(lot, chance)
    things = furnish(lot, streets, seed=seed, traits=frozenset(traits))
    built = shapely.union_all([thing.shape for thing in things if thing.tags["kind"] in BUILT])
    built = shapely.union_all([built, *streets.sidewalks, *streets.alleys])
    turf = find_turf(lot, streets, built)
    house = next(thing.shape for thing in things if thing.tags["kind"] == "house")
    things += plant_trees(lot, turf, seed=seed)
    ways = shapely.union_all(
        [streets.paved, *(t.shape for t in things if t.tags["kind"] == "drive")]
    )
    things += [post for post in set_posts(lot, house, seed=seed) if not ways.intersects(post.shape)]
    if client_id is None:
        return [
            thing for thing in things if thing.tags["kind"] in ("house", "outbuilding", "drive")
        ], 0.0
    if lot.area == "acre":
        turf = yard_of_acre(lot, house).difference(built)
    lawns = lawn_things(lot, turf, number, client_id)
    own = [
        Thing(t.file, {**t.tags, "client_id": client_id}, t.shape) if t.file == "yards" else t
        for t in things
    ]
    outline = Thing("lots", {"kind": "property", "client_id": client_id}, lot.outline)
    edges = []
    if lot.area == "way" and lot.number < 38:  # the curb before the others is one line for two lots
        curb = lot.place(shapely.LineString([(-42, -10), (42, -10)]))
        edges.append(
            Thing("yards", {"kind": "edge", "along": "curb", "client_id": client_id}, curb)
        )
    return [outline, *lawns, *own, *edges], turf.area


def old_beds(lot: Lot, chance: np.random.Generator) -> set[str]:
    """Say where a lot has beds already: often at the house of the old grid, and along its walk."""
    odds = {"old bed": 0.5}
    if lot.area == "grid":
        odds = {"old bed": 0.7, "planted strip": 0.55, "hedge": 0.6}
    return {trait for trait, share in odds.items() if chance.random() < share}


def lawn_things(lot: Lot, turf: shapely.Geometry, number: int, client_id: str) -> list[Thing]:
    """Trace the lawn of every third lot, and of all large lots but one."""
    if (lot.area != "acre" and number % 3 != 0) or (lot.area == "acre" and lot.number == 4180):
        return []
    style = ("exact", "short", "over", "short")[number // 3 % 4]
    return [
        Thing("lawns", {"kind": "lawn", "client_id": client_id}, part)
        for part in draw_lawn(turf, style=style)
    ]


def street_things(streets: Streets) -> list[Thing]:
    """Streets, sidewalks and the curb lines of the street that has no polygon."""
    things = [
        Thing("streets", {"kind": "street", "curbed": "yes", "parking": "yes"}, streets.grid),
        Thing("streets", {"kind": "street", "curbed": "yes"}, streets.tract),
        Thing("streets", {"kind": "street", "curbed": "no"}, streets.road),
        Thing("streets", {"kind": "street_centerline", "pavement_ft": 28}, streets.lane),
    ]
    things += [
        Thing("streets", {"kind": "sidewalk"}, part)
        for ring in streets.sidewalks
        for part in shapely.get_parts(ring)
    ]
    things += [Thing("streets", {"kind": "drive"}, alley) for alley in streets.alleys]
    things.append(Thing("streets", {"kind": "edge", "along": "curb"}, streets.curb))
    hydrants = [(379, 19), (687, 19), (79, 315), (837, 315), (279, 649), (587, 649), (229, 353),
                (1150, 352), (1540, 316), (1243, 432), (1983, 395.2), (2128.9, 568.9)]  # fmt: skip
    things += [Thing("points", {"kind": "hydrant"}, shapely.Point(place)) for place in hydrants]
    boxes = [(1028, 363), (1492, 363), (1109, 304), (1235, 432), (1447, 236), (1652, 304)]
    things += [
        Thing("points", {"kind": "utility", "what": "transformer"}, shapely.Point(place))
        for place in boxes
    ]
    poles = [(x, y) for y in (157.5, 491.5) for x in (79, 229, 379, 537, 687, 837)]
    return things + [
        Thing("points", {"kind": "utility", "what": "pole"}, shapely.Point(place))
        for place in poles
    ]


def limit_things(lots: list[Lot]) -> list[Thing]:
    """A pond, a gas main's easement, a drainage easement and the mapped fire area at the edge."""
    pond = shapely.Point(1868, 604).buffer(78, quad_segs=8)
    pond = shapely.affinity.scale(pond, 1.25, 0.8)
    main = [lot.outline for lot in lots if "curve" in lot.tags and lot.number in (526, 534)]
    front = shapely.union_all(main).buffer(10.5, join_style="mitre")
    ring = shapely.Point(1732, 754)
    return [
        Thing("limits", {"kind": "water"}, pond),
        Thing("limits", {"kind": "easement"}, front.intersection(ring.buffer(449, quad_segs=90)).difference(ring.buffer(434, quad_segs=90))),
        Thing("limits", {"kind": "easement"}, box(1412, 482, 1732, 498)),
        Thing("limits", {"kind": "wildfire_area"}, shapely.Polygon([(700, -1000), (1500, -1000), (1520, -440), (930, -440), (760, -640)])),
        Thing("limits", {"kind": "wildfire_area"}, shapely.Polygon([(2060, 470), (2420, 430), (2440, 800), (2090, 800)])),
    ]  # fmt: skip


def to_degrees(shapes: list[shapely.Geometry]) -> gpd.GeoSeries:
    """Turn shapes from the town's plane (feet) into longitude and latitude."""
    turned = [rotate(shape, TURN_DEG, origin=(1000, 300)) for shape in shapes]
    moved = shapely.transform(turned, lambda xy: xy - [1000.0, 300.0])
    return gpd.GeoSeries(moved, crs=PLANE).to_crs("OGC:CRS84")


def write_book(things: list[Thing], clients: pd.DataFrame, measured: pd.DataFrame) -> None:
    """Write clients, features and measured edges."""
    (BOOK / "sites").mkdir(parents=True, exist_ok=True)
    shapes = shapely.set_precision(
        shapely.orient_polygons(to_degrees([thing.shape for thing in things]).array), 10.0**-DIGITS
    )
    if not shapely.is_valid(shapes).all():
        message = "a ring crosses itself"
        raise ValueError(message)
    for file in FILES:
        lines = [
            json.dumps({"type": "Feature", "properties": thing.tags, "geometry": geometry(shape)}, separators=(",", ":"))
            for thing, shape in zip(things, shapes, strict=True) if thing.file == file
        ]  # fmt: skip
        text = '{"type":"FeatureCollection","features":[\n' + ",\n".join(lines) + "\n]}\n"
        (BOOK / "sites" / f"{file}.geojson").write_text(text, encoding="utf-8", newline="\n")
    for name, table in (("clients", clients), ("measured", measured)):
        with (BOOK / f"{name}.csv").open("w", encoding="utf-8", newline="") as stream:
            writer = csv.writer(stream, lineterminator="\n")
            writer.writerow(table.columns)
            writer.writerows(table.itertuples(index=False))


def geometry(shape: shapely.Geometry) -> dict[str, object]:
    """Give a shape as RFC 7946 wants it: outer rings counter-clockwise, 8 decimals."""
    oriented = shapely.orient_polygons(shape)
    plain = json.loads(shapely.to_geojson(oriented))

    def rounded(part: list) -> list:
        return [rounded(p) if isinstance(p, list) else round(p, DIGITS) for p in part]

    return {"type": plain["type"], "coordinates": rounded(plain["coordinates"])}


def tell(things: list[Thing], clients: pd.DataFrame) -> None:
    """Say what the book holds."""
    kinds = Counter(str(thing.tags["kind"]) for thing in things)
    print(f"{len(clients)} clients, {len(things)} features in {BOOK.relative_to(HERE.parent)}")
    print(", ".join(f"{count} {kind}" for kind, count in sorted(kinds.items())))


if __name__ == "__main__":
    main()
