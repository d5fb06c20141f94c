"""
The fixed grid that coordinates are snapped to, the tolerances, and shapes kept clean on it.

Coordinates are put on the grid once and each shape is cleaned once, so that no result hangs
on how often something was cleaned. All tolerances of the ground stand here, five of them.
"""

from __future__ import annotations

import warnings
from collections.abc import Callable

import numpy as np
import shapely

STEP_FT = 1 / 4096
"""Step of the grid: about what nine decimals of a degree resolve, exact in binary."""

ON_FT = 0.006
"""A stretch this near to a line lies on it: far above rounding, far below anything drawn."""

LEAST_FT = 0.01
"""A shorter stretch is no stretch: shapes end within two `ON_FT` of where they should."""

LEAST_EDGE_FT = 0.1
"""Ground that touches an edge along less than this touches it at a corner only."""

GROWTH_FT = 0.012
"""What is opened grows by this much more before it is clipped: a buffer errs by 1 % of its radius."""

EMPTY = shapely.Polygon()

POLYGON, COLLECTION = (
    int(shapely.GeometryType.POLYGON),
    int(shapely.GeometryType.GEOMETRYCOLLECTION),
)

Overlay = Callable[..., np.ndarray]

# At hairs, rings without ground, the library divides by zero and throws away what comes of it:
# nobody at a terminal can do anything about that.
warnings.filterwarnings("ignore", ".* encountered in buffer", RuntimeWarning)


def snap(shapes: np.ndarray) -> np.ndarray:
    """
    Put shapes [ft] on the grid and drop points in the middle of their straight sides; what rounding breaks is mended.

    >>> snap(shapely.linestrings([[[0, 0.0001], [5, 0], [9, 0]]]))[0].wkt
    'LINESTRING (0 0, 9 0)'
    """
    snapped = shapely.transform(shapes, lambda xy: np.round(xy / STEP_FT) * STEP_FT)
    # A ring begins at an extreme point, a corner for certain: simplifying never drops the first.
    snapped = shapely.simplify(shapely.normalize(snapped), 1.5 * STEP_FT, preserve_topology=False)
    return mend(snapped)


def put_on_grid(shapes: np.ndarray) -> np.ndarray:
    """Put polygons [ft] on the grid, so that what all but touches touches."""
    # Corners rounded one by one would leave slits between rings that all but touch.
    return on_grid(shapely.set_precision, shapes)


def mend(shapes: np.ndarray) -> np.ndarray:
    """
    Put polygons right that cross themselves, with the ground that their rings hold.

    >>> bow = shapely.from_wkt(["POLYGON ((0 0, 2 0, 2 2, 1 -0.001, 0 2, 0 0))"])
    >>> shapely.is_valid(bow).tolist(), shapely.is_valid(mend(bow)).tolist()
    ([False], [True])
    """
    broken = np.flatnonzero(~shapely.is_valid(shapes))
    if not len(broken):
        return shapes
    mended = np.array(shapes, dtype=object)
    mended[broken] = only_ground(
        np.array([_made_valid(shape) for shape in mended[broken]], dtype=object)
    )
    return mended


def _made_valid(shape: shapely.Geometry) -> shapely.Geometry:
    """Put one shape right by its rings, or by its lines where the library cannot by its rings."""
    try:
        return shapely.make_valid(shape, method="structure")
    except shapely.errors.GEOSException:
        return shapely.make_valid(shape)


def ground_parts(shapes: np.ndarray, least_ft2: float = 0.0) -> tuple[np.ndarray, np.ndarray]:
    """
    Take shapes apart into single polygons of `least_ft2` and more; with the row that each came from.

    >>> both = shapely.from_wkt("GEOMETRYCOLLECTION (POINT (0 0), POLYGON ((0 0, 1 0, 0 1, 0 0)))")
    >>> ground_parts(np.array([EMPTY, both]))[1].tolist()
    [1]
    """
    parts, rows = shapely.get_parts(shapes, return_index=True)
    while (shapely.get_type_id(parts) > POLYGON).any():
        parts, inner = shapely.get_parts(parts, return_index=True)
        rows = rows[inner]
    keep = (shapely.get_type_id(parts) == POLYGON) & (shapely.area(parts) > least_ft2)
    return parts[keep], rows[keep]


def only_ground(shapes: np.ndarray) -> np.ndarray:
    """Keep the polygons of each row, without the points and lines that an overlay may leave."""
    kind = shapely.get_type_id(shapes)
    odd = np.flatnonzero((kind != POLYGON) & (kind != shapely.GeometryType.MULTIPOLYGON))
    if len(odd):
        shapes = shapes.copy()
        for row in odd:  # rare
            parts, _ = ground_parts(shapes[row : row + 1])
            shapes[row] = shapely.multipolygons(parts) if len(parts) > 1 else [*parts, EMPTY][0]
    return shapes


def minus(shapes: np.ndarray, others: np.ndarray) -> np.ndarray:
    """Take ground out of shapes, row by row [ft]."""
    return _sound(shapely.difference, shapes, others)


def meet(shapes: np.ndarray, others: np.ndarray) -> np.ndarray:
    """Take what shapes have in common, row by row [ft]."""
    return _sound(shapely.intersection, shapes, others)


def _sound(overlay: Overlay, shapes: np.ndarray, others: np.ndarray) -> np.ndarray:
    """Work an overlay out; a row that comes out broken, as a hole outside its shell, is worked out on the grid."""
    ground = only_ground(overlay(shapes, others))
    broken = np.flatnonzero(~shapely.is_valid(ground))
    if len(broken):
        shapes, others = np.broadcast_arrays(shapes, others)
        ground[broken] = on_grid(overlay, shapes[broken], others[broken])
    return ground


def boxes_meet(one: np.ndarray, two: np.ndarray, reach_ft: float | np.ndarray = 0.0) -> np.ndarray:
    """Tell which boxes come within reach, row by row: west, south, east, north [ft], n × 4."""
    (west, south, east, north), (left, low, right, top) = one.T, two.T
    near = (west <= right + reach_ft) & (left <= east + reach_ft)
    return np.asarray(near & (south <= top + reach_ft) & (low <= north + reach_ft))


def around(shapes: np.ndarray, far_ft: float) -> np.ndarray:
    """Give the boxes round shapes [ft], that far beyond."""
    x0, y0, x1, y1 = shapely.bounds(shapes).T
    return shapely.box(x0 - far_ft, y0 - far_ft, x1 + far_ft, y1 + far_ft)


def unite(shapes: np.ndarray, rows: np.ndarray, count: int) -> np.ndarray:
    """
    Unite the shapes [ft] of each of `count` rows, in any order; empty where a row has none.

    >>> boxes = shapely.box([0, 1, 5], 0, [2, 3, 6], 1)
    >>> shapely.area(unite(boxes, np.array([0, 0, 2]), 3)).tolist()
    [3.0, 0.0, 1.0]
    """
    ground = np.full(count, EMPTY, dtype=object)
    order = np.argsort(rows, kind="stable")
    shapes, rows = shapes[order], rows[order]
    owners, first, many = np.unique(rows, return_index=True, return_counts=True)
    ground[owners] = shapes[first]
    several = np.isin(rows, owners[many > 1])
    if several.any():
        owners, at = np.unique(rows[several], return_inverse=True)
        ground[owners] = _united(shapes[several], at)
    return only_ground(ground)


def _united(shapes: np.ndarray, rows: np.ndarray) -> np.ndarray:
    ground = shapely.union_all(shapely.geometrycollections(shapes, indices=rows)[:, None], axis=1)
    # The library's union of many may leave a whole shape out where hairs lie between others.
    gone_ft2 = np.bincount(rows, shapely.area(shapes)) - shapely.area(ground)
    asked = np.flatnonzero((gone_ft2 > LEAST_FT)[rows] & ~shapely.is_empty(shapes))
    inside = shapely.point_on_surface(shapes[asked])
    lost = asked[~shapely.intersects(ground[rows[asked]], inside)]
    for at in lost:  # hardly ever
        ground[rows[at]] = shapely.union(ground[rows[at]], shapes[at])
    return ground


def on_grid(overlay: Overlay, *shapes: np.ndarray) -> np.ndarray:
    """
    Work an overlay out on the grid; a row that snapping breaks is worked out off it.

    `overlay` is a function of shapely that takes ``grid_size``; `shapes` its arguments, n rows
    each. What comes out is free to be worked on off the grid again.
    """
    try:
        ground = overlay(*shapes, grid_size=STEP_FT)
    except shapely.errors.GEOSException:
        if len(shapes[0]) == 1:
            ground = overlay(*(shapely.buffer(shape, 0) for shape in shapes))
        else:
            rows = [[shape[at : at + 1] for shape in shapes] for at in range(len(shapes[0]))]
            ground = np.concatenate([on_grid(overlay, *row) for row in rows])
    # Shapes know that they are on a grid, and all that follows would go on on it, buffers too.
    return only_ground(shapely.set_precision(ground, 0.0))
