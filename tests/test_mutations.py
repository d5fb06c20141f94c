"""Files of every kind, spoiled in a few places by a seed: each is read, or refused in words, and no reader dies."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

FILES_A_KIND = 12


def test_spoiled_files_are_told_in_words():
    told = subprocess.run(  # a reader in another language may take its process down
        [sys.executable, "-m", "tests.fuzz.mutate", str(FILES_A_KIND)],
        cwd=Path(__file__).parents[1], capture_output=True, text=True, timeout=900, check=False,
    )  # fmt: skip
    assert told.returncode == 0, told.stdout + told.stderr[-300:]
    assert told.stdout.count(" 0 not told in words") == told.stdout.count("\n") >= 18
