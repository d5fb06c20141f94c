"""
Client-seasons: what the calls to one client in one year came to.

One client in one calendar year is one trial, however many calls it took. It ends with a sale or
without one; while more is to come it is pending and counts nowhere. Chances and their intervals
rest on whole client-seasons, never on single calls.
"""

from __future__ import annotations

from collections import Counter
from datetime import date, timedelta

import pandas as pd

from scanner.schema.edge_kinds import ALONG
from scanner.schema.log_tables import CALL_LOG
from scanner.schema.tables import check_table

PENDING_DAYS = 60
"""A quote is pending for so many days (our rule, no source)."""

SOLD, PENDING, NOT_SOLD = "sold", "pending", "not sold"
SEASON_COLUMNS = ("client_id", "year", "end", "along", "first_on", "last_on")


def list_seasons(calls: pd.DataFrame, *, today: date) -> pd.DataFrame:
    """Sum up the calls to each client in each year, none of them after ``today``.

    Columns `SEASON_COLUMNS`, one row a client and year: ``end`` is sold, pending or not sold;
    ``along`` is what the lead bed of the first offer runs along, blank where no call names a bed;
    ``first_on`` and ``last_on`` are ISO days.

    A sale settles the season. Else the last call that reached somebody decides: a quote is
    pending for `PENDING_DAYS`, a call back and an agreed visit until the year is out, and
    `PENDING_DAYS` at the least.
    """
    calls = check_table(calls, CALL_LOG)
    ordered = calls.assign(year=calls["called_on"].str.slice(0, 4)).sort_values(
        ["client_id", "called_on", "entry_id"], kind="stable"
    )
    rows = [
        (client_id, int(str(year)), _end(own, today), _along(own),
         own["called_on"].iloc[0], own["called_on"].iloc[-1])
        for (client_id, year), own in ordered.groupby(["client_id", "year"], sort=True)
    ]  # fmt: skip
    return pd.DataFrame(rows, columns=[*SEASON_COLUMNS])


def lead_along(bed_ids: str) -> str:
    """Tell by its name what the first of some beds, joined by blanks, runs along; blank where it does not say."""
    lead = bed_ids.split(" ", maxsplit=1)[0]
    words = [word for word in lead.split("-") if word in ALONG]
    return words[-1] if words else ""


def along_of(bed_ids: str) -> str:
    """Tell what each of some beds runs along, from their names, each once and sorted.

    >>> along_of("C7-house-1 C7-curb-2 C7-curb-1")
    'curb house'
    """
    return " ".join(sorted({lead_along(bed_id) for bed_id in bed_ids.split()}))


def _end(calls: pd.DataFrame, today: date) -> str:
    if calls["outcome"].eq(SOLD).any():
        return SOLD
    talks = calls[calls["outcome"] != "not reached"]
    if talks.empty:
        return NOT_SOLD
    last = talks.iloc[-1]
    is_open = today < _decided_on(last["outcome"], date.fromisoformat(last["called_on"]))
    return PENDING if is_open else NOT_SOLD


def _decided_on(outcome: str, called_on: date) -> date:
    """Give the first day on which an outcome is no longer pending."""
    patience = called_on + timedelta(days=PENDING_DAYS)
    if outcome == "quoted":
        return patience
    if outcome in ("call back", "visit"):
        return max(patience, date(called_on.year + 1, 1, 1))
    return called_on


def _along(calls: pd.DataFrame) -> str:
    return next((along for along in map(lead_along, calls["bed_ids"]) if along), "")


def beds_said(bed_ids: str) -> str:
    """Say what some beds are, from their names.

    >>> beds_said("C7-curb-1 C7-house-1 C7-curb-2"), beds_said("J-12")
    ('2 curb beds, house bed', 'bed')
    """
    counts = Counter(map(lead_along, bed_ids.split()))
    return ", ".join(
        f"{count} {along} beds" if count > 1 else f"{along} bed".strip()
        for along, count in counts.items()
    )
