"""
Whom to call or write to this week, so that what they order fits the free crew-days.

Only this week's wave is an order; later ones are a preview, made anew from the log next Monday.
What is unknown is the same for all clients: how well people are reached, and how price moves them. A spring
is one state of both; two hundred are equally likely, and within one clients are independent.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import gammaincc

from scanner.calls.chance import START_SHARES, Floats, Stages, price_falls
from scanner.calls.totals import TALK_SLICES, Prospects, agreed_chances

SPRING_COUNT = 200

LEAST_WEIGHT = 1e-6
"""Cells of the grid that weigh less are passed over."""

FINEST_DAYS, MOST_STEPS = 0.05, 240
"""Crew-days are added on a lattice no finer than this, of no more points than that."""

LATTICE_DAYS = 20.0
"""Above so many free days sums go by mean and variance instead."""


def list_springs(stages: Stages, prospects: Prospects) -> tuple[Floats, Floats]:
    """Give each client's chance of lead and upgrade in each spring.

    Chances, `SPRING_COUNT` × n; a row's springs are sorted, the worst first.

    The chance to be reached and agree is cut into 15 equal slices, each by its mean, and so is the
    chance that a letter is answered, largest with largest; slices × cells are sorted by the sales
    to expect of all and cut into 200 parts of equal weight.
    """
    firsts = prospects.first_stages(stages)
    is_talked = ~(firsts[0].rows | firsts[1].rows)
    chances = agreed_chances(prospects.chosen(is_talked))
    falls = [
        np.minimum(price_falls(years) * prospects.factor[:, None], 1.0)
        for years in (prospects.price_years, prospects.upgrade_years)
    ]
    cells = np.where(stages.weights > LEAST_WEIGHT, stages.weights, 0.0)
    weights = np.broadcast_to(cells / cells.sum() / TALK_SLICES, (TALK_SLICES, *cells.shape))
    starts, hope = START_SHARES[:, None], chances[0].sum(axis=0)
    for first in firsts:
        hope = hope + first.slices()[:, None, None] * starts * falls[0][first.rows].sum(axis=0)
    parts = _cut(weights.ravel(), np.argsort(hope.ravel(), kind="stable"))
    parts = parts.reshape(SPRING_COUNT, *weights.shape)
    of_first = [np.einsum("ptsh,t,s->ph", parts, x.slices(), START_SHARES) for x in firsts]
    of_agreed = parts.sum(axis=1)
    both = []
    for fall, chance in zip(falls, chances, strict=True):
        spring = np.empty((SPRING_COUNT, len(is_talked)))
        for first, part in zip(firsts, of_first, strict=True):
            spring[:, first.rows] = part @ fall[first.rows].T
        spring[:, is_talked] = np.tensordot(of_agreed, chance, ((1, 2), (1, 2)))
        both.append(spring)
    return both[0], np.minimum(both[1], both[0])


def _cut(weights: Floats, order: npt.NDArray[np.intp]) -> Floats:
    """Cut weighted cells in their order into parts of equal weight: shares of each part, summing to 1."""
    ends = np.concatenate([[0.0], weights[order].cumsum()])
    ends *= 1.0 / ends[-1]
    edges = np.linspace(0.0, 1.0, SPRING_COUNT + 1)
    inside = np.minimum(ends[None, 1:], edges[1:, None]) - np.maximum(
        ends[None, :-1], edges[:-1, None]
    )
    parts = np.zeros((SPRING_COUNT, len(weights)))
    parts[:, order] = np.maximum(inside, 0.0) * SPRING_COUNT
    return parts


@dataclass
class Work:
    """Crew-days asked of a span of weeks, spring by spring."""

    free_days: float  # free crew-days of the span
    # probability of each point of the lattice, the last one all that is too much: springs ×
    # points
    state: Floats
    mean: Floats  # of the sum in each spring [days, days²]; what counts above `LATTICE_DAYS`
    variance: Floats

    @classmethod
    def empty(cls, free_days: float, spring_count: int = SPRING_COUNT) -> Work:
        """Begin a span without work."""
        steps = int(np.clip(np.ceil(free_days / FINEST_DAYS), 1, MOST_STEPS))
        state = np.zeros((spring_count, steps + 2))
        state[:, 0] = 1.0
        return cls(free_days, state, np.zeros(spring_count), np.zeros(spring_count))

    def added(self, jobs: list[tuple[float, Floats]]) -> Work:
        """Add a client who takes one of some jobs, or none: crew-days, and their chances in each spring."""
        jobs = [job for job in jobs if job[1].any()]  # most clients want no upgrade
        some = sum((chance for _, chance in jobs), np.zeros(len(self.mean)))
        state = self.state * (1.0 - some)[:, None]
        for days, chance in jobs:
            state += self._moved(days) * chance[:, None]
        mean = sum((days * chance for days, chance in jobs), np.zeros(len(self.mean)))
        square = sum((days**2 * chance for days, chance in jobs), np.zeros(len(self.mean)))
        return Work(self.free_days, state, self.mean + mean, self.variance + square - mean**2)

    def _moved(self, days: float) -> Floats:
        """Move all sums up by some days; between two points in proportion."""
        points = self.state.shape[1] - 1
        if self.free_days <= 0:
            at = float(points) if days > 0 else 0.0
        else:
            at = days / (self.free_days / (points - 1))
        # A job of just the free days fits; rounding must not push it over
        at = round(at, 9)
        whole, part = int(at), at - int(at)
        moved = np.zeros_like(self.state)
        for step, share in ((whole, 1.0 - part), (whole + 1, part)):
            if share:
                cut = min(step, points)
                moved[:, cut:] += share * self.state[:, : points + 1 - cut]
                moved[:, -1] += share * self.state[:, points + 1 - cut :].sum(axis=1)
        return moved

    @property
    def too_much_chance(self) -> float:
        """Chance that the work is more than the free days, over all springs."""
        if self.free_days <= LATTICE_DAYS:
            return float(self.state[:, -1].mean())
        with np.errstate(divide="ignore", invalid="ignore"):
            over = gammaincc(
                self.mean**2 / self.variance, self.free_days * self.mean / self.variance
            )
        sure = (self.mean > self.free_days).astype(float)
        return float(np.where(self.variance > 0, over, sure).mean())


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
