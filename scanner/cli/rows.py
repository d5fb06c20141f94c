"""Rows on stdout: a table on a terminal, csv elsewhere, JSON for other programs."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import click
from rich.console import Console
from rich.markup import escape
from rich.table import Table

from scanner.sheets.cells import csv_bytes


def print_rows(
    rows: Iterable[Mapping[str, Any]],
    columns: Sequence[str],
    *,
    as_json: bool,
    headings: Mapping[str, str] | None = None,
) -> None:
    """
    Print rows for whoever reads them.

    Parameters
    ----------
    rows
        Texts, whole numbers, decimals or None by column.
    columns
        Columns of csv and JSON, in order.
    as_json
        Whether another program reads it.
    headings
        Columns shown on a terminal, with their headings; None: all.
    """
    rows = list(rows)
    console = Console(highlight=False)
    if as_json:
        picked = [{name: row[name] for name in columns} for row in rows]
        click.echo(json.dumps(picked, ensure_ascii=False, indent=2, default=float))
    elif console.is_terminal:
        console.print(_table(rows, headings or {name: name for name in columns}))
    else:
        text = csv_bytes(columns, ([row[name] for name in columns] for row in rows)).decode()
        click.echo(text.replace("\r\n", "\n"), nl=False)


def _table(rows: Sequence[Mapping[str, Any]], headings: Mapping[str, str]) -> Table:
    table = Table(show_lines=False)
    for heading in headings.values():
        table.add_column(heading, overflow="fold")
    for row in rows:
        cells = ("" if row[name] is None else str(row[name]) for name in headings)
        table.add_row(*(escape(cell) for cell in cells))
    return table
