"""Checklists that a crew filled in."""

from __future__ import annotations

import io
import random
from datetime import date
from functools import partial
from pathlib import Path

import pandas as pd
import pytest
from openpyxl import load_workbook

from scanner.book.checklist_sheet import check_answers
from scanner.book.filled_sheet import read_filled, sheet_kind
from scanner.errors import BookError
from scanner.pages.checklist import checklist_xlsx, plan_rounds
from tests.answers import answers
from tests.small_scan import small_clients

TODAY = date(2027, 2, 20)
CLIENTS = pd.DataFrame({"client_id": ["A1", "007", "C3"], "name": ["Ada", "Bo", "Cy"]})
HEADER = "client_id,route,mow_day,seen_on,turf to curb,curb condition,drive width ft,has bed\n"


def read_checklist(path, clients, *, today):
    check = partial(check_answers, clients=clients, today=today)
    return read_filled(path, "checklist", check)


def read(tmp_path, text, *, clients=CLIENTS, today=TODAY):
    path = tmp_path / "checklist.csv"
    path.write_text(text, encoding="utf-8")
    return read_checklist(path, clients, today=today)


def told(table):
    return table[["client_id", "question", "answer", "seen_on"]].to_numpy().tolist()


def test_answers_of_every_kind(tmp_path):
    found, problems = read(tmp_path, HEADER + "A1,North,Monday,2027-02-10,Y,2,12 ft,NO\n")
    assert problems.empty
    assert told(found) == [
        ["A1", "curb condition", "2", "2027-02-10"],
        ["A1", "drive width ft", "12", "2027-02-10"],
        ["A1", "has bed", "no", "2027-02-10"],
        ["A1", "turf to curb", "yes", "2027-02-10"],
    ]


def test_blank_cells_and_blank_rows_are_no_answers(tmp_path):
    found, problems = read(tmp_path, HEADER + "A1,North,Monday,2027-02-10,,,,\nC3,,,,,,,\n")
    assert found.empty
    assert problems.empty


@pytest.mark.parametrize(
    ("typed", "day"), [("2/10/2027", "2027-02-10"), ("46428", "2027-02-10"), ("Feb 10, 2027", "2027-02-10")]
)  # fmt: skip
def test_days_as_spreadsheets_write_them(tmp_path, typed, day):
    found, _ = read(tmp_path, f'{HEADER}A1,,,"{typed}",yes,,,\n')
    assert found["seen_on"].tolist() == [day]


def test_one_day_holds_for_the_rows_of_its_round(tmp_path):
    rows = "A1,North,Monday,2027-02-10,yes,,,\n007,North,Monday,,no,,,\nC3,South,Monday,,no,,,\n"
    found, problems = read(tmp_path, HEADER + rows)
    assert dict(zip(found["client_id"], found["seen_on"], strict=True)) == {
        "007": "2027-02-10", "A1": "2027-02-10",
    }  # fmt: skip
    assert problems["feature"].tolist() == ["row 4"]
    assert "do not name one day alone" in problems["problem"].iloc[0]


def test_two_days_in_a_round_decide_nothing(tmp_path):
    rows = "A1,North,Monday,2027-02-10,yes,,,\n007,North,Monday,2027-02-11,yes,,,\nC3,North,Monday,,no,,,\n"
    found, problems = read(tmp_path, HEADER + rows)
    assert found["client_id"].tolist() == ["007", "A1"]
    assert problems["client_id"].tolist() == ["C3"]


@pytest.mark.parametrize(
    ("row", "words", "remedy"),
    [
        ("X9,,,2027-02-10,yes,,,", "'X9' is not in the client list", "put the id right"),
        ("A1,,,2027-02-30,yes,,,", "which is no day", "year-month-day"),
        ("A1,,,2027-03-01,yes,,,", "after today, 2027-02-20", "clock"),
        ("A1,,,2027-02-10,maybe,,,", "'maybe' came where yes or no belongs", "blank"),
        ("A1,,,2027-02-10,,4,,", "'4' came where a whole number from 0 to 3 belongs", "blank"),
        ("A1,,,2027-02-10,,1.5,,", "a whole number from 0 to 3", "blank"),
        ("A1,,,2027-02-10,,,wide,", "'wide' came where a number from 0 to 100 belongs", "blank"),
        ("A1,,,2027-02-10,,,-3,", "a number from 0 to 100", "blank"),
    ],
)
def test_a_fault_names_its_row_and_the_rest_is_read(tmp_path, row, words, remedy):
    found, problems = read(tmp_path, f"{HEADER}{row}\nC3,,,2027-02-10,no,,,\n")
    assert told(found) == [["C3", "turf to curb", "no", "2027-02-10"]]
    (problem,) = problems.to_dict("records")
    assert (problem["file"], problem["feature"]) == ("checklist.csv", "row 2")
    assert words in problem["problem"]
    assert remedy in problem["remedy"]


def test_one_bad_cell_leaves_the_others_of_its_row(tmp_path):
    found, problems = read(tmp_path, HEADER + "A1,,,2027-02-10,yes,9,12,\n")
    assert found["question"].tolist() == ["drive width ft", "turf to curb"]
    assert len(problems) == 1


def test_an_id_that_lost_its_zeros_is_known(tmp_path):
    found, _ = read(tmp_path, HEADER + "7,,,2027-02-10,yes,,,\n")
    assert found["client_id"].tolist() == ["007"]


def test_the_latest_of_two_rows_counts_and_a_tie_is_told(tmp_path):
    rows = "A1,,,2027-02-10,yes,,,\nA1,,,2027-02-12,no,,,\nC3,,,2027-02-10,yes,,,\nC3,,,2027-02-10,no,,,\n"
    found, problems = read(tmp_path, HEADER + rows)
    assert told(found) == [["A1", "turf to curb", "no", "2027-02-12"]]
    assert "rows 4, 5 answer 'yes' and 'no' on one day" in problems["problem"].iloc[0]


def test_what_is_no_table_is_refused(tmp_path):
    with pytest.raises(BookError, match="is empty"):
        read(tmp_path, "")


def filled_sheet(path, *, shuffle=0):
    """The program's own sheet of the small scan, filled in for every lot, in any order of rows."""
    clients = small_clients()
    rounds = plan_rounds(clients, answers(), route=None, day=None)
    checklist_xlsx(file := io.BytesIO(), rounds, book="b", today=TODAY)
    path.write_bytes(file.getvalue())
    workbook = load_workbook(path)
    sheet = workbook.worksheets[0]
    header = [cell.value for cell in sheet[1]]
    rows = [[cell.value for cell in row] for row in sheet.iter_rows(min_row=2)]
    for at, row in enumerate(rows):
        row[header.index("seen_on")] = date(2027, 2, 10)
        row[header.index("turf to curb")] = "yes" if at % 2 else "no"
        row[header.index("slope percent")] = at
    if shuffle:
        random.Random(shuffle).shuffle(rows)  # noqa: S311  # an order, no secret
    sheet.delete_rows(2, sheet.max_row)
    for row in rows:
        sheet.append(row)
    sheet.title = "Tabelle1"
    saved = io.BytesIO()
    workbook.save(saved)
    path.write_bytes(saved.getvalue())
    return clients


def test_our_own_spreadsheet_comes_back(tmp_path):
    path = tmp_path / "checklist.xlsx"
    clients = filled_sheet(path)
    assert sheet_kind(path) == "checklist"
    found, problems = read_checklist(path, clients, today=TODAY)
    assert problems.empty
    assert len(found) == 2 * len(clients)
    assert set(found["question"]) == {"turf to curb", "slope percent"}


def test_percent_typed_into_the_spreadsheet_is_what_it_shows(tmp_path):
    path = tmp_path / "checklist.xlsx"
    clients = filled_sheet(path)
    workbook = load_workbook(path)
    sheet = workbook.worksheets[0]
    place = [cell.value for cell in sheet[1]].index("slope percent") + 1
    # 12% typed into a cell is the number 0.12, shown with a percent sign
    cell = sheet.cell(row=2, column=place, value=0.12)
    cell.number_format = "0%"
    workbook.save(path)
    found, problems = read_checklist(path, clients, today=TODAY)
    assert problems.empty
    slopes = found[found["question"] == "slope percent"].set_index("client_id")["answer"]
    ids = [cell.value for cell in sheet[1]].index("client_id") + 1
    assert slopes[sheet.cell(row=2, column=ids).value] == "12"


def test_reading_twice_and_in_another_order_is_the_same(tmp_path):
    path = tmp_path / "checklist.xlsx"
    clients = filled_sheet(path)
    first, _ = read_checklist(path, clients, today=TODAY)
    again, _ = read_checklist(path, clients, today=date(2027, 3, 20))
    filled_sheet(path, shuffle=3)
    shuffled, _ = read_checklist(path, clients, today=TODAY)
    assert told(first) == told(again) == told(shuffled)


def test_the_template_is_read(tmp_path):
    template = Path(__file__).parents[2] / "shared" / "templates" / "checklist.csv"
    assert sheet_kind(template) == "checklist"
    filled = template.read_text(encoding="utf-8").rstrip("\n").split(",")
    row = ["A1" if name == "client_id" else "2027-02-10" if name == "seen_on" else "" for name in filled]  # fmt: skip
    row[filled.index("gate width in")] = "36"
    found, problems = read(tmp_path, ",".join(filled) + "\n" + ",".join(row) + "\n")
    assert problems.empty
    assert told(found) == [["A1", "gate width in", "36", "2027-02-10"]]
