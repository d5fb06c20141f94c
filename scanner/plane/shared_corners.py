"""Corners that shapes share: where one ends on another's side, that side gets the corner too."""

from __future__ import annotations

import numpy as np
import shapely

from scanner.plane.grid import EMPTY, ON_FT, boxes_meet, mend, unite
from scanner.plane.segments import Segs, beside, near
from scanner.plane.spikes import build_polygons


def share_corners(shapes: np.ndarray, lot: np.ndarray, box: np.ndarray) -> np.ndarray:
    """
    Give the sides of shapes [ft] the corners of other shapes of their lot that lie on them, bent by `ON_FT` at most.

    Rounded to the grid, the corner of a drive lies a hair off the wall that it ends at; taken out
    of a lawn one after the other, the two would leave a slit of turf between them. `box`: bounds of
    the ground that matters [ft], one row a lot. Lines stay as they were.

    >>> wall, drive = shapely.box(0, 3, 9, 9), shapely.box(2, 0, 5, 3.001)
    >>> shared = share_corners(np.array([wall, drive]), np.array([0, 0]), np.array([[0, 0, 9, 9]]))
    >>> shapely.get_num_coordinates(shared).tolist(), shapely.touches(*shared).tolist()
    ([7, 5], True)
    """
    parts, of = shapely.get_parts(shapes, return_index=True)
    rings, part = shapely.get_rings(parts, return_index=True)
    xy, ring = shapely.get_coordinates(rings, return_index=True)
    begins = np.flatnonzero(ring[1:] == ring[:-1])
    row = of[part[ring[begins]]]
    sides = Segs(xy[begins], xy[begins + 1], row, lot[row], ring[begins], np.zeros(len(row), int))
    close = boxes_meet(sides.box, box[sides.lot])
    begins, row, sides = begins[close], row[close], sides.take(close)
    at, side = _corners_on(sides)
    if not len(at):
        return shapes
    xy = np.insert(xy, begins[side] + 1, sides.a[at], axis=0)
    ring = np.insert(ring, begins[side] + 1, sides.ring[side])
    bent = np.unique(row[side])
    some = np.isin(of[part[ring]], bent)
    polygons, whole = build_polygons(xy[some], ring[some], part)
    shared = shapes.copy()
    shared[bent] = EMPTY
    rows, key = np.unique(of[whole], return_inverse=True)
    shared[rows] = unite(mend(polygons), key, len(rows))
    return shared


def _corners_on(sides: Segs) -> tuple[np.ndarray, np.ndarray]:
    """Pair sides with the corners of other shapes on them, away from their ends, in order along each."""
    corners = sides._replace(b=sides.a)
    j, i = near(sides, corners, ON_FT)
    i, j = i[sides.of[i] != sides.of[j]], j[sides.of[i] != sides.of[j]]
    along, off, size = beside(corners.take(i), sides.take(j))
    along_ft = along[:, 0]
    on = (np.abs(off[:, 0]) <= ON_FT) & (along_ft > 2 * ON_FT) & (along_ft < size - 2 * ON_FT)
    i, j, along_ft = i[on], j[on], along_ft[on]
    order = np.lexsort((along_ft, j))
    i, j, along_ft = i[order], j[order], along_ft[order]
    # The corner of several shapes is one.
    first = (np.diff(j, prepend=-1) != 0) | (np.diff(along_ft, prepend=-1.0) > ON_FT)
    return i[first], j[first]
