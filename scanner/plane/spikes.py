"""
Spikes: corners at which a ring turns back on itself.

Layers that touch leave slits and spikes a grid step wide behind. The one pass here takes
the place of all cleaning of slivers; most shapes have none and come back as they are.
"""

from __future__ import annotations

import numpy as np
import shapely

from scanner.plane.grid import EMPTY, LEAST_EDGE_FT, ON_FT, STEP_FT, mend, unite
from scanner.plane.segments import neighbors, runs
from scanner.plane.vectors import cross, dot, norm

CORNERS = 3
"""A ring with fewer corners holds no ground."""


def despike(shapes: np.ndarray) -> np.ndarray:
    """
    Drop the corners at which rings [ft] turn back on themselves: slits and spikes.

    >>> spiked = shapely.from_wkt(["POLYGON ((0 0, 9 0, 9 5, 30 5, 9 5.001, 9 9, 0 9, 0 0))"])
    >>> shapely.area(despike(spiked)).tolist()
    [81.0]
    """
    parts, of = shapely.get_parts(shapes, return_index=True)
    rings, part = shapely.get_rings(parts, return_index=True)
    xy, ring = shapely.get_coordinates(rings, return_index=True)
    is_open = ring[1:] == ring[:-1]  # without the point that closes
    xy, ring = xy[:-1][is_open], ring[:-1][is_open]
    row = of[part[ring]]
    stays = _corners(xy, ring)
    touched = np.zeros(len(shapes), bool)
    touched[row[~stays]] = True
    if not touched.any():
        return shapes
    keep = stays & touched[row]
    keep &= (np.bincount(ring[keep], minlength=len(rings)) >= CORNERS)[ring]
    cleaned, whole = build_polygons(xy[keep], ring[keep], part)
    cleaned = mend(cleaned)
    out = shapes.copy()
    out[touched] = EMPTY
    rows, at = np.unique(of[whole], return_inverse=True)
    if len(rows):
        out[rows] = unite(cleaned, at, len(rows))
    return out


def _corners(xy: np.ndarray, ring: np.ndarray) -> np.ndarray:
    """Tell which points are corners; a spike's foot may become one, so rings are gone over again."""
    stays = np.ones(len(ring), bool)
    work = np.arange(len(ring))
    count = int(ring.max(initial=-1)) + 1
    while len(work):
        p, r = xy[work], ring[work]
        before, after = neighbors(r)
        came, goes = p - p[before], p[after] - p
        size_in, size_out = norm(came), norm(goes)
        double = size_in < 1.5 * STEP_FT
        off = np.abs(cross(came, goes))
        turns = dot(came, goes) < 0
        turns &= off <= ON_FT * np.maximum(size_in, size_out)
        # Doubled corners first: a turn beside one says nothing, and both ends of it must not go.
        has_double = np.bincount(r, double, count) > 0
        bad = np.where(has_double[r], double, turns)
        # Both ends of a side shorter than the tolerance look like spikes: at a corner one of them
        # stays, on a straight side neither.
        chord = p[after] - p[before[before]]
        aside = p - p[before[before]]
        off = np.abs(cross(chord, aside))
        is_second = bad[before] & ~bad[before[before]] & (off <= LEAST_EDGE_FT * norm(chord))
        one = np.flatnonzero(bad & bad[after] & ~bad[before] & ~is_second[after])
        _set_corners(xy, work, one, before, after)
        first = np.bincount(r, ~bad, count)[r] == 0
        bad &= ~bad[before] | is_second | (first & (before > np.arange(len(r))))
        stays[work[bad]] = False
        work = work[(np.bincount(r, bad, count) > 0)[r] & ~bad]
    return stays


def _set_corners(
    xy: np.ndarray, work: np.ndarray, one: np.ndarray, before: np.ndarray, after: np.ndarray
) -> None:
    """Move the second end of short sides to where the sides beyond meet: the corner as drawn."""
    two, p = after[one], xy[work]
    came, goes = p[one] - p[before[one]], p[after[two]] - p[two]
    gap = p[two] - p[before[one]]
    turn = cross(came, goes)
    share = cross(gap, goes) / np.where(turn == 0, np.nan, turn)
    corner = p[before[one]] + came * share[:, None]
    near = norm(corner - p[one]) <= 2 * ON_FT
    xy[work[two[near]]] = np.round(corner[near] / STEP_FT) * STEP_FT


def build_polygons(
    xy: np.ndarray, ring: np.ndarray, part: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Build polygons of rings, shells before their holes: one a part that has points, and its part."""
    names, key = np.unique(ring, return_inverse=True)
    lines = shapely.linearrings(xy, indices=key) if len(xy) else np.zeros(0, object)
    whole, home = np.unique(part[names], return_inverse=True)
    first, last = runs(home)
    cleaned = shapely.polygons(lines[first])
    for at in np.flatnonzero(last > first):  # lawns round a house: few
        cleaned[at] = shapely.polygons(lines[first[at]], lines[first[at] + 1 : last[at] + 1])
    return cleaned, whole
