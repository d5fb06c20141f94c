"""
Edges drawn as lines: each becomes the border of a strip of hard ground behind it.

A drawn line beats a derived edge where both lie within ``gap_ft``: polygons of its kind are
cut back to it on the lawn's side, and behind it lies hard ground as deep as the gap, drawn
or not. Lawn, closing and labels then treat it like any polygon. A fence has turf on both
sides: the strip behind it is a hair, and its bed lies on the side of the house.
"""

from __future__ import annotations

import numpy as np
import shapely

from scanner.ground.kinds import BACK, FENCE, HOUSE, LINE, PITCHED, ROAD, STREET, Lots, Parts
from scanner.plane.grid import LEAST_FT, ON_FT, minus, only_ground, snap, unite
from scanner.schema.documents import LocalRules

FENCE_FT = 2 * ON_FT
"""Depth of the hair behind a fence: less would count as a spike, and both sides as one border."""


def lay_lines(lots: Lots, parts: Parts, *, rules: LocalRules) -> Parts:
    """
    Lay the drawn edges into the ground.

    Gives the parts cut back to the lines, the lines with what lies behind them on their left, and
    the ground behind: `BACK`, of a curb `ROAD` too.
    """
    lines = parts.of(LINE)
    if not len(lines.lot):
        return parts
    line, row = shapely.get_parts(shapely.line_merge(lines.shape), return_index=True)
    line, bits, lot = line[shapely.length(line) > LEAST_FT], lines.bits[row], lines.lot[row]
    rest = parts.take((parts.bits & LINE) == 0)
    left, right = (_flank(line, side * rules.gap_ft) for side in (1.0, -1.0))
    is_left = _lawn_is_left(lots, rest, (line, bits, lot), (left, right))
    near, far = np.where(is_left, left, right), np.where(is_left, right, left)
    line = np.where(is_left, shapely.reverse(line), line)
    is_fence = (bits & FENCE) > 0
    far[is_fence] = _flank(_longer(line[is_fence]), FENCE_FT)
    taken = unite(near[~is_fence], lot[~is_fence], len(lots.outline))
    far = snap(minus(far, np.where(is_fence, shapely.Polygon(), taken[lot])))
    bits = bits | np.where(bits & HOUSE, PITCHED, 0)
    behind = np.where(bits & STREET, BACK | ROAD, BACK)
    solid = ~shapely.is_empty(far)
    laid = _cut_back(rest, near[~is_fence], bits[~is_fence], lot[~is_fence])
    return laid.add(line, bits, lot).add(far[solid], behind[solid], lot[solid])


def _flank(lines: np.ndarray, depth_ft: float) -> np.ndarray:
    """Give the ground on the left of lines, on the right where the depth is negative."""
    return only_ground(
        shapely.buffer(lines, depth_ft, cap_style="flat", join_style="mitre", single_sided=True)
    )


def _longer(lines: np.ndarray) -> np.ndarray:
    """Carry lines on by a hair at both ends: round a fence's end no bed goes on behind it."""
    longer = np.empty(len(lines), dtype=object)
    for at, line in enumerate(lines):  # few
        xy = shapely.get_coordinates(line)
        ends = np.stack([xy[0] - xy[1], xy[-1] - xy[-2]])
        xy[[0, -1]] += ends / np.hypot(*ends.T)[:, None] * 4 * FENCE_FT
        longer[at] = shapely.LineString(xy)
    return longer


def _lawn_is_left(
    lots: Lots,
    parts: Parts,
    lines: tuple[np.ndarray, np.ndarray, np.ndarray],
    flanks: tuple[np.ndarray, np.ndarray],
) -> np.ndarray:
    """Tell on which side of each line its bed lies."""
    line, bits, lot = lines
    is_left = np.zeros(len(line), bool)
    turf = np.where(shapely.is_empty(lots.turf), lots.outline, lots.turf)
    for at, (shape, kind, row) in enumerate(zip(line, bits, lot, strict=True)):  # few
        own = parts.take(parts.lot == row)
        same = shapely.union_all(own.of(kind | (STREET if kind & STREET else 0)).shape)
        left_ft2, right_ft2 = (
            flank[at].intersection(turf[row]).difference(same).area for flank in flanks
        )
        if kind & FENCE or abs(left_ft2 - right_ft2) < LEAST_FT:
            is_left[at] = _is_left(shape, _faced_by(shape, kind, own, lots.outline[row]))
        else:
            is_left[at] = left_ft2 > right_ft2
    return is_left


def _faced_by(
    line: shapely.Geometry, kind: int, own: Parts, outline: shapely.Geometry
) -> np.ndarray:
    """Give a point on the side of a line across the turf that its bed lies on."""
    house, street = (shapely.union_all(own.of(bits).shape) for bits in (HOUSE, STREET))
    if kind & FENCE and not house.is_empty:
        return shapely.get_coordinates(house.centroid)[0]
    if kind & (FENCE | HOUSE) and not street.is_empty:
        return shapely.get_coordinates(shapely.shortest_line(line.centroid, street))[-1]
    return shapely.get_coordinates(outline.centroid)[0]


def _is_left(line: shapely.Geometry, point: np.ndarray) -> bool:
    xy = shapely.get_coordinates(line)
    pieces = shapely.linestrings(np.stack([xy[:-1], xy[1:]], axis=1))
    at = int(np.argmin(shapely.distance(pieces, shapely.points(point))))
    step, away = xy[at + 1] - xy[at], point - xy[at]
    return bool(step[0] * away[1] - step[1] * away[0] > 0)


def _cut_back(parts: Parts, near: np.ndarray, bits: np.ndarray, lot: np.ndarray) -> Parts:
    """Take the ground before lines out of the polygons of their kind."""
    shapes = parts.shape.copy()
    for flank, kind, row in zip(near, bits, lot, strict=True):  # few
        own = kind & ~(LINE | PITCHED) | (STREET if kind & STREET else 0)
        at = np.flatnonzero((parts.lot == row) & ((parts.bits & own) > 0))
        at = at[shapely.intersects(shapes[at], flank)]
        shapes[at] = snap(minus(shapes[at], np.full(len(at), flank)))
    return parts._replace(shape=shapes).take(~shapely.is_empty(shapes))
