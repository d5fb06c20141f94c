"""Csv and xlsx files as grids of text: ids, names and days as the spreadsheet shows them, headings found."""

from __future__ import annotations

import contextlib
import csv
import io
import warnings
import zipfile
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING
from xml.etree.ElementTree import ParseError

from scanner.errors import BookError
from scanner.sheets.description import Sheet
from scanner.sheets.problems import Problem, fault

if TYPE_CHECKING:
    from openpyxl.cell.cell import Cell, MergedCell

MAX_UNPACKED_BYTES = 500_000_000
"""A sheet that is larger than this, unpacked, is refused unopened."""
_DAMAGED = (zipfile.BadZipFile, ParseError, LookupError, ValueError)
_DELIMITERS = ",;\t"
TOP_ROWS = 10
"""Headings are looked for in so many rows: people write a title above them."""


@dataclass(frozen=True)
class Grid:
    """Cells of a sheet as text, its name, and where its headings stand."""

    name: str
    cells: list[list[str]]
    top: int = 0

    @property
    def headings(self) -> list[str]:
        """Its headings as they stand there."""
        return self.cells[self.top] if self.cells else []


def read_grids(path: Path, sheets: tuple[Sheet, ...]) -> tuple[list[Grid], list[Problem]]:
    """Read the sheets of a file whole, headings found by those that one of some sheets has; and what was wrong."""
    if path.suffix.lower() == ".xlsx":
        return [replace(grid, top=_top(grid.cells, sheets) or 0) for grid in _read_sheets(path)], []
    grid, problems = _read_csv(path, sheets)
    return [grid], problems


def _top(cells: list[list[str]], sheets: tuple[Sheet, ...]) -> int | None:
    """Find the row of the headings: the first that fits one of the sheets; None where none does."""
    return next(
        (
            at
            for at, row in enumerate(cells[:TOP_ROWS])
            if any(sheet.fits(row) and sheet.knows(row) for sheet in sheets)
        ),
        None,
    )


def _read_csv(path: Path, sheets: tuple[Sheet, ...]) -> tuple[Grid, list[Problem]]:
    try:
        _refuse_huge(path.name, path.stat().st_size, "is")
        raw = path.read_bytes()
    except OSError as err:
        message = f"{path.name} cannot be opened ({err.strerror}): close the program that holds it"
        raise BookError(message) from err
    text, problems = _decode(raw, path.name)
    first = text.partition("\n")[0]
    marks = sorted(_DELIMITERS, key=lambda mark: (-first.count(mark), mark != ","))
    try:
        tried = [_parse(text, mark, path.name) for mark in marks[:1]]
        tops = [_top(tried[0][0], sheets)]
        if tops[0] is None:
            # A title stands in the first line, or what parts the cells in the lines below
            tried += [_parse(text, mark, path.name) for mark in marks[1:]]
            tops += [_top(cells, sheets) for cells, _ in tried[1:]]
    except csv.Error as err:
        message = f"{path.name} is not a table of commas and lines ({err}): save it as CSV UTF-8"
        raise BookError(message) from err
    best = next((at for at, top in enumerate(tops) if top is not None), 0)
    cells, found = tried[best]
    return Grid("", cells, tops[best] or 0), [*problems, *found]


def _parse(text: str, delimiter: str, file: str) -> tuple[list[list[str]], list[Problem]]:
    try:
        return list(csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)), []
    except csv.Error:
        # a lone quotation mark would swallow all rows below it, so take line by line
        lines = text.splitlines()
    grid: list[list[str]] = []
    problems: list[Problem] = []
    for row, line in enumerate(lines, start=1):
        if line.count('"') % 2:
            problem = "a quotation mark has no partner in its line; the row is left out"
            problems.append(fault(file, f"row {row}", problem, "delete it, or put its partner"))
            grid.append([])
        else:
            grid += csv.reader([line], delimiter=delimiter) if line else [[]]
    return grid, problems


def _decode(raw: bytes, file: str) -> tuple[str, list[Problem]]:
    if raw.startswith((b"\xff\xfe", b"\xfe\xff")):
        return raw.decode("utf-16", errors="replace"), []
    try:
        return raw.decode("utf-8-sig"), []
    except UnicodeDecodeError as err:
        row = raw.count(b"\n", 0, err.start) + 1
        problem = (
            f"the letters are not saved as UTF-8 (first in line {row}); "
            "read as Windows letters, so accents may be wrong"
        )
        remedy = "in the spreadsheet, choose Save as, then the type CSV UTF-8"
        text = raw.decode("cp1252", errors="replace")
        return text, [fault(file, f"row {row}", problem, remedy)]


def _read_sheets(path: Path) -> list[Grid]:
    from openpyxl.utils.exceptions import (  # noqa: PLC0415  # most commands read no workbook
        InvalidFileException,
    )

    try:
        with zipfile.ZipFile(path) as archive:
            unpacked_bytes = sum(member.file_size for member in archive.infolist())
        _refuse_huge(path.name, unpacked_bytes, "unpacks to")
        # openpyxl warns of parts that it doesn't know (drop-downs, themes); cells are not among them
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            return _read_workbook(path)
    except (*_DAMAGED, InvalidFileException) as err:
        message = (
            f"{path.name} is not a spreadsheet that can be opened: save it again as .xlsx or .csv"
        )
        raise BookError(message) from err


def has_comments(path: Path) -> bool:
    """Whether somebody put comments on cells of a workbook."""
    if path.suffix.lower() != ".xlsx":
        return False
    with zipfile.ZipFile(path) as archive:
        return any("comment" in name.lower() for name in archive.namelist())


def _refuse_huge(file: str, byte_count: int, verb: str) -> None:
    if byte_count > MAX_UNPACKED_BYTES:
        message = (
            f"{file} {verb} {byte_count:,} bytes, more than {MAX_UNPACKED_BYTES:,}: copy its cells into a new "
            "spreadsheet"
        )
        raise BookError(message)


def _read_workbook(path: Path) -> list[Grid]:
    """Read a workbook as a stream of rows, so that its styles and empty cells cost nothing."""
    import openpyxl  # noqa: PLC0415  # as above
    from openpyxl.utils.escape import unescape  # noqa: PLC0415

    with contextlib.closing(openpyxl.load_workbook(path, read_only=True, data_only=True)) as book:
        for sheet in book.worksheets:
            # what a file says of its own size may be wrong
            sheet.reset_dimensions()
        return [
            Grid(
                sheet.title,
                [[_cell_text(cell, unescape) for cell in row] for row in sheet.iter_rows()],
            )
            for sheet in book.worksheets
        ]


def _cell_text(cell: Cell | MergedCell, unescape: Callable[[str], str]) -> str:
    value = cell.value
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, datetime) and value.time() == datetime.min.time():
        return value.date().isoformat()
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, int | float):
        return _number_text(value, cell.number_format or "")
    # A spreadsheet's file spells out letters that it can't hold, as _x000D_
    return unescape(str(value))


def _number_text(value: float, shown_as: str) -> str:
    """Write a number as the spreadsheet shows it: people mean what they see."""
    if "%" in shown_as:
        return f"{value * 100:.10g}%"
    if isinstance(value, float) and value.is_integer():
        value = int(value)
    # a cell formatted 000 shows 7 as 007, and that is the id that people know
    if isinstance(value, int) and shown_as and set(shown_as) == {"0"}:
        return str(value).zfill(len(shown_as))
    return str(value)
