"""
What the weeks to come may sell, and what of it can be built: no random number anywhere.

Everything under way is one table of leads, each at its stage: sold, quoted, visit agreed, to be
called back, tried in vain, not called yet. Each brings its gross profit and its crew-days with
the chance of the stages left to it, when its delays say so.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from scanner.calls.chance import Floats, Stages
from scanner.calls.delays import Delays, deal_calls
from scanner.calls.totals import Prospects, Spread, expected_sales, spread_sales
from scanner.schema.plan_tables import CALL_BACK, LEADS, LETTER, NEW, QUOTE, SOLD, TRIED, VISIT
from scanner.schema.tables import check_table
from scanner.units import DAYS_PER_WEEK

PATH_SHARES: Floats = np.arange(1.0, 100.0, dtype=np.float64) / 100.0
"""Even quantiles along which work and free days are followed."""


@dataclass(frozen=True)
class Outlook:
    """Sales of some periods."""

    sold: Floats  # what stands already at the end of each period
    spread: Spread  # what may come beside it

    @property
    def mean(self) -> Floats:
        """Give the mean of both."""
        mean: Floats = self.sold + self.spread.mean
        return mean

    def quantiles(self, shares: npt.ArrayLike) -> Floats:
        """Give quantiles of both, as `Spread.quantiles` has them."""
        return self.sold + self.spread.quantiles(shares)


class Forecast:
    """What some leads may come to."""

    def __init__(
        self, leads: pd.DataFrame, stages: Stages, delays: Delays, *, today: int,
        calls_a_week: float, week_count: int,
    ) -> None:  # fmt: skip
        self.stages, self.delays, self.week_count = stages, delays, week_count
        self.today = today
        leads = check_table(leads, LEADS)
        self.is_quote = (leads["stage"] == QUOTE).to_numpy()
        self.leads = leads.assign(
            day=self._first_days(leads, calls_a_week), jobs=1.0, upgrade_jobs=1.0
        )

    def _first_days(self, leads: pd.DataFrame, calls_a_week: float) -> pd.Series[float]:
        """Give each call without a day the Monday of its week; visits that passed are as today's."""
        days = leads["day"].to_numpy(float).copy()
        # Who was tried comes first, then the list in its order
        is_open = leads["stage"].isin([TRIED, NEW]).to_numpy() & np.isnan(days)
        is_new = (leads["stage"] == NEW).to_numpy()
        rows = np.flatnonzero(is_open)[np.argsort(is_new[is_open], kind="stable")]
        weeks = deal_calls(
            self.delays.miss, leads["tried_count"].to_numpy(np.int64)[rows], calls_a_week, self.week_count
        )  # fmt: skip
        days[rows] = np.where(weeks < self.week_count, weeks * DAYS_PER_WEEK, np.inf)
        is_due = leads["stage"].isin([VISIT, CALL_BACK])
        return pd.Series(np.where(is_due, np.maximum(days, self.today), days), leads.index)

    def ready_by_week(self) -> Floats:
        """Tell in which week the work of each lead's sales may start first: n × weeks; what starts later is in none."""
        ends = DAYS_PER_WEEK * np.arange(1, self.week_count + 1)
        ready: Floats = np.diff(self.shares(ends, is_ready=True), axis=0, prepend=0.0).T
        return ready

    def prospects(self, gain: str) -> Prospects:
        """Hand the leads to the sums; whoever is to be called back was reached already.

        One place a lead; those sold are among them and are not to be summed.
        """
        leads, part = self.leads, self.leads["stage"]
        is_quote = self.is_quote
        age = np.where(is_quote, self.today - leads["day"], 0.0)
        reached = 1.0 - self.stages.never_reached[0]
        left = self.stages.still_reached(leads["tried_count"].to_numpy(int))
        factor = leads["factor"].to_numpy(float) * np.where(
            part.isin([TRIED, NEW]), left, np.where(part == CALL_BACK, 1.0 / reached, 1.0)
        )
        plain = (leads["price_years"].to_numpy(float), leads[gain].to_numpy(float))
        more = (
            leads["upgrade_years"].to_numpy(float), leads[f"upgrade_{gain}"].to_numpy(float)
        )  # fmt: skip
        # The price quoted stands: no upgrade after it
        years, gains = (
            np.where(is_quote, own, other) for own, other in zip(plain, more, strict=True)
        )
        return Prospects(
            *plain, years, gains, factor,
            is_talked=part.isin([QUOTE, VISIT]).to_numpy(), heard=self.delays.answered(age),
            is_written=(part == LETTER).to_numpy(),
        )  # fmt: skip

    def shares(self, until: npt.ArrayLike, *, is_ready: bool = False) -> Floats:
        """Tell which share of each lead's sales stands by some days.

        p rows, one column a lead. From today on: what has not been answered yet may be. ``until``:
        days since this Monday, at whose beginning it is asked; p of them.
        """
        until = np.asarray(until, float)[:, None]
        if is_ready:
            until = until - self.delays.start_days
        begin, part = self.leads["day"].to_numpy(float), self.leads["stage"].to_numpy()
        share = np.zeros((len(until), len(begin)))
        with np.errstate(invalid="ignore"):
            since = np.where(np.isfinite(begin), until - begin, -np.inf)
        is_sold = part == SOLD
        # A job sold is sold; it says itself from which day on it may start, and a Monday begins its own week
        may_start = since + self.delays.start_days > 0
        share[:, is_sold] = may_start[:, is_sold] if is_ready else 1.0
        share[:, self.is_quote] = self.delays.answered(until - self.today)
        is_visit = part == VISIT
        share[:, is_visit] = self.delays.answered(since[:, is_visit])
        is_back = part == CALL_BACK
        share[:, is_back] = self.delays.answered(since[:, is_back] - self.delays.visit_days)
        is_written = part == LETTER
        share[:, is_written] = self.delays.written(since[:, is_written])
        tried = np.minimum(self.leads["tried_count"].to_numpy(int), len(self.delays.miss) - 1)
        for count in range(len(self.delays.miss)):
            own = np.isin(part, [TRIED, NEW]) & (tried == count)
            share[:, own] = self.delays.sold(since[:, own], count)
        return share

    def outlook(
        self,
        shares: Floats,
        *,
        gain: str = "profit_cents",
        rows: npt.NDArray[np.bool_] | None = None,
    ) -> Outlook:
        """Tell what comes of the leads in some periods.

        One place a period. ``shares``: share of each lead's sales in each period, as `shares` or a
        difference of two. ``gain``: column that is summed, the upgrade's beside it:
        ``profit_cents``, ``crew_days`` or ``jobs``. ``rows``: leads that are summed; None: all.
        """
        rows = np.ones(len(self.leads), bool) if rows is None else rows
        is_sold = (self.leads["stage"] == SOLD).to_numpy()
        amounts = self.leads[gain].to_numpy(float)
        sold = shares[:, rows & is_sold] @ amounts[rows & is_sold]
        own = rows & ~is_sold
        spread = spread_sales(self.stages, self.prospects(gain).chosen(own), shares[:, own])
        return Outlook(sold, spread)

    def expected(self, shares: Floats, *, gain: str = "profit_cents") -> Floats:
        """Give the mean of each lead in some periods, as `outlook` sums it: one row a period, one column a lead."""
        means = expected_sales(self.stages, self.prospects(gain))
        is_sold = (self.leads["stage"] == SOLD).to_numpy()
        mean: Floats = shares * np.where(is_sold, self.leads[gain].to_numpy(float), means)
        return mean


def follow_work(ready: Floats, free: Floats) -> Floats:
    """Tell what of the work that is ready can be built in the free days.

    Crew-days built through each week: B(w) = min(R(w), K(w), min over u < w of R(u) + K(w) − K(u)),
    K the sum of the free days: a free day that passed without work is gone. ``ready``: crew-days
    ready through each week, one row a path, one column a week; never falling. ``free``: crew-days
    free in each week; infinite: no limit is known.
    """
    built, so_far = np.empty_like(ready), np.zeros(len(ready))
    for week, days in enumerate(free):
        so_far = np.minimum(ready[:, week], so_far + days)
        built[:, week] = so_far
    return built
