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

from scanner.ground.lot.sites import Sites
from scanner.ground.plane.shapes import (
    TOUCH_FT,
    ground_of,
    parts_of,
    union_of,
    union_rows,
)
from scanner.ground.plane.widths import smooth_rings
from scanner.schema.documents import LocalRules

FAR_FT = 1000.0
"""Nearness decides only between flanks that have as much turf: it weighs a thousandth."""

GRID_FT = 1e-4
"""Grid that laid layers are put on."""

STEP_FT = 0.002
"""Steps of this size where a line meets a polygon are no corners."""

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
    layer, threads = sites.layer(along), thread_lines(sites, along)
    lines, line_rows = parts_of(_lines(sites, along), "line")
    wide = shapely.buffer(lines, rules.gap_ft, cap_style="flat", join_style="mitre")
    parts, line = parts_of(shapely.difference(wide, threads[line_rows]))
    rows = line_rows[line]
    score = _turf_score(sites, parts, rows, layer[rows])
    best = np.full(len(lines), -np.inf)
    np.maximum.at(best, line, score)
    is_turf_side = score >= best[line] - TOUCH_FT
    near = union_rows(parts[is_turf_side], rows[is_turf_side], len(sites))
    # Behind a curb or a wall lies hardscape, drawn or not; a fence has turf on both sides.
    behind = ~is_turf_side & (along != "fence")
    far = union_rows(parts[behind], rows[behind], len(sites))
    far = shapely.difference(far, near)
    laid = ground_of(union_of(shapely.difference(layer, near), threads, far))
    # Borders cut by a line and laid beside it differ by rounding: one grid makes them one.
    return smooth_rings(shapely.simplify(shapely.set_precision(laid, GRID_FT), STEP_FT))


def _turf_score(sites: Sites, parts: np.ndarray, rows: np.ndarray, layer: np.ndarray) -> np.ndarray:
    """Score the flanks of lines: more turf, less hardscape, else nearer is the lawn's side."""
    base = np.where(shapely.is_empty(sites.turf), sites.outline, sites.turf)[rows]
    hard_ft2 = shapely.area(shapely.intersection(parts, layer))
    turf_ft2 = shapely.area(shapely.intersection(parts, base)) - hard_ft2
    return turf_ft2 - shapely.distance(shapely.centroid(parts), base) / FAR_FT
