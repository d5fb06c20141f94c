"""
Jobs that were sold: each counts as a call that ended so, and its beds wait to be built; visits count as calls, too.

Whoever records a job need not record the call, too: the sale stands in the client's history
and in the chances all the same.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta
from typing import Any

import numpy as np
import pandas as pd

from scanner.calls.dig_days import SOURCE, last_day_to_cancel
from scanner.schema.columns import SKIP_REASONS
from scanner.schema.log_tables import CALL_LOG
from scanner.schema.tables import MEASURED

SOLD = "sold"

SAME_SALE_DAYS = 90
"""A call that ended in a sale so many days before a job was recorded is that job's own."""

SALE_COLUMNS = (
    "entry_id", "client_id", "bed_ids", "job_id", "sold_on", "recorded_at", "sold_cents",
)  # fmt: skip


def count_sales(calls: pd.DataFrame, sales: pd.DataFrame) -> pd.DataFrame:
    """Count each job that was sold as a call that ended in the sale.

    With one more row a client and day of sale: none where a call to that client ended in a sale
    on that day or in the `SAME_SALE_DAYS` before it.
    """
    report = calls[calls["outcome"] == SOLD].groupby("client_id")["called_on"].agg(list).to_dict()
    more = list[dict[str, Any]]()
    for key, own in sales.groupby(["client_id", "sold_on"], sort=True):
        client_id, sold_on = (str(part) for part in key)
        since = (date.fromisoformat(sold_on) - timedelta(days=SAME_SALE_DAYS)).isoformat()
        if any(since <= called_on <= sold_on for called_on in report.get(client_id, ())):
            continue
        more.append({
            "entry_id": own["entry_id"].min(), "outcome": SOLD,
            "client_id": client_id, "called_on": sold_on, "recorded_at": own["recorded_at"].min(),
            "bed_ids": " ".join(own["bed_ids"]), "note": f"job {', '.join(own['job_id'])}",
            "price_cents": own["sold_cents"].sum(),
        })  # fmt: skip
    return with_calls(calls, more)


def with_calls(calls: pd.DataFrame, more: list[dict[str, Any]]) -> pd.DataFrame:
    """Put more calls behind those on record; what one does not tell is blank."""
    if not more:
        return calls
    blank = dict.fromkeys(CALL_LOG.columns, "") | {"price_cents": 0}
    rows = pd.DataFrame([blank | call for call in more], columns=[*CALL_LOG.columns])
    return pd.concat([calls, rows], ignore_index=True)


def is_sale(rows: pd.DataFrame) -> bool:
    """Tell whether rows that are recorded say that something was sold and is still to be built."""
    return bool(_waits(rows).any())


def word_last_day(sales: Sequence[pd.DataFrame], *, today: date) -> str:
    """Say until when the latest of the sales that are recorded may be canceled; that of a job is made today.

    Blank once that day is over.

    >>> word_last_day([pd.DataFrame({"outcome": ["sold"], "called_on": ["2026-03-03"]})], today=date(2026, 3, 4))
    "Signed at the client's home, it may be canceled to midnight of Friday, March 6, 2026 (16 CFR 429; ask counsel): begin later, and order no plants before."
    """
    days = list[date]()
    for rows in sales:
        told = rows.get("called_on", rows.get("ended_on"))
        days.append(today if told is None else date.fromisoformat(told[_waits(rows)].max()))
    last = last_day_to_cancel(max(days))
    if last < today:
        return ""
    return (
        f"Signed at the client's home, it may be canceled to midnight of {last:%A, %B} {last.day}, {last.year} ({SOURCE}; ask "
        "counsel): begin later, and order no plants before."
    )


def _waits(rows: pd.DataFrame) -> pd.Series[bool]:
    if "built_on" in rows:
        return rows["built_on"] == ""
    # what is neither has no outcome
    return rows.get("outcome", pd.Series("", index=rows.index)).isin((SOLD, "won"))


def set_sold_aside(beds: pd.DataFrame, jobs: pd.DataFrame) -> pd.DataFrame:
    """Offer no bed that a job names which is not built yet: ``skip_reason`` sold where nothing else skips it."""
    waiting = _beds_of(jobs[jobs["built_on"] == ""])
    is_sold = beds["bed_id"].isin(waiting) & beds["skip_reason"].eq("")
    return beds.assign(skip_reason=beds["skip_reason"].mask(is_sold, SOLD))


def drop_sold(listed: pd.DataFrame, jobs: pd.DataFrame) -> pd.DataFrame:
    """Drop from the last scan's offers those of which a bed was sold since."""
    sold = _beds_of(jobs)
    is_sold = [not sold.isdisjoint(bed_ids.split()) for bed_ids in listed["bed_ids"]]
    return listed[~pd.Series(is_sold, index=listed.index, dtype=bool)].reset_index(drop=True)


def why_skipped(bed_id: str, reason: str, jobs: pd.DataFrame) -> str:
    """Say why a bed is not offered, one that was sold with its job's number.

    >>> jobs = pd.DataFrame({"job_id": ["Q2026-004"], "bed_ids": ["C7-curb-1 C7-house-1"]})
    >>> why_skipped("C7-house-1", "sold", jobs), why_skipped("C7-curb-2", "too short", jobs)
    ('it is sold already (Q2026-004)', 'it is too short')
    """
    own = [job for job, beds in zip(jobs["job_id"], jobs["bed_ids"], strict=True) if bed_id in beds.split()]  # fmt: skip
    number = f" ({own[-1]})" if own and own[-1] != bed_id else ""
    return f"{SKIP_REASONS[reason]}{number}"


def _beds_of(jobs: pd.DataFrame) -> set[str]:
    return {bed_id for bed_ids in jobs["bed_ids"] for bed_id in bed_ids.split()}


VISIT = "visit"
"""Outcome of a call that a visit on record stands for."""

SETTLED = ("quoted", "sold", "do not call")
"""After one of these a visit in the same year is no news of the selling."""


def count_as_calls(calls: pd.DataFrame, visits: pd.DataFrame) -> pd.DataFrame:
    """Count each visit that was made as a call that ended in one.

    With one more row a visit that is news: none where that call is on record, nor after a
    quote, a sale or a "do not call" of the same year. A day that was promised for later stays
    promised.
    """
    known = set(calls[["client_id", "called_on", "outcome"]].itertuples(index=False, name=None))
    settled = calls[calls["outcome"].isin(SETTLED)]
    settled_on = settled.groupby(["client_id", settled["called_on"].str.slice(0, 4)])["called_on"]
    first: dict[Any, str] = settled_on.min().to_dict()
    more = [
        {"entry_id": visit["entry_id"], "outcome": VISIT,
         "client_id": visit["client_id"], "called_on": visit["visited_on"],
         "note": visit["note"], "recorded_at": visit["recorded_at"],
         **_promise(calls, visit["client_id"], visit["visited_on"])}
        for visit in visits.to_dict("records")
        if (visit["client_id"], visit["visited_on"], VISIT) not in known
        and visit["visited_on"] < first.get((visit["client_id"], visit["visited_on"][:4]), "a")
    ]  # fmt: skip
    return with_calls(calls, more)


def _promise(calls: pd.DataFrame, client_id: str, visited_on: str) -> dict[str, str]:
    """Carry on what was promised before a visit for a day after it."""
    before = calls[(calls["client_id"] == client_id) & (calls["called_on"] <= visited_on)]
    last = before.sort_values(["called_on", "entry_id"]).tail(1)
    last = last[last["next_date"] > visited_on]
    return {name: str(one) for name in ("next_action", "next_date") for one in last[name]}


def override_measured(measured: pd.DataFrame, measurements: pd.DataFrame) -> pd.DataFrame:
    """Let edges measured on a visit stand in for those of the book's file."""
    if measurements.empty:
        return measured
    keys = ["client_id", "along"]
    known = pd.MultiIndex.from_frame(measurements[keys])
    kept = measured[~pd.MultiIndex.from_frame(measured[keys]).isin(known)]
    # They stand in no file, so in no row of one
    newer = measurements.assign(row=np.int64(0))[[*MEASURED.columns]]
    return pd.concat([kept[[*MEASURED.columns]], newer], ignore_index=True)
