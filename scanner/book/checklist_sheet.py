"""
A checklist that a crew filled in: the answers, faulty ones listed by row.

A blank cell is no answer. A row whose day is blank was seen on the day that the other
rows of its route and mowing day name, when they name one alone. Reading a sheet twice
gives the same answers twice.
"""

from __future__ import annotations

import re
from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd

from scanner.schema.log_tables import ANSWERS, QUESTIONS
from scanner.schema.tables import check_table, empty_table
from scanner.sheets.client_ids import match_ids
from scanner.sheets.days import read_day
from scanner.sheets.problems import Problem, fault, list_problems, shown
from scanner.sheets.reader import read_rows

KEY_COLUMNS = ("client_id", "name", "route", "mow_day", "seen_on")
ANSWER_COLUMNS = {question.replace(" ", "_"): question for question in QUESTIONS}
"""Question by the name of its column."""

COLUMNS = (*KEY_COLUMNS, *ANSWER_COLUMNS)

MOST = {
    "curb condition": 3, "house condition": 3, "heads along edge": 200, "drive width ft": 100,
    "slope percent": 100, "gate width in": 240,
}  # fmt: skip
"""Largest number that an answer may be, in the question's unit; the others are yes or no."""

WHOLE = ("curb condition", "house condition", "heads along edge")
"""Questions whose answer is a whole number."""

YES_WORDS = {"yes", "y", "x", "✓", "✔", "true", "t"}
NO_WORDS = {"no", "n", "false", "f"}

_MARKS = re.compile(r"(ft|feet|foot|in|inch|inches|%|percent|heads?|['\"′″])\.?$")
ROW_LEFT = "the row is left out"
CELL_LEFT = "that answer is left out"


def read_checklist(
    path: Path, clients: pd.DataFrame, *, today: date
) -> tuple[pd.DataFrame, pd.DataFrame]:
    r"""
    Read the answers from a checklist.

    Parameters
    ----------
    path
        File ending in .csv or .xlsx.
    clients
        Table `CLIENTS`.
    today
        Last day on which a crew can have looked.

    Returns
    -------
    answers
        Table `ANSWERS`, by client and question.
    problems
        Table `PROBLEMS`: rows and answers left out, and why.

    Raises
    ------
    BookError
        If it cannot be read as a table.

    Examples
    --------
    >>> import tempfile
    >>> clients = pd.DataFrame({"client_id": ["A"], "name": ["Ada"]})
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     path = Path(folder) / "checklist.csv"
    ...     _ = path.write_text("client_id,seen_on,turf to curb,slope percent\nA,2027-02-01,y,steep\n")
    ...     answers, problems = read_checklist(path, clients, today=date(2027, 2, 2))
    >>> answers[["question", "answer"]].values.tolist(), problems["feature"].tolist()
    ([['turf to curb', 'yes']], ['row 2'])
    """
    rows, problems = read_rows(path, COLUMNS, needs=("client_id", "seen_on"))
    rows = rows[[*COLUMNS]].apply(lambda texts: texts.str.strip())
    filled = rows[rows[[*ANSWER_COLUMNS]].ne("").any(axis=1)]
    told: list[Problem] = [one for one in problems if one["severity"] == "fault"]
    client_ids, reasons = match_ids(filled["client_id"], clients, names=filled["name"])
    filled = filled.assign(client_id=client_ids, day=_days(rows, today).reindex(filled.index))
    bad_rows = _faulty_rows(filled, rows, reasons, today, path.name)
    told += bad_rows.values()
    filled = filled.drop(index=[*bad_rows])
    cells, bad_cells = _read_cells(filled, path.name)
    answers, clashes = _settle(cells, path.name)
    return answers, list_problems([*told, *bad_cells, *clashes])


def _days(rows: pd.DataFrame, today: date) -> pd.Series[str]:
    """Give each row's day, ISO: its own, else the one that its route and mowing day name."""
    own = rows["seen_on"].map(lambda text: day.isoformat() if (day := read_day(text)) else "")
    own = own.astype("str").where(lambda days: days <= today.isoformat(), "")
    group = rows["route"] + "\n" + rows["mow_day"]
    named = own[own != ""].groupby(group[own != ""]).agg(lambda days: sorted(set(days)))
    alone = {key: days[0] for key, days in named.items() if len(days) == 1}
    fallback = group.map(alone).astype("str").fillna("")
    return own.where(rows["seen_on"] != "", fallback)


def _faulty_rows(
    filled: pd.DataFrame, rows: pd.DataFrame, reasons: pd.Series[str], today: date, file: str
) -> dict[int, Problem]:
    """Find the rows of which nothing can be used, with the first reason."""
    problems: dict[int, Problem] = {}
    for row in filled.index:
        typed = rows.loc[row]
        if reasons.loc[row]:
            told = reasons.loc[row], "put the id right, or put the client back into the client list"
        elif not filled.loc[row, "day"]:
            told = _day_fault(typed["seen_on"], today)
        else:
            continue
        problems[row] = fault(
            file, f"row {row}", f"{told[0]}; {ROW_LEFT}", told[1],
            client_id=filled.loc[row, "client_id"] or typed["client_id"],
        )  # fmt: skip
    return problems


def _day_fault(typed: str, today: date) -> tuple[str, str]:
    day = read_day(typed)
    if day is not None:
        return (
            f"seen_on {day} is after today, {today}",
            "write the day on which the crew looked; if it is right, this computer's clock is wrong, or --today",
        )
    if typed:
        return f"seen_on is {shown(typed)}, which is no day", "write year-month-day, as 2027-02-14"
    return (
        "seen_on is blank, and the rows of the same route and day do not name one day alone",
        "write the day on which the crew looked, as 2027-02-14",
    )


def _read_cells(filled: pd.DataFrame, file: str) -> tuple[pd.DataFrame, list[Problem]]:
    """Bring each answer into the form in which it is kept; strange ones are listed."""
    found, problems = [], []
    for row in filled.to_dict("index").items():
        at, cells = row
        for column, question in ANSWER_COLUMNS.items():
            typed = str(cells[column])
            if not typed:
                continue
            answer = _plain_answer(question, typed)
            if answer is None:
                problem = f"{question}: {shown(typed)} came where {_allowed(question)} belongs; {CELL_LEFT}"
                problems.append(
                    fault(file, f"row {at}", problem, "write it so, or leave the cell blank",
                          client_id=str(cells["client_id"]))
                )  # fmt: skip
            else:
                found.append((cells["client_id"], question, answer, cells["day"], at))
    columns = [*ANSWERS.columns, "row"]
    return pd.DataFrame(found, columns=columns), problems


def _plain_answer(question: str, typed: str) -> str | None:
    """Give the answer as it is kept; None where it cannot be told."""
    text = typed.casefold().strip()
    if question not in MOST:
        if text in YES_WORDS | {"1"}:
            return "yes"
        return "no" if text in NO_WORDS | {"0"} else None
    try:
        number = float(_MARKS.sub("", text).strip())
    except ValueError:
        return None
    is_fit = np.isfinite(number) and 0 <= number <= MOST[question]
    if not is_fit or (question in WHOLE and not number.is_integer()):
        return None
    return f"{number:g}"


def _allowed(question: str) -> str:
    if question not in MOST:
        return "yes or no"
    kind = "a whole number" if question in WHOLE else "a number"
    return f"{kind} from 0 to {MOST[question]}"


def _settle(cells: pd.DataFrame, file: str) -> tuple[pd.DataFrame, list[Problem]]:
    """Keep one answer a client and question: the latest; two on one day are listed."""
    if cells.empty:
        return empty_table(ANSWERS), []
    keys = ["client_id", "question"]
    cells = cells.sort_values([*keys, "seen_on", "row"], kind="stable")
    is_latest = cells["seen_on"] == cells.groupby(keys)["seen_on"].transform("max")
    latest = cells[is_latest]
    is_doubtful = latest.groupby(keys)["answer"].transform("nunique") > 1
    problems = [
        fault(file, f"row {own['row'].max()}",
              f"{question}: rows {', '.join(map(str, own['row']))} answer {' and '.join(map(shown, own['answer']))} "
              f"on one day; {CELL_LEFT}",
              "keep the one that is right", client_id=str(client_id))
        for (client_id, question), own in latest[is_doubtful].groupby(keys, sort=True)
    ]  # fmt: skip
    kept = latest[~is_doubtful].drop_duplicates(keys, keep="last")
    answers = kept[[*ANSWERS.columns]].reset_index(drop=True)
    return check_table(answers, ANSWERS), problems
