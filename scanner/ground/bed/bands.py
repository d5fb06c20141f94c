"""
Bands: the lawn within a bed's depth of each edge, kinds taking ground in order.

A band is what touches its edge of *L* ∩ buffer(edge, *d*), flat at free ends and round
at outside corners. A whole band takes ground, pieces that make no bed included; what is
left for a later kind must again touch its edge.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import shapely

from scanner.ground.plane.shapes import (
    ARC_STEPS,
    TOUCH_FT,
    gather_rows,
    ground_of,
    parts_of,
    rows_where,
)

LEAST_TOUCH_FT = 0.1
"""A piece touches its edge along at least this much."""


def collect_chains(edges: pd.DataFrame, along: str, column: str, count: int) -> np.ndarray:
    """
    Collect the chains of one kind, one multi-line a site.

    Parameters
    ----------
    edges
        As `find_edges` gives them.
    along
        One of `ALONG`.
    column
        ``geometry`` or ``reach``.
    count
        Number of sites.

    Returns
    -------
    chains
        Multi-lines [ft], one a site, empty where there is none.
    """
    chosen = edges[edges["along"] == along]
    parts, at = parts_of(chosen[column].to_numpy(), "line")
    return gather_rows(parts, chosen["site"].to_numpy()[at], count)


def draw_band(
    turf: np.ndarray, chains: np.ndarray, reach: np.ndarray, *, depth_ft: float
) -> np.ndarray:
    """
    Draw the band of one kind on each site.

    Parameters
    ----------
    turf
        Ground that is free for this kind [ft], one a site.
    chains
        Its edges [ft], one multi-line a site.
    reach
        The same edges run on under other hardscape.
    depth_ft
        Depth of the band.

    Returns
    -------
    bands
        Polygons [ft], one a site.
    """
    near = np.flatnonzero(rows_where(turf, chains, TOUCH_FT))
    wide = shapely.buffer(reach[near], depth_ft, cap_style="flat", quad_segs=ARC_STEPS)
    bands = np.full(len(turf), shapely.Polygon(), dtype=object)
    bands[near] = keep_touching(ground_of(shapely.intersection(turf[near], wide)), chains[near])
    return bands


def keep_touching(shapes: np.ndarray, chains: np.ndarray) -> np.ndarray:
    """
    Keep the pieces of each row that touch its edge.

    Parameters
    ----------
    shapes
        Polygons [ft], n rows.
    chains
        Edges [ft], n rows.

    Returns
    -------
    shapes
        The touching pieces, n rows.
    """
    parts, rows = parts_of(shapes)
    touches = touch_ft(parts, chains[rows]) >= LEAST_TOUCH_FT
    return gather_rows(parts[touches], rows[touches], len(shapes))


def touch_ft(parts: np.ndarray, chains: np.ndarray) -> np.ndarray:
    """
    Measure how long edges run along pieces.

    Parameters
    ----------
    parts
        Polygons [ft], n rows.
    chains
        Edges [ft], n rows.

    Returns
    -------
    length_ft
        Length of each edge within `TOUCH_FT` of the piece [ft].
    """
    near = np.flatnonzero(rows_where(parts, chains, TOUCH_FT))
    length_ft = np.zeros(len(parts))
    reach = shapely.buffer(parts[near], TOUCH_FT, join_style="mitre")
    length_ft[near] = shapely.length(shapely.intersection(chains[near], reach))
    return length_ft
