"""
Actual over estimate: the geometric mean of the jobs, with its interval.

The geometric mean, so that twice as much and half as much cancel out; Student's t on the
logarithms, because a ratio cannot fall below nothing.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import betaincinv, stdtrit

from scanner.calls.chance import CHANCE_LEVEL


@dataclass(frozen=True)
class Ratio:
    """
    Actual over estimate.

    Attributes
    ----------
    mean
        Geometric mean; NaN: no job tells.
    low, high
        Ends of its interval; NaN: one job alone.
    job_count
        Jobs that it rests on.
    """

    mean: float
    low: float
    high: float
    job_count: int

    @property
    def excludes_one(self) -> bool:
        """Tell whether the estimate is off for sure."""
        return bool(self.low > 1.0 or self.high < 1.0)


def ratio_of(actual: np.ndarray, estimated: np.ndarray, *, level: float = CHANCE_LEVEL) -> Ratio:
    """
    Compare actuals with estimates.

    The mean exp(m), the ends exp(m ± t s / √n), with m and s mean and standard deviation of the
    n logarithms and t Student's with n − 1 degrees of freedom.

    Examples
    --------
    >>> ratio = ratio_of(np.array([2.0, 0.5]), np.array([1.0, 1.0]))
    >>> round(ratio.mean, 6), ratio.job_count
    (1.0, 2)
    """
    with np.errstate(invalid="ignore"):
        is_told = (actual > 0) & (estimated > 0) & np.isfinite(actual) & np.isfinite(estimated)
    logs = np.log(actual[is_told] / estimated[is_told])
    if not len(logs):
        return Ratio(np.nan, np.nan, np.nan, 0)
    middle = float(logs.mean())
    if len(logs) == 1:
        return Ratio(float(np.exp(middle)), np.nan, np.nan, 1)
    spread = float(logs.std(ddof=1)) / np.sqrt(len(logs))
    reach = float(stdtrit(len(logs) - 1, (1.0 + level) / 2.0)) * spread
    ends = np.exp([middle - reach, middle, middle + reach])
    return Ratio(float(ends[1]), float(ends[0]), float(ends[2]), len(logs))


def jeffreys_interval(
    success_count: float, trial_count: float, *, level: float = CHANCE_LEVEL
) -> tuple[float, float]:
    """
    Give the interval of a plain yes-or-no share with the prior of half a yes, half a no.

    Parameters
    ----------
    success_count
        How many were a yes [count].
    trial_count
        How many there were [count].
    level
        Share of the probability inside, 0 to 1.

    Returns
    -------
    low, high
        Equal-tailed interval; its low end is 0 when there was no yes and its high end
        1 when there was no no [1]_.

    Raises
    ------
    ValueError
        If the successes are fewer than none or more than the trials.

    References
    ----------
    .. [1] Brown, Cai, DasGupta, Statistical Science 16(2), 2001, 101-133.

    Examples
    --------
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
