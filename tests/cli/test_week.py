"""``week``: one page, the same lines as JSON, names that never run."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest

from tests.cli.desk import book_on_foot, type_in

pytestmark = pytest.mark.usefixtures("without_map")

SCRIPT = "<script>alert(1)</script>"


@pytest.fixture(scope="module")
def scanned(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Three lots that were measured on foot, scanned."""
    folder = book_on_foot(
        tmp_path_factory.mktemp("week") / "elm",
        "client_id,name,address,phone,route",
        f"A,{SCRIPT},1 Elm St,308-555-0101,East", "B,Bo,2 Elm St,,East", "C,Cy,3 Elm St,,West",
        curb_ft={"A": 60, "B": 50, "C": 40},
    )  # fmt: skip
    out = ("--out", str(folder.parent / "out"))
    assert type_in("scan", str(folder), *out, "--today", "2026-03-16").exit_code == 0
    return folder


@pytest.fixture
def book(scanned: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(scanned, tmp_path / "elm"))


def test_the_week_of_a_small_book(book, tmp_path):
    day = ("--today", "2026-03-16")
    noted = (
        "record",
        str(book),
        "calls",
        "A",
        "call back",
        "--on",
        "2026-03-10",
        "--next",
        "2026-03-12",
        *day,
    )
    assert type_in(*noted, "--note", f"job today, gate code 42 {SCRIPT}").exit_code == 0
    note = ("--note", "side gate only")
    told = type_in("record", str(book), "calls", "B", "note", *note, *day)
    assert told.stderr.startswith("B, Bo, 2 Elm St:\n")
    (book / "capacity.csv").write_text("week,crew,free_crew_days\n2026-03-16,A,1.5\nsoon,A,2\n")
    told = type_in("week", str(book), "--out", str(tmp_path / "out"), *day)
    assert told.exit_code == 1  # a row of capacity.csv needs fixing
    assert "1 call back, 0 visits, 0 quotes" in told.stderr
    assert "capacity.csv, row 3" in told.stderr
    html = (tmp_path / "out" / "week.html").read_text(encoding="utf-8")
    assert "job today, gate code 42 &lt;script&gt;" in html
    assert SCRIPT not in html
    assert html.count("Mar 16: “<bdi>side gate only</bdi>”") == 1  # beside the new call
    assert "4 days late" in html
    assert "Free in capacity.csv" in html
    lines = json.loads(
        type_in("week", str(book), "--out", str(tmp_path / "out"), "--json", *day).stdout
    )["lines"]
    assert [(line["section"], line["client_id"]) for line in lines] == [
        ("call back", "A"),
        ("new call", "B"),
        ("new call", "C"),
    ]
    assert lines[0]["command"] == f"bed-scanner record {book.as_posix()} calls A OUTCOME"


def test_a_week_in_which_nothing_is_due(book, tmp_path):
    (book / "book.sqlite").unlink()
    (book / "clients.csv").write_text("client_id,name\nZ,Zoe\n")
    (book / "measured.csv").write_text("client_id,along,length_ft\n")
    told = type_in("week", str(book), "--out", str(tmp_path / "out"), "--today", "2026-03-16")
    assert told.exit_code == 0
    assert "Nothing is on record" in told.stderr
    assert "Nobody was promised a call" in (tmp_path / "out" / "week.html").read_text(
        encoding="utf-8"
    )


def test_a_week_opened_on_a_weekend_is_the_one_to_come(book, tmp_path):
    out = ("--out", str(tmp_path / "out"))
    # Friday, March 20, is in the week of the 16th; Saturday and Sunday open that of the 23rd
    for day, monday in ((20, 16), (21, 23), (22, 23)):
        told = type_in("week", str(book), *out, "--json", "--today", f"2026-03-{day}")
        assert json.loads(told.stdout)["week"] == f"2026-03-{monday}"
