"""
Today's calls: promised ones first, then by expected profit; the others with why not.

What the last scan offered meets the client list and the log as they are today.
"""

from __future__ import annotations

from datetime import date

import numpy as np
import pandas as pd

from scanner.calls.history import tell_history
from scanner.calls.reasons import reasons_to_leave_out
from scanner.schema.documents import RateBook
from scanner.schema.log_tables import LISTED
from scanner.schema.tables import check_table
from scanner.sheets.days import is_same_day

NO_OFFER = "no offer in the last scan"
GONE = "not in the client list any more"

TODAY_COLUMNS = (
    "place", "client_id", "name", "address", "phone", "route", "mow_day", "stop", "offer_id", "offer",
    "say", "bed_ids", "along", "area_ft2", "crew_days", "price_cents", "price_low_cents", "price_high_cents",
    "gross_profit_cents", "chance", "chance_low", "chance_high", "expected_profit_cents",
    "due_on", "next_action", "last_called_on", "last_outcome", "last_note", "reasons", "cautions", "left_out",
)  # fmt: skip


def list_offered(
    calls: pd.DataFrame, offers: pd.DataFrame, beds: pd.DataFrame, *, today: date
) -> pd.DataFrame:
    """Put what a scan offers into the form in which the log keeps it."""
    along = dict(zip(beds["bed_id"], beds["along"], strict=True))
    shared = [name for name in offers.columns if name in calls.columns and name != "offer_id"]
    listed = calls.merge(offers.drop(columns=shared), on="offer_id").assign(
        scanned_on=today.isoformat(),
        along=lambda table: table["bed_ids"].map(
            lambda ids: " ".join(dict.fromkeys(along[bed_id] for bed_id in ids.split()))
        ),
    )
    return check_table(listed[[*LISTED.columns]].sort_values("offer_id", ignore_index=True), LISTED)


def list_today(
    listed: pd.DataFrame,
    left_out: pd.DataFrame,
    clients: pd.DataFrame,
    *,
    rates: RateBook,
    today: date,
) -> pd.DataFrame:
    """
    List whom to call today, and whom not and why: columns `TODAY_COLUMNS`, ``place`` 1 first, 0 left out.

    One row an offer, and one a client who was promised a call without an offer. Call-backs that are
    due stand first, longest due first; then by expected profit and name; then those left out.
    """
    reasons = reasons_to_leave_out(clients, rates=rates, today=today)
    if "under_way" in clients:
        # Whoever was promised a call is called all the same
        waits = clients["under_way"].ne("") & ~clients["due_on"].between("0", today.isoformat())
        reasons = reasons.mask(waits, "under way: " + clients["under_way"])
    known = clients.assign(left_out=reasons).drop(columns=["reasons", "cautions"], errors="ignore")
    calls = known.merge(listed, on="client_id", how="left", suffixes=("_of_client", ""))
    is_due = calls["due_on"].between("0", today.isoformat()) & (calls["left_out"] == "")
    has_offer = calls["offer_id"].notna()
    bare = left_out[~left_out["has_offer"]].set_index("client_id")["reason"]
    why = calls["client_id"].map(bare).astype("str").fillna(NO_OFFER)
    calls = calls.assign(
        left_out=calls["left_out"].where(has_offer | is_due | calls["left_out"].ne(""), why),
        due_on=calls["due_on"].where(is_due, ""),
        **{name: calls[name].fillna("").astype("str") for name in _TEXTS},
    )
    return _in_order(calls)[[*TODAY_COLUMNS]]


def list_gone(
    said: pd.DataFrame, clients: pd.DataFrame, *, rates: RateBook, today: date
) -> pd.DataFrame:
    """List who was promised a call by now and is not in the client list any more."""
    history = tell_history(said[~said["client_id"].isin(clients["client_id"])], rates=rates)
    gone = history[history["due_on"].between("0", today.isoformat())].reset_index(drop=True)
    blank = {name: np.nan if name in _NUMBERS else "" for name in TODAY_COLUMNS}
    return gone.assign(**(blank | dict(gone) | {"place": 0, "left_out": GONE}))[[*TODAY_COLUMNS]]


def choose_calls(
    calls: pd.DataFrame,
    *,
    route: str | None = None,
    day: str | None = None,
    kind: str | None = None,
    is_due_only: bool = False,
) -> pd.DataFrame:
    """Choose some of today's calls."""
    is_chosen = calls["client_id"].notna()
    if route is not None:
        is_chosen &= calls["route"].str.casefold() == route.strip().casefold()
    if day is not None:
        is_chosen &= calls["mow_day"].map(lambda own: is_same_day(own, day)).astype(bool)
    if kind is not None:
        is_chosen &= calls["along"].str.split().map(lambda kinds: kind in kinds)
    if is_due_only:
        is_chosen &= calls["due_on"] != ""
    return calls[is_chosen].reset_index(drop=True)


_NUMBERS = (
    "stop", "area_ft2", "crew_days", "price_cents", "price_low_cents", "price_high_cents", "gross_profit_cents",
    "chance", "chance_low", "chance_high", "expected_profit_cents",
)  # fmt: skip
_TEXTS = ("offer_id", "offer", "say", "bed_ids", "along", "reasons", "cautions")


def _in_order(calls: pd.DataFrame) -> pd.DataFrame:
    ordered = calls.assign(
        _is_left_out=calls["left_out"] != "",
        _due=calls["due_on"].where(calls["due_on"] != "", "~"),
        _profit_cents=calls["expected_profit_cents"].fillna(0.0),
        _name=calls["name"].str.casefold(),
    )
    ordered = ordered.sort_values(
        ["_is_left_out", "_due", "_profit_cents", "_name", "client_id", "offer_id"],
        ascending=[True, True, False, True, True, True],
        ignore_index=True,
    )
    return ordered.assign(place=(ordered.index + 1).where(~ordered["_is_left_out"], 0))
