"""
What the other modules of this room do with arrays of shapes.

Arrays are aligned: row i of every array is the same site, edge or bed. Nothing here
knows what a shape means.
"""

from __future__ import annotations

import numpy as np
import shapely

TOUCH_FT = 0.005
"""Shapes nearer than this touch: far above rounding, far below anything drawn."""

ARC_STEPS = 32
"""Chords in a quarter circle: the area of a round corner is right to 0.04 %."""

NO_POLYGON = shapely.Polygon()
NO_LINE = shapely.LineString()

Indexed = tuple[np.ndarray, np.ndarray]
"""Parts and, for each, the row that it came from."""


def parts_of(shapes: np.ndarray, kind: str = "polygon") -> Indexed:
    """
    Take shapes apart into single polygons or lines, dropping what is neither.

    Parameters
    ----------
    shapes
        Geometry array, n rows.
    kind
        ``"polygon"`` or ``"line"``: what to keep.

    Returns
    -------
    parts, rows
        Single non-empty shapes, and for each the row of `shapes` it came from.

    Examples
    --------
    >>> both = shapely.from_wkt("GEOMETRYCOLLECTION (POINT (0 0), POLYGON ((0 0, 1 0, 0 1, 0 0)))")
    >>> parts_of(np.array([NO_POLYGON, both]))[1].tolist()
    [1]
    """
    parts, rows = shapely.get_parts(shapes, return_index=True)
    while np.any(shapely.get_type_id(parts) >= shapely.GeometryType.MULTIPOINT):
        parts, inner = shapely.get_parts(parts, return_index=True)
        rows = rows[inner]
    dimension = {"polygon": 2, "line": 1}[kind]
    keep = (shapely.get_dimensions(parts) == dimension) & ~shapely.is_empty(parts)
    return parts[keep], rows[keep]


def gather_rows(parts: np.ndarray, rows: np.ndarray, count: int) -> np.ndarray:
    """
    Put parts back together, one collection a row, touching parts left as they are.

    Parameters
    ----------
    parts
        Single shapes of one dimension.
    rows
        Row that each belongs to.
    count
        Number of rows to make.

    Returns
    -------
    shapes
        Geometry array of `count` multi-polygons, multi-lines or collections.
    """
    shapes = np.full(count, shapely.GeometryCollection(), dtype=object)
    if len(parts):
        order = np.argsort(rows, kind="stable")
        owners, at = np.unique(rows[order], return_inverse=True)
        dimension = shapely.get_dimensions(parts).max()
        make = {1: shapely.multilinestrings, 2: shapely.multipolygons}.get(
            int(dimension), shapely.geometrycollections
        )
        shapes[owners] = make(parts[order], indices=at)
    return shapes


def union_rows(parts: np.ndarray, rows: np.ndarray, count: int) -> np.ndarray:
    """
    Unite the shapes of each row.

    Parameters
    ----------
    parts
        Shapes of any dimension.
    rows
        Row that each belongs to.
    count
        Number of rows to make.

    Returns
    -------
    shapes
        Geometry array of `count` shapes, empty where a row has none.
    """
    shapes = np.full(count, shapely.GeometryCollection(), dtype=object)
    if len(parts):
        order = np.argsort(rows, kind="stable")
        owners, at = np.unique(rows[order], return_inverse=True)
        collections = shapely.geometrycollections(parts[order], indices=at)
        shapes[owners] = _unite(collections[:, None])
    return shapes


def union_of(*columns: np.ndarray) -> np.ndarray:
    """
    Unite aligned arrays row by row.

    Parameters
    ----------
    *columns
        Geometry arrays of n rows each.

    Returns
    -------
    shapes
        Geometry array, n rows.
    """
    return _unite(np.stack(columns, axis=1))


def _unite(rows: np.ndarray) -> np.ndarray:
    """Unite each row of an n × m array, and mend the rare union that came out broken."""
    united = shapely.union_all(rows, axis=1)
    broken = ~shapely.is_valid(united)
    # Nested shells after an overlay of nearly equal borders; a buffer of nothing sorts them.
    united[broken] = shapely.buffer(united[broken], 0.0)
    return united


def ground_of(shapes: np.ndarray) -> np.ndarray:
    """
    Keep the polygons of each row, dropping the points and lines an overlay leaves.

    Parameters
    ----------
    shapes
        Geometry array, n rows.

    Returns
    -------
    shapes
        Polygons, multi-polygons or empty, n rows.
    """
    mixed = shapely.get_type_id(shapes) == shapely.GeometryType.GEOMETRYCOLLECTION
    flat = shapely.get_dimensions(shapes) < 2  # noqa: PLR2004 - an area has two dimensions
    kept = np.where(flat, NO_POLYGON, shapes)
    if np.any(mixed):
        kept[mixed] = gather_rows(*parts_of(shapes[mixed]), count=int(mixed.sum()))
    return kept


def mend(shapes: np.ndarray) -> np.ndarray:
    """
    Put polygons right that cross themselves, as rounding on the way to another plane may leave them.

    Parameters
    ----------
    shapes
        Geometry array, n rows.

    Returns
    -------
    shapes
        The same, n rows, those that were broken with the ground that their rings hold.

    Examples
    --------
    >>> bow = shapely.from_wkt(["POLYGON ((0 0, 2 0, 2 2, 1 -0.001, 0 2, 0 0))"])
    >>> shapely.is_valid(bow).tolist(), shapely.is_valid(mend(bow)).tolist()
    ([False], [True])
    """
    mended = np.array(shapes, dtype=object)
    broken = ~shapely.is_valid(shapes)
    mended[broken] = ground_of(shapely.make_valid(mended[broken], method="structure"))
    return mended


def lines_of(shapes: np.ndarray) -> np.ndarray:
    """
    Keep the lines of each row, merged into whole chains.

    Parameters
    ----------
    shapes
        Geometry array, n rows.

    Returns
    -------
    chains
        Lines, multi-lines or empty, n rows.
    """
    return shapely.line_merge(gather_rows(*parts_of(shapes, "line"), count=len(shapes)))


def split_segments(lines: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """
    Take lines apart into their straight segments.

    Parameters
    ----------
    lines
        Single lines or rings [ft], n rows.

    Returns
    -------
    starts, ends, rows
        Ends of each segment, m × 2 [ft], in the order of the line, and the row of
        `lines` that it came from.
    """
    points, rows = shapely.get_coordinates(lines, return_index=True)
    same = rows[1:] == rows[:-1]
    moved = np.any(points[1:] != points[:-1], axis=1) if len(points) else same
    keep = same & moved
    return points[:-1][keep], points[1:][keep], rows[:-1][keep]


def rows_where(shapes: np.ndarray, others: np.ndarray, reach_ft: float) -> np.ndarray:
    """
    Tell in which rows two aligned arrays come within reach of each other.

    Parameters
    ----------
    shapes, others
        Geometry arrays [ft], n rows; an empty shape reaches nothing.
    reach_ft
        Distance [ft].

    Returns
    -------
    is_near
        Boolean array, n rows.
    """
    return shapely.dwithin(shapes, others, reach_ft)


def contact_ft(shapes: np.ndarray, others: np.ndarray) -> np.ndarray:
    """
    Measure how long the border of each shape runs along another.

    Parameters
    ----------
    shapes
        Polygons [ft], n rows.
    others
        Polygons or lines [ft], n rows.

    Returns
    -------
    length_ft
        Length of the border of `shapes` within `TOUCH_FT` of `others` [ft].
    """
    near = rows_where(shapes, others, TOUCH_FT)
    length_ft = np.zeros(len(shapes))
    reach = shapely.buffer(others[near], TOUCH_FT, cap_style="flat", join_style="mitre")
    length_ft[near] = shapely.length(shapely.intersection(shapely.boundary(shapes[near]), reach))
    return length_ft
