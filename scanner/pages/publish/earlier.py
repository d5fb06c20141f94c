"""The call lists that lie in a folder: what people filled in, and what stood there before."""

from __future__ import annotations

import contextlib
import json
from collections.abc import Collection
from pathlib import Path

import pandas as pd

from scanner.errors import BookError
from scanner.pages.call_list import EarlierList
from scanner.sheets.lists import CALL_LIST
from scanner.sheets.problems import row_words
from scanner.sheets.reader import open_elsewhere, read_sheet

CALL_LISTS = ("calls.xlsx", "calls.csv")


def refuse_open(path: Path) -> None:
    """Refuse when a spreadsheet program has the list open: what is typed there is not saved yet."""
    if mark := open_elsewhere(path):
        message = (
            f"{path} is open in another program: save and close it there, record it, then scan again. Where "
            f"it is not open any more, delete {mark} beside it."
        )
        raise BookError(message)


def refuse_filled(path: Path, pending: Collection[object] | None) -> None:
    """Refuse when somebody wrote into the list what is not on record; the message names the row."""
    if not path.exists():
        return
    filled = _filled(path)
    if pending is not None:
        filled = [(label, "has something filled in that") for label in pending]
    for label, what in filled[:1]:
        message = (
            f"{path}: {row_words(label)} {what} is not recorded yet, and a new scan would write over it. Record the list "
            f"(bed-scanner record BOOK {path}), or move it to another folder, then scan again."
        )
        raise BookError(message)


def stamp(path: Path) -> tuple[int, int] | None:
    """Tell when a file was saved and how long it is, so that a later save can be seen."""
    return (path.stat().st_mtime_ns, path.stat().st_size) if path.exists() else None


def refuse_saved_since(path: Path, before: tuple[int, int] | None) -> None:
    """Refuse when somebody saved the list while the new one was made."""
    if stamp(path) != before:
        message = (
            f"{path} was saved while the scan ran, and what was filled in is not recorded yet. Record the list "
            f"(bed-scanner record BOOK {path}), then scan again."
        )
        raise BookError(message)


def holds_something(path: Path) -> bool:
    """Tell whether a file is a call list that somebody wrote into, or that nobody can read."""
    if path.name not in CALL_LISTS or not path.exists():
        return False
    try:
        return bool(_filled(path))
    except BookError:
        return True


def read_earlier(folder: Path) -> EarlierList | None:
    """Read the list of the scan before; without its own summary its day is not known."""
    path = folder / "calls.csv"
    if not path.exists():
        return None
    table = _read_list(path)
    rows = dict(zip(table["client_id"], table.to_dict("records"), strict=True))
    scanned_on = ""
    with contextlib.suppress(OSError, ValueError, AttributeError):
        scanned_on = str(json.loads((folder / "summary.json").read_bytes()).get("scanned_on", ""))
    return EarlierList(rows=rows, scanned_on=scanned_on)


def _filled(path: Path) -> list[tuple[object, str]]:
    """Name the rows that somebody wrote into, and say where."""
    cells = _read_list(path)[[*CALL_LIST.filled_in]]
    return [
        (label, f"has something in {', '.join(str(name) for name, cell in row.items() if cell)} that")
        for label, row in zip(cells.index, cells.to_dict("records"), strict=True)
        if any(row.values())
    ]  # fmt: skip


def _read_list(path: Path) -> pd.DataFrame:
    """Read a call list that lies in the folder."""
    try:
        return read_sheet(path, CALL_LIST)[0]
    except BookError as err:
        message = (
            f"{path}: this is not a call list that can be read (a column such as outcome is missing, or the file is "
            "damaged), so nobody can tell what was filled in. Move it to another folder, then scan again."
        )
        raise BookError(message) from err
