"""
Bands: the lawn within a bed's depth of each edge, kinds taking ground in order.

A band is what touches its edge of *L* ∩ buffer(edge, *d*), flat at free ends and round at
outside corners. A whole band takes ground, pieces that make no bed included; what is left
for a later kind must again touch its edge.
"""

from __future__ import annotations

import numpy as np
import shapely

from scanner.ground.contacts import contacts_of, length_ft
from scanner.ground.kinds import Parts
from scanner.plane.grid import LEAST_EDGE_FT, STEP_FT, ground_parts, meet, minus, unite
from scanner.plane.labels import Chains
from scanner.plane.segments import Segs, join, runs
from scanner.plane.spikes import despike

LEAST_FT2 = 0.5
"""A smaller scrap of a band is rounding, no piece."""

END_FT = 1.6
"""An end piece shorter than this, as a closed gap leaves, does not tell which way its edge runs."""

QUARTER_CHORDS = 32
"""Chords in a quarter circle: the area of a round corner is right to 0.04 %."""


def draw_bands(
    ground: np.ndarray, taken: Parts, found: Chains, border: Segs, *, bit: int, depth_ft: float
) -> Parts:
    """
    Draw the bands of one kind.

    Parameters
    ----------
    ground
        Turf [ft], one a lot.
    taken
        Ground that this kind may not have.
    found
        Its edges, run on under other hardscape [ft].
    border
        The lawns' labelled border [ft].
    bit
        The kind's bit of its edge.
    depth_ft
        Depth of the bands.

    Returns
    -------
    bands
        Single pieces [ft] that touch their edge, lots in order.
    """
    lot, at = np.unique(found.lot, return_inverse=True)
    if not len(lot):
        return taken.take(np.zeros(0, int))
    lines = shapely.multilinestrings(_square_ends(found).lines(), indices=at)
    wide = shapely.buffer(lines, depth_ft, cap_style="flat", quad_segs=QUARTER_CHORDS)
    pieces, row = ground_parts(take_from(meet(ground[lot], wide), lot, taken), LEAST_FT2)
    pieces = despike(pieces)
    bands = Parts(pieces, np.zeros(len(pieces), np.int32), lot[row])
    touching = contacts_of(pieces, bands.lot, border, len(ground))
    return bands.take(length_ft(touching, bit, len(pieces)) >= LEAST_EDGE_FT)


def _square_ends(found: Chains) -> Chains:
    """Drop points near the ends of chains: a short end piece that rounding turned tilts its cap."""
    step_ft = np.hypot(*np.diff(found.xy, axis=0, prepend=found.xy[:1]).T)
    first, last = runs(found.chain)
    step_ft[first] = 0.0
    along_ft = np.cumsum(step_ft)
    own, place = found.chain, np.arange(len(found.xy))
    drop = np.zeros(len(found.xy), bool)
    for end, far_ft, back in (
        (first, along_ft - along_ft[first][own], False),
        (last, along_ft[last][own] - along_ft, True),
    ):
        near = (far_ft < END_FT) & (place != first[own]) & (place != last[own])
        many = np.bincount(own, near, len(end)).astype(int)
        beyond = np.clip(end - many - 1 if back else end + many + 1, first, last)
        line, away = (found.xy[beyond] - found.xy[end])[own], found.xy - found.xy[end][own]
        off_ft = np.abs(line[:, 0] * away[:, 1] - line[:, 1] * away[:, 0])
        drop |= near & (off_ft <= 1.25 * STEP_FT * np.hypot(*line.T))
    keep = ~drop
    return found._replace(xy=found.xy[keep], chain=own[keep])


def take_from(shapes: np.ndarray, lot: np.ndarray, taken: Parts) -> np.ndarray:
    """
    Take ground out of shapes of the same lot where the two meet.

    Parameters
    ----------
    shapes
        Polygons [ft], n rows.
    lot
        Lot of each.
    taken
        Ground to take out.

    Returns
    -------
    shapes
        What is left [ft], n rows.
    """
    count = int(max(lot.max(initial=0), taken.lot.max(initial=0))) + 1
    i, j = join(lot, taken.lot, count)
    box, other = shapely.bounds(shapes).reshape(-1, 4), shapely.bounds(taken.shape).reshape(-1, 4)
    near = (box[i, :2] <= other[j, 2:]).all(1) & (box[i, 2:] >= other[j, :2]).all(1)
    i, j = i[near], j[near]
    meets = shapely.intersects(shapes[i], taken.shape[j])
    i, j = i[meets], j[meets]
    left = shapes.copy()
    rows = np.unique(i)
    left[rows] = minus(left[rows], unite(taken.shape[j], i, len(shapes))[rows])
    return left
