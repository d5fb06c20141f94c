"""Recording itself: from checked rows to the log, and what is said of it."""

from __future__ import annotations

import json
from dataclasses import asdict
from datetime import date
from pathlib import Path

import click
import pandas as pd

from scanner.book.checklist_sheet import read_checklist
from scanner.book.clients import read_client_list
from scanner.book.filled_sheet import (
    check_calls,
    find_strange_beds,
    read_added,
    read_call_sheet,
    sheet_kind,
)
from scanner.book.job_sheet import check_jobs, read_job_sheet
from scanner.book.visit_sheet import check_visits, read_visit_sheet
from scanner.calls.entry_kinds import (
    ANSWER,
    CALL,
    JOB,
    MEASUREMENT,
    REMARK,
    VISIT,
    Counts,
    Kind,
    judge,
)
from scanner.calls.history import with_recorded
from scanner.calls.log import open_log, read_entries, read_last_scan, read_season
from scanner.calls.remarks import find_remarks
from scanner.cli.rows import show_problems
from scanner.cli.talk import counted, say
from scanner.schema.log_tables import PRINTED
from scanner.sheets.problems import (
    Problem,
    fault,
    join_problems,
    list_problems,
    note,
    row_words,
    shown,
)
from scanner.sheets.reader import open_elsewhere

Batch = tuple[Kind, pd.DataFrame, pd.DataFrame | None]
"""Rows of a kind, with the rows beneath them where it has such."""

NOUNS = {
    "calls": ("call", "calls"),
    "checklist": ("answer", "answers"),
    "jobs": ("job", "jobs"),
    "visits": ("visit or measuring", "visits and measurings"),
}
"""What is recorded, by kind of sheet."""


def record_sheet(path: Path, book: Path, *, today: date, as_json: bool) -> int:
    """Record what somebody filled into a sheet, whichever kind it is; 1 where rows were left out."""
    kind = sheet_kind(path)
    if mark := open_elsewhere(path):
        say(
            f"{path.name} is open in another program ({mark} lies beside it): what is not saved there yet is not "
            "recorded. Save it, then record it again; nothing is recorded twice."
        )
    clients = read_client_list(book)[0]
    if kind == "checklist":
        answers, problems = read_checklist(path, clients, today=today)
        batches: list[Batch] = [(ANSWER, answers, None)]
    elif kind == "jobs":
        stored = read_season(book).stored
        report, actuals, problems = read_job_sheet(path, clients, stored, today=today)
        batches, problems = _draw_up(report, actuals, problems, book=book, today=today)
    elif kind == "visits":
        visits, edges, problems = read_visit_sheet(path, clients, today=today)
        batches = [(VISIT, visits, None), (MEASUREMENT, edges, None)]
    else:
        entries = read_entries(book, CALL)
        calls, problems = read_call_sheet(path, with_recorded(clients, entries), today=today)
        calls, strangers = _refuse_gone(calls, entries, clients, path.name)
        remarks, notes = _find_remarks(path, book, clients)
        batches = [(CALL, calls, None), (REMARK, remarks, None)]
        problems = join_problems(problems, strangers, notes)
    return _record(kind, batches, problems, book=book, today=today, as_json=as_json)


def _find_remarks(
    path: Path, book: Path, clients: pd.DataFrame
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Find what the office wrote beside the calls; notes tell what was not taken up."""
    cells, strange = read_added(path, clients)
    remarks, old = find_remarks(
        cells, clients, read_season(book).remarks, read_last_scan(book, PRINTED)
    )
    notes = [
        note(path.name, "", f"{cell['heading']} {shown(cell['text'])} is what stood there once; what stands now is kept",
             "if it is right again, write it into the client list", client_id=str(cell["client_id"]))
        for cell in old.to_dict("records")
    ]  # fmt: skip
    notes += [
        note(path.name, "", f"{words} is not taken up", "it stays in the file; a scan leaves that as it is")
        for words in strange
    ]  # fmt: skip
    return remarks, list_problems(notes)


def record_call(rows: pd.DataFrame, book: Path, *, today: date, as_json: bool) -> int:
    """Record one call that was typed on the command line, as a row of a call list; 1 if left out."""
    clients = read_client_list(book)[0]
    calls, problems = check_calls(rows, clients, today=today, file="")
    strangers = find_strange_beds(calls, read_season(book).stored)
    batches: list[Batch] = [(CALL, calls.iloc[:0] if strangers else calls, None)]
    listed = list_problems(problems + strangers)
    return _record("calls", batches, listed, book=book, today=today, as_json=as_json)


def record_visit(rows: pd.DataFrame, book: Path, *, today: date, as_json: bool) -> int:
    """Record one visit that was typed on the command line, whole or not at all; 1 if left out."""
    clients = read_client_list(book)[0]
    visits, edges, problems = check_visits(rows, clients, today=today, file="")
    batches: list[Batch] = [(VISIT, visits, None), (MEASUREMENT, edges, None)]
    listed = list_problems(problems)
    return _record("visits", [] if problems else batches, listed, book=book, today=today, as_json=as_json)  # fmt: skip


def record_job(rows: pd.DataFrame, book: Path, *, today: date, as_json: bool) -> int:
    """Record one job that was typed on the command line; 1 where anything of it was left out."""
    clients, season = read_client_list(book)[0], read_season(book)
    report, actuals, faults = check_jobs(rows, clients, season.stored, today=today, file="")
    batches, problems = _draw_up(report, actuals, list_problems(faults), book=book, today=today)
    return _record("jobs", batches, problems, book=book, today=today, as_json=as_json)


def _draw_up(
    report: pd.DataFrame, actuals: pd.DataFrame, problems: pd.DataFrame, *, book: Path, today: date
) -> tuple[list[Batch], pd.DataFrame]:
    if report.empty:
        return [], problems
    from scanner.cli.keeping import draw_up

    jobs, tasks, more = draw_up(book, report, actuals, season=read_season(book), today=today)
    return [(JOB, jobs, tasks)], join_problems(problems, more)


def _record(
    kind: str,
    batches: list[Batch],
    problems: pd.DataFrame,
    *,
    book: Path,
    today: date,
    as_json: bool,
) -> int:
    """Write everything down at once, then say what came of it."""
    counts, numbers = Counts(), range(0)
    if any(len(rows) for _, rows, _ in batches):
        with open_log(book, today=today) as log:
            _mind_the_clock(log.newest_day(), today)
            first = log.newest_number() + 1
            for batch in batches:
                found = log.record(*batch)
                if batch[0] is not REMARK:
                    counts += found
                elif kept := found.added_count + found.changed_count:
                    say(
                        f"Kept {counted(kept, 'cell')} of your own columns and phone numbers put right."
                    )
            numbers = range(first, log.newest_number() + 1)
    for calls in (rows for batch, rows, _ in batches if batch is CALL):
        for client_id in sorted(set(calls.loc[calls["outcome"] == "do not call", "client_id"])):
            say(f"{client_id} asked not to be called: left out from now on, for good.")
    return _close(kind, counts, numbers, problems, as_json=as_json)


def _refuse_gone(
    calls: pd.DataFrame, entries: pd.DataFrame, clients: pd.DataFrame, file: str
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """List new calls to clients who left the list; what is on record of them is passed over."""
    is_gone = ~calls["client_id"].isin(clients["client_id"])
    is_gone &= judge(CALL, calls, entries) != "known"
    problems: list[Problem] = [
        fault(file, row_words(row), "the client is not in the client list any more; the row is left out",
              "put the client back into the client list, then record again", client_id=client_id)
        for row, client_id in calls.loc[is_gone, "client_id"].items()
    ]  # fmt: skip
    return calls[~is_gone], list_problems(problems)


def _mind_the_clock(newest: str, today: date) -> None:
    if newest > today.isoformat():
        say(
            f"Something was recorded on {newest} already, and today is {today.isoformat()}: is this computer's clock "
            "right? Nothing is lost either way; calls after today are not taken."
        )


def _close(
    kind: str, counts: Counts, numbers: range, problems: pd.DataFrame, *, as_json: bool
) -> int:
    """Print what was left out, say what came of the rest."""
    one, many = NOUNS[kind]
    if as_json:
        listed = problems.to_dict("records")
        click.echo(
            json.dumps(
                {"kind": kind, **asdict(counts), "entry_ids": [*numbers], "problems": listed},
                indent=2,
            )
        )
    else:
        show_problems(problems, as_json=False)
    parts = [
        f"Recorded {counted(counts.added_count, f'new {one}', f'new {many}')}",
        f"{counts.changed_count:,} changed" if counts.changed_count else "",
        f"{counts.known_count:,} on record already" if counts.known_count else "",
    ]
    fault_count = int((problems["severity"] == "fault").sum())
    words = counted(fault_count, "row needs fixing", "rows need fixing")
    if numbers:
        last = f"s {numbers[0]} to {numbers[-1]}" if len(numbers) > 1 else f" {numbers[0]}"
        say(f"Number{last} in the log; record BOOK undo NUMBER takes one back.")
    say(", ".join(part for part in parts if part) + "." + (f" {words}." if fault_count else ""))
    return int(fault_count > 0)
