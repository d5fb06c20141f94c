"""Sides of drives where they come to the street: where flares and sight triangles begin."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import pandas as pd
import shapely

from scanner.ground.kinds import Parts
from scanner.plane.grid import ground_parts, unite
from scanner.plane.segments import Segs, cut_rings, neighbors
from scanner.plane.vectors import dot, norm

STRAIGHT_SIDE_FT = 0.05
"""A drive's side that bends by less than this is straight."""

LEAST_FT = 1e-9
"""No length is divided by less."""


class Sides(NamedTuple):
    """Sides of drives at the street."""

    lot: np.ndarray  # lot that sees each
    apex: np.ndarray  # where the drive's mouth ends on the curb, flare and all [ft], n × 2
    leg: np.ndarray  # the point of the curb a leg farther from the drive [ft], n × 2
    # up, side_ft: direction of the side's last straight piece up the drive, and its length
    up: np.ndarray
    side_ft: np.ndarray

    @property
    def course(self) -> np.ndarray:
        """Give the direction of the curb away from the drive: unit vectors, n × 2."""
        step = self.leg - self.apex
        return step / np.maximum(norm(step), LEAST_FT)[:, None]

    def square_up(self, leg_ft: float) -> np.ndarray:
        """
        Give the direction up the drive.

        That of a side which is straight for a leg, else square (the last piece of a flare points
        into the drive).
        """
        course = self.course
        square = np.column_stack([-course[:, 1], course[:, 0]])
        square *= np.where(dot(square, self.up) < 0, -1.0, 1.0)[:, None]
        return np.where((self.side_ft >= leg_ft)[:, None], self.up, square)


def find_sides(drives: Parts, streets: np.ndarray, *, gap_ft: float, leg_ft: float) -> Sides:
    """
    Find the sides of drives at the street, two for each mouth; drives that touch are one.

    `gap_ft`: how far from the street a drive may end; `leg_ft`: how far along the curb from the
    drive `Sides.leg` lies.
    """
    drives = drives.take(shapely.dwithin(drives.shape, streets[drives.lot], gap_ft))
    shapes, lot = ground_parts(unite(drives.shape, drives.lot, len(streets)))
    rings = shapely.get_exterior_ring(shapes)
    whole = shapely.simplify(rings, STRAIGHT_SIDE_FT, preserve_topology=False)
    segs = cut_rings(shapely.polygons(whole), lot)
    is_near = shapely.dwithin(shapely.points(segs.a), streets[segs.lot], gap_ft)
    mouth = _number_mouths(is_near, segs.ring)
    corner, rows, forward, owner = _side_rows(segs, is_near, mouth)
    way = np.where(forward[:, None], segs.b[rows] - segs.a[rows], segs.a[rows] - segs.b[rows])
    side_ft = segs.length_ft[rows]
    up = way / side_ft[:, None]
    # A ring runs with its ground on the left: the outside is on the right.
    away = np.column_stack([up[:, 1], -up[:, 0]]) * np.where(forward, 1.0, -1.0)[:, None]
    curb = _nearest_curb(streets[segs.lot[rows]], corner)
    at_ft = shapely.line_locate_point(curb, shapely.points(corner))
    step = _on_ring(curb, at_ft + leg_ft) - _on_ring(curb, at_ft - leg_ft)
    sign = np.where(dot(step, away) >= 0, 1.0, -1.0)
    feet = pd.DataFrame({"mouth": mouth[is_near], "foot": shapely.points(segs.a[is_near])})
    apex_ft = at_ft + _outermost_ft(curb, at_ft, owner, feet, sign)
    apex, leg = _on_ring(curb, apex_ft), _on_ring(curb, apex_ft + sign * leg_ft)
    return Sides(segs.lot[rows], apex, leg, up, side_ft)


def _side_rows(
    segs: Segs, is_near: np.ndarray, mouth: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Pick the pieces that leave the street and come to it: corner, row, direction, mouth of each."""
    _, following = neighbors(segs.ring)
    comes_near = is_near[following]
    leaves, comes = np.flatnonzero(is_near & ~comes_near), np.flatnonzero(~is_near & comes_near)
    return (
        np.concatenate([segs.a[leaves], segs.b[comes]]),
        np.concatenate([leaves, comes]),
        np.repeat([True, False], [len(leaves), len(comes)]),
        np.concatenate([mouth[leaves], mouth[following[comes]]]),
    )


def _number_mouths(is_near: np.ndarray, ring: np.ndarray) -> np.ndarray:
    """Number the runs of corners at the street round each ring."""
    before, _ = neighbors(ring)
    first = before > np.arange(len(ring))
    opens = is_near & (~is_near[before] | first)
    mouth = np.cumsum(opens)
    # A run that goes on over the ring's seam is one.
    for at in np.flatnonzero(opens & first & is_near[before]):
        mouth[mouth == mouth[at]] = mouth[before[at]]
    return mouth


def _nearest_curb(streets: np.ndarray, corner: np.ndarray) -> np.ndarray:
    """Take the ring of each street that lies nearest to a corner."""
    rings, owner = shapely.get_parts(shapely.boundary(streets), return_index=True)
    curb = np.full(len(streets), shapely.LineString(), dtype=object)
    several = np.flatnonzero(np.bincount(owner, minlength=len(streets)) > 1)
    curb[owner] = rings
    apart_ft = shapely.distance(rings, shapely.points(corner[owner]))
    order = np.lexsort((apart_ft, owner))
    order = order[np.isin(owner[order], several)]
    order = order[np.diff(owner[order], prepend=-1) != 0]
    curb[owner[order]] = rings[order]
    return curb


def _on_ring(rings: np.ndarray, at_ft: np.ndarray) -> np.ndarray:
    return shapely.get_coordinates(
        shapely.line_interpolate_point(rings, at_ft % np.maximum(shapely.length(rings), LEAST_FT))
    )


def _outermost_ft(
    rings: np.ndarray, at_ft: np.ndarray, mouth: np.ndarray, feet: pd.DataFrame, sign: np.ndarray
) -> np.ndarray:
    """Find how far beyond its corner each drive's mouth reaches along the curb, flare included."""
    pairs = pd.DataFrame({"mouth": mouth, "side": np.arange(len(mouth))}).merge(feet, on="mouth")
    side = pairs["side"].to_numpy()
    foot_ft = shapely.line_locate_point(rings[side], pairs["foot"].to_numpy())
    half_ft = np.maximum(shapely.length(rings[side]) / 2, LEAST_FT)
    beyond_ft = (foot_ft - at_ft[side] + half_ft) % (2 * half_ft) - half_ft
    most = np.zeros(len(at_ft))
    np.maximum.at(most, side, beyond_ft * sign[side])
    return most * sign
