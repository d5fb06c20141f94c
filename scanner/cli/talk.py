"""How the program talks: sentences and progress, to stderr."""

from __future__ import annotations

import re
import signal
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import IO

import click

STOPPED = 130
"""Exit code of a command that was stopped by hand, as shells have it."""

StepReport = Callable[[str, int, int], None]
"""Called with a step in words, how many parts of it are done, and how many there are."""


def say(sentence: str) -> None:
    """Say a sentence to the person at the keyboard."""
    click.echo(writable(harmless(sentence), sys.stderr), err=True)


def tell(text: str, *, nl: bool = True) -> None:
    """Write a result to stdout: as it is for a program, without what a terminal would obey for a person."""
    shown = harmless(text) if sys.stdout.isatty() else text
    click.echo(writable(shown, sys.stdout), nl=nl)


def harmless(text: str) -> str:
    r"""Spell out what a terminal would obey instead of showing, so that no name in a book can move its cursor.

    >>> print(harmless("Ada" + chr(27) + "[2J" + chr(0x202E) + "!"))
    Ada\x1b[2J\u202e!
    """
    return _OBEYED.sub(lambda found: found[0].encode("unicode_escape").decode(), text)


def writable(text: str, stream: IO[str]) -> str:
    """Spell out what a stream's encoding does not know."""
    encoding = getattr(stream, "encoding", None) or "utf-8"
    return text.encode(encoding, "backslashreplace").decode(encoding)


_OBEYED = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069]")


def say_unwritten(letters: set[str]) -> None:
    """Say which letters no face of the printed pages has."""
    if letters:
        say(f"No letter shape for {' '.join(sorted(letters))}: written as ?.")


def counted(number: int, one: str, many: str | None = None) -> str:
    """Write a number with its noun.

    >>> counted(1, "bed"), counted(1200, "bed"), counted(0, "lot left out", "lots left out")
    ('1 bed', '1,200 beds', '0 lots left out')
    """
    return f"{number:,} {one if number == 1 else many or one + 's'}"


@contextmanager
def stoppable(what_stands: Callable[[], str]) -> Iterator[None]:
    """Let work that is stopped by hand, or ended by the system, go back in good order; say then what stands."""
    asked_to_end = signal.signal(signal.SIGTERM, signal.default_int_handler)
    try:
        yield
    except KeyboardInterrupt as err:
        say(f"Stopped. {what_stands()}")
        raise click.exceptions.Exit(STOPPED) from err
    finally:
        signal.signal(signal.SIGTERM, asked_to_end)


@contextmanager
def progress_bar(words: str) -> Iterator[StepReport]:
    """Show a bar on stderr while something long runs; nothing where stderr is no terminal."""
    # What is drawn on a terminal only need not be loaded to say a sentence
    from rich.console import Console
    from rich.markup import escape
    from rich.progress import (
        BarColumn,
        MofNCompleteColumn,
        Progress,
        TextColumn,
        TimeElapsedColumn,
        TimeRemainingColumn,
    )

    console = Console(stderr=True)
    if not console.is_terminal:
        yield lambda *_: None
        return
    columns = (
        TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TextColumn("{task.fields[rate]}"),
        TimeElapsedColumn(), TextColumn("left"), TimeRemainingColumn(),
    )  # fmt: skip
    with Progress(*columns, console=console, transient=True) as bar:
        task = bar.add_task(words, total=None, rate="")

        def report(step: str, done: int, total: int) -> None:
            bar.update(task, description=escape(step), completed=done, total=total)
            speed = bar.tasks[task].speed
            bar.update(task, rate=f"{speed:,.0f} a second" if speed else "")

        yield report
