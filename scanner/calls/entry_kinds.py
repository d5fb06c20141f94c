"""
The kinds of entry in the log: what each is known by, what is told of it, how its entries add up.

Whatever is typed becomes an entry, and no entry is ever changed. Of a call and a visit the newest
detail that is not blank counts, so that a blank never wipes out a note; of answers and measurings
the latest day, of one day what was recorded last; of a job and a quote the newest entry.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from scanner.schema.columns import TableSchema
from scanner.schema.log_tables import (
    ANSWERS,
    JOB_TASKS,
    JOBS,
    LETTERS,
    MEASUREMENTS,
    QUOTE_TASKS,
    QUOTES,
    REMARKS,
    SAID,
    SCHEDULE,
    TICKETS,
    VISITS,
)

NUMBER, TYPED_AT = "entry_id", "recorded_at"
"""What the log adds to each entry."""

Key = tuple[object, ...]
Report = tuple[tuple[object, ...], tuple[tuple[object, ...], ...]]
"""What an entry tells: its details, and its parts row by row."""


@dataclass(frozen=True)
class Kind:
    """One kind of entry.

    ``key`` is what an entry is known by, ``details`` what is told of it, ``extras`` what comes
    along and is no news alone; ``parts`` are columns of the rows beneath it, in ``parts_table``; rows
    that come apart from the entries are checked by ``parts_schema``.
    Of one key the newest entry counts, or, where they add up, of each detail the newest that is not
    blank. Where the key has a ``day``, the latest of the rest of it counts. ``words`` name an entry
    to whoever takes it back.
    """

    name: str
    table: str
    schema: TableSchema
    key: tuple[str, ...]
    details: tuple[str, ...]
    words: str
    adds_up: bool = False
    extras: tuple[str, ...] = ()
    parts: tuple[str, ...] = ()
    parts_table: str = ""
    parts_schema: TableSchema | None = None
    day: str = NUMBER

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


CALL = Kind(
    "call", "calls", SAID, key=("client_id", "called_on", "outcome"),
    details=("note", "next_action", "next_date", "price_cents"), extras=("bed_ids",), adds_up=True,
    words="call to {client_id} on {called_on}: {outcome}",
)  # fmt: skip
ANSWER = Kind(
    "answer", "answers", ANSWERS, key=("client_id", "question", "seen_on"), details=("answer",),
    words="answer for {client_id} of {seen_on}: {question} {answer}", day="seen_on",
)  # fmt: skip
VISIT = Kind(
    "visit", "visits", VISITS, key=("client_id", "visited_on"), details=("visited_by", "note"),
    adds_up=True, words="visit to {client_id} on {visited_on}",
)  # fmt: skip
MEASUREMENT = Kind(
    "measurement", "measurements", MEASUREMENTS, key=("client_id", "along", "measured_on"), details=(),
    words="measurement of {client_id} on {measured_on}: {along}",
    parts=("length_ft", "room_ft", "openings_ft", "note", "bed_id"), parts_table="measured_edges",
    day="measured_on",
)  # fmt: skip


def _newest(
    name: str, schema: TableSchema, key: tuple[str, ...], words: str, beneath: TableSchema | None = None
) -> Kind:  # fmt: skip
    """Describe a kind of which all that is no key is told, by a table, and by another one row by row beneath it."""
    details, parts = (
        tuple(column for column in table.columns if column not in key) if table else ()
        for table in (schema, beneath)
    )
    return Kind(
        name, schema.name, schema, key, details, words,
        parts=parts, parts_table=beneath.name if beneath else "", parts_schema=beneath,
    )  # fmt: skip


JOB = _newest("job", JOBS, ("job_id",), "job {job_id} of {client_id}", JOB_TASKS)
QUOTE = _newest("quote", QUOTES, ("quote_id",), "quote {quote_id} to {client_id} {outcome}", QUOTE_TASKS)  # fmt: skip
SCHEDULED = _newest("schedule", SCHEDULE, ("client_id", "job_id"), "week of {week} for {job_id} of {client_id}")  # fmt: skip
TICKET = _newest("ticket", TICKETS, ("client_id", "ticket"), "ticket {ticket} for {client_id}")
LETTER = _newest("letter", LETTERS, ("client_id", "wave_on", "letter"), "letter of {wave_on} to {client_id}: {letter}")  # fmt: skip
REMARK = _newest("remark", REMARKS, ("client_id", "heading"), "{heading} of {client_id}: {text}")

KINDS = {kind.name: kind for kind in (
    CALL, ANSWER, VISIT, MEASUREMENT, QUOTE, JOB, SCHEDULED, TICKET, LETTER, REMARK,
)}  # fmt: skip


def judge(
    kind: Kind,
    rows: pd.DataFrame,
    entries: pd.DataFrame,
    parts: pd.DataFrame | None = None,
    entry_parts: pd.DataFrame | None = None,
) -> pd.Series[str]:
    """Tell which rows are ``"added"``, ``"changed"`` (something else than what stands) and ``"known"``.

    The entries are all that were not taken back; where the kind has parts, both frames of them carry
    the ``entry_id`` of their rows. What stands in `rows` twice is known the second time.
    """
    on_record, told = [*_reports(kind, entries, entry_parts)], [*_reports(kind, rows, parts)]
    standing: dict[Key, Report] = {}
    versions = defaultdict[Key, list[Report]](list)
    for key, report in on_record:
        standing[key] = _put_together(kind, standing.get(key), report)
        versions[key].append(standing[key])
    in_the_end = _stand(kind, standing, told)
    verdicts = []
    for key, report in told:
        before = standing.get(key)
        now = _put_together(kind, before, report)
        is_said = any(_put_together(kind, one, report) == one for one in versions[key])
        # A sheet that says two things of one, as it did before, is no news
        if before == now or (is_said and in_the_end[key] == before):
            verdicts.append("known")
        else:
            verdicts.append("changed" if before else "added")
            standing[key] = now
            versions[key].append(now)
    return pd.Series(verdicts, index=rows.index, dtype="str", name="verdict")


def _stand(
    kind: Kind, before: dict[Key, Report], told: Iterable[tuple[Key, Report]]
) -> dict[Key, Report]:
    """Say what stands of each key once more is told."""
    standing = dict(before)
    for key, report in told:
        standing[key] = _put_together(kind, standing.get(key), report)
    return standing


def _put_together(kind: Kind, before: Report | None, report: Report) -> Report:
    if before is None or not kind.adds_up:
        return report
    details = tuple(new or old for new, old in zip(report[0], before[0], strict=True))
    return details, report[1]


def fold(kind: Kind, entries: pd.DataFrame) -> pd.DataFrame:
    """Put all entries together, in the order of recording, into what stands.

    >>> rows = [("A", "2027-03-12", "Kim", "gate"), ("A", "2027-03-12", "", ""), ("A", "2027-03-12", "", "dog")]
    >>> fold(VISIT, pd.DataFrame(rows, columns=VISIT.columns)).values.tolist()
    [['A', '2027-03-12', 'Kim', 'dog']]
    """
    if not kind.adds_up:
        names = [name for name in kind.key if name != kind.day]
        keys, days = zip(*(entries[name] for name in names), strict=True), entries[kind.day]
        last = {key: at for _, at, key in sorted(zip(days, range(len(days)), keys, strict=True))}
        return entries.iloc[[last[key] for key in sorted(last)]].reset_index(drop=True)
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
    """Turn a table into rows of plain values, as the database takes them; None is not known.

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
) -> Iterator[tuple[Key, Report]]:
    beneath = parts_by_entry(kind, parts)
    numbers = rows[NUMBER] if NUMBER in rows else range(len(rows))
    heads = (plain_rows(rows, columns) for columns in (kind.key, kind.details))
    for number, key, details in zip(numbers, *heads, strict=True):
        yield key, (details, beneath.get(number, ()))
