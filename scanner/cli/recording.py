"""Recording itself: from checked rows to the log, and what is said of it."""

from __future__ import annotations

import json
from dataclasses import asdict
from datetime import date
from pathlib import Path

import click
import pandas as pd

from scanner import pipeline
from scanner.book.book import read_client_list
from scanner.book.checklist_sheet import read_checklist
from scanner.book.filled_sheet import (
    check_calls,
    find_strange_beds,
    open_elsewhere,
    read_call_sheet,
    sheet_kind,
)
from scanner.book.job_sheet import check_jobs, read_job_sheet
from scanner.book.visit_sheet import check_visits, read_visit_sheet
from scanner.calls.entries import Counts, judge_calls, with_recorded
from scanner.calls.log import Log, open_log, read_call_entries
from scanner.cli.keeping import draw_up
from scanner.cli.talk import counted, say, show_problems
from scanner.sheets.problems import fault, join_problems, list_problems

NOUNS = {
    "calls": ("call", "calls"),
    "checklist": ("answer", "answers"),
    "jobs": ("job", "jobs"),
    "visits": ("visit or measuring", "visits and measurings"),
}


def record_sheet(path: Path, book: Path, *, today: date, as_json: bool) -> int:
    """
    Record what somebody filled into a sheet, whichever kind it is.

    Parameters
    ----------
    path
        File ending in .csv or .xlsx.
    book
        Folder of the book.
    today
        Day of the recording.
    as_json
        Whether another program reads what came of it.

    Returns
    -------
    exit_code
        1 where rows were left out.
    """
    kind = sheet_kind(path)
    if mark := open_elsewhere(path):
        say(
            f"{path.name} is open in another program ({mark} lies beside it): what is not saved there yet is not "
            "recorded. Save it, then record it again; nothing is recorded twice."
        )
    clients = read_client_list(book)[0]
    if kind == "checklist":
        answers, problems = read_checklist(path, clients, today=today)
        with open_log(book, today=today) as log:
            _mind_the_clock(log, today)
            counts = log.add_answers(answers)
        return _close(kind, counts, problems, as_json=as_json)
    if kind == "jobs":
        stored = pipeline.open_season(book).beds
        told, actuals, problems = read_job_sheet(path, clients, stored, today=today)
        return record_jobs(told, actuals, problems, book=book, today=today, as_json=as_json)
    if kind == "visits":
        visits, edges, problems = read_visit_sheet(path, clients, today=today)
        return _record_visits(visits, edges, problems, book=book, today=today, as_json=as_json)
    entries = read_call_entries(book)
    known = with_recorded(clients, entries)
    calls, problems = read_call_sheet(path, known, today=today)
    calls, strangers = _refuse_gone(calls, entries, clients, path.name)
    problems = join_problems(problems, strangers)
    return _record_calls(calls, problems, book=book, today=today, as_json=as_json)


def record_call(rows: pd.DataFrame, book: Path, *, today: date, as_json: bool) -> int:
    """
    Record one call that was typed on the command line.

    Parameters
    ----------
    rows
        One row of a call list, as text.
    book
        Folder of the book.
    today
        Day of the recording.
    as_json
        Whether another program reads what came of it.

    Returns
    -------
    exit_code
        1 where it was left out.
    """
    clients = read_client_list(book)[0]
    calls, problems = check_calls(rows, clients, today=today, file="")
    strangers = find_strange_beds(calls, pipeline.open_season(book).beds)
    calls = calls.iloc[:0] if strangers else calls
    problems += strangers
    return _record_calls(calls, list_problems(problems), book=book, today=today, as_json=as_json)


def record_visit(rows: pd.DataFrame, book: Path, *, today: date, as_json: bool) -> int:
    """
    Record one visit that was typed on the command line.

    Parameters
    ----------
    rows
        Rows of a sheet of visits, as text.
    book
        Folder of the book.
    today
        Day of the recording.
    as_json
        Whether another program reads what came of it.

    Returns
    -------
    exit_code
        1 where anything of it was left out.
    """
    clients = read_client_list(book)[0]
    visits, edges, problems = check_visits(rows, clients, today=today, file="")
    if problems:
        # What was typed in one line is recorded whole or not at all
        visits, edges = visits.iloc[:0], edges.iloc[:0]
    listed = list_problems(problems)
    return _record_visits(visits, edges, listed, book=book, today=today, as_json=as_json)


def record_job(rows: pd.DataFrame, book: Path, *, today: date, as_json: bool) -> int:
    """
    Record one job that was typed on the command line.

    Parameters
    ----------
    rows
        Rows of a sheet of jobs, as text.
    book
        Folder of the book.
    today
        Day of the recording.
    as_json
        Whether another program reads what came of it.

    Returns
    -------
    exit_code
        1 where anything of it was left out.
    """
    clients, season = read_client_list(book)[0], pipeline.open_season(book)
    told, actuals, problems = check_jobs(rows, clients, season.beds, today=today, file="")
    listed = list_problems(problems)
    return record_jobs(told, actuals, listed, book=book, today=today, as_json=as_json)


def record_jobs(
    told: pd.DataFrame,
    actuals: pd.DataFrame,
    problems: pd.DataFrame,
    *,
    book: Path,
    today: date,
    as_json: bool,
) -> int:
    """
    Record jobs that were checked.

    Parameters
    ----------
    told, actuals
        As `check_jobs` gives them.
    problems
        Table `PROBLEMS`: what was left out so far.
    book
        Folder of the book.
    today
        Day of the recording.
    as_json
        Whether another program reads what came of it.

    Returns
    -------
    exit_code
        1 where anything was left out.
    """
    counts = Counts()
    if len(told):
        season = pipeline.open_season(book)
        jobs, tasks, more = draw_up(book, told, actuals, season=season, today=today)
        problems = join_problems(problems, more)
        with open_log(book, today=today) as log:
            _mind_the_clock(log, today)
            counts = log.add_jobs(jobs, tasks)
    return _close("jobs", counts, problems, as_json=as_json)


def _record_calls(
    calls: pd.DataFrame, problems: pd.DataFrame, *, book: Path, today: date, as_json: bool
) -> int:
    counts = Counts()
    if len(calls):
        with open_log(book, today=today) as log:
            _mind_the_clock(log, today)
            counts = log.add_calls(calls)
    for client_id in sorted(set(calls.loc[calls["outcome"] == "do not call", "client_id"])):
        say(f"{client_id} asked not to be called: left out from now on, for good.")
    return _close("calls", counts, problems, as_json=as_json)


def _record_visits(
    visits: pd.DataFrame,
    edges: pd.DataFrame,
    problems: pd.DataFrame,
    *,
    book: Path,
    today: date,
    as_json: bool,
) -> int:
    counts = Counts()
    if len(visits):
        with open_log(book, today=today) as log:
            _mind_the_clock(log, today)
            counts = log.add_visits(visits, edges)
    return _close("visits", counts, problems, as_json=as_json)


def _refuse_gone(
    calls: pd.DataFrame, entries: pd.DataFrame, clients: pd.DataFrame, file: str
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """List new calls to clients who left the list; what is on record of them is passed over."""
    is_gone = ~calls["client_id"].isin(clients["client_id"])
    is_gone &= judge_calls(calls, entries) != "known"
    problems = [
        fault(file, f"row {row}", "the client is not in the client list any more; the row is left out",
              "put the client back into the client list, then record again", client_id=client_id)
        for row, client_id in calls.loc[is_gone, "client_id"].items()
    ]  # fmt: skip
    return calls[~is_gone], list_problems(problems)


def _mind_the_clock(log: Log, today: date) -> None:
    newest = log.newest_day()
    if newest > today.isoformat():
        say(
            f"Something was recorded on {newest} already, and today is {today.isoformat()}: is this computer's clock "
            "right? Nothing is lost either way; calls after today are not taken."
        )


def _close(kind: str, counts: Counts, problems: pd.DataFrame, *, as_json: bool) -> int:
    """Print what was left out, say what came of the rest."""
    one, many = NOUNS[kind]
    if as_json:
        listed = problems.to_dict("records")
        click.echo(json.dumps({"kind": kind, **asdict(counts), "problems": listed}, indent=2))
    else:
        show_problems(problems, as_json=False)
    parts = [
        f"Recorded {counted(counts.added_count, f'new {one}', f'new {many}')}",
        f"{counts.changed_count:,} changed" if counts.changed_count else "",
        f"{counts.known_count:,} on record already" if counts.known_count else "",
    ]
    fault_count = int((problems["severity"] == "fault").sum())
    words = counted(fault_count, "row needs fixing", "rows need fixing")
    say(", ".join(part for part in parts if part) + "." + (f" {words}." if fault_count else ""))
    return int(fault_count > 0)
