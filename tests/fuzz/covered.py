"""Let a coverage-guided fuzzer spoil one kind of file: `python -m tests.fuzz.covered NAME CORPUS -max_total_time=600`.

NAME is a reader and a file of `tests.fuzz.seeds`, like `read_clients/clients.xlsx`; CORPUS a folder that keeps what
led to new lines of the program, so that a later run goes on from there. Atheris is installed by hand
(`pip install atheris`); no test needs it. Each kind of failure is told once and its file kept beside, and the run goes on.
"""

from __future__ import annotations

import random
import sys
from pathlib import Path

import atheris

with atheris.instrument_imports(
    include=["scanner", "openpyxl", "tomllib", "json", "zipfile", "xml", "csv"]
):
    import scanner.sheets.workbooks  # noqa: F401  # what is loaded later is followed nowhere
    from tests.fuzz.seeds import outcome, seeds, spoil


def main() -> None:
    """Fuzz the reader named by the first argument."""
    wanted = sys.argv.pop(1)
    read, name, sound = next(one for one in seeds() if f"{one[0].__name__}/{one[1]}" == wanted)
    corpus = Path(next(word for word in sys.argv[1:] if not word.startswith("-")))
    corpus.mkdir(parents=True, exist_ok=True)
    (corpus / "sound").write_bytes(sound)
    told = set[str]()

    def one(content: bytes) -> None:
        what = outcome(read, name, content)
        place = what.rpartition(" ")[2]
        if what and place not in told:
            told.add(place)
            found = corpus.with_name(f"found-{corpus.name}-{len(told)}")
            found.write_bytes(content)
            sys.stderr.write(f"FOUND {found}: {what[:300]}\n")

    def change(content: bytes, most: int, seed: int) -> bytes:
        """Spoil a file as the suite does, or leave it to the fuzzer, which knows nothing of what is packed."""
        dice = random.Random(seed)  # noqa: S311  # no secret
        if content.startswith(b"PK") or dice.random() < 0.5:
            spoiled = spoil(content, dice)
            return spoiled if len(spoiled) <= most else content
        return bytes(atheris.Mutate(content, most))

    atheris.Setup(
        [*sys.argv, f"-max_len={8 * len(sound)}", "-len_control=0"], one, custom_mutator=change
    )
    atheris.Fuzz()


if __name__ == "__main__":
    main()
