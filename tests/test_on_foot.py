"""A wheel and a tape: edges without any drawing go the whole way, from measured.csv to the call."""

from __future__ import annotations

import csv
import io
import json
from datetime import date
from importlib.resources import files
from pathlib import Path

import pytest
from click.testing import CliRunner
from shapely import box

from scanner.cli import main
from tests.cli.desk import keeping_scans, leaving_map_out
from tests.sites import Drawing, features_of, street_south

TODAY = date(2027, 2, 1)
HEADER = "client_id,along,length_ft,room_ft,openings_ft,note\n"
CLIENTS = """client_id,name,address,lon,lat,route,mow_day,stop,sprinklers
A,Ada Sample,1 Sample St,,,North,Tuesday,1,no
B,Bo Sample,2 Sample St,-98.75,41.25,North,Tuesday,2,no
C,Cy Sample,3 Sample St,,,North,Tuesday,3,no
"""
TWICE_DRAWN = """client_id,name
D,Di Sample
E,Ed Sample
"""
EDGES = HEADER + "B,curb,78,,18,drive 18 ft\nC,curb,60,6,,\nC,house,40,,,\n"

LOTS = (
    Drawing()
    .add("street", street_south(0), "")
    .add("property", box(0, 0, 80, 100), "D")
    .add("house", box(20, 50, 60, 80), "D")
    .add("property", box(200, 0, 280, 100), "E")
    .add("house", box(220, 50, 260, 80), "E")
)


def book_of(
    folder: Path, *, clients: str = CLIENTS, edges: str = EDGES, drawing: Drawing | None = None
) -> Path:
    (folder / "clients.csv").write_text(clients, encoding="utf-8")
    (folder / "measured.csv").write_text(edges, encoding="utf-8")
    if drawing is not None:
        (folder / "sites").mkdir()
        shapes = features_of(drawing)[["kind", "client_id", "geometry"]]
        (folder / "sites" / "lot.geojson").write_text(shapes.to_json(), encoding="utf-8")
    return folder


def run(*words):
    return CliRunner().invoke(main, [*map(str, words)], catch_exceptions=False)


def rows_of(path):
    return {row["client_id"]: row for row in csv.DictReader(io.StringIO(path.read_text("utf-8")))}


def scan_of(folder, **options):
    """Scan a book by command: what was said, where the pages lie, what was found."""
    book = folder / "book"
    book.mkdir()
    book_of(book, **options)
    with keeping_scans() as scans:
        result = run("scan", book, "--out", folder / "out", "--today", TODAY.isoformat())
    return result, folder / "out", *scans


@pytest.fixture(scope="module")
def scanned(tmp_path_factory):
    """The book without any drawing, scanned once."""
    return scan_of(tmp_path_factory.mktemp("foot"))


def test_size_quantities_plants_and_price(scanned):
    found = scanned[2]
    bed = found.table("beds").set_index("bed_id").loc["B-curb-1"]
    # Worked case 12 but for a second open end: 78 less 18 is 60 ft, 4 ft deep
    assert (bed["edge_ft"], bed["area_ft2"], bed["bed_line_ft"]) == (60, 240, 60 + 8)
    taken = found.table("quantities").set_index("offer_id").loc["B-curb-1"]
    assert taken["mulch_yd3"] == pytest.approx(2.222, abs=0.001)
    assert taken["sod_bank_yd3"] == pytest.approx(2.222, abs=0.001)
    # 30 and 29 plants in two rows, staggered (trade values, section 2)
    assert taken["plant_count"] == 59
    assert found.table("prices").query("offer_id == 'B-curb-1'")["price_cents"].gt(0).all()


def test_room_that_no_mower_fits_is_taken(scanned):
    bed = scanned[2].table("beds").set_index("bed_id").loc["C-curb-1"]
    # 6 ft of room less 4 is 2 ft, narrower than a mower: 6 ft deep, two ends to edge
    assert (bed["area_ft2"], bed["absorbed_ft2"], bed["bed_line_ft"]) == (360, 120, 12)


def test_plants_of_a_rectangle_are_rows_times_plants(scanned):
    # 60 × 6 ft at 24 in: rows 1.732 ft apart from 1 ft in: 1, 2.73, 4.46; of 30, 29, 30 plants
    taken = scanned[2].table("quantities").set_index("offer_id").loc["C-curb-1"]
    assert taken["plant_count"] == 30 + 29 + 30


def test_in_the_list_and_priced_in_a_narrower_range(scanned):
    result, out, _ = scanned
    assert result.exit_code == 0
    calls = rows_of(out / "calls.csv")
    assert calls["C"]["offer"] == "40 ft house bed, mulch and a few plants"
    assert calls["B"]["bed_ids"] == "B-curb-1"
    assert calls["B"]["confirmed"] == "yes"
    assert "measured on foot: look for hydrants" in calls["B"]["cautions"]
    summary = json.loads((out / "summary.json").read_text("utf-8"))
    assert (summary["scanned"], summary["not_drawn"], summary["unconfirmed"]) == (2, 1, 0)


def test_a_mark_on_the_map_where_there_is_a_place_else_the_list_alone(scanned):
    _, out, _ = scanned
    page = (out / "map.html").read_text("utf-8")
    for name in ("Bo Sample", "Cy Sample"):
        assert name in page
    beds = json.loads((out / "candidates.geojson").read_text("utf-8"))["features"]
    assert {bed["properties"]["bed_id"]: bed["geometry"] for bed in beds} == {
        "B-curb-1": None, "C-curb-1": None, "C-house-1": None,
    }  # fmt: skip


def test_measured_beats_the_layer(tmp_path):
    """One of two lots that are drawn alike was measured, too."""
    edges = HEADER + "D,curb,40,,,\n"
    with leaving_map_out():
        _, out, found = scan_of(tmp_path, clients=TWICE_DRAWN, edges=edges, drawing=LOTS)
    beds = json.loads((out / "candidates.geojson").read_text("utf-8"))["features"]
    told = {bed["properties"]["bed_id"]: bed for bed in beds}
    # The layer has 80 ft of curb (56 beside a guessed drive); the wheel said 40
    curbs = [bed for name, bed in told.items() if name.startswith("D-curb-")]
    assert len(curbs) == 1
    assert curbs[0]["properties"]["edge_source"] == "measured"
    assert curbs[0]["properties"]["area_ft2"] == 160
    # and the bed is drawn as long as the wheel said: 40 of 56 ft, 4 ft deep
    assert curbs[0]["geometry"]["type"] == "Polygon"
    assert curbs[0]["properties"]["edge_ft"] == 40
    assert "measured 40 ft where 56 ft are drawn" in curbs[0]["properties"]["cautions"]
    house = told["D-house-1"]
    assert house["properties"]["edge_source"] == "surveyed"
    assert house["geometry"]["type"] == "Polygon"
    of_the_layer = found.beds.query("client_id == 'E' and along == 'curb' and skip_reason == ''")
    (bed,) = of_the_layer.to_dict("records")
    assert bed["edge_source"] == "surveyed"
    assert bed["edge_ft"] == pytest.approx(56, abs=0.1)


def test_check_names_a_length_that_no_lot_has(tmp_path):
    book_of(tmp_path, edges=EDGES + "B,curb,9000,,,\n")
    result = run("check", tmp_path)
    assert result.exit_code == 1
    assert "measured.csv, row 5, client B: length_ft is '9000'" in result.stdout
    assert "longer is a length that no lot has" in result.stdout


def test_the_template_has_an_example_that_scans(tmp_path):
    template = files("scanner.book").joinpath("templates", "measured.csv").read_text("utf-8")
    rows = list(csv.DictReader(io.StringIO(template)))
    assert rows
    assert list(rows[0]) == HEADER.strip().split(",")
    assert run("new", tmp_path / "book").exit_code == 0
    with leaving_map_out():
        result = run("scan", tmp_path / "book", "--out", tmp_path / "out", "--today", "2027-02-01")
    assert result.exit_code == 0
    listed = rows_of(tmp_path / "out" / "calls.csv")
    assert listed["002"]["bed_ids"].split()
