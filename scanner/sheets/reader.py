"""The one reader of csv and xlsx: tables read whole as text, so that ids stay as they are."""

from __future__ import annotations

import contextlib
import csv
import io
import warnings
import zipfile
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime
from pathlib import Path
from xml.etree.ElementTree import ParseError

import openpyxl
import pandas as pd
from openpyxl.cell.cell import Cell, MergedCell
from openpyxl.utils.escape import unescape
from openpyxl.utils.exceptions import InvalidFileException

from scanner.errors import BookError
from scanner.sheets.cells import unguard
from scanner.sheets.description import Sheet, plain_heading
from scanner.sheets.problems import Problem, fault, note, row_words, shown

MAX_UNPACKED_BYTES = 500_000_000
"""A spreadsheet that unpacks to more than this is refused unopened."""

_DAMAGED = (zipfile.BadZipFile, InvalidFileException, ParseError, LookupError, ValueError)
_DELIMITERS = ",;\t"
_TOLD = 30

OPEN_MARKS = (("~$", ""), (".~lock.", "#"))
"""What the usual spreadsheet programs put before and after the name of an open file."""

TOP_ROWS = 10
"""Headings are looked for in so many rows: people write a title above them."""


@dataclass(frozen=True)
class _Grid:
    """Cells of a sheet as text, its name, and where its headings stand."""

    name: str
    cells: list[list[str]]
    top: int = 0

    @property
    def headings(self) -> list[str]:
        return self.cells[self.top] if self.cells else []


def read_sheet(path: Path, sheet: Sheet) -> tuple[pd.DataFrame, list[Problem]]:
    """
    Read a csv or xlsx file as text, one row a record; a file that is no such table is a `BookError`.

    In a workbook all sheets that fit are read, whatever they are called and wherever they stand: people
    copy them. A column that is missing is blank, others are carried along behind the known ones. The
    index is the row in the file (2 is the first below the headings), with the sheet's name from the second
    sheet on. A cell that was kept from running as a formula has its own text back.
    """
    grids, problems = _read_grids(path, (sheet,))
    if not any(cell.strip() for cell in grids[0].headings):
        message = f"{path.name} is empty: a header row with the column names belongs on top"
        raise BookError(message)
    fitting = [grid for grid in grids if sheet.fits(grid.headings)] if sheet.needs else grids[:1]
    if not fitting:
        raise BookError(_missing(path, sheet, grids[0].headings))
    tables: list[pd.DataFrame] = []
    for grid in fitting:
        table, found = _table(grid, sheet, path.name, is_copy=bool(tables))
        tables.append(table)
        problems += found
    rows = pd.concat(tables).fillna("") if len(tables) > 1 else tables[0]
    if rows.empty and not problems and not sheet.needs:
        problems = [
            note(path.name, "", "the table has a header and no rows", "add one row a record")
        ]
    return rows, problems


def read_headings(path: Path, sheets: Iterable[Sheet]) -> list[list[str]]:
    """Read the headings of each sheet of a file, to tell which of some sheets it is."""
    return [grid.headings for grid in _read_grids(path, tuple(sheets))[0]]


def open_elsewhere(path: Path) -> str:
    """Name the mark that a spreadsheet program leaves beside a file that it has open; blank: none, as far as can be told."""
    marks = [f"{mark}{path.name}{end}" for mark, end in OPEN_MARKS]
    return next((mark for mark in marks if path.with_name(mark).exists()), "")


def _missing(path: Path, sheet: Sheet, headings: list[str]) -> str:
    known = {sheet.by_heading.get(plain_heading(heading)) for heading in headings}
    missing = [name for name in sheet.needs if name not in known] or list(sheet.needs_one)
    there = [heading for heading in headings if heading.strip()]
    more = f" and {len(there) - _TOLD:,} more" if len(there) > _TOLD else ""
    return (
        f"{path.name} has no column {' and no column '.join(missing)}; the columns that are there: "
        f"{', '.join(there[:_TOLD])}{more}"
    )


def _table(
    grid: _Grid, sheet: Sheet, file: str, *, is_copy: bool
) -> tuple[pd.DataFrame, list[Problem]]:
    header, problems = _name_columns(grid.headings, file, sheet)
    records, labels, found = _cut_rows(grid, header, file, is_copy=is_copy)
    rows = pd.DataFrame(records, columns=header, index=pd.Index(labels, name="row"), dtype="str")
    rows = rows.loc[:, [name for name in header if name]]
    others = [name for name in rows.columns if name not in sheet.names]
    rows = rows.reindex(columns=[*sheet.names, *others], fill_value="").astype("str")
    return rows, [*problems, *found]


def typed_rows(sheet: Sheet, *rows: Mapping[str, str]) -> pd.DataFrame:
    """Put what was typed on the command line into the rows of a sheet; they stand in no file."""
    filled = [dict.fromkeys(sheet.names, "") | dict(row) for row in rows]
    table = pd.DataFrame(filled, columns=[*sheet.names], dtype="str", index=[0] * len(filled))
    return table.apply(lambda texts: texts.str.strip())


def _read_grids(path: Path, sheets: tuple[Sheet, ...]) -> tuple[list[_Grid], list[Problem]]:
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


def _read_csv(path: Path, sheets: tuple[Sheet, ...]) -> tuple[_Grid, list[Problem]]:
    try:
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
    return _Grid("", cells, tops[best] or 0), [*problems, *found]


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


def _read_sheets(path: Path) -> list[_Grid]:
    try:
        with zipfile.ZipFile(path) as archive:
            unpacked_bytes = sum(member.file_size for member in archive.infolist())
        if unpacked_bytes > MAX_UNPACKED_BYTES:
            message = (
                f"{path.name} unpacks to {unpacked_bytes:,} bytes, more than "
                f"{MAX_UNPACKED_BYTES:,}: copy its cells into a new spreadsheet"
            )
            raise BookError(message)
        # openpyxl warns of parts that it doesn't know (drop-downs, themes); cells are not among them
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            return _read_workbook(path)
    except _DAMAGED as err:
        message = (
            f"{path.name} is not a spreadsheet that can be opened: save it again as .xlsx or .csv"
        )
        raise BookError(message) from err


def _read_workbook(path: Path) -> list[_Grid]:
    """Read a workbook as a stream of rows, so that its styles and empty cells cost nothing."""
    with contextlib.closing(openpyxl.load_workbook(path, read_only=True, data_only=True)) as book:
        for sheet in book.worksheets:
            # what a file says of its own size may be wrong
            sheet.reset_dimensions()
        return [
            _Grid(sheet.title, [[_cell_text(cell) for cell in row] for row in sheet.iter_rows()])
            for sheet in book.worksheets
        ]


def _cell_text(cell: Cell | MergedCell) -> str:
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


def _name_columns(cells: list[str], file: str, sheet: Sheet) -> tuple[list[str], list[Problem]]:
    """Name the columns by their headings; a heading of somebody's own counts where ours is missing."""
    names = [sheet.by_heading.get(plain_heading(cell), cell.strip()) for cell in cells]
    others = [sheet.by_other_heading.get(plain_heading(cell), "") for cell in cells]
    header: list[str] = []
    problems: list[Problem] = []
    for own, other in zip(names, others, strict=True):
        name = other if other and other not in names and others.count(other) == 1 else own
        if name and name in header:
            problem = f"the column {shown(name)} stands there twice; the first is used"
            problems.append(fault(file, "row 1", problem, "delete or rename one of the two"))
            name = ""
        header.append(name)
    return header, problems


def _cut_rows(
    grid: _Grid, header: list[str], file: str, *, is_copy: bool
) -> tuple[list[list[str]], list[object], list[Problem]]:
    """Cut the rows below the headings to the columns: records, their labels, rows left out."""
    records: list[list[str]] = []
    labels: list[object] = []
    problems: list[Problem] = []
    width = len(header)
    for row, cells in enumerate(grid.cells[grid.top + 1 :], start=grid.top + 2):
        texts = [unguard(cell.strip()) for cell in cells]
        if not any(texts):
            continue
        label = f"sheet {grid.name}, row {row}" if is_copy else row
        if any(texts[width:]):
            problem = f"{len(texts)} cells came where the header has {width}; the row is left out"
            remedy = "put quotation marks round a cell that holds a comma, or save again from the spreadsheet"
            problems.append(fault(file, row_words(label), problem, remedy))
            continue
        records.append(texts[:width] + [""] * (width - len(texts)))
        labels.append(label)
    return records, labels, problems
