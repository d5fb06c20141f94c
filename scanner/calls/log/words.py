"""What is said when the log cannot be used: what is the matter, what is safe, what to do."""

from __future__ import annotations

from pathlib import Path

from scanner.calls.log import copies, holder


def held(path: Path) -> str:
    """Say who writes the log."""
    return (
        f"{path} is being written by {holder.who(path)}: wait until that is done, or close that program, "
        "then try again. Nothing was recorded."
    )


def locked_away(path: Path) -> str:
    """Say that nobody may write."""
    return (
        f"{path} cannot be written: the folder or the file is read-only. Move the book to a folder of your own, "
        "or ask for leave to write there. Nothing was recorded."
    )


def damaged(path: Path, detail: str) -> str:
    """Say that the file is damaged, and the way back."""
    return f"{path} is damaged ({detail}). It was left as it is. {copies.way_back(path)}"


def no_room(path: Path, detail: str) -> str:
    """Say that the disk is full."""
    return (
        f"{path} cannot be written ({detail}): the disk is full or gives way. Make room, then record again. "
        "Nothing of this recording was kept, everything before it was."
    )


def foreign(path: Path) -> str:
    """Say that the file is not ours."""
    return (
        f"{path} is not a log of this program: move it away, then try again. It was left as it is."
    )


def newer(path: Path, version: int, known: int) -> str:
    """Say that a newer program wrote the file."""
    return (
        f"{path} was written by a newer bed-scanner (version {version} of the log, this one knows {known}): install "
        "the newer program. The file was left as it is."
    )
