"""
The frontage strip: the right-of-way between outline and curb that the client mows.

It is bounded by the front run, straight lines from its ends to their nearest curb points,
and the curb between; ground that two strips claim goes to the nearer outline.
"""

from __future__ import annotations

import numpy as np
import shapely

from scanner.ground.gather import Block
from scanner.ground.kinds import OTHER, Lots, Parts, shift
from scanner.ground.seams import streets_of, windows_of
from scanner.ground.setting.around import Around, nearest_on
from scanner.ground.setting.fronts import find_fronts
from scanner.plane.grid import ON_FT, meet, mend, minus, only_ground, snap, unite
from scanner.plane.segments import Segs, cut_rings, runs
from scanner.plane.vectors import norm
from scanner.schema.documents import LocalRules


def find_strips(block: Block, parts: Parts, *, rules: LocalRules) -> np.ndarray:
    """Find the frontage strip of each lot [ft]: outside the outline, empty where no curb is near, none in two."""
    lots, count = block.lots, len(block.lots.outline)
    streets = streets_of(parts, count)
    curbs = cut_rings(streets, np.arange(count))
    others = block.around.neighbors.near(windows_of(lots, rules.frontage_max_ft))
    between = others.add(*parts.of(OTHER))
    points, owners = find_fronts(lots.outline, streets, between, rules=rules)
    bounded = _bound_strips(points, owners, curbs, block.around)
    strips = snap(unite(bounded, np.array(owners, int), count))
    strips = _take_out(strips, np.arange(count), lots.outline)
    strips = _take_out(strips, np.arange(count), streets)
    strips = _take_out(strips, others.lot, others.shape)
    return divide_shared(strips, lots)


def _bound_strips(
    points: list[np.ndarray], owners: list[int], curbs: Segs, around: Around
) -> np.ndarray:
    """Bound strips by their run, straight lines to the curb and the curb between."""
    if not points:
        return np.zeros(0, object)
    tips = np.array([tip for run in points for tip in (run[0], run[-1])])
    lot = np.repeat(owners, 2)
    feet, apart_ft, _ = nearest_on(tips, lot, curbs)
    drawn, drawn_ft = around.nearest_street(tips, lot)
    same = np.abs(drawn_ft - apart_ft) < 2 * ON_FT
    feet[same] = drawn[same]
    _, _, piece = nearest_on(feet, lot, curbs)
    first, last = runs(curbs.ring)
    at_ring = np.searchsorted(curbs.ring[first], curbs.ring[piece])
    begin, end = first[at_ring], last[at_ring]
    run_ft = np.concatenate([[0.0], np.cumsum(curbs.length_ft)])
    place_ft = run_ft[piece] + norm(feet - curbs.a[piece])
    rings = []
    # No array call walks along a curb; a lot has one run, seldom two.
    for at, run in enumerate(points):
        here, there = 2 * at, 2 * at + 1
        path = np.zeros((0, 2))
        if begin[here] == begin[there]:
            whole_ft = run_ft[end[here] + 1] - run_ft[begin[here]]
            ahead_ft = (place_ft[there] - place_ft[here]) % whole_ft
            ring = int(begin[here]), int(end[here])
            is_ahead = bool(ahead_ft <= whole_ft / 2)
            path = _walk(curbs, piece[here], piece[there], ring, is_ahead=is_ahead)
        rings.append(np.concatenate([run, feet[[there]], path[::-1], feet[[here]]]))
    shapes = np.array([shapely.polygons(ring) for ring in rings], dtype=object)
    return mend(shapes)


def _walk(
    curbs: Segs, here: int, there: int, ring: tuple[int, int], *, is_ahead: bool
) -> np.ndarray:
    """Give the corners of a ring between two of its pieces, forward or back."""
    begin, size = ring[0], ring[1] - ring[0] + 1
    if is_ahead:
        steps = (there - here) % size
        return curbs.b[begin + (here - begin + np.arange(steps)) % size]
    steps = (here - there) % size
    return curbs.a[begin + (here - begin - np.arange(steps)) % size]


def _take_out(strips: np.ndarray, lot: np.ndarray, ground: np.ndarray) -> np.ndarray:
    hit = np.flatnonzero(shapely.relate_pattern(strips[lot], ground, "T********"))
    cleared = strips.copy()
    for turn in range(int(np.bincount(lot[hit]).max(initial=0))):
        rank = np.arange(len(hit)) - np.searchsorted(lot[hit], lot[hit])
        at = hit[rank == turn]
        cleared[lot[at]] = snap(only_ground(minus(cleared[lot[at]], ground[at])))
    return cleared


CELL_GRID_FT = 0.01
"""Grid of those points: the cells of points that all but coincide cannot be told apart."""

SHARED_STEP_FT = 0.5
"""Spacing of the outline points by which ground claimed twice is divided."""

LEAST_FT2 = 0.1
"""Strips that share less only touch: their ends lie on the grid."""


def divide_shared(strips: np.ndarray, lots: Lots) -> np.ndarray:
    """Give ground that two strips [ft] claim to the nearer outline."""
    placed = shift(strips, lots.origin)
    one, two = shapely.STRtree(placed).query(placed, predicate="intersects")
    mine, yours = one[one != two], two[one != two]
    # By name: the order of the lots must not count.
    order = np.lexsort((lots.client_id[yours].astype(str), mine))
    mine, yours = mine[order], yours[order]
    shared = meet(strips[mine], shift(placed[yours], -lots.origin[mine]))
    divided = strips.copy()
    for me, you, ground in zip(mine, yours, shared, strict=True):
        if ground.area > LEAST_FT2:
            other = shift(lots.outline[[you]], (lots.origin[you] - lots.origin[me])[None])[0]
            lost = _nearer_part(ground, other, lots.outline[me])
            divided[[me]] = snap(minus(divided[[me]], np.array([lost], object)))
    return divided


def _nearer_part(
    ground: shapely.Geometry, outline: shapely.Geometry, other: shapely.Geometry
) -> shapely.Geometry:
    """Take the part of some ground that is nearer to one outline than to another."""
    reach = shapely.envelope(ground).buffer(2 * shapely.distance(ground, outline) + 30.0)
    borders = [
        shapely.get_coordinates(
            shapely.segmentize(shapely.intersection(shapely.boundary(shape), reach), SHARED_STEP_FT)
        )
        for shape in (outline, other)
    ]
    cells = _cells(np.concatenate(borders), ground)
    center = shapely.union_all(shapely.points(borders[0]))
    own = cells[shapely.intersects(cells, center.buffer(CELL_GRID_FT))]
    inside = shapely.point_on_surface(own)
    own = own[shapely.distance(inside, outline) <= shapely.distance(inside, other)]
    return shapely.intersection(shapely.union_all(own), ground)


def _cells(points: np.ndarray, ground: shapely.Geometry) -> np.ndarray:
    """Give the cell of each point."""
    points = np.unique(np.round(points / CELL_GRID_FT) * CELL_GRID_FT, axis=0)
    return shapely.get_parts(
        shapely.voronoi_polygons(shapely.multipoints(points), extend_to=ground)
    )
