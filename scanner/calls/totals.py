"""
What sales bring in all: no chance is known exactly, and where one is low, all are, so ranges are wide.

The same sums serve the whole list, a month of it and the crew-days it asks for.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import betainc, betaincinv, gammaincinv

from scanner.calls.chance import CHANCE_LEVEL, START_SHARES, Floats, Stages, price_falls
from scanner.units import RANGE_STEP_CENTS

TALK_SLICES = 15
"""Equal slices of what is unknown of a first stage: to be reached and agree, to answer a letter."""

LEAST_TERM = 1e-10
"""Smallest term of the logarithm's series that still counts."""

RANGE_SHARES = ((1.0 - CHANCE_LEVEL) / 2.0, (1.0 + CHANCE_LEVEL) / 2.0)


@dataclass(frozen=True)
class Prospects:
    """What may end in a sale, one client a place."""

    # price of the lead over annual fee, r, and what its sale brings, G, in any unit
    price_years: Floats
    gain: Floats
    # the same of the upgrade, r_u and G_u; the lead's where there is none
    upgrade_years: Floats
    upgrade_gain: Floats
    factor: Floats  # what the client's chance is multiplied by
    # whether he was reached and agreed already; None: nobody was
    is_talked: npt.NDArray[np.bool_] | None = None
    # share of the answers to his open quote that would have come by now, F; 0 without a quote.
    # Looked at where `is_talked`; None: nobody has one.
    heard: Floats | None = None
    # whether he is written to instead of called; None: nobody is
    is_written: npt.NDArray[np.bool_] | None = None

    def first_stages(self, stages: Stages) -> list[FirstStage]:
        """Tell who has a first stage before him, and what is known of it: calls, letters."""
        none = np.zeros(len(self.gain), bool)
        is_talked = none if self.is_talked is None else self.is_talked
        is_written = none if self.is_written is None else self.is_written
        return [
            FirstStage(~is_talked & ~is_written, *stages.talked),
            FirstStage(is_written, *stages.written),
        ]

    def chosen(self, rows: npt.NDArray[np.bool_]) -> Prospects:
        """Give some of them."""
        given = {name: column for name, column in vars(self).items() if column is not None}
        return Prospects(**{name: column[rows] for name, column in given.items()})


@dataclass(frozen=True)
class FirstStage:
    """The stage before a visit, of some clients."""

    rows: npt.NDArray[np.bool_]  # who has it before him
    mean: float  # chance that it ends in a visit, its mean and that of its square
    second: float

    def slices(self) -> Floats:
        """Mean of the chance in each of 15 equal slices of its beta, smallest first."""
        a, b = self._beta()
        if not np.isfinite(a):
            return np.full(TALK_SLICES, self.mean)
        ends = betaincinv(a, b, np.linspace(0.0, 1.0, TALK_SLICES + 1))
        slices: Floats = self.mean * TALK_SLICES * np.diff(betainc(a + 1.0, b, ends))
        return slices

    def quantiles(self) -> Floats:
        """Even quantiles of its beta, for the chance of nothing."""
        a, b = self._beta()
        if not np.isfinite(a):
            return np.full(TALK_SLICES, self.mean)
        quantiles: Floats = betaincinv(a, b, (np.arange(TALK_SLICES) + 0.5) / TALK_SLICES)
        return quantiles

    def _beta(self) -> tuple[float, float]:
        """Both weights of the beta with these moments; infinite where nothing is uncertain."""
        variance = self.second - self.mean**2
        weight = self.mean * (1.0 - self.mean) / variance - 1.0 if variance > 0 else np.inf
        return self.mean * weight, (1.0 - self.mean) * weight


@dataclass(frozen=True)
class Spread:
    """How what sales bring is spread, one place a period."""

    # of the sum, in the prospects' unit and its square
    mean: Floats
    variance: Floats
    nothing: Floats  # chance that nothing is sold

    def quantiles(self, shares: npt.ArrayLike) -> Floats:
        """Give quantiles of: nothing with its chance, else a gamma with what is left of the moments.

        q rows, one column a period.
        """
        shares = np.asarray(shares, float)[:, None]
        with np.errstate(divide="ignore", invalid="ignore"):
            something = 1.0 - self.nothing
            mean = self.mean / something
            variance = (self.variance + self.mean**2) / something - mean**2
            shape = mean**2 / variance
            above = (shares - self.nothing) / something
            spread = gammaincinv(shape, np.clip(above, 0.0, 1.0)) * variance / mean
        # Moments of a sure sum leave no variance but rounding
        spread = np.where(variance > 1e-12 * mean**2, spread, mean)
        return np.where((above > 0.0) & (self.mean > 0.0), spread, 0.0)


@dataclass(frozen=True)
class Total:
    """Gross profit of the sales that a list of calls ends in."""

    mean_cents: float  # mean
    # 80 % range, rounded outward to $50
    low_cents: int
    high_cents: int
    nothing_chance: float  # chance that no call ends in a sale


def total_sales(stages: Stages, prospects: Prospects) -> Total:
    """Add up what calls bring, their gain in cents: mean, range, chance of nothing."""
    spread = spread_sales(stages, prospects, np.ones((1, len(prospects.gain))))
    low, high = spread.quantiles(RANGE_SHARES)[:, 0]
    return Total(float(spread.mean[0]), *rounded_outward(low, high), float(spread.nothing[0]))


def rounded_outward(low_cents: float, high_cents: float) -> tuple[int, int]:
    """Round a range of cents outward to $50."""
    return int(low_cents // RANGE_STEP_CENTS) * RANGE_STEP_CENTS, -int(
        -high_cents // RANGE_STEP_CENTS
    ) * RANGE_STEP_CENTS


def spread_sales(stages: Stages, prospects: Prospects, shares: Floats) -> Spread:
    """Tell how what sales bring is spread over some periods.

    Moments and chance of nothing by period. ``shares``: share of each client's sales that fall into
    each period, t: one row a period, n columns.

    Per cell of the grid, with f the factor: a = t f [s G + s(r_u)(G_u − G)], A = Σ a,
    B = Σ t f [s G² + s(r_u)(G_u² − G²)], C = Σ a²; index 1 for those who agreed already, 2
    for those who must be reached first. With π the chance to be reached and to agree, π₁ and
    π₂ its moments, w the cells' weights: mean = Σ w (A₁ + π₁A₂); variance =
    Σ w [B₁ − C₁ + A₁² + π₁(B₂ + 2A₁A₂) + π₂(A₂² − C₂)] − mean². An open quote is sold with
    s(1 − F)/[s(1 − F) + (1 − s)(1 − F/2)] instead of s. Nothing: Σ w Π₁(1 − t s) Π₂(1 − π t s),
    π at even quantiles of the beta with its moments. A letter has ρ, the chance that it is
    answered, for π; what is unknown of both is taken to go together, largest with largest.
    """
    firsts = prospects.first_stages(stages)
    is_talked = ~(firsts[0].rows | firsts[1].rows)
    agreed = prospects.chosen(is_talked)
    chances = agreed_chances(agreed)
    a1, b1, c1 = _agreed_sums(agreed, chances, shares[:, is_talked])
    mean, second = a1, b1 - c1 + a1**2
    bought = shares[:, is_talked, None, None] * chances[0]
    nothing = np.log1p(-np.minimum(bought, 1.0 - 1e-12)).sum(axis=1)[:, None]
    both, sums = float((firsts[0].slices() * firsts[1].slices()).mean()), []
    for first in firsts:
        own, own_shares = prospects.chosen(first.rows), shares[:, first.rows]
        a2, b2, c2 = _call_sums(own, own_shares)
        mean = mean + first.mean * a2
        second = second + first.mean * (b2 + 2.0 * a1 * a2) + first.second * (a2**2 - c2)
        nothing = nothing + _no_sale_logs(own, own_shares, first.quantiles())
        sums.append(a2)
    second = second + 2.0 * both * sums[0] * sums[1]
    nothing = np.exp(nothing).mean(axis=1)
    mean, second, nothing = (
        np.tensordot(cells, stages.weights, 2) for cells in (mean, second, nothing)
    )
    return Spread(mean, second - mean**2, nothing)


def expected_sales(stages: Stages, prospects: Prospects) -> Floats:
    """Give the mean of what each client's sale brings; their sum is the mean of `spread_sales`."""
    first = sum(one.rows * one.mean for one in prospects.first_stages(stages))
    lead, more = (
        stages.buys(years)[0] * first * prospects.factor
        for years in (prospects.price_years, prospects.upgrade_years)
    )
    if (is_talked := prospects.is_talked) is not None:
        agreed = agreed_chances(prospects.chosen(is_talked))
        lead[is_talked], more[is_talked] = (
            np.tensordot(chance, stages.weights, 2) for chance in agreed
        )
    mean: Floats = lead * prospects.gain + more * (prospects.upgrade_gain - prospects.gain)
    return mean


def agreed_chances(agreed: Prospects) -> tuple[Floats, Floats]:
    """Give the chance of lead and upgrade by cell, of those past the talk: n × 24 × 25 each."""
    heard = np.zeros(len(agreed.gain)) if agreed.heard is None else agreed.heard
    still, silent = (1.0 - heard)[:, None, None], (1.0 - heard / 2.0)[:, None, None]
    both = []
    for years in (agreed.price_years, agreed.upgrade_years):
        falls = np.minimum(price_falls(years) * agreed.factor[:, None], 1.0)
        s = START_SHARES[:, None] * falls[:, None, :]
        both.append(s * still / (s * still + (1.0 - s) * silent))
    return both[0], both[1]


def _agreed_sums(
    agreed: Prospects, chances: tuple[Floats, Floats], shares: Floats
) -> tuple[Floats, Floats, Floats]:
    """Sum a, its square and the gain's by period and cell, of those past the talk."""
    gain, whole = agreed.gain[:, None, None], agreed.upgrade_gain[:, None, None]
    each = chances[0] * gain + chances[1] * (whole - gain)
    squares = chances[0] * gain**2 + chances[1] * (whole**2 - gain**2)
    return (
        np.tensordot(shares, each, 1),
        np.tensordot(shares, squares, 1),
        np.tensordot(shares**2, each**2, 1),
    )


def _call_sums(calls: Prospects, shares: Floats) -> tuple[Floats, Floats, Floats]:
    """Sum the same of those to be reached: s falls apart into s0 and what the price leaves."""
    gain, whole = calls.gain[:, None], calls.upgrade_gain[:, None]
    falls = price_falls(calls.price_years) * calls.factor[:, None]
    more = price_falls(calls.upgrade_years) * calls.factor[:, None]
    each = falls * gain + more * (whole - gain)
    squares = falls * gain**2 + more * (whole**2 - gain**2)
    start = START_SHARES[:, None]
    return (
        start * (shares @ each)[:, None, :],
        start * (shares @ squares)[:, None, :],
        start**2 * (shares**2 @ each**2)[:, None, :],
    )


def _no_sale_logs(calls: Prospects, shares: Floats, talks: Floats) -> Floats:
    """Multiply the chances that nobody of those to be reached buys, by period, quantile and cell.

    log Π(1 − π t s) = −Σ_k (π s0)^k Σ (t f fall)^k / k: the inner sums are the same for
    every π and s0, so that 100,000 clients cost hardly more than a hundred.
    """
    falls = np.minimum(price_falls(calls.price_years) * calls.factor[:, None], 1.0)
    largest = float(talks.max() * START_SHARES[-1] * falls.max(initial=0.0))
    terms = int(np.clip(np.log(LEAST_TERM) / np.log(max(largest, 1e-9)), 4, 300))
    starts = talks[:, None] * START_SHARES
    power, fall_power, share_power = starts.copy(), falls.copy(), shares.copy()
    logs = np.zeros((len(shares), len(talks), len(START_SHARES), falls.shape[1]))
    for k in range(1, terms + 1):
        logs -= power[None, :, :, None] * (share_power @ fall_power)[:, None, None, :] / k
        power, fall_power, share_power = power * starts, fall_power * falls, share_power * shares
    return logs
