"""
The log: ``book.sqlite``, one file in the book's folder that nothing typed is lost from.

`open_log` opens it for writing, `read_season` reads what it knows, `read_last_scan` what
the last scan offered. The database itself is touched in ``file.py`` only.
"""

from __future__ import annotations

from scanner.calls.log.file import begin_log
from scanner.calls.log.log import Log, forget_client, open_log
from scanner.calls.log.reading import (
    NO_SEASON,
    read_entries,
    read_last_scan,
    read_seals,
    read_season,
)

__all__ = [
    "NO_SEASON",
    "Log",
    "begin_log",
    "forget_client",
    "open_log",
    "read_entries",
    "read_last_scan",
    "read_seals",
    "read_season",
]
