"""
What the log has taught about chances: the three stages, and how kinds and signs differ.

A kind of bed or a warm sign moves a chance as far as its own record carries: 200 expected
client-seasons without a difference stand against it, so that a few lucky calls move nothing.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date

import numpy as np
import numpy.typing as npt
import pandas as pd

from scanner.calls.chance import Floats, Stages, chance_of_sale
from scanner.calls.fees import listed_years
from scanner.calls.reasons import MONTHS_PER_YEAR, is_just_built, is_new_tract, list_bad_edges
from scanner.calls.trials import PENDING, SOLD, list_seasons, list_trials
from scanner.schema.documents import RateBook, Season
from scanner.units import CENTS_PER_USD

PATIENCE_COUNT = 200
"""Client-seasons of the mean chance that stand against a difference (our rule, no source)."""


@dataclass(frozen=True)
class Learned:
    """What the log has taught."""

    stages: Stages  # reached, agreed, sold
    # by client, tries of this year that reached nobody, where nobody was reached yet
    tried_counts: pd.Series[int]
    kinds: Mapping[str, float]  # factor on the chance by what the lead bed runs along
    signs: Mapping[str, float]  # factor on the chance by warm sign
    called_back: frozenset[str] = frozenset()  # who was reached this year and is to be called again


def learn_chances(
    season: Season,
    clients: pd.DataFrame,
    stages: Stages,
    *,
    built: pd.DataFrame,
    rates: RateBook,
    today: date,
) -> Learned:
    """Learn from the log how kinds and signs differ, on top of the stages that it taught.

    ``clients``: table `CLIENTS`: since when each is one, ``year_built``, and beside it
    ``price_years``: what he is offered over his annual fee, NaN for nothing, who is taken for the
    middle one. ``built``: ``client_id`` and ``built_on``: beds of neighbors, whenever they were
    built.

    A factor is [(Σ sold + k) / (Σ p + k)] over the group's ended client-seasons, divided by
    the same over all, with p the pooled chance of each and k = 200 × mean p.
    """
    seasons = list_seasons(season.calls, today=today)
    ended = seasons[seasons["end"] != PENDING].reset_index(drop=True)
    price_years = clients.set_index("client_id")["price_years"]
    years = ended["client_id"].map(price_years).fillna(_middle(price_years))
    pooled, _, _ = chance_of_sale(stages, years, np.ones(len(ended)))
    sold = np.asarray(ended["end"] == SOLD, dtype=np.float64)
    # Who is listed alike today counts from the next day, so that a second scan knows no more than the first
    alike = season.alike[season.alike["listed_on"] < today.isoformat()]
    signs = _signs(ended, seasons, replace(season, alike=alike), clients, rates)
    signs["neighbor_built"] = _has_neighbor(ended, built)
    trials = list_trials(season.calls, today=today)
    return Learned(
        stages,
        trials.tried_counts,
        {
            str(along): _factor(sold, pooled, np.asarray(ended["along"] == along, dtype=np.bool_))
            for along in sorted(set(ended["along"]) - {""})
        },
        {
            sign: _factor(sold, pooled, np.asarray(has_sign, dtype=np.bool_))
            for sign, has_sign in signs.items()
        },
        trials.called_back,
    )


def learn_stages(season: Season, fees: pd.DataFrame, *, rates: RateBook, today: date) -> Stages:
    """Learn the three stages of a sale.

    ``fees``: ``fee_usd`` by client, as `annual_fees` has it: what the price of a quote is set against. One
    without a price has that of the last list; a client who is not on it is taken for the middle one of those
    who were quoted.
    """
    trials = list_trials(season.calls, today=today)
    quotes, of_list = trials.quotes, listed_years(season.listed, fees)
    of_quote = quotes["client_id"].map(fees["fee_usd"]).astype(float)
    own = quotes["price_cents"] / CENTS_PER_USD / of_quote
    known = own.where(own > 0, quotes["client_id"].map(of_list))
    return Stages.learn(trials, known.fillna(_middle(known)), rates=rates)


def _middle(price_years: pd.Series[float]) -> float:
    return float(price_years.median()) if price_years.notna().any() else 1.0


def _factor(sold: Floats, pooled: Floats, is_own: npt.NDArray[np.bool_]) -> float:
    """Set a group's sales against what was to be expected, and against all."""
    if not len(sold):
        return 1.0
    against = PATIENCE_COUNT * pooled.mean()
    own, every = (
        (sold[rows].sum() + against) / (pooled[rows].sum() + against)
        for rows in (is_own, np.ones(len(sold), bool))
    )
    return float(own / every)


def _signs(
    ended: pd.DataFrame,
    seasons: pd.DataFrame,
    season: Season,
    clients: pd.DataFrame,
    rates: RateBook,
) -> dict[str, pd.Series[bool]]:
    """Tell which client-seasons showed which sign when the calls were made.

    A sale must not count as its own sign: bought before is a sale in an earlier season on
    record, whatever the client list says today.
    """
    bought = seasons[seasons["end"] == SOLD].groupby("client_id")["year"].min()
    of_client = clients.set_index("client_id")
    since = ended["client_id"].map(of_client["client_since"]).astype("str")
    months = round(rates.long_client_years.value * MONTHS_PER_YEAR)
    first_on = pd.to_datetime(ended["first_on"], format="ISO8601")
    joined = pd.to_datetime(since, format="ISO8601", errors="coerce")
    bad = list_bad_edges(season.answers)
    bad_since = ended["client_id"].map(bad.groupby("client_id")["seen_on"].min())
    listed_on = ended["client_id"].map(season.alike.set_index("client_id")["listed_on"])
    return {
        "bought_before": ended["client_id"].map(bought).astype(float).lt(ended["year"]),
        "long_client": joined <= first_on - pd.DateOffset(months=months),
        "bad_edge": bad_since.astype("str").fillna("9999") <= ended["last_on"],
        "new_tract": is_new_tract(
            ended["client_id"].map(of_client["year_built"]).astype(float), ended["year"], rates
        ),
        "alike": listed_on.astype("str").fillna("9999") <= ended["last_on"],
    }


def _has_neighbor(ended: pd.DataFrame, built: pd.DataFrame) -> pd.Series[bool]:
    """Tell which client-seasons began when a bed nearby was just built."""
    pairs = ended.reset_index().merge(built, on="client_id")
    is_just = is_just_built(pairs["built_on"], pairs["first_on"])
    return pd.Series(ended.index.isin(pairs.loc[is_just, "index"]), index=ended.index)
