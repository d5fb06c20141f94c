"""
A checklist that a crew filled in: the answers, faulty ones listed by row.

A blank cell is no answer. A row whose day is blank was seen on the day that the other
rows of its route and mowing day name, when they name one alone. Reading a sheet twice
gives the same answers twice.
"""

from __future__ import annotations

from datetime import date

import pandas as pd

from scanner.schema.log_tables import ANSWERS, QUESTIONS
from scanner.schema.tables import check_table, empty_table
from scanner.sheets.client_ids import match_rows
from scanner.sheets.description import WORD
from scanner.sheets.filled import ASKED
from scanner.sheets.problems import Cause, Problem, fault, first_faults, places, row_words, shown
from scanner.sheets.values import day_causes, has_any, read_cells, read_days

CELL_LEFT = "that answer is left out"


def check_answers(
    rows: pd.DataFrame, clients: pd.DataFrame, *, today: date, file: str
) -> tuple[pd.DataFrame, list[Problem]]:
    r"""Check the answers of a checklist: table `ANSWERS` by client and question, and what was left out."""
    days = _days(rows, today)
    rows, stranger = match_rows(rows.assign(day=days)[has_any(rows, QUESTIONS)], clients)
    causes: tuple[Cause, ...] = (
        stranger,
        (
            rows["seen_on"].eq("") & rows["day"].eq(""),
            "seen_on is blank, and the rows of the same route and day do not name one day alone",
            "write the day on which the crew looked, as 2027-02-14",
        ),
        *day_causes(rows["seen_on"], rows["day"], today, what="on which the crew looked"),
    )
    is_faulty, faults = first_faults(rows, causes, places(rows, file))
    cells, bad_cells = _read_answers(rows[~is_faulty], file)
    answers, clashes = _settle(cells, file)
    return answers, [*faults, *bad_cells, *clashes]


def _days(rows: pd.DataFrame, today: date) -> pd.Series[str]:
    """Give each row's day, ISO: its own, else the one that its route and mowing day name."""
    own = read_days(rows["seen_on"], today=today)
    group = rows["route"] + "\n" + rows["mow_day"]
    is_past = (own != "") & (own <= today.isoformat())
    named = own[is_past].groupby(group[is_past]).agg(["min", "max"])
    alone = named.loc[named["min"] == named["max"], "min"].to_dict()
    return own.where(rows["seen_on"] != "", group.map(lambda key: alone.get(key, "")).astype("str"))


def _read_answers(rows: pd.DataFrame, file: str) -> tuple[pd.DataFrame, list[Problem]]:
    """Bring each answer into the form in which it is kept; strange ones are listed."""
    where = places(rows, file)
    found, problems = [], []
    for column in ASKED:
        values, bad = read_cells(rows[column.name], column, where, taken=CELL_LEFT)
        problems += bad
        told = values if column.kind == WORD else values.map("{:g}".format, na_action="ignore")
        answers = rows[["client_id"]].assign(
            question=column.name, answer=told, seen_on=rows["day"], row=rows.index
        )
        found.append(answers[told.notna() & told.ne("")])
    return pd.concat(found, ignore_index=True), problems


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
        fault(file, row_words(own["row"].max()),
              f"{question}: rows {', '.join(map(str, own['row']))} answer {' and '.join(map(shown, own['answer']))} "
              f"on one day; {CELL_LEFT}",
              "keep the one that is right", client_id=str(client_id))
        for (client_id, question), own in latest[is_doubtful].groupby(keys, sort=True)
    ]  # fmt: skip
    kept = latest[~is_doubtful].drop_duplicates(keys, keep="last")
    answers = kept[[*ANSWERS.columns]].reset_index(drop=True)
    return check_table(answers, ANSWERS), problems
