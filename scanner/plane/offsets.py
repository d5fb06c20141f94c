"""
Opening and closing: offsets out and in, on which the geometry library is checked.

GEOS's buffer may answer a tiny inward offset of a sound shape with nothing at all, and says
so nowhere: a closing can only gain, so one that lost ground gets it back.
"""

from __future__ import annotations

import numpy as np
import shapely

from scanner.plane.grid import GROWTH_FT, LEAST_FT, meet, only_ground
from scanner.plane.segments import cut_rings, join, neighbors
from scanner.plane.vectors import cross, dot

SLACK_FT = 0.05
"""An opening is this much narrower than the width asked for, so that 4 ft drawn as 3.99 stay."""

MITRE_LIMIT = 2.0
"""Longest mitre of an opening, in radii: square corners stay, needles go."""

CONVEX_SINE, SHARP_COSINE, MOST_CORNERS = -2e-3, -0.49, 24
"""A plain shape turns left at each corner, by under 120 degrees, and has few of them."""

PLENTY = 1.5
"""A shape is wide where it is so many times as deep as the opening is wide."""

QUARTER_CHORDS = 8
"""Chords of a quarter circle where ground is eroded: right to 1 % of the radius."""


def open_ground(shapes: np.ndarray, width_ft: float) -> np.ndarray:
    """
    Open shapes [ft]: what a disc of a little less than `width_ft` sweeps inside each.

    Eroded with round joins, dilated with mitred ones and clipped to the shape, so that thin tails
    go and square corners stay.

    >>> strip = shapely.box(0, 0, 40, 4)
    >>> float(round(shapely.area(open_ground(np.array([strip]), 2.0))[0], 6))
    160.0
    >>> open_ground(np.array([strip]), 5.0)[0].is_empty
    True
    """
    return meet(swept_ground(shapes, width_ft), shapes)


def swept_ground(shapes: np.ndarray, width_ft: float) -> np.ndarray:
    """
    Give what `open_ground` clips to the shapes [ft]: their opening and a rim of `GROWTH_FT` round it.

    >>> strip = shapely.box(0, 0, 40, 4)
    >>> np.round(swept_ground(np.array([strip]), 2.0)[0].bounds, 6).tolist()
    [-0.012, -0.012, 40.012, 4.012]
    """
    radius_ft = (width_ft - SLACK_FT) / 2
    cores = shapely.buffer(shapes, -radius_ft, quad_segs=QUARTER_CHORDS)
    return shapely.buffer(cores, radius_ft + GROWTH_FT, join_style="mitre", mitre_limit=MITRE_LIMIT)


def close_ground(shapes: np.ndarray, radius_ft: float) -> np.ndarray:
    """
    Close shapes [ft]: fill what is narrower than twice the radius, square corners kept.

    >>> parts = shapely.union(shapely.box(0, 0, 9, 9), shapely.box(10, 0, 20, 9))
    >>> float(shapely.area(close_ground(np.array([parts]), 0.75))[0])
    180.0
    """
    wide = shapely.buffer(shapes, radius_ft, join_style="mitre")
    closed = only_ground(shapely.buffer(wide, -radius_ft, join_style="mitre"))
    # A mitre cut off at a narrow horn loses a little: what was there is put back.
    short = shapely.area(closed) < shapely.area(shapes) - LEAST_FT
    closed[short] = only_ground(shapely.union(closed[short], shapes[short]))
    return closed


def may_be_narrow(shapes: np.ndarray, width_ft: float) -> np.ndarray:
    """
    Tell which single polygons [ft] an opening of that width may change, without working it out.

    False only where a shape is convex, has no corner under 60 degrees and is nowhere narrower than
    `PLENTY` widths: its opening is itself.

    >>> may_be_narrow(shapely.box(0, 0, 40, [4, 2.5]), 2.0).tolist()
    [False, True]
    """
    count = len(shapes)
    segs = cut_rings(shapes, np.arange(count))
    _, after = neighbors(segs.ring)
    step = (segs.b - segs.a) / segs.length_ft[:, None]
    following = step[after]
    sine = cross(step, following)
    odd = (sine < CONVEX_SINE) | (dot(step, following) < SHARP_COSINE)
    doubtful = np.bincount(segs.of, odd, count) > 0
    doubtful |= np.bincount(segs.of, minlength=count) > MOST_CORNERS
    plain = ~doubtful[segs.of]
    sides, step = segs.take(plain), step[plain]
    i, j = join(sides.of, sides.of)
    off = sides.a[j] - sides.a[i]
    deep_ft = np.zeros(len(sides.of))
    np.maximum.at(deep_ft, i, off[:, 1] * step[i, 0] - off[:, 0] * step[i, 1])
    doubtful[sides.of[deep_ft < PLENTY * width_ft]] = True
    return doubtful
