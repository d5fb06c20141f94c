"""Large shapes of a county cut small, once, before they meet a site."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray

Shapes = NDArray[np.object_]
Rows = NDArray[np.intp]

LARGE_VERTICES = 256
LARGE_FT = 1320.0
"""A shape with more vertices, or longer than this, is cut: a quarter mile holds a few lots."""

SEAM_FT = 0.05
"""Pieces overlap by this much, so that they unite again without a seam."""

_AREA = 2
"""Dimensions of an area."""

_FINEST_FT = 20.0
"""Nothing is cut finer than this, however many vertices it has."""


def cut_large(shapes: Shapes, near: shapely.STRtree | None = None) -> tuple[Shapes, Rows]:
    """Cut large areas to a quad-tree, overlapping by `SEAM_FT`, and large lines to stretches, once; with the row of each piece in `shapes`.

    >>> street = np.array([shapely.box(0, 0, 4000, 30)])
    >>> pieces, rows = cut_large(street, shapely.STRtree([shapely.box(40, -10, 240, 210)]))
    >>> len(pieces), [round(float(shapely.bounds(piece)[2])) for piece in pieces]
    (1, [1000])
    """
    parts, rows = shapely.get_parts(np.asarray(shapes, object), return_index=True)
    parts, rows = _split_lines(parts, rows)
    done: list[Shapes] = []
    done_rows: list[Rows] = []
    while len(parts):
        if near is not None:
            is_near = np.zeros(len(parts), dtype=bool)
            is_near[np.unique(near.query(parts, predicate="intersects")[0])] = True
            parts, rows = parts[is_near], rows[is_near]
        is_large = _is_large(parts)
        done.append(parts[~is_large])
        done_rows.append(rows[~is_large])
        parts, rows = _quarter(parts[is_large], rows[is_large])
    pieces = np.concatenate([*done, np.array([], object)])
    at = np.concatenate([*done_rows, np.array([], int)]).astype(int)
    order = np.lexsort((*np.nan_to_num(shapely.bounds(pieces).reshape(-1, 4)).T, at))
    return pieces[order], at[order]


def boxes_round(shapes: Shapes, reach_ft: float | NDArray[np.float64]) -> Shapes:
    """Give boxes that hold all within reach of shapes."""
    west, south, east, north = shapely.bounds(np.asarray(shapes, object)).reshape(-1, 4).T
    return np.asarray(
        shapely.box(west - reach_ft, south - reach_ft, east + reach_ft, north + reach_ft)
    )


def _is_large(parts: Shapes) -> NDArray[np.bool_]:
    west, south, east, north = shapely.bounds(parts).reshape(-1, 4).T
    size_ft = np.maximum(east - west, north - south)
    is_detailed = (shapely.get_num_coordinates(parts) > LARGE_VERTICES) & (size_ft > _FINEST_FT)
    return (shapely.get_dimensions(parts) == _AREA) & (is_detailed | (size_ft > LARGE_FT))


def _quarter(parts: Shapes, rows: Rows) -> tuple[Shapes, Rows]:
    """Cut each area into four that overlap, a long one into two."""
    if not len(parts):
        return parts, rows
    west, south, east, north = shapely.bounds(parts).T
    wide_ft, high_ft = east - west, north - south
    # a middle beyond the end leaves one half empty: a street is not to be slit lengthwise
    middle_x = np.where(2 * wide_ft < high_ft, east + 1, (west + east) / 2)
    middle_y = np.where(2 * high_ft < wide_ft, north + 1, (south + north) / 2)
    corners = (
        (west - 1, south - 1, middle_x + SEAM_FT, middle_y + SEAM_FT),
        (middle_x - SEAM_FT, south - 1, east + 1, middle_y + SEAM_FT),
        (west - 1, middle_y - SEAM_FT, middle_x + SEAM_FT, north + 1),
        (middle_x - SEAM_FT, middle_y - SEAM_FT, east + 1, north + 1),
    )
    cut = np.concatenate([shapely.intersection(parts, shapely.box(*corner)) for corner in corners])
    pieces, at = shapely.get_parts(cut, return_index=True)
    is_kept = (shapely.get_dimensions(pieces) == _AREA) & ~shapely.is_empty(pieces)
    return pieces[is_kept], np.tile(rows, 4)[at[is_kept]]


def _split_lines(parts: Shapes, rows: Rows) -> tuple[Shapes, Rows]:
    """Split long lines in the middle of a side, where two flat ends leave no notch."""
    is_long = (shapely.get_dimensions(parts) == 1) & (
        shapely.get_num_coordinates(parts) > LARGE_VERTICES
    )
    lines, line_rows = list(parts[~is_long]), list(rows[~is_long])
    for line, row in zip(parts[is_long], rows[is_long], strict=True):
        points = shapely.get_coordinates(line)
        ends = np.arange(LARGE_VERTICES, len(points) - 1, LARGE_VERTICES)
        middles = (points[ends - 1] + points[ends]) / 2
        chunks = np.split(points, ends)
        for at, chunk in enumerate(chunks):
            before = middles[at - 1 : at] if at else middles[:0]
            lines.append(shapely.linestrings(np.concatenate([before, chunk, middles[at : at + 1]])))
            line_rows.append(row)
    return np.array(lines, object), np.array(line_rows, int)
