"""
Actual over estimate: sum over sum, because a rate is right when it gives the year's total; large jobs weigh more.

How sure that is (the interval of the mean) is one thing, how far a job may be off (the spread)
another.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import betaincinv, stdtrit

from scanner.calls.chance import CHANCE_LEVEL


@dataclass(frozen=True)
class Ratio:
    """Actual over estimate."""

    mean: float  # sum over sum; NaN: no job tells
    # ends of the interval of the mean; NaN: one job alone
    low: float
    high: float
    # between these lie eight of ten jobs; NaN: one job alone
    job_low: float
    job_high: float
    job_count: int  # jobs that it rests on

    @property
    def excludes_one(self) -> bool:
        """Tell whether the estimate is off for sure."""
        return bool(self.low > 1.0 or self.high < 1.0)


def ratio_of(actual: np.ndarray, estimated: np.ndarray, *, level: float = CHANCE_LEVEL) -> Ratio:
    """Compare actuals with estimates.

    R = Σa / Σe, the interval of the mean R ± t √(Σ(a − R e)² / (n − 1) / n) / ē, the variance of a ratio of
    sums (Cochran, Sampling Techniques, 3rd ed., 1977, chapter 6, from memory); the spread R exp(± t s), s the
    standard deviation of the logarithms of a / e. t is Student's with n − 1 degrees of freedom.

    >>> ratio = ratio_of(np.array([2.0, 4.0]), np.array([1.0, 3.0]))
    >>> ratio.mean, ratio.job_count
    (1.5, 2)
    """
    with np.errstate(invalid="ignore"):
        is_told = (actual > 0) & (estimated > 0) & np.isfinite(actual) & np.isfinite(estimated)
    actual, estimated = actual[is_told], estimated[is_told]
    count = len(actual)
    if not count:
        return Ratio(np.nan, np.nan, np.nan, np.nan, np.nan, 0)
    mean = float(actual.sum() / estimated.sum())
    if count == 1:
        return Ratio(mean, np.nan, np.nan, np.nan, np.nan, 1)
    student = float(stdtrit(count - 1, (1.0 + level) / 2.0))
    rests = actual - mean * estimated
    error = float(np.sqrt((rests**2).sum() / (count - 1) / count) / estimated.mean())
    spread = float(np.exp(student * np.log(actual / estimated).std(ddof=1)))
    low, high = max(mean - student * error, 0.0), mean + student * error
    return Ratio(mean, low, high, mean / spread, mean * spread, count)


def jeffreys_interval(
    success_count: float, trial_count: float, *, level: float = CHANCE_LEVEL
) -> tuple[float, float]:
    """Give the interval of a plain yes-or-no share with the prior of half a yes, half a no.

    Equal-tailed interval; its low end is 0 when there was no yes and its high end 1 when there was
    no no [1]_. ``success_count``: how many were a yes [count]. ``trial_count``: how many there were
    [count]. `ValueError`: if the successes are fewer than none or more than the trials.

    .. [1] Brown, Cai, DasGupta, Statistical Science 16(2), 2001, 101-133.

    >>> [round(end, 6) for end in jeffreys_interval(3, 20, level=0.95)]
    [0.044131, 0.348578]
    >>> jeffreys_interval(0, 0)
    (0.0, 1.0)
    """
    if not 0 <= success_count <= trial_count:
        message = f"{success_count} of {trial_count} cannot be: allowed is 0 to {trial_count}"
        raise ValueError(message)
    yes, no = success_count + 0.5, trial_count - success_count + 0.5
    low, high = betaincinv(yes, no, [(1.0 - level) / 2.0, (1.0 + level) / 2.0])
    return (
        0.0 if success_count == 0 else float(low),
        1.0 if success_count == trial_count else float(high),
    )
