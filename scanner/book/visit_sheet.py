"""
Visits as somebody wrote them down: who went when, and what was measured.

One row an edge; a row without an edge is a visit on which nothing was measured. Faulty
rows are listed, the rest is kept.
"""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pandas as pd

from scanner.book.measured import check_edges
from scanner.schema.log_tables import MEASUREMENTS
from scanner.schema.tables import check_table
from scanner.sheets.client_ids import match_ids
from scanner.sheets.days import read_day
from scanner.sheets.problems import Problem, fault, list_problems, shown
from scanner.sheets.reader import read_rows

VISIT_COLUMNS = ("client_id", "visited_on", "visited_by", "note")
EDGE_COLUMNS = ("along", "length_ft", "room_ft", "openings_ft")
COLUMNS = (*VISIT_COLUMNS, "name", *EDGE_COLUMNS)


def read_visit_sheet(
    path: Path, clients: pd.DataFrame, *, today: date
) -> tuple[pd.DataFrame, pd.DataFrame, pd.DataFrame]:
    """
    Read a sheet of visits.

    Parameters
    ----------
    path
        File ending in .csv or .xlsx.
    clients
        Table `CLIENTS`.
    today
        Last day on which a visit can have been.

    Returns
    -------
    visits, edges, problems
        As `check_visits` gives them, and table `PROBLEMS`.

    Raises
    ------
    BookError
        If it cannot be read.
    """
    rows, problems = read_rows(path, COLUMNS, needs=("client_id", "visited_on"))
    visits, edges, found = check_visits(rows, clients, today=today, file=path.name)
    told = [problem for problem in problems if problem["severity"] == "fault"]
    return visits, edges, list_problems([*told, *found])


def check_visits(
    rows: pd.DataFrame, clients: pd.DataFrame, *, today: date, file: str
) -> tuple[pd.DataFrame, pd.DataFrame, list[Problem]]:
    """
    Check visits as they were typed.

    Parameters
    ----------
    rows
        Columns `COLUMNS`, text, one row an edge; index: row in the file.
    clients
        Table `CLIENTS`.
    today
        Last day on which a visit can have been.
    file
        Name of the file, for problems.

    Returns
    -------
    visits
        Columns `VISIT_COLUMNS`, one row a client and day, of each detail the first that is
        not blank.
    edges
        Table `MEASUREMENTS`.
    problems
        One fault a row left out.
    """
    rows = rows[[*COLUMNS]].apply(lambda texts: texts.str.strip())
    # A row that only names the client is a line of the blank sheet
    rows = rows[_has_any(rows, ("visited_on", "visited_by", "note", *EDGE_COLUMNS))]
    client_ids, reasons = match_ids(rows["client_id"], clients, names=rows["name"])
    days = rows["visited_on"].map(lambda text: day.isoformat() if (day := read_day(text)) else "")
    rows = rows.assign(client_id=client_ids, day=days.astype("str"))
    problems = _faulty_rows(rows, reasons, today, file)
    good = rows.drop(index=[*problems])
    is_edge = _has_any(good, EDGE_COLUMNS)
    measured, found = check_edges(good[is_edge], clients, file=file)
    # A row whose edge is faulty is left out whole
    good = good[~is_edge | good.index.isin(measured["row"])]
    day_of_row = good["day"].to_dict()
    edges = measured.assign(measured_on=measured["row"].map(day_of_row).astype("str"))
    return (
        _visits(good),
        check_table(edges[[*MEASUREMENTS.columns]], MEASUREMENTS),
        [*problems.values(), *found],
    )


def _has_any(rows: pd.DataFrame, columns: tuple[str, ...]) -> pd.Series[bool]:
    return rows[[*columns]].apply(lambda texts: texts.ne("")).any(axis=1)


def _faulty_rows(
    rows: pd.DataFrame, reasons: pd.Series[str], today: date, file: str
) -> dict[int, Problem]:
    """Find the rows of which nothing can be used, with the first reason."""
    problems: dict[int, Problem] = {}
    cells = zip(rows.index.tolist(), reasons.tolist(), rows.to_dict("records"), strict=True)
    for at, reason, row in cells:
        if reason:
            told = (
                reason,
                "put the id right, or put the client back into the client list",
            )
        elif not row["day"]:
            told = (
                f"visited_on is {shown(row['visited_on'])}, which is no day",
                "write year-month-day, as 2027-03-14",
            )
        elif row["day"] > today.isoformat():
            told = (
                f"visited_on {row['day']} is after today, {today}",
                "write the day of the visit; if it is right, this computer's clock is wrong, or --today",
            )
        else:
            continue
        where = f"row {at}" if at else ""
        problem = f"{told[0]}; the row is left out"
        problems[int(str(at))] = fault(
            file, where, problem, told[1], client_id=str(row["client_id"])
        )
    return problems


def _visits(rows: pd.DataFrame) -> pd.DataFrame:
    """Put the rows of each visit together."""
    visits = rows.assign(visited_on=rows["day"])[[*VISIT_COLUMNS]].replace("", None)
    # The first of each column that is not missing
    first = visits.groupby(["client_id", "visited_on"], sort=True).first().reset_index()
    return first[[*VISIT_COLUMNS]].astype(object).fillna("").astype("str")
