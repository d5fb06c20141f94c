"""
How much of an edge has a bed before it, by inward normals run through lawn.

For every straight piece of an edge the lawn in front of it is a rectangle's worth of
normals; what a bed covers of it, seen along the edge, is the edge that the bed has.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import shapely

from scanner.ground.bed.bands import keep_touching
from scanner.ground.plane.shapes import TOUCH_FT, ground_of, parts_of, split_segments


def edge_before_ft(
    beds: pd.DataFrame, chains: np.ndarray, turf: np.ndarray, *, reach_ft: float
) -> np.ndarray:
    """
    Measure the edge whose inward normal, run through lawn, meets each bed.

    Parameters
    ----------
    beds
        Columns ``site`` and ``core`` [ft], n rows, all along one kind.
    chains
        That kind's edges [ft], one multi-line a site, lawn on the left.
    turf
        Turf before any bed [ft], one a site.
    reach_ft
        Length of the normals.

    Returns
    -------
    edge_ft
        Length of edge [ft], n rows.
    """
    edge_ft = np.zeros(len(beds))
    lines, rows = parts_of(chains, "line")
    starts, ends, at = split_segments(lines)
    if not len(starts) or not len(beds):
        return edge_ft
    rows = rows[at]
    fronts = _fronts(starts, ends, turf[rows], reach_ft)
    tree = shapely.STRtree(fronts)
    bed, front = tree.query(beds["core"].to_numpy(), predicate="intersects")
    same = beds["site"].to_numpy()[bed] == rows[front]
    bed, front = bed[same], front[same]
    meets = ground_of(shapely.intersection(beds["core"].to_numpy()[bed], fronts[front]))
    low, high, pair = _shadows(meets, starts[front], ends[front])
    covered_ft = _covered(low, high, pair, len(bed))
    np.add.at(edge_ft, bed, covered_ft)
    return edge_ft


def _fronts(starts: np.ndarray, ends: np.ndarray, turf: np.ndarray, reach_ft: float) -> np.ndarray:
    """Give the lawn in front of each straight piece that hangs together with it."""
    along = ends - starts
    left = np.column_stack([-along[:, 1], along[:, 0]]) / np.hypot(*along.T)[:, None]
    corners = np.stack([starts, ends, ends + left * reach_ft, starts + left * reach_ft], axis=1)
    lawn = ground_of(shapely.intersection(shapely.polygons(corners), turf))
    lines = shapely.linestrings(np.stack([starts, ends], axis=1))
    # A short chord of an arc touches along all of its length or not at all.
    long = np.hypot(*along.T) > 1.0
    fronts = lawn.copy()
    fronts[long] = keep_touching(lawn[long], lines[long])
    return fronts


def _shadows(
    meets: np.ndarray, starts: np.ndarray, ends: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Project what is met onto its straight piece: from, to [ft] and the pair."""
    parts, pair = parts_of(meets)
    points, at = shapely.get_coordinates(parts, return_index=True)
    along = (ends - starts)[pair]
    along = along / np.hypot(*along.T)[:, None]
    place_ft = np.einsum("ij,ij->i", points - starts[pair][at], along[at])
    if not len(at):
        return np.zeros(0), np.zeros(0), pair
    first = np.flatnonzero(np.concatenate([[True], at[1:] != at[:-1]]))
    return np.minimum.reduceat(place_ft, first), np.maximum.reduceat(place_ft, first), pair


def _covered(low: np.ndarray, high: np.ndarray, pair: np.ndarray, count: int) -> np.ndarray:
    """Add up the stretches of each pair, what overlaps counted once."""
    stretches = pd.DataFrame({"low": low, "high": high, "pair": pair})
    stretches = stretches.sort_values(["pair", "low", "high"])
    reached = stretches.groupby("pair")["high"].cummax().groupby(stretches["pair"]).shift()
    start = np.maximum(stretches["low"], reached.fillna(-np.inf))
    length_ft = np.maximum(stretches["high"] - start, 0.0)
    covered = np.bincount(stretches["pair"], weights=length_ft, minlength=count)
    return np.where(covered < TOUCH_FT, 0.0, covered)
