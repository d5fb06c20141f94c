"""Ramp corners: where sidewalks meet, the curb's turn stays free for their ramps."""

from __future__ import annotations

import numpy as np
import shapely

from scanner.ground.corners import Corners
from scanner.ground.kinds import SIDEWALK, Lots, Parts, pair_boxes
from scanner.plane.grid import EMPTY, ON_FT, ground_parts, meet, minus, unite
from scanner.schema.documents import LocalRules

RAMP_COSINE = 0.5
"""Ramps stand where curbs turn by 60° or more."""


def find_ramps(
    corners: Corners, lots: Lots, parts: Parts, *, rules: LocalRules
) -> tuple[np.ndarray, np.ndarray]:
    """
    Draw the ground along a curb's turn where sidewalks run along both streets.

    Parameters
    ----------
    corners
        Corners of some lots' streets.
    lots, parts
        The lots, and what lies in their windows.
    rules
        ``keep_ramps``, ``frontage_max_ft``, ``bed_depth_ft``.

    Returns
    -------
    shapes, lot
        Polygons [ft] from tangent point to tangent point, and the lot of each.
    """
    nothing = np.zeros(0, object), np.zeros(0, int)
    turns = (corners.one * corners.two).sum(axis=1) <= RAMP_COSINE + 1e-9
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
