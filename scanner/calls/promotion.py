"""
Whom to call or write to this week, so that what they order fits the free crew-days.

Only this week's wave is an order; later ones are a preview, made anew from the log next Monday.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from scanner.calls.chance import Floats
from scanner.calls.springs import Work


@dataclass(frozen=True)
class Span:
    """Weeks that some work has to be done in."""

    # weeks from this one on; work counts that cannot start before `first` and is promised by
    # `last`
    first: int
    last: int
    free_days: float  # free crew-days of these weeks


@dataclass(frozen=True)
class Orders:
    """What clients may order, one a place."""

    lead: Floats  # chance of each in each spring, springs × n; the lead's includes the upgrade's
    upgrade: Floats
    lead_days: Floats  # crew-days of each
    upgrade_days: Floats
    ready: Floats  # share of each client's sales by the week in which the work may start: n × weeks


def list_spans(free_days: Floats, promise_weeks: int) -> list[Span]:
    """List the spans of weeks that work can be too much for.

    Those that hold work; of spans with equal free days only the one with the most work.
    """
    promised = promised_by(free_days, promise_weeks)
    spans = list[Span]()
    for last in sorted(set(promised.tolist())):
        for first in range(last + 1):
            if not (promised[first : last + 1] <= last).any():
                continue
            spans.append(Span(first, last, float(free_days[first : last + 1].sum())))
    kept = list[Span]()
    for span in spans:
        holds = [
            other for other in spans
            if other != span and other.free_days == span.free_days
            and other.first <= span.first and other.last >= span.last
        ]  # fmt: skip
        if not holds:
            kept.append(span)
    return kept


def promised_by(free_days: Floats, promise_weeks: int) -> npt.NDArray[np.int64]:
    """Tell by which week a job is promised that may start in each week.

    At the latest by the last week: the first week with free days from then on, and `promise_weeks`.

    >>> promised_by(np.array([0.0, 3, 3, 3, 3, 3]), 2).tolist()
    [3, 3, 4, 5, 5, 5]
    """
    last = len(free_days) - 1
    some = np.flatnonzero(free_days > 0)
    weeks = [
        min(last, int(some[some >= week][0]) + promise_weeks) if (some >= week).any() else last
        for week in range(last + 1)
    ]
    return np.array(weeks)


class Promises:
    """Work promised in each span, as clients are added."""

    def __init__(
        self, spans: list[Span], promised: npt.NDArray[np.int64], *, overbook_chance: float
    ) -> None:
        self.spans, self.promised, self.overbook_chance = spans, promised, overbook_chance
        self.work = [Work.empty(span.free_days) for span in spans]

    def add_sold(self, days: float, week: int) -> None:
        """Add a job that is sold, with the week in which it may start."""
        for place, span in enumerate(self.spans):
            if span.first <= week < len(self.promised) and self.promised[week] <= span.last:
                sure = np.ones(len(self.work[place].mean))
                self.work[place] = self.work[place].added([(days, sure)])

    def add(self, orders: Orders, client: int) -> None:
        """Add what stands before any choice: a quote, a visit, a client tried before."""
        for place, work in self._with(orders, client):
            self.work[place] = work

    def choose(self, orders: Orders, clients: Iterable[int]) -> list[int]:
        """Take clients in their order until one does not fit a span that he falls into: adding only adds work."""
        chosen = list[int]()
        for client in clients:
            more = list(self._with(orders, client))
            if any(work.too_much_chance > self.overbook_chance for _, work in more):
                break
            for place, work in more:
                self.work[place] = work
            chosen.append(client)
        return chosen

    def _with(self, orders: Orders, client: int) -> Iterable[tuple[int, Work]]:
        """Give each span that a client falls into, with him in it."""
        lead, upgrade = orders.lead[:, client], orders.upgrade[:, client]
        for place, span in enumerate(self.spans):
            weeks = np.arange(len(self.promised))
            is_in = (weeks >= span.first) & (self.promised <= span.last)
            share = float(orders.ready[client, is_in].sum())
            if share > 0.0:
                jobs = [
                    (float(orders.lead_days[client]), (lead - upgrade) * share),
                    (float(orders.upgrade_days[client]), upgrade * share),
                ]
                yield place, self.work[place].added(jobs)
