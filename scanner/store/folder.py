"""
The working folder of scans, beside the book: private, and free to be deleted at any time.

Each scan works in a folder of its own there and leaves it to the next, which takes over what still
holds. One that ends well clears away those that it found; what a killed one left is swept.
"""

from __future__ import annotations

import os
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

from scanner.store.curve import BLOCK_LOTS
from scanner.store.parquet_tables import FOLDER_MODE, make_private
from scanner.store.workers import count_cores

STORE_FOLDER = ".scan"
SMALL_LOTS = 1000
"""Below this, one process is done before others have started."""

_RUN, _KEPT = "run-", "kept-"
STRAY_SECONDS = 86_400.0


@dataclass(frozen=True)
class Store:
    """Where a scan works."""

    folder: Path  # its own folder
    # most lots of a block; most lots that one process does alone
    block_lots: int = BLOCK_LOTS
    small_lots: int = SMALL_LOTS
    workers: int = 1  # processes for more lots than that
    # whether parts stay in the folder after the scan; else they come in memory
    has_room: bool = True
    kept: tuple[Path, ...] = ()  # folders that earlier scans left, newest first


@contextmanager
def passing_store(book: Path | None = None) -> Iterator[Store]:
    """Work in a folder that goes at once, as a small book does; one process does it all.

    With a book, what scans have left beside it is at hand, and stays.
    """
    place = book / STORE_FOLDER if book else None
    # On the same disk, what is taken over is linked and not copied
    beside = place if place and os.access(place, os.W_OK) else None
    with tempfile.TemporaryDirectory(prefix=_RUN, dir=beside) as folder:
        kept = kept_folders(book) if book else []
        yield Store(Path(folder), has_room=False, kept=tuple(kept))


@contextmanager
def open_store(book: Path) -> Iterator[Store]:
    """Open a working folder beside a book; where nobody may write there, one that goes at the end.

    Where to work.
    """
    place = book / STORE_FOLDER
    try:
        make_private(place).chmod(FOLDER_MODE)
        mine = Path(tempfile.mkdtemp(prefix=_RUN, dir=place))
    except OSError:
        with tempfile.TemporaryDirectory(prefix="scan-") as passing:
            yield Store(Path(passing), workers=count_cores())
        return
    for folder in place.glob(f"{_RUN}*"):
        # another scan of the book may be at work in a younger one
        if mine.stat().st_mtime - folder.stat().st_mtime > STRAY_SECONDS:
            shutil.rmtree(folder, ignore_errors=True)
    kept = kept_folders(book)
    try:
        yield Store(mine, workers=count_cores(), kept=tuple(kept))
    except BaseException:
        _leave(mine)
        raise
    _leave(mine)
    for folder in kept:
        shutil.rmtree(folder, ignore_errors=True)
    with suppress(OSError):
        place.rmdir()


def kept_folders(book: Path) -> list[Path]:
    """List what scans have left beside a book, newest first."""
    folders = (book / STORE_FOLDER).glob(f"{_KEPT}*")
    return sorted(folders, key=lambda folder: folder.stat().st_mtime, reverse=True)


def _leave(mine: Path) -> None:
    """Leave a folder to the next scan, unless nothing lies in it."""
    with suppress(OSError):
        mine.rmdir()
    with suppress(OSError):
        mine.rename(mine.with_name(mine.name.replace(_RUN, _KEPT)))
