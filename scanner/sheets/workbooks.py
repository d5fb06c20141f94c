"""Workbooks as sheets of text: ids, names and days as the spreadsheet shows them."""

from __future__ import annotations

import contextlib
import io
import re
import warnings
import zipfile
import zlib
from collections.abc import Sequence
from datetime import date, datetime
from pathlib import Path
from xml.etree.ElementTree import ParseError

import openpyxl
from openpyxl.cell.cell import Cell, MergedCell
from openpyxl.utils.escape import unescape
from openpyxl.utils.exceptions import InvalidFileException

from scanner.errors import BookError
from scanner.sheets.cells import number_text, only_text, unguard
from scanner.sheets.description import plain_heading
from scanner.sheets.room import COPY, Room
from scanner.store.ceilings import (
    MAX_LOOKS,
    MAX_ROW_CELLS,
    MAX_ROWS,
    MAX_SHEET_BYTES,
    MAX_SHEET_RATIO,
    MAX_SHEETS,
    MAX_TEXTS,
    most_unpacked,
)
from scanner.store.markup import MarkupError, look_through
from scanner.store.private import write_anew

_DAMAGED = (
    zipfile.BadZipFile, zlib.error, InvalidFileException, ParseError, LookupError, ValueError, TypeError,
    AttributeError, ArithmeticError, AssertionError, NotImplementedError, RuntimeError, EOFError, OSError,
)  # fmt: skip
"""What the unpacker and the reader of workbooks raise where a part of one is not as it should be."""

_MOST = {
    ("row", "c"): (MAX_ROW_CELLS, "cells in a row"),
    ("sheetData", "row"): (MAX_ROWS, "rows"),
    ("sst", "si"): (MAX_TEXTS, "different texts"),
    ("cellXfs", "xf"): (MAX_LOOKS, "ways in which its cells look"),
}
"""Elements of a workbook, by what they stand in, that its reader takes whole."""


def read_workbook(path: Path) -> list[tuple[str, list[list[str]]]]:
    """Read the sheets of a workbook whole: their titles, and their cells as text."""
    packed_bytes = path.stat().st_size
    most_bytes = most_unpacked(packed_bytes, MAX_SHEET_RATIO, MAX_SHEET_BYTES)
    room = Room(path.name, most_bytes)
    try:
        with zipfile.ZipFile(path) as archive:
            members = archive.infolist()
            room.refuse_huge(sum(member.file_size for member in members), most_bytes)
            for member in members:
                with archive.open(member) as part:
                    look_through(part, _MOST)
        # openpyxl warns of parts that it doesn't know (drop-downs, themes); cells are not among them
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            return _read(path, room)
    except MarkupError as err:
        message = f"{path.name} {err}: {COPY}"
        raise BookError(message) from err
    except PermissionError:
        raise
    except _DAMAGED as err:
        message = (
            f"{path.name} is not a spreadsheet that can be opened: save it again as .xlsx or .csv"
        )
        raise BookError(message) from err


def _read(path: Path, room: Room) -> list[tuple[str, list[list[str]]]]:
    """Read it as a stream of rows, so that its styles and empty cells cost nothing."""
    opened = openpyxl.load_workbook(path, read_only=True, data_only=True, keep_links=False)
    with contextlib.closing(opened) as book:
        if not book.worksheets:
            raise ValueError
        if len(book.worksheets) > MAX_SHEETS:
            room.refuse(f"has more than {MAX_SHEETS} sheets")
        for sheet in book.worksheets:
            # what a file says of its own size may be wrong
            sheet.reset_dimensions()
        return [(sheet.title, room.fill(sheet.iter_rows(), _texts_of)) for sheet in book.worksheets]


def _texts_of(row: Sequence[Cell | MergedCell]) -> list[str]:
    texts = ["" if cell.value is None else _cell_text(cell) for cell in row]
    while texts and not texts[-1]:
        texts.pop()
    return texts


def _cell_text(cell: Cell | MergedCell) -> str:
    value = cell.value
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, datetime) and value.time() == datetime.min.time():
        return value.date().isoformat()
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, int | float):
        return number_text(value, cell.number_format or "")
    # A spreadsheet's file spells out letters that it can't hold, as _x000D_
    return only_text(unescape(str(value)))


_PLAIN_PART = re.compile(
    r"\[Content_Types\]\.xml|_rels/\.rels|docProps/(app|core)\.xml|"
    r"xl/(workbook|styles|sharedStrings|theme/theme1|_rels/workbook\.xml|worksheets/sheet\d+)\.(xml|rels|xml\.rels)"
)
"""Parts of a workbook without pictures, charts, comments, links and sums, which would be lost."""
_LOSES = re.compile(rb"<(f|mergeCell)[\s/>]")


def blank_rows(path: Path, wanted: str, *, heading: str) -> int:
    """Blank the rows that have a text under a heading; a workbook that would lose something when it is written anew is left alone."""
    try:
        sheets = read_workbook(path)
    except BookError:
        return 0
    with zipfile.ZipFile(path) as packed:
        for name in packed.namelist():
            if not _PLAIN_PART.fullmatch(name) or (
                "worksheets" in name and _LOSES.search(packed.read(name))
            ):
                return 0
    try:
        book, gone = openpyxl.load_workbook(path), 0
    except _DAMAGED:
        return 0
    for sheet, (_, rows) in zip(book.worksheets, sheets, strict=True):
        place = -1
        for number, cells in enumerate(rows, start=1):
            names = [plain_heading(cell) for cell in cells] if place < 0 else []
            place = names.index(heading) if heading in names else place
            if 0 <= place < len(cells) and unguard(cells[place].strip()) == wanted:
                gone += 1
                for cell in sheet[number]:
                    cell.value = cell.hyperlink = None
    if gone:
        book.save(stream := io.BytesIO())
        write_anew(path, stream.getvalue())
    return gone
