"""Files and folders that nobody else reads: a book holds names, phone numbers and prices."""

from __future__ import annotations

import os
from pathlib import Path

PRIVATE_FILE, PRIVATE_FOLDER = 0o600, 0o700


def make_folder(folder: Path) -> None:
    """Make a folder and those above it that are not there."""
    if not folder.is_dir():
        make_folder(folder.parent)
        folder.mkdir(mode=PRIVATE_FOLDER, exist_ok=True)


def write_anew(path: Path, content: bytes) -> None:
    """Write a file in place of what stands there; a link is replaced, never followed."""
    path.unlink(missing_ok=True)
    flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0)
    with os.fdopen(os.open(path, flags, PRIVATE_FILE), "wb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())
