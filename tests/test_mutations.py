"""Files of every kind, spoiled in a few places by a seed: each is read, or refused in words, and no reader dies."""

from __future__ import annotations

import sys
from multiprocessing.context import BaseContext
from pathlib import Path

FILES_A_KIND = 12


def spoil_and_read(told: Path, seen: Path) -> None:
    """Read spoiled files of every kind; write down what comes of them, and at which one it is."""
    from tests.fuzz import mutate  # noqa: PLC0415  # only the child needs what makes files

    with told.open("w") as sys.stdout, seen.open("w") as sys.stderr:
        mutate.main(FILES_A_KIND, "")


def test_spoiled_files_are_told_in_words(children: BaseContext, tmp_path: Path):
    told, seen = tmp_path / "told", tmp_path / "seen"
    # A reader in another language may take its process down
    child = children.Process(target=spoil_and_read, args=(told, seen))
    child.start()
    child.join(900)
    child.kill()  # one that hangs
    lines = told.read_text()
    assert child.exitcode == 0, lines + seen.read_text()[-300:]
    assert lines.count(" 0 not told in words") == lines.count("\n") >= 18
