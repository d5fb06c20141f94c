"""Csv, xlsx and ods files as grids of text: ids, names and days as the spreadsheet shows them, headings found."""

from __future__ import annotations

import csv
import io
import zipfile
from dataclasses import dataclass
from pathlib import Path

from scanner.errors import BookError
from scanner.sheets.description import Sheet
from scanner.sheets.problems import Problem, fault
from scanner.sheets.room import Room
from scanner.store.ceilings import MAX_FAULTS, MAX_SHEET_BYTES

WORKBOOKS = (".xlsx", ".ods")
"""Ends of files that hold sheets."""
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
    if path.suffix.lower() in WORKBOOKS:
        # most commands read no workbook
        from scanner.sheets.open_documents import read_open_document  # noqa: PLC0415
        from scanner.sheets.workbooks import read_workbook  # noqa: PLC0415

        read = (read_open_document if path.suffix.lower() == ".ods" else read_workbook)(path)
        return [Grid(name, cells, _top(cells, sheets) or 0) for name, cells in read], []
    return _read_csv(path, sheets)


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


def _read_csv(path: Path, sheets: tuple[Sheet, ...]) -> tuple[list[Grid], list[Problem]]:
    try:
        Room(path.name, 0).refuse_huge(path.stat().st_size, MAX_SHEET_BYTES)
        raw = path.read_bytes()
    except OSError as err:
        message = f"{path.name} cannot be opened ({err.strerror}): close the program that holds it"
        raise BookError(message) from err
    text, problems = _decode(raw, path.name)
    if "\0" in text:
        message = f"{path.name} holds letters that no text has (NUL): save it again as CSV UTF-8"
        raise BookError(message)
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
    return [Grid("", cells, tops[best] or 0)], [*problems, *found]


def _parse(text: str, delimiter: str, file: str) -> tuple[list[list[str]], list[Problem]]:
    try:
        rows = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
        return Room(file, len(text)).fill(rows), []
    except csv.Error:
        # a lone quotation mark would swallow all rows below it, so take line by line
        room = Room(file, len(text))
        lines = room.fill([line] for line in io.StringIO(text, newline=None))
    grid: list[list[str]] = []
    problems: list[Problem] = []
    for row, (line,) in enumerate(lines, start=1):
        if line.count('"') % 2:
            problem = "a quotation mark has no partner in its line; the row is left out"
            problems.append(fault(file, f"row {row}", problem, "delete it, or put its partner"))
            grid.append([])
        else:
            grid += csv.reader([line], delimiter=delimiter) if line.strip() else [[]]
        if len(problems) > MAX_FAULTS:
            room.refuse(f"has more than {MAX_FAULTS:,} quotation marks without a partner")
    return Room(file, len(text)).fill(grid), problems


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


def has_comments(path: Path) -> bool:
    """Whether somebody put comments on cells of a workbook."""
    if path.suffix.lower() not in WORKBOOKS:
        return False
    with zipfile.ZipFile(path) as archive:
        names = archive.namelist()
        return any("comment" in name.lower() for name in names) or (
            path.suffix.lower() == ".ods" and b":annotation" in archive.read("content.xml")
        )
