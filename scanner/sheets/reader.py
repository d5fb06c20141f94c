"""The one reader of csv and xlsx: tables read whole as text, so that ids stay as they are."""

from __future__ import annotations

import contextlib
import csv
import io
import warnings
import zipfile
from collections.abc import Mapping
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
from scanner.sheets.problems import Problem, fault, note, shown

MAX_UNPACKED_BYTES = 500_000_000
"""A spreadsheet that unpacks to more than this is refused unopened."""

_DAMAGED = (zipfile.BadZipFile, InvalidFileException, ParseError, LookupError, ValueError)
_DELIMITERS = ",;\t"
_ROW = "__row__"

Grid = list[list[str]]
"""Cells of a sheet as text, the headings first."""


def read_sheet(path: Path, sheet: Sheet) -> tuple[pd.DataFrame, list[Problem]]:
    """
    Read a csv or xlsx file as text, one row a record; a file that is no table is a `BookError`.

    In a workbook the first sheet that fits is read, whatever it is called and wherever it stands; the
    first of all where none does. A column that is missing is blank, others are carried along behind the known ones. The index is the
    row in the file: 2 is the first below the headings. A cell that was kept from running as a formula
    has its own text back.
    """
    grids, problems = _read_grids(path)
    grid = next((grid for grid in grids if grid and sheet.fits(grid[0])), grids[0])
    if not grid or not any(cell.strip() for cell in grid[0]):
        message = f"{path.name} is empty: a header row with the column names belongs on top"
        raise BookError(message)
    header, header_problems = _name_columns(grid[0], path.name, sheet)
    records, row_problems = _cut_rows(grid[1:], header, path.name)
    rows = pd.DataFrame(records, columns=[*header, _ROW], dtype="str")
    rows = rows.set_index(rows.pop(_ROW).astype(int)).rename_axis("row")
    rows = rows.loc[:, [name for name in rows.columns if name]]
    others = [name for name in rows.columns if name not in sheet.names]
    rows = rows.reindex(columns=[*sheet.names, *others], fill_value="").astype("str")
    found = [*problems, *header_problems, *row_problems]
    if rows.empty and not found and not sheet.needs:
        found = [note(path.name, "", "the table has a header and no rows", "add one row a record")]
    return rows, found


def typed_rows(sheet: Sheet, *rows: Mapping[str, str]) -> pd.DataFrame:
    """Put what was typed on the command line into the rows of a sheet; they stand in no file."""
    filled = [dict.fromkeys(sheet.names, "") | dict(row) for row in rows]
    table = pd.DataFrame(filled, columns=[*sheet.names], dtype="str", index=[0] * len(filled))
    return table.apply(lambda texts: texts.str.strip())


def read_headings(path: Path) -> list[list[str]]:
    """Read the headings of each sheet of a file, to tell what kind of sheet it is."""
    return [grid[0] if grid else [] for grid in _read_grids(path)[0]]


def _read_grids(path: Path) -> tuple[list[Grid], list[Problem]]:
    if path.suffix.lower() == ".xlsx":
        return _read_sheets(path), []
    grid, problems = _read_csv(path)
    return [grid], problems


def _read_csv(path: Path) -> tuple[Grid, list[Problem]]:
    try:
        raw = path.read_bytes()
    except OSError as err:
        message = f"{path.name} cannot be opened ({err.strerror}): close the program that holds it"
        raise BookError(message) from err
    text, problems = _decode(raw, path.name)
    first = text.partition("\n")[0]
    delimiter = max(_DELIMITERS, key=lambda mark: (first.count(mark), mark == ","))
    try:
        grid, quote_problems = _parse(text, delimiter, path.name)
    except csv.Error as err:
        message = f"{path.name} is not a table of commas and lines ({err}): save it as CSV UTF-8"
        raise BookError(message) from err
    return grid, [*problems, *quote_problems]


def _parse(text: str, delimiter: str, file: str) -> tuple[Grid, list[Problem]]:
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


def _read_workbook(path: Path) -> list[Grid]:
    """Read a workbook as a stream of rows, so that its styles and empty cells cost nothing."""
    with contextlib.closing(openpyxl.load_workbook(path, read_only=True, data_only=True)) as book:
        for sheet in book.worksheets:
            # what a file says of its own size may be wrong
            sheet.reset_dimensions()
        return [
            [[_cell_text(cell) for cell in row] for row in sheet.iter_rows()]
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
    header: list[str] = []
    problems: list[Problem] = []
    for cell in cells:
        name = sheet.by_heading.get(plain_heading(cell), cell.strip())
        if name and name in header:
            problem = f"the column {shown(name)} stands there twice; the first is used"
            problems.append(fault(file, "row 1", problem, "delete or rename one of the two"))
            name = ""
        header.append(name)
    return header, problems


def _cut_rows(
    grid: list[list[str]], header: list[str], file: str
) -> tuple[list[list[str]], list[Problem]]:
    records: list[list[str]] = []
    problems: list[Problem] = []
    width = len(header)
    for row, cells in enumerate(grid, start=2):
        texts = [unguard(cell.strip()) for cell in cells]
        if not any(texts):
            continue
        if any(texts[width:]):
            problem = f"{len(texts)} cells came where the header has {width}; the row is left out"
            remedy = "put quotation marks round a cell that holds a comma, or save again from the spreadsheet"
            problems.append(fault(file, f"row {row}", problem, remedy))
            continue
        padded = texts[:width] + [""] * (width - len(texts))
        records.append([*padded, str(row)])
    return records, problems
