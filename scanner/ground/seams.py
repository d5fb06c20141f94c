"""
Drawn pieces: large ones divided before they meet a lot, those of one thing joined on it.

A city's streets may be one polygon, and a street may be drawn in pieces that all but touch.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import shapely
from geopandas import GeoDataFrame

from scanner.ground.kinds import LINE, STREET, Lots, Parts
from scanner.plane.grid import boxes_meet, meet, minus, snap, unite
from scanner.plane.segments import join

LARGE_VERTICES = 256
"""A shape with more vertices than this is divided."""

TILE_DEGREES = 1 / 256
"""Side of a tile, about a quarter of a mile: a power of two, so that halves meet its lines."""

SEAM_DEGREES = 1.5e-7
"""Tiles overlap by this much, half a tenth of a foot: their pieces unite without a seam."""


def divide_large(features: GeoDataFrame, around: np.ndarray | None = None) -> GeoDataFrame:
    """
    Divide features [degrees] of many vertices into one row a tile; rows of one follow each other.

    ``around``: boxes that tiles are wanted in: west, south, east, north, one row each; None:
    everywhere.
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
    """Widen centerlines [ft] to their pavement, round where they meet, so that a bend leaves no wedge."""
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


SEAM_FT = 0.05
"""Pieces of one thing lie up to this far apart: a seam of the drawing."""


def join_parts(parts: Parts, *, gap_ft: float) -> Parts:
    """
    Join what touches, lot by lot and kind by kind.

    Pieces of streets up to `gap_ft` apart have one curb: what lies between is street.

    >>> halves = shapely.box([0, 5.04], 0, [5, 9], 3)
    >>> joined = join_parts(Parts(halves, np.array([8, 8]), np.array([0, 0])), gap_ft=1.5)
    >>> shapely.area(joined.shape).tolist()
    [27.0]
    """
    one, two, apart_ft = _close_pairs(parts, gap_ft)
    both_streets = ((parts.bits[one] & STREET) > 0) & ((parts.bits[two] & STREET) > 0)
    same = (parts.bits[one] == parts.bits[two]) & (apart_ft <= SEAM_FT)
    filled = both_streets & ~same & (apart_ft > 0)
    fills = _fill(parts, one[filled], two[filled], gap_ft)
    joined = _join(parts, one[same], two[same])
    return joined.add(*fills)


def _close_pairs(parts: Parts, gap_ft: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Pair parts of a lot that may be one; streets up to a gap apart, others up to a seam."""
    one, two = join(parts.lot, parts.lot)
    street = (parts.bits & STREET) > 0
    alike = (parts.bits[one] == parts.bits[two]) | (street[one] & street[two])
    lines = (parts.bits & LINE) > 0
    keep = (one < two) & alike & (lines[one] == lines[two])
    one, two = one[keep], two[keep]
    box = shapely.bounds(parts.shape)
    reach_ft = np.where(street[one] & ~lines[one], gap_ft, SEAM_FT)
    close = boxes_meet(box[one], box[two], reach_ft)
    one, two, reach_ft = one[close], two[close], reach_ft[close]
    apart_ft = shapely.distance(parts.shape[one], parts.shape[two])
    close = apart_ft <= reach_ft
    return one[close], two[close], apart_ft[close]


def _fill(
    parts: Parts, one: np.ndarray, two: np.ndarray, gap_ft: float
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Give the ground between pieces of streets that nearly touch: shapes, bits, lots."""
    both = shapely.union(parts.shape[one], parts.shape[two])
    closed = _close(both, gap_ft / 2 + SEAM_FT / 100)
    between = minus(closed, both)
    # Overlapped by a hair, so that no slit stays between a street and what was filled.
    wide = snap(meet(shapely.buffer(between, SEAM_FT / 10, join_style="mitre"), closed))
    real = shapely.area(between) > SEAM_FT
    return wide[real], parts.bits[one][real], parts.lot[one][real]


def _join(parts: Parts, one: np.ndarray, two: np.ndarray) -> Parts:
    """Unite groups of pieces that touch."""
    count = len(parts.lot)
    group = np.arange(count)
    # To load a library for these three lines would make each process of blocks 20 MB heavier.
    while (group[one] != group[two]).any():
        np.minimum.at(group, one, group[two])
        np.minimum.at(group, two, group[one])
        group = group[group]
    size = np.bincount(group)
    several = np.flatnonzero(size[group] > 1)
    if not len(several):
        return parts
    _, first, at = np.unique(group[several], return_index=True, return_inverse=True)
    leads = several[first]
    lines = (parts.bits[leads] & LINE) > 0
    whole = np.full(len(leads), None, object)
    is_line = lines[at]
    drawn, rows = parts.shape[several][is_line], at[is_line]
    order = np.argsort(rows, kind="stable")
    merged, names = np.unique(rows[order], return_inverse=True)
    if len(merged):
        together = shapely.geometrycollections(drawn[order], indices=names)
        whole[merged] = snap(shapely.line_merge(shapely.union_all(together[:, None], axis=1)))
    areas = np.flatnonzero(~lines)
    united = unite(parts.shape[several][~is_line], np.searchsorted(areas, at[~is_line]), len(areas))
    whole[areas] = snap(close_seams(united))
    shape = parts.shape.copy()
    shape[leads] = whole
    return parts._replace(shape=shape).take(
        np.setdiff1d(np.arange(count), np.setdiff1d(several, leads))
    )


def close_seams(shapes: np.ndarray) -> np.ndarray:
    """Close the seams up to `SEAM_FT` wide in shapes that were drawn in pieces."""
    return _close(shapes, SEAM_FT / 2)


def _close(shapes: np.ndarray, radius_ft: float) -> np.ndarray:
    wide = shapely.buffer(shapes, radius_ft, join_style="mitre")
    return shapely.buffer(wide, -radius_ft, join_style="mitre")


def streets_of(parts: Parts, count: int) -> np.ndarray:
    """Unite the street of each of `count` lots [ft], whatever it is known from; empty where none is known."""
    paved = parts.take(((parts.bits & STREET) > 0) & ((parts.bits & LINE) == 0))
    streets = unite(paved.shape, paved.lot, count)
    several = np.flatnonzero(np.bincount(paved.lot, minlength=count) > 1)
    # Pieces that touch on the grid leave slits: one street has one curb to walk along.
    streets[several] = snap(close_seams(streets[several]))
    return streets


def is_window_edge(a: np.ndarray, b: np.ndarray, window: np.ndarray) -> np.ndarray:
    """Tell which pieces of a border, from `a` to `b`, only stand where a shape was cut to its window [ft]."""
    both = np.concatenate([a, a], axis=1), np.concatenate([b, b], axis=1)
    return ((both[0] == window) & (both[1] == window)).any(axis=1)


def windows_of(lots: Lots, reach_ft: float) -> np.ndarray:
    """Give the box of each lot within which its layers are complete, whole feet: west, south, east, north."""
    west, south, east, north = shapely.bounds(lots.outline).T
    low = np.floor(np.column_stack([west, south])) - reach_ft
    return np.column_stack([low, np.ceil(np.column_stack([east, north])) + reach_ft])
