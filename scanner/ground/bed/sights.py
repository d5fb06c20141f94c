"""
Sight triangles: ground at corners and drives where only low plants are right.

At a corner the apex is where the straight curb lines, extended, cross; at a drive it is
where the drive's side meets the curb.
"""

from __future__ import annotations

import numpy as np
import shapely

from scanner.ground.lot.sites import Sites
from scanner.ground.plane.shapes import TOUCH_FT, lines_of, parts_of, split_segments, union_rows
from scanner.schema.documents import LocalRules

STRAIGHT_CURB_FT = 20.0
"""A curb piece at least this long is straight; a curb return has shorter chords."""

WAVER_FT = 0.3
"""A curb drawn by hand wavers by about this much."""

LONGEST_RETURN_FT = 80.0
"""Two straight curbs farther apart than this meet at no corner."""

CORNER_COSINE = 0.65
"""Curbs that turn by less than about 50° or more than 130° make no corner."""


def find_corners(sites: Sites, *, rules: LocalRules) -> np.ndarray:
    """
    Find the sight triangles at street corners.

    Parameters
    ----------
    sites
        Sites of one plane.
    rules
        ``setbacks.corner_triangle_ft``.

    Returns
    -------
    triangles
        Polygons [ft], one a site.
    """
    chains, rows = parts_of(_curbs(sites), "line")
    exact, owner = _corner_triangles(sites, chains, rows, rules)
    # A curb digitised with a wavering hand has no straight piece: there its course counts.
    course = shapely.simplify(chains, WAVER_FT)
    rough, rough_owner = _corner_triangles(sites, course, rows, rules)
    known = union_rows(exact, owner, len(sites))
    new = ~shapely.intersects(rough, known[rough_owner])
    triangles = np.concatenate([exact, rough[new]])
    return union_rows(triangles, np.concatenate([owner, rough_owner[new]]), len(sites))


def _corner_triangles(
    sites: Sites, chains: np.ndarray, rows: np.ndarray, rules: LocalRules
) -> tuple[np.ndarray, np.ndarray]:
    """Find the triangles where straight curbs, extended, cross, and the site of each."""
    starts, ends, at = split_segments(_twice_round(chains))
    length_ft = np.hypot(*(ends - starts).T)
    end_ft = np.cumsum(length_ft)
    straight = np.flatnonzero(length_ft >= STRAIGHT_CURB_FT)
    one, two = straight[:-1], straight[1:]
    between_ft = end_ft[two] - length_ft[two] - end_ft[one]
    near = (at[one] == at[two]) & (between_ft <= LONGEST_RETURN_FT)
    one, two = one[near], two[near]
    along_one = (ends - starts)[one] / length_ft[one, None]
    along_two = (ends - starts)[two] / length_ft[two, None]
    cosine = np.einsum("ij,ij->i", along_one, along_two)
    turns = np.abs(cosine) <= CORNER_COSINE
    one, two, along_one, along_two = one[turns], two[turns], along_one[turns], along_two[turns]
    apex = _cross(ends[one], along_one, starts[two], along_two)
    row = rows[at[one]]
    # The street lies at the apex of a corner that a lot stands in, not of the bend opposite.
    is_corner = shapely.dwithin(shapely.points(apex), sites.street[row], 0.1)
    leg_ft = rules.setbacks.corner_triangle_ft
    corners = np.stack([apex, apex - along_one * leg_ft, apex + along_two * leg_ft], axis=1)
    return shapely.polygons(corners[is_corner]), row[is_corner]


def _twice_round(chains: np.ndarray) -> np.ndarray:
    """Run closed curbs round twice, so that their last piece has a next one too."""
    doubled = chains.copy()
    for at in np.flatnonzero(shapely.is_closed(chains)):
        points = shapely.get_coordinates(chains[at])
        doubled[at] = shapely.linestrings(np.concatenate([points, points[1:]]))
    return doubled


def find_drive_sights(sites: Sites, *, rules: LocalRules) -> np.ndarray:
    """
    Find the sight triangles on both sides of each drive.

    Parameters
    ----------
    sites
        Sites of one plane; their drives, next door's too.
    rules
        ``setbacks.drive_triangle_ft``, ``gap_ft``.

    Returns
    -------
    triangles
        Polygons [ft], one a site.
    """
    corner, up, away, row = _drive_corners(sites, rules.gap_ft)
    curbs = _curbs(sites)[row]
    leg_ft = rules.setbacks.drive_triangle_ft
    chains, owner = parts_of(curbs, "line")
    nearest = _nearest_part(chains, owner, shapely.points(corner))
    known = nearest >= 0
    corner, up, away, row = corner[known], up[known], away[known], row[known]
    chain = chains[nearest[known]]
    at_ft = shapely.line_locate_point(chain, shapely.points(corner))
    apex = shapely.get_coordinates(shapely.line_interpolate_point(chain, at_ft))
    legs = []
    for step_ft in (-leg_ft, leg_ft):
        reach_ft = np.clip(at_ft + step_ft, 0.0, shapely.length(chain))
        legs.append(shapely.get_coordinates(shapely.line_interpolate_point(chain, reach_ft)))
    outward = [np.einsum("ij,ij->i", leg - apex, away) for leg in legs]
    leg = np.where((outward[0] > outward[1])[:, None], *legs)
    shapes = shapely.polygons(np.stack([apex, leg, apex + up * leg_ft], axis=1))
    return union_rows(shapes, row, len(sites))


def _curbs(sites: Sites) -> np.ndarray:
    """Give the street borders in the window, its own border left out."""
    inner = shapely.buffer(sites.window, -1.0)
    return lines_of(shapely.intersection(shapely.boundary(sites.street), inner))


def _cross(
    point: np.ndarray, along: np.ndarray, other: np.ndarray, other_along: np.ndarray
) -> np.ndarray:
    """Find where pairs of lines cross."""
    gap = other - point
    turn = along[:, 0] * other_along[:, 1] - along[:, 1] * other_along[:, 0]
    share = (gap[:, 0] * other_along[:, 1] - gap[:, 1] * other_along[:, 0]) / turn
    return point + along * share[:, None]


def _drive_corners(
    sites: Sites, gap_ft: float
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Find where sides of drives come to the street: corner, unit vectors up and away, site."""
    drives, rows = parts_of(sites.drive)
    rings = shapely.get_exterior_ring(drives)
    rings = np.where(shapely.is_ccw(rings), rings, shapely.reverse(rings))
    starts, ends, at = split_segments(rings)
    street = sites.street[rows[at]]
    start_near = shapely.dwithin(shapely.points(starts), street, gap_ft)
    end_near = shapely.dwithin(shapely.points(ends), street, gap_ft)
    leaves, comes = start_near & ~end_near, ~start_near & end_near
    corner = np.concatenate([starts[leaves], ends[comes]])
    along = np.concatenate([(ends - starts)[leaves], (ends - starts)[comes]])
    along = along / np.maximum(np.hypot(*along.T), TOUCH_FT)[:, None]
    # A ring runs with its ground on the left: the outside is on the right.
    away = np.column_stack([along[:, 1], -along[:, 0]])
    sign = np.concatenate([np.ones(leaves.sum()), -np.ones(comes.sum())])[:, None]
    return corner, along * sign, away, rows[np.concatenate([at[leaves], at[comes]])]


def _nearest_part(parts: np.ndarray, owner: np.ndarray, points: np.ndarray) -> np.ndarray:
    """Find each point's nearest part among those of its own row; -1 where it has none."""
    nearest = np.full(len(points), -1)
    distance_ft = shapely.distance(parts, points[owner])
    order = np.lexsort((distance_ft, owner))
    rows, first = np.unique(owner[order], return_index=True)
    nearest[rows] = order[first]
    return nearest
