"""
The working folder of a scan, beside the book: private, and free to be deleted at any time.

Each scan works in a folder of its own there. What an earlier one found out about a lot may be used
again, also of one that was broken off; of another program or other libraries nothing is trusted.
"""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from hashlib import blake2b
from pathlib import Path

import pyarrow as pa
import pyproj
import shapely

from scanner.store.curve import BLOCK_LOTS
from scanner.store.tables import FOLDER_MODE, make_private
from scanner.store.workers import count_cores

STORE_FOLDER = ".scan"
SMALL_LOTS = 1000
"""Below this, one process is done before others have started."""

_RUN, _WHOLE = "run-", "whole"


@dataclass(frozen=True)
class Store:
    """
    Where a scan works.

    Attributes
    ----------
    folder
        Its own folder.
    earlier
        Folders of earlier scans, newest first.
    block_lots, small_lots
        Most lots of a block; most lots that one process does alone.
    workers
        Processes for more lots than that.
    has_room
        Whether parts stay in the folder after the scan; else they come in memory.
    """

    folder: Path
    earlier: tuple[Path, ...] = ()
    block_lots: int = BLOCK_LOTS
    small_lots: int = SMALL_LOTS
    workers: int = 1
    has_room: bool = True


@contextmanager
def passing_store() -> Iterator[Store]:
    """Work in a folder that goes at once, as a small book does; one process does it all."""
    with tempfile.TemporaryDirectory(prefix="scan-") as folder:
        yield Store(Path(folder), has_room=False)


@contextmanager
def open_store(book: Path) -> Iterator[Store]:
    """
    Open a working folder beside a book; where nobody may write there, one that goes at the end.

    What is in it when the scan breaks off stays for the next one.

    Yields
    ------
    store
        Where to work.
    """
    try:
        place = _claim(book / STORE_FOLDER)
    except OSError:
        with tempfile.TemporaryDirectory(prefix="scan-") as passing:
            yield Store(Path(passing), workers=count_cores())
        return
    mine = Path(tempfile.mkdtemp(prefix=_RUN, dir=place))
    others = [folder for folder in place.glob(f"{_RUN}*") if folder != mine]
    others.sort(key=lambda folder: folder.stat().st_mtime_ns, reverse=True)
    yield Store(mine, tuple(others), workers=count_cores())
    # Of a small book nothing is kept: it is done anew before anybody notices
    is_kept = any(part.is_dir() for part in mine.iterdir())
    for folder in others if is_kept else [place]:
        shutil.rmtree(folder, ignore_errors=True)


def _claim(place: Path) -> Path:
    """Make the folder, or empty it where another program left it."""
    stamp = place / "made-by"
    made_by = _name_program()
    with suppress(OSError, UnicodeDecodeError):
        if stamp.read_text(encoding="utf-8") == made_by:
            place.chmod(FOLDER_MODE)
            return place
    shutil.rmtree(place, ignore_errors=True)
    make_private(place)
    stamp.write_text(made_by, encoding="utf-8")
    return place


def _name_program() -> str:
    """Name this very program and the libraries that its numbers come from."""
    sources = sorted(Path(__file__).parents[1].rglob("*.py"))
    print_of = blake2b(b"".join(path.read_bytes() for path in sources), digest_size=16)
    return f"{print_of.hexdigest()} {shapely.__version__} {shapely.geos_version} {pyproj.__version__} {pa.__version__}"
