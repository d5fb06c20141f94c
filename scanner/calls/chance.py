"""
How likely a call ends in a sale, and how many sales a number of calls brings.

One client-season is one trial that ends as not reached, reached only, visited only or
sold. The four shares follow one Dirichlet: the rate book's prior counts plus the
company's own log. Each share, and each stage on the way, is then a beta distribution.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import betaincinv, betaln

from scanner.errors import RateError
from scanner.schema.documents import RateBook

CHANCE_LEVEL = 0.8
"""Share of the probability that every interval of a chance or a total holds: 80 %."""


@dataclass(frozen=True)
class CallCounts:
    """
    Client-seasons on record, by how they ended; a fraction counts in part.

    Attributes
    ----------
    not_reached_count
        Nobody was spoken to.
    reached_only_count
        Spoken to, not visited: not now, no and do not call among them.
    visited_only_count
        Visited or quoted, not sold.
    sold_count
        Sold.
    """

    not_reached_count: float = 0.0
    reached_only_count: float = 0.0
    visited_only_count: float = 0.0
    sold_count: float = 0.0

    @property
    def total_count(self) -> float:
        """All client-seasons."""
        return (
            self.not_reached_count + self.reached_only_count
            + self.visited_only_count + self.sold_count
        )  # fmt: skip


@dataclass(frozen=True)
class Share:
    """
    An uncertain share of client-seasons: a beta distribution.

    Attributes
    ----------
    for_count
        Weight of what is counted, prior and record together (alpha).
    against_count
        Weight of the rest (beta).
    """

    for_count: float
    against_count: float

    @property
    def mean(self) -> float:
        """Mean of the share."""
        return self.for_count / (self.for_count + self.against_count)

    def interval(self, *, level: float = CHANCE_LEVEL) -> tuple[float, float]:
        """Give the equal-tailed interval of the share."""
        tail = (1.0 - level) / 2.0
        low, high = betaincinv(self.for_count, self.against_count, [tail, 1.0 - tail])
        return float(low), float(high)


@dataclass(frozen=True)
class Chance:
    """
    The chances of one client-season.

    Attributes
    ----------
    reached, visited, sold
        Share of all client-seasons that come at least so far.
    visited_of_reached, sold_of_visited
        Share of those that came to the stage before.
    calls_count
        Client-seasons on record that the chances rest on, prior counts left out.
    """

    reached: Share
    visited: Share
    sold: Share
    visited_of_reached: Share
    sold_of_visited: Share
    calls_count: float


@dataclass(frozen=True)
class SalesTotal:
    """
    How many of a number of calls end in a sale.

    Attributes
    ----------
    mean_count
        Mean number of sales.
    low_count, high_count
        Equal-tailed range, whole sales.
    """

    mean_count: float
    low_count: int
    high_count: int


NO_CALLS = CallCounts()
"""Nothing on record: the chance rests on the rate book alone."""


def chance_of_sale(rates: RateBook, *, counts: CallCounts = NO_CALLS) -> Chance:
    """
    Work out the chances of a client-season from the prior and the record.

    Notes
    -----
    A sum of Dirichlet shares is a beta, and so is one such sum as a share of a larger.

    Examples
    --------
    >>> from scanner.calls.chance import Share
    >>> round(Share(1.6, 18.4).mean, 3)
    0.08
    """
    not_reached = rates.prior_not_reached_count.value + counts.not_reached_count
    reached_only = rates.prior_reached_only_count.value + counts.reached_only_count
    visited_only = rates.prior_visited_only_count.value + counts.visited_only_count
    sold = rates.prior_sold_count.value + counts.sold_count
    _refuse_zero(
        not_reached=not_reached, reached_only=reached_only, visited_only=visited_only, sold=sold
    )
    return Chance(
        reached=Share(reached_only + visited_only + sold, not_reached),
        visited=Share(visited_only + sold, not_reached + reached_only),
        sold=Share(sold, not_reached + reached_only + visited_only),
        visited_of_reached=Share(visited_only + sold, reached_only),
        sold_of_visited=Share(sold, visited_only),
        calls_count=counts.total_count,
    )


def total_sales(share: Share, calls_count: int, *, level: float = CHANCE_LEVEL) -> SalesTotal:
    """
    Predict the sales among a number of calls that share one uncertain chance.

    Mean and equal-tailed range of the beta-binomial distribution. The clients share one chance
    that nobody knows exactly, so the range is wider than that of independent calls.

    Examples
    --------
    >>> total = total_sales(Share(12.5, 88.5), 100)
    >>> round(total.mean_count, 3), total.low_count, total.high_count
    (12.376, 7, 19)
    >>> total_sales(Share(12.5, 88.5), 0)
    SalesTotal(mean_count=0.0, low_count=0, high_count=0)
    """
    if calls_count < 0:
        message = f"a number of calls cannot be negative: {calls_count}"
        raise ValueError(message)
    if calls_count == 0:
        return SalesTotal(0.0, 0, 0)
    sold = np.arange(calls_count + 1)
    unsold = calls_count - sold
    logs = betaln(sold + share.for_count, unsold + share.against_count) - betaln(
        sold + 1, unsold + 1
    )
    logs -= betaln(share.for_count, share.against_count) + np.log(calls_count + 1)
    tail = (1.0 - level) / 2.0
    low, high = np.searchsorted(np.exp(logs).cumsum(), [tail, 1.0 - tail])
    return SalesTotal(calls_count * share.mean, int(low), int(high))


def jeffreys_interval(
    success_count: float, trial_count: float, *, level: float = CHANCE_LEVEL
) -> tuple[float, float]:
    """
    Give the interval of a plain yes-or-no share with the prior of half a yes, half a no.

    Equal-tailed interval; its low end is 0 when there was no yes and its high end 1 when there
    was no no [1]_.

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
    low, high = Share(success_count + 0.5, trial_count - success_count + 0.5).interval(level=level)
    return (
        0.0 if success_count == 0 else low,
        1.0 if success_count == trial_count else high,
    )


def _refuse_zero(**count_by_outcome: float) -> None:
    for outcome, count in count_by_outcome.items():
        if count <= 0:
            message = (
                f"rates.toml: prior_{outcome}_count is {count:g} and no such call is on record; "
                "it must be above 0, a small number such as 0.5 will do"
            )
            raise RateError(message)
