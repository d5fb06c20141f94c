"""
Where the time of a command goes, stage by stage, in processor time.

Runs a command of ours in this process and looks every few milliseconds of processor time which
verb the pipeline or the command line is in. Work handed to other processes is not seen: give
the command one worker.

    python tests/benchmarks/stages.py scan BOOK --out FOLDER
"""

from __future__ import annotations

import signal
import sys
from collections import Counter
from contextlib import redirect_stdout
from pathlib import Path
from time import process_time
from types import FrameType

import scanner

SCANNER = Path(scanner.__file__).parent
EVERY_SECONDS = 0.002
JOINING = ("cli", "store")
"""Rooms that hand work on, as the modules beside the rooms do."""

MOST_ROWS = 24


def main(arguments: list[str]) -> int:
    """Run a command of ours and list its stages; gives the command's exit code."""
    seen, begun = Counter[str](), process_time()
    signal.signal(signal.SIGPROF, lambda _signal, frame: seen.update([stage_of(frame)]))
    signal.setitimer(signal.ITIMER_PROF, EVERY_SECONDS, EVERY_SECONDS)
    code = run(arguments)
    signal.setitimer(signal.ITIMER_PROF, 0)
    seconds = process_time() - begun
    print(f"{'stage':<52}{'processor s':>12}{'share':>8}")
    for stage, count in [*seen.most_common(MOST_ROWS), ("all", seen.total())]:
        share = count / max(1, seen.total())
        print(f"{stage:<52}{share * seconds:>12.2f}{share:>8.1%}")
    return code


def run(arguments: list[str]) -> int:
    """Run a command and give its exit code."""
    from scanner.cli import main as command  # noqa: PLC0415 - importing is a stage as well

    with redirect_stdout(sys.stderr):
        return int(command(arguments, standalone_mode=False) or 0)


def stage_of(frame: FrameType | None) -> str:
    """Name the verb that a moment belongs to: ours, called by the module that joins the rooms."""
    ours, is_import = [], False
    while frame is not None:
        path = Path(frame.f_code.co_filename)
        is_import |= path.name.startswith("<frozen importlib")
        if path.is_relative_to(SCANNER):
            parts = path.relative_to(SCANNER).with_suffix("").parts
            joins = len(parts) == 1 or parts[0] in JOINING
            ours.append((".".join((*parts, frame.f_code.co_name)), joins))
        frame = frame.f_back
    if is_import:
        return "importing"
    verb = ""
    for name, joins in ours:
        if joins and verb:
            return verb
        verb = "" if joins else name
    return verb or (ours[0][0] if ours else "starting")


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
