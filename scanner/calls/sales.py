"""
Jobs that were sold: each counts as a call that ended so, and its beds wait to be built.

Whoever records a job need not record the call, too: the sale stands in the client's history
and in the chances all the same.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta
from typing import Any

import pandas as pd

from scanner.calls.cancel_days import SOURCE, last_day_to_cancel
from scanner.schema.columns import SKIP_REASONS
from scanner.schema.log_tables import CALL_LOG

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
