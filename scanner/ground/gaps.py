"""
Gaps between lawn and hardscape, closed: layers never share vertices.

Ground narrower than ``gap_ft`` between the two joins the lawn, by closing both together with
mitred joins, so that square corners stay square. Only lots are touched where a bare stretch
of the lawn's border looks at something hard a little way off.
"""

from __future__ import annotations

import numpy as np
import shapely

from scanner.ground.kinds import BED, HARD, LINE, OTHER, SHUT, WATER, Lots, Parts
from scanner.ground.neighbors import Neighbors
from scanner.plane.grid import LEAST_EDGE_FT, ON_FT, ground_parts, meet, minus, on_grid, unite
from scanner.plane.labels import chains
from scanner.plane.offsets import close_ground
from scanner.plane.segments import Segs, beside, cut_rings, join, length_on_ft, lies_on, near
from scanner.plane.spikes import despike
from scanner.schema.documents import LocalRules

CLOSES = HARD | BED | WATER
"""What a lawn is closed against; old beds and water end it as hardscape does."""

SIDE_BY_SIDE_FT = 0.5
"""Two borders face each other along at least this much, or half of a shorter piece."""

LEAN = 0.7
"""Borders that lean to each other by more than this, some 35 degrees, do not face each other."""

AROUND_FT = 5.0
"""Hardscape farther off the lawn than this closes no gap."""

LEAST_FT2 = 0.01
"""A smaller crack between pieces of hardscape is a bend's rounding."""


def close_gaps(
    ground: np.ndarray,
    lots: Lots,
    parts: Parts,
    pieces: tuple[Segs, Segs],
    *,
    neighbors: Neighbors,
    rules: LocalRules,
) -> tuple[np.ndarray, np.ndarray]:
    """
    Add the narrow ground between lawn and hardscape to the lawn.

    Parameters
    ----------
    ground
        Turf [ft], one a lot.
    lots, parts
        Lots of a block and what is built on them.
    pieces
        The lawn's labelled border, and the pieces of `parts` near it [ft].
    neighbors
        Other outlines: nothing is closed on their ground.
    rules
        ``gap_ft``.

    Returns
    -------
    ground, at
        Turf with its gaps closed [ft], and the lots where it changed.
    """
    border, layers = pieces
    hard = layers.take((layers.bits & CLOSES) > 0)
    bare = border.take(border.bits == 0)
    count = len(ground)
    reach = np.array([-1.0, -1.0, 1.0, 1.0]) * 2 * rules.gap_ft
    foreign = neighbors.near(shapely.bounds(lots.outline) + reach)
    i, j = _facing(bare, hard, count, rules.gap_ft)
    at = np.unique(bare.lot[i[_is_own(bare.take(i), hard.take(j), lots, foreign, rules.gap_ft)]])
    if not len(at):
        return ground, at
    built = _unite_at(parts.of(CLOSES), at, count)
    x0, y0, x1, y1 = shapely.bounds(ground[at]).T
    window = shapely.box(x0 - AROUND_FT, y0 - AROUND_FT, x1 + AROUND_FT, y1 + AROUND_FT)
    near_hard = meet(built, window)
    shut = close_ground(shapely.union(ground[at], near_hard), rules.gap_ft / 2)
    # A crack between two pieces of hardscape is nobody's turf; a bend's rounding is no crack.
    cracks = minus(close_ground(near_hard, rules.gap_ft / 2), near_hard)
    cracks = unite(*ground_parts(cracks, LEAST_FT2), len(at))
    allowed = _allowed(lots, at, hard, foreign, rules.gap_ft)
    new = meet(shut, allowed)
    others = _unite_at(parts.of(OTHER), at, count)
    for taken in (ground[at], near_hard, cracks, others):
        new = minus(new, taken)
    joining = _joining(on_grid(shapely.set_precision, new), ground[at], near_hard)
    # Overlapped by a hair, so that no slit stays between the two.
    added = shapely.buffer(joining, ON_FT / 3, join_style="mitre")
    added = meet(meet(minus(minus(added, built), others), shut), allowed)
    closed = ground.copy()
    closed[at] = despike(on_grid(shapely.set_precision, shapely.union(ground[at], added)))
    return closed, at


def _facing(bare: Segs, hard: Segs, count: int, gap_ft: float) -> tuple[np.ndarray, np.ndarray]:
    """Pair bare pieces with something hard that they look at within the gap."""
    i, j = near(bare, hard, count, gap_ft)
    along, off, size = beside(bare.take(i), hard.take(j))
    is_line = (hard.bits[j] & LINE) > 0
    # Ground lies on the left of both: borders that face each other run against each other.
    ahead, lead = along[:, 1] - along[:, 0], off[:, 1] - off[:, 0]
    low, high = np.maximum(along.min(axis=1), 0.0), np.minimum(along.max(axis=1), size)
    least_ft = np.minimum(SIDE_BY_SIDE_FT, np.minimum(np.abs(ahead), size) / 2)
    faces = (is_line | ((ahead < 0) & (off.sum(axis=1) < 0))) & (high - low > least_ft)
    far = np.abs(off)
    faces &= (far.max(axis=1) > ON_FT) & (far.min(axis=1) <= gap_ft)
    faces &= np.abs(lead) < LEAN * np.abs(ahead)
    return i[faces], j[faces]


def _is_own(bare: Segs, hard: Segs, lots: Lots, foreign: Parts, gap_ft: float) -> np.ndarray:
    """Tell between which pairs lies ground that the lot may grow on."""
    along, off, size = beside(bare, hard)
    ahead = (hard.b - hard.a) / size[:, None]
    middle_ft = (np.maximum(along.min(axis=1), 0.0) + np.minimum(along.max(axis=1), size)) / 2
    aside = np.column_stack([-ahead[:, 1], ahead[:, 0]]) * off.mean(axis=1)[:, None] / 2
    point = shapely.points(hard.a + ahead * middle_ft[:, None] + aside)
    lot, count = bare.lot, len(lots.outline)
    i, j = join(lot, foreign.lot, count)
    is_foreign = np.zeros(len(lot), bool)
    is_foreign[i[shapely.intersects(foreign.shape[j], point[i])]] = True
    is_near = shapely.dwithin(point, lots.outline[lot], gap_ft) & ~is_foreign
    return is_near | shapely.intersects(point, lots.strip[lot])


def _unite_at(parts: Parts, at: np.ndarray, count: int) -> np.ndarray:
    """Unite the polygons of some lots."""
    pick = np.isin(parts.lot, at) & ((parts.bits & LINE) == 0) & ((parts.bits & SHUT) > 0)
    return unite(parts.shape[pick], parts.lot[pick], count)[at]


def _allowed(lots: Lots, at: np.ndarray, hard: Segs, foreign: Parts, gap_ft: float) -> np.ndarray:
    """Give the ground that lawns may grow on: lot and strip, pushed out square where it faces hardscape."""
    count = len(lots.outline)
    sides = cut_rings(lots.outline[at], at)
    bits = np.zeros(len(sides.of), np.int32)
    bits[_facing(sides, hard, count, gap_ft)[0]] = 1
    fronts = chains(sides._replace(bits=bits), 1)
    # Square at its ends: what lies beyond a slanted lot line is not the lot's.
    pushed = shapely.buffer(fronts.lines(), gap_ft, cap_style="flat", join_style="mitre")
    shapes = np.concatenate([lots.outline[at], lots.strip[at], pushed])
    allowed = unite(shapes, np.concatenate([at, at, fronts.lot]), count)[at]
    i = np.flatnonzero(np.isin(foreign.lot, at))
    return minus(allowed, unite(foreign.shape[i], foreign.lot[i], count)[at])


def _joining(new: np.ndarray, ground: np.ndarray, hard: np.ndarray) -> np.ndarray:
    """Keep the new ground that touches both lawn and hardscape, one row a lot."""
    pieces, row = ground_parts(new)
    segs = cut_rings(pieces, row)
    rows = np.arange(len(new))
    joins = np.ones(len(pieces), bool)
    for other in (ground, hard):
        on = lies_on(segs, cut_rings(other, rows), len(new))
        joins &= length_on_ft(segs, on, len(pieces)) > LEAST_EDGE_FT
    return unite(pieces[joins], row[joins], len(new))
