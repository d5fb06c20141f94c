"""
Make ``county`` beside this script: the invented town once more, as open county layers would hold it.

State-plane feet (Nebraska, US survey feet), each layer in a format of its own, and with the
oddities that such layers have: right-of-way as one parcel, ids that stand for no lot, the same
ground twice, lots in parts, stacked condominiums, crossing rings, missing shapes, strays of
another type, traffic islands. Run it from anywhere; it writes the same bytes each time.
"""

from __future__ import annotations

import csv
import io
import json
import tempfile
import zipfile
from collections import defaultdict
from pathlib import Path

import geopandas as gpd
import numpy as np
import shapely
from make_sample import BOOK, NEIGHBOURS, SEED, name_client, to_degrees
from shapely.geometry import box
from town_plan import Lot, plan_lots
from town_streets import Streets, plan_streets

HERE = Path(__file__).parent / "county"
STATE_PLANE = "EPSG:26852"  # NAD83 / Nebraska (ftUS)
DIGITS = 6  # of a foot: as double precision files hold them
SHORT = {"Street": "ST", "Drive": "DR", "Court": "CT", "Lane": "LN", "Way": "WAY", "Road": "RD"}
RANGES = {("Sandreed Lane", 22): "22-24", ("Clover Street", 141): "139 - 141"}
BARN_FT2 = 900.0

FT2_PER_DEGREE2 = 364_400.0 * 274_300.0  # at 41.3° north, to tell a barn by its size

Row = tuple[dict[str, object], shapely.Geometry | None]
Drawn = dict[str, list[tuple[dict[str, object], shapely.Geometry]]]


def main() -> None:
    """Take the town from the sample book, write its layers, say what they hold."""
    streets = plan_streets()
    lots = plan_lots(streets)
    drawn = read_book()
    HERE.mkdir(exist_ok=True)
    layers = {
        "parcels.zip": parcel_rows(lots, streets, drawn),
        "buildings.fgb": building_rows(drawn),
        "pavement.geojson": pavement_rows(drawn),
        "curbs.geojson": [({"TYPE": "curb"}, to_book([streets.curb])[0])],
        "centerlines.geojson": centerline_rows(drawn),
        "sidewalks.geojson": sidewalk_rows(drawn),
        "drives.geojson": [*rows_of(drawn, "drive"), ({}, None), ({}, None)],
        "walks.geojson": rows_of(drawn, "walk"),
        "patios.geojson": patio_rows(drawn),
        "water.fgb": rows_of(drawn, "water"),
        "easements.geojson": rows_of(drawn, "easement"),
        "trees.geojson": [({"dbh_in": tags["dbh_in"]}, shape) for tags, shape in drawn["tree"]],
        "hydrants.fgb": rows_of(drawn, "hydrant"),
    }
    for name, rows in layers.items():
        write(HERE / name, rows)
        print(f"{name}: {len(rows)} features")


def read_book() -> Drawn:
    """Read what the sample book has drawn, by kind, in degrees."""
    drawn: Drawn = defaultdict(list)
    for path in sorted((BOOK / "sites").glob("*.geojson")):
        for feature in json.loads(path.read_text(encoding="utf-8"))["features"]:
            shape = shapely.geometry.shape(feature["geometry"])
            drawn[feature["properties"]["kind"]].append((feature["properties"], shape))
    return drawn


def to_book(shapes: list[shapely.Geometry]) -> list[shapely.Geometry]:
    """Turn shapes from the town's plane into degrees, rounded as the book has them."""
    degrees = to_degrees(shapes).array
    return list(shapely.transform(degrees, lambda xy: np.round(xy, 8)))


def parcel_rows(lots: list[Lot], streets: Streets, drawn: Drawn) -> list[Row]:
    """Give the parcels: one a lot with its id and address, and all that is no lot."""
    outlines = {str(tags["client_id"]): shape for tags, shape in drawn["property"]}
    others = dict(
        zip(
            sorted(NEIGHBOURS),
            to_book([lots[at].outline for at in sorted(NEIGHBOURS)]),
            strict=True,
        )
    )
    rows: list[Row] = []
    count = 0
    for number, lot in enumerate(lots):
        client_id = "" if number in NEIGHBOURS else name_client(count)
        outline = outlines[client_id] if client_id else others[number]
        rows += lot_rows(number, lot, client_id, outline)
        count += number not in NEIGHBOURS
    rows += oddities(lots, streets)
    order = np.random.default_rng([SEED, 11]).permutation(len(rows))
    return [rows[at] for at in order]


def lot_rows(number: int, lot: Lot, client_id: str, outline: shapely.Geometry) -> list[Row]:
    """Give one lot as the county has it, which is not always once, whole and with all its words."""
    address = f"{RANGES.get((lot.street, lot.number), lot.number)} {shorten(lot.street)}"
    pin = CLIENT_PARCELS[client_id] if client_id else f"44-{60000 + number:05d}"
    if number % 9 == 4:  # platted anew since the company wrote the id down
        pin = f"55-{70000 + number:05d}"
        address = "" if number % 2 else address
    rows = [parcel(pin, address, outline)]
    if number % 10 == 7:
        rows = [parcel(pin, address, nicked(outline))]
    if number in (11, 31):
        rows = in_parts(pin, address, outline)
    if number in (15, 40, 62):  # recorded twice: once more alike, or once without its id
        rows.append(parcel(pin if number == 15 else "", address, outline))
    return rows


def in_parts(pin: str, address: str, shape: shapely.Geometry) -> list[Row]:
    """Split a lot across into two records, the address with the first."""
    west, south, east, north = shape.bounds
    low = box(west, south, east, (south + north) / 2)
    return [parcel(pin, address, shape.intersection(low)), parcel(pin, "", shape.difference(low))]


def oddities(lots: list[Lot], streets: Streets) -> list[Row]:
    """Give the parcels that are no lots, and some that are lots of a difficult kind."""
    outlines = shapely.union_all([lot.outline for lot in lots])
    way = shapely.union_all([streets.reserved, streets.road]).buffer(0.5).difference(outlines)
    strips = [box(20.0 * at, -1700, 20.0 * at + 15, -1660) for at in range(60)]
    block = box(2600, -400, 2760, -280)
    rows: list[Row] = [
        parcel("ROW", "", way),
        *(parcel("99-99999", "", strip) for strip in strips),
        parcel("COMMON", "", box(2600, -700, 2900, -560)),
        parcel("-", "", box(2600, -900, 2700, -800)),
        parcel("", "", box(2600, -1100, 2700, -1000)),
        *(parcel(f"88-00{at}00", f"12 TEASEL TER UNIT {at}", block) for at in range(1, 7)),
        parcel("87-00100", "30 TEASEL TER", box(2800, -400, 2860, -280)),
        parcel("87-00200", "30 TEASEL TER", box(2860, -400, 2920, -280)),
    ]
    shapes = to_book([shape for _, shape in rows])
    gone = [parcel(f"86-00{at}00", f"{40 + at} TEASEL TER", None) for at in (1, 3)]
    return [*((tags, shape) for (tags, _), shape in zip(rows, shapes, strict=True)), *gone]


def parcel(pin: str, address: str, shape: shapely.Geometry | None) -> Row:
    """Make one record; a blank id is null, as county layers have it."""
    return {"PIN": pin or None, "SITUS": address or None}, shape


def nicked(outline: shapely.Geometry) -> shapely.Geometry:
    """Let a ring cross itself by a hand's breadth on its first side, as a snapped vertex does."""
    points = shapely.get_coordinates(outline.exterior)
    along = 1e-6 * (points[1] - points[0]) / np.hypot(*(points[1] - points[0]))
    aside = np.array([-along[1], along[0]])
    start = (points[0] + points[1]) / 2
    nick = [start + along + aside, start + along - aside, start]
    return shapely.Polygon([points[0], start, *nick, *points[1:]])


def building_rows(drawn: Drawn) -> list[Row]:
    """Give buildings by use, without saying which is the house; canopies and barns come along."""
    barn_degrees2 = BARN_FT2 / FT2_PER_DEGREE2
    rows: list[Row] = [({"USE": "building"}, shape) for _, shape in drawn["house"]]
    for _, shape in drawn["outbuilding"]:
        rows.append(({"USE": "farm" if shape.area > barn_degrees2 else "building"}, shape))
    canopies = to_book([box(420 + 60 * at, 150, 440 + 60 * at, 160) for at in range(3)])
    return rows + [({"USE": "canopy"}, canopy) for canopy in canopies]


def pavement_rows(drawn: Drawn) -> list[Row]:
    """Give pavements from curb to curb, and the islands that lie among them."""
    rows: list[Row] = [
        ({"TYPE": "pavement", "CURBED": tags.get("curbed", ""), "PARKING": tags.get("parking", "")}, shape)
        for tags, shape in drawn["street"]
    ]  # fmt: skip
    islands = to_book([box(30, 60, 40, 70), box(500, 40, 512, 52)])
    return rows + [
        ({"TYPE": "island", "CURBED": "", "PARKING": "2 HR"}, island) for island in islands
    ]


def centerline_rows(drawn: Drawn) -> list[Row]:
    """Give centerlines: the lane's, and the planned one of a road that nobody built."""
    planned = to_book([shapely.LineString([(100, 200), (400, 200)])])[0]
    lanes: list[Row] = [({"STATUS": "open"}, shape) for _, shape in drawn["street_centerline"]]
    return [*lanes, ({"STATUS": "planned"}, planned)]


def sidewalk_rows(drawn: Drawn) -> list[Row]:
    """Give sidewalks, and the tree pits drawn among them."""
    pits = to_book([box(100, 60, 106, 66), box(300, 60, 306, 66)])
    rows: list[Row] = [({"TYPE": "walk"}, shape) for _, shape in drawn["sidewalk"]]
    return rows + [({"TYPE": "pit"}, pit) for pit in pits]


def patio_rows(drawn: Drawn) -> list[Row]:
    """Give patios, with a point and a line that strayed among them."""
    strays = to_book([shapely.Point(50, 50), shapely.LineString([(60, 60), (70, 75)])])
    return [*rows_of(drawn, "patio"), *(({}, stray) for stray in strays)]


def rows_of(drawn: Drawn, kind: str) -> list[Row]:
    """Give the shapes of one kind, without columns."""
    return [({}, shape) for _, shape in drawn[kind]]


def shorten(street: str) -> str:
    """Write a street as assessors do: capitals, suffix abbreviated."""
    name, _, suffix = street.rpartition(" ")
    return f"{name.upper()} {SHORT[suffix]}"


def write(path: Path, rows: list[Row]) -> None:
    """Write one layer in state-plane feet."""
    shapes = [shape if shape is not None else shapely.Point() for _, shape in rows]
    moved = gpd.GeoSeries(shapes, crs="OGC:CRS84").to_crs(STATE_PLANE)
    feet = shapely.transform(moved.array, lambda xy: np.round(xy, DIGITS))
    is_gone = np.array([shape is None for _, shape in rows])
    tags = [tag | {"NUMBER": number} for number, (tag, _) in enumerate(rows, start=1)]
    layer = gpd.GeoDataFrame(tags, geometry=np.where(is_gone, None, feet), crs=STATE_PLANE)
    if path.suffix == ".geojson":
        path.write_text(geojson(tags, layer.geometry.to_list()), encoding="utf-8", newline="\n")
    elif path.suffix == ".fgb":
        layer.to_file(path, driver="FlatGeobuf", layer=path.stem)
    else:
        path.write_bytes(zipped_shapefile(layer, path.stem))


def geojson(tags: list[dict[str, object]], shapes: list[shapely.Geometry | None]) -> str:
    """Write a layer as GeoJSON that names its coordinate system, as exports before RFC 7946 do."""
    lines = [
        json.dumps({"type": "Feature", "properties": tag, "geometry": None if shape is None else json.loads(shapely.to_geojson(shape))}, separators=(",", ":"))
        for tag, shape in zip(tags, shapes, strict=True)
    ]  # fmt: skip
    crs = '"crs":{"type":"name","properties":{"name":"urn:ogc:def:crs:EPSG::26852"}}'
    return f'{{"type":"FeatureCollection",{crs},"features":[\n' + ",\n".join(lines) + "\n]}\n"


def zipped_shapefile(layer: gpd.GeoDataFrame, stem: str) -> bytes:
    """Zip a Shapefile with fixed dates."""
    with tempfile.TemporaryDirectory() as folder:
        layer.to_file(Path(folder) / f"{stem}.shp")
        parts = {path.name: path.read_bytes() for path in sorted(Path(folder).iterdir())}
    # the table's head carries the day on which it was written
    table = parts[f"{stem}.dbf"]
    parts[f"{stem}.dbf"] = table[:1] + bytes([126, 1, 1]) + table[4:]
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, part in parts.items():
            archive.writestr(
                zipfile.ZipInfo(name, (2026, 1, 1, 0, 0, 0)), part, zipfile.ZIP_DEFLATED
            )
    return packed.getvalue()


def _read_client_parcels() -> dict[str, str]:
    """Read which id the client list has for whom, so that the two agree."""
    with (BOOK / "clients.csv").open(encoding="utf-8", newline="") as file:
        return {row["client_id"]: row["parcel_id"] for row in csv.DictReader(file)}


CLIENT_PARCELS = _read_client_parcels()

if __name__ == "__main__":
    main()
