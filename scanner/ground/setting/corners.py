"""
Street corners: where two straight curbs turn round a lot, and the ramps that stand there.

The apex of a corner is where the straight curbs, extended, cross; the return is the bend
between them. Where sidewalks meet, it stays free for their ramps.
"""

from __future__ import annotations

from typing import NamedTuple, Self

import numpy as np
import shapely

from scanner.ground.kinds import SIDEWALK, Lots, Parts, pair_boxes
from scanner.ground.seams import is_window_edge
from scanner.plane.grid import EMPTY, ON_FT, ground_parts, meet, minus, unite
from scanner.plane.segments import Segs, cut_rings, join, neighbors
from scanner.plane.vectors import cross, dot, norm
from scanner.schema.documents import LocalRules

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
    """Corners that streets turn round lots, the street on the left of both curbs."""

    lot: np.ndarray  # lot of each
    apex: np.ndarray  # where the straight curbs cross [ft], n × 2
    # one, two: directions of the curbs that come and go, unit vectors
    one: np.ndarray
    two: np.ndarray
    # begin, end: tangent points: where the first straight curb ends and the second begins [ft]
    begin: np.ndarray
    end: np.ndarray
    bend: np.ndarray  # the return between them, a line [ft]; None where the curbs meet in a point

    def take(self, keep: np.ndarray) -> Self:
        """Keep some corners."""
        return type(self)(*(column[keep] for column in self))


def find_corners(streets: np.ndarray, windows: np.ndarray) -> Corners:
    """
    Find the corners of some lots' streets that turn round a lot, of a wavering curb by its course.

    `windows`: box that each street was cut to [ft].
    """
    rows = np.arange(len(streets))
    exact = _find(cut_rings(streets, rows), windows)
    # A curb digitised with a wavering hand has no straight piece: there its course counts.
    course = shapely.simplify(streets, WAVER_FT)
    rough = _find(cut_rings(course, rows), windows)
    i, j = join(rough.lot, exact.lot)
    near = norm(rough.apex[i] - exact.apex[j]) < LONGEST_RETURN_FT / 2
    new = np.bincount(i, near, len(rough.lot)) == 0
    both = [np.concatenate(columns) for columns in zip(exact, rough.take(new), strict=True)]
    return Corners(*both).take(np.argsort(both[0], kind="stable"))


def _find(borders: Segs, windows: np.ndarray) -> Corners:
    """Pair each straight curb with the next one round its ring."""
    size = borders.length_ft
    is_cut = is_window_edge(borders.a, borders.b, windows[borders.lot])
    straight = np.flatnonzero((size >= STRAIGHT_CURB_FT) & ~is_cut)
    _, following = neighbors(borders.ring[straight])
    here, there = straight, straight[following]
    end_ft, cuts = np.cumsum(size), np.cumsum(is_cut)
    ring_ft = np.bincount(borders.ring, size)[borders.ring]
    ring_cuts = np.bincount(borders.ring, is_cut)[borders.ring]
    wraps = there <= here
    between_ft = end_ft[there] - size[there] - end_ft[here] + wraps * ring_ft[here]
    between_cuts = cuts[there] - cuts[here] + wraps * ring_cuts[here]
    one = (borders.b - borders.a)[here] / size[here, None]
    two = (borders.b - borders.a)[there] / size[there, None]
    turn = cross(one, two)
    # The street is on the left: a curb that turns right turns round the lot.
    keep = (between_ft <= LONGEST_RETURN_FT) & (between_cuts == 0) & (turn < 0)
    keep &= np.abs(dot(one, two)) <= CORNER_COSINE
    here, there, one, two, turn = here[keep], there[keep], one[keep], two[keep], turn[keep]
    begin, end = borders.b[here], borders.a[there]
    gap = end - begin
    share = cross(gap, two) / turn
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
    turn = np.arccos(np.clip(dot(corners.one, corners.two), -1.0, 1.0))
    off_ft = shapely.distance(shapely.points(corners.apex), corners.bend)
    tangent_ft = off_ft * np.tan(turn / 2) / (1 / np.cos(turn / 2) - 1)
    begin, end = corners.begin.copy(), corners.end.copy()
    for points, ends in (
        (begin, corners.apex - corners.one * tangent_ft[:, None]),
        (end, corners.apex + corners.two * tangent_ft[:, None]),
    ):
        round_ = norm(ends - points) <= ROUND_FT  # no answer where the curbs meet in a point
        points[round_] = ends[round_]
    return begin, end


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


RAMP_COSINE = 0.5
"""Ramps stand where curbs turn by 60° or more."""


def find_ramps(
    corners: Corners, lots: Lots, parts: Parts, *, rules: LocalRules
) -> tuple[np.ndarray, np.ndarray]:
    """
    Draw the ground along a curb's turn where sidewalks run along both streets.

    Polygons [ft] from tangent point to tangent point, and the lot of each.
    """
    nothing = np.zeros(0, object), np.zeros(0, int)
    turns = dot(corners.one, corners.two) <= RAMP_COSINE + 1e-9
    bent = np.array([bend is not None for bend in corners.bend], bool)
    corners = corners.take(turns & bent)
    if rules.keep_ramps == "no" or not len(corners.lot):
        return nothing
    walks = parts.of(SIDEWALK)
    known = _has_walk(corners, corners.begin, -corners.one, corners.one, walks, rules)
    known &= _has_walk(corners, corners.end, corners.two, corners.two, walks, rules)
    corners = corners.take(known)
    sectors = _sectors(corners)
    i, j = pair_boxes(sectors, corners.lot, walks, 0.0)
    bare = minus(sectors, unite(walks.shape[j], i, len(sectors)))
    pieces, row = ground_parts(bare)
    at_curb = shapely.dwithin(pieces, corners.bend[row], ON_FT)
    pieces, row = pieces[at_curb], row[at_curb]
    # On the lot itself ramps take no more than a bed would: a house near the corner keeps its own.
    own = meet(pieces, lots.outline[corners.lot[row]])
    deep = shapely.buffer(corners.bend[row], rules.bed_depth_ft, cap_style="flat")
    return minus(pieces, minus(own, deep)), corners.lot[row]


def _has_walk(
    corners: Corners,
    start: np.ndarray,
    away: np.ndarray,
    along: np.ndarray,
    walks: Parts,
    rules: LocalRules,
) -> np.ndarray:
    """Tell where a sidewalk runs along a curb: 5 and 15 ft beyond its turn, on the lot's side."""
    has_walk = np.ones(len(start), bool)
    inward = np.column_stack([along[:, 1], -along[:, 0]])  # the street is on the left
    for beyond_ft in (5.0, 15.0):
        foot = start + away * beyond_ft
        ends = np.stack([foot, foot + inward * rules.frontage_max_ft], axis=1)
        lines = shapely.linestrings(ends)
        i, j = pair_boxes(lines, corners.lot, walks, 0.0)
        crosses = shapely.intersects(lines[i], walks.shape[j])
        has_walk &= np.bincount(i, crosses, len(start)) > 0
    return has_walk


def _sectors(corners: Corners) -> np.ndarray:
    """Draw the ground between each turn and where the normals at its two ends meet."""
    normal = np.column_stack([corners.one[:, 1], -corners.one[:, 0]])
    # From the end of the first straight curb inward, until square off the second one's begin.
    share = ((corners.end - corners.begin) * corners.two).sum(axis=1) / (normal * corners.two).sum(
        axis=1
    )
    middle = corners.begin + normal * share[:, None]
    sectors = np.full(len(corners.lot), EMPTY, dtype=object)
    for at, bend in enumerate(corners.bend):  # few
        points = shapely.get_coordinates(bend)
        inner = ((points - corners.begin[at]) @ corners.one[at] > 0) & (
            (points - corners.end[at]) @ corners.two[at] < 0
        )
        ring = [corners.begin[[at]], points[inner], corners.end[[at]], middle[[at]]]
        sectors[at] = shapely.polygons(np.concatenate(ring))
    return shapely.buffer(sectors, 0.0)
