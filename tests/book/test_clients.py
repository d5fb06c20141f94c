"""The client list: read as text, each faulty row and cell told of, the rest kept."""

from __future__ import annotations

import datetime as dt

import numpy as np
import openpyxl
import pytest

from scanner.book.clients import read_clients
from scanner.errors import BookError


def read(tmp_path, text, encoding="utf-8"):
    path = tmp_path / "clients.csv"
    path.write_bytes(text.encode(encoding))
    return read_clients(path)


def test_ids_and_names_stay_as_they_are(tmp_path):
    clients, problems = read(tmp_path, "client_id,name,lon\n007,NA,\nNA,null,\n1e3,None,\n")
    assert clients["client_id"].tolist() == ["007", "NA", "1e3"]
    assert clients["name"].tolist() == ["NA", "null", "None"]
    assert clients["lon"].isna().all()
    assert problems.empty


def test_columns_missing_are_blank_and_others_are_carried(tmp_path):
    clients, _ = read(tmp_path, "client_id,gate code\nA,4711\n")
    assert clients.loc[0, "phone"] == ""
    assert clients.loc[0, "gate code"] == "4711"


def test_header_may_be_written_as_people_write(tmp_path):
    clients, _ = read(tmp_path, "Client ID;Mow Day\r\nA;Monday\r\n")
    assert clients.loc[0, ["client_id", "mow_day"]].tolist() == ["A", "Monday"]


def test_neutralised_cells_get_their_own_text_back(tmp_path):
    # OWASP, CSV injection: = + - @ start a formula, an apostrophe before keeps it text
    clients, _ = read(tmp_path, "client_id,notes\nA,'=1+1\nB,'tis the gate\nC,'@home\n")
    assert clients["notes"].tolist() == ["=1+1", "'tis the gate", "@home"]


@pytest.mark.parametrize(
    ("row", "feature", "problem"),
    [
        (",x", "row 3", "client_id is blank"),
        ("A,x", "row 3", "'A' stands in row 2 already"),
        ("B,x,y,z", "row 3", "4 cells came where the header has 2"),
    ],
)
def test_faulty_row_is_left_out(tmp_path, row, feature, problem):
    clients, problems = read(tmp_path, f"client_id,name\nA,first\n{row}\nC,last\n")
    assert clients["client_id"].tolist() == ["A", "C"]
    assert problems["feature"].tolist() == [feature]
    assert problems["severity"].tolist() == ["fault"]
    assert problem in problems.loc[0, "problem"]
    assert problems.loc[0, "remedy"]


@pytest.mark.parametrize(
    ("column", "came"),
    [
        ("annual_usd", "about 1500"),
        ("mowed_ft2", "-20"),
        ("stop", "nan"),
        ("visits_per_year", "inf"),
        ("frontage_ft", "12 ft"),
        ("renter", "perhaps"),
        ("sprinklers", "some"),
        ("last_contact", "3/14/2025"),
        ("client_since", "2025-02-30"),
    ],
)
def test_faulty_cell_is_blanked_and_told(tmp_path, column, came):
    clients, problems = read(tmp_path, f"client_id,{column}\nA,{came}\n")
    assert clients.loc[0, column] == "" or np.isnan(clients.loc[0, column])
    assert problems["feature"].tolist() == ["row 2"]
    assert column in problems.loc[0, "problem"]
    assert came in problems.loc[0, "problem"]


def test_numbers_with_dollar_and_commas_are_understood(tmp_path):
    clients, problems = read(tmp_path, 'client_id,annual_usd\nA,"$1,450.50"\n')
    assert clients.loc[0, "annual_usd"] == 1450.5
    assert problems.empty


def test_a_do_not_call_that_cannot_be_read_is_a_yes(tmp_path):
    clients, problems = read(tmp_path, "client_id,do_not_call\nA,please dont\nB,N\n")
    assert clients["do_not_call"].tolist() == ["yes", "no"]
    assert "safe side" in problems.loc[0, "problem"]


@pytest.mark.parametrize(
    ("lon", "lat", "reason"),
    [
        ("40.8", "-97.8", "swapped"),
        ("40.8", "-75.1", "swapped"),  # a latitude that exists, but no town lies there
        ("0", "0", "ocean"),
        ("-97.8", "", "only one"),
        ("-97.8", "140", "no degrees"),
    ],
)
def test_places_that_no_lawn_has_are_blanked(tmp_path, lon, lat, reason):
    clients, problems = read(tmp_path, f"client_id,lon,lat\nA,{lon},{lat}\n")
    assert clients[["lon", "lat"]].isna().all(axis=None)
    assert len(problems) == 1
    assert reason in problems.loc[0, "problem"]


def test_a_place_swapped_among_others_is_found(tmp_path):
    rows = "".join(f"P{n},14.{n},50.{n}\n" for n in range(5))  # Prague: both orders are possible
    _, problems = read(tmp_path, f"client_id,lon,lat\n{rows}X,50.2,14.2\n")
    assert problems["feature"].tolist() == ["row 7"]
    assert "swapped" in problems.loc[0, "problem"]


def test_wrong_letters_are_read_as_well_as_can_be(tmp_path):
    clients, problems = read(tmp_path, "client_id,name\nA,Ann\nB,Peña\n", encoding="cp1252")
    assert clients["name"].tolist() == ["Ann", "Peña"]
    assert problems["feature"].tolist() == ["row 3"]
    assert "UTF-8" in problems.loc[0, "problem"]


def test_byte_order_mark_is_no_part_of_the_header(tmp_path):
    clients, problems = read(tmp_path, "client_id\nA\n", encoding="utf-8-sig")
    assert clients["client_id"].tolist() == ["A"]
    assert problems.empty


@pytest.mark.parametrize(
    ("text", "match"),
    [("", "is empty"), ("name\nAnn\n", "has no client_id"), ("client_id\n", "has no client_id")],
)
def test_nothing_to_work_with(tmp_path, text, match):
    with pytest.raises(BookError, match=match):
        read(tmp_path, text)


def test_missing_file(tmp_path):
    with pytest.raises(BookError, match="is not there"):
        read_clients(tmp_path / "clients.csv")


def test_spreadsheet_is_read_as_it_shows(tmp_path):
    workbook = openpyxl.Workbook()
    sheet = workbook.active
    sheet.append(["client_id", "stop", "do_not_call", "client_since", "annual_usd", "notes"])
    sheet.append([7, 3, True, dt.datetime(2019, 3, 14), 1450.5, None])  # noqa: DTZ001  (a cell has no zone)
    sheet.append(["008", 4, False, dt.date(2020, 1, 2), 12, "'-x"])
    sheet["A2"].number_format = "000"
    path = tmp_path / "clients.xlsx"
    workbook.save(path)
    clients, problems = read_clients(path)
    assert problems.empty
    assert clients["client_id"].tolist() == ["007", "008"]
    assert clients["do_not_call"].tolist() == ["yes", "no"]
    assert clients["client_since"].tolist() == ["2019-03-14", "2020-01-02"]
    assert clients["annual_usd"].tolist() == [1450.5, 12.0]
    assert clients["notes"].tolist() == ["", "-x"]


def test_spreadsheet_that_is_none(tmp_path):
    path = tmp_path / "clients.xlsx"
    path.write_text("client_id\nA\n")
    with pytest.raises(BookError, match="not a spreadsheet"):
        read_clients(path)


def test_a_lone_quotation_mark_costs_one_row(tmp_path):
    text = 'client_id,name\nA,"Ann, Ltd"\nB,"Ben\nC,Cleo\nD,5 "oaks"\n'
    clients, problems = read(tmp_path, text)
    assert clients["client_id"].tolist() == ["A", "C", "D"]
    assert clients["name"].tolist() == ["Ann, Ltd", "Cleo", '5 "oaks"']
    assert problems["feature"].tolist() == ["row 3"]
    assert "quotation mark" in problems.loc[0, "problem"]


def test_ids_that_would_give_beds_the_same_names_are_told_of(tmp_path):
    clients, problems = read(tmp_path, "client_id,name\nA 1,Ada\nA_1,Bo\nA-1,Cy\n")
    assert clients["client_id"].tolist() == ["A 1", "A-1"]
    assert problems["problem"].tolist() == [
        "client_id 'A_1' and 'A 1' would give their beds the same names; the row is left out"
    ]
