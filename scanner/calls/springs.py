"""
Two hundred equally likely springs, and whether the work that a span of weeks promises fits it.

What is unknown is the same for all clients: how well people are reached, and how price moves
them. A spring is one state of both. Within a spring clients are independent, so crew-days add up
job by job; the answer is the mean over the springs.
"""

from __future__ import annotations

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
        some = sum((chance for _, chance in jobs), np.zeros(len(self.mean)))
        state = self.state * (1.0 - some)[:, None]
        for days, chance in jobs:
            state = state + self._moved(days) * chance[:, None]
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
