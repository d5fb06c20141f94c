"""
Sight triangles: ground at corners and drives where only low plants are right.

Their legs run from the curb or from the property line, as local code has it. From the
property line, the strip between triangle and curb is low too: it lies before the driver.
"""

from __future__ import annotations

import numpy as np
import shapely

from scanner.ground.drive_sides import find_sides
from scanner.ground.kinds import Lots, Parts
from scanner.ground.setting.corners import Corners
from scanner.plane.segments import Segs, cut_rings, join
from scanner.plane.vectors import cross, dot, norm
from scanner.schema.documents import LocalRules

PARALLEL_COSINE = 0.87
"""A property line within about 30° of a curb runs along it."""

PARALLEL_SINE = 1e-6
"""Lines that turn by less are parallel."""

BEYOND_FT = 3.0
"""Low ground reaches this far into the street, so that no bend of the curb lies outside it."""

Ground = tuple[np.ndarray, np.ndarray]
"""Polygons [ft] and the lot of each."""


def corner_sights(corners: Corners, lots: Lots, *, rules: LocalRules) -> Ground:
    """Draw the sight triangles at street corners [ft], and the lot of each."""
    leg_ft = rules.setbacks.corner_triangle_ft
    ends = corners.apex - corners.one * leg_ft, corners.apex + corners.two * leg_ft
    shapes = shapely.polygons(np.stack([corners.apex, *ends], axis=1))
    if rules.sight_corner_from == "property_line":
        lines = _property_lines(lots)
        one, at_one = _line_along(corners, corners.one, corners.begin, lines, rules)
        two, at_two = _line_along(corners, corners.two, corners.end, lines, rules)
        known = ~np.isnan(at_one[:, 0]) & ~np.isnan(at_two[:, 0])
        shapes[known] = _from_lines(corners, (one, at_one), (two, at_two), leg_ft)[known]
    return shapes, corners.lot


def _from_lines(
    corners: Corners,
    one: tuple[np.ndarray, np.ndarray],
    two: tuple[np.ndarray, np.ndarray],
    leg_ft: float,
) -> np.ndarray:
    """Draw triangles from property lines, each with the strip before it."""
    apex = _cross(one[1], one[0], two[1], two[0])
    ends = apex - one[0] * leg_ft, apex + two[0] * leg_ft
    feet = (
        _foot(ends[0], corners.begin, corners.one),
        _foot(ends[1], corners.end, corners.two),
    )
    rings = np.stack([ends[0], feet[0], corners.apex, feet[1], ends[1]], axis=1)
    return shapely.convex_hull(shapely.multipoints(np.nan_to_num(rings)))


def _property_lines(lots: Lots) -> Segs:
    shells, lot = shapely.get_parts(lots.outline, return_index=True)
    return cut_rings(shapely.polygons(shapely.get_exterior_ring(shells)), lot)


def _line_along(
    corners: Corners, along: np.ndarray, point: np.ndarray, lines: Segs, rules: LocalRules
) -> Ground:
    """Find the property line along each curb: its direction, turned as the curb, and a point."""
    i, j = join(corners.lot, lines.lot)
    step = lines.b[j] - lines.a[j]
    step = step / np.maximum(norm(step), 1e-9)[:, None]
    cosine = dot(step, along[i])
    off_ft = cross(lines.a[j] - point[i], along[i])
    far_ft = cross(lines.b[j] - point[i], along[i])
    fits = (np.abs(cosine) >= PARALLEL_COSINE) & (lines.length_ft[j] >= 1.0)
    fits &= (np.minimum(off_ft, far_ft) >= -rules.gap_ft) & (
        np.maximum(off_ft, far_ft) <= rules.frontage_max_ft + rules.gap_ft
    )
    i, j, step, cosine = i[fits], j[fits], step[fits], cosine[fits]
    # The longest line along a curb is its property line: a corner cut off is not.
    order = np.lexsort((lines.a[j, 1], lines.a[j, 0], -lines.length_ft[j], i))
    order = order[np.diff(i[order], prepend=-1) != 0]
    direction, at = np.full(along.shape, np.nan), np.full(along.shape, np.nan)
    direction[i[order]] = step[order] * np.sign(cosine[order])[:, None]
    at[i[order]] = lines.a[j[order]]
    return direction, at


def _foot(points: np.ndarray, at: np.ndarray, along: np.ndarray) -> np.ndarray:
    return at + along * dot(points - at, along)[:, None]


def _cross(
    point: np.ndarray, along: np.ndarray, other: np.ndarray, other_along: np.ndarray
) -> np.ndarray:
    gap = other - point
    turn = cross(along, other_along)
    # Parallel lines cross nowhere; no caller takes those for a crossing.
    turn = np.where(np.abs(turn) < PARALLEL_SINE, np.nan, turn)
    share = cross(gap, other_along) / turn
    return point + along * share[:, None]


def drive_sights(
    drives: Parts, streets: np.ndarray, lots: Lots, others: Parts, *, rules: LocalRules
) -> Ground:
    """
    Draw the sight triangles on both sides of each drive [ft], next door's too, and the lot of each.

    `others`: other outlines nearby.
    """
    leg_ft = rules.setbacks.drive_triangle_ft
    sides = find_sides(drives, streets, gap_ft=rules.gap_ft, leg_ft=leg_ft)
    apex, leg, up = sides.apex, sides.leg, sides.square_up(leg_ft)
    if rules.sight_drive_from == "curb":
        return shapely.polygons(np.stack([apex, leg, apex + up * leg_ft], axis=1)), sides.lot
    line, back_ft = _property_line(apex, leg, up, sides.lot, _lines_near(lots, others), rules)
    start = apex + up * back_ft[:, None]
    ring = [
        apex - up * BEYOND_FT,
        leg - up * BEYOND_FT,
        leg,
        start + line * leg_ft,
        start + up * leg_ft,
    ]
    return shapely.convex_hull(shapely.multipoints(np.stack(ring, axis=1))), sides.lot


def _lines_near(lots: Lots, others: Parts) -> Segs:
    every = others.add(lots.outline, 1, np.arange(len(lots.outline)))
    return cut_rings(every.shape, every.lot, every.bits)


def _property_line(
    apex: np.ndarray,
    leg: np.ndarray,
    up: np.ndarray,
    lot: np.ndarray,
    lines: Segs,
    rules: LocalRules,
) -> tuple[np.ndarray, np.ndarray]:
    """Find where each drive's side meets the property line: the line's direction, and how far up."""
    course = leg - apex
    course = course / np.maximum(norm(course), 1e-9)[:, None]
    line, back_ft = course.copy(), np.zeros(len(apex))
    i, j = join(lot, lines.lot)
    step = lines.b[j] - lines.a[j]
    size = np.maximum(norm(step), 1e-9)
    step = step / size[:, None]
    cosine = dot(step, course[i])
    hit = _cross(apex[i], up[i], lines.a[j], step) - apex[i]
    up_ft = dot(hit, up[i])
    along_ft = dot(apex[i] + up[i] * up_ft[:, None] - lines.a[j], step)
    off_ft = np.maximum(np.maximum(-along_ft, along_ft - size), 0.0)
    fits = (
        (np.abs(cosine) >= PARALLEL_COSINE)
        & (up_ft >= -rules.gap_ft)
        & (up_ft <= rules.frontage_max_ft + rules.gap_ft)
    )
    # Next door's drive may meet a line that nobody drew: then one's own, extended.
    fits &= (off_ft <= rules.gap_ft) | ((lines.bits[j] > 0) & (off_ft <= 2 * rules.frontage_max_ft))
    i, j, step, cosine, up_ft, off_ft = (
        column[fits] for column in (i, j, step, cosine, up_ft, off_ft)
    )
    order = np.lexsort((lines.a[j, 0], np.round(up_ft, 3), off_ft > rules.gap_ft, i))
    order = order[np.diff(i[order], prepend=-1) != 0]
    line[i[order]] = step[order] * np.sign(cosine[order])[:, None]
    back_ft[i[order]] = np.maximum(up_ft[order], 0.0)
    return line, back_ft
