"""Recording itself: from checked rows to the log, and what is said of it."""

from __future__ import annotations

import json
import shlex
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pandas as pd

from scanner.book.filled_sheet import read_added, sheet_kind
from scanner.book.settings import read_rules
from scanner.calls.entry_kinds import CALL, REMARK, Counts, Kind
from scanner.calls.log import open_log, read_entries, read_last_scan
from scanner.calls.remarks import find_remarks
from scanner.calls.sales import is_sale, word_last_day
from scanner.cli.batches import CHECKS, Batch
from scanner.cli.calls import mind_sales, tell_barred
from scanner.cli.options import Asked
from scanner.cli.rows import show_problems
from scanner.cli.talk import counted, say, stoppable, tell
from scanner.schema.log_tables import NOTE, PRINTED
from scanner.sheets.days import NEAR_DAYS
from scanner.sheets.filled import KINDS
from scanner.sheets.problems import Problem, faults_of, join_problems, list_problems, note, shown
from scanner.sheets.reader import open_elsewhere, read_sheet

NOUNS = {
    "calls": ("call", "calls"),
    NOTE: ("note", "notes"),
    "calls and notes": ("call or note", "calls and notes"),
    "checklist": ("answer", "answers"),
    "jobs": ("job", "jobs"),
    "visits": ("visit or measuring", "visits and measurings"),
    "sales": ("end of a quote, week or ticket", "ends of quotes, weeks and tickets"),
    "quote": ("quote", "quotes"),
    "schedule": ("week of a job", "weeks of jobs"),
    "ticket": ("ticket", "tickets"),
    "letter": ("letter", "letters"),
}
"""What is recorded, by kind of sheet or of entry."""

TYPED_DAYS = ("called_on", "visited_on", "told_on", "ended_on")
"""Columns of days that something was said or done on."""

_SCHEDULE = "give it a week"
NEXT = {
    ("call", "visit"): ("print what to take along", "visit BOOK {client_id}"),
    ("call", "sold"): (_SCHEDULE, "record BOOK schedule {client_id} MONDAY"),
    ("letter", "asked"): ("settle a day for the visit", "record BOOK calls {client_id} visit --next DATE"),
    ("visit", ""): ("write the quote", "quote BOOK {client_id}"),
    ("quote", "won"): (_SCHEDULE, "record BOOK schedule {quote_id} MONDAY"),
    ("job", ""): (_SCHEDULE, "record BOOK schedule {job_id} MONDAY"),
    ("schedule", ""): (
        "write down the ticket of the locating service", "record BOOK ticket {client_id} NUMBER --from DATE --until DATE",
    ),
    ("ticket", ""): ("print the crew's sheet", "jobsheet BOOK {client_id}"),
    ("job", "built"): ("write down the hours of each task", "record BOOK job {job_id} --hours TASK=HOURS"),
}  # fmt: skip
"""What comes after an entry, by its kind and how it ended: the step, and its command."""


def record_sheet(path: Path, asked: Asked) -> int:
    """Record what somebody filled into a sheet, whichever kind it is; how many rows need fixing."""
    kind = sheet_kind(path)
    if mark := open_elsewhere(path):
        say(
            f"{path.name} is open in another program ({mark} lies beside it): what is not saved there yet is not "
            "recorded. Save it, then record it again; nothing is recorded twice."
        )
    rows, problems = read_sheet(path, KINDS[kind])
    more, notes = _find_remarks(path, asked) if kind == "calls" else ([], [])
    return record_rows(kind, rows, asked, file=path.name, found=[*problems, *notes], more=more)


def _find_remarks(path: Path, asked: Asked) -> tuple[list[Batch], list[Problem]]:
    clients = asked.client_list
    cells, strange = read_added(path, clients)
    remarks, old = find_remarks(
        cells, clients, asked.season.remarks, read_last_scan(asked.book, PRINTED)
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
    return [(REMARK, remarks, None)], notes


def record_rows(
    kind: str,
    rows: pd.DataFrame,
    asked: Asked,
    *,
    file: str = "",
    found: Sequence[Problem] = (),
    more: Sequence[Batch] = (),
) -> int:
    """Record rows of a kind of sheet, without a file those typed on the command line; how many need fixing."""
    batches, problems = CHECKS[kind](rows, asked, file)
    # where nothing of what was typed is good, nothing is recorded with it
    batches += more if batches else []
    every = join_problems(list_problems(found), problems)
    return _record(kind, batches, every, asked, is_typed=not file)


def _record(
    kind: str, batches: list[Batch], problems: pd.DataFrame, asked: Asked, *, is_typed: bool = True
) -> int:
    counts, numbers = _write(batches, asked)
    said = {one for batch, rows, _ in batches if batch is CALL for one in rows["outcome"]}
    notes = NOTE if said == {NOTE} else "calls and notes"
    noun = notes if NOTE in said else kind
    code = _close(kind, counts, numbers, problems, as_json=asked.as_json, noun=noun)
    if is_typed:
        _mind_the_year(batches, asked.today)
    _say_next(batches, asked.book)
    return code


def record_typed(
    kind: Kind, row: Mapping[Any, object], asked: Asked, *, parts: pd.DataFrame | None = None
) -> int:
    """Record a checked row of a kind of entry that no sheet has."""
    return _record(kind.name, [(kind, pd.DataFrame([row]), parts)], list_problems([]), asked)


def _say_next(batches: list[Batch], book: Path) -> None:
    for kind, rows, parts in batches:
        has_hours = parts is not None and "actual_hours" in parts and parts["actual_hours"].any()
        if len(rows) != 1 or has_hours:
            continue
        row = rows.iloc[0].to_dict()
        state = row.get("outcome") or row.get("letter") or ("built" if row.get("built_on") else "")
        if (kind.name, state) in NEXT:
            step, command = NEXT[kind.name, state]
            named = command.format_map(row).replace("BOOK", shlex.quote(book.as_posix()))
            say(f"Next, {step}: bed-scanner {named}")


def _entry_count(book: Path, batches: list[Batch]) -> int:
    return sum(len(read_entries(book, kind)) for kind, _, _ in batches)


def _write(batches: list[Batch], asked: Asked) -> tuple[Counts, range]:
    """Write everything down at once: what came of it, and the numbers of the new entries."""
    book, today = asked.book, asked.today
    counts, numbers = Counts(), range(0)
    if any(len(rows) for _, rows, _ in batches):
        before = _entry_count(book, batches)

        def what_stands() -> str:
            is_old = _entry_count(book, batches) == before
            return "Nothing was recorded." if is_old else "All of it was recorded."

        with stoppable(what_stands), open_log(book, today=today) as log:
            _mind_the_clock(log.newest_day(), today)
            first = log.newest_number() + 1
            for batch in batches:
                entries = log.record(*batch)
                if batch[0] is not REMARK:
                    counts += entries
                elif kept := entries.added_count + entries.changed_count:
                    say(
                        f"Kept {counted(kept, 'cell')} of your own columns and phone numbers put right."
                    )
            numbers = range(first, log.newest_number() + 1)
    is_new = bool(counts.added_count or counts.changed_count)
    if is_new and any(is_sale(rows) for _, rows, _ in batches):
        rules, _ = read_rules(book / "local.toml")
        say(f"Sold. Before you build: {rules.locating}.")
        if words := word_last_day([rows for _, rows, _ in batches if is_sale(rows)], today=today):
            say(words)
    for calls in (rows for batch, rows, _ in batches if batch is CALL):
        tell_barred(calls, asked)
        if is_new:
            mind_sales(calls, asked)
    return counts, numbers


def _mind_the_clock(newest: str, today: date) -> None:
    if newest > today.isoformat():
        say(
            f"Something was recorded on {newest} already, and today is {today.isoformat()}: is this computer's clock "
            "right? Nothing is lost either way; calls after today are not taken."
        )


def _mind_the_year(batches: list[Batch], today: date) -> None:
    """Say of a day that was typed and is long past that its year may be a slip."""
    since = (today - timedelta(days=NEAR_DAYS)).isoformat()
    told = (rows[name] for _, rows, _ in batches for name in TYPED_DAYS if name in rows)
    for day in sorted({day for days in told for day in days if "" < day < since}):
        say(
            f"Mind: {day} is more than {NEAR_DAYS} days ago. It is recorded so; if its year is a slip, record BOOK undo takes it back."
        )


def _close(
    kind: str, counts: Counts, numbers: range, problems: pd.DataFrame, *,
    as_json: bool, noun: str,
) -> int:  # fmt: skip
    """Print what was left out, say what came of the rest."""
    one, many = NOUNS[noun]
    if as_json:
        listed = problems.to_dict("records")
        tell(
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
    fault_count = len(faults_of(problems))
    words = counted(fault_count, "row needs fixing", "rows need fixing")
    if numbers:
        say(
            f"Numbers {numbers[0]} to {numbers[-1]} in the log; record BOOK undo takes them back, undo NUMBER one of them."
            if len(numbers) > 1
            else f"Number {numbers[0]} in the log; record BOOK undo NUMBER takes one back."
        )
    say(", ".join(part for part in parts if part) + "." + (f" {words}." if fault_count else ""))
    return fault_count
