"""What lies in a folder from the scan before: what people filled in, what stood on its list, and whether it may stay."""

from __future__ import annotations

import contextlib
import csv
import json
import os
import re
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import pandas as pd

from scanner.errors import BookError
from scanner.pages.call_list import CHANGE_COLUMNS, EarlierList
from scanner.schema.documents import Scan
from scanner.sheets.cells import unguard
from scanner.sheets.lists import CALL_LIST, MAILING
from scanner.sheets.problems import row_words
from scanner.sheets.reader import open_elsewhere, read_sheet
from scanner.store.prints import print_of, program_print, seal_of

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


RECORD = "pages.json"
"""In the working folder of a scan: the print of what its files were made from, and their seals by name."""


def print_scan(scan: Scan, parts: list[Path], earlier: EarlierList | None) -> str:
    """Print all that the files of a scan are made from: its tables, those of its parts, and the program."""
    whole = [value for name, value in vars(scan).items() if name not in ("parts", "blocks")]
    # All that a list of the same day tells the next: who was on it and is no more
    gone = {*scan.left_out["client_id"]}.intersection(earlier.rows if earlier else ())
    told = sorted(gone), *map(_print, whole), *(seal_of(path) for path in parts)
    return print_of(program_print(), *map(repr, told))


def _print(value: object) -> object:
    if isinstance(value, pd.DataFrame):
        # Column by column: all cells of a large book, written out at once, fill half a gigabyte
        columns = ((name, cells.dtype, cells.tolist()) for name, cells in value.items())
        return [print_of(repr(told)) for told in columns], print_of(repr(value.index.tolist()))
    return value


def find_standing(made: str, folder: Path, kept: Path) -> dict[str, str]:
    """Give the seals of all files, by name, where they were made from the same and each stands as it was written; else nothing."""
    # Whatever cannot be read is as if it were not there
    with contextlib.suppress(OSError, ValueError, TypeError):
        before, seals = json.loads((kept / RECORD).read_bytes())
        if before == made and all(seal_of(folder / name) == seals[name] for name in seals):
            for name in seals:
                os.utime(folder / name)  # they are those of this scan
            return dict(seals)
    return {}
