"""
The kinds of entry in the log: what each is known by, what is told of it, how its entries add up.

Whatever is typed becomes an entry, and no entry is ever changed. Of a call and a visit the details
add up: of each the newest that is not blank counts, so that a blank never wipes out a note. Of
answers and measurings the latest day counts, of one day what was recorded last; whoever measures a
curb anew measures all of it. Of a job the newest entry counts. Telling a kind of entry from
another, and a piece of news from what is on record, is written here once.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from scanner.schema.columns import TableSchema
from scanner.schema.log_tables import ANSWERS, CALL_LOG, JOB_TASKS, JOBS, MEASUREMENTS, VISITS

NUMBER, TYPED_AT = "entry_id", "recorded_at"
"""What the log adds to each entry."""

Report = tuple[tuple[object, ...], tuple[tuple[object, ...], ...]]
"""What an entry tells: its details, and its parts row by row."""


@dataclass(frozen=True)
class Kind:
    """
    One kind of entry.

    ``key`` is what an entry is known by, ``details`` what is told of it, ``extras`` what comes
    along and is no news alone; ``parts`` are columns of the rows beneath it, in ``parts_table``.
    One row stands for each ``per``: with a ``day`` the entry that is latest by it, else all
    entries added up. ``is_known`` tells whether something says no more than earlier entries of
    its key; ``words`` name an entry to whoever takes it back.
    """

    name: str
    table: str
    schema: TableSchema
    key: tuple[str, ...]
    details: tuple[str, ...]
    is_known: Callable[[Report, list[Report]], bool]
    words: str
    extras: tuple[str, ...] = ()
    parts: tuple[str, ...] = ()
    parts_table: str = ""
    per: tuple[str, ...] = ()
    day: str = ""

    @property
    def columns(self) -> tuple[str, ...]:
        """Columns of its own table, without the entry's number."""
        return (*self.key, *self.details, *self.extras)


@dataclass(frozen=True)
class Counts:
    """What came of recording some rows: new entries, entries that change one, rows known already."""

    added_count: int = 0
    changed_count: int = 0
    known_count: int = 0

    def __add__(self, other: Counts) -> Counts:
        return Counts(
            self.added_count + other.added_count,
            self.changed_count + other.changed_count,
            self.known_count + other.known_count,
        )


def _says_no_more(report: Report, before: list[Report]) -> bool:
    return any(
        all(new in ("", old) for new, old in zip(report[0], version[0], strict=True))
        for version in before
    )


def _is_there(report: Report, before: list[Report]) -> bool:
    return report in before


def _is_the_newest(report: Report, before: list[Report]) -> bool:
    return before[-1:] == [report]


CALL = Kind(
    "call", "calls", CALL_LOG, key=("client_id", "called_on", "outcome"),
    details=("note", "next_action", "next_date"), extras=("bed_ids",), is_known=_says_no_more,
    words="call to {client_id} on {called_on}: {outcome}",
)  # fmt: skip
ANSWER = Kind(
    "answer", "answers", ANSWERS, key=("client_id", "question"), details=("answer", "seen_on"), is_known=_is_there,
    words="answer for {client_id} of {seen_on}: {question} {answer}", per=("client_id", "question"), day="seen_on",
)  # fmt: skip
VISIT = Kind(
    "visit", "visits", VISITS, key=("client_id", "visited_on"), details=("visited_by", "note"),
    is_known=_says_no_more, words="visit to {client_id} on {visited_on}",
)  # fmt: skip
MEASUREMENT = Kind(
    "measurement", "measurements", MEASUREMENTS, key=("client_id", "along", "measured_on"), details=(),
    is_known=_is_there, words="measurement of {client_id} on {measured_on}: {along}",
    parts=("length_ft", "room_ft", "openings_ft", "note"), parts_table="measured_edges",
    per=("client_id", "along"), day="measured_on",
)  # fmt: skip
JOB = Kind(
    "job", "jobs", JOBS, key=("job_id",), details=tuple(name for name in JOBS.columns if name != "job_id"),
    is_known=_is_the_newest, words="job {job_id} of {client_id}", per=("job_id",), day=NUMBER,
    parts=tuple(name for name in JOB_TASKS.columns if name != "job_id"), parts_table="job_tasks",
)  # fmt: skip

KINDS = {kind.name: kind for kind in (CALL, ANSWER, VISIT, MEASUREMENT, JOB)}


def judge(
    kind: Kind,
    rows: pd.DataFrame,
    entries: pd.DataFrame,
    parts: pd.DataFrame | None = None,
    entry_parts: pd.DataFrame | None = None,
) -> pd.Series[str]:
    """
    Tell which rows are ``"added"``, ``"changed"`` (news of what is on record) and ``"known"``.

    The entries are all that stand; where the kind has parts, both frames of them carry the
    ``entry_id`` of their rows. What stands in `rows` twice is known the second time.

    Examples
    --------
    >>> one = pd.DataFrame([("A", "2027-03-02", "visit", "gate", "", "", "")], columns=CALL.columns)
    >>> more = pd.concat([one, one.assign(note=""), one.assign(note="dog")])
    >>> judge(CALL, more, one.iloc[:0]).tolist(), judge(CALL, more, one).tolist()
    (['added', 'known', 'changed'], ['known', 'known', 'changed'])
    >>> one = pd.DataFrame([("A", "curbed", "yes", "2027-02-01")], columns=ANSWER.columns)
    >>> judge(ANSWER, pd.concat([one, one.assign(answer="no")]), one).tolist()
    ['known', 'changed']
    """
    versions = defaultdict[tuple[object, ...], list[Report]](list)
    for key, report in _reports(kind, entries, entry_parts):
        versions[key].append(report)
    verdicts = []
    for key, report in _reports(kind, rows, parts):
        before = versions[key]
        is_known = kind.is_known(report, before)
        verdicts.append("known" if is_known else "changed" if before else "added")
        if not is_known:
            before.append(report)
    return pd.Series(verdicts, index=rows.index, dtype="str", name="verdict")


def fold(kind: Kind, entries: pd.DataFrame) -> pd.DataFrame:
    """
    Put all entries together, in the order of recording, into what stands.

    Examples
    --------
    >>> rows = [("A", "2027-03-12", "Kim", "gate"), ("A", "2027-03-12", "", ""), ("A", "2027-03-12", "", "dog")]
    >>> fold(VISIT, pd.DataFrame(rows, columns=VISIT.columns)).values.tolist()
    [['A', '2027-03-12', 'Kim', 'dog']]
    """
    if kind.day:
        latest = entries.sort_values(kind.day, kind="stable").drop_duplicates([*kind.per], keep="last")  # fmt: skip
        return latest.sort_values([*kind.per], ignore_index=True)
    standing: dict[tuple[object, ...], dict[str, object]] = {}
    for entry in entries.to_dict("records"):
        plain = {str(name): value for name, value in entry.items()}
        row = standing.setdefault(tuple(plain[name] for name in kind.key), dict(plain))
        row |= {name: plain[name] or row[name] for name in (*kind.details, *kind.extras)}
    return pd.DataFrame(list(standing.values()), columns=[*entries.columns])


def typed_columns(schema: TableSchema) -> TableSchema:
    """Describe a table as it is typed: without what the log adds, and with nothing told once only."""
    typed = {
        name: column for name, column in schema.columns.items() if name not in (NUMBER, TYPED_AT)
    }
    return replace(schema, columns=typed, unique=())


def parts_by_entry(
    kind: Kind, parts: pd.DataFrame | None
) -> dict[object, tuple[tuple[object, ...], ...]]:
    """List the parts of each entry, row by row, by the entry's number."""
    if parts is None:
        return {}
    return {number: tuple(plain_rows(own, kind.parts)) for number, own in parts.groupby(NUMBER)}


def plain_rows(table: pd.DataFrame, columns: Iterable[str]) -> list[tuple[object, ...]]:
    """
    Turn a table into rows of plain values, as the database takes them; None is not known.

    Examples
    --------
    >>> plain_rows(pd.DataFrame({"a": [1.5, np.nan], "b": ["x", "y"]}), ["b", "a"])
    [('x', 1.5), ('y', None)]
    """
    columns = [*columns]
    if not columns:
        return [()] * len(table)
    # A column that is made of None again would turn it into NaN
    return list(zip(*([_plain(value) for value in table[name]] for name in columns), strict=True))


def _plain(value: object) -> object:
    plain = value.item() if isinstance(value, np.generic) else value
    return None if isinstance(plain, float) and math.isnan(plain) else plain


def _reports(
    kind: Kind, rows: pd.DataFrame, parts: pd.DataFrame | None
) -> Iterator[tuple[tuple[object, ...], Report]]:
    beneath = parts_by_entry(kind, parts)
    numbers = rows[NUMBER] if NUMBER in rows else range(len(rows))
    heads = (plain_rows(rows, columns) for columns in (kind.key, kind.details))
    for number, key, details in zip(numbers, *heads, strict=True):
        yield key, (details, beneath.get(number, ()))
