"""Ground that two frontage strips claim goes to the nearer outline."""

from __future__ import annotations

import numpy as np
import shapely

from scanner.ground.plane.shapes import TOUCH_FT, ground_of

CELL_GRID_FT = 0.01
"""Grid of those points: the cells of points that all but coincide cannot be told apart."""

SHARED_STEP_FT = 0.5
"""Spacing of the outline points by which ground claimed twice is divided."""


def divide_shared(strips: np.ndarray, outlines: np.ndarray) -> np.ndarray:
    """
    Give ground that two strips claim to the nearer outline.

    Parameters
    ----------
    strips, outlines
        Polygons [ft], one a site.

    Returns
    -------
    strips
        Polygons [ft], one a site; no point is in two of them.
    """
    tree = shapely.STRtree(strips)
    one, two = tree.query(strips, predicate="intersects")
    pairs = np.column_stack([one, two])[one < two]
    shared = ground_of(shapely.intersection(strips[pairs[:, 0]], strips[pairs[:, 1]]))
    divided = strips.copy()
    for pair, ground in zip(pairs, shared, strict=True):
        if ground.area > TOUCH_FT:
            for mine, yours in (pair, pair[::-1]):
                lost = _nearer_part(ground, outlines[yours], outlines[mine])
                divided[mine] = ground_of(np.array([shapely.difference(divided[mine], lost)]))[0]
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
    mine = cells[shapely.intersects(cells, center.buffer(CELL_GRID_FT))]
    own = [
        cell
        for cell in mine
        if shapely.distance(cell.representative_point(), outline)
        <= shapely.distance(cell.representative_point(), other)
    ]
    return shapely.intersection(shapely.union_all(own), ground)


def _cells(points: np.ndarray, ground: shapely.Geometry) -> np.ndarray:
    """Give the cell of each point, worked out about the origin where digits are many."""
    points = np.unique(np.round(points / CELL_GRID_FT) * CELL_GRID_FT, axis=0)
    origin = np.round(points.mean(axis=0))
    near = shapely.transform(ground, lambda corners: corners - origin)
    cells = shapely.voronoi_polygons(shapely.multipoints(points - origin), extend_to=near)
    return shapely.transform(shapely.get_parts(cells), lambda corners: corners + origin)
