"""``assemble`` from the command line: the sample town's county layers, a real neighborhood, wrong words."""

from __future__ import annotations

import json
import shutil
import zipfile
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely

from scanner.book.book import read_book
from scanner.calls.log import NO_SEASON
from scanner.ground.setting.bearing import reach_ft
from scanner.ground.survey import survey_block
from scanner.store.blocks import cut_blocks, deal_blocks
from scanner.store.folder import passing_store
from scanner.store.land import store_features
from tests.cli.desk import type_in
from tests.county_town import box, house, row_of_lots, shapes, unmatched_rows, write_book
from tests.real_town import BUBENEC

ROOT = Path(__file__).parents[2]
SAMPLE_BOOK = ROOT / "sample_data" / "book"
COUNTY = ROOT / "sample_data" / "county"

LAYERS = (
    "--parcels", "parcels.zip", "--houses", "buildings.fgb", "--streets", "pavement.geojson", "--streets",
    "curbs.geojson", "--centerlines", "centerlines.geojson", "--sidewalks", "sidewalks.geojson", "--drives",
    "drives.geojson", "--walks", "walks.geojson", "--patios", "patios.geojson", "--water", "water.fgb",
    "--easements", "easements.geojson", "--trees", "trees.geojson", "--hydrants", "hydrants.fgb",
)  # fmt: skip
WORDS = (
    "--parcel-id", "PIN", "--parcel-address", "SITUS", "--street-width", "28", "--only", "house=USE:building",
    "--only", "street=TYPE:pavement", "--only", "street=TYPE:curb", "--only", "street_centerline=STATUS:open",
    "--only", "sidewalk=TYPE:walk",
)  # fmt: skip
FROM_COUNTY = {
    "property", "house", "outbuilding", "street", "street_centerline", "sidewalk", "drive", "walk", "patio",
    "water", "easement", "tree", "hydrant",
}  # fmt: skip


def county_words() -> list[str]:
    return [str(COUNTY / word) if "." in word else word for word in LAYERS] + list(WORDS)


@pytest.fixture(scope="module")
def town(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """
    The sample book without what the county knows, and then with the county's layers assembled.

    Lawns, planted beds, meters, mailboxes, fire areas and the curbs that somebody drew for one
    client stay as drawn: no county has them.
    """
    book = tmp_path_factory.mktemp("town") / "book"
    shutil.copytree(SAMPLE_BOOK, book)
    for path in sorted((book / "sites").iterdir()):
        document = json.loads(path.read_text(encoding="utf-8"))
        document["features"] = [
            feature for feature in document["features"]
            if feature["properties"]["kind"] not in FROM_COUNTY and not is_shared_curb(feature["properties"])
        ]  # fmt: skip
        path.write_text(json.dumps(document), encoding="utf-8")
        if not document["features"]:
            path.unlink()
    result = type_in("assemble", str(book), *county_words(), "--json")
    assert result.exit_code == 1  # six clients have no lot in any layer
    (book / "told.json").write_text(result.stdout, encoding="utf-8")
    return book


def is_shared_curb(tags: dict[str, str]) -> bool:
    return tags["kind"] == "edge" and "client_id" not in tags


def test_the_towns_clients_are_matched_each_way(town: Path) -> None:
    counts = json.loads((town / "told.json").read_text(encoding="utf-8"))["counts"]
    assert counts["clients"] == 120
    assert counts["matched"] + counts["unmatched"] == 120
    assert (counts["by_parcel_id"], counts["by_address"], counts["by_place"]) == (100, 7, 7)
    # those whose edges were measured on foot have no lot anywhere
    assert list(unmatched_rows(town)) == [f"C{number:04d}" for number in range(115, 121)]


def test_the_towns_faulty_features_are_named(town: Path) -> None:
    problems = json.loads((town / "told.json").read_text(encoding="utf-8"))["problems"]
    faults = [(row["file"], row["feature"]) for row in problems if row["severity"] == "fault"]
    assert [file for file, _ in faults] == [
        *["drives.geojson"] * 2, *["parcels.zip"] * 2, *["patios.geojson"] * 2,
    ]  # fmt: skip
    assert sum(row["severity"] == "note" for row in problems) == 1


def test_the_town_assembles_to_the_beds_of_the_book(town: Path, tmp_path: Path) -> None:
    """
    Hold the beds that are kept against each other: bed by bed, lot by lot and in all, to 1 %.

    Numbers within a kind may run otherwise, since a sliver that is skipped takes one too; so
    beds of one lot and kind meet in the order of their size.
    """
    # a scan may keep what it found in the book, and the sample book stays clean
    sample = shutil.copytree(SAMPLE_BOOK, tmp_path / "book")
    # the town's layer of drives is complete, so no drive is guessed on either side
    local = sample / "local.toml"
    text = local.read_text(encoding="utf-8") if local.is_file() else ""
    local.write_text(f'drives_known = "yes"\n{text}', encoding="utf-8")
    drawn, county = (_kept_beds(book) for book in (sample, town))
    assert len(drawn) > 150
    keys = ["client_id", "along", "edge_source"]
    assert drawn[keys].to_numpy().tolist() == county[keys].to_numpy().tolist()
    for measure in ("edge_ft", "area_ft2", "bed_line_ft", "right_of_way_ft2"):
        one, two = drawn[measure], county[measure]
        assert two.tolist() == pytest.approx(one.tolist(), rel=0.01, abs=0.01), measure
        by_lot = (table.groupby("client_id")[measure].sum() for table in (drawn, county))
        assert next(by_lot).tolist() == pytest.approx(next(by_lot).tolist(), rel=0.01), measure
        assert two.sum() == pytest.approx(one.sum(), rel=0.01)
    # turf that a bed takes in may go to the other of two beds that it lies between
    for table in (drawn, county):
        assert table["absorbed_ft2"].sum() == pytest.approx(drawn["absorbed_ft2"].sum(), rel=0.01)


def _kept_beds(folder: Path) -> pd.DataFrame:
    """Find the beds of a book, as far as the ground goes: nothing is priced."""
    book = read_book(folder)
    with passing_store() as place:
        land = store_features(book.features, place.folder / "shapes")
        lots = cut_blocks(book, land, None, store=place)
        found = [
            survey_block(
                block.features(block.client_ids), np.sort(block.client_ids), book.clients, rules=book.rules
            )
            for block in deal_blocks(
                book, land, NO_SEASON, lots, store=place, reach_ft=reach_ft(book.rules)
            )
            if len(block.features(block.client_ids))
        ]  # fmt: skip
    beds = pd.concat([survey.beds for survey in found], ignore_index=True)
    order = ["client_id", "along", "edge_ft", "area_ft2"]
    return beds[beds["skip_reason"] == ""].sort_values(order, ignore_index=True)


def test_a_real_neighborhood_goes_through(tmp_path: Path) -> None:
    """
    Find beds on plots, buildings and street centerlines of momepy's ``bubenec`` without hand work.

    Clients go by id and by place in turn. What should come out is worked out here a second time
    in the European equal-area grid.
    """
    plots = gpd.read_file(BUBENEC, layer="plots")
    places = plots.representative_point().to_crs("EPSG:4326")
    clients = [
        {"client_id": f"P{at:03d}", "parcel_id": plots["ID_2"].iloc[at] if at % 2 else "", "lon": round(spot.x, 7), "lat": round(spot.y, 7)}
        for at, spot in enumerate(places)
    ]  # fmt: skip
    book = write_book(tmp_path / "bubenec", *clients)
    result = type_in(
        "assemble", str(book), "--parcels", f"{BUBENEC}#plots", "--parcel-id", "ID_2", "--houses", f"{BUBENEC}#buildings",
        "--centerlines", f"{BUBENEC}#streets", "--street-width", "26", "--json",
    )  # fmt: skip
    told = json.loads(result.stdout)
    counts = told["counts"]
    assert result.exit_code == 1
    assert told["problems"] == []
    assert counts["clients"] == len(plots) == counts["matched"] + counts["unmatched"]
    assert counts["matched"] > 0.97 * len(plots)
    assert counts["by_parcel_id"] > 195
    found = gpd.read_file(book / "sites" / "assembled.geojson").to_crs("EPSG:3035")
    lots = found[(found["kind"] == "property") & found["client_id"].notna()].set_index("client_id")
    true_m2 = plots.to_crs("EPSG:3035").area.set_axis([f"P{at:03d}" for at in range(len(plots))])
    assert (lots.area / true_m2.loc[lots.index]).between(0.9999, 1.0001).all()
    assert not (read_book(book).problems["severity"] == "fault").any()
    curbs = _kept_beds(book).query("along == 'curb'")
    assert len(curbs) > 20
    assert set(curbs["edge_source"]) == {"centerline"}


@pytest.fixture
def desk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Sit down beside a book and its county."""
    monkeypatch.chdir(tmp_path)
    write_book(
        tmp_path / "lawns",
        {"client_id": "A", "parcel_id": "10-001"},
        {"client_id": "B", "address": "103 Clovr St"},
    )
    row_of_lots().to_file(tmp_path / "lots.gpkg")
    shapes(house(0), house(1)).to_file(tmp_path / "roofs.gpkg")
    shapes(box(-50, -40, 400, -10)).to_file(tmp_path / "roads.gpkg")
    return tmp_path


LOTS = ("--parcels", "lots.gpkg", "--parcel-id", "PIN", "--parcel-address", "SITUS")


@pytest.mark.usefixtures("desk")
def test_counts_are_told_and_unmatched_clients_make_the_exit_code_1() -> None:
    result = type_in(
        "assemble", "lawns", *LOTS, "--houses", "roofs.gpkg", "--streets", "roads.gpkg"
    )
    assert result.exit_code == 1
    assert result.stdout.splitlines() == [
        "clients                               2",
        "matched                               1",
        "  by your choice                      0",
        "  by parcel id                        1",
        "  by address                          0",
        "  by longitude and latitude           0",
        "  of these without a house            0",
        "  of these without a curb             0",
        "not matched                           1",
        "  several lots fit                    0",
        "  no lot found                        1",
        str(Path("lawns") / "sites" / "assembled.geojson"),
        str(Path("lawns") / "unmatched.csv"),
    ]
    assert result.stderr == (
        "Matched 1 of 2 clients. 1 client without a lot: fill in the column choice of lawns/unmatched.csv and run "
        "the same command with --matches lawns/unmatched.csv. Next: bed-scanner scan lawns\n"
    ).replace("lawns/unmatched.csv", str(Path("lawns") / "unmatched.csv"))


def test_a_town_of_nobodys_clients_leaves_no_file_that_a_scan_faults(desk: Path) -> None:
    type_in("assemble", "lawns", *LOTS)
    assert (desk / "lawns" / "sites" / "assembled.geojson").is_file()
    write_book(desk / "lawns", {"client_id": "Z", "parcel_id": "99-999"})
    (desk / "lawns" / "unmatched.csv").unlink()
    result = type_in("assemble", "lawns", *LOTS)
    assert result.exit_code == 1
    assert not (desk / "lawns" / "sites" / "assembled.geojson").exists()
    assert result.stdout.splitlines()[-1] == str(Path("lawns") / "unmatched.csv")
    assert unmatched_rows(desk / "lawns")["Z"]["why"] == (
        "no parcel has the id '99-999'; it has no address; it has no lon and lat that can be used"
    )
    assert "record" not in type_in("check", "lawns").stderr


def test_a_choice_filled_in_finishes_it(desk: Path) -> None:
    type_in("assemble", "lawns", *LOTS)
    path = desk / "lawns" / "unmatched.csv"
    filled = (
        path.read_text(encoding="utf-8-sig").replace("no parcel has its address", "x").splitlines()
    )
    header, row = filled[0].split(","), filled[1].split(",")
    row[header.index("choice")] = "1"
    path.write_text("\n".join([filled[0], ",".join(row[: len(header)])]) + "\n", encoding="utf-8")
    # the file is looked for in the book, too
    result = type_in("assemble", "lawns", *LOTS, "--matches", "unmatched.csv")
    assert result.exit_code == 0, result.stdout + result.stderr
    assert "Matched 2 of 2 clients. Next:" in result.stderr


def write_bad_layers(folder: Path) -> None:
    line = shapely.LineString(box(0, 0, 80, 10).exterior.coords)
    shapes(line).to_file(folder / "lines.gpkg")
    with zipfile.ZipFile(folder / "nowhere.zip", "w") as archive:
        shapes(box(0, -40, 320, -10)).to_file(folder / "nowhere.shp")
        for suffix in (".shp", ".shx", ".dbf"):
            archive.write(folder / f"nowhere{suffix}", f"nowhere{suffix}")
    feet = shapes(box(0, -40, 320, -10)).set_crs("EPSG:4326", allow_override=True)
    feet.to_file(folder / "feet.gpkg")
    (folder / "mine.csv").write_text("client_id,choice\nZ,1\n", encoding="utf-8")


REFUSED = (
        (("--parcel-id", "APN"), "lots.gpkg has no column 'APN'; the columns that are there: PIN, SITUS"),
        (("--easements", "lines.gpkg"), "lines.gpkg holds lines, and easements are drawn as areas: name the layer that holds them so"),
        (("--streets", "nowhere.zip"), "nowhere.zip declares no coordinate system, so nobody knows where it lies"),
        (("--streets", "feet.gpkg"), "feet.gpkg says that its coordinates are degrees, and they can't be"),
        (("--streets", "roads.gpkg", "--only", "street=TYPE:pavement"), "roads.gpkg has no column 'TYPE'"),
        (("--matches", "mine.csv"), "mine.csv, row 2: the client list has no client 'Z'"),
)  # fmt: skip


def test_a_refused_layer_is_a_sentence_and_writes_nothing(desk: Path) -> None:
    write_bad_layers(desk)
    before = sorted((desk / "lawns").iterdir())
    for words, told in REFUSED:
        result = type_in("assemble", "lawns", *LOTS, *words)
        assert result.exit_code == 1, told
        assert result.stderr.startswith(f"Cannot go on: {told}"), result.stderr
        assert len(result.stderr.splitlines()) == 1
        assert result.stdout == ""
        assert sorted((desk / "lawns").iterdir()) == before, told


WRONG = (
    (("--houses", "roofs.gpkg"), "Missing option '--parcels'"),
    (("--parcels", "parcels.gpkg"), "there is no file 'parcels.gpkg'"),
    ((*LOTS, "--only", "house"), "is not written as KIND=COLUMN:VALUE"),
    ((*LOTS, "--only", "roof=A:B"), "'roof' is no kind; the kinds are property, house"),
    ((*LOTS, "--only", "house=A:B"), "no layer of that kind is given: add --houses"),
    (
        (*LOTS, "--matches", "mine.csv"),
        "there is no file 'mine.csv', neither here nor in the book",
    ),
    ((*LOTS, "--street-width", "0"), "0 is not in the range 1<=x<=200"),
)


def test_wrong_words_are_wrong_usage(desk: Path) -> None:
    for words, told in WRONG:
        result = type_in("assemble", "lawns", *words)
        assert result.exit_code == 2, told
        assert told in " ".join(result.stderr.split())
        assert not (desk / "lawns" / "sites").exists(), told


def test_two_runs_give_the_same_bytes(desk: Path) -> None:
    written = []
    for _ in range(2):
        type_in("assemble", "lawns", *LOTS, "--houses", "roofs.gpkg", "--streets", "roads.gpkg")
        written.append([path.read_bytes() for path in sorted((desk / "lawns").rglob("*.*"))])
    assert written[0] == written[1]
