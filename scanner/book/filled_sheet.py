"""
A call list that somebody filled in: the rows with an outcome, faulty ones listed.

Whatever a spreadsheet does on the way is lived with: other columns, another order,
missing rows, a renamed sheet, dates as numbers, ids without their zeros.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from datetime import date
from pathlib import Path
from typing import Any

import pandas as pd

from scanner.errors import BookError
from scanner.schema.log_tables import NOTE, OUTCOMES
from scanner.sheets.call_paper import PAPER
from scanner.sheets.client_ids import match_ids, match_rows
from scanner.sheets.filled import KINDS
from scanner.sheets.lists import CALL_LIST, LEFT_OUT, ONCE_OURS, UNSEEN
from scanner.sheets.problems import (
    Cause,
    Problem,
    fault,
    first_faults,
    list_problems,
    note,
    places,
    row_words,
    shown,
    told_at,
)
from scanner.sheets.reader import read_beside, read_headings, read_sheet
from scanner.sheets.values import (
    day_causes,
    far_cause,
    has_any,
    read_days,
    read_next_days,
    unread_causes,
)

CALL_COLUMNS = (
    "client_id", "called_on", "outcome", "note", "next_action", "next_date", "bed_ids",
)  # fmt: skip

MEANT = {
    "not reached": ("no answer", "not home", "busy", "voicemail", "left voicemail", "left message", "left a message"),
    "call back": ("callback", "call later", "call again"),
    "not now": ("maybe later", "not yet", "next year"),
    "no": ("not interested", "declined", "no thanks", "no interest"),
    "visit": ("visit agreed", "visit booked", "wants a visit"),
    "quoted": ("quote sent", "sent quote"),
    "sold": ("won",),
    "do not call": ("dnc", "never call", "do not call again", "take off list"),
}  # fmt: skip
"""What people write for an outcome, where it has one meaning."""

_TOLD = CALL_COLUMNS[3:6]
PHONE = "phone"
OURS = {*CALL_LIST.names, *LEFT_OUT.names, *UNSEEN.names, *ONCE_OURS, PAPER["number"].heading}
NOTES_SHEETS = ("Assumptions", "About")

_BY_WORDS = {words: outcome for outcome, typed in MEANT.items() for words in typed}


Check = Callable[..., tuple[Any, ...]]
"""Rows of a sheet and ``file``, to tables and a list of problems."""


def read_filled(path: Path, kind: str, check: Check) -> tuple[pd.DataFrame, ...]:
    """Read a sheet that somebody filled in, one of `KINDS`: what its check gives, and the table `PROBLEMS`."""
    rows, problems = read_sheet(path, KINDS[kind])
    *tables, found = check(rows, file=path.name)
    return (*tables, list_problems([*problems, *found]))


def sheet_kind(path: Path) -> str:
    """Tell by its columns what kind of sheet somebody filled in; one of `KINDS`."""
    for headings in read_headings(path, KINDS.values()):
        for kind, sheet in KINDS.items():
            if sheet.fits(headings):
                return kind
    calls, jobs, visits, sales = (
        ", ".join(KINDS[kind].needs + KINDS[kind].needs_one[-1:])
        for kind in ("calls", "jobs", "visits", "sales")
    )
    message = (
        f"{path.name}: this is no call list ({calls}), no checklist, no sheet of visits "
        f"({visits}), none of jobs ({jobs}) and none of sales ({sales}): nothing was recorded. Put the header row back, or name another file."
    )
    raise BookError(message)


def read_added(path: Path, clients: pd.DataFrame) -> tuple[pd.DataFrame, list[str]]:
    """Read what the office wrote into a call list beside the calls.

    ``client_id heading text`` of its own columns and of the phone number, on whichever sheet; and in words
    what cannot be taken up, because it is in no client's row.
    """
    others, strange = read_beside(path, CALL_LIST, (LEFT_OUT, UNSEEN), NOTES_SHEETS)
    cells = list[pd.DataFrame]()
    for rows in (read_sheet(path, CALL_LIST)[0], *others):
        ids = match_ids(rows["client_id"], clients, names=rows["name"])[0]
        # Without an id, or with another client's name
        is_odd = (ids == "") & rows["client_id"].isin(["", *clients["client_id"]])
        if odd := [*map(row_words, rows.index[is_odd])]:
            more = f" and {len(odd) - 1} more" if odd[1:] else ""
            strange.append(f"{odd[0]}{more}, which is no client's,")
        own = [name for name in rows if name == PHONE or name not in OURS]
        # Who left the client list may come back
        told = rows[own].assign(client_id=ids.where(ids != "", rows["client_id"]))[~is_odd]
        cells.append(told.melt("client_id", var_name="heading", value_name="text"))
    return pd.concat(cells, ignore_index=True), strange


def check_calls(
    rows: pd.DataFrame, clients: pd.DataFrame, *,
    today: date, file: str, on_record: pd.DataFrame | None = None,
) -> tuple[pd.DataFrame, list[Problem]]:  # fmt: skip
    """Check the calls of a list, `CALL_COLUMNS` by row in the order of the days: those without a fault, and one fault a row left out.

    What was written without an answer is a `NOTE`: of its day, else of the one under which the same
    is ``on_record``, else of ``today``.
    """
    rows, stranger = match_rows(rows[has_any(rows, CALL_LIST.filled_in)], clients)
    calls = _read_calls(rows, today, on_record)
    causes = (stranger, *_causes(rows, calls, today))
    is_faulty, problems = first_faults(rows, causes, places(rows, file))
    calls = calls[~is_faulty]
    is_other, words = _find_contradictions(calls)
    remedy = "make both alike, or leave one of them blank"
    found = first_faults(rows.loc[calls.index], ((is_other, words, remedy),), places(calls, file))[
        1
    ]
    calls = calls[~is_other].sort_values("called_on", kind="stable")
    return calls, [*problems, *found, *_unanswered(rows.loc[calls.index], calls, file)]


def _read_calls(rows: pd.DataFrame, today: date, on_record: pd.DataFrame | None) -> pd.DataFrame:
    outcomes = rows["outcome"].map(plain_outcome).astype("str")
    is_note = outcomes.eq("") & has_any(rows, _TOLD)
    outcomes = outcomes.mask(is_note, NOTE)
    is_undated = outcomes.eq(NOTE) & rows["called_on"].eq("")
    days = read_days(rows["called_on"], today=today).mask(is_undated, today.isoformat())
    next_days = read_next_days(rows["next_date"], days)
    calls = rows[[*CALL_COLUMNS]].assign(
        called_on=days, outcome=outcomes, next_date=next_days, price_cents=0
    )
    if on_record is None:
        return calls
    names = ["client_id", "outcome", *_TOLD]
    noted = on_record.drop_duplicates(names, keep="last").set_index(names)["called_on"]
    noted_on = noted.reindex(pd.MultiIndex.from_frame(calls[names])).set_axis(calls.index)
    return calls.assign(called_on=days.mask(is_undated & noted_on.notna(), noted_on))


def _unanswered(rows: pd.DataFrame, calls: pd.DataFrame, file: str) -> Iterator[Problem]:
    """Say which rows have a day of a call and no answer."""
    where = places(rows, file)
    is_so = calls["outcome"].eq(NOTE) & rows["outcome"].eq("") & rows["called_on"].ne("")
    for at in told_at(is_so, where):
        problem = "no answer stands beside the day: kept as a note, not counted as a call"
        remedy = "if it was a call, write the answer there and record the list again"
        yield note(**where(at), problem=problem, remedy=remedy)


def _find_contradictions(calls: pd.DataFrame) -> tuple[pd.Series[bool], pd.Series[str]]:
    """Find rows that say another thing of a call than a row above them: copies of a sheet, both filled in."""
    words = pd.Series("", index=calls.index, dtype="str")
    for _, own in calls.groupby([*CALL_COLUMNS[:3]], sort=False):
        for name in _TOLD if len(own) > 1 else ():
            told = own[name][own[name] != ""]
            first = told.head(1).item() if len(told) else ""
            for label in told.index[told != first]:
                words[label] = (
                    f"{name} {shown(told[label])} came here and {shown(first)} in {row_words(told.index[0])}"
                )
    return words != "", words


def _causes(rows: pd.DataFrame, calls: pd.DataFrame, today: date) -> tuple[Cause, ...]:
    listed = ", ".join(OUTCOMES)
    days, next_days = calls["called_on"], calls["next_date"]
    early = "next_date " + next_days + " is before the call on " + days
    return (
        (calls["outcome"] == "", "called_on is filled in, and neither an outcome nor a note", f"write one of {listed}, or what is to be kept as a note"),
        (calls["outcome"].eq(NOTE) & ~has_any(rows, _TOLD), "there is no word in the note", "write what is to be kept"),
        (~calls["outcome"].isin((*OUTCOMES, NOTE)), f"outcome {{outcome}} is none of {listed}", "write one of these"),
        *day_causes(rows["called_on"], days, today, what="of the call"),
        *unread_causes(rows["next_date"], next_days, is_needed=rows["next_date"].ne("")),
        far_cause("next_date", next_days, today),
        (next_days.ne("") & (next_days < days), early, "put one of the two right"),
    )  # fmt: skip


def find_strange_beds(calls: pd.DataFrame, stored: pd.DataFrame) -> list[Problem]:
    """Find beds of typed calls that are none of the client's who was called; one fault a bed."""
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
    """Bring an outcome into the form in which it is listed.

    >>> plain_outcome(" Not-Reached "), plain_outcome("Left message."), plain_outcome("maybe")
    ('not reached', 'not reached', 'maybe')
    """
    words = " ".join(re.sub(r"[\W_]+", " ", text.lower()).split())
    return _BY_WORDS.get(words, words)
