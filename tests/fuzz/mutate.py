"""Spoil files of every kind by the thousand and read them: `python -m tests.fuzz.mutate COUNT [NAME]`."""

from __future__ import annotations

import random
import sys
import time
from collections import Counter

from tests.fuzz.seeds import outcome, seeds, spoil


def main(count: int, only: str) -> None:
    """Read so many spoiled files of each kind; a line for each kind of failure, and its first seed."""
    for read, name, content in seeds():
        if only not in name:
            continue
        found, first, start = Counter[str](), dict[str, int](), time.perf_counter()
        for seed in range(count):
            sys.stderr.write(f"\r{read.__name__} {name} {seed} ")
            what = outcome(read, name, spoil(content, random.Random(seed)))  # noqa: S311  # no secret
            if what:
                found[what[:160]] += 1
                first.setdefault(what[:160], seed)
        sys.stdout.write(
            f"{read.__name__} {name}: {count:,} files, {time.perf_counter() - start:.0f} s, {sum(found.values())} not told in words\n"
        )
        for what, times in found.most_common():
            sys.stdout.write(f"  {times} x {what} (seed {first[what]})\n")


if __name__ == "__main__":
    main(int(sys.argv[1]), sys.argv[2] if len(sys.argv) > 2 else "")
