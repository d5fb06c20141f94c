"""
Offsets of shapes, made where digits are many and checked for what they must contain.

GEOS's buffer may answer a tiny inward offset of a sound shape far from the origin with
nothing at all, and says so nowhere. Shapes are therefore moved to the origin first, and
a closing that lost ground is made again another way.
"""

from __future__ import annotations

import numpy as np
import shapely

from scanner.ground.plane.shapes import ARC_STEPS, ground_of, mend

LOST_FT2 = 0.01
"""A closing that loses more ground than this cut off a horn: it can only gain."""

LOST_SHARE = 0.02
"""A closing that loses more than this share of a shape has failed."""


def offset_ground(
    shapes: np.ndarray, distance_ft: float, *, join: str = "mitre", mitre_limit: float = 5.0
) -> np.ndarray:
    """
    Offset shapes outward, or inward where the distance is negative.

    Parameters
    ----------
    shapes
        Polygons [ft], n rows.
    distance_ft
        How far.
    join
        ``"mitre"`` or ``"round"``.
    mitre_limit
        Longest mitre, in distances.

    Returns
    -------
    shapes
        Polygons [ft], n rows.

    Examples
    --------
    >>> float(shapely.area(offset_ground(np.array([shapely.box(0, 0, 10, 10)]), -1.0))[0])
    64.0
    """
    origin = np.nan_to_num(np.round(shapely.bounds(shapes)[:, :2]))
    near = _move(shapes, -origin)
    options = {"mitre_limit": mitre_limit, "quad_segs": ARC_STEPS}
    offset = shapely.buffer(near, distance_ft, join_style=join, **options)
    offset = ground_of(_move(offset, origin))
    # A mitre over a step of a hair may cross itself.
    broken = ~shapely.is_valid(offset)
    offset[broken] = shapely.buffer(shapes[broken], distance_ft, join_style="round", **options)
    return mend(offset)


def close_ground(shapes: np.ndarray, radius_ft: float, *, mitre_limit: float = 5.0) -> np.ndarray:
    """
    Close shapes: fill what is narrower than twice the radius, square corners kept.

    Parameters
    ----------
    shapes
        Polygons [ft], n rows.
    radius_ft
        Half the width that is filled.
    mitre_limit
        Longest mitre of the outward offset, in radii.

    Returns
    -------
    closed
        Polygons that contain `shapes`, n rows; a shape that cannot be closed stays as it is.

    Examples
    --------
    >>> parts = shapely.union(shapely.box(0, 0, 9, 9), shapely.box(10, 0, 20, 9))
    >>> float(shapely.area(close_ground(np.array([parts]), 0.75))[0])
    180.0
    """
    wide = offset_ground(shapes, radius_ft, mitre_limit=mitre_limit)
    closed = offset_ground(wide, -radius_ft)
    # A mitre cut off at a narrow horn loses a little: what was there is put back. A closing
    # that lost much has failed, and round joins must do.
    lost = shapely.area(closed) < (1 - LOST_SHARE) * shapely.area(shapes)
    closed[lost] = offset_ground(wide[lost], -radius_ft, join="round")
    short = shapely.area(closed) < shapely.area(shapes) - LOST_FT2
    closed[short] = ground_of(shapely.union(closed[short], shapes[short]))
    return closed


def _move(shapes: np.ndarray, by: np.ndarray) -> np.ndarray:
    points, row = shapely.get_coordinates(shapes, return_index=True)
    return shapely.set_coordinates(shapes.copy(), points + by[row])
