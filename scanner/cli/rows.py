"""Rows and problems on stdout: a table on a terminal, csv or lines elsewhere, JSON for other programs."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any

import pandas as pd
from rich.console import Console
from rich.markup import escape
from rich.table import Table

from scanner.cli.talk import harmless, tell
from scanner.sheets.cells import sheet_csv
from scanner.sheets.description import Column, Sheet
from scanner.sheets.lists import PROBLEM_LIST

SCREEN_LETTERS = 100
"""A terminal is taken to be so wide at most: longer lines are hard to read."""


def print_rows(
    rows: Iterable[Mapping[str, Any]],
    sheet: Sheet,
    *,
    as_json: bool,
    as_csv: bool = False,
    on_screen: Callable[[dict[str, Any], int], list[str]] | None = None,
) -> None:
    """Print rows of a sheet for whoever reads them.

    A terminal shows the columns that have a heading, or the lines that `on_screen` makes of a row and a width.
    For programs what people fill in is left out.
    """
    console = Console(highlight=False)
    if as_json:
        names = [name for name in sheet.names if name not in sheet.filled_in]
        picked = [{name: row[name] for name in names} for row in rows]
        tell(json.dumps(picked, ensure_ascii=False, indent=2, default=float))
    elif console.is_terminal and not as_csv and on_screen:
        width = min(console.width, SCREEN_LETTERS)
        tell("\n".join(line for row in rows for line in on_screen(dict(row), width)))
    elif console.is_terminal and not as_csv:
        console.print(_table(rows, [column for column in sheet.columns if column.heading]))
    else:
        named = ({name: row[name] for name in sheet.names} for row in rows)
        tell(sheet_csv(sheet, named).decode().replace("\r\n", "\n"), nl=False)


def _table(rows: Iterable[Mapping[str, Any]], columns: Sequence[Column]) -> Table:
    table = Table(show_lines=False)
    for column in columns:
        table.add_column(column.heading, overflow="fold")
    for row in rows:
        values = (row[column.name] for column in columns)
        table.add_row(*("" if value is None else escape(harmless(str(value))) for value in values))
    return table


def show_problems(problems: pd.DataFrame, *, as_json: bool) -> None:
    """Print what was found wrong: a table on a terminal, a line each elsewhere, or JSON."""
    rows = [
        {name: str(row[name]) for name in PROBLEM_LIST.names} for row in problems.to_dict("records")
    ]
    if as_json:
        tell(json.dumps(rows, ensure_ascii=False, indent=2))
        return
    console = Console(highlight=False)
    if console.is_terminal and rows:
        console.print(_problem_table(rows))
        return
    for row in rows:
        tell(problem_line(row))


def problem_line(problem: dict[str, str]) -> str:
    """Write one problem as a line of text."""
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
        table.add_row(*(escape(harmless(cell)) for cell in cells))
    return table
