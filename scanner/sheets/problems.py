"""Rows of the table `PROBLEMS`: what came, what is allowed, what to do about it."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping, Sequence

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from scanner.errors import InputError
from scanner.schema.tables import PROBLEMS, check_table, empty_table
from scanner.store.ceilings import MAX_FAULTS

Problem = Mapping[str, str]
"""One row of `PROBLEMS`, made by `fault` or `note`."""

Where = Callable[[int], dict[str, str]]
"""From a position in a column to ``file``, ``feature`` and ``client_id`` of a problem."""

Cause = tuple["pd.Series[bool] | NDArray[np.bool_]", "str | pd.Series[str]", "str | pd.Series[str]"]
"""What keeps a row out: where it is so, in words (``{column}`` is the cell as typed), the remedy."""

ROW_LEFT = "the row is left out"
ID_REMEDY = "put the id right, or put the client back into the client list"

_SHOWN_LETTERS = 60


def fault(file: str, feature: str, problem: str, remedy: str, *, client_id: str = "") -> Problem:
    """Describe something wrong that was left out or blanked; the exit code becomes 1.

    >>> fault("clients.csv", "row 3", "the id is missing", "fill it in")["severity"]
    'fault'
    """
    return _row((file, feature, client_id, "fault", problem, remedy))


def note(file: str, feature: str, problem: str, remedy: str, *, client_id: str = "") -> Problem:
    """Describe something worth saying that stops nothing; the exit code stays 0.

    >>> note("sites/a.geojson", "", "no CRS is declared", "nothing to do")["severity"]
    'note'
    """
    return _row((file, feature, client_id, "note", problem, remedy))


def list_problems(rows: Iterable[Problem]) -> pd.DataFrame:
    """Put problem rows into a table, sorted as people count: row 9 before row 10.

    >>> rows = [fault("a.csv", f"row {n}", "bad", "mend it") for n in (10, 9)]
    >>> list_problems(rows)["feature"].tolist()
    ['row 9', 'row 10']
    """
    unique = {tuple(row[name] for name in PROBLEMS.columns): row for row in rows}
    if not unique:
        return empty_table(PROBLEMS)
    ordered = sorted(unique, key=lambda cells: [_count_key(cell) for cell in cells])
    problems = pd.DataFrame(ordered, columns=list(PROBLEMS.columns), dtype="str")
    return check_table(problems, PROBLEMS)


def faults_of(problems: pd.DataFrame) -> pd.DataFrame:
    """Give the problems that need fixing."""
    return problems[problems["severity"] == "fault"]


def join_problems(*tables: pd.DataFrame) -> pd.DataFrame:
    """Join several tables of problems into one sorted table.

    >>> one = list_problems([fault("a.csv", "row 2", "bad", "mend it")])
    >>> len(join_problems(one, one))
    1
    """
    names = list(PROBLEMS.columns)
    rows = (row for table in tables if len(table) for row in table[names].itertuples(index=False))
    return list_problems(dict(zip(names, map(str, row), strict=True)) for row in rows)


def places(rows: pd.DataFrame, file: str) -> Where:
    """Name file, row and client of the rows of a sheet; what was typed on the command line stands in none."""
    labels, ids = rows.index.tolist(), rows["client_id"].tolist()

    def where(at: int) -> dict[str, str]:
        return {"file": file, "feature": row_words(labels[at]), "client_id": ids[at]}

    return where


def row_words(label: object) -> str:
    """Name a row by its label in the index: a number, or words where a number won't do; 0 is a row of no file."""
    return label if isinstance(label, str) else f"row {label}" if label else ""


def first_faults(
    rows: pd.DataFrame, causes: Sequence[Cause], where: Where, *, end: str = ROW_LEFT
) -> tuple[pd.Series[bool], list[Problem]]:
    """Find the first thing wrong with each row: which rows are faulty, and one fault for each."""
    is_faulty = np.zeros(len(rows), dtype=bool)
    problems: dict[int, Problem] = {}
    for cause, words, remedy in causes:
        is_so = np.asarray(cause, dtype=bool)
        named = [name for name in rows if isinstance(words, str) and f"{{{name}}}" in words]
        cells = {str(name): rows[name].to_numpy(object) for name in named}
        for at in told_at(is_so & ~is_faulty, where):
            if isinstance(words, str):
                problem = words.format(**{name: shown(cells[name][at]) for name in cells})
            else:
                problem = words.iloc[at]
            way_out = remedy if isinstance(remedy, str) else remedy.iloc[at]
            problems[at] = fault(**where(at), problem=f"{problem}; {end}", remedy=way_out)
        is_faulty |= is_so
    return pd.Series(is_faulty, rows.index, dtype=bool), [problems[at] for at in sorted(problems)]


def shown(came: object) -> str:
    """Quote what came, cut to a length that fits a line; nothing is "blank".

    >>> shown("12 ft"), shown("")
    ("'12 ft'", 'blank')
    """
    text = " ".join(str(came).split())
    if not text:
        return "blank"
    return f"'{text}'" if len(text) <= _SHOWN_LETTERS else f"'{text[:_SHOWN_LETTERS]}…'"


def told_at(is_so: pd.Series[bool] | NDArray[np.bool_], where: Where) -> list[int]:
    """Give the places of faults that are told one by one; a file that has more than anybody would read is refused."""
    at = np.flatnonzero(is_so).tolist()
    if len(at) > MAX_FAULTS:
        first = where(at[0])
        message = (
            f"{first['file']} has more than {MAX_FAULTS:,} faults of one kind, the first in {first['feature']}: "
            "take out what is none of the list, or save it anew from where it came"
        )
        raise InputError(message)
    return at


def _row(cells: tuple[str, ...]) -> Problem:
    return dict(zip(PROBLEMS.columns, cells, strict=True))


def _count_key(cell: str) -> list[tuple[int, int, str]]:
    parts = re.split(r"(\d+)", str(cell))
    return [(0, int(part), "") if part.isdecimal() else (1, 0, part) for part in parts if part]
