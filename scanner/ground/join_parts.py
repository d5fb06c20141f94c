"""Parts of one kind that touch are one: a street, a walk, a house drawn in pieces."""

from __future__ import annotations

import numpy as np
import shapely
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from scanner.ground.kinds import LINE, STREET, Parts
from scanner.plane.grid import minus, snap, unite
from scanner.plane.segments import join

SEAM_FT = 0.05
"""Pieces of one thing lie up to this far apart: a seam of the drawing."""


def join_parts(parts: Parts, *, gap_ft: float) -> Parts:
    """
    Join what touches, lot by lot and kind by kind.

    Parameters
    ----------
    parts
        Parts of some lots, sorted.
    gap_ft
        Pieces of streets up to this far apart have one curb: what lies between is street.

    Returns
    -------
    parts
        Parts that do not touch others of their kind, sorted.

    Examples
    --------
    >>> halves = shapely.box([0, 5.04], 0, [5, 9], 3)
    >>> joined = join_parts(Parts(halves, np.array([8, 8]), np.array([0, 0])), gap_ft=1.5)
    >>> shapely.area(joined.shape).tolist()
    [27.0]
    """
    one, two, apart_ft = _close_pairs(parts, gap_ft)
    both_streets = ((parts.bits[one] & STREET) > 0) & ((parts.bits[two] & STREET) > 0)
    same = (parts.bits[one] == parts.bits[two]) & (apart_ft <= SEAM_FT)
    filled = both_streets & ~same & (apart_ft > 0)
    fills = _fill(parts, one[filled], two[filled], gap_ft)
    joined = _join(parts, one[same], two[same])
    return joined.add(*fills)


def _close_pairs(parts: Parts, gap_ft: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Pair parts of a lot that may be one; streets up to a gap apart, others up to a seam."""
    count = int(parts.lot.max(initial=-1)) + 1
    one, two = join(parts.lot, parts.lot, count)
    street = (parts.bits & STREET) > 0
    alike = (parts.bits[one] == parts.bits[two]) | (street[one] & street[two])
    lines = (parts.bits & LINE) > 0
    keep = (one < two) & alike & (lines[one] == lines[two])
    one, two = one[keep], two[keep]
    box = shapely.bounds(parts.shape)
    reach_ft = np.where(street[one] & ~lines[one], gap_ft, SEAM_FT)[:, None]
    close = (box[one, :2] <= box[two, 2:] + reach_ft) & (box[two, :2] <= box[one, 2:] + reach_ft)
    one, two, reach_ft = (
        one[close.all(axis=1)],
        two[close.all(axis=1)],
        reach_ft[close.all(axis=1), 0],
    )
    apart_ft = shapely.distance(parts.shape[one], parts.shape[two])
    close = apart_ft <= reach_ft
    return one[close], two[close], apart_ft[close]


def _fill(
    parts: Parts, one: np.ndarray, two: np.ndarray, gap_ft: float
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Give the ground between pieces of streets that nearly touch: shapes, bits, lots."""
    both = shapely.union(parts.shape[one], parts.shape[two])
    between = minus(_close(both, gap_ft / 2 + SEAM_FT / 100), both)
    # Overlapped by a hair, so that no slit stays between a street and what was filled.
    wide = snap(shapely.buffer(between, SEAM_FT / 10, join_style="mitre"))
    real = shapely.area(between) > SEAM_FT
    return wide[real], parts.bits[one][real], parts.lot[one][real]


def _join(parts: Parts, one: np.ndarray, two: np.ndarray) -> Parts:
    """Unite groups of pieces that touch."""
    count = len(parts.lot)
    links = coo_array((np.ones(len(one)), (one, two)), shape=(count, count))
    group = connected_components(links, directed=False)[1]
    size = np.bincount(group)
    several = np.flatnonzero(size[group] > 1)
    if not len(several):
        return parts
    _, first, at = np.unique(group[several], return_index=True, return_inverse=True)
    leads = several[first]
    lines = (parts.bits[leads] & LINE) > 0
    whole = np.full(len(leads), None, object)
    is_line = lines[at]
    drawn, rows = parts.shape[several][is_line], at[is_line]
    order = np.argsort(rows, kind="stable")
    merged, names = np.unique(rows[order], return_inverse=True)
    if len(merged):
        together = shapely.geometrycollections(drawn[order], indices=names)
        whole[merged] = snap(shapely.line_merge(shapely.union_all(together[:, None], axis=1)))
    areas = np.flatnonzero(~lines)
    united = unite(parts.shape[several][~is_line], np.searchsorted(areas, at[~is_line]), len(areas))
    whole[areas] = snap(close_seams(united))
    shape = parts.shape.copy()
    shape[leads] = whole
    return parts._replace(shape=shape).take(
        np.setdiff1d(np.arange(count), np.setdiff1d(several, leads))
    )


def close_seams(shapes: np.ndarray) -> np.ndarray:
    """
    Close the seams in shapes that were drawn in pieces.

    Parameters
    ----------
    shapes
        Polygons [ft].

    Returns
    -------
    shapes
        The same without slits up to `SEAM_FT` wide.
    """
    return _close(shapes, SEAM_FT / 2)


def _close(shapes: np.ndarray, radius_ft: float) -> np.ndarray:
    wide = shapely.buffer(shapes, radius_ft, join_style="mitre")
    return shapely.buffer(wide, -radius_ft, join_style="mitre")
