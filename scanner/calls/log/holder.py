"""Who is writing the log: the database cannot say, so a file beside it does."""

from __future__ import annotations

import getpass
import os
import socket
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from datetime import UTC, datetime
from pathlib import Path

from scanner.store.private import write_anew

SUFFIX = "-in-use.txt"


@contextmanager
def named(path: Path) -> Iterator[None]:
    """Say beside the log who writes it, while they do."""
    side = path.with_name(path.name + SUFFIX)
    write_anew(side, f"{_user()} on {socket.gethostname()}, process {os.getpid()}".encode())
    try:
        yield
    finally:
        # On some systems a file that somebody is just reading cannot go; the next writer replaces it
        with suppress(OSError):
            side.unlink(missing_ok=True)


def who(path: Path) -> str:
    """Name whoever writes the log."""
    side = path.with_name(path.name + SUFFIX)
    try:
        since = datetime.fromtimestamp(side.stat().st_mtime, tz=UTC).astimezone()
        return f"{side.read_text(encoding='utf-8')}, since {since:%Y-%m-%d %H:%M}"
    except (OSError, ValueError):
        return "another program"


def _user() -> str:
    # Without a user name in the surroundings or the system's list this raises one of these
    with suppress(OSError, KeyError, ImportError):
        return getpass.getuser()
    return "somebody"
