"""
How likely a call ends in a sale: three stages, each learned from what has happened to it.

A client is *reached* at one of three tries, then *agrees* to a visit, then *buys*, the less
likely the more years of mowing the bed costs. What calls and quotes have shown moves each
stage by itself, so that nothing has to wait for the season's end.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Self

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy.special import betaincinv

from scanner.calls.trials import LOST, OPEN, QUOTE_DAYS, SOLD, TRIES, Trials
from scanner.schema.documents import ChanceRecord, RateBook

Floats = npt.NDArray[np.float64]

CHANCE_LEVEL = 0.8
"""Share of the probability that every interval of a chance or a total holds: 80 %."""

START_SHARES: Floats = (np.arange(24) + 0.5) / 24
"""Share that buys where the price is nothing, s0: one axis of the grid."""

HALF_YEARS: Floats = np.geomspace(0.2, 5.0, 25, dtype=np.float64)
"""Price in years of mowing at which half as many buy, h: the other axis."""

SPREAD = 0.5
"""How far h may lie from the rate book's, a standard deviation of its logarithm (starting value, no source)."""


@dataclass(frozen=True)
class Stages:
    """What is known of the three stages."""

    # weight of tries that reached somebody and that did not, first try, second, later
    reached: Floats
    missed: Floats
    # weight of those reached who agreed to a visit, and who did not
    agreed: float
    refused: float
    # weight of letters that asked for a visit, and that did not
    asked: float
    silent: float
    # probability of each cell of the grid, `START_SHARES` by `HALF_YEARS`; sums to 1
    weights: Floats
    record: ChanceRecord  # how many tries, decided talks and quotes on record they rest on

    @classmethod
    def learn(cls, trials: Trials, price_years: pd.Series[float], *, rates: RateBook) -> Self:
        """Put what is on record on top of the rate book's prior counts.

        The three stages. ``rates``: prior counts; ``half_price_years``; ``answer_days``.

        A quote weighs a cell with s where it was sold, 1 − s where it was lost, and
        s (1 − F) + (1 − s)(1 − F/2) where it is open for t days, F = 1 − exp(−t/answer_days):
        who buys says so soon, half of those who don't never say anything.
        """
        prior = [
            (getattr(rates, f"prior_reached_{n}_count").value, getattr(rates, f"prior_missed_{n}_count").value)
            for n in (1, 2, 3)
        ]  # fmt: skip
        reached, missed = np.array(prior).T + np.array(
            [trials.reached_counts, trials.missed_counts]
        )
        agreed = rates.prior_agreed_count.value + trials.agreed_count
        refused = rates.prior_refused_count.value + trials.refused_count
        return cls(
            reached, missed, agreed, refused,
            rates.prior_asked_count.value, rates.prior_silent_count.value,
            _weigh_cells(trials.quotes, np.asarray(price_years, dtype=np.float64), rates),
            ChanceRecord(
                int(np.sum(trials.reached_counts) + np.sum(trials.missed_counts)),
                trials.agreed_count + trials.refused_count,
                len(trials.quotes),
                1.0 - float((missed / (reached + missed)).prod()),
                agreed / (agreed + refused),
            ),
        )  # fmt: skip

    @property
    def never_reached(self) -> tuple[float, float]:
        """Chance that all three tries miss a client: products over the tries."""
        total = self.reached + self.missed
        mean = self.missed / total
        return float(mean.prod()), float((mean * (self.missed + 1.0) / (total + 1.0)).prod())

    @property
    def talked(self) -> tuple[float, float]:
        """Chance that a client is reached and agrees to a visit: the product of the first two stages."""
        never, never_2 = self.never_reached
        total = self.agreed + self.refused
        agreed = self.agreed / total
        agreed_2 = agreed * (self.agreed + 1.0) / (total + 1.0)
        return (1.0 - never) * agreed, (1.0 - 2.0 * never + never_2) * agreed_2

    @property
    def written(self) -> tuple[float, float]:
        """Chance that a letter asks for a visit, mean and mean of its square."""
        total = self.asked + self.silent
        return self.asked / total, self.asked * (self.asked + 1.0) / (total * (total + 1.0))

    def still_reached(self, tried_count: npt.ArrayLike) -> Floats:
        """Tell how much of the first stage is left to clients who were tried in vain.

        Factor on the chance of being reached: 1 before the first try; after one or two, what the
        tries left can do over what three can; from three on, one try's share.
        """
        miss = self.missed / (self.reached + self.missed)
        never = miss.prod()
        left = np.array(
            [1.0, (1 - miss[1] * miss[2]) / (1 - never), (1 - miss[2]) / (1 - never), 1 - miss[2]]
        )
        share: Floats = left[np.minimum(np.asarray(tried_count, int), TRIES)]
        return share

    def buys(self, price_years: npt.ArrayLike) -> tuple[Floats, Floats]:
        """Chance of s(r) = s0 / (1 + (r/h)²) over the grid that who agreed buys at r, price over annual fee."""
        falls = price_falls(price_years)
        mean = falls @ (START_SHARES @ self.weights)
        second = falls**2 @ (START_SHARES**2 @ self.weights)
        return mean, second

    def mean_buyers(self, price_years: npt.ArrayLike) -> Floats:
        """Chance that a client who agreed to a visit buys at r, price over annual fee: mean of s(r) over the grid."""
        return self.buys(price_years)[0]


def price_falls(price_years: npt.ArrayLike) -> Floats:
    """How much of the buyers a price leaves, 1 / (1 + (r/h)²), n rows, one column for each h of `HALF_YEARS`."""
    years = np.asarray(price_years, float)
    falls: Floats = 1.0 / (1.0 + (years[..., None] / HALF_YEARS) ** 2)
    return falls


def chance_of_sale(
    stages: Stages, price_years: npt.ArrayLike, factor: npt.ArrayLike
) -> tuple[Floats, Floats, Floats]:
    """Work out each client's chance of a sale, from the next call on.

    Mean and 80 % interval, that of the beta distribution with the same mean and variance; equal to
    the mean where nothing is uncertain. ``price_years``: price over annual fee, r, one a client.
    ``factor``: what the chance is multiplied by: tries in vain, kind and signs; one a client.

    m is the product of the stages' means, m₂ of their second moments, v = m₂ − m² and
    ν = m (1 − m)/v − 1: Beta(mν, (1 − m)ν).
    """
    factor = np.asarray(factor, float)
    (talked, talked_2), (buys, buys_2) = stages.talked, stages.buys(price_years)
    mean = factor * talked * buys
    variance = factor**2 * talked_2 * buys_2 - mean**2
    with np.errstate(divide="ignore", invalid="ignore"):
        weight = mean * (1.0 - mean) / variance - 1.0
    is_open = np.isfinite(weight) & (weight > 0) & (mean > 0)
    low, high = mean.copy(), mean.copy()
    for end, share in ((low, (1.0 - CHANCE_LEVEL) / 2.0), (high, (1.0 + CHANCE_LEVEL) / 2.0)):
        a, b = mean[is_open] * weight[is_open], (1.0 - mean[is_open]) * weight[is_open]
        end[is_open] = betaincinv(a, b, share)
    return mean, low, high


def _weigh_cells(quotes: pd.DataFrame, price_years: Floats, rates: RateBook) -> Floats:
    off = np.log(HALF_YEARS / rates.half_price_years.value) / SPREAD
    prior = START_SHARES[:, None] ** 1.5 * (1.0 - START_SHARES[:, None]) ** 0.5
    logs = np.log(prior) - 0.5 * off**2
    heard = 1.0 - np.exp(
        -np.minimum(quotes["open_days"].to_numpy(float), QUOTE_DAYS) / rates.answer_days.value
    )
    falls = price_falls(price_years)
    for end, fall, answered in zip(quotes["end"], falls, heard, strict=True):
        buys = START_SHARES[:, None] * fall
        weight = {
            SOLD: buys,
            LOST: 1.0 - buys,
            OPEN: buys * (1.0 - answered) + (1.0 - buys) * (1.0 - answered / 2.0),
        }[end]
        logs += np.log(weight)
    weights = np.exp(logs - logs.max())
    cells: Floats = weights / weights.sum()
    return cells
