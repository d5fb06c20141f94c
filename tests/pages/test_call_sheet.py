from __future__ import annotations

import io
import zipfile

import pytest
from openpyxl import load_workbook

from scanner.pages.call_list import CALL_COLUMNS, call_rows, left_out_rows
from scanner.pages.call_sheet import calls_xlsx
from scanner.schema.log_tables import OUTCOMES
from tests.small_scan import FORMULA_NAME, TODAY, small_scan


def write():
    scan = small_scan()
    return calls_xlsx(scan, call_rows(scan), left_out_rows(scan))


@pytest.fixture(scope="module")
def workbook():
    return load_workbook(io.BytesIO(write()))


def cell(sheet, client_id, column):
    row = next(row for row in sheet.iter_rows(min_row=2) if row[1].value == client_id)
    return row[CALL_COLUMNS.index(column)]


def test_sheets_and_frozen_header(workbook):
    assert workbook.sheetnames == ["Calls", "Left out", "To be seen", "About"]
    assert workbook["Calls"].freeze_panes == "D2"
    assert tuple(c.value for c in workbook["Calls"][1]) == CALL_COLUMNS


def test_money_is_a_number_in_money_format(workbook):
    price = cell(workbook["Calls"], "C0002", "price_usd")
    assert price.value == 4290.91
    assert price.number_format == '"$"#,##0.00'
    assert cell(workbook["Calls"], "C0002", "chance").number_format == "0.0%"
    assert cell(workbook["Calls"], "C0002", "called_on").number_format == "yyyy-mm-dd"


def test_phone_stays_text(workbook):
    phone = cell(workbook["Calls"], "C0009", "phone")
    assert (phone.value, phone.data_type, phone.number_format) == ("+1 308 555 0109", "s", "@")


def test_formula_is_stored_as_quoted_text(workbook):
    name = cell(workbook["Calls"], "C0009", "name")
    assert (name.value, name.data_type, name.quotePrefix) == (FORMULA_NAME, "s", True)
    formulas = [
        c for sheet in workbook for row in sheet.iter_rows() for c in row if c.data_type == "f"
    ]
    assert formulas == []


def test_outcome_is_a_drop_down_and_dates_are_dates(workbook):
    sheet = workbook["Calls"]
    outcome, day = sheet.data_validations.dataValidation
    assert (outcome.type, outcome.formula1) == ("list", f'"{",".join(OUTCOMES)}"')
    assert str(outcome.sqref) == "AE2:AE7"
    assert sheet["AE1"].value == "outcome"
    assert day.type == "date"
    assert {sheet[f"{ref[:2]}1"].value for ref in str(day.sqref).split()} == {
        "called_on",
        "next_date",
    }


def test_second_sheet_tells_why(workbook):
    rows = list(workbook["Left out"].iter_rows(min_row=2, values_only=True))
    assert ("C0005", "asked not to be called") in [(row[0], row[6]) for row in rows]


def test_print_set_up(workbook):
    sheet = workbook["Calls"]
    assert sheet.page_setup.orientation == "landscape"
    assert sheet.print_title_rows == "$1:$1"
    assert sheet.sheet_properties.pageSetUpPr.fitToPage
    assert sheet.column_dimensions["C"].width == 24


def test_same_bytes_whatever_the_clock_says():
    content = write()
    assert write() == content
    with zipfile.ZipFile(io.BytesIO(content)) as packed:
        assert {entry.date_time for entry in packed.infolist()} == {(1980, 1, 1, 0, 0, 0)}
        core = packed.read("docProps/core.xml").decode()
    assert core.count(f">{TODAY.isoformat()}T00:00:00Z<") == 2


def test_characters_that_a_sheet_cannot_hold_become_blanks():
    scan = small_scan()
    rows = call_rows(scan)
    rows[0]["name"] = "Bo\x07Tansy"
    sheet = load_workbook(io.BytesIO(calls_xlsx(scan, rows, [])))["Calls"]
    assert sheet["C2"].value == "Bo Tansy"


def test_empty_list_is_still_a_sheet():
    sheet = load_workbook(io.BytesIO(calls_xlsx(small_scan(), [], [])))["Calls"]
    assert sheet.max_row == 1
