"""How the program talks: sentences and progress to stderr, tables and data to stdout."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from contextlib import contextmanager

import click
import pandas as pd
from rich.console import Console
from rich.markup import escape
from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn
from rich.table import Table

COLUMNS = ("file", "feature", "client_id", "severity", "problem", "remedy")

StepReport = Callable[[str, int, int], None]
"""Called with a step in words, how many parts of it are done, and how many there are."""


def say(sentence: str) -> None:
    """
    Say a sentence to the person at the keyboard.

    Parameters
    ----------
    sentence
        What to say; goes to stderr.
    """
    click.echo(sentence, err=True)


def counted(number: int, one: str, many: str | None = None) -> str:
    """
    Write a number with its noun.

    Parameters
    ----------
    number
        How many.
    one, many
        The noun for one and for several; an s is added where `many` is left out.

    Returns
    -------
    words
        Number and noun.

    Examples
    --------
    >>> counted(1, "bed"), counted(1200, "bed"), counted(0, "lot left out", "lots left out")
    ('1 bed', '1,200 beds', '0 lots left out')
    """
    return f"{number:,} {one if number == 1 else many or one + 's'}"


@contextmanager
def progress_bar(words: str) -> Iterator[StepReport]:
    """
    Show a bar on stderr while something long runs; nothing where stderr is no terminal.

    Parameters
    ----------
    words
        What is being done, until the first step says better.

    Yields
    ------
    report
        To be called as each part of a step is done.
    """
    console = Console(stderr=True)
    if not console.is_terminal:
        yield lambda *_: None
        return
    columns = (TextColumn("{task.description}"), BarColumn(), TimeElapsedColumn())
    with Progress(*columns, console=console, transient=True) as bar:
        task = bar.add_task(words, total=None)

        def report(step: str, done: int, total: int) -> None:
            bar.update(task, description=escape(step), completed=done, total=total)

        yield report


def show_problems(problems: pd.DataFrame, *, as_json: bool) -> None:
    """
    Print what was found wrong: a table on a terminal, a line each elsewhere, or JSON.

    Parameters
    ----------
    problems
        Table `PROBLEMS`; goes to stdout.
    as_json
        Whether another program reads it.
    """
    rows = [{name: str(row[name]) for name in COLUMNS} for row in problems.to_dict("records")]
    if as_json:
        click.echo(json.dumps(rows, ensure_ascii=False, indent=2))
        return
    console = Console(highlight=False)
    if console.is_terminal and rows:
        console.print(_problem_table(rows))
        return
    for row in rows:
        click.echo(problem_line(row))


def problem_line(problem: dict[str, str]) -> str:
    """
    Write one problem as a line of text.

    Parameters
    ----------
    problem
        One row of table `PROBLEMS`.

    Returns
    -------
    line
        Severity, place, what came and what is allowed, remedy.

    Examples
    --------
    >>> problem_line({"file": "clients.csv", "feature": "row 7", "client_id": "C7",
    ...               "severity": "fault", "problem": "the id is missing", "remedy": "fill it in"})
    'fault: clients.csv, row 7, client C7: the id is missing; to do: fill it in'
    >>> problem_line({"file": "", "feature": "", "client_id": "",
    ...               "severity": "note", "problem": "no lots yet", "remedy": ""})
    'note: no lots yet'
    """
    client = f"client {problem['client_id']}" if problem["client_id"] else ""
    place = ", ".join(part for part in (problem["file"], problem["feature"], client) if part)
    remedy = f"; to do: {problem['remedy']}" if problem["remedy"] else ""
    parts = (problem["severity"], place, f"{problem['problem']}{remedy}")
    return ": ".join(part for part in parts if part)


def _problem_table(rows: list[dict[str, str]]) -> Table:
    table = Table(show_lines=True)
    for heading in ("where", "client", "", "what came, what is allowed", "what to do"):
        table.add_column(heading, overflow="fold")
    for row in rows:
        where = "\n".join(part for part in (row["file"], row["feature"]) if part)
        cells = (where, row["client_id"], row["severity"], row["problem"], row["remedy"])
        table.add_row(*(escape(cell) for cell in cells))
    return table
