"""Crew-days that are free for bed work, week by week: capacity.csv."""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pandas as pd

from scanner.errors import BookError
from scanner.schema.book_tables import CAPACITY
from scanner.schema.tables import check_table, empty_table
from scanner.sheets.filled import CAPACITY_SHEET, MOST_FREE_DAYS
from scanner.sheets.problems import fault, first_faults, list_problems, note, row_words
from scanner.sheets.reader import read_sheet
from scanner.sheets.values import DAY_REMEDY, read_columns
from scanner.units import DAYS_PER_WEEK

CAPACITY_FILE = "capacity.csv"


def read_capacity(book: Path) -> tuple[pd.DataFrame, pd.DataFrame]:
    r"""Read the free crew-days of a book: tables `CAPACITY`, by week and crew, and `PROBLEMS`.

    A week is named by its Monday; another day of it counts for that week. No such file: no row.

    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     _ = (Path(folder) / "capacity.csv").write_text("week,crew,free_crew_days\n2027-04-07,A,2.5\n")
    ...     free, problems = read_capacity(Path(folder))
    >>> free.values.tolist(), problems["problem"].tolist()
    ([['2027-04-05', 'A', 2.5]], ['week is 2027-04-07, no Monday; it counts for the week of Monday 2027-04-05'])
    """
    path = book / CAPACITY_FILE
    if not path.is_file():
        return empty_table(CAPACITY), list_problems([])
    try:
        rows, problems = read_sheet(path, CAPACITY_SHEET)
    except BookError as err:
        remedy = "save it again with the columns week, crew, free_crew_days"
        return empty_table(CAPACITY), list_problems([fault(path.name, "", str(err), remedy)])

    def where(at: int) -> dict[str, str]:
        return {"file": path.name, "feature": row_words(rows.index[at]), "client_id": ""}

    free, _ = read_columns(rows, CAPACITY_SHEET.columns, where)
    days = free["week"]
    mondays = days.map(_monday).astype("str")
    free = free.assign(week=mondays)[[*CAPACITY.columns]]
    causes = (
        (mondays == "", "week is {week}, which is no day", DAY_REMEDY),
        (
            free["free_crew_days"].isna(),
            f"free_crew_days is {{free_crew_days}}; it must be a number from 0 to {MOST_FREE_DAYS:g}",
            "write how many days this crew is free for beds in that week",
        ),
        (free.duplicated(["week", "crew"]), "week {week} and crew {crew} stand there twice", "delete one of the two"),
    )  # fmt: skip
    is_faulty, found = first_faults(rows, causes, where)
    moved = [
        note(
            **where(at), remedy="write the Monday, to be clear",
            problem=f"week is {rows['week'].iloc[at]}, no Monday; it counts for the week of Monday {mondays.iloc[at]}",
        )
        for at in np.flatnonzero((days != mondays) & ~is_faulty).tolist()
    ]  # fmt: skip
    free = free[~is_faulty].sort_values(["week", "crew"], ignore_index=True)
    return check_table(free, CAPACITY), list_problems([*problems, *found, *moved])


def tell_missing(
    capacity: pd.DataFrame, problems: pd.DataFrame, first: date, last: date
) -> list[str]:
    """Say what is wrong in the file of free days, and which of some weeks are not in it."""
    known, monday, missing = {*capacity["week"]}, first, list[str]()
    while monday <= last:
        missing += [monday.isoformat()] if monday.isoformat() not in known else []
        monday += timedelta(days=DAYS_PER_WEEK)
    return [
        *(f"{CAPACITY_FILE}, {row.feature}: {row.problem}." for row in problems.itertuples()),
        *([f"Not in {CAPACITY_FILE}, so without a free day: the week of {', '.join(missing)}."] if missing else []),
    ]  # fmt: skip


def _monday(day: str) -> str:
    if not day:
        return ""
    read = date.fromisoformat(day)
    return (read - timedelta(days=read.weekday())).isoformat()
