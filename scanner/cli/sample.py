"""The sample book that comes with the program, and a copy of it to work on."""

from __future__ import annotations

import shutil
import tempfile
from pathlib import Path

import scanner
from scanner.errors import BookError
from scanner.store.private import PRIVATE_FOLDER, make_folder, write_anew


def sample_folder(name: str) -> Path:
    """Say where a packaged folder of the sample data lies: the ``book``, or the ``season`` that it can play.

    >>> (sample_folder("book") / "clients.csv").is_file()
    True
    """
    package = Path(scanner.__file__).parent
    # Built packages hold it inside; a checkout and an editable install have it at the top level.
    for home in (package, package.parent):
        if (folder := home / "sample_data" / name).is_dir():
            return folder
    message = "the sample book is missing from this installation: install bed-scanner again"
    raise BookError(message)


def copy_sample_book(folder: Path) -> tuple[Path, bool]:
    """Copy the sample book, so that the original stays clean."""
    if folder.is_dir():
        return folder, False
    if folder.exists():
        message = f"{folder} is not a folder: move it away, or name another place with --out"
        raise BookError(message)
    make_folder(folder.parent)
    # Copied aside and renamed, so that a copy broken off half-way is never taken for a book.
    with tempfile.TemporaryDirectory(dir=folder.parent) as aside:
        copied = shutil.copytree(sample_folder("book"), Path(aside) / "book", copy_function=_copy)
        for made in (copied, *(path for path in copied.rglob("*") if path.is_dir())):
            made.chmod(PRIVATE_FOLDER)
        copied.rename(folder)
    return folder, True


def _copy(source: str, target: str) -> str:
    write_anew(Path(target), Path(source).read_bytes())
    return target
