from __future__ import annotations

import io
import zipfile

import pytest
from openpyxl import load_workbook

from scanner.pages.call_list import call_rows, left_out_rows
from scanner.pages.call_sheet import calls_xlsx
from scanner.schema.log_tables import OUTCOMES
from scanner.sheets.lists import CALL_LIST
from tests.small_scan import FORMULA_NAME, TODAY, small_scan


def write(rows=None, left_out=()):
    scan, file = small_scan(), io.BytesIO()
    rows = call_rows(scan) if rows is None else rows
    calls_xlsx(file, scan, rows, left_out or left_out_rows(scan))
    return file.getvalue()


@pytest.fixture(scope="module")
def workbook():
    return load_workbook(io.BytesIO(write()))


def cell(sheet, client_id, column):
    row = next(row for row in sheet.iter_rows(min_row=2) if row[1].value == client_id)
    return row[CALL_LIST.names.index(column)]


def test_sheets_and_frozen_header(workbook):
    assert workbook.sheetnames == ["Calls", "Figures", "Left out", "Assumptions"]
    assert workbook["Figures"].freeze_panes == "D2"
    assert tuple(c.value for c in workbook["Figures"][1]) == CALL_LIST.names


def test_money_is_a_number_in_money_format(workbook):
    price = cell(workbook["Figures"], "C0002", "price_usd")
    assert price.value == 4290.91
    assert price.number_format == '"$"#,##0.00'
    assert cell(workbook["Figures"], "C0002", "chance").number_format == "0.0%"
    assert cell(workbook["Figures"], "C0002", "called_on").number_format == "yyyy-mm-dd"


def test_phone_stays_text(workbook):
    phone = cell(workbook["Figures"], "C0009", "phone")
    assert (phone.value, phone.data_type, phone.number_format) == ("+1 308 555 0109", "s", "@")


def test_formula_is_stored_as_quoted_text(workbook):
    name = cell(workbook["Figures"], "C0009", "name")
    assert (name.value, name.data_type, name.quotePrefix) == (FORMULA_NAME, "s", True)
    formulas = [
        c for sheet in workbook for row in sheet.iter_rows() for c in row if c.data_type == "f"
    ]
    assert formulas == []


def test_outcome_is_a_drop_down_and_dates_are_dates(workbook):
    sheet = workbook["Figures"]
    heads = {cell.value: cell.column_letter for cell in sheet[1]}
    checks = {str(check.sqref): check for check in sheet.data_validations.dataValidation}
    outcome = checks.pop(f"{heads['outcome']}2:{heads['outcome']}7")
    assert (outcome.type, outcome.formula1) == ("list", f'"{",".join(OUTCOMES)}"')
    assert {place: check.type for place, check in checks.items()} == {
        f"{heads[name]}2:{heads[name]}7": "date" for name in ("called_on", "next_date")
    }


def test_third_sheet_tells_why(workbook):
    rows = list(workbook["Left out"].iter_rows(min_row=2, values_only=True))
    assert ("C0005", "asked not to be called") in [(row[0], row[6]) for row in rows]


def test_print_set_up(workbook):
    sheet = workbook["Figures"]
    assert sheet.page_setup.orientation == "landscape"
    assert sheet.print_title_rows == "$1:$1"
    assert sheet.sheet_properties.pageSetUpPr.fitToPage
    assert TODAY.isoformat() in sheet.oddHeader.left.text
    assert sheet.oddFooter.center.text == "Page &P of &N"
    assert sheet.column_dimensions["C"].width == pytest.approx(24, abs=1)


def test_same_bytes_whatever_the_clock_says():
    content = write()
    assert write() == content
    with zipfile.ZipFile(io.BytesIO(content)) as packed:
        assert {entry.date_time for entry in packed.infolist()} == {(1980, 1, 31, 0, 0, 0)}
        core = packed.read("docProps/core.xml").decode()
    assert core.count(f">{TODAY.isoformat()}T00:00:00Z<") == 2


def test_characters_that_a_sheet_cannot_hold_become_blanks():
    scan = small_scan()
    rows = list(call_rows(scan))
    rows[0]["name"] = "Bo\x07Tansy"
    sheet = load_workbook(io.BytesIO(write(rows)))["Figures"]
    assert sheet["C2"].value == "Bo Tansy"


def test_empty_list_is_still_a_sheet():
    workbook = load_workbook(io.BytesIO(write([])))
    assert [workbook[name].max_row for name in ("Calls", "Figures")] == [1, 1]
