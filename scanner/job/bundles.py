"""
Which beds a call sells: a lead that the client may well take, an upgrade, later jobs.

A set of beds is drawn and priced as one job by whoever calls; here it is chosen.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from itertools import chain
from math import inf

import numpy as np
import pandas as pd

from scanner.job.counting import FloatArray
from scanner.units import CENTS_PER_USD

LEAD, UPGRADE, ADDED, LATER = "lead", "upgrade", "added", "later"
"""What a set of beds is sold as; `ADDED` is what an upgrade adds, as a job of its own."""

GOOD_SHARE = 0.9
"""A candidate this near to the best expected profit is as good: the cheapest of these leads."""

PACK_SHARE = 1.10
"""Later jobs are packed up to this share of the job limit."""

AT_LEAST = 2.0
"""Beds that take so many times the limit one by one do not fit it together: what they share is less."""

LIMIT_SLACK = 1e-9
"""Crew-days that come to the limit exactly fit it, whatever the last binary digit."""

Beds = tuple[str, ...]

PriceSets = Callable[[dict[str, Beds]], pd.DataFrame]
"""Draw and price sets of beds as jobs: from beds by offer id to rows like those of beds alone."""


@dataclass(frozen=True)
class Demand:
    """What clients may well pay."""

    fee_usd: pd.Series[float]  # annual fee by client id [USD]
    # from price over annual fee to the chance that a client who is visited buys
    buys: Callable[[FloatArray], FloatArray]


def bundle_beds(
    alone: pd.DataFrame, price_sets: PriceSets, *, demand: Demand, limit_crew_days: float
) -> pd.DataFrame:
    """
    Choose what each client is offered.

    Parameters
    ----------
    alone
        Each bed as a job of its own in its lead finish, indexed by bed id: `client_id`,
        `price_cents`, `gross_profit_cents`, `crew_days`.
    price_sets
        Draws and prices sets of beds.
    demand
        Fees, and how many buy at a price.
    limit_crew_days
        Longest job.

    Returns
    -------
    bundles
        `client_id`, `role`, `job` (number among later jobs, else 1), `offer_id`, `beds` (a
        tuple, the lead bed first): by client a lead; an upgrade with its added beds where
        another bed fits; later jobs.

    Notes
    -----
    Candidates are each bed alone and the first n beds by gross profit that fit the limit.
    The lead is the cheapest whose chance × gross profit is at least 90 % of the best; where
    nothing fits, the one of fewest crew-days. The upgrade takes further beds in order, each
    that still fits. What is left is packed, first fit decreasing, up to 1.10 × the limit.
    """
    desk = _Desk(alone, price_sets, limit_crew_days + LIMIT_SLACK)
    beds_of = order_beds(alone)
    desk.price(first for beds in beds_of.values() for first in _first_beds(beds))
    leads = _choose_leads(desk, beds_of, demand)
    upgrades = desk.add_beds(
        {client: lead for client, lead in leads.items() if desk.fits(lead)}, beds_of
    )
    rows = list[tuple[str, str, int, Beds]]()
    for client, lead in leads.items():
        rows.append((client, LEAD, 1, lead))
        whole = upgrades.get(client, lead)
        if len(whole) > len(lead):
            rows += [(client, UPGRADE, 1, whole), (client, ADDED, 1, whole[len(lead) :])]
        left = [bed for bed in beds_of[client] if bed not in whole]
        jobs = _pack(left, desk.crew_days, limit_crew_days * PACK_SHARE + LIMIT_SLACK)
        rows += [(client, LATER, at, job) for at, job in enumerate(jobs, start=1)]
    bundles = pd.DataFrame(rows, columns=["client_id", "role", "job", "beds"])
    return bundles.assign(offer_id=[offer_id_of(beds) for beds in bundles["beds"]])


def order_beds(alone: pd.DataFrame) -> dict[str, Beds]:
    """
    Put the beds of each client in order of gross profit, equal ones by bed id; `alone` as for `bundle_beds`.

    >>> rows = {"client_id": ["B", "A", "A"], "gross_profit_cents": [9, 5, 7]}
    >>> order_beds(pd.DataFrame(rows, index=["B-curb-1", "A-curb-1", "A-house-1"]))
    {'A': ('A-house-1', 'A-curb-1'), 'B': ('B-curb-1',)}
    """
    rows = zip(alone["client_id"], -alone["gross_profit_cents"], alone.index, strict=True)
    beds_of = defaultdict[str, Beds](tuple)
    for client_id, _, bed_id in sorted(rows):
        beds_of[client_id] += (bed_id,)
    return dict(beds_of)


def offer_id_of(beds: Beds) -> str:
    """
    Name a set of beds sold as one job: the bed's own id where it is one, else all by name, joined by ``+``.

    >>> offer_id_of(("A-house-1", "A-curb-1"))
    'A-curb-1+A-house-1'
    """
    return "+".join(sorted(beds))


class _Desk:
    """Prices of sets of beds, each worked out once."""

    def __init__(self, alone: pd.DataFrame, price_sets: PriceSets, limit_crew_days: float) -> None:
        self.table = alone
        self.crew_days: dict[str, float] = {str(k): float(v) for k, v in alone["crew_days"].items()}
        self.limit_crew_days = limit_crew_days
        self._price_sets = price_sets

    def price(self, wanted: Iterable[Beds]) -> None:
        """Price the sets that may fit and are not priced yet, all at once."""
        most_crew_days = AT_LEAST * self.limit_crew_days
        sets = {
            offer_id_of(beds): beds
            for beds in wanted
            if sum(self.crew_days[bed] for bed in beds) <= most_crew_days
        }
        new = {name: sets[name] for name in sorted(sets.keys() - self.crew_days.keys())}
        if new:
            priced = self._price_sets(new)
            self.table = pd.concat([self.table, priced])
            self.crew_days |= {str(k): float(v) for k, v in priced["crew_days"].items()}

    def fits(self, beds: Beds) -> bool:
        """Tell whether a set is no longer than a job may be."""
        return self.crew_days.get(offer_id_of(beds), inf) <= self.limit_crew_days

    def add_beds(self, leads: dict[str, Beds], beds_of: dict[str, Beds]) -> dict[str, Beds]:
        """Add each client's further beds in order, keeping those with which the job still fits."""
        jobs = dict(leads)
        waiting = {c: [bed for bed in beds_of[c] if bed not in lead] for c, lead in leads.items()}
        whole = {c: (*leads[c], *beds) for c, beds in waiting.items() if beds}
        self.price(whole.values())
        waiting = {c: waiting[c] for c, beds in whole.items() if not self.fits(beds)}
        jobs |= {c: beds for c, beds in whole.items() if c not in waiting}
        while waiting:
            # all that may come next at once: to draw one bed of each costs nearly as much
            tried = {c: [(*jobs[c], bed) for bed in beds] for c, beds in waiting.items()}
            self.price(chain.from_iterable(tried.values()))
            fitting = {
                c: next((at for at, beds in enumerate(sets) if self.fits(beds)), len(sets))
                for c, sets in tried.items()
            }
            jobs |= {c: tried[c][at] for c, at in fitting.items() if at < len(tried[c])}
            waiting = {c: left for c, at in fitting.items() if (left := waiting[c][at + 1 :])}
        return jobs


def _choose_leads(desk: _Desk, beds_of: dict[str, Beds], demand: Demand) -> dict[str, Beds]:
    """Take of each client's candidates the cheapest of those that promise about the most."""
    candidates = pd.DataFrame(
        [
            (client, beds)
            for client, own in beds_of.items()
            for beds in (*((bed,) for bed in own), *filter(desk.fits, _first_beds(own)))
        ],
        columns=["client_id", "beds"],
    )
    if candidates.empty:
        return {}
    named = candidates.assign(offer_id=[offer_id_of(beds) for beds in candidates["beds"]])
    priced = named.join(
        desk.table[["price_cents", "gross_profit_cents", "crew_days"]], on="offer_id"
    )
    years = priced["price_cents"] / CENTS_PER_USD / priced["client_id"].map(demand.fee_usd)
    priced = priced.assign(
        expected=demand.buys(years.to_numpy(float)) * priced["gross_profit_cents"],
        is_long=priced["crew_days"] > desk.limit_crew_days,
    )
    best = (
        priced["expected"].where(~priced["is_long"]).groupby(priced["client_id"]).transform("max")
    )
    is_good = priced["expected"] >= best - (1.0 - GOOD_SHARE) * best.abs()
    by = np.where(priced["is_long"], priced["crew_days"], priced["price_cents"])
    ordered = priced.assign(is_bad=~is_good, by=by, less=-priced["expected"]).sort_values(
        ["client_id", "is_long", "is_bad", "by", "less", "crew_days", "offer_id"]
    )
    first = ordered.drop_duplicates("client_id")
    return dict(zip(first["client_id"], first["beds"], strict=True))


def _first_beds(beds: Beds) -> list[Beds]:
    return [beds[:count] for count in range(2, len(beds) + 1)]


def _pack(beds: list[str], crew_days: dict[str, float], most_crew_days: float) -> list[Beds]:
    """Pack beds into jobs, first fit decreasing; a bed longer than a job is one by itself."""
    jobs = list[tuple[float, Beds]]()
    for bed in sorted(beds, key=lambda bed: (-crew_days[bed], bed)):
        days = crew_days[bed]
        at = next((n for n, (sum_, _) in enumerate(jobs) if sum_ + days <= most_crew_days), None)
        if at is None:
            jobs.append((days, (bed,)))
        else:
            jobs[at] = (jobs[at][0] + days, (*jobs[at][1], bed))
    return [job for _, job in jobs]
