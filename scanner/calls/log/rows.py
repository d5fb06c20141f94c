"""Rows on their way into the database: plain values, and statements with their places."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping

import numpy as np
import pandas as pd

from scanner.calls.log.file import Store

STANDING = "entry_id NOT IN (SELECT takes_back FROM entries WHERE takes_back IS NOT NULL)"
"""Holds for an entry that was not taken back."""


def placeholders(columns: Iterable[str]) -> str:
    """
    Name columns for a statement that adds a row.

    Parameters
    ----------
    columns
        Names of columns.

    Returns
    -------
    text
        The names, and a question mark each.

    Examples
    --------
    >>> placeholders(["a", "b"])
    '(a, b) VALUES (?, ?)'
    """
    names = list(columns)
    return f"({', '.join(names)}) VALUES ({', '.join('?' * len(names))})"


def plain_rows(table: pd.DataFrame, columns: Iterable[str]) -> list[tuple[object, ...]]:
    """
    Turn a table into rows of plain values, as the database takes them.

    Parameters
    ----------
    table
        Any table.
    columns
        Its columns, in order.

    Returns
    -------
    rows
        Plain values; what is not known is None.

    Examples
    --------
    >>> plain_rows(pd.DataFrame({"a": [1.5, np.nan], "b": ["x", "y"]}), ["b", "a"])
    [('x', 1.5), ('y', None)]
    """
    # A column that is made of None again would turn it into NaN
    return list(zip(*([_plain(value) for value in table[name]] for name in columns), strict=True))


def add_entry(
    store: Store, kind: str, table: str, values: Mapping[str, object], *, today: str
) -> int:
    """
    Add an entry and the row that says what it is about.

    Parameters
    ----------
    store
        The log's tables, in a transaction.
    kind
        Kind of the entry.
    table
        Table of that kind.
    values
        The row by column, without its number.
    today
        Day of the recording, ISO.

    Returns
    -------
    entry_id
        Number of the entry.

    Raises
    ------
    LogError
        If it cannot be written.
    """
    entry_id = store.write("INSERT INTO entries (kind, recorded_on) VALUES (?, ?)", (kind, today))
    row = {"entry_id": entry_id} | dict(values)
    store.write(f"INSERT INTO {table} {placeholders(row)}", tuple(row.values()))
    return entry_id


def write_all(store: Store, statement: str, rows: list[tuple[object, ...]]) -> None:
    """
    Write rows, if there are any.

    Parameters
    ----------
    store
        The log's tables, in a transaction.
    statement
        What to do with each row.
    rows
        What stands for its question marks.

    Raises
    ------
    LogError
        If they cannot be written.
    """
    if rows:
        store.write(statement, *rows)


def _plain(value: object) -> object:
    plain = value.item() if isinstance(value, np.generic) else value
    return None if isinstance(plain, float) and math.isnan(plain) else plain
