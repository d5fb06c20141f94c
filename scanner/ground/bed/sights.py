"""
Sight triangles: ground at corners and drives where only low plants are right.

At a corner the apex is where the straight curb lines, extended, cross; at a drive it is
where the drive's side, flare and all, meets the curb.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
import pandas as pd
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

STRAIGHT_SIDE_FT = 0.05
"""A drive's side that bends by less than this is straight."""

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
    leg_ft = rules.setbacks.drive_triangle_ft
    sides, feet = _drive_sides(sites, rules.gap_ft)
    chains, owner = parts_of(_curbs(sites)[sides.row], "line")
    nearest = _nearest_part(chains, owner, shapely.points(sides.corner))
    sides, chain = sides.only(nearest >= 0), chains[nearest[nearest >= 0]]
    ahead = _runs_away(chain, sides, leg_ft)
    apex_ft = _outermost_ft(chain, sides, feet, ahead)
    reach_ft = np.clip(apex_ft + np.where(ahead, leg_ft, -leg_ft), 0.0, shapely.length(chain))
    apex, leg = (
        shapely.get_coordinates(shapely.line_interpolate_point(chain, at_ft))
        for at_ft in (apex_ft, reach_ft)
    )
    up = _up(apex, leg, sides, leg_ft)
    shapes = shapely.polygons(np.stack([apex, leg, apex + up * leg_ft], axis=1))
    return union_rows(shapes, sides.row, len(sites))


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


@dataclass(frozen=True)
class _Sides:
    """Sides of drives where they come to the curb, n of them."""

    corner: np.ndarray  # coordinates [ft], n x 2
    along: np.ndarray  # unit vectors up the side
    away: np.ndarray  # unit vectors out of the drive
    side_ft: np.ndarray  # length of the side's last straight piece
    mouth: np.ndarray  # number of the drive's mouth
    row: np.ndarray  # site

    def only(self, chosen: np.ndarray) -> _Sides:
        return _Sides(*(getattr(self, part.name)[chosen] for part in fields(self)))


def _drive_sides(sites: Sites, gap_ft: float) -> tuple[_Sides, pd.DataFrame]:
    """Find the sides of drives at the curb, and the corners in each drive's mouth."""
    drives, rows = parts_of(sites.drive)
    rings = shapely.simplify(shapely.get_exterior_ring(drives), STRAIGHT_SIDE_FT)
    rings = np.where(shapely.is_ccw(rings), rings, shapely.reverse(rings))
    starts, ends, at = split_segments(rings)
    street = sites.street[rows[at]]
    start_near = shapely.dwithin(shapely.points(starts), street, gap_ft)
    end_near = shapely.dwithin(shapely.points(ends), street, gap_ft)
    leaves, comes = start_near & ~end_near, ~start_near & end_near
    mouth, following = _number_mouths(start_near, at)
    side_ft = np.hypot(*(ends - starts).T)
    along = (ends - starts) / np.maximum(side_ft, TOUCH_FT)[:, None]
    # A ring runs with its ground on the left: the outside is on the right.
    away = np.column_stack([along[:, 1], -along[:, 0]])
    both = np.concatenate([np.flatnonzero(leaves), np.flatnonzero(comes)])
    sign = np.concatenate([np.ones(leaves.sum()), -np.ones(comes.sum())])[:, None]
    sides = _Sides(
        corner=np.concatenate([starts[leaves], ends[comes]]),
        along=along[both] * sign,
        away=away[both],
        side_ft=side_ft[both],
        mouth=np.concatenate([mouth[leaves], mouth[following[comes]]]),
        row=rows[at[both]],
    )
    feet = pd.DataFrame({"mouth": mouth[start_near], "foot": shapely.points(starts[start_near])})
    return sides, feet


def _number_mouths(is_near: np.ndarray, ring: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Number the runs of corners at the curb round each ring; gives numbers and the next corner."""
    number = np.arange(len(ring))
    first = np.searchsorted(ring, ring)
    last = np.searchsorted(ring, ring, side="right") - 1
    before = np.where(number == first, last, number - 1)
    following = np.where(number == last, first, number + 1)
    opens = is_near & (~is_near[before] | (number == first))
    mouth = np.cumsum(opens)
    # A run that goes on over the ring's seam is one.
    joined = opens & (number == first) & is_near[before]
    seam = {int(mouth[at]): int(mouth[last[at]]) for at in np.flatnonzero(joined)}
    return np.array([seam.get(int(one), int(one)) for one in mouth], dtype=int), following


def _runs_away(chains: np.ndarray, sides: _Sides, leg_ft: float) -> np.ndarray:
    """Tell whether each curb runs out of the drive in its own direction."""
    at_ft = shapely.line_locate_point(chains, shapely.points(sides.corner))
    steps = [
        shapely.get_coordinates(
            shapely.line_interpolate_point(
                chains, np.clip(at_ft + step_ft, 0.0, shapely.length(chains))
            )
        )
        for step_ft in (-leg_ft, leg_ft)
    ]
    return np.asarray(np.einsum("ij,ij->i", steps[1] - steps[0], sides.away) >= 0)


def _outermost_ft(
    chains: np.ndarray, sides: _Sides, feet: pd.DataFrame, ahead: np.ndarray
) -> np.ndarray:
    """Find how far along each curb its drive's mouth reaches, flare included."""
    pairs = pd.DataFrame({"mouth": sides.mouth, "side": np.arange(len(sides.mouth))}).merge(
        feet, on="mouth"
    )
    side = pairs["side"].to_numpy()
    at_ft = shapely.line_locate_point(chains[side], pairs["foot"].to_numpy())
    sign = np.where(ahead, 1.0, -1.0)
    return pd.Series(at_ft * sign[side]).groupby(side).max().to_numpy() * sign


def _up(apex: np.ndarray, leg: np.ndarray, sides: _Sides, leg_ft: float) -> np.ndarray:
    """Give the direction of the leg up the drive; that of a flare tells nothing."""
    course = leg - apex
    course = course / np.maximum(np.hypot(*course.T), TOUCH_FT)[:, None]
    square = np.column_stack([-course[:, 1], course[:, 0]])
    square *= np.where(np.einsum("ij,ij->i", square, sides.along) < 0, -1.0, 1.0)[:, None]
    return np.where((sides.side_ft >= leg_ft)[:, None], sides.along, square)


def _nearest_part(parts: np.ndarray, owner: np.ndarray, points: np.ndarray) -> np.ndarray:
    """Find each point's nearest part among those of its own row; -1 where it has none."""
    nearest = np.full(len(points), -1)
    distance_ft = shapely.distance(parts, points[owner])
    order = np.lexsort((distance_ft, owner))
    rows, first = np.unique(owner[order], return_index=True)
    nearest[rows] = order[first]
    return nearest
