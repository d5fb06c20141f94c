"""What width does to shapes: opening, dropping seams, smoothing rings."""

from __future__ import annotations

import numpy as np
import shapely

from scanner.ground.plane.offsets import close_ground, offset_ground
from scanner.ground.plane.shapes import ground_of

SLIVER_FT = 0.05
"""Ground narrower than this is a seam between layers, not turf."""

HAIR_FT = 0.0005
"""What is freed of seams grows back by this much more, so that its border is not cut anew."""

GLUE_FT = 0.002
"""Shapes that should touch are joined over slits of up to twice this."""

GROWTH_FT = 0.012
"""What is opened grows back by this much more before it is clipped to its shape."""

STRAIGHT_FT = 0.0003
"""A vertex nearer than this to the line between its neighbours is no corner."""


def smooth_rings(shapes: np.ndarray) -> np.ndarray:
    """
    Drop vertices that are no corners, so that densifying a ring changes nothing.

    Parameters
    ----------
    shapes
        Geometry array [ft].

    Returns
    -------
    shapes
        The same ground with fewer vertices, right to `STRAIGHT_FT`.
    """
    # A normalised ring starts at an extreme vertex, which is a corner for certain; the
    # simplifier never drops the first vertex.
    return shapely.simplify(shapely.normalize(shapely.remove_repeated_points(shapes)), STRAIGHT_FT)


def open_ground(shapes: np.ndarray, width_ft: float) -> np.ndarray:
    """
    Open shapes: what a disc of a little less than `width_ft` sweeps inside each.

    Eroded with round joins, dilated with mitred ones and clipped to the shape, so
    that thin tails go and square corners stay.

    Parameters
    ----------
    shapes
        Polygons [ft], n rows.
    width_ft
        Least width that stays [ft].

    Returns
    -------
    opened
        Polygons inside `shapes`, n rows.

    Examples
    --------
    >>> strip = shapely.box(0, 0, 40, 4)
    >>> float(round(shapely.area(open_ground(np.array([strip]), 2.0))[0], 6))
    160.0
    >>> open_ground(np.array([strip]), 5.0)[0].is_empty
    True
    """
    radius_ft = (width_ft - 0.05) / 2
    cores = offset_ground(shapes, -radius_ft, join="round")
    # A buffer takes the liberty of a hundredth of its radius: grown by that and clipped, the
    # border that stays is the shape's own.
    swept = offset_ground(cores, radius_ft + GROWTH_FT, mitre_limit=2.0)
    return ground_of(shapely.intersection(swept, shapes))


def drop_slivers(shapes: np.ndarray) -> np.ndarray:
    """
    Drop ground narrower than `SLIVER_FT`, the seams that layers leave between them.

    Parameters
    ----------
    shapes
        Polygons [ft], n rows.

    Returns
    -------
    shapes
        The same ground without seams, untouched where there is none.

    Examples
    --------
    >>> lawn = shapely.union(shapely.box(0, 0, 9, 9), shapely.box(9, 0, 30, 0.01))
    >>> float(round(shapely.area(drop_slivers(np.array([lawn])))[0], 3))
    81.0
    """
    cores = offset_ground(shapes, -SLIVER_FT / 2)
    # What is cut away is narrow: a core that lost more than that has failed.
    most_ft2 = SLIVER_FT * shapely.length(shapes)
    lost = shapely.area(cores) < shapely.area(shapes) - most_ft2
    cores[lost] = offset_ground(shapes[lost], -SLIVER_FT / 2, join="round")
    # Grown back by a hair more, so that what stays is not cut anew.
    grown = offset_ground(cores, SLIVER_FT / 2 + HAIR_FT)
    kept = ground_of(shapes)
    freed = ground_of(shapely.intersection(shapes, grown))
    # A spike has no area, but it has a length.
    has_seam = shapely.area(shapely.difference(shapes, grown)) > 0
    has_seam |= shapely.length(freed) < shapely.length(shapes) - SLIVER_FT
    kept[has_seam] = freed[has_seam]
    return kept


def join_seamless(shapes: np.ndarray, others: np.ndarray) -> np.ndarray:
    """
    Unite shapes with others beside them, without a slit where they only touch.

    Parameters
    ----------
    shapes, others
        Polygons [ft], n rows; most of `others` may be empty.

    Returns
    -------
    joined
        Polygons [ft], n rows.

    Examples
    --------
    >>> beds, turf = (np.array([shapely.box(0, y, 50, y + 4)]) for y in (0, 4))
    >>> float(shapely.length(join_seamless(beds, turf))[0])
    116.0
    """
    joined = ground_of(shapely.union(shapes, others))
    grown = ~shapely.is_empty(others)
    # A spike of no width must not grow a long mitre.
    joined[grown] = close_ground(joined[grown], GLUE_FT, mitre_limit=1.5)
    return joined


def close_seams(shapes: np.ndarray) -> np.ndarray:
    """
    Close gaps up to `SLIVER_FT` inside each shape: parts drawn side by side become one.

    Parameters
    ----------
    shapes
        Polygons [ft], n rows.

    Returns
    -------
    closed
        Polygons [ft], n rows.

    Examples
    --------
    >>> house = shapely.union(shapely.box(0, 0, 9, 9), shapely.box(9.01, 0, 20, 9))
    >>> shapely.get_num_geometries(close_seams(np.array([house])))[0].item()
    1
    """
    return close_ground(shapes, SLIVER_FT / 2)
