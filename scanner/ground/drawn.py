"""
Edges drawn as lines: each becomes a thread of hardscape that the lawn ends at.

A drawn line beats a derived edge where both lie within ``gap_ft``: the polygon behind
it is cut back or filled up to the line. Turning a line into a thread lets lawn,
closing and edges treat it like any polygon; its width costs a hundredth of a foot.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import shapely

from scanner.ground.shapes import (
    TOUCH_FT,
    contact_ft,
    gather_rows,
    ground_of,
    parts_of,
    union_of,
    union_rows,
)
from scanner.ground.sites import Sites
from scanner.schema.documents import LocalRules

LAYER_OF = {"curb": "curbed"}
"""Layer of an `along` where it has another name."""


def thread_lines(sites: Sites, along: str) -> np.ndarray:
    """
    Give the threads of the edges drawn along one kind.

    Parameters
    ----------
    sites
        Sites of one plane.
    along
        One of `ALONG`.

    Returns
    -------
    threads
        Thin polygons [ft], one a site, empty where none is drawn.
    """
    lines = _lines(sites, along)
    return ground_of(shapely.buffer(lines, TOUCH_FT, cap_style="flat", join_style="mitre"))


def lay_lines(sites: Sites, *, rules: LocalRules) -> Sites:
    """
    Lay the drawn edges into the layers that they run along.

    Parameters
    ----------
    sites
        Sites of one plane.
    rules
        Gap, frontage [ft].

    Returns
    -------
    sites
        The same sites; a drawn curb counts as street too.
    """
    laid = sites
    for along in sites.lines["along"].unique():
        shapes = _lay(sites, along, rules)
        changes: dict[str, Any] = {LAYER_OF.get(along, along): shapes}
        if along == "curb":
            uncurbed = shapely.difference(sites.street, sites.curbed)
            changes["street"] = ground_of(union_of(shapes, uncurbed))
        laid = replace(laid, **changes)
    return laid


def _lines(sites: Sites, along: str) -> np.ndarray:
    chosen = sites.lines[sites.lines["along"] == along]
    shapes, rows = chosen["geometry"].to_numpy(), chosen["site"].to_numpy()
    return shapely.line_merge(union_rows(shapes, rows, len(sites)))


def _lay(sites: Sites, along: str, rules: LocalRules) -> np.ndarray:
    """Cut one layer back to the drawn lines, or fill it up to them."""
    layer, lines = sites.layer(along), _lines(sites, along)
    threads = thread_lines(sites, along)
    flanks = shapely.difference(
        shapely.buffer(lines, rules.gap_ft, cap_style="flat", join_style="mitre"), threads
    )
    parts, rows = parts_of(flanks)
    is_turf_side = _turf_side(sites, parts, rows, layer[rows], rules.frontage_max_ft)
    is_backed = contact_ft(parts, layer[rows]) > TOUCH_FT
    near = gather_rows(parts[is_turf_side], rows[is_turf_side], len(sites))
    fill = ~is_turf_side & is_backed
    far = gather_rows(parts[fill], rows[fill], len(sites))
    cut = shapely.difference(layer, shapely.buffer(near, 0))
    return ground_of(union_of(cut, threads, far))


def _turf_side(
    sites: Sites, parts: np.ndarray, rows: np.ndarray, layer: np.ndarray, reach_ft: float
) -> np.ndarray:
    """Tell which flank of a line is the lawn's: more turf, less hardscape, else nearer."""
    base = np.where(shapely.is_empty(sites.turf), sites.outline, sites.turf)[rows]
    hard = shapely.area(shapely.intersection(parts, layer))
    turf = shapely.area(shapely.intersection(parts, base)) - hard
    closeness = -shapely.distance(shapely.centroid(parts), base) / (100 * max(reach_ft, 1.0))
    score = turf + closeness
    best = np.full(len(sites), -np.inf)
    np.maximum.at(best, rows, score)
    return score >= best[rows] - TOUCH_FT
