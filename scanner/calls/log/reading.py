"""What the log says as a whole: its tables as the rest of the program reads them."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pandas as pd

from scanner.calls.entry_kinds import (
    ANSWER,
    CALL,
    JOB,
    MEASUREMENT,
    NUMBER,
    REMARK,
    TYPED_AT,
    VISIT,
    Kind,
    fold,
)
from scanner.calls.log.file import Store, open_to_read
from scanner.calls.sales import SALE_COLUMNS, count_sales
from scanner.calls.visits import count_as_calls
from scanner.schema.columns import TableSchema
from scanner.schema.documents import Season
from scanner.schema.log_tables import (
    ALIKE,
    ANSWERS,
    CALL_LOG,
    JOB_TASKS,
    JOBS,
    LISTED,
    MEASUREMENTS,
    REMARKS,
    STORED_BEDS,
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

LATER_COLUMNS: dict[str, Any] = {"price_cents": 0, "say": "", "alike_clients": 0}
"""Columns of `LISTED` that older logs lack, and what stands there."""

BED_COLUMNS = ("bed_id", "client_id", "along", "area_ft2", "last_seen", "shape")


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


def last_scan_of(store: Store, schema: TableSchema) -> pd.DataFrame:
    """Read the same from an open log; an earlier version's knows no such table, or fewer columns."""
    known = {
        name for (name,) in store.rows("SELECT name FROM pragma_table_info(?)", (schema.name,))
    }
    if not known:
        return empty_table(schema)
    names = [name for name in schema.columns if name in known]
    blank = {name: cell for name, cell in LATER_COLUMNS.items() if name not in known}
    listed = _table(store, f"{schema.name} ORDER BY 1", names).assign(**blank)
    return check_table(listed[[*schema.columns]], schema)


def read_seals(folder: Path) -> list[str]:
    """Read the seals of the lists that were printed last."""
    with open_to_read(folder) as store:
        found = [] if store is None else store.rows("SELECT value FROM meta WHERE name = 'lists'")
    return [seal for (seals,) in found for seal in seals.split()]


def read_entries(folder: Path, kind: Kind) -> pd.DataFrame:
    """Read every entry of a kind that was not taken back, to tell what of a sheet is on record."""
    with open_to_read(folder) as store:
        if store is None:
            return pd.DataFrame(columns=[NUMBER, *kind.columns, TYPED_AT], dtype="str")
        return entries_of(store, kind)


def season_of(store: Store) -> Season:
    """Read what an open log knows."""
    jobs = standing(store, JOB)
    visits = standing(store, VISIT)
    calls = count_sales(standing(store, CALL), _sales(store, jobs))
    return Season(
        calls=_checked(count_as_calls(calls, visits), CALL_LOG),
        answers=_checked(standing(store, ANSWER), ANSWERS),
        stored=_beds(store, jobs),
        jobs=_checked(jobs, JOBS),
        job_tasks=_checked(_with_parts(store, JOB, jobs), JOB_TASKS),
        visits=_checked(visits, VISITS),
        measurements=_checked(
            _with_parts(store, MEASUREMENT, standing(store, MEASUREMENT)), MEASUREMENTS
        ),
        remarks=_checked(standing(store, REMARK), REMARKS),
        listed=last_scan_of(store, LISTED),
        alike=last_scan_of(store, ALIKE),
    )


def standing(store: Store, kind: Kind) -> pd.DataFrame:
    """Say what stands of a kind, all its entries put together."""
    return fold(kind, entries_of(store, kind))


def entries_of(store: Store, kind: Kind) -> pd.DataFrame:
    """List the entries of a kind that were not taken back, in the order of recording."""
    names = (NUMBER, *kind.columns, TYPED_AT, "recorded_on")
    if not store.rows("SELECT 1 FROM sqlite_master WHERE name = ?", (kind.table,)):
        return pd.DataFrame(columns=names, dtype="str")  # an earlier version's log
    return _table(
        store, f"{kind.table} JOIN entries USING (entry_id) WHERE {STANDING} ORDER BY 1", names
    )


def parts_of(store: Store, kind: Kind) -> pd.DataFrame:
    """List the rows beneath those entries, each in its place, of a kind that has parts."""
    source = f"{kind.parts_table} WHERE {STANDING} ORDER BY 1, place"
    return _table(store, source, (NUMBER, *kind.parts))


def _table(store: Store, source: str, columns: Iterable[str]) -> pd.DataFrame:
    names = [*columns]
    return pd.DataFrame(store.rows(f"SELECT {', '.join(names)} FROM {source}"), columns=names)  # noqa: S608


def _with_parts(store: Store, kind: Kind, heads: pd.DataFrame) -> pd.DataFrame:
    parts = parts_of(store, kind)
    return heads[[NUMBER, *kind.key]].merge(parts, on=NUMBER)


def _checked(table: pd.DataFrame, schema: TableSchema) -> pd.DataFrame:
    return check_table(table[[*schema.columns]], schema)


def _sales(store: Store, jobs: pd.DataFrame) -> pd.DataFrame:
    """Tell when each job was sold: when it was first told of, or built if that was before."""
    first = entries_of(store, JOB).drop_duplicates("job_id")
    first = first[[NUMBER, "job_id", "recorded_on", TYPED_AT]].sort_values("job_id")
    sales = first.merge(jobs[["job_id", "client_id", "bed_ids", "built_on"]], on="job_id")
    is_late = sales["built_on"].ne("") & (sales["built_on"] < sales["recorded_on"])
    sales = sales.assign(sold_on=sales["recorded_on"].mask(is_late, sales["built_on"]))
    return sales[[*SALE_COLUMNS]]


def _beds(store: Store, jobs: pd.DataFrame) -> pd.DataFrame:
    """List the beds of earlier scans; when one was built is told by its job."""
    beds = _table(store, "beds ORDER BY bed_id", BED_COLUMNS)
    built = jobs[jobs["built_on"] != ""]
    built = built.assign(bed_id=built["bed_ids"].str.split()).explode("bed_id")
    built_on = built.groupby("bed_id")["built_on"].min().to_dict()
    days = beds["bed_id"].map(built_on).astype("str").fillna("")
    return check_table(beds.assign(built_on=days), BED_ROWS)


NO_SEASON = Season(
    calls=empty_table(CALL_LOG),
    answers=empty_table(ANSWERS),
    stored=empty_table(BED_ROWS).assign(shape=b""),
    jobs=empty_table(JOBS),
    job_tasks=empty_table(JOB_TASKS),
    visits=empty_table(VISITS),
    measurements=empty_table(MEASUREMENTS),
    remarks=empty_table(REMARKS),
    listed=empty_table(LISTED),
    alike=empty_table(ALIKE),
)
"""What a book without a log knows: nothing."""
