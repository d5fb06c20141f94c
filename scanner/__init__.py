"""
Find, size, price and rank accent beds on the lots that a lawn company mows.

The same verbs as on the command line, for people who script::

    from datetime import date
    from pathlib import Path

    from scanner import read_book, scan

    book = read_book(Path("sample_data/book"))
    found = scan(book, today=date(2026, 2, 2))
    found.calls.head(10)
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from scanner.pipeline import open_season, publish_scan, read_book, scan

__version__ = "0.1.0"

__all__ = ["open_season", "publish_scan", "read_book", "scan"]


def __getattr__(name: str) -> Any:  # noqa: ANN401  # whatever the pipeline's verb is
    # Looked up when asked for, so that a room can be imported without all the others.
    if name in __all__:
        return getattr(import_module("scanner.pipeline"), name)
    message = f"module {__name__!r} has no attribute {name!r}"
    raise AttributeError(message)
