"""``unmatched.csv``: written for a person, filled in, read back."""

from __future__ import annotations

import csv
import shutil

import openpyxl
import pytest

from scanner.errors import BookError
from scanner.sheets.filled import CHOICES
from tests.county_town import assemble, lot, parcels, point, row_of_lots, unmatched_rows, write_book

LAYERS = {"property": row_of_lots()}


TWO = ({"client_id": "A", "address": "103 Clovr St"}, {"client_id": "B", "parcel_id": "10-004"})
"""Two clients: one whose address is misspelled, one who is found."""


@pytest.fixture
def book(tmp_path):
    return write_book(tmp_path / "book", *TWO)


@pytest.fixture(scope="module")
def assembled(tmp_path_factory):
    book = write_book(tmp_path_factory.mktemp("assembled") / "book", *TWO)
    assemble(book, LAYERS)
    return book


@pytest.fixture
def listed(assembled, tmp_path):
    """A copy of that book with the list of those who were not found."""
    return shutil.copytree(assembled, tmp_path / "book")


def fill(book, **choices):
    """Fill the column choice in, as somebody at a spreadsheet does."""
    rows = unmatched_rows(book)
    for client_id, choice in choices.items():
        rows[client_id]["choice"] = choice
    return write(book, *rows.values())


def write(book, *rows, columns=CHOICES.names):
    path = book / "unmatched.csv"
    with path.open("w", encoding="utf-8-sig", newline="") as file:
        writer = csv.DictWriter(file, columns, restval="")
        writer.writeheader()
        writer.writerows(rows)
    return path


def test_the_list_has_a_row_a_client_and_room_for_a_choice(listed):
    rows = unmatched_rows(listed)
    assert list(rows) == ["A"]
    assert tuple(rows["A"]) == CHOICES.names
    assert rows["A"]["choice"] == ""
    assert rows["A"]["likely_1"] == "10-002"


@pytest.mark.parametrize("choice", ["1", "10-002", " 10-002 ", "place"])
def test_a_choice_is_a_number_an_id_or_a_place(listed, choice):
    lon, lat = point(120, 60)
    path = fill(listed, A=f"{lat}, {lon}" if choice == "place" else choice)
    made = assemble(listed, LAYERS, matches=path)
    assert (made.counts["by_choice"], made.counts["unmatched"]) == (1, 0)
    assert made.problems.empty


def test_a_choice_is_kept_for_the_next_time(listed):
    path = fill(listed, A="1")
    assemble(listed, LAYERS, matches=path)
    row = unmatched_rows(listed)["A"]
    assert (row["choice"], row["why"]) == ("10-002", "matched by your choice")
    assert assemble(listed, LAYERS, matches=path).counts["by_choice"] == 1


def test_a_choice_that_was_not_read_is_not_lost(listed):
    path = fill(listed, A="1")
    before = path.read_bytes()
    with pytest.raises(
        BookError, match=r"row 2, client A\) that would be lost: add --matches unmatched.csv"
    ):
        assemble(listed, LAYERS)
    assert path.read_bytes() == before


def test_a_spreadsheet_is_read_too(book, tmp_path):
    workbook = openpyxl.Workbook()
    for row in (["Client_ID", "Choice"], ["A", "10-002"]):
        workbook.active.append(row)
    workbook.save(tmp_path / "mine.xlsx")
    assert assemble(book, LAYERS, matches=tmp_path / "mine.xlsx").counts["by_choice"] == 1


def test_a_place_stands_for_a_lot_without_an_id(book):
    layers = {"property": parcels((None, "103 CLOVER ST", lot(1)), ("10-004", None, lot(3)))}
    assemble(book, layers)
    named = unmatched_rows(book)["A"]["likely_1"]
    lat, lon = (float(part) for part in named.split(", "))
    assert (lon, lat) == pytest.approx(point(120, 60), abs=2e-6)
    assert assemble(book, layers, matches=fill(book, A="1")).counts["by_choice"] == 1


def test_an_unknown_client_is_refused_with_that_sentence(book):
    path = write(book, {"client_id": "Z", "choice": "10-002"})
    with pytest.raises(BookError, match=r"unmatched.csv, row 2: the client list has no client 'Z'"):
        assemble(book, LAYERS, matches=path)
    assert not (book / "sites").exists()


def test_a_missing_column_is_refused(book):
    path = write(book, {"client_id": "A"}, columns=("client_id", "parcel"))
    with pytest.raises(
        BookError, match="no column choice; the columns that are there: client_id, parcel"
    ):
        assemble(book, LAYERS, matches=path)


@pytest.mark.parametrize(
    ("choice", "words"),
    [
        ("77-777", "no parcel has this id"),
        ("3", "no lot stands under that number"),
        ("12.0000, -97.0000", "no lot lies there"),
    ],
)
def test_a_choice_that_fits_no_lot_is_a_fault_and_the_rest_is_done(listed, choice, words):
    made = assemble(listed, LAYERS, matches=fill(listed, A=choice))
    assert words in made.problems["problem"].iloc[0]
    assert made.problems[["file", "feature", "client_id"]].iloc[0].tolist() == [
        "unmatched.csv",
        "row 2",
        "A",
    ]
    assert (made.counts["matched"], made.counts["unmatched"]) == (1, 1)


def test_an_id_that_stands_for_no_lot_cannot_be_chosen(book):
    shared = [("99-1", None, lot(10 + 2 * at)) for at in range(6)]
    layers = {"property": parcels(*shared, ("10-004", None, lot(3)))}
    path = write(book, {"client_id": "A", "choice": "99-1"})
    made = assemble(book, layers, matches=path)
    assert "6 parcels share it" in made.problems["problem"].iloc[0]


def test_two_choices_for_one_client_are_none(book):
    path = write(
        book, {"client_id": "A", "choice": "10-001"}, {"client_id": "A", "choice": "10-002"}
    )
    made = assemble(book, LAYERS, matches=path)
    assert made.problems["problem"].str.contains("stands there twice").sum() == 2
    assert made.counts["by_choice"] == 0


def test_a_choice_takes_no_lot_that_was_found_for_another(book):
    path = write(book, {"client_id": "A", "choice": "10-004"})
    made = assemble(book, LAYERS, matches=path)
    assert (made.counts["by_parcel_id"], made.counts["by_choice"], made.counts["unmatched"]) == (
        1,
        0,
        1,
    )
    assert made.problems["severity"].tolist() == ["fault"]
    assert "its lot is the lot of B already" in made.problems["problem"].iloc[0]
    # What was typed is not lost
    assert unmatched_rows(book)["A"]["choice"] == "10-004"


def test_a_number_that_came_to_nothing_stays_as_what_it_stood_for(book):
    row = {"client_id": "A", "choice": "2", "likely_2": "10-004"}
    assemble(book, LAYERS, matches=write(book, row))
    assert unmatched_rows(book)["A"]["choice"] == "10-004"


def test_a_lot_of_another_client_is_not_offered(tmp_path):
    book = write_book(
        tmp_path / "book",
        {"client_id": "A", "address": "106 Clover St"},
        {"client_id": "B", "parcel_id": "10-004"},
    )
    assemble(book, LAYERS)
    row = unmatched_rows(book)["A"]
    assert "10-004" not in [row[f"likely_{number}"] for number in (1, 2, 3)]
    assert row["likely_1"]


def test_no_list_stays_where_all_are_matched(listed):
    write_book(listed, {"client_id": "B", "parcel_id": "10-004"})
    made = assemble(listed, LAYERS)
    assert made.unmatched_file is None
    assert not (listed / "unmatched.csv").exists()


def test_cells_cannot_run_as_formulas(book):
    write_book(book, {"client_id": "A", "name": "=1+1", "address": "-nowhere"})
    assemble(book, LAYERS)
    row = unmatched_rows(book)["A"]
    assert (row["name"], row["address"]) == ("'=1+1", "'-nowhere")
