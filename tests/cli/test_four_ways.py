"""
Four ways in, each alone and all in one book, typed as a person would.

The town is `tests.county_town`: lots 80 ft wide, curb 10 ft before the lot line, house front of
40 ft. Without a drive the last 24 ft of the curb are left out as if one stood there, so the
county's layers alone come to a curb bed of 56 x 4 and a house bed of 40 x 4 on each lot.
"""

from __future__ import annotations

import json
import shutil
from datetime import date
from pathlib import Path

import geopandas as gpd
import pandas as pd
import pytest
import shapely
from openpyxl import load_workbook
from shapely.affinity import translate

from scanner import pipeline
from tests.cli.desk import type_in
from tests.county_town import (
    CRS,
    EAST,
    NORTH,
    box,
    house,
    lot,
    parcels,
    row_of_lots,
    shapes,
    write_book,
)

pytestmark = pytest.mark.usefixtures("without_map")

TODAY = "2027-02-20"
STREET = box(-50, -40, 400, -10)
ALONE = {"curb": (56, 224), "house": (40, 160)}
"""Edge [ft] and area [ft2] by what it runs along, from the county's layers alone."""

TRACED = (
    ("property", "A", lot(0)),
    ("house", "A", box(20, 35, 50, 65)),
    ("drive", "A", box(0, -10, 12, 35)),
    ("property", "B", lot(1)),
    ("house", "B", box(100, 35, 130, 65)),
    ("street", "", STREET),
)
"""As a person drew it: fronts of 30 ft, and a drive 12 ft wide that no county layer has."""

CLIENTS = [
    {"client_id": name, "parcel_id": f"10-{at:03d}"} for at, name in enumerate("ABCD", start=1)
]
LAYERS = ("--parcels", "lots.gpkg", "--parcel-id", "PIN", "--houses", "roofs.gpkg", "--streets", "roads.gpkg")  # fmt: skip
SEEN = {"seen_on": "2027-02-18"}
WALKED = (
    "client_id,along,length_ft,room_ft,openings_ft,note\n"
    "A,house,25,,,\nB,curb,78,,18,drive 18 ft\nD,curb,50,,,\n"
)


@pytest.fixture(autouse=True)
def desk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Sit down beside a book that is a client list and nothing else."""
    monkeypatch.chdir(tmp_path)
    write_book(tmp_path / "lawns", *CLIENTS)


def assemble(lots: gpd.GeoDataFrame | None = None) -> None:
    (row_of_lots() if lots is None else lots).to_file("lots.gpkg")
    shapes(*(house(at) for at in range(4))).to_file("roofs.gpkg")
    shapes(STREET).to_file("roads.gpkg")
    result = type_in("assemble", "lawns", *LAYERS)
    assert result.exit_code == 0, result.stderr


def trace() -> None:
    """Make the page, and put a file into the book as the page saves it."""
    assert type_in("trace", "lawns", "--out", "out").exit_code == 0
    put("drawn.geojson", *TRACED)


def walk() -> None:
    Path("lawns/measured.csv").write_text(WALKED, encoding="utf-8")


def look() -> None:
    """Print the checklist, fill it in, record it: C's drive is 10 ft wide, D has no turf at the curb."""
    assert type_in("checklist", "lawns", "--out", "out", "--today", TODAY).exit_code == 0
    path = Path("out/checklist.xlsx")
    workbook = load_workbook(path)
    sheet = workbook.worksheets[0]
    told = {"C": SEEN | {"drive width ft": "10", "turf to house": "yes"}, "D": SEEN | {"turf to curb": "no"}}  # fmt: skip
    header = [cell.value for cell in sheet[1]]
    for row in sheet.iter_rows(min_row=2):
        for question, answer in told.get(row[header.index("client_id")].value, {}).items():
            row[header.index(question)].value = answer
    workbook.save(path)
    result = type_in("record", "lawns", str(path), "--today", TODAY)
    assert result.exit_code == 0, result.stderr


def put(name: str, *features: tuple[str, str, shapely.Geometry]) -> None:
    kinds, clients, drawn = zip(*features, strict=True)
    degrees = gpd.GeoSeries(list(drawn), crs=CRS).to_crs("EPSG:4326")
    rows = [
        {"type": "Feature", "properties": {"kind": kind, **({"client_id": client} if client else {})}, "geometry": shapely.geometry.mapping(shape)}
        for kind, client, shape in zip(kinds, clients, degrees, strict=True)
    ]  # fmt: skip
    folder = Path("lawns/sites")
    folder.mkdir(exist_ok=True)
    (folder / name).write_text(json.dumps({"type": "FeatureCollection", "features": rows}), "utf-8")


def scan() -> pd.DataFrame:
    """Scan, and give the beds by client and what they run along."""
    result = type_in("scan", "lawns", "--out", "out", "--today", TODAY)
    assert result.exit_code == 0, result.stdout + result.stderr
    document = json.loads(Path("out/candidates.geojson").read_text(encoding="utf-8"))
    beds = pd.DataFrame([feature["properties"] for feature in document["features"]])
    return beds.set_index(["client_id", "along"]).sort_index()


def found_beds() -> pd.DataFrame:
    """The same without a page: what a scan would find now."""
    book = Path("lawns")
    season, read = pipeline.open_season(book), pipeline.read_book(book)
    found = pipeline.scan(read, today=date.fromisoformat(TODAY), season=season)
    return found.beds.set_index(["client_id", "along"]).sort_index()


def sizes(beds: pd.DataFrame, client: str) -> dict[str, tuple[float, float]]:
    """Edge and area of what is offered on a lot."""
    kept = beds.loc[[client]].query("skip_reason == ''").droplevel("client_id")
    return {along: (bed.edge_ft, bed.area_ft2) for along, bed in kept.iterrows()}


def about(edge_ft: float, area_ft2: float) -> object:
    return pytest.approx((edge_ft, area_ft2), abs=0.2)


def alone() -> dict[str, object]:
    return {along: about(*size) for along, size in ALONE.items()}


def offers() -> list[str]:
    """Clients of the call list."""
    return sorted(pd.read_csv("out/calls.csv", dtype=str)["client_id"])


def summary() -> dict[str, int]:
    return json.loads(Path("out/summary.json").read_text(encoding="utf-8"))


def test_assembled_alone() -> None:
    # somebody's ground, 2 ft off the curb, before the right-hand 30 ft of A's front
    sliver = parcels(("10-900", None, box(50, -8, 80, 0)))
    assemble(pd.concat([row_of_lots(), sliver], ignore_index=True))
    beds = scan()
    # 50 ft are left, and 24 of them for the drive
    assert sizes(beds, "A") == {"curb": about(26, 104), "house": about(40, 160)}
    for client in "BCD":
        assert sizes(beds, client) == alone()
    assert set(beds["edge_source"]) == {"surveyed"}
    assert offers() == [*"ABCD"]


def line(y: float) -> shapely.LineString:
    return shapely.LineString([(EAST - 50, NORTH + y), (EAST + 400, NORTH + y)])


def test_edge_source_says_how_streets_and_sidewalks_came() -> None:
    """Three rows of two lots, half a mile apart, each with layers of its own."""
    clients, lots, words = list[dict[str, object]](), list[gpd.GeoDataFrame](), list[str]()
    sources = {
        "areas": (("--streets", STREET), ("--sidewalks", box(-50, -6, 400, -2)), "surveyed surveyed"),
        "lines": (("--streets", line(-10)), ("--sidewalks", line(-4), "--sidewalk-width", "4"), "drawn centerline"),
        "middles": (("--centerlines", line(-25), "--street-width", "30"), (), "centerline "),
    }  # fmt: skip
    for at, (row, (streets, sidewalks, _)) in enumerate(sources.items()):
        north_ft = 2640.0 * at
        own = row_of_lots(2).assign(PIN=[f"{row}-1", f"{row}-2"])
        lots.append(own.set_geometry(own.translate(0, north_ft)))
        clients += [{"client_id": pin, "parcel_id": pin} for pin in own["PIN"]]
        for name, layer in ((f"roads-{row}.gpkg", streets), (f"walks-{row}.gpkg", sidewalks)):
            for word in layer:
                is_shape = isinstance(word, shapely.Geometry)
                words.append(name if is_shape else word)
                if is_shape:
                    shapes(translate(word, 0, north_ft)).to_file(name)
    write_book(Path("lawns"), *clients)
    pd.concat(lots, ignore_index=True).to_file("lots.gpkg")
    told = type_in("assemble", "lawns", "--parcels", "lots.gpkg", "--parcel-id", "PIN", *words)
    assert told.exit_code == 0, told.stderr
    beds = found_beds().query("skip_reason == ''").reset_index()
    beds["row"] = beds["client_id"].str.partition("-")[0]
    for row, own in beds.groupby("row"):
        found = own.groupby("along")["edge_source"].agg(lambda said: "+".join(sorted(set(said))))
        told = " ".join(found.get(along, "") for along in ("curb", "sidewalk"))
        assert told == sources[row][2], row
        # the curb is 80 ft less the place of a drive whichever way it is known
        curbs = own.query("along == 'curb'")
        assert curbs["edge_ft"].tolist() == pytest.approx([56] * 2, abs=0.2), row
        assert curbs["area_ft2"].tolist() == pytest.approx([224] * 2, abs=1), row
    assert set(beds["row"]) == set(sources)


def test_traced_and_walked_where_no_county_is() -> None:
    trace()
    walk()
    beds = scan()
    # 80 ft of curb less the drive, and a tape before the drawing
    assert sizes(beds, "A") == {"curb": about(68, 272), "house": (25, 100)}
    # the front as drawn
    assert sizes(beds, "B") == {"curb": (60, 240), "house": about(30, 120)}
    # measured alone
    assert sizes(beds, "D") == {"curb": (50, 200)}
    assert beds.loc[["D"], "edge_source"].tolist() == ["measured"]
    assert offers() == ["A", "B", "D"]
    assert (summary()["scanned"], summary()["not_drawn"]) == (3, 1)


def test_plain_layers_with_the_crews_answers() -> None:
    for at, client in enumerate("BCD", start=1):
        put(f"{client}.geojson", ("property", client, lot(at)), ("house", client, house(at)))
    put("town.geojson", ("street", "", STREET))
    look()
    beds = scan()
    # where no crew looked
    assert sizes(beds, "B") == alone()
    # 80 ft of curb less the drive that the crew saw
    assert sizes(beds, "C") == {"curb": about(70, 280), "house": about(40, 160)}
    assert sizes(beds, "D") == {"house": about(40, 160)}
    assert beds.loc[[("D", "curb")], "skip_reason"].tolist() == ["denied"]
    assert bool(beds.loc[[("C", "house")], "confirmed"].all())
    assert not beds.loc[[("D", "house")], "confirmed"].any()


def test_all_four_in_one_book_and_the_better_source_wins(tmp_path: Path) -> None:
    """What was drawn goes before the county, what was walked before both, a crew's no before all, in any order."""
    ways = (assemble, trace, walk, look)
    for way in ways:
        way()
    beds = scan()
    assert sizes(beds, "A") == {"curb": about(68, 272), "house": (25, 100)}
    assert sizes(beds, "B") == {"curb": (60, 240), "house": about(30, 120)}
    assert beds.loc[[("B", "curb")], "edge_source"].tolist() == ["measured"]
    assert sizes(beds, "C") == {"curb": about(70, 280), "house": about(40, 160)}
    assert sizes(beds, "D") == {"house": about(40, 160)}
    assert beds.loc[[("D", "curb")], "skip_reason"].tolist() == ["denied"]
    assert offers() == [*"ABCD"]
    assert (summary()["scanned"], summary()["not_drawn"]) == (4, 0)
    for folder in ("lawns", "out"):
        shutil.rmtree(folder)
    write_book(tmp_path / "lawns", *CLIENTS)
    for way in (look, walk, trace, assemble):
        way()
    again = found_beds()
    for client in "ABCD":
        assert sizes(again, client) == {
            along: pytest.approx(size, abs=0.01) for along, size in sizes(beds, client).items()
        }
