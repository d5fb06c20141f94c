"""What the log says as a whole: its tables as the rest of the program reads them."""

from __future__ import annotations

import struct
from collections.abc import Callable, Iterable
from dataclasses import replace
from datetime import date
from functools import cache, wraps
from pathlib import Path
from typing import Any, TypeVar, cast

import pandas as pd

from scanner.calls.entry_kinds import (
    ANSWER,
    CALL,
    JOB,
    LETTER,
    MEASUREMENT,
    NUMBER,
    QUOTE,
    REMARK,
    SCHEDULED,
    TICKET,
    TYPED_AT,
    VISIT,
    Kind,
    fold,
)
from scanner.calls.log import words
from scanner.calls.log.file import Store, open_to_read
from scanner.calls.quotes import WON, count_quotes, jobs_won, tasks_won
from scanner.calls.sales import SALE_COLUMNS, count_as_calls, count_sales
from scanner.errors import LogError, SchemaError
from scanner.schema.columns import TableSchema
from scanner.schema.documents import Season
from scanner.schema.log_tables import (
    ALIKE,
    ANSWERS,
    CALL_LOG,
    JOB_TASKS,
    JOBS,
    LETTERS,
    LISTED,
    MEASUREMENTS,
    NOTE,
    QUOTE_TASKS,
    QUOTES,
    REMARKS,
    SAID,
    SCHEDULE,
    STORED_BEDS,
    TICKETS,
    VISITS,
)
from scanner.schema.tables import check_table, empty_table

STANDING = "entry_id NOT IN (SELECT takes_back FROM entries WHERE takes_back IS NOT NULL)"
"""Holds for an entry that was not taken back."""

BED_ROWS = replace(
    STORED_BEDS,
    columns={name: one for name, one in STORED_BEDS.columns.items() if name != "geometry"},
)
"""Beds as the log keeps them: their shapes as bytes, which only a scan reads."""

LATER_COLUMNS: dict[str, Any] = {"price_cents": 0, "say": "", "alike_clients": 0, "bed_id": ""}
"""Columns that older logs lack, and what stands there."""

_DAYS = ("_on", "_date", "last_seen")
"""Ends of columns that hold days."""

TOLD = {
    "calls": CALL_LOG, "notes": SAID, "answers": ANSWERS, "jobs": JOBS, "job_tasks": JOB_TASKS, "quotes": QUOTES, "quote_tasks": QUOTE_TASKS,
    "schedule": SCHEDULE, "tickets": TICKETS, "letters": LETTERS, "visits": VISITS, "measurements": MEASUREMENTS,
    "remarks": REMARKS,
}  # fmt: skip
"""Tables of a season of what people told, by name."""

OF_SCANS = (LISTED, ALIKE)
"""Tables of a season that scans leave."""

BED_COLUMNS = ("bed_id", "client_id", "along", "area_ft2", "last_seen", "shape")


_STRANGE = "it holds rows that this program does not write"

Read = TypeVar("Read", bound=Callable[..., Any])


def _believed(read: Read) -> Read:
    """Turn rows that this program never writes into a sentence with the way back."""

    @wraps(read)
    def told(store: Store, *rest: object) -> object:
        try:
            return read(store, *rest)
        except (
            SchemaError,
            ValueError,
            TypeError,
            AttributeError,
            LookupError,
            struct.error,
        ) as err:
            raise LogError(words.damaged(store.path, _STRANGE)) from err

    return cast("Read", told)


def read_season(folder: Path) -> Season:
    """Read what a book's log knows; empty tables where there is no log yet, and nothing is written.

    Raises `LogError` if the file is newer than this program, damaged or foreign.

    >>> len(read_season(Path("a book without a log")).calls)
    0
    """
    with open_to_read(folder) as store:
        return NO_SEASON if store is None else season_of(store)


def read_last_scan(folder: Path, schema: TableSchema) -> pd.DataFrame:
    """Read what the last scan left of `LISTED` or `LEFT_OUT`; empty where nothing is on record."""
    with open_to_read(folder) as store:
        return empty_table(schema) if store is None else last_scan_of(store, schema)


@_believed
def last_scan_of(store: Store, schema: TableSchema) -> pd.DataFrame:
    """Read the same from an open log; an earlier version's knows no such table, or fewer columns."""
    return _checked(_table(store, schema.name, "ORDER BY 1", schema.columns), schema)


def read_seals(folder: Path) -> list[str]:
    """Read the seals of the lists that were printed last."""
    with open_to_read(folder) as store:
        return [] if store is None else [*words_of(store, "lists")]


def words_of(store: Store, name: str) -> tuple[str, ...]:
    """Read a list of words that the log keeps under a name."""
    found = store.rows("SELECT value FROM meta WHERE name = ?", (name,))
    return tuple(word for (words,) in found for word in words.split())


def read_entries(folder: Path, kind: Kind) -> pd.DataFrame:
    """Read every entry of a kind that was not taken back, to tell what of a sheet is on record."""
    with open_to_read(folder) as store:
        if store is None:
            return pd.DataFrame(columns=[NUMBER, *kind.columns, TYPED_AT], dtype="str")
        return entries_of(store, kind)


@_believed
def season_of(store: Store) -> Season:
    """Read what an open log knows."""
    quotes, jobs, visits = (standing(store, kind) for kind in (QUOTE, JOB, VISIT))
    said, measured = standing(store, CALL), standing(store, MEASUREMENT)
    is_note = said["outcome"] == NOTE
    calls, tasks, quote_tasks = said[~is_note], _NOTHING, _NOTHING
    # A young log has none of these, and to join nothing takes as long as to join a row
    if len(quotes) or len(jobs):
        quote_tasks = _checked(_with_parts(store, QUOTE, quotes), QUOTE_TASKS)
        won = jobs_won(jobs, quotes)
        tasks = tasks_won(_with_parts(store, JOB, jobs), quote_tasks, won)
        jobs = pd.concat([jobs, won], ignore_index=True)
        calls = count_sales(count_quotes(calls, quotes), _sales(store, jobs, quotes))
    if len(visits):
        calls = count_as_calls(calls, visits)
    if len(measured):
        measured = _with_parts(store, MEASUREMENT, measured)
    told = {
        kind.table: standing(store, kind) for kind in (ANSWER, SCHEDULED, TICKET, LETTER, REMARK)
    }
    told |= {
        "calls": calls, "notes": said[is_note], "jobs": jobs, "job_tasks": tasks, "quotes": quotes, "quote_tasks": quote_tasks,
        "visits": visits, "measurements": measured,
    }  # fmt: skip
    tables: dict[str, Any] = {name: _checked(told[name], schema) for name, schema in TOLD.items()}
    tables |= {schema.name: last_scan_of(store, schema) for schema in OF_SCANS}
    return Season(
        **tables,
        stored=_beds(store, jobs),
        forgotten=words_of(store, "forgotten"),
        if_damaged=words.damaged(store.path, _STRANGE),
    )


def standing(store: Store, kind: Kind) -> pd.DataFrame:
    """Say what stands of a kind, all its entries put together."""
    entries = entries_of(store, kind)
    return fold(kind, entries) if len(entries) else entries


def entries_of(store: Store, kind: Kind) -> pd.DataFrame:
    """List the entries of a kind that were not taken back, in the order of recording."""
    names = (NUMBER, *kind.columns, TYPED_AT, "recorded_on")
    which = f"JOIN entries USING (entry_id) WHERE {STANDING} ORDER BY 1"
    return _table(store, kind.table, which, names)


def parts_of(store: Store, kind: Kind) -> pd.DataFrame:
    """List the rows beneath those entries, each in its place, of a kind that has parts."""
    names = (NUMBER, *kind.parts)
    return _table(store, kind.parts_table, f"WHERE {STANDING} ORDER BY 1, place", names)


@cache
def _no_rows(names: tuple[str, ...]) -> pd.DataFrame:
    # To make one takes longer than to read many a table of rows; nobody writes into a table
    return pd.DataFrame(columns=[*names], dtype="str")


def _columns_of(store: Store, table: str) -> set[str]:
    return {name for (name,) in store.rows("SELECT name FROM pragma_table_info(?)", (table,))}


def _table(store: Store, table: str, which: str, columns: Iterable[str]) -> pd.DataFrame:
    """Read columns of a table; what an earlier version's log lacks has what stands in `LATER_COLUMNS`, a whole table no rows."""
    names, known = [*columns], _columns_of(store, table)
    missing = LATER_COLUMNS.keys() - known
    asked = [f"{LATER_COLUMNS[name]!r} AS {name}" if name in missing else name for name in names]
    rows = known and store.rows(f"SELECT {', '.join(asked)} FROM {table} {which}")  # noqa: S608
    if not rows:
        return _no_rows(tuple(names))
    for at, name in enumerate(names):
        for day in {row[at] for row in rows} - {""} if name.endswith(_DAYS) else ():
            date.fromisoformat(day)
    return pd.DataFrame(rows, columns=names)


def _with_parts(store: Store, kind: Kind, heads: pd.DataFrame) -> pd.DataFrame:
    parts = parts_of(store, kind)
    return heads[[NUMBER, *kind.key]].merge(parts, on=NUMBER)


def _checked(table: pd.DataFrame, schema: TableSchema) -> pd.DataFrame:
    # most kinds of a young log have no entry, and to check nothing takes as long as to check a row
    return check_table(table[[*schema.columns]], schema) if len(table) else empty_table(schema)


def _sales(store: Store, jobs: pd.DataFrame, quotes: pd.DataFrame) -> pd.DataFrame:
    """Tell when each job was sold: when its quote was won, else first told of, or built if that was before."""
    won = quotes[quotes["outcome"] == WON].drop(columns="recorded_on")
    won = won.rename(columns={"quote_id": "job_id", "ended_on": "recorded_on"})
    first = pd.concat([won, entries_of(store, JOB)]).drop_duplicates("job_id")
    first = first[[NUMBER, "job_id", "recorded_on", TYPED_AT]].sort_values("job_id")
    sales = first.merge(
        jobs[["job_id", "client_id", "bed_ids", "built_on", "sold_cents"]], on="job_id"
    )
    is_late = sales["built_on"].ne("") & (sales["built_on"] < sales["recorded_on"])
    sales = sales.assign(sold_on=sales["recorded_on"].mask(is_late, sales["built_on"]))
    return sales[[*SALE_COLUMNS]]


def _beds(store: Store, jobs: pd.DataFrame) -> pd.DataFrame:
    """List the beds of earlier scans; when one was built is told by its job."""
    store.rows("SELECT 1 FROM beds LIMIT 0")  # every log has them: without, it is damaged
    beds = _table(store, "beds", "ORDER BY bed_id", BED_COLUMNS)
    built = jobs[jobs["built_on"] != ""].sort_values("built_on", ascending=False)
    told = zip(built["bed_ids"].str.split(), built["built_on"], strict=True)
    built_on = {bed_id: day for bed_ids, day in told for bed_id in bed_ids}
    days = beds["bed_id"].map(built_on).astype("str").fillna("")
    return check_table(beds.assign(built_on=days), BED_ROWS)


_NOTHING = pd.DataFrame()
_EMPTY: dict[str, Any] = {name: empty_table(schema) for name, schema in TOLD.items()}
_EMPTY |= {schema.name: empty_table(schema) for schema in OF_SCANS}
NO_SEASON = Season(**_EMPTY, stored=empty_table(BED_ROWS).assign(shape=b""))
"""What a book without a log knows: nothing."""
