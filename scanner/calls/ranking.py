"""
Whom to call first: expected profit of each offer, with the reasons beside it, neighbors alike among them.

Rank is chance times gross profit. The chance falls with what the offer costs in years of
mowing; kinds of bed and warm signs move it as far as the log has shown.
"""

from __future__ import annotations

from dataclasses import astuple
from datetime import date
from typing import Any

import numpy as np
import pandas as pd
from scipy.spatial import KDTree

from scanner.calls.chance import chance_of_sale
from scanner.calls.fees import annual_fees
from scanner.calls.history import tell_last
from scanner.calls.learning import Learned
from scanner.calls.reasons import (
    bad_edge_reasons,
    reasons_to_call,
    reasons_to_leave_out,
    warm_signs,
)
from scanner.calls.texts import join_texts, say_each, text_where
from scanner.calls.totals import Prospects, total_sales
from scanner.calls.trials import along_of, lead_along
from scanner.errors import SchemaError
from scanner.plane.frame import in_space
from scanner.schema.documents import RateBook
from scanner.schema.tables import BED_LIST, CALLS, CLIENTS, OFFERS, TOTALS, check_table
from scanner.units import CENTS_PER_USD

ALIKE_FT = 1000.0
"""Neighbors live this near, lot to lot, middle to middle (our rule, no source)."""

ALIKE_TIMES = 1.15
"""The longer bed is at most so many times as long, the dearer as dear (our rule, no source)."""


def count_alike(offers: pd.DataFrame, clients: pd.DataFrame) -> pd.Series[int]:
    """
    Count for each offer the others nearby that are about the same.

    Alike: along the same things, in the same finish, within `ALIKE_TIMES` in length and price, of
    clients (row by row) whose lots' middles, ``lon lat`` [degrees], lie within `ALIKE_FT`.
    """
    counts = pd.Series(0, index=offers.index)
    space_ft = in_space(clients["lon"].to_numpy(float), clients["lat"].to_numpy(float))
    steps = np.log(offers[["edge_ft", "price_cents"]].to_numpy(float).clip(min=1e-9))
    # in these units each axis of a pair that is alike is at most 1 apart
    places = np.column_stack([space_ft / ALIKE_FT, steps / np.log(ALIKE_TIMES)])
    kinds = offers["bed_ids"].map(along_of) + " " + offers["finish"]
    is_somewhere = pd.Series(np.isfinite(places).all(axis=1), index=offers.index)
    for _, rows in kinds[is_somewhere].groupby(kinds):
        at = offers.index.get_indexer(rows.index)
        own = places[at]
        tree = KDTree(own)
        pairs = tree.query_pairs(1.0 + 1e-9, p=np.inf, output_type="ndarray")
        apart = np.linalg.norm(own[pairs[:, 0], :3] - own[pairs[:, 1], :3], axis=1)
        counts.iloc[at] += np.bincount(pairs[apart <= 1.0].ravel(), minlength=len(at))
    return counts


def alike_reasons(counts: pd.Series[int]) -> pd.Series[str]:
    """Say how many neighbors could have the same bed.

    >>> alike_reasons(pd.Series([0, 1, 9])).tolist()
    ['', 'a neighbor could have the same bed: one price for both', '9 neighbors could have the same bed: one price for the street']
    """
    words = ("", "a neighbor could have the same bed: one price for both")
    many = "{} neighbors could have the same bed: one price for the street".format
    return say_each(counts, lambda count: words[count] if count < len(words) else many(count))


FIRST_PHASE = 1

MOST_CHANCE = 0.95
"""No chance is taken for higher (judgement)."""


def rank_calls(
    offers: pd.DataFrame,
    beds: pd.DataFrame,
    clients: pd.DataFrame,
    *,
    rates: RateBook,
    today: date,
    learned: Learned,
) -> pd.DataFrame:
    """Rank the offers to be made by expected profit.

    Table `CALLS`, one row a first-phase offer: best first, then those left out by name of the
    client, rank 0, with the reason in ``left_out``. ``offers``: table `OFFERS`; of those that come
    in phases only the first is ranked. ``clients``: table `CLIENTS`, as `add_history` and
    `add_bad_edges` give it where there is a log, with ``under_way`` in words; ``lon`` and ``lat`` tell where the lots lie.
    ``rates``: selling time [h], rest after a contact [days], ``rank_by``.

    expected profit = chance × gross profit of the lead + chance of the upgrade, never above
    the lead's, × what it adds; expected selling hours = call_hours + chance
    to be reached and to agree × visit_hours. Equal profits stand by name of the client,
    then by id.
    """
    offers = check_table(offers, OFFERS)
    offers = offers[offers["phase"] == FIRST_PHASE].reset_index(drop=True)
    beds, clients = check_table(beds, BED_LIST), check_table(clients, CLIENTS)
    callees = _clients_of(offers, clients)
    fee_usd = annual_fees(clients, rates=rates)["fee_usd"].loc[offers["client_id"]].to_numpy()
    left_out = reasons_to_leave_out(callees, rates=rates, today=today)
    if "under_way" in callees:
        is_under_way = callees["under_way"] != ""
        left_out = left_out.mask(is_under_way, "under way: " + callees["under_way"])
    is_open = left_out == ""
    signs = warm_signs(callees, rates=rates, today=today)
    bad_edges = bad_edge_reasons(offers, callees)
    alike = count_alike(offers[is_open], callees[is_open]).reindex(offers.index, fill_value=0)
    calls = pd.DataFrame({
        "client_id": offers["client_id"],
        "offer_id": offers["offer_id"],
        "price_over_annual": offers["price_cents"] / CENTS_PER_USD / fee_usd,
        "upgrade_over_annual": offers["upgrade_price_cents"] / CENTS_PER_USD / fee_usd,
        "alike_clients": alike,
        "reasons": join_texts([
            reasons_to_call(offers, beds, callees, signs=signs, bad_edges=bad_edges), alike_reasons(alike)
        ]),
        "left_out": left_out,
        "last_contact": callees["last_contact"],
        **tell_last(callees, today),
    })  # fmt: skip
    signs = signs.assign(bad_edge=bad_edges != "", alike=alike > 0)
    calls = calls.assign(**_chances(calls, offers, signs, learned=learned))
    calls = calls.assign(**_profits(calls, offers, rates=rates, learned=learned))
    return check_table(_in_order(calls, callees["name"], rates)[list(CALLS.columns)], CALLS)


def total_by_route(
    calls: pd.DataFrame, offers: pd.DataFrame, clients: pd.DataFrame, *, learned: Learned
) -> pd.DataFrame:
    """Add up what the calls on the list bring, by route and in all.

    Table `TOTALS`, by route; the last row, ``is_all``, is the whole list. ``calls``: table `CALLS`;
    those left out are passed over. ``offers``: table `OFFERS`: gross profits. ``clients``: table
    `CLIENTS`: routes.
    """
    listed = calls[calls["left_out"] == ""]
    profits = offers.set_index("offer_id").loc[listed["offer_id"]]
    table = listed.assign(
        gross_profit_cents=profits["gross_profit_cents"].to_numpy(),
        upgrade_gross_profit_cents=profits["upgrade_gross_profit_cents"].to_numpy(),
    )
    route = listed["client_id"].map(clients.set_index("client_id")["route"])
    groups = [(name, False, route == name) for name in sorted(set(route))]
    rows = []
    for name, is_all, own in [*groups, ("", True, route.notna())]:
        total = total_sales(learned.stages, _prospects(table[own]))
        # The mean as the rows have it, each in whole cents, so that the files agree
        mean_cents = listed.loc[own, "expected_profit_cents"].sum()
        rows.append((name, is_all, int(own.sum()), int(mean_cents), *astuple(total)[1:]))
    return check_table(pd.DataFrame(rows, columns=[*TOTALS.columns]), TOTALS)


def _prospects(table: pd.DataFrame) -> Prospects:
    """Take the lead's price and profit for an upgrade's where there is none."""
    has_upgrade = table["upgrade_over_annual"] > 0
    columns = (
        table["price_over_annual"],
        table["gross_profit_cents"],
        table["upgrade_over_annual"].where(has_upgrade, table["price_over_annual"]),
        table["upgrade_gross_profit_cents"].where(has_upgrade, table["gross_profit_cents"]),
        table["chance_factor"],
    )
    return Prospects(*(column.to_numpy(float) for column in columns))


def _clients_of(offers: pd.DataFrame, clients: pd.DataFrame) -> pd.DataFrame:
    place = pd.Index(clients["client_id"]).get_indexer(pd.Index(offers["client_id"]))
    unknown = offers.loc[place < 0, "client_id"].unique()
    if len(unknown):
        message = f"offers for clients that are not in the table: {', '.join(unknown[:20])}"
        raise SchemaError(message)
    return clients.iloc[place].reset_index(drop=True)


def _chances(
    calls: pd.DataFrame, offers: pd.DataFrame, signs: pd.DataFrame, *, learned: Learned
) -> dict[str, Any]:
    """Work out each chance: what is left to try and was reached already, moved by kind and signs, the open list's sum kept."""
    tried = calls["client_id"].map(learned.tried_counts).fillna(0).to_numpy(int)
    # Who asked for another call was reached already
    is_reached = calls["client_id"].isin(learned.called_back)
    left = np.where(
        is_reached,
        1.0 / (1.0 - learned.stages.never_reached[0]),
        learned.stages.still_reached(tried),
    )
    kind = offers["bed_ids"].map(lead_along)
    moved = kind.map(learned.kinds).fillna(1.0).to_numpy(float)
    told = [kind + say_each(pd.Series(moved, index=kind.index), " {:.3f}".format)]
    for sign in signs.columns:
        times = learned.signs.get(sign, 1.0)
        moved = moved * np.where(signs[sign], times, 1.0)
        told.append(text_where(f"{sign.replace('_', ' ')} {times:.3f}", signs[sign]))
    years = calls["price_over_annual"]
    buys = learned.stages.mean_buyers(years)
    plain = left * learned.stages.talked[0] * buys
    is_open = (calls["left_out"] == "").to_numpy()
    was, now = plain[is_open].sum(), (plain * moved)[is_open].sum()
    moved = moved * (was / now if now > 0 else 1.0)
    factor = left * np.minimum(moved, MOST_CHANCE / np.maximum(plain, 1e-12))
    chance, low, high = chance_of_sale(learned.stages, years, factor)
    return {
        "chance_factor": factor, "chance": chance, "chance_low": low, "chance_high": high,
        "still_reached": left, "buys": buys, "sign_factors": join_texts(told),
    }  # fmt: skip


def _profits(
    calls: pd.DataFrame, offers: pd.DataFrame, *, rates: RateBook, learned: Learned
) -> dict[str, pd.Series]:
    selling_hours = rates.call_hours.value + learned.stages.talked[0] * rates.visit_hours.value
    profit_cents = offers["gross_profit_cents"]
    reached = calls["chance_factor"] * learned.stages.talked[0]
    upgraded = reached * learned.stages.mean_buyers(calls["upgrade_over_annual"])
    more_cents = (offers["upgrade_gross_profit_cents"] - profit_cents).where(
        calls["upgrade_over_annual"] > 0, 0
    )
    if rates.rank_by != "offer_profit":
        more_cents = more_cents * 0
    # who buys the larger job would have bought the smaller
    expected_cents = calls["chance"] * profit_cents + more_cents * np.minimum(
        upgraded, calls["chance"]
    )
    return {
        "expected_profit_cents": _whole(expected_cents),
        "profit_per_crew_day_cents": _whole(profit_cents / offers["crew_days"]),
        "profit_per_selling_hour_cents": _whole(expected_cents / selling_hours),
    }


def _whole(amount_cents: pd.Series) -> pd.Series:
    """Round to whole cents, half away from zero; nothing over nothing is nothing."""
    finite = amount_cents.where(np.isfinite(amount_cents), 0.0)
    return (np.sign(finite) * np.floor(finite.abs() + 0.5)).astype("int64")


def _in_order(calls: pd.DataFrame, names: pd.Series, rates: RateBook) -> pd.DataFrame:
    is_left_out = calls["left_out"] != ""
    profit_cents = calls["expected_profit_cents"]
    if rates.rank_by == "profit_per_crew_day":
        profit_cents = _whole(calls["chance"] * calls["profit_per_crew_day_cents"])
    ordered = calls.assign(
        _is_left_out=is_left_out,
        _profit_cents=profit_cents.where(~is_left_out, 0),
        _name=names.str.casefold(),
    ).sort_values(
        ["_is_left_out", "_profit_cents", "_name", "client_id", "offer_id"],
        ascending=[True, False, True, True, True],
        ignore_index=True,
    )
    rank = (ordered.index + 1).where(~ordered["_is_left_out"], 0)
    return ordered.assign(rank=rank)
