"""The whole book: an example that works, and the faulty sample that is told of fault by fault."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from scanner.book.book import read_book
from scanner.book.new import start_book
from scanner.errors import BookError
from scanner.schema.tables import PROBLEMS
from scanner.sheets.problems import fault, join_problems, list_problems

SAMPLES = Path(__file__).parents[2] / "sample_data"
FAULTY = SAMPLES / "faulty"

EXPECTED = [
    ("clients.csv", "row 5", "stands in row 3 already", "id of its own"),
    ("clients.csv", "row 6", "client_id is blank", "id of its own"),
    ("clients.csv", "row 7", "'about 1500'", "number alone"),
    ("clients.csv", "row 7", "'west'", "number alone"),
    ("clients.csv", "row 8", "'rather not'", "yes or no"),
    ("clients.csv", "row 8", "'3/14/2019'", "2026-03-14"),
    ("clients.csv", "row 9", "swapped", "east-west"),
    ("clients.csv", "row 10", "ocean", "blank"),
    ("clients.csv", "row 11", "'-20'", "number alone"),
    ("clients.csv", "row 12", "16 cells", "quotation marks"),
    ("measured.csv", "row 3", "'G9' is not in the client list", "add the client"),
    ("measured.csv", "row 4", "'kerb'", "curb"),
    ("measured.csv", "row 5", "no lot has", "wheel"),
    ("measured.csv", "row 6", "'sixty'", "number alone"),
    ("measured.csv", "row 7", "not less than", "inside the length"),
    ("measured.csv", "row 8", "'-3'", "number alone"),
    ("rates.toml", "labor_usd_per_hour", "-28", "standard value is 28"),
    ("rates.toml", "gross_margin_share", "45", "0.45 is 45 %"),
    ("rates.toml", "mulch_usd_per_yd3", "'thirty-eight'", "without quotation marks"),
    ("rates.toml", "plant_1gal_usd", "2000", "standard value is 9"),
    ("rates.toml", "tip_fee_usd_per_ton", "low 60", "in order"),
    ("rates.toml", "mulch_usd_per_yd", "no setting", "mulch_usd_per_yd3"),
    ("rates.toml", "lead_finish", "'lawn'", "planted"),
    ("local.toml", "bed_depth_ft", "shallower than the minimum", "larger"),
    ("local.toml", "mower_ft", "'four'", "number"),
    ("local.toml", "house_faces", "'roof'", "front"),
    ("local.toml", "min_depth", "no setting", "min_depth_ft"),
    ("local.toml", "setbacks.hydrant_ft", "-3", "standard value is 3"),
    ("local.toml", "setbacks.jog_ft", "under [setbacks]", "top of the file"),
    ("local.toml", "backgrounds.streets_url", "https://", "no background"),
    ("sites/disguised.geojson", "", "is no GeoJSON", "export it again"),
    ("sites/empty.geojson", "", "is empty", "export it again"),
    ("sites/feet.geojson", "", "can't be degrees", "WGS 84"),
    ("sites/huge.zip", "", "unpacks to 12,000,000", "zip the layers anew"),
    ("sites/letters.geojson", "", "UTF-8", "UTF-8"),
    ("sites/no_kind.geojson", "", "no feature has a kind", "add a column kind"),
    ("sites/no_prj.zip", "", "can't be degrees", ".prj"),
    ("sites/plan.dwg", "", "not known", "GeoPackage"),
    ("sites/torn.gpkg", "", "is no GeoPackage", "export it again"),
    ("sites/lots.geojson", "feature 8", "'garage'", "outbuilding"),
    ("sites/lots.geojson", "feature 9", "crosses itself", "without crossing"),
    ("sites/lots.geojson", "feature 11", "no shape", "draw it"),
    ("sites/lots.geojson", "feature 12", "no shape", "draw it"),
    ("sites/lots.geojson", "feature 13", "not closed", "again"),
    ("sites/lots.geojson", "feature 14", "came as a point", "kind right"),
    ("sites/lots.geojson", "feature 15", "swapped", "exchange"),
    ("sites/lots.geojson", "feature 16", "'G99'", "add the client"),
    ("sites/lots.geojson", "feature 17", "same ground as that of G2", "delete the outline"),
    ("sites/lots.geojson", "feature 18", "'kerb'", "curb"),
    ("sites/lots.geojson", "feature 19", "'box'", "transformer"),
    ("sites/lots.geojson", "feature 20", "'wide'", "curb to curb"),
    ("sites/lots.geojson", "feature 21", "'thick'", "number alone"),
    ("sites/lots.geojson", "feature 22", "'perhaps'", "yes or no"),
    ("sites/lots.geojson", "feature 23", "0, 0", "where it belongs"),
    ("sites/lots.geojson", "feature 25", "kind is blank", "property"),
    ("sites/lots.geojson", "feature 26", "no length", "draw it"),
    ("sites/lots.geojson", "feature 27", "no degrees", "WGS 84"),
]


@pytest.fixture(scope="module")
def faulty():
    return read_book(FAULTY)


@pytest.mark.parametrize(("file", "feature", "problem", "remedy"), EXPECTED)
def test_each_fault_is_told_with_file_feature_and_remedy(faulty, file, feature, problem, remedy):
    problems = faulty.problems
    here = problems[(problems["file"] == file) & (problems["feature"] == feature)]
    told = here[here["problem"].str.contains(problem, regex=False)]
    assert len(told) == 1
    assert told["severity"].tolist() == ["fault"]
    assert remedy in told["remedy"].iloc[0]


def test_no_other_fault_is_told(faulty):
    assert (faulty.problems["severity"] == "fault").sum() == len(EXPECTED)
    notes = faulty.problems[faulty.problems["severity"] == "note"]
    assert notes["feature"].tolist() == ["", "feature 10"]


def test_the_good_ones_survive(faulty):
    assert faulty.clients["client_id"].tolist()[:3] == ["007", "G2", "G3"]
    assert faulty.clients["notes"].iloc[0] == "=good since the start"
    assert faulty.clients["name"].iloc[1] == "NA"
    kinds = faulty.features.groupby("client_id")["kind"].agg(sorted)
    assert kinds["007"] == kinds["G2"] == ["house", "property"]
    assert faulty.measured["client_id"].tolist() == ["G3"]
    assert faulty.rates.crew_count.value == 3
    assert faulty.rules.setbacks.trunk_ft == 5
    assert faulty.rules.bed_depth_ft == 4


def test_wrong_letters_in_the_client_list():
    book = read_book(FAULTY / "wrong_encoding")
    assert book.problems["feature"].tolist() == ["row 2"]
    assert "UTF-8" in book.problems.loc[0, "problem"]
    assert book.clients["name"].tolist() == ["José Peña", "Ann"]


@pytest.mark.parametrize(
    ("name", "match"),
    [
        ("empty_list", "clients.csv is empty"),
        ("no_id_column", "no client_id"),
        ("no_such_book", "there is no folder"),
        ("sites", "clients.csv is not there"),
    ],
)
def test_nothing_to_work_with(name, match):
    with pytest.raises(BookError, match=match):
        read_book(FAULTY / name)


def test_clients_without_lots(tmp_path):
    (tmp_path / "clients.csv").write_text("client_id\nA\n")
    with pytest.raises(BookError, match="what the lots"):
        read_book(tmp_path)


def test_the_script_makes_the_same_faulty_book(tmp_path):
    script = tmp_path / "make_faulty.py"
    script.write_bytes((SAMPLES / "make_faulty.py").read_bytes())
    subprocess.run([sys.executable, str(script)], check=True)
    made = {
        path.relative_to(tmp_path): path.read_bytes() for path in (tmp_path / "faulty").rglob("*.*")
    }
    kept = {path.relative_to(SAMPLES): path.read_bytes() for path in FAULTY.rglob("*.*")}
    assert made.keys() == kept.keys()
    # another version of the reader's library may write a Shapefile differently
    assert all(made[name] == kept[name] for name in made if name.suffix != ".zip")


def test_example_book_has_no_problem(tmp_path):
    written = start_book(tmp_path / "mine")
    assert all(path.is_file() for path in written)
    book = read_book(tmp_path / "mine")
    assert book.problems.empty
    assert len(book.clients) == 3
    assert "house" in book.features.query("client_id == '001'")["kind"].tolist()
    assert set(book.measured["client_id"]) == {"002", "003"}


def test_commented_settings_of_the_example_all_exist(tmp_path):
    start_book(tmp_path / "mine")
    for name in ("rates.toml", "local.toml"):
        path = tmp_path / "mine" / name
        lines = path.read_text().splitlines()
        is_setting = [line.startswith("[") or (" = " in line and "{" not in line) for line in lines]
        settings = [
            line.removeprefix("# ") for line, kept in zip(lines, is_setting, strict=True) if kept
        ]
        path.write_text("\n".join(settings))
        assert len(settings) > 10
    book = read_book(tmp_path / "mine")
    assert book.problems.empty
    assert book.rules.company.phone == "402-555-0100"


def test_a_folder_in_use_is_refused(tmp_path):
    (tmp_path / "clients.csv").write_text("client_id\nA\n")
    with pytest.raises(BookError, match="not empty"):
        start_book(tmp_path)


def test_both_client_lists_are_noted(tmp_path):
    start_book(tmp_path / "mine")
    (tmp_path / "mine" / "clients.xlsx").write_bytes(b"x")
    problems = read_book(tmp_path / "mine").problems
    assert problems["file"].tolist() == ["clients.xlsx"]
    assert problems["severity"].tolist() == ["note"]


def test_problems_are_sorted_as_people_count_and_said_once():
    rows = [
        fault("b.csv", "", "x", "y"),
        fault("a.csv", "row 10", "x", "y"),
        fault("a.csv", "row 9", "x", "y"),
    ]
    problems = join_problems(list_problems(rows), list_problems(rows))
    assert problems["feature"].tolist() == ["row 9", "row 10", ""]
    assert problems.columns.tolist() == list(PROBLEMS.columns)
