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
from functools import lru_cache
from typing import Any, BinaryIO, Protocol

from xlsxwriter import Workbook
from xlsxwriter.format import Format
from xlsxwriter.utility import xl_pixel_width
from xlsxwriter.worksheet import Worksheet

from scanner.sheets.cells import guard
from scanner.sheets.description import DAY, NUMBER, WHOLE, Column, Sheet, with_own

HEADER = {"bold": True, "font_color": "#FFFFFF", "bg_color": "#24483E", "valign": "top", "text_wrap": True}  # fmt: skip
FILL_IN_SHADE, FILL_IN_LINE = "#FBF3D9", "#B9B9B9"
# Widths of columns hang on this font's digits: one that every machine has, or its twin
FONT = {"font_name": "Arial", "font_size": 9.5}
LETTER_PAPER = 1
SIDE_MARGIN_IN = 0.4
LINE_PT, PAD_PT, SIDE_PAD_PT = 10.9, 3.5, 5.0
"""Height of a line, what a cell keeps free above and below, and at its sides [points]."""
ONE_LINE_PT = LINE_PT + PAD_PT
PX_PER_PT, PT_PER_LETTER = 96 / 72, 5.25
NOTE_WIDTHS = (24, 100)
TITLE_LETTERS, PROMPT_LETTERS = 32, 255
"""A spreadsheet takes no longer titles and prompts."""

_UNFIT = re.compile(r"[\x00-\x08\x0b-\x0d\x0e-\x1f\ufffe\uffff]")
"""Characters that a spreadsheet's file can't hold."""

_RICH = re.compile(r"(?s)<r>.*</r>")
"""What the library takes for its own markup and would write as it stands."""

_word_px = lru_cache(maxsize=10_000)(xl_pixel_width)

Looks = tuple[Format, Format]
"""How a column's cells look, and those whose text a spreadsheet would run."""


@dataclass(frozen=True)
class Page:
    """One sheet of a workbook: what it is, and its rows by column."""

    sheet: Sheet
    rows: Iterable[Mapping[str, Any]]

    def write(self, workbook: Workbook, title: str) -> None:
        """Write it as the next sheet of a workbook."""
        _write_page(workbook, self, title)


class Written(Protocol):
    """What writes itself into a workbook as its next sheet."""

    def write(self, workbook: Workbook, title: str, /) -> None:
        """Write it."""


def write_workbook(
    file: BinaryIO,
    pages: Iterable[Written],
    notes: tuple[str, Iterable[tuple[str, str]]],
    *,
    title: str,
    author: str,
    day: date,
) -> None:
    """Write pages, and notes on a last sheet of that name; ``title`` stands on each page of paper, ``day`` is when it counts as made."""
    # The writer adds to what it is handed, and the next workbook would look otherwise
    options = {"constant_memory": True, "default_format_properties": dict(FONT)}
    with contextlib.closing(Workbook(file, options)) as workbook:
        made = datetime.combine(day, time())
        workbook.set_properties({"title": title, "author": author, "created": made})
        for page in pages:
            page.write(workbook, title)
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
    wrapped = [(one.name, one.width * PT_PER_LETTER) for one in columns if one.is_wrapped]
    last = 0
    for last, row in enumerate(rows, start=1):
        needed_pt = height_pt((row.get(name), width) for name, width in wrapped)
        if sheet.row_height or needed_pt > ONE_LINE_PT:
            paper.set_row(last, max(sheet.row_height or 0, needed_pt))
        for place, column in enumerate(columns):
            value = row.get(column.name)
            # a blank that nobody fills in shows nothing, and would take as long as a figure
            if column.is_filled_in or value not in (None, ""):
                write_cell(paper, last, place, value, looks[place])
    paper.autofilter(0, 0, last, len(columns) - 1)
    paper.freeze_panes(1, sheet.kept_count)
    offer_checks(paper, columns, max(last, 1))
    _set_print(paper, title, pages_wide=sheet.pages_wide)
    paper.repeat_rows(0)
    if sheet.pages_wide > 1:
        paper.repeat_columns(0, sheet.kept_count - 1)


def _look(workbook: Workbook, sheet: Sheet, column: Column) -> Looks:
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


def write_cell(paper: Worksheet, row: int, place: int, value: object, looks: Looks) -> None:
    """Write one cell as what it is; text never runs."""
    if value is None or value == "":
        paper.write_blank(row, place, None, looks[0])
    elif isinstance(value, str):
        _write_text(paper, row, place, value, looks)
    else:
        paper.write_number(row, place, float(value), looks[0])  # type: ignore[arg-type]  # numbers


def _write_text(paper: Worksheet, row: int, place: int, text: str, looks: Looks) -> None:
    fit = fit_text(text)
    paper.write_string(
        row, place, f"{fit} " if _RICH.fullmatch(fit) else fit, looks[guard(text) != text]
    )


def fit_text(text: str) -> str:
    """Make a text one that a spreadsheet's file can hold and the reader gives back."""
    fit = _UNFIT.sub(" ", text)
    # The reader takes one apostrophe off, as csv has it
    return guard(fit) if fit.startswith("'") else fit


def height_pt(texts: Iterable[tuple[object, float]]) -> float:
    """Tell how high a row must be for its texts, each in a column of its width [points]; programs that open it do not."""
    lines = max((line_count(str(text), width_pt) for text, width_pt in texts if text), default=1)
    return lines * LINE_PT + PAD_PT


def line_count(text: str, width_pt: float) -> int:
    r"""Count the lines that a text fills in a column of that width [points].

    >>> line_count("", 60), line_count("Ada Quill\n7 Elm St", 102), line_count("one two three four", 60)
    (1, 2, 2)
    """
    room_px = (width_pt - SIDE_PAD_PT) * PX_PER_PT
    blank_px, count = _word_px(" "), 0
    for line in text.split("\n"):
        count, used_px = count + 1, 0.0
        for word in line.split():
            word_px = _word_px(word)
            if used_px and used_px + blank_px + word_px > room_px:
                count, used_px = count + 1, 0.0
            used_px += word_px + (blank_px if used_px else 0.0)
    return count


def offer_checks(paper: Worksheet, columns: Sequence[Column], last_row: int) -> None:
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


def _write_notes(
    workbook: Workbook, notes: tuple[str, Iterable[tuple[str, str]]], title: str
) -> None:
    name, lines = notes
    paper = workbook.add_worksheet(name)
    bold = workbook.add_format({"bold": True, "valign": "top"})
    wrapped = workbook.add_format({"valign": "top", "text_wrap": True})
    for place, width in enumerate(NOTE_WIDTHS):
        paper.set_column(place, place, width)
    for row, (word, meaning) in enumerate(lines):
        paper.set_row(row, height_pt([(meaning, NOTE_WIDTHS[1] * PT_PER_LETTER)]))
        _write_text(paper, row, 0, word, (bold, bold))
        _write_text(paper, row, 1, meaning, (wrapped, wrapped))
    _set_print(paper, title, pages_wide=1)


def _set_print(paper: Worksheet, title: str, *, pages_wide: int) -> None:
    paper.set_landscape()
    paper.set_paper(LETTER_PAPER)
    paper.fit_to_pages(pages_wide, 0)
    paper.set_margins(left=SIDE_MARGIN_IN, right=SIDE_MARGIN_IN)
    # An ampersand starts a code in a header; doubled it is one
    paper.set_header("&L" + f"{paper.name}: {title}".replace("&", "&&"))
    paper.set_footer("&CPage &P of &N")
