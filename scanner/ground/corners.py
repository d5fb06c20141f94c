"""
Street corners: where two straight curbs turn round a lot.

The apex of a corner is where the straight curbs, extended, cross; the return is the bend
between them.
"""

from __future__ import annotations

from typing import NamedTuple, Self

import numpy as np
import shapely

from scanner.ground.curbs import is_window_edge
from scanner.plane.segments import Segs, cut_rings, join

STRAIGHT_CURB_FT = 20.0
"""A curb piece at least this long is straight; a curb return has shorter chords."""

WAVER_FT = 0.3
"""A curb drawn by hand wavers by about this much."""

LONGEST_RETURN_FT = 80.0
"""Two straight curbs farther apart than this meet at no corner."""

ROUND_FT = 0.5
"""A return whose ends lie within this of a circle's is round."""

CORNER_COSINE = 0.65
"""Curbs that turn by less than about 50° or more than 130° make no corner."""


class Corners(NamedTuple):
    """
    Corners that streets turn round lots, the street on the left of both curbs.

    Attributes
    ----------
    lot
        Lot of each.
    apex
        Where the straight curbs cross [ft], n × 2.
    one, two
        Directions of the curbs that come and go, unit vectors.
    begin, end
        Tangent points: where the first straight curb ends and the second begins [ft].
    bend
        The return between them, a line [ft]; None where the curbs meet in a point.
    """

    lot: np.ndarray
    apex: np.ndarray
    one: np.ndarray
    two: np.ndarray
    begin: np.ndarray
    end: np.ndarray
    bend: np.ndarray

    def take(self, keep: np.ndarray) -> Self:
        """
        Keep some corners.

        Parameters
        ----------
        keep
            Which.

        Returns
        -------
        corners
            Those.
        """
        return type(self)(*(column[keep] for column in self))


def find_corners(streets: np.ndarray, windows: np.ndarray) -> Corners:
    """
    Find the corners of some lots' streets.

    Parameters
    ----------
    streets
        Street of each lot [ft].
    windows
        Box that each was cut to [ft].

    Returns
    -------
    corners
        Corners that turn round a lot; those of a wavering curb by its course.
    """
    rows = np.arange(len(streets))
    exact = _find(cut_rings(streets, rows), windows)
    # A curb digitised with a wavering hand has no straight piece: there its course counts.
    course = shapely.simplify(streets, WAVER_FT)
    rough = _find(cut_rings(course, rows), windows)
    i, j = join(rough.lot, exact.lot, len(streets))
    near = np.hypot(*(rough.apex[i] - exact.apex[j]).T) < LONGEST_RETURN_FT / 2
    new = np.bincount(i, near, len(rough.lot)) == 0
    both = [np.concatenate(columns) for columns in zip(exact, rough.take(new), strict=True)]
    return Corners(*both).take(np.argsort(both[0], kind="stable"))


def _find(borders: Segs, windows: np.ndarray) -> Corners:
    """Pair each straight curb with the next one round its ring."""
    size = borders.length_ft
    is_cut = is_window_edge(borders.a, borders.b, windows[borders.lot])
    straight = np.flatnonzero((size >= STRAIGHT_CURB_FT) & ~is_cut)
    following = _next_in_ring(borders.ring[straight])
    here, there = straight, straight[following]
    end_ft, cuts = np.cumsum(size), np.cumsum(is_cut)
    ring_ft = np.bincount(borders.ring, size)[borders.ring]
    ring_cuts = np.bincount(borders.ring, is_cut)[borders.ring]
    wraps = there <= here
    between_ft = end_ft[there] - size[there] - end_ft[here] + wraps * ring_ft[here]
    between_cuts = cuts[there] - cuts[here] + wraps * ring_cuts[here]
    one = (borders.b - borders.a)[here] / size[here, None]
    two = (borders.b - borders.a)[there] / size[there, None]
    turn = one[:, 0] * two[:, 1] - one[:, 1] * two[:, 0]
    # The street is on the left: a curb that turns right turns round the lot.
    keep = (between_ft <= LONGEST_RETURN_FT) & (between_cuts == 0) & (turn < 0)
    keep &= np.abs((one * two).sum(axis=1)) <= CORNER_COSINE
    here, there, one, two, turn = here[keep], there[keep], one[keep], two[keep], turn[keep]
    begin, end = borders.b[here], borders.a[there]
    gap = end - begin
    share = (gap[:, 0] * two[:, 1] - gap[:, 1] * two[:, 0]) / turn
    apex = begin + one * share[:, None]
    bends = _bends(borders, here, there)
    begin, end = _tangent_points(Corners(borders.lot[here], apex, one, two, begin, end, bends))
    return Corners(borders.lot[here], apex, one, two, begin, end, bends)


def _tangent_points(corners: Corners) -> tuple[np.ndarray, np.ndarray]:
    """
    Find where straight curbs touch a round return.

    The first chords of an arc lie so near to the tangent that no grid tells them apart; how
    far the arc stays off the apex tells exactly: T = d tan(φ/2) / (1/cos(φ/2) − 1).
    """
    turn = np.arccos(np.clip((corners.one * corners.two).sum(axis=1), -1.0, 1.0))
    off_ft = shapely.distance(shapely.points(corners.apex), corners.bend)
    tangent_ft = off_ft * np.tan(turn / 2) / (1 / np.cos(turn / 2) - 1)
    begin, end = corners.begin.copy(), corners.end.copy()
    for points, ends in (
        (begin, corners.apex - corners.one * tangent_ft[:, None]),
        (end, corners.apex + corners.two * tangent_ft[:, None]),
    ):
        round_ = (
            np.hypot(*(ends - points).T) <= ROUND_FT
        )  # no answer where the curbs meet in a point
        points[round_] = ends[round_]
    return begin, end


def _next_in_ring(ring: np.ndarray) -> np.ndarray:
    """Give the row of the next piece of the same ring, round its seam."""
    following = np.arange(len(ring)) + 1
    last = np.flatnonzero(np.diff(ring, append=-1))
    following[last] = np.concatenate([[0], last[:-1] + 1]) if len(last) else last
    return following


def _bends(borders: Segs, here: np.ndarray, there: np.ndarray) -> np.ndarray:
    """Draw the border between pairs of pieces of a ring."""
    bends = np.full(len(here), None, dtype=object)
    first = np.searchsorted(borders.ring, borders.ring[here])
    last = np.searchsorted(borders.ring, borders.ring[here], side="right")
    for at in range(len(here)):  # few lots stand at a corner
        size = last[at] - first[at]
        steps = (there[at] - here[at]) % size
        rows = first[at] + (here[at] - first[at] + np.arange(steps)) % size
        if steps > 1:
            bends[at] = shapely.linestrings(borders.b[rows])
    return bends
