"""The call lists that lie in a folder: what people filled in, and what stood there before."""

from __future__ import annotations

import contextlib
import csv
import json
import re
from collections.abc import Callable, Mapping
from hashlib import blake2b, file_digest
from pathlib import Path
from typing import Any

from scanner.errors import BookError
from scanner.pages.call_list import CHANGE_COLUMNS, EarlierList
from scanner.sheets.cells import unguard
from scanner.sheets.lists import CALL_LIST, MAILING
from scanner.sheets.problems import row_words
from scanner.sheets.reader import open_elsewhere, read_sheet

CALL_LISTS = ("calls.xlsx", "calls.csv")
UNREADABLE = "it is no call list that can be read"

_LIST = re.compile(r"(calls|mailing)(-.*)?\.(xlsx|csv)")


Why = Callable[[Path], str]
"""Says why a call list must not be replaced, as a sentence without its end; blank: it may be."""


class Kept:
    """Tells whether a file is a call list that must not be replaced; asked again only after a save."""

    def __init__(self, why: Why) -> None:
        self._why = why
        self._told = dict[tuple[str, int, int, int], str]()

    def __call__(self, path: Path) -> bool:
        """Whether it holds something that nothing else does."""
        if not _LIST.fullmatch(path.name) or not path.exists():
            return False
        state = path.stat()
        stamp = (open_elsewhere(path), state.st_ino, state.st_mtime_ns, state.st_size)
        if stamp not in self._told:
            self._told[stamp] = self._why(path)
        return bool(self._told[stamp])


SEAL_BYTES = 16


def seal_of(path: Path) -> str:
    """Give the seal of a file: another one as soon as any program saves it with a change; blank where it can't be read."""
    with contextlib.suppress(OSError), path.open("rb") as file:
        return file_digest(file, lambda: blake2b(digest_size=SEAL_BYTES)).hexdigest()
    return ""


def has_cells_filled_in(path: Path) -> str:
    """Name the first row that somebody wrote into, whether that is on record or not; blank: there is none."""
    if mark := open_elsewhere(path):
        return f"it is open in another program ({mark} lies beside it)"
    sheet = MAILING if path.name.startswith("mailing") else CALL_LIST
    try:
        cells = read_sheet(path, sheet)[0][[*sheet.filled_in]]
    except BookError:
        return UNREADABLE
    for label, row in zip(cells.index, cells.to_dict("records"), strict=True):
        if names := [str(name) for name, cell in row.items() if cell]:
            return f"something stands in {row_words(label)} ({', '.join(names)})"
    return ""


_KNOWN = (*CHANGE_COLUMNS, "change")


def _rows_as_printed(path: Path) -> dict[str, dict[str, str]] | None:
    """Read a list line by line, so that a long one needs little room; None where a program has saved it in another form."""
    rows = dict[str, dict[str, str]]()
    with (
        contextlib.suppress(OSError, UnicodeDecodeError, csv.Error),
        path.open(encoding="utf-8", newline="") as file,
    ):
        lines = csv.reader(file, strict=True)
        names = next(lines, [])
        if names[: len(CALL_LIST.names)] != [*CALL_LIST.names]:
            return None
        client, *places = (names.index(name) for name in ("client_id", *_KNOWN))
        for cells in lines:
            if len(cells) != len(names):
                return None
            known = (cells[place].strip() for place in places)
            rows[unguard(cells[client].strip())] = dict(zip(_KNOWN, known, strict=True))
        return rows
    return None


def read_earlier(folder: Path) -> EarlierList | None:
    """Read the list of the scan before, None where it cannot be; without its own summary its day is not known."""
    path = folder / "calls.csv"
    if not path.exists():
        return None
    try:
        rows: Mapping[str, Mapping[Any, str]] | None = _rows_as_printed(path)
        if rows is None:
            table = read_sheet(path, CALL_LIST)[0]
            rows = dict(zip(table["client_id"], table[[*_KNOWN]].to_dict("records"), strict=True))
    except BookError:
        return None
    scanned_on = ""
    with contextlib.suppress(OSError, ValueError, AttributeError):
        scanned_on = str(json.loads((folder / "summary.json").read_bytes()).get("scanned_on", ""))
    return EarlierList(rows=rows, scanned_on=scanned_on)
