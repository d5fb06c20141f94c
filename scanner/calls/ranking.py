"""
Whom to call first: expected profit of each offer, with the reasons beside it.

Rank is chance times gross profit; the chance is the company's own, moved by warm signs
only as far as the rate book says.
"""

from __future__ import annotations

from datetime import date

import numpy as np
import pandas as pd

from scanner.calls.bad_edges import bad_edge_reasons
from scanner.calls.chance import chance_of_sale
from scanner.calls.learning import NOTHING_LEARNED, Learned
from scanner.calls.reasons import reasons_to_call, reasons_to_leave_out, warm_signs
from scanner.calls.seasons import lead_along
from scanner.errors import SchemaError
from scanner.schema.documents import RateBook
from scanner.schema.tables import BED_LIST, CALLS, CLIENTS, OFFERS, check_table

FIRST_PHASE = 1


def rank_calls(
    offers: pd.DataFrame,
    beds: pd.DataFrame,
    clients: pd.DataFrame,
    *,
    rates: RateBook,
    today: date,
    learned: Learned = NOTHING_LEARNED,
) -> pd.DataFrame:
    """
    Rank the offers to be made by expected profit.

    Table `CALLS`, one row a first-phase offer: best first, then those left out by name of the
    client, rank 0, with the reason in ``left_out``.

    Notes
    -----
    expected profit = chance * gross profit; expected selling hours = call_hours + share
    of calls that come to a visit * visit_hours. Equal expected profits stand by name of
    the client, then by id.
    """
    offers = check_table(offers, OFFERS).query("phase == @FIRST_PHASE").reset_index(drop=True)
    beds, clients = check_table(beds, BED_LIST), check_table(clients, CLIENTS)
    callees = _clients_of(offers, clients)
    calls = pd.DataFrame({
        "client_id": offers["client_id"],
        "offer_id": offers["offer_id"],
        **_chances(offers, callees, rates=rates, today=today, learned=learned),
        "reasons": reasons_to_call(offers, beds, callees, rates=rates, today=today),
        "left_out": reasons_to_leave_out(callees, rates=rates, today=today),
        "last_outcome": callees.get("last_outcome", ""),
    })  # fmt: skip
    calls = calls.assign(**_profits(calls, offers, rates=rates, learned=learned))
    return check_table(_in_order(calls, callees["name"])[list(CALLS.columns)], CALLS)


def _clients_of(offers: pd.DataFrame, clients: pd.DataFrame) -> pd.DataFrame:
    """Give the client of each offer, on the index of `offers`."""
    unknown = offers.loc[~offers["client_id"].isin(clients["client_id"]), "client_id"]
    if len(unknown):
        message = (
            f"offers for clients that are not in the table: {', '.join(unknown.unique()[:20])}"
        )
        raise SchemaError(message)
    return clients.set_index("client_id").loc[offers["client_id"]].reset_index()


def _chances(
    offers: pd.DataFrame,
    callees: pd.DataFrame,
    *,
    rates: RateBook,
    today: date,
    learned: Learned,
) -> dict[str, pd.Series]:
    along = offers["bed_ids"].map(lead_along)
    chances = {
        kind: chance_of_sale(rates, counts=learned.counts_of(kind)) for kind in sorted(set(along))
    }
    ends = {kind: chance.sold.interval() for kind, chance in chances.items()}
    shares = {
        "chance": along.map({kind: chance.sold.mean for kind, chance in chances.items()}),
        "chance_low": along.map({kind: low for kind, (low, _) in ends.items()}),
        "chance_high": along.map({kind: high for kind, (_, high) in ends.items()}),
    }
    signs = warm_signs(callees, rates=rates, today=today)
    signs = signs.assign(bad_edge=bad_edge_reasons(offers, callees) != "")
    odds_factor = _odds_factor(signs, rates=rates, learned=learned)
    moved = {
        name: pd.Series(_moved(share.to_numpy(float), odds_factor), index=callees.index)
        for name, share in shares.items()
    }
    rests_on = along.map({kind: chance.calls_count for kind, chance in chances.items()})
    return moved | {"chance_calls_count": rests_on.astype(float)}


def _odds_factor(signs: pd.DataFrame, *, rates: RateBook, learned: Learned) -> np.ndarray:
    """Multiply the factors of each client's signs: as the log has shown, else as the rate book says."""
    factors = np.ones(len(signs))
    for sign in signs.columns:
        stated = getattr(rates, f"{sign}_odds").value
        factors *= np.where(signs[sign], learned.odds.get(sign, stated), 1.0)
    return factors


def _moved(share: np.ndarray, odds_factor: np.ndarray) -> np.ndarray:
    """Multiply the odds of shares; a factor of 1 leaves them bit for bit."""
    odds = share / (1.0 - share) * odds_factor
    return np.where(odds_factor == 1.0, share, odds / (1.0 + odds))


def _profits(
    calls: pd.DataFrame, offers: pd.DataFrame, *, rates: RateBook, learned: Learned
) -> dict[str, pd.Series]:
    visited = chance_of_sale(rates, counts=learned.counts).visited
    selling_hours = rates.call_hours.value + visited.mean * rates.visit_hours.value
    gross_cents = offers["gross_profit_cents"]
    expected_cents = calls["chance"] * gross_cents
    return {
        "expected_profit_cents": _whole(expected_cents),
        "profit_per_crew_day_cents": _whole(gross_cents / offers["crew_days"]),
        "profit_per_selling_hour_cents": _whole(expected_cents / selling_hours),
    }


def _whole(amount_cents: pd.Series) -> pd.Series:
    """Round to whole cents, half away from zero; nothing over nothing is nothing."""
    finite = amount_cents.where(np.isfinite(amount_cents), 0.0)
    return (np.sign(finite) * np.floor(finite.abs() + 0.5)).astype("int64")


def _in_order(calls: pd.DataFrame, names: pd.Series) -> pd.DataFrame:
    is_left_out = calls["left_out"] != ""
    ordered = calls.assign(
        _is_left_out=is_left_out,
        _profit_cents=calls["expected_profit_cents"].where(~is_left_out, 0),
        _name=names.str.casefold(),
    ).sort_values(
        ["_is_left_out", "_profit_cents", "_name", "client_id", "offer_id"],
        ascending=[True, False, True, True, True],
        ignore_index=True,
    )
    rank = (ordered.index + 1).where(~ordered["_is_left_out"], 0)
    return ordered.assign(rank=rank)
