"""A new book: templates filled in as a working example."""

from __future__ import annotations

from importlib.resources import files
from importlib.resources.abc import Traversable
from pathlib import Path

from scanner.errors import BookError
from scanner.store.private import make_folder, write_anew

KEEP_PRIVATE = "# clients' names and numbers: never part of a published folder\n*\n"
"""Keeps a book out of the version control of a folder that it happens to stand in."""


def start_book(folder: Path) -> list[Path]:
    """Write a small example book that can be scanned at once and then filled in.

    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as place:
    ...     [path.name for path in start_book(Path(place) / "my book")]
    ['README.txt', 'clients.csv', 'local.toml', 'measured.csv', 'plants.toml', 'rates.toml', 'example.geojson']
    """
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        message = f"'{folder}' is there already and not empty: choose another name, so that nothing is overwritten"
        raise BookError(message)
    templates = files("scanner.book").joinpath("templates")
    try:
        written = _copy(templates, folder)
        write_anew(folder / ".gitignore", KEEP_PRIVATE.encode())
    except OSError as err:
        message = (
            f"'{folder}' cannot be written ({err.strerror}): choose a place where you may write"
        )
        raise BookError(message) from err
    return written


def _copy(source: Traversable, target: Path) -> list[Path]:
    make_folder(target)
    entries = sorted(source.iterdir(), key=lambda entry: (entry.is_dir(), entry.name))
    written: list[Path] = []
    for entry in entries:
        if entry.is_dir():
            written += _copy(entry, target / entry.name)
        else:
            path = target / entry.name
            write_anew(path, entry.read_bytes())
            written.append(path)
    return written
