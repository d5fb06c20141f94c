"""
What the ground room costs a lot, verb by verb: from features in feet to measured beds and sets of beds.

Scans a book in this process and takes the processor time of every call that the modules which
join the rooms make into the ground room; what other rooms do is not in it, nor reading and pages.

    python tests/benchmarks/ground.py BOOK
"""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Callable
from datetime import date
from functools import wraps
from pathlib import Path
from time import process_time
from types import FunctionType, ModuleType

from scanner import pipeline

DAY = date(2026, 2, 16)
Spent = Counter[str]


def main(book: Path) -> None:
    """Scan a book and list the verbs of its ground room."""
    spent = Spent()
    for module in joining_modules():
        for name, verb in vars(module).copy().items():
            if isinstance(verb, FunctionType) and verb.__module__.startswith("scanner.ground"):
                setattr(module, name, timed(verb, spent))
    read = pipeline.read_book(book, needs_lots=True)
    pipeline.scan(read, today=DAY)
    lots = len(read.clients)
    for name, seconds in [*spent.most_common(), ("all", spent.total())]:
        print(f"{name:<40}{seconds / lots * 1000:>8.2f} ms a lot")


def joining_modules() -> list[ModuleType]:
    """Find the modules beside the rooms: those that join them."""
    return [
        module
        for name, module in sys.modules.items()
        if name.startswith("scanner.") and name.count(".") == 1 and not hasattr(module, "__path__")
    ]


def timed(verb: Callable[..., object], spent: Spent) -> Callable[..., object]:
    """Let a verb add up the processor time that it takes."""

    @wraps(verb)
    def run(*given: object, **named: object) -> object:
        begun = process_time()
        try:
            return verb(*given, **named)
        finally:
            spent[verb.__name__] += process_time() - begun

    return run


if __name__ == "__main__":
    main(Path(sys.argv[1]))
