"""
What the weeks to come may sell, and what of it can be built: no random number anywhere.

Everything under way is one table of leads, each at its stage: sold, quoted, visit agreed, to be
called back, tried in vain, not called yet. Each brings its gross profit and its crew-days with
the chance of the stages left to it, when its delays say so.
Days count from the Monday of this week, which begins week 0.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Self

import numpy as np
import numpy.typing as npt
import pandas as pd

from scanner.calls.chance import Floats, Stages
from scanner.calls.totals import Prospects, Spread, expected_sales, spread_sales
from scanner.calls.trials import TRIES
from scanner.schema.documents import RateBook
from scanner.schema.plan_tables import CALL_BACK, LEADS, LETTER, NEW, QUOTE, SOLD, TRIED, VISIT
from scanner.schema.tables import check_table
from scanner.units import DAYS_PER_WEEK

TRY_DAY = 2
"""Calls of a week are taken as made on its Wednesday; a client is tried again a week later (common practice)."""


MIDDLE = 0.5
"""A client starts in the week in which this part of him is called, in the sum of the means."""


@dataclass(frozen=True)
class Delays:
    """How long things take."""

    miss: Floats  # mean chance that each of the three tries misses a client, b
    answer_days: float  # mean days until a quote is answered
    visit_days: float  # days from the talk to the visit with its quote
    start_days: float  # days from the sale to the earliest start
    mail_days: float  # mean days until a letter that came is answered

    @classmethod
    def of(cls, stages: Stages, rates: RateBook) -> Self:
        """Take them from what the calls on record taught and from the rate book."""
        miss = stages.missed / (stages.reached + stages.missed)
        return cls(
            miss,
            rates.answer_days.value,
            rates.visit_days.value,
            rates.start_days.value,
            rates.mail_days.value,
        )

    def answered(self, days: npt.ArrayLike) -> Floats:
        """Tell which share of the buyers has said yes some days after the quote, E.

        >>> delays = Delays(np.array([0.65, 0.75, 0.820513]), 15.0, 7.0, 7.0, 10.0)
        >>> delays.answered([-1.0, 7.0, 14.0]).round(6).tolist()
        [0.0, 0.372911, 0.606759]
        """
        late: Floats = -np.expm1(-np.maximum(np.asarray(days, float), 0.0) / self.answer_days)
        return late

    def written(self, days: npt.ArrayLike) -> Floats:
        """Tell which share of its sales stands some days after a letter came.

        The letter's answer and the quote's, one after the other, with the visit between them.

        >>> delays = Delays(np.array([0.65, 0.75, 0.820513]), 15.0, 7.0, 7.0, 10.0)
        >>> delays.written([7.0, 17.0, 32.0]).round(6).tolist()  # 1 − 3e^(−d/15) + 2e^(−d/10), d 10 and 25
        [0.0, 0.195508, 0.597543]
        """
        since = np.maximum(np.asarray(days, float) - self.visit_days, 0.0)
        slow, fast = self.answer_days, self.mail_days
        if np.isclose(slow, fast):
            gamma: Floats = 1.0 - np.exp(-since / slow) * (1.0 + since / slow)
            return gamma
        late: Floats = (slow * np.exp(-since / slow) - fast * np.exp(-since / fast)) / (slow - fast)
        return 1.0 - late

    def sold(self, days: npt.ArrayLike, tried_count: int) -> Floats:
        """Tell which share of its sales stands some days after the Monday of a call's first week, L.

        Of the sales that a client so often tried ends in; on the shape of `days`.

        L(d) = Σ_j a_j E(d − 2 − 7 (j − tried) − visit_days) over the tries left, a_j the share
        of the reached that is reached at try j.

        >>> delays = Delays(np.array([0.65, 0.75, 0.820513]), 15.0, 7.0, 7.0, 10.0)
        >>> delays.sold([14.0, 28.0, 98.0], 0).round(6).tolist()
        [0.165357, 0.609447, 0.996327]
        """
        days = np.asarray(days, float)
        first = min(tried_count, TRIES - 1)
        miss = self.miss[first:]
        reached = np.concatenate([[1.0], miss.cumprod()[:-1]]) * (1.0 - miss)
        share = np.zeros(days.shape)
        for week, part in enumerate(reached / reached.sum()):
            share += part * self.answered(days - TRY_DAY - DAYS_PER_WEEK * week - self.visit_days)
        return share


def deal_calls(
    miss: Floats, tried_counts: npt.NDArray[np.int64], per_week: float, week_count: int
) -> npt.NDArray[np.int64]:
    """Deal the calls of the weeks to come to clients in their order.

    Week of each client's next try; `week_count` where none of these weeks has room.

    New clients in week w: x_w = max(0, N − the tries due after misses of earlier weeks), in the
    mean; client i starts in the first week with Σx > i + ½.

    >>> weeks = deal_calls(np.array([0.65, 0.75, 0.82]), np.zeros(40, int), 20, 4)
    >>> np.bincount(weeks).tolist()  # 20, 7, 5.7 and 12.9 of them
    [20, 7, 6, 7]
    """
    due, chain = np.zeros(week_count + TRIES), follow_ups(miss)
    weeks = np.full(len(tried_counts), week_count)
    week, room = 0, float(per_week)
    for place, tried in enumerate(np.minimum(tried_counts, TRIES - 1)):
        # A client may straddle two weeks, as sums of x do; where his middle lies, he starts
        left = 1.0
        while week < week_count and left > 0.0:
            part = min(left, room)
            if left >= MIDDLE > left - part:
                weeks[place] = week
            due[week + 1 : week + TRIES] += part * chain[tried]
            left, room = left - part, room - part
            if left > 0.0:
                week += 1
                room = max(0.0, per_week - due[week])
    return weeks


def follow_ups(miss: Floats) -> Floats:
    """Tries to expect one and two weeks after a try, by tries in vain before: 3 × 2."""
    return np.array([[miss[0], miss[0] * miss[1]], [miss[1], 0.0], [0.0, 0.0]])


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
