"""
What a list of calls brings in all: clients share the uncertain stages, so ranges are wide.

Sums of sales over clients whose chances hang together: no chance is known exactly, and
where one turns out low, all do.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import betaincinv, gammaincinv

from scanner.calls.chance import (
    CHANCE_LEVEL,
    START_SHARES,
    Floats,
    Stages,
    price_falls,
)

TALK_QUANTILES: Floats = (np.arange(15) + 0.5) / 15
"""Even quantiles of the chance to be reached and agree, for the chance of nothing."""

EXACT_COUNT = 600
"""Up to so many clients the chance of nothing goes client by client, above by classes of chance."""

CLASS_SHARE = 0.01
"""Width of such a class: clients whose chances differ by less count as alike."""

STEP_CENTS = 5000
"""The range is rounded outward to $50."""


@dataclass(frozen=True)
class Total:
    """
    Gross profit of the sales that a list of calls ends in.

    Attributes
    ----------
    mean_cents
        Mean.
    low_cents, high_cents
        80 % range, rounded outward to $50.
    nothing_chance
        Chance that no call ends in a sale.
    """

    mean_cents: float
    low_cents: int
    high_cents: int
    nothing_chance: float


@dataclass(frozen=True)
class Prospects:
    """
    What calls may end in, one client a place.

    Attributes
    ----------
    price_years, profit_cents
        Price of the lead over annual fee, r, and its gross profit, G [cents].
    upgrade_years, upgrade_profit_cents
        The same of the upgrade, r_u and G_u; the lead's where there is none.
    factor
        What the client's chance is multiplied by.
    """

    price_years: Floats
    profit_cents: Floats
    upgrade_years: Floats
    upgrade_profit_cents: Floats
    factor: Floats


def total_sales(stages: Stages, prospects: Prospects) -> Total:
    """
    Add up what calls bring.

    Parameters
    ----------
    stages
        The three stages.
    prospects
        The calls.

    Returns
    -------
    total
        Mean, range, chance of nothing.

    Notes
    -----
    Per cell of the grid, with f the factor: a = f [s G + s(r_u)(G_u − G)], A = Σ a,
    B = Σ f [s G² + s(r_u)(G_u² − G²)], C = Σ a². With π the chance
    to be reached and to agree, π₁ and π₂ its moments, w the cells' weights: mean = π₁ Σ wA;
    variance = π₁ Σ wB − π₂ Σ wC + π₂ Σ wA² − mean². Nothing: Σ w Π (1 − π f s), π at even
    quantiles of the beta with its moments. The range is that of nothing with its chance,
    else a gamma with what is left of mean and variance.

    Examples
    --------
    >>> from scanner.schema.documents import ChanceRecord
    >>> sure = np.zeros((24, 25))
    >>> sure[23, 24] = 1.0
    >>> stages = Stages(np.ones(3), np.zeros(3), 1.0, 0.0, sure, ChanceRecord(0, 0, 0))
    >>> free = Prospects(*(np.array([x]) for x in (0.0, 1000.0, 0.0, 1000.0, 1.0)))
    >>> round(total_sales(stages, free).mean_cents, 1)  # s0 is 47/48 there
    979.2
    """
    profit, whole = prospects.profit_cents, prospects.upgrade_profit_cents
    falls = price_falls(prospects.price_years) * prospects.factor[:, None]
    more = price_falls(prospects.upgrade_years) * prospects.factor[:, None]
    each = falls * profit[:, None] + more * (whole - profit)[:, None]
    talked, talked_2 = stages.talked
    sums = START_SHARES[:, None] * each.sum(axis=0)
    squares = START_SHARES[:, None] * (profit**2 @ falls + (whole**2 - profit**2) @ more)
    own_squares = START_SHARES[:, None] ** 2 * (each**2).sum(axis=0)
    weights = stages.weights
    mean = talked * float((weights * sums).sum())
    variance = (
        talked * float((weights * squares).sum())
        + talked_2 * float((weights * (sums**2 - own_squares)).sum())
        - mean**2
    )
    nothing = _chance_of_nothing(stages, falls)
    low, high = (
        _quantile(share, mean, variance, nothing)
        for share in ((1.0 - CHANCE_LEVEL) / 2.0, (1.0 + CHANCE_LEVEL) / 2.0)
    )
    return Total(
        mean, int(low // STEP_CENTS) * STEP_CENTS, -int(-high // STEP_CENTS) * STEP_CENTS, nothing
    )


def _chance_of_nothing(stages: Stages, falls: Floats) -> float:
    """Multiply the chances that each client does not buy, over cells and quantiles of the talk."""
    counts = np.ones(len(falls))
    if len(falls) > EXACT_COUNT:
        # Clients of a like fall at every h are alike in every cell
        middle = np.log(np.maximum(falls[:, len(falls.T) // 2], 1e-12))
        _, at, sizes = np.unique(
            np.round(middle / CLASS_SHARE),
            return_inverse=True,
            return_counts=True,
        )
        counts = sizes.astype(np.float64)
        falls = np.column_stack([np.bincount(at, fall) for fall in falls.T]) / counts[:, None]
    nothing = 0.0
    for talk in _talk_quantiles(stages):
        for start, weights in zip(START_SHARES, stages.weights, strict=True):
            sells = np.minimum(talk * start * falls, 1.0 - 1e-12)
            nothing += float(weights @ np.exp(counts @ np.log1p(-sells)))
    return nothing / len(TALK_QUANTILES)


def _talk_quantiles(stages: Stages) -> Floats:
    """Even quantiles of the beta with the moments of reached × agreed."""
    mean, second = stages.talked
    variance = second - mean**2
    if variance <= 0:
        return np.full(len(TALK_QUANTILES), mean)
    weight = mean * (1.0 - mean) / variance - 1.0
    quantiles: Floats = betaincinv(mean * weight, (1.0 - mean) * weight, TALK_QUANTILES)
    return quantiles


def _quantile(share: float, mean: float, variance: float, nothing: float) -> float:
    """Quantile of: nothing with its chance, else a gamma with what is left of mean and variance."""
    something = 1.0 - nothing
    if share <= nothing or mean <= 0:
        return 0.0
    own_mean = mean / something
    own_variance = (variance + mean**2) / something - own_mean**2
    if own_variance <= 0:
        return own_mean
    shape = own_mean**2 / own_variance
    return float(gammaincinv(shape, (share - nothing) / something)) * own_variance / own_mean
