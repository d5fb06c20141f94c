"""Ground that two frontage strips claim goes to the nearer outline."""

from __future__ import annotations

import numpy as np
import shapely

from scanner.ground.kinds import Lots, shift
from scanner.plane.grid import meet, minus, snap

CELL_GRID_FT = 0.01
"""Grid of those points: the cells of points that all but coincide cannot be told apart."""

SHARED_STEP_FT = 0.5
"""Spacing of the outline points by which ground claimed twice is divided."""

LEAST_FT2 = 0.1
"""Strips that share less only touch: their ends lie on the grid."""


def divide_shared(strips: np.ndarray, lots: Lots) -> np.ndarray:
    """
    Give ground that two strips claim to the nearer outline.

    Parameters
    ----------
    strips
        Polygons [ft], one a lot.
    lots
        The lots.

    Returns
    -------
    strips
        Polygons [ft], one a lot; no point is in two of them.
    """
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
