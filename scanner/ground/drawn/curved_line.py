"""
A curved bed line: the lawn side of a bed drawn as an easy wave, its area and its ends as they were.

Where the lawn leaves no room, or the line would get tighter than the mower turns, there is none.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import shapely
from numpy.typing import NDArray

from scanner.plane.grid import mend
from scanner.plane.vectors import dot, norm
from scanner.schema.documents import LocalRules

STEP_FT = 0.5
"""Lines are drawn in chords so long."""
WAVE_FT = 24.0
"""A wave is about so long (judgment: two or three on a usual front)."""
DEEP_SHARE, LEAST_WAVE_FT = 0.25, 0.25
"""A wave is a quarter of the depth high; under 3 in nobody sees it (judgment)."""
LEAST_LINE_FT = 10.0
"""A shorter bed line has no wave."""
CORNER_COSINE = 0.77
"""A line that turns by more than 40 degrees has a corner there: an end of the bed, or one to be rounded."""
END_COSINE = 0.996
"""Ends stay square to 5 degrees."""
ON_EDGE_FT, SPILL_FT2 = 0.1, 0.2
"""Border so near the edge lies on it; so little ground off the lawn is the grid's."""
WIDE_FT = 6.0
"""No line moves so far."""
SAME_SHARE, END_FT = 0.005, 4.0
"""A bed keeps its area to half a percent; a line cut shorter than that was cut by something else than the bed's ends."""

Points = NDArray[np.float64]


class Curved(NamedTuple):
    """A bed with a curved line."""

    shape: shapely.Geometry
    line: shapely.Geometry  # its lawn side
    line_ft: float  # by how much the lawn side got longer
    end_ft: float  # by how much each end got deeper


def curve_line(
    bed: shapely.Geometry,
    edge: shapely.Geometry,
    turf: shapely.Geometry,
    *,
    rules: LocalRules,
    room_ft: float = np.inf,
) -> Curved | None:
    """
    Curve the lawn side of a bed [ft] drawn straight; None where there is no room for it.

    Area stays to 1 %, no curve is tighter than ``turn_radius_ft``. `turf`: what the bed may take
    beside it; `room_ft`: how far into it the line may go.
    """
    side = _lawn_side(bed, edge)
    path = None if side is None else _smooth(side, rules.turn_radius_ft)
    if side is None or path is None:
        return None
    before = shapely.buffer(_beside(shapely.get_coordinates(side), WIDE_FT), ON_EDGE_FT)
    depth_ft = bed.area / edge.length
    high_ft = min(DEEP_SHARE * depth_ft, depth_ft - rules.min_depth_ft, room_ft)
    while high_ft >= LEAST_WAVE_FT:
        curved = _wave(bed, path, turf, before, high_ft)
        if curved is not None and _holds(curved, bed, edge, side, rules):
            return curved._replace(line_ft=curved.line.length - shapely.length(side))
        high_ft *= 0.8
    return None


def _lawn_side(bed: shapely.Geometry, edge: shapely.Geometry) -> shapely.Geometry | None:
    """Find the long side off the edge, without the ends of the bed; the bed on its left."""
    if bed.geom_type != "Polygon" or len(bed.interiors) or not edge.length:
        return None
    ring = shapely.LineString(
        shapely.get_coordinates(shapely.force_2d(shapely.orient_polygons(bed)).exterior)
    )
    rest = shapely.line_merge(
        shapely.difference(ring, shapely.buffer(edge, ON_EDGE_FT)), directed=True
    )
    chains = shapely.get_parts(rest)
    if not len(chains):
        return None
    xy = shapely.get_coordinates(shapely.simplify(chains[np.argmax(shapely.length(chains))], 0.02))
    steps = np.diff(xy, axis=0)
    size = norm(steps)
    turn = dot(steps[1:], steps[:-1]) / np.maximum(size[1:] * size[:-1], 1e-9)
    corners = [0, *(np.flatnonzero(turn < CORNER_COSINE) + 1), len(xy) - 1]
    end_ft = 1.6 * bed.area / edge.length
    if len(corners) > 2 and size[: corners[1]].sum() <= end_ft:  # noqa: PLR2004  # a corner between two ends
        corners = corners[1:]
    if len(corners) > 2 and size[corners[-2] :].sum() <= end_ft:  # noqa: PLR2004
        corners = corners[:-1]
    side = shapely.linestrings(xy[corners[0] : corners[-1] + 1])
    return side if side.length >= LEAST_LINE_FT else None


def _smooth(side: shapely.Geometry, radius_ft: float) -> Points | None:
    """Round a line until a mower follows it with some play, its ends where they were; None where that takes all of it."""
    count = max(round(side.length / STEP_FT), 2)
    xy = shapely.get_coordinates(
        shapely.line_interpolate_point(side, np.linspace(0, side.length, count + 1))
    )
    wide_ft, most_ft = 2 * STEP_FT, side.length / 8
    while wide_ft <= most_ft:
        reach = int(3 * wide_ft / STEP_FT)
        if reach < len(xy):
            long = np.vstack(
                [2 * xy[0] - xy[reach:0:-1], xy, 2 * xy[-1] - xy[-2 : -reach - 2 : -1]]
            )
            weight = np.exp(-0.5 * (np.arange(-reach, reach + 1) * STEP_FT / wide_ft) ** 2)
            weight /= weight.sum()
            path = np.column_stack([np.convolve(of, weight, "valid") for of in long.T])
            if turn_radii(path).min() >= 1.3 * radius_ft:
                return path
        wide_ft *= 1.3
    return None


def turn_radii(path: Points) -> Points:
    """
    Measure how tight a line is: radius of the circle through each point and its neighbors [ft].

    >>> turn_radii(np.array([[0.0, 0.0], [1.0, 1.0], [2.0, 0.0]])).round(6).tolist()
    [1.0]
    """
    a, b, c = path[:-2], path[1:-1], path[2:]
    (ux, uy), (vx, vy) = (b - a).T, (c - b).T
    double_ft2 = np.abs(ux * vy - uy * vx)
    sides = np.hypot(ux, uy) * np.hypot(vx, vy) * norm(c - a)
    return sides / np.maximum(2 * double_ft2, 1e-12)


def _wave(
    bed: shapely.Geometry,
    path: Points,
    turf: shapely.Geometry,
    before: shapely.Geometry,
    high_ft: float,
) -> Curved | None:
    """Lay a wave along a line, shallow at both ends, so far out that the bed keeps its area."""
    step = np.gradient(path, axis=0)
    off = np.column_stack([step[:, 1], -step[:, 0]]) / norm(step)[:, None]  # to the lawn
    along = np.concatenate([[0.0], np.cumsum(norm(np.diff(path, axis=0)))])
    waves = max(round(along[-1] / WAVE_FT), 1)
    swing = -high_ft * np.cos(2 * np.pi * waves * along / along[-1])
    shift_ft, curved = 0.0, None
    for _ in range(6):
        curved = _lay(
            bed, path + off * (swing + shift_ft)[:, None], turf, before, shift_ft - high_ft
        )
        if curved is None:
            return None
        shift_ft += (bed.area - curved.shape.area) / along[-1]
    return curved


def _lay(
    bed: shapely.Geometry,
    line: Points,
    turf: shapely.Geometry,
    before: shapely.Geometry,
    end_ft: float,
) -> Curved | None:
    """Cut a bed along a line and give it the ground up to it; None where that is no turf."""
    ends = [
        2 * (end - inner) / np.hypot(*(end - inner))
        for end, inner in ((line[0], line[1]), (line[-1], line[-2]))
    ]
    longer = np.vstack([line[0] + 2 * ends[0], line, line[-1] + 2 * ends[1]])
    kept = shapely.difference(bed, _beside(longer, WIDE_FT))
    out_ft = float(shapely.distance(shapely.points(line), bed).max()) + ON_EDGE_FT
    new = shapely.difference(shapely.intersection(_beside(line, -out_ft), before), bed)
    if shapely.difference(new, turf).area > SPILL_FT2:
        return None
    new = shapely.intersection(new, turf)
    parts = shapely.get_parts(mend(np.array([shapely.union(kept, new)]))[0])
    parts = parts[shapely.get_type_id(parts) == 3]  # noqa: PLR2004  # polygons
    if not len(parts):
        return None
    shape = parts[np.argmax(shapely.area(parts))]
    drawn = shapely.intersection(shapely.linestrings(longer), shapely.buffer(shape, 0.01))
    pieces = shapely.get_parts(shapely.line_merge(drawn))
    return Curved(shape, pieces[np.argmax(shapely.length(pieces))], 0.0, end_ft)


def _holds(
    curved: Curved,
    bed: shapely.Geometry,
    edge: shapely.Geometry,
    side: shapely.Geometry,
    rules: LocalRules,
) -> bool:
    """Tell whether a bed has its area, no tight turn, square ends and its least depth."""
    line = shapely.get_coordinates(curved.line)
    old = shapely.get_coordinates(side)
    if len(line) < 3 or (line[-1] - line[0]) @ (old[-1] - old[0]) < 0:  # noqa: PLR2004  # a turn
        line = line[::-1]
    ends = [
        _unit(line[1] - line[0]) @ _unit(old[1] - old[0]),
        _unit(line[-1] - line[-2]) @ _unit(old[-1] - old[-2]),
    ]
    depth_ft = shapely.distance(shapely.points(line), edge).min()
    return bool(
        abs(curved.shape.area / bed.area - 1) < SAME_SHARE
        and turn_radii(line).min() >= rules.turn_radius_ft
        and min(ends) > END_COSINE
        and depth_ft > rules.min_depth_ft - ON_EDGE_FT
        and curved.line.length > side.length - END_FT
    )


def _unit(step: Points) -> Points:
    return step / max(float(np.hypot(*step)), 1e-9)


def _beside(line: Points, width_ft: float) -> shapely.Geometry:
    """Give the ground beside a line, on its lawn side, or with a negative width on the bed's."""
    step = np.gradient(line, axis=0)
    off = np.column_stack([step[:, 1], -step[:, 0]]) / norm(step)[:, None]
    return shapely.make_valid(shapely.Polygon(np.vstack([line, (line + off * width_ft)[::-1]])))
