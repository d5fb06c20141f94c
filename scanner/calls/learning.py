"""
What the log has taught about chances: as a whole, by bed kind, by warm sign.

A kind or a sign is believed only from `LEARN_FROM_COUNT` whole client-seasons on, and only
where the interval of its own record excludes the pooled rate: otherwise a few lucky calls
would move a whole list.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date

import pandas as pd

from scanner.calls.bad_edges import list_bad_edges
from scanner.calls.chance import (
    NO_CALLS,
    CallCounts,
    chance_of_sale,
    jeffreys_interval,
)
from scanner.calls.reasons import MONTHS_PER_YEAR
from scanner.calls.seasons import PENDING, SOLD, count_ends, list_seasons
from scanner.schema.documents import RateBook, Season

LEARN_FROM_COUNT = 200
"""Whole client-seasons on record from which on kinds and signs are looked at (our rule, no source)."""


@dataclass(frozen=True)
class Learned:
    """
    What the log has taught.

    Attributes
    ----------
    counts
        All client-seasons by how they ended.
    by_kind
        The same of each bed kind that differs from the rest, by what its bed runs along.
    odds
        By warm sign, the factor on the odds of a sale that the log has shown.
    """

    counts: CallCounts = NO_CALLS
    by_kind: Mapping[str, CallCounts] = field(default_factory=dict)
    odds: Mapping[str, float] = field(default_factory=dict)

    def counts_of(self, along: str) -> CallCounts:
        """Give the record that the chance of an offer rests on."""
        return self.by_kind.get(along, self.counts)


NOTHING_LEARNED = Learned()
"""Before any call: chances rest on the rate book alone."""


def learn_chances(
    season: Season, clients: pd.DataFrame, *, rates: RateBook, today: date
) -> Learned:
    """Learn chances from the log."""
    seasons = list_seasons(season.calls, today=today)
    whole = seasons[seasons["end"] != PENDING].reset_index(drop=True)
    counts = count_ends(whole)
    if len(whole) < LEARN_FROM_COUNT:
        return Learned(counts)
    pooled = chance_of_sale(rates, counts=counts)
    by_kind = {
        str(along): count_ends(own)
        for along, own in whole.groupby("along", sort=True)
        if along and _stands_apart(count_ends(own), counts)
    }
    odds = {}
    for sign, has_sign in _signs(whole, seasons, season.answers, clients, rates).items():
        own_counts = count_ends(whole[has_sign])
        if _stands_apart(own_counts, counts):
            own = chance_of_sale(rates, counts=own_counts)
            odds[sign] = _odds(own.sold.mean) / _odds(pooled.sold.mean)
    return Learned(counts, by_kind, odds)


def _stands_apart(own: CallCounts, pooled: CallCounts) -> bool:
    """Tell whether the interval of a record, without any prior, excludes the pooled share sold."""
    low, high = jeffreys_interval(own.sold_count, own.total_count)
    return not low <= pooled.sold_count / pooled.total_count <= high


def _odds(share: float) -> float:
    return share / (1.0 - share)


def _signs(
    whole: pd.DataFrame,
    seasons: pd.DataFrame,
    answers: pd.DataFrame,
    clients: pd.DataFrame,
    rates: RateBook,
) -> dict[str, pd.Series[bool]]:
    """
    Tell which client-seasons showed which sign when the calls were made.

    A sale must not count as its own sign: bought before is a sale in an earlier season on
    record, whatever the client list says today.
    """
    bought = seasons[seasons["end"] == SOLD].groupby("client_id")["year"].min()
    since = whole["client_id"].map(clients.set_index("client_id")["client_since"]).astype("str")
    months = round(rates.long_client_years.value * MONTHS_PER_YEAR)
    first_on = pd.to_datetime(whole["first_on"], format="ISO8601")
    joined = pd.to_datetime(since, format="ISO8601", errors="coerce")
    bad = list_bad_edges(answers)
    bad_since = whole["client_id"].map(bad.groupby("client_id")["seen_on"].min())
    return {
        "bought_before": whole["client_id"].map(bought).lt(whole["year"]),
        "long_client": joined <= first_on - pd.DateOffset(months=months),
        "bad_edge": bad_since.astype("str").fillna("9999") <= whole["last_on"],
    }
