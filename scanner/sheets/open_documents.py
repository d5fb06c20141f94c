"""Sheets of OpenDocument (.ods), as LibreOffice saves them: what each cell shows, read as a stream.

A reader of its own, of little more than the standard library's parser: those that are kept tell an id
000 as a number, and make all rows at once of one that says it comes a million times.
"""

from __future__ import annotations

import re
import zipfile
import zlib
from collections.abc import Iterator
from itertools import groupby, repeat
from pathlib import Path
from typing import IO
from xml.parsers.expat import ExpatError, ParserCreate

from scanner.errors import BookError
from scanner.sheets.cells import number_text, only_text
from scanner.sheets.room import COPY, Room
from scanner.store.ceilings import (
    MAX_CELL_LETTERS,
    MAX_COLUMNS,
    MAX_ROWS,
    MAX_SHEET_BYTES,
    MAX_SHEET_RATIO,
    MAX_SHEETS,
    most_unpacked,
)
from scanner.store.markup import MarkupError, look_through

CONTENT = "content.xml"
_CHUNK_BYTES = 65_536
_DAMAGED = (zipfile.BadZipFile, zlib.error, ExpatError, LookupError, ValueError, NotImplementedError, RuntimeError, EOFError, OSError)  # fmt: skip

_SHEET = ["office:spreadsheet", "table:table"]
_CELLS = ("table:table-cell", "table:covered-table-cell")

Row = tuple[int, str, list[str], int]
"""Number and name of its sheet, its texts, and how often it comes; 0: the sheet begins."""


def read_open_document(path: Path) -> list[tuple[str, list[list[str]]]]:
    """Read the sheets of a document whole: their names, and their cells as text."""
    most_bytes = most_unpacked(path.stat().st_size, MAX_SHEET_RATIO, MAX_SHEET_BYTES)
    room = Room(path.name, most_bytes)
    try:
        with zipfile.ZipFile(path) as archive:
            room.refuse_huge(archive.getinfo(CONTENT).file_size, most_bytes)
            with archive.open(CONTENT) as part:
                look_through(part, {})
            with archive.open(CONTENT) as part:
                sheets = [
                    (name, room.fill(_each(own)))
                    for (_, name), own in groupby(_rows(part, room), key=lambda row: row[:2])
                ]
        if not sheets:
            raise ValueError
    except MarkupError as err:
        message = f"{path.name} {err}: {COPY}"
        raise BookError(message) from err
    except PermissionError:
        raise
    except _DAMAGED as err:
        message = f"{path.name} is not a spreadsheet that can be opened: save it again as .ods, .xlsx or .csv"
        raise BookError(message) from err
    return sheets


def _each(rows: Iterator[Row]) -> Iterator[list[str]]:
    """Repeat rows as often as they come; blank ones at the end are none."""
    blank_count = 0
    for _, _, texts, count in rows:
        if texts:
            yield from repeat([], blank_count)
            yield from repeat(texts, count)
            blank_count = 0
        else:
            blank_count = min(blank_count + count, MAX_ROWS)


def _rows(part: IO[bytes], room: Room) -> Iterator[Row]:
    """Read rows as they come."""
    parser, reading = ParserCreate(namespace_separator=" "), _Reading(room)
    parser.StartElementHandler, parser.EndElementHandler = reading.start, reading.end
    parser.CharacterDataHandler = reading.add
    while chunk := part.read(_CHUNK_BYTES):
        parser.Parse(chunk, False)  # noqa: FBT003  # the library takes no keywords
        yield from reading.rows
        reading.rows = []
    parser.Parse(b"", True)  # noqa: FBT003
    yield from reading.rows


class _Reading:
    """Where in a document the parser is, and the rows that it has passed."""

    def __init__(self, room: Room) -> None:
        self.rows = list[Row]()
        self._room = room
        self._names = list[str]()  # elements that are open
        self._sheet_count, self._sheet = 0, ""
        self._row = list[str]()
        self._blank_count = self._row_count = (
            0  # blank cells before the next one; times that the row comes
        )
        self._cell: dict[str, str] | None = None  # attributes of the cell that is open
        self._texts = list[str]()
        self._letters = 0
        self._strange = 0  # depth in what is no text of a cell: a comment, a drawing

    def start(self, name: str, attributes: dict[str, str]) -> None:
        """Open an element."""
        element, told = _plain(name), {_plain(key): value for key, value in attributes.items()}
        self._names.append(element)
        if self._cell is not None:
            self._strange += bool(self._strange or not element.startswith("text:"))
            self._shown(element, told)
        elif self._names[2:] == _SHEET:
            self._sheet_count += 1
            if self._sheet_count > MAX_SHEETS:
                self._room.refuse(f"has more than {MAX_SHEETS} sheets")
            self._sheet = told.get("table:name", "")
            self.rows.append((self._sheet_count, self._sheet, [], 0))
        elif element == "table:table-row" and self._names[2:4] == _SHEET:
            self._row, self._blank_count = [], 0
            self._row_count = _count(told, "table:number-rows-repeated")
        elif element in _CELLS and self._names[-2] == "table:table-row":
            self._cell, self._texts, self._letters = told, [], 0

    def end(self, _name: str) -> None:
        """Close the innermost element."""
        element = self._names.pop()
        if self._strange:
            self._strange -= 1
        elif element in _CELLS and self._cell is not None:
            self._close_cell(self._cell)
            self._cell = None
        elif element == "table:table-row" and self._cell is None:
            self.rows.append((self._sheet_count, self._sheet, self._row, self._row_count))

    def add(self, text: str) -> None:
        """Take text; what stands between paragraphs is none."""
        is_shown = self._cell is not None and not self._strange
        if is_shown and self._names[-1] not in _CELLS and self._letters <= MAX_CELL_LETTERS:
            self._texts.append(text)
            self._letters += len(text)

    def _shown(self, element: str, told: dict[str, str]) -> None:
        if element == "text:p" and self._texts:
            self.add("\n")
        elif element == "text:s":
            self.add(" " * min(_count(told, "text:c"), MAX_CELL_LETTERS + 1))
        elif element in ("text:tab", "text:line-break"):
            self.add("\n")

    def _close_cell(self, told: dict[str, str]) -> None:
        count, text = (
            _count(told, "table:number-columns-repeated"),
            _cell_text(told, "".join(self._texts)),
        )
        if not text:
            self._blank_count += count
            return
        column = len(self._row) + self._blank_count + count
        if column > MAX_COLUMNS:
            self._room.refuse_far(f"column {column:,}")
        self._row += [""] * self._blank_count + [text] * count
        self._blank_count = 0


def _plain(name: str) -> str:
    """Name an element as the standard writes it, as ``table:table-row``."""
    space, _, own = name.rpartition(" ")
    return f"{space.split(':')[-2]}:{own}" if space.startswith("urn:oasis:") else own


def _count(told: dict[str, str], name: str) -> int:
    return max(1, int(told.get(name, "1")))


def _cell_text(told: dict[str, str], shown: str) -> str:
    """Write a cell as the spreadsheet shows it, days as ISO."""
    kind, value = told.get("office:value-type", ""), told.get("office:value", "")
    if kind == "date":
        return told.get("office:date-value", shown).removesuffix("T00:00:00")
    if kind == "boolean":
        return {"true": "yes", "false": "no"}.get(told.get("office:boolean-value", ""), shown)
    if kind in ("float", "currency", "percentage") and value:
        looks = "%" if kind == "percentage" else "0" * len(shown) if _ZEROS.fullmatch(shown) else ""
        return number_text(float(value), looks)
    return only_text(told.get("office:string-value", shown))


_ZEROS = re.compile("[0-9]+")
