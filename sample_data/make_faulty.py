"""
Make the book ``faulty`` beside this script: every fault that the book's check knows, and three good lots.

Everything is invented. Run it from anywhere; it writes the same bytes each time.
"""

from __future__ import annotations

import csv
import io
import json
import math
import tempfile
import zipfile
from pathlib import Path

import geopandas as gpd
import shapely

HERE = Path(__file__).parent / "faulty"
LON, LAT = -97.8, 40.8
FT_PER_DEGREE_LAT = 111_048 * 3.280839895
FT_PER_DEGREE_LON = 111_412 * math.cos(math.radians(LAT)) * 3.280839895

COLUMNS = [
    "client_id", "name", "address", "lon", "lat", "phone", "route", "mow_day", "stop",
    "client_since", "annual_usd", "mowed_ft2", "do_not_call", "past_due", "notes",
]  # fmt: skip

CLIENTS = [
    # good: rows 2 to 4
    {"client_id": "007", "name": "Nora Good", "notes": "'=good since the start"},
    {"client_id": "G2", "name": "NA", "annual_usd": "1,450.00"},
    {"client_id": "G3", "name": "Olaf Paced", "do_not_call": "no"},
    # row 5: the id of row 3 again; row 6: no id
    {"client_id": "G2", "name": "Doubled Id"},
    {"client_id": "", "name": "Missing Id"},
    # row 7: text where numbers belong; row 8: bad flag and date
    {
        "client_id": "F1",
        "name": "Text Cells",
        "annual_usd": "about 1500",
        "lon": "west",
        "lat": "40.8",
    },
    {
        "client_id": "F2",
        "name": "Bad Flag",
        "do_not_call": "rather not",
        "client_since": "3/14/2019",
    },
    # row 9: longitude and latitude swapped; row 10: 0, 0
    {"client_id": "F3", "name": "Swapped Place", "lon": "40.8", "lat": "-97.8"},
    {"client_id": "F4", "name": "Ocean Place", "lon": "0", "lat": "0"},
    # row 11: a negative area; row 12: a comma without quotation marks, made below
    {"client_id": "F5", "name": "Negative Area", "mowed_ft2": "-20"},
]

MEASURED = """client_id,along,length_ft,room_ft,openings_ft,note
G3,curb,70,,18,good
G9,curb,70,,,client not in the list
G3,kerb,70,,,unknown along
G3,curb,7000,,,a length that no lot has
G3,curb,sixty,,,text where a number belongs
G3,sidewalk,20,,20,openings as long as the edge
G3,house,40,-3,,negative room
"""

RATES = """labor_usd_per_hour = -28
gross_margin_share = 45
mulch_usd_per_yd3 = "thirty-eight"
plant_1gal_usd = 2000
tip_fee_usd_per_ton = { value = 30, low = 60, high = 10 }
mulch_usd_per_yd = 38
lead_finish = "lawn"
crew_count = 3
"""

LOCAL = """bed_depth_ft = 1
mower_ft = "four"
house_faces = ["front", "roof"]
min_depth = 2

[setbacks]
hydrant_ft = -3
jog_ft = 6
trunk_ft = 5

[backgrounds]
streets_url = "javascript:alert(1)"
"""


def main() -> None:
    """Write the book."""
    sites = HERE / "sites"
    sites.mkdir(parents=True, exist_ok=True)
    write(HERE / "clients.csv", client_table())
    write(HERE / "measured.csv", MEASURED)
    write(HERE / "rates.toml", RATES)
    write(HERE / "local.toml", LOCAL)
    write(sites / "lots.geojson", collection(good_features() + faulty_features()))
    feet = [feature("property", ring(2e6, 5e5, 80, 120), client_id="F1")]
    write(sites / "feet.geojson", collection(feet))
    write(sites / "empty.geojson", "")
    write(
        sites / "disguised.geojson",
        "<OGRVRTDataSource><OGRVRTLayer name='x'/></OGRVRTDataSource>\n",
    )
    write(sites / "no_kind.geojson", collection([{**feet[0], "properties": {"use": "lot"}}]))
    write(
        sites / "letters.geojson", collection(good_features()[:1]).replace("007", "Peña"), "cp1252"
    )
    write(sites / "plan.dwg", "AC1032 not a drawing\n")
    write(sites / "torn.gpkg", "SQLite format 3\0 torn off\n")
    write(sites / "huge.zip", zipped({"lots/lots.shp": bytes(12_000_000)}))
    write(sites / "no_prj.zip", zipped(shapefile(1e6)))
    write(HERE / "wrong_encoding" / "clients.csv", "client_id,name\n1,José Peña\n2,Ann\n", "cp1252")
    write(
        HERE / "wrong_encoding" / "measured.csv",
        "client_id,along,length_ft\n1,curb,60\n2,curb,40\n",
    )
    write(HERE / "empty_list" / "clients.csv", "")
    write(HERE / "no_id_column" / "clients.csv", "name,route\nAnn,North\n")


def good_features() -> list[dict]:
    """Draw two good lots side by side, their houses, a street and a drive each."""
    features = []
    for number, client_id in enumerate(["007", "G2"]):
        x = number * 80
        features += [
            feature("property", place(ring(x, 0, 80, 120)), client_id=client_id),
            feature("house", place(ring(x + 20, 35, 40, 30))),
            feature("drive", place(ring(x + 2, -10, 18, 45))),
        ]
    return [*features, feature("street", place(ring(-40, -40, 400, 30)), curbed="yes")]


def faulty_features() -> list[dict]:
    """Draw one feature for each fault, features 8 to 27 of the file, well off the good lots."""
    lot = ring(405, 0, 80, 120)
    bow = [[(400, 0), (480, 120), (480, 0), (400, 120), (400, 0)]]
    nick = [
        [
            (400, 0),
            (480, 0),
            (480, 60.5),
            (480.4, 60),
            (479.6, 60),
            (480, 60.5),
            (480, 120),
            (400, 120),
            (400, 0),
        ]
    ]
    unclosed = [place(lot)[0][:-1]]
    swapped = [[(lat, lon) for lon, lat in place(lot)[0]]]
    point = place([[(410, 10)]])[0][0]
    line = place([[(410, 0), (470, 0)]])[0]
    return [
        feature("garage", place(lot)),
        feature("property", place(bow), client_id="F1"),
        feature("property", place(nick), client_id="F2"),
        {"type": "Feature", "properties": {"kind": "house"}, "geometry": None},
        feature("house", []),
        feature("house", unclosed),
        feature("house", point, shape="Point"),
        feature("property", swapped, client_id="F3"),
        feature("property", place(ring(600, 0, 80, 120)), client_id="G99"),
        feature("property", place(ring(80.5, 0, 80, 120)), client_id="F4"),
        feature("edge", line, shape="LineString", along="kerb"),
        feature("utility", point, shape="Point", what="box"),
        feature("street_centerline", line, shape="LineString", pavement_ft="wide"),
        feature("tree", point, shape="Point", dbh_in="thick"),
        feature("street", place(ring(-40, -400, 400, 30)), curbed="perhaps"),
        feature("tree", (0, 0), shape="Point"),
        feature("property", place(ring(900, 0, 80, 120))),
        feature("", place(lot)),
        feature("edge", [line[0], line[0]], shape="LineString", along="curb"),
        feature("hydrant", (200.0, 95.0), shape="Point"),
    ]


def client_table() -> str:
    """Fill the client list; the last row has a comma without quotation marks."""
    text = io.StringIO()
    rows = csv.DictWriter(text, COLUMNS, lineterminator="\n", restval="")
    rows.writeheader()
    usual = {"address": "1 Sample St", "phone": "402-555-0110", "route": "North"}
    rows.writerows(usual | client for client in CLIENTS)
    cells = [
        "F6",
        "Comma Address",
        "1 Sample St, Rear",
        "",
        "",
        "402-555-0111",
        "North",
        "",
        "",
        "",
        "",
        "",
        "",
        "",
        "x",
    ]
    return text.getvalue() + ",".join(cells) + "\n"


def feature(kind: str, coordinates: object, *, shape: str = "Polygon", **properties: str) -> dict:
    """Make one GeoJSON feature."""
    return {
        "type": "Feature",
        "properties": {"kind": kind, **properties},
        "geometry": {"type": shape, "coordinates": coordinates},
    }


def ring(x: float, y: float, width: float, depth: float) -> list[list[tuple[float, float]]]:
    """Make the ring of a rectangle, feet."""
    return [[(x, y), (x + width, y), (x + width, y + depth), (x, y + depth), (x, y)]]


def place(rings: list[list[tuple[float, float]]]) -> list[list[tuple[float, float]]]:
    """Bring rings from feet to longitude and latitude."""
    return [
        [
            (round(LON + x / FT_PER_DEGREE_LON, 9), round(LAT + y / FT_PER_DEGREE_LAT, 9))
            for x, y in points
        ]
        for points in rings
    ]


def collection(features: list[dict]) -> str:
    """Write features as GeoJSON, one a line."""
    lines = ",\n".join(json.dumps(one) for one in features)
    return f'{{"type": "FeatureCollection", "features": [\n{lines}\n]}}\n'


def shapefile(x: float) -> dict[str, bytes]:
    """Make the parts of a Shapefile in feet, without its .prj."""
    lots = gpd.GeoDataFrame(
        {"kind": ["property"], "client_id": ["F5"]},
        geometry=[shapely.box(x, x, x + 80, x + 120)],
        crs="EPSG:26852",
    )
    with tempfile.TemporaryDirectory() as folder:
        lots.to_file(Path(folder) / "lots.shp")
        parts = {path.name: path.read_bytes() for path in sorted(Path(folder).iterdir())}
    # the table's head carries the day on which it was written
    parts["lots.dbf"] = parts["lots.dbf"][:1] + bytes([126, 1, 1]) + parts["lots.dbf"][4:]
    return {name: part for name, part in parts.items() if not name.endswith(".prj")}


def zipped(parts: dict[str, bytes]) -> bytes:
    """Zip parts with a fixed date."""
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, part in parts.items():
            archive.writestr(
                zipfile.ZipInfo(name, (2026, 1, 1, 0, 0, 0)), part, zipfile.ZIP_DEFLATED
            )
    return packed.getvalue()


def write(path: Path, content: str | bytes, encoding: str = "utf-8") -> None:
    """Write one file of the book."""
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(content if isinstance(content, bytes) else content.encode(encoding))


if __name__ == "__main__":
    main()
