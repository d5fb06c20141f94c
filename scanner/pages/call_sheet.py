"""
The call list as a spreadsheet: `calls.xlsx`, to be opened, sorted, printed and filled in.

The same scan gives the same bytes: the times that the writer stamps are set to the day
of the scan, and the zip is packed anew with fixed dates.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import datetime, time
from decimal import Decimal
from math import isfinite
from typing import Any

from openpyxl import Workbook
from openpyxl.cell import Cell, MergedCell
from openpyxl.styles import Alignment, Font, PatternFill
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.datavalidation import DataValidation
from openpyxl.worksheet.properties import PageSetupProperties
from openpyxl.worksheet.worksheet import Worksheet

from scanner.pages.call_list import (
    CALL_COLUMNS,
    FILL_IN_COLUMNS,
    LEFT_OUT_COLUMNS,
    UNSEEN_COLUMNS,
    columns_of,
)
from scanner.pages.packing import pack_workbook, put_text
from scanner.schema.documents import BreakEven, Scan
from scanner.schema.log_tables import OUTCOMES

CALLS_SHEET = "Calls"
MONEY_FORMAT = '"$"#,##0.00'
DATE_FORMAT = "yyyy-mm-dd"
TEXT_FORMAT = "@"
FORMATS = {
    "chance": "0.0%", "chance_low": "0.0%", "chance_high": "0.0%", "edge_ft": "#,##0", "area_ft2": "#,##0",
    "crew_days": "0.00", "phone": TEXT_FORMAT, "client_id": TEXT_FORMAT, "called_on": DATE_FORMAT,
    "next_date": DATE_FORMAT,
}  # fmt: skip
"""Number formats by column; columns in ``_usd`` are money, the rest stands as it is."""

WIDTHS = {
    "rank": 6, "client_id": 11, "name": 24, "address": 28, "phone": 16, "offer": 34, "bed_ids": 30,
    "reasons": 60, "cautions": 60, "reason": 60, "note": 36, "next_action": 24, "change": 26, "stop": 6,
}  # fmt: skip
USUAL_WIDTH = 13
WRAPPED = ("offer", "reasons", "cautions", "reason", "note")

FOLDED = (("bed_ids", "area_ft2"), ("gross_profit_usd", "gross_profit_usd"),
          ("chance_low", "profit_per_selling_hour_usd"))  # fmt: skip
"""Runs of columns that are folded, so that the ones to fill in stand nearer the name."""

HEADER_FILL = PatternFill("solid", fgColor="FF24483E")
HEADER_FONT = Font(bold=True, color="FFFFFFFF")
FILL_IN_FILL = PatternFill("solid", fgColor="FFFBF3D9")
FIRST_FREE_CELL = "D2"
LETTER_PAPER = 1

ABOUT = (
    ("What this is", "Whom to call about a planted bed, best first: chance of a sale times gross profit."),
    ("chance", "Share of such calls that end in a sale this season; low and high are the ends of its 80 % range."),
    ("chance_calls", "Clients called in a year on record that the chance rests on; 0: on the rate book alone."),
    ("price", "Quick price before tax, from the lot's outline. It is not a quote: measure on the visit."),
    ("price low and high", "What the price may come to once the lot is measured."),
    ("crew_days", "Labour hours over the crew's hours in a day."),
    ("confirmed", "yes: drawn lawn, measured edge or a look by the crew. no: look first."),
    ("To fill in", "The shaded columns, after each call. Keep the other columns as they are."),
    ("Before a call", "Call between 8 in the morning and 9 in the evening at the client's place; some states stop "
                      "earlier. Whoever asked not to be called is on the second sheet."),
    ("Before digging", "Call the locating service. Ask for the permit where a bed lies in the right-of-way. Keep sight "
                       "lines, walls, roots and hydrants clear. Local codes and licensed practice go first."),
)  # fmt: skip


def calls_xlsx(
    scan: Scan,
    rows: Iterable[Mapping[str, Any]],
    left_out: Iterable[Mapping[str, Any]],
    unseen: Iterable[Mapping[str, Any]] = (),
) -> bytes:
    """
    Write `calls.xlsx`.

    Parameters
    ----------
    scan
        Day of the scan and name of the company.
    rows
        What `call_rows` gives: the first sheet.
    left_out
        What `left_out_rows` gives: the second sheet.
    unseen
        What `unseen_rows` gives: the third sheet.

    Returns
    -------
    content
        The file's bytes. Text that a spreadsheet might run is stored as quoted text.
    """
    workbook = Workbook()
    calls_sheet = workbook.worksheets[0]
    calls_sheet.title = CALLS_SHEET
    rows = list(rows)
    _fill(calls_sheet, columns_of(rows), rows)
    _fold(calls_sheet)
    _offer_choices(calls_sheet)
    _fill(workbook.create_sheet("Left out"), LEFT_OUT_COLUMNS, left_out)
    _fill(workbook.create_sheet("To be seen"), UNSEEN_COLUMNS, unseen)
    _tell(workbook.create_sheet("About"), scan.break_even)
    for sheet in workbook.worksheets:
        _set_print(sheet, title=f"{scan.name}, {scan.today.isoformat()}")
    calls_sheet.print_title_cols = "A:C"
    workbook.properties.creator = scan.rules.company.name
    workbook.properties.title = f"Call list {scan.today.isoformat()}"
    return pack_workbook(workbook, stamp=datetime.combine(scan.today, time()))


def _fill(sheet: Worksheet, columns: tuple[str, ...], rows: Iterable[Mapping[str, Any]]) -> None:
    """Write a header and rows, with formats, widths, frozen header and filter."""
    sheet.append(columns)
    for number, row in enumerate(rows, start=2):
        for place, column in enumerate(columns, start=1):
            _write(sheet.cell(number, place), row[column], column)
    for place, (cell, column) in enumerate(zip(sheet[1], columns, strict=True), start=1):
        cell.font, cell.fill = HEADER_FONT, HEADER_FILL
        cell.alignment = Alignment(vertical="top", wrap_text=True)
        sheet.column_dimensions[get_column_letter(place)].width = WIDTHS.get(column, USUAL_WIDTH)
    sheet.freeze_panes = FIRST_FREE_CELL
    sheet.auto_filter.ref = sheet.dimensions


def _fold(sheet: Worksheet) -> None:
    """Fold the columns that a caller seldom needs; a plus sign above the sheet opens them."""
    for first, last in FOLDED:
        left, right = (
            get_column_letter(CALL_COLUMNS.index(column) + 1) for column in (first, last)
        )
        sheet.column_dimensions.group(left, right, hidden=True)


def _write(cell: Cell | MergedCell, value: str | Decimal | int | None, column: str) -> None:
    if isinstance(value, str):
        put_text(cell, value)
    else:
        cell.value = float(value) if isinstance(value, Decimal) else value
    cell.number_format = MONEY_FORMAT if column.endswith("_usd") else FORMATS.get(column, "General")
    cell.alignment = Alignment(vertical="top", wrap_text=column in WRAPPED)
    if column in FILL_IN_COLUMNS:
        cell.fill = FILL_IN_FILL


def _offer_choices(sheet: Worksheet) -> None:
    """Offer the outcomes as a drop-down and ask for dates where dates belong."""
    last_row = max(sheet.max_row, 2)
    outcome = DataValidation(
        type="list", formula1=f'"{",".join(OUTCOMES)}"', allow_blank=True, showErrorMessage=True,
        errorTitle="Outcome", error=f"Please choose one of: {', '.join(OUTCOMES)}.",
    )  # fmt: skip
    day = DataValidation(
        type="date", operator="greaterThan", formula1="DATE(2000,1,1)", allow_blank=True,
        showErrorMessage=True, errorTitle="Date", error="Please write a date, such as 2026-03-31.",
    )  # fmt: skip
    for choices, columns in ((outcome, ("outcome",)), (day, ("called_on", "next_date"))):
        for column in columns:
            letter = get_column_letter(CALL_COLUMNS.index(column) + 1)
            choices.add(f"{letter}2:{letter}{last_row}")
        sheet.add_data_validation(choices)


def _tell(sheet: Worksheet, break_even: BreakEven) -> None:
    for row in (*ABOUT, ("Stripping sod", _stripping_words(break_even))):
        sheet.append(row)
    for word, meaning in sheet.iter_rows():
        word.font = Font(bold=True)
        word.alignment = Alignment(vertical="top")
        meaning.alignment = Alignment(vertical="top", wrap_text=True)
    sheet.column_dimensions["A"].width = 24
    sheet.column_dimensions["B"].width = 100


def _stripping_words(break_even: BreakEven) -> str:
    """Say from which area on each machine is cheaper than digging by hand."""
    areas = (("a sod cutter", break_even.cutter_ft2), ("a loader", break_even.loader_ft2))
    parts = [
        f"{machine} from about {area_ft2:,.0f} ft²" if isfinite(area_ft2) else f"{machine} never"
        for machine, area_ft2 in areas
    ]
    return f"At your rates digging by hand is cheapest for small beds; {', '.join(parts)} a day."


def _set_print(sheet: Worksheet, *, title: str) -> None:
    """Letter paper, landscape, header on each page, rows never cut off at the side."""
    sheet.page_setup.orientation = "landscape"
    sheet.page_setup.paperSize = LETTER_PAPER
    sheet.page_setup.fitToWidth = 3 if sheet.title == CALLS_SHEET else 1
    sheet.page_setup.fitToHeight = 0
    sheet.sheet_properties.pageSetUpPr = PageSetupProperties(fitToPage=True)
    sheet.page_margins.left = sheet.page_margins.right = 0.4
    if sheet.oddHeader and sheet.oddFooter:
        # An ampersand starts a code in a header; doubled it is one
        sheet.oddHeader.left.text = f"{sheet.title}: {title}".replace("&", "&&")
        sheet.oddFooter.center.text = "Page &P of &N"
    if sheet.title != "About":
        sheet.print_title_rows = "1:1"
