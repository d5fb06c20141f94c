"""
The streets of an invented town: pavements from curb to curb, sidewalks, alleys.

Everything is drawn in feet, x to the east and y to the north.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import cos, radians, sin

import shapely
from shapely import LineString, Point, Polygon
from shapely.geometry import box

GRID_HALF_FT = 17.0  # pavement of the old grid, half its width
TRACT_HALF_FT = 16.0
ROAD_HALF_FT = 12.0
LANE_HALF_FT = 14.0  # of the lane known by its centerline only
GRID_SETBACK_FT = 12.0  # from the curb to the outlines
TRACT_SETBACK_FT = 10.0
BULB_FT = 40.0
GRID_X = (0.0, 458.0, 916.0)
GRID_Y = (0.0, 334.0, 668.0)
ARC_FT = 420.0
ARC_CENTER = (1732.0, 754.0)
ARC_DEG = (-90.0, -10.0)
CURB_Y = 914.0  # the curb of Coneflower Way, drawn as lines only
# inner and outer side of each block's sidewalk, off the outlines; one lies at the curb
WALK_RINGS = ((1.5, 6.5), (1.0, 5.0), (7.0, 12.0), (2.0, 6.5))
# where each cul-de-sac leaves the collector, and the middle of its bulb
STEMS = (((1261.0, 334.0), (1261.0, 525.0)), ((1421.0, 334.0), (1421.0, 143.0)))


@dataclass(frozen=True)
class Streets:
    """Pavements from curb to curb, the ground kept for streets, and sidewalks."""

    grid: Polygon
    tract: Polygon
    road: Polygon
    lane: LineString
    curb: LineString
    sidewalks: tuple[Polygon, ...]
    alleys: tuple[Polygon, ...]
    paved: shapely.Geometry
    reserved: shapely.Geometry


def plan_streets() -> Streets:
    """Draw every street of the town."""
    grid, tract = _grid_lines(), _tract_lines()
    both = _round_corners(
        _round_corners(_widen(grid, GRID_HALF_FT), 18.0).union(
            _round_corners(_widen(tract, TRACT_HALF_FT).union(_bulbs(BULB_FT)), 22.0)
        ),
        15.0,
    )
    lane = LineString([(GRID_X[1], 770), (GRID_X[1], 1062)])
    road = _draw_road()
    way = box(1000, CURB_Y - 30, 1420, CURB_Y)
    seam = GRID_X[2] + GRID_HALF_FT
    sidewalks, alleys = _sidewalks(both)
    return Streets(
        grid=largest_part(both.intersection(box(-999, -999, seam, 2999))),
        tract=largest_part(both.intersection(box(seam, -999, 4999, 2999))),
        road=road,
        lane=lane,
        curb=LineString([(1252, CURB_Y), (1420, CURB_Y)]),
        sidewalks=sidewalks,
        alleys=alleys,
        paved=shapely.union_all([both, road, _widen([lane], LANE_HALF_FT), way]),
        reserved=shapely.union_all(
            [_keep_ground(grid, tract), _widen([lane], LANE_HALF_FT + 10), way.buffer(10)]
        ),
    )


def largest_part(shape: shapely.Geometry) -> Polygon:
    """Give the largest polygon of a shape."""
    return max(shapely.get_parts(shape), key=lambda part: part.area)


def polar(radius_ft: float, angle: float) -> tuple[float, float]:
    """Give the point at a radius and an angle from the center of the curved street."""
    return (ARC_CENTER[0] + radius_ft * cos(angle), ARC_CENTER[1] + radius_ft * sin(angle))


def list_blocks() -> list[tuple[float, float]]:
    """Give the lower left corner of each block of the old grid."""
    kept = GRID_HALF_FT + GRID_SETBACK_FT
    return [(x + kept, y + kept) for y in GRID_Y[:2] for x in GRID_X[:2]]


def _keep_ground(grid: list[LineString], tract: list[LineString]) -> shapely.Geometry:
    """Keep the ground between opposite outlines for the streets."""
    kept = _widen(tract, TRACT_HALF_FT + TRACT_SETBACK_FT).union(_bulbs(BULB_FT + TRACT_SETBACK_FT))
    return _round_corners(kept, 14.0).union(_widen(grid, GRID_HALF_FT + GRID_SETBACK_FT))


def _draw_road() -> Polygon:
    lines = [
        LineString([(-260, -420), (1520, -420)]),
        LineString([(GRID_X[1], -100), (GRID_X[1], -420)]),
    ]
    return _round_corners(_widen(lines, ROAD_HALF_FT), 20.0)


def _grid_lines() -> list[LineString]:
    down = [LineString([(x, -100), (x, 770)]) for x in GRID_X]
    return [*down, *(LineString([(-100, y), (GRID_X[2], y)]) for y in GRID_Y)]


def _tract_lines() -> list[LineString]:
    first, last = ARC_DEG
    angles = [radians(first + (last - first) * i / 40) for i in range(41)]
    arc = [polar(ARC_FT, a) for a in angles]
    end = arc[-1]
    tail = (end[0] - 70 * sin(angles[-1]), end[1] + 70 * cos(angles[-1]))
    collector = LineString([(GRID_X[2], GRID_Y[1]), *arc, tail])
    return [collector, *(LineString(stem) for stem in STEMS)]


def _bulbs(radius_ft: float) -> shapely.Geometry:
    return shapely.union_all([Point(end).buffer(radius_ft, quad_segs=16) for _, end in STEMS])


def _widen(lines: list[LineString], half_ft: float) -> shapely.Geometry:
    return shapely.union_all(
        [line.buffer(half_ft, cap_style="flat", quad_segs=6) for line in lines]
    )


def _round_corners(shape: shapely.Geometry, radius_ft: float) -> shapely.Geometry:
    grown = shape.buffer(radius_ft, quad_segs=6, join_style="mitre")
    return shapely.simplify(grown.buffer(-radius_ft, quad_segs=8), 0.01)


def _sidewalks(paved: shapely.Geometry) -> tuple[tuple[Polygon, ...], tuple[Polygon, ...]]:
    rings, alleys = [], []
    for (x, y), (near, far) in zip(list_blocks(), WALK_RINGS, strict=True):
        block = box(x, y, x + 400, y + 276)
        outer = block.buffer(far, join_style="mitre")
        rings.append(outer.difference(block.buffer(near, join_style="mitre")).difference(paved))
        alleys.append(box(x - GRID_SETBACK_FT, y + 130, x + 400 + GRID_SETBACK_FT, y + 146))
    return tuple(rings), tuple(alleys)
