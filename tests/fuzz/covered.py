"""Let a coverage-guided fuzzer spoil one kind of file: `python -m tests.fuzz.covered NAME -max_total_time=600`.

Atheris is installed by hand (`pip install atheris`); no test needs it. What it finds first is written beside as `crash-…`.
"""

from __future__ import annotations

import sys
from pathlib import Path
from tempfile import TemporaryDirectory

import atheris

with atheris.instrument_imports(
    include=["scanner.sheets", "scanner.book", "scanner.store", "scanner.calls.log", "openpyxl"]
):
    from tests.fuzz.seeds import outcome, seeds


def main() -> None:
    """Fuzz the reader of the first kind of file whose name is the first argument."""
    wanted = sys.argv.pop(1)
    read, name, sound = next(seed for seed in seeds() if seed[1] == wanted)

    def one(content: bytes) -> None:
        if what := outcome(read, name, content):
            raise RuntimeError(what)

    with TemporaryDirectory() as corpus:
        (Path(corpus) / "sound").write_bytes(sound)
        atheris.Setup([*sys.argv, f"-max_len={2 * len(sound)}", corpus], one)
        atheris.Fuzz()


if __name__ == "__main__":
    main()
