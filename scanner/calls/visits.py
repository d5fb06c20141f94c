"""Visits: each counts as a call, and what was measured on it stands in for the book's file."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from scanner.calls.sales import with_calls
from scanner.schema.tables import MEASURED

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
