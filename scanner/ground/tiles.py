"""
Polygons that span a city, divided on a fixed lattice of degrees before any lot meets them.

The lattice is the same whatever lots are looked at, so that a lot's ground never hangs on
what else is in its block.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import shapely
from geopandas import GeoDataFrame

from scanner.plane.grid import unite

LARGE_VERTICES = 256
"""A shape with more vertices than this is divided."""

TILE_DEGREES = 1 / 256
"""Side of a tile, about a quarter of a mile: a power of two, so that halves meet its lines."""

SEAM_DEGREES = 1.5e-7
"""Tiles overlap by this much, half a tenth of a foot: their pieces unite without a seam."""


def divide_large(features: GeoDataFrame, around: np.ndarray | None = None) -> GeoDataFrame:
    """
    Divide shapes of many vertices into one row a tile.

    Parameters
    ----------
    features
        Table `FEATURES`, degrees.
    around
        Boxes [degrees] that tiles are wanted in: west, south, east, north, one row each;
        None: everywhere.

    Returns
    -------
    features
        The same features; rows of a divided one follow each other with the same ``feature_id``.
    """
    shapes = features.geometry.to_numpy()
    large = np.flatnonzero(shapely.get_num_coordinates(shapes) > LARGE_VERTICES)
    if not len(large):
        return features
    boxes = None if around is None else shapely.STRtree(shapely.box(*around.T))
    pieces, rows = _quarter(shapes[large], large, boxes)
    kept = np.setdiff1d(np.arange(len(shapes)), large)
    at = np.concatenate([kept, rows])
    order = np.argsort(at, kind="stable")
    table = pd.DataFrame(features.drop(columns="geometry")).iloc[at[order]].reset_index(drop=True)
    geometry = np.concatenate([shapes[kept], pieces])[order]
    return GeoDataFrame(table, geometry=geometry, crs=features.crs)


def _quarter(
    shapes: np.ndarray, rows: np.ndarray, wanted: shapely.STRtree | None
) -> tuple[np.ndarray, np.ndarray]:
    """Halve tiles that hold large shapes from above, down to the lattice's own size."""
    west, south, east, north = shapely.bounds(shapes).T
    size = np.maximum(np.maximum(east - west, north - south), TILE_DEGREES)
    side = TILE_DEGREES * 2.0 ** np.ceil(np.log2(size / TILE_DEGREES))
    corner = np.floor(np.column_stack([west, south]) / side[:, None]) * side[:, None]
    steps = np.array([[0, 0], [1, 0], [0, 1], [1, 1]])
    shapes, rows, side = np.tile(shapes, 4), np.tile(rows, 4), np.tile(side, 4)
    corner = np.concatenate([corner + side[: len(corner), None] * step for step in steps])
    done: list[tuple[np.ndarray, np.ndarray]] = []
    while len(shapes):
        shapes, rows, side, corner = _cut(shapes, rows, side, corner, wanted)
        small = (side <= TILE_DEGREES) | (shapely.get_num_coordinates(shapes) <= LARGE_VERTICES)
        done.append((shapes[small], rows[small]))
        shapes, rows, half, corner = shapes[~small], rows[~small], side[~small] / 2, corner[~small]
        corner = np.concatenate([corner + half[:, None] * step for step in steps])
        shapes, rows, side = np.tile(shapes, 4), np.tile(rows, 4), np.tile(half, 4)
    return np.concatenate([part for part, _ in done]), np.concatenate([row for _, row in done])


def _cut(
    shapes: np.ndarray,
    rows: np.ndarray,
    side: np.ndarray,
    corner: np.ndarray,
    wanted: shapely.STRtree | None,
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Cut shapes to their tiles, those left out that are empty or not wanted."""
    tiles = shapely.box(*(corner - SEAM_DEGREES).T, *(corner + side[:, None] + SEAM_DEGREES).T)
    keep = shapely.intersects(tiles, shapely.envelope(shapes))
    if wanted is not None:
        keep &= np.isin(np.arange(len(tiles)), wanted.query(tiles)[0])
    flat = shapely.get_dimensions(shapes[keep])
    cut = shapely.intersection(shapes[keep], tiles[keep])
    # A shape that only touches a tile leaves a point or a line of it.
    whole = (shapely.get_dimensions(cut) == flat) & ~shapely.is_empty(cut)
    return cut[whole], rows[keep][whole], side[keep][whole], corner[keep][whole]


JOINT_FT = 0.5
"""Centrelines whose ends lie this near to each other meet."""


def pave(shapes: np.ndarray, kinds: np.ndarray, pavement_ft: np.ndarray) -> np.ndarray:
    """
    Widen centrelines to their pavement, round where they meet, so that a bend leaves no wedge.

    Parameters
    ----------
    shapes
        Geometry array [ft], n rows.
    kinds, pavement_ft
        Kind of each feature, and width of its pavement [ft].

    Returns
    -------
    shapes
        The same with polygons for centrelines, n rows.
    """
    lines = np.flatnonzero((kinds == "street_centerline") & ~np.isnan(pavement_ft))
    if not len(lines):
        return shapes
    paved, half_ft = shapes.copy(), pavement_ft[lines] / 2
    flat = shapely.buffer(shapes[lines], half_ft, cap_style="flat", quad_segs=16)
    parts, row = shapely.get_parts(shapes[lines], return_index=True)
    ends = np.concatenate([shapely.get_point(parts, at) for at in (0, -1)])
    one, two = shapely.STRtree(ends).query(ends, predicate="dwithin", distance=JOINT_FT)
    joint = np.unique(one[one != two])
    row = np.tile(row, 2)[joint]
    discs = shapely.buffer(ends[joint], half_ft[row], quad_segs=16)
    paved[lines] = unite(
        np.concatenate([flat, discs]), np.concatenate([np.arange(len(lines)), row]), len(lines)
    )
    return paved
