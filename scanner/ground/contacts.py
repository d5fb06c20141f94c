"""
How pieces of ground lie on the lawn's border: the labels of their own borders.

A stretch without any label runs through the lawn; one on an open lot line has `RIM` alone.
"""

from __future__ import annotations

import numpy as np
import shapely

from scanner.plane.labels import chains, label
from scanner.plane.segments import Segs, cut_rings

RIM = 1 << 30
"""Label of what lies on the lawn's border."""


def contacts_of(shapes: np.ndarray, lot: np.ndarray, border: Segs, count: int) -> Segs:
    """
    Label the borders of pieces with what they lie on.

    Parameters
    ----------
    shapes
        Polygons [ft], n rows.
    lot
        Lot of each.
    border
        The lawns' labelled border [ft].
    count
        Number of lots.

    Returns
    -------
    touching
        Stretches of the pieces' borders; those on the lawn's border have `RIM` and its bits.
    """
    return label(cut_rings(shapes, lot), border._replace(bits=border.bits | RIM), count)


def length_ft(touching: Segs, bits: int, count: int) -> np.ndarray:
    """
    Measure how far each piece's border lies on something.

    Parameters
    ----------
    touching
        As `contacts_of` gives it.
    bits
        What, any of it.
    count
        Number of pieces.

    Returns
    -------
    length_ft
        Lengths [ft], `count`.
    """
    on = (touching.bits & bits) > 0
    return np.bincount(touching.of[on], touching.length_ft[on], count)


def own_edges(touching: Segs, bits: int, count: int) -> np.ndarray:
    """
    Draw the edge that each piece lies along.

    Parameters
    ----------
    touching
        As `contacts_of` gives it.
    bits
        Bits of the edge.
    count
        Number of pieces.

    Returns
    -------
    edges
        Lines or multi-lines [ft], `count`, lawn on the left.
    """
    found = chains(touching._replace(lot=touching.of), bits)
    edges = np.full(count, shapely.LineString(), dtype=object)
    lines = found.lines()
    rows, first, many = np.unique(found.lot, return_index=True, return_counts=True)
    edges[rows] = lines[first]
    several = np.isin(found.lot, rows[many > 1])
    if several.any():
        rows, at = np.unique(found.lot[several], return_inverse=True)
        edges[rows] = shapely.multilinestrings(lines[several], indices=at)
    return edges
