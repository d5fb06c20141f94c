"""
When sales come: days from a call to the answer, and which week a client is called first.

Days count from the Monday of this week, which begins week 0.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Self

import numpy as np
import numpy.typing as npt

from scanner.calls.chance import Floats, Stages
from scanner.calls.trials import TRIES
from scanner.schema.documents import RateBook
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
