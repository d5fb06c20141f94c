"""From the rows of a sheet to what is recorded of them: each kind is checked in its own way."""

from __future__ import annotations

import pandas as pd

from scanner.book.checklist_sheet import check_answers
from scanner.book.filled_sheet import check_calls, find_strange_beds
from scanner.book.job_sheet import check_jobs
from scanner.book.mailing_sheet import check_letters
from scanner.book.measured import check_visits
from scanner.calls.entry_kinds import ANSWER, CALL, JOB, LETTER, MEASUREMENT, VISIT, Kind, judge
from scanner.calls.history import with_recorded
from scanner.calls.log import read_entries
from scanner.calls.trials import keep_listed_prices
from scanner.cli.options import Asked
from scanner.sheets.problems import Problem, fault, join_problems, list_problems, row_words

Batch = tuple[Kind, pd.DataFrame, pd.DataFrame | None]
"""Rows of a kind, with the rows beneath them where it has such."""

Batches = tuple[list[Batch], pd.DataFrame]


def _calls(rows: pd.DataFrame, asked: Asked, file: str) -> Batches:
    clients = asked.client_list
    if not file:
        calls, found = check_calls(rows, clients, today=asked.today, file=file)
        calls = calls.assign(price_cents=rows["price_cents"].reindex(calls.index))
        strangers = find_strange_beds(calls, asked.season.stored)
        calls = keep_listed_prices(calls, asked.season.calls, asked.season.listed)
        kept = calls.iloc[:0] if strangers else calls
        return [(CALL, kept, None)], list_problems([*found, *strangers])
    entries = read_entries(asked.book, CALL)
    known = with_recorded(clients, entries)
    calls, found = check_calls(rows, known, today=asked.today, file=file, on_record=entries)
    calls, gone = _refuse_gone(calls, entries, clients, file)
    calls = keep_listed_prices(calls, asked.season.calls, asked.season.listed)
    return [(CALL, calls, None)], list_problems([*found, *gone])


def _answers(rows: pd.DataFrame, asked: Asked, file: str) -> Batches:
    answers, found = check_answers(rows, asked.client_list, today=asked.today, file=file)
    return [(ANSWER, answers, None)], list_problems(found)


def _visits(rows: pd.DataFrame, asked: Asked, file: str) -> Batches:
    # the beds of what is typed are looked up before
    stored = asked.season.stored if file else None
    visits, edges, found = check_visits(
        rows, asked.client_list, today=asked.today, file=file, stored=stored
    )
    # what was typed is recorded whole or not at all
    told: list[Batch] = [(VISIT, visits, None), (MEASUREMENT, edges, None)]
    return told if file or not found else [], list_problems(found)


def _jobs(rows: pd.DataFrame, asked: Asked, file: str) -> Batches:
    clients, season = asked.client_list, asked.season
    report, actuals, found = check_jobs(rows, clients, season.stored, today=asked.today, file=file)
    if report.empty:
        return [], list_problems(found)
    from scanner.cli.keeping import draw_up

    jobs, tasks, more = draw_up(asked, report, actuals)
    return [(JOB, jobs, tasks)], join_problems(list_problems(found), more)


def _letters(rows: pd.DataFrame, asked: Asked, file: str) -> Batches:
    letters, found = check_letters(rows, asked.client_list, today=asked.today, file=file)
    return [(LETTER, letters, None)], list_problems(found)


def _sales(rows: pd.DataFrame, asked: Asked, file: str) -> Batches:
    from scanner.cli.sales_sheet import check_sales

    batches, found = check_sales(rows, asked, file)
    return batches, list_problems(found)


CHECKS = {
    "calls": _calls, "checklist": _answers, "jobs": _jobs, "visits": _visits, "letter": _letters,
    "sales": _sales,
}  # fmt: skip
"""By kind of sheet: rows, what is asked and file to what is recorded, and what was wrong."""


def _refuse_gone(
    calls: pd.DataFrame, entries: pd.DataFrame, clients: pd.DataFrame, file: str
) -> tuple[pd.DataFrame, list[Problem]]:
    """List new calls to clients who left the list; what is on record of them is passed over."""
    is_gone = ~calls["client_id"].isin(clients["client_id"])
    is_gone &= judge(CALL, calls, entries) != "known"
    problems: list[Problem] = [
        fault(file, row_words(row), "the client is not in the client list any more; the row is left out",
              "put the client back into the client list, then record again", client_id=client_id)
        for row, client_id in calls.loc[is_gone, "client_id"].items()
    ]  # fmt: skip
    return calls[~is_gone], problems
