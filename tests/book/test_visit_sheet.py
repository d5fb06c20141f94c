"""Sheets of visits: what is taken, what is listed and left out."""

from __future__ import annotations

from datetime import date
from functools import partial
from pathlib import Path

import openpyxl
import pandas as pd
import pytest

from scanner.book.filled_sheet import read_filled, sheet_kind
from scanner.book.measured import check_visits
from scanner.sheets.filled import VISIT_SHEET

TEMPLATE = Path(__file__).parents[2] / "shared" / "templates" / "visits.csv"
TODAY = date(2027, 3, 20)
CLIENTS = pd.DataFrame({"client_id": ["007", "C8"], "name": ["Ada Moss", "Bo Fern"]})
CHECK = partial(check_visits, clients=CLIENTS, today=TODAY)
HEADER = "client_id,name,visited_on,visited_by,note,along,length_ft,room_ft,openings_ft\n"


def read(tmp_path, text):
    path = tmp_path / "visits.csv"
    path.write_text(HEADER + text, encoding="utf-8")
    return read_filled(path, "visits", CHECK)


def test_template_has_the_columns_that_are_read():
    assert set(TEMPLATE.read_text(encoding="utf-8").strip().split(",")) == set(VISIT_SHEET.names)
    assert sheet_kind(TEMPLATE) == "visits"


def test_one_row_an_edge_and_one_visit(tmp_path):
    visits, edges, problems = read(
        tmp_path,
        "7,,3/12/2027,Kim,,curb,42.5,,\n"
        "7,,3/12/2027,,wants roses,curb,30,6,12\n"
        "C8,,2027-03-13,Lee,no turf there,,,,\n",
    )
    assert problems.empty
    assert visits.to_numpy().tolist() == [
        ["007", "2027-03-12", "Kim", "wants roses"],
        ["C8", "2027-03-13", "Lee", "no turf there"],
    ]
    assert edges[
        ["client_id", "along", "length_ft", "openings_ft", "measured_on"]
    ].to_numpy().tolist() == [
        ["007", "curb", 42.5, 0.0, "2027-03-12"],
        ["007", "curb", 30.0, 12.0, "2027-03-12"],
    ]
    assert edges["room_ft"].isna().tolist() == [True, False]


def test_line_of_the_blank_sheet_is_no_visit(tmp_path):
    visits, edges, problems = read(tmp_path, "7,Ada Moss,,,,,,,\n")
    assert len(visits) == len(edges) == len(problems) == 0


@pytest.mark.parametrize(
    ("row", "said"),
    [
        ("9,,2027-03-12,,,,,,", "client_id '9' is not in the client list"),
        ("7,,soon,,,,,,", "visited_on is 'soon', which is no day"),
        ("7,,,Kim,,,,,", "visited_on is blank, which is no day"),
        ("7,,2027-03-21,,,,,,", "visited_on 2027-03-21 is after today, 2027-03-20"),
        ("7,,2027-03-12,,,kerb,40,,", "along is 'kerb', which is none that is known"),
        ("7,,2027-03-12,,,curb,,,", "length_ft is blank"),
        ("7,,2027-03-12,,,curb,6000,,", "a length that no lot has"),
        ("7,,2027-03-12,,,curb,40,,40", "openings_ft '40' is not less than length_ft '40'"),
    ],
)
def test_faulty_rows_are_listed_and_the_rest_is_kept(tmp_path, row, said):
    visits, edges, problems = read(tmp_path, f"{row}\nC8,,2027-03-13,,,curb,50,,\n")
    assert problems["feature"].tolist() == ["row 2"]
    assert problems["severity"].tolist() == ["fault"]
    assert said in problems["problem"].iloc[0]
    assert edges["client_id"].tolist() == ["C8"]
    assert visits["client_id"].tolist() == ["C8"]


def test_a_bed_that_is_none_of_the_clients_is_listed_with_the_nearest(tmp_path):
    path = tmp_path / "visits.csv"
    rows = ["007,2027-03-12,curb,42,007-curb-1", "007,2027-03-12,curb,18,007-crub-2", "C8,2027-03-12,curb,30,007-curb-1"]  # fmt: skip
    path.write_text("\n".join(["client_id,visited_on,along,length_ft,bed_id", *rows]))
    stored = pd.DataFrame(
        [("007", "007-curb-1"), ("007", "007-curb-2"), ("007", "007-house-1")],
        columns=["client_id", "bed_id"],
    )
    _, edges, problems = read_filled(path, "visits", partial(CHECK, stored=stored))
    assert edges["bed_id"].tolist() == ["007-curb-1"]
    assert problems["problem"].tolist() == [
        "bed_id '007-crub-2' is no bed of 007; nearest to it is 007-curb-2; the row is left out",
        "bed_id '007-curb-1' is no bed of C8; nearest to it is none; the row is left out",
    ]
    # before any scan no bed is known, and none is doubted
    _, edges, problems = read_filled(path, "visits", partial(CHECK, stored=stored.iloc[:0]))
    assert (len(edges), len(problems)) == (3, 0)


def test_visit_with_a_good_edge_and_a_faulty_one(tmp_path):
    visits, edges, problems = read(
        tmp_path, "7,,2027-03-12,Kim,,curb,long,,\n7,,2027-03-12,,,house,30,,\n"
    )
    assert visits[["client_id", "visited_by"]].to_numpy().tolist() == [["007", ""]]
    assert edges["along"].tolist() == ["house"]
    assert problems["feature"].tolist() == ["row 2"]


def test_edges_of_a_copied_sheet_count_and_its_faults_name_it(tmp_path):
    header = HEADER.strip().split(",")
    workbook = openpyxl.Workbook()
    rows = {
        "Sheet": ["007", "", "2027-03-12", "", "", "curb", "40", "", ""],
        "March": ["C8", "", "2027-03-13", "", "", "curb", "50", "", ""],
    }
    for title, row in rows.items():
        sheet = workbook[title] if title in workbook else workbook.create_sheet(title)
        sheet.append(header)
        sheet.append(row)
    workbook["March"].append(["C8", "", "2027-03-13", "", "", "kerb", "50", "", ""])
    workbook.save(tmp_path / "visits.xlsx")
    visits, edges, problems = read_filled(tmp_path / "visits.xlsx", "visits", CHECK)
    assert visits["client_id"].tolist() == ["007", "C8"]
    assert edges[["client_id", "length_ft", "measured_on"]].to_numpy().tolist() == [
        ["007", 40.0, "2027-03-12"], ["C8", 50.0, "2027-03-13"],
    ]  # fmt: skip
    assert problems["feature"].tolist() == ["sheet March, row 3"]
