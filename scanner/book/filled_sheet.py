"""
A call list that somebody filled in: the rows with an outcome, faulty ones listed.

Whatever a spreadsheet does on the way is lived with: other columns, another order,
missing rows, a renamed sheet, dates as numbers, ids without their zeros.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from pathlib import Path

import pandas as pd

from scanner.errors import BookError
from scanner.schema.log_tables import OUTCOMES, QUESTIONS
from scanner.sheets.client_ids import match_ids
from scanner.sheets.days import read_day
from scanner.sheets.problems import Problem, fault, list_problems, shown
from scanner.sheets.reader import read_headers, read_rows

FILL_IN = ("called_on", "outcome", "note", "next_action", "next_date")
"""What people write into the list; a row with none of it was not called."""

COLUMNS = ("client_id", "name", "bed_ids", *FILL_IN)
CALL_COLUMNS = (
    "client_id", "called_on", "outcome", "note", "next_action", "next_date", "bed_ids",
)  # fmt: skip

CALL_SHEET = ("client_id", "called_on", "outcome")
JOB_SHEET = ("bed_ids", "built_on", "task")
VISIT_SHEET = ("client_id", "visited_on")
"""Columns that tell what a sheet is."""

OPEN_MARKS = (("~$", ""), (".~lock.", "#"))
"""What the usual spreadsheet programs put before and after the name of an open file."""

DATE_REMEDY = "write year-month-day, as 2027-03-14"


def sheet_kind(path: Path) -> str:
    """
    Tell by its columns what kind of sheet somebody filled in.

    Parameters
    ----------
    path
        File ending in .csv or .xlsx.

    Returns
    -------
    kind
        ``"calls"``, ``"jobs"``, ``"visits"`` or ``"checklist"``.

    Raises
    ------
    BookError
        If it is none of these, or cannot be read.
    """
    headers = [set(header) for header in read_headers(path)]
    questions = {question.replace(" ", "_") for question in QUESTIONS}
    for header in headers:
        if set(CALL_SHEET) <= header:
            return "calls"
        if set(JOB_SHEET) <= header:
            return "jobs"
        if set(VISIT_SHEET) <= header:
            return "visits"
        if "client_id" in header and header & (questions | {"seen_on"}):
            return "checklist"
    message = (
        f"{path.name}: this is no call list ({', '.join(CALL_SHEET)}), no checklist, no sheet of visits "
        f"({', '.join(VISIT_SHEET)}) and none of jobs ({', '.join(JOB_SHEET)}): nothing was recorded. Put the header row back, or name another file."
    )
    raise BookError(message)


def open_elsewhere(path: Path) -> str:
    """
    Tell whether a spreadsheet program has a file open, by the mark that it leaves beside it.

    Parameters
    ----------
    path
        The file.

    Returns
    -------
    mark
        Name of the mark; blank: it is not open, as far as can be told.
    """
    marks = [f"{mark}{path.name}{end}" for mark, end in OPEN_MARKS]
    return next((mark for mark in marks if path.with_name(mark).exists()), "")


def read_call_sheet(
    path: Path, clients: pd.DataFrame, *, today: date
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """
    Read the calls that were filled into a list.

    Parameters
    ----------
    path
        File ending in .csv or .xlsx.
    clients
        Table `CLIENTS`.
    today
        Last day on which a call can have been.

    Returns
    -------
    calls
        Columns `CALL_COLUMNS`, index: row in the file; in the order of the days.
    problems
        Table `PROBLEMS`: rows that were left out, and why.

    Raises
    ------
    BookError
        If it is no call list, or cannot be read.
    """
    rows, problems = read_rows(path, COLUMNS, needs=CALL_SHEET)
    is_filled = rows[[*FILL_IN]].apply(lambda texts: texts.str.strip().ne("")).any(axis=1)
    calls, found = check_calls(rows[is_filled], clients, today=today, file=path.name)
    # Nobody fills a list that has no row, so what the reader notes of it is not passed on
    told = [problem for problem in problems if problem["severity"] == "fault"]
    return calls, list_problems([*told, *found])


def check_calls(
    rows: pd.DataFrame, clients: pd.DataFrame, *, today: date, file: str
) -> tuple[pd.DataFrame, list[Problem]]:
    """
    Check calls as they were typed.

    Parameters
    ----------
    rows
        Columns `COLUMNS`, text; index: row in the file.
    clients
        Table `CLIENTS`.
    today
        Last day on which a call can have been.
    file
        Name of the file, for problems.

    Returns
    -------
    calls
        Columns `CALL_COLUMNS`, rows without a fault only, in the order of the days.
    problems
        One fault a row left out, first cause.
    """
    client_ids, reasons = match_ids(rows["client_id"], clients, names=rows["name"])
    calls = rows[[*CALL_COLUMNS]].apply(lambda texts: texts.str.strip())
    calls = calls.assign(
        client_id=client_ids,
        outcome=calls["outcome"].map(plain_outcome),
        **{name: calls[name].map(_day_text) for name in ("called_on", "next_date")},
    ).astype("str")
    problems = []
    for row in rows.index:
        what = _fault_of(rows.loc[row], calls.loc[row], reasons.loc[row], today)
        if what is not None:
            told, remedy = what
            problems.append(
                fault(file, f"row {row}" if row else "", f"{told}; the row is left out", remedy,
                      client_id=client_ids.loc[row] or rows.loc[row, "client_id"])
            )  # fmt: skip
            calls = calls.drop(index=row)
    return calls.sort_values("called_on", kind="stable"), problems


def find_strange_beds(calls: pd.DataFrame, stored: pd.DataFrame) -> list[Problem]:
    """
    Find beds that are none of the client's who was called.

    Parameters
    ----------
    calls
        Columns ``client_id bed_ids`` of calls that were typed.
    stored
        Table `STORED_BEDS`: the beds that there are.

    Returns
    -------
    problems
        One fault a bed.
    """
    owner = dict(zip(stored["bed_id"], stored["client_id"], strict=True))
    problems = []
    for client_id, beds in calls[["client_id", "bed_ids"]].itertuples(index=False):
        for bed_id in (bed_id for bed_id in beds.split() if owner.get(bed_id) != client_id):
            whose = f"is {owner[bed_id]}'s" if bed_id in owner else "is in no scan on record"
            problem = f"bed {bed_id} {whose}; the call is left out"
            remedy = "take the bed's name from the list, or leave --bed out"
            problems.append(fault("", "", problem, remedy, client_id=client_id))
    return problems


def plain_outcome(text: str) -> str:
    """
    Bring an outcome into the form in which it is listed.

    Parameters
    ----------
    text
        As it was typed.

    Returns
    -------
    outcome
        In small letters, single blanks for hyphens and the like.

    Examples
    --------
    >>> plain_outcome(" Not-Reached ")
    'not reached'
    """
    return " ".join(text.lower().replace("-", " ").replace("_", " ").split())


def _day_text(text: str) -> str:
    day = read_day(text)
    return day.isoformat() if day else ""


Typed = pd.Series


def _fault_of(typed: Typed, call: Typed, reason: str, today: date) -> tuple[str, str] | None:
    """Find the first thing wrong with a row."""
    checks: tuple[Callable[[], tuple[str, str] | None], ...] = (
        lambda: (reason, "put the id right, or put the client back into the client list") if reason else None,
        lambda: _outcome_fault(typed, call),
        lambda: _called_on_fault(typed, call, today),
        lambda: _next_date_fault(typed, call),
    )  # fmt: skip
    return next((found for check in checks if (found := check())), None)


def _outcome_fault(typed: Typed, call: Typed) -> tuple[str, str] | None:
    if call["outcome"] in OUTCOMES:
        return None
    listed = ", ".join(OUTCOMES)
    if not call["outcome"]:
        return "something is filled in, but no outcome", f"write one of {listed}"
    return f"outcome {shown(typed['outcome'])} is none of {listed}", "write one of these"


def _called_on_fault(typed: Typed, call: Typed, today: date) -> tuple[str, str] | None:
    if not call["called_on"]:
        return f"called_on is {shown(typed['called_on'])}, which is no day", DATE_REMEDY
    if call["called_on"] > today.isoformat():
        return (
            f"called_on {call['called_on']} is after today, {today.isoformat()}",
            "write the day of the call; if it is right, this computer's clock is wrong, or --today",
        )
    return None


def _next_date_fault(typed: Typed, call: Typed) -> tuple[str, str] | None:
    if typed["next_date"].strip() and not call["next_date"]:
        return f"next_date is {shown(typed['next_date'])}, which is no day", DATE_REMEDY
    if call["next_date"] and call["next_date"] < call["called_on"]:
        return (
            f"next_date {call['next_date']} is before the call on {call['called_on']}",
            "put one of the two right",
        )
    return None
