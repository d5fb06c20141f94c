"""The checklist as a spreadsheet: the same lots and questions, with drop-downs, to be recorded."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, datetime, time

from openpyxl import Workbook
from openpyxl.styles import Alignment, Border, Font, PatternFill, Side
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.datavalidation import DataValidation
from openpyxl.worksheet.properties import PageSetupProperties
from openpyxl.worksheet.worksheet import Worksheet

from scanner.pages.checklist import ASKED, NUMBER, SCALE, SCALE_STEPS, Question, Round
from scanner.pages.packing import pack_workbook, put_text

SHEET = "Checklist"
KEYS = ("route", "mow_day", "stop", "client_id", "name", "address", "seen_on")
COLUMNS = (*KEYS, *(question.name for question in ASKED))

WIDTHS = {
    "route": 10,
    "mow_day": 11,
    "stop": 6,
    "client_id": 11,
    "name": 22,
    "address": 28,
    "seen_on": 12,
}
USUAL_WIDTH = 11
FIRST_FREE_CELL = "G2"
LETTER_PAPER = 1
TITLE_LETTERS, PROMPT_LETTERS = 31, 254
"""A spreadsheet takes no longer titles and prompts."""

HEADER_FILL = PatternFill("solid", fgColor="FF24483E")
HEADER_FONT = Font(bold=True, color="FFFFFFFF")
FILL_IN_FILL = PatternFill("solid", fgColor="FFFBF3D9")
THIN = Side(style="thin", color="FFB9B9B9")
LARGEST = {
    "heads along edge": 200,
    "drive width ft": 100,
    "slope percent": 100,
    "gate width in": 240,
}

ABOUT = (
    ("What this is", "What a crew saw, one row a lot. Fill in the shaded cells; a blank cell is no answer."),
    ("seen_on", "The day on which the crew looked. One row of a route and day is enough when it holds for all of them."),
    ("Afterwards", "bed-scanner record BOOK checklist.xlsx keeps the answers; the next scan goes by them."),
)  # fmt: skip


def checklist_xlsx(rounds: Iterable[Round], *, book: str, today: date) -> bytes:
    """
    Write the checklist as a spreadsheet.

    Parameters
    ----------
    rounds
        As `plan_rounds` gives them.
    book
        Name of the book.
    today
        Day of making.

    Returns
    -------
    content
        The file's bytes; the same rounds give the same bytes.
    """
    workbook = Workbook()
    sheet = workbook.worksheets[0]
    sheet.title = SHEET
    _fill(sheet, rounds)
    _offer_choices(sheet)
    _set_print(sheet, title=f"{book}, {today.isoformat()}")
    _tell(workbook.create_sheet("About"))
    workbook.properties.title = f"Checklist {today.isoformat()}"
    workbook.properties.creator = book
    return pack_workbook(workbook, stamp=datetime.combine(today, time()))


def _fill(sheet: Worksheet, rounds: Iterable[Round]) -> None:
    sheet.append(COLUMNS)
    for place, (cell, column) in enumerate(zip(sheet[1], COLUMNS, strict=True), start=1):
        cell.font, cell.fill = HEADER_FONT, HEADER_FILL
        cell.alignment = Alignment(vertical="top", wrap_text=True)
        width = WIDTHS.get(column, USUAL_WIDTH)
        sheet.column_dimensions[get_column_letter(place)].width = width
    lots = ((one, lot) for one in rounds for lot in one.lots)
    for row, (one, lot) in enumerate(lots, start=2):
        texts = (one.route, one.day, "", lot["client_id"], lot["name"], lot["address"])
        for place, text in enumerate(texts, start=1):
            cell = sheet.cell(row, place)
            put_text(cell, text)
            cell.alignment = Alignment(vertical="center", wrap_text=True)
        sheet.cell(row, KEYS.index("client_id") + 1).number_format = "@"
        sheet.cell(row, KEYS.index("stop") + 1).value = lot["stop"]
        for place in range(len(KEYS), len(COLUMNS) + 1):
            cell = sheet.cell(row, place)
            cell.fill, cell.border = FILL_IN_FILL, Border(THIN, THIN, THIN, THIN)
            cell.alignment = Alignment(horizontal="center", vertical="center")
        sheet.cell(row, len(KEYS)).number_format = "yyyy-mm-dd"
        sheet.row_dimensions[row].height = 26
    sheet.freeze_panes = FIRST_FREE_CELL
    sheet.auto_filter.ref = sheet.dimensions


def _offer_choices(sheet: Worksheet) -> None:
    """Put a drop-down or a check behind each cell to fill in, with the hint beside it."""
    last_row = max(sheet.max_row, 2)
    day = DataValidation(
        type="date", operator="greaterThan", formula1="DATE(2000,1,1)", allow_blank=True,
        showErrorMessage=True, errorTitle="Day", error="Please write a day, such as 2027-02-14.",
    )  # fmt: skip
    checks = [(len(KEYS), day)]
    checks += [(len(KEYS) + at, _check_of(question)) for at, question in enumerate(ASKED, start=1)]
    for place, check in checks:
        letter = get_column_letter(place)
        check.add(f"{letter}2:{letter}{last_row}")
        sheet.add_data_validation(check)


def _check_of(question: Question) -> DataValidation:
    if question.kind == NUMBER:
        most = LARGEST[question.name]
        check = DataValidation(
            type="decimal", operator="between", formula1="0", formula2=str(most), allow_blank=True
        )
        check.error = f"Please write a number from 0 to {most}, without unit."
    else:
        words = [str(step) for step in SCALE_STEPS] if question.kind == SCALE else ["yes", "no"]
        check = DataValidation(type="list", formula1=f'"{",".join(words)}"', allow_blank=True)
        check.error = f"Please choose one of {', '.join(words)}."
    check.showErrorMessage = check.showInputMessage = True
    check.errorTitle = check.promptTitle = question.heading[:TITLE_LETTERS]
    check.prompt = question.hint[:PROMPT_LETTERS]
    return check


def _tell(sheet: Worksheet) -> None:
    for row in (
        *ABOUT,
        *((question.name, f"{question.heading} {question.hint}") for question in ASKED),
    ):
        sheet.append(row)
    for word, meaning in sheet.iter_rows():
        word.font = Font(bold=True)
        word.alignment = Alignment(vertical="top")
        meaning.alignment = Alignment(vertical="top", wrap_text=True)
    sheet.column_dimensions["A"].width = 24
    sheet.column_dimensions["B"].width = 100


def _set_print(sheet: Worksheet, *, title: str) -> None:
    """Letter paper, landscape, header on each page, all columns on one."""
    sheet.page_setup.orientation = "landscape"
    sheet.page_setup.paperSize = LETTER_PAPER
    sheet.page_setup.fitToWidth = 1
    sheet.page_setup.fitToHeight = 0
    sheet.sheet_properties.pageSetUpPr = PageSetupProperties(fitToPage=True)
    sheet.page_margins.left = sheet.page_margins.right = 0.4
    sheet.print_title_rows = "1:1"
    if sheet.oddHeader and sheet.oddFooter:
        # An ampersand starts a code in a header; doubled it is one
        sheet.oddHeader.left.text = f"{SHEET}: {title}".replace("&", "&&")
        sheet.oddFooter.center.text = "Page &P of &N"
