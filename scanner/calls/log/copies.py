"""Dated copies of the log: one at each day's first write, one at each change of its version."""

from __future__ import annotations

import re
from pathlib import Path

from scanner.store.private import make_folder, write_anew

FOLDER = "copies"
KEPT_COUNT = 30
"""So many days' copies are kept, newest first; of older ones the first of each month stays."""

_DAILY = re.compile(r"^book-(\d{4}-\d{2})-\d{2}\.sqlite$")


def keep(path: Path, stamp: str) -> None:
    """Copy the log as it stands, unless that day has its copy."""
    copy = path.parent / FOLDER / f"{path.stem}-{stamp}{path.suffix}"
    if copy.exists():
        return
    make_folder(copy.parent)
    part = copy.with_suffix(".part")
    write_anew(part, path.read_bytes())
    part.replace(copy)
    _thin(copy.parent)


def list_copies(path: Path) -> list[Path]:
    """List the copies of a log, and what is left of one that was cut off."""
    return sorted((path.parent / FOLDER).glob(f"{path.stem}-*"))


def way_back(path: Path) -> str:
    """Say how to get on after the log was damaged."""
    copies = sorted((path.parent / FOLDER).glob(f"{path.stem}-*{path.suffix}"))
    if not copies:
        return "There is no copy yet: rename it, and record your call lists again; a new log is then begun."
    return (
        f"The way back: rename it, copy {copies[-1]} (as it was before that day's first entry) to {path}, and "
        "record the lists filled in since again; what is on record is not doubled."
    )


def _thin(folder: Path) -> None:
    """Let the older copies go, but for the first of each month."""
    daily = sorted(copy for copy in folder.iterdir() if _DAILY.match(copy.name))
    seen: set[str] = set()
    for copy in daily[:-KEPT_COUNT]:
        month = copy.name[:12]
        if month in seen:
            copy.unlink(missing_ok=True)
        seen.add(month)
