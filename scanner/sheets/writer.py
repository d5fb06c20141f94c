"""
The one writer of spreadsheets: row by row in constant memory, the same content in the same bytes.

Nothing in them runs: text that a spreadsheet would run is stored as text with the mark that a typed
apostrophe leaves.
"""

from __future__ import annotations

import contextlib
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time
from typing import Any, BinaryIO

from xlsxwriter import Workbook
from xlsxwriter.format import Format
from xlsxwriter.worksheet import Worksheet

from scanner.sheets.cells import guard
from scanner.sheets.description import DAY, NUMBER, WHOLE, Column, Sheet, with_own

HEADER = {"bold": True, "font_color": "#FFFFFF", "bg_color": "#24483E", "valign": "top", "text_wrap": True}  # fmt: skip
FILL_IN_SHADE, FILL_IN_LINE = "#FBF3D9", "#B9B9B9"
LETTER_PAPER = 1
SIDE_MARGIN_IN = 0.4
NOTE_WIDTHS = (24, 100)
TITLE_LETTERS, PROMPT_LETTERS = 32, 255
"""A spreadsheet takes no longer titles and prompts."""

_UNFIT = re.compile(r"[\x00-\x08\x0b-\x0d\x0e-\x1f\ufffe\uffff]")
"""Characters that a spreadsheet's file can't hold."""

_RICH = re.compile(r"(?s)<r>.*</r>")
"""What the library takes for its own markup and would write as it stands."""

Looks = tuple[Format, Format]
"""How a column's cells look, and those whose text a spreadsheet would run."""


@dataclass(frozen=True)
class Page:
    """One sheet of a workbook: what it is, and its rows by column."""

    sheet: Sheet
    rows: Iterable[Mapping[str, Any]]


def write_workbook(
    file: BinaryIO,
    pages: Iterable[Page],
    notes: Iterable[tuple[str, str]],
    *,
    title: str,
    author: str,
    day: date,
) -> None:
    """Write pages, and notes on a last sheet; ``title`` stands on each page of paper, ``day`` is when it counts as made."""
    with contextlib.closing(Workbook(file, {"constant_memory": True})) as workbook:
        made = datetime.combine(day, time())
        workbook.set_properties({"title": title, "author": author, "created": made})
        for page in pages:
            _write_page(workbook, page, title)
        _write_notes(workbook, notes, title)


def _write_page(workbook: Workbook, page: Page, title: str) -> None:
    sheet = page.sheet
    columns, rows = with_own(sheet, page.rows)
    paper = workbook.add_worksheet(sheet.title)
    looks = [_look(workbook, sheet, column) for column in columns]
    header = workbook.add_format(HEADER)
    for place, column in enumerate(columns):
        folding = {"level": 1, "hidden": True} if column.is_folded else {}
        paper.set_column(place, place, column.width, None, folding)
        _write_text(paper, 0, place, column.name, (header, header))
    last = 0
    for last, row in enumerate(rows, start=1):
        if sheet.row_height:
            paper.set_row(last, sheet.row_height)
        for place, column in enumerate(columns):
            _write_cell(paper, last, place, row.get(column.name), looks[place])
    paper.autofilter(0, 0, last, len(columns) - 1)
    paper.freeze_panes(1, sheet.kept_count)
    _offer_checks(paper, columns, max(last, 1))
    _set_print(paper, title, pages_wide=sheet.pages_wide)
    paper.repeat_rows(0)
    if sheet.pages_wide > 1:
        paper.repeat_columns(0, sheet.kept_count - 1)


def _look(workbook: Workbook, sheet: Sheet, column: Column) -> Looks:
    """Make the two formats of a column."""
    looks: dict[str, object] = {
        "num_format": column.number_format,
        "valign": "top",
        "text_wrap": column.is_wrapped,
    }
    if column.is_filled_in:
        looks["bg_color"] = FILL_IN_SHADE
    if sheet.row_height:
        looks |= {"valign": "vcenter", "text_wrap": not column.is_filled_in}
    if sheet.row_height and column.is_filled_in:
        looks |= {"align": "center", "border": 1, "border_color": FILL_IN_LINE}
    return workbook.add_format(looks), workbook.add_format(looks | {"quote_prefix": True})


def _write_cell(paper: Worksheet, row: int, place: int, value: object, looks: Looks) -> None:
    if value is None or value == "":
        paper.write_blank(row, place, None, looks[0])
    elif isinstance(value, str):
        _write_text(paper, row, place, value, looks)
    else:
        paper.write_number(row, place, float(value), looks[0])  # type: ignore[arg-type]  # numbers


def _write_text(paper: Worksheet, row: int, place: int, text: str, looks: Looks) -> None:
    fit = _UNFIT.sub(" ", text)
    fit = f"{fit} " if _RICH.fullmatch(fit) else fit
    # The reader takes one apostrophe off, as csv has it
    fit = guard(fit) if fit.startswith("'") else fit
    paper.write_string(row, place, fit, looks[guard(text) != text])


def _offer_checks(paper: Worksheet, columns: Sequence[Column], last_row: int) -> None:
    """Put a drop-down or a check behind each cell to fill in."""
    for place, column in enumerate(columns):
        if column.is_filled_in and (check := _check_of(column)):
            paper.data_validation(1, place, last_row, place, check)


def _check_of(column: Column) -> dict[str, object]:
    """Describe what may be typed into a cell, as the library wants it; blank: anything."""
    if column.choices:
        check: dict[str, object] = {"validate": "list", "source": list(column.choices)}
        error = f"Please choose one of: {', '.join(column.choices)}."
    elif column.kind == DAY:
        check = {"validate": "date", "criteria": ">", "value": date(2000, 1, 1)}
        error = "Please write a date, such as 2027-03-31."
    elif column.kind in (NUMBER, WHOLE):
        check = {
            "validate": "decimal",
            "criteria": "between",
            "minimum": column.least,
            "maximum": column.most,
        }
        error = f"Please write a number from {column.least:g} to {column.most:g}, without unit."
    else:
        return {}
    heading = (column.heading or column.name.replace("_", " ").capitalize())[:TITLE_LETTERS]
    asked = (
        {"input_title": heading, "input_message": column.hint[:PROMPT_LETTERS]}
        if column.hint
        else {}
    )
    return check | asked | {"error_title": heading, "error_message": error}


def _write_notes(workbook: Workbook, notes: Iterable[tuple[str, str]], title: str) -> None:
    paper = workbook.add_worksheet("About")
    bold = workbook.add_format({"bold": True, "valign": "top"})
    wrapped = workbook.add_format({"valign": "top", "text_wrap": True})
    for place, width in enumerate(NOTE_WIDTHS):
        paper.set_column(place, place, width)
    for row, (word, meaning) in enumerate(notes):
        _write_text(paper, row, 0, word, (bold, bold))
        _write_text(paper, row, 1, meaning, (wrapped, wrapped))
    _set_print(paper, title, pages_wide=1)


def _set_print(paper: Worksheet, title: str, *, pages_wide: int) -> None:
    """Letter paper, landscape, a head and a page number on each, no row cut off at the side."""
    paper.set_landscape()
    paper.set_paper(LETTER_PAPER)
    paper.fit_to_pages(pages_wide, 0)
    paper.set_margins(left=SIDE_MARGIN_IN, right=SIDE_MARGIN_IN)
    # An ampersand starts a code in a header; doubled it is one
    paper.set_header("&L" + f"{paper.name}: {title}".replace("&", "&&"))
    paper.set_footer("&CPage &P of &N")
