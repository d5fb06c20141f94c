"""
Measures of beds: areas, lines and widths, whole columns at once.

The same measures hold for a bed by itself and for beds that lie together in an offer.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import shapely

from scanner.ground.bed.setbacks import Setbacks
from scanner.ground.lot.lawn import Lawn
from scanner.ground.lot.sites import Sites
from scanner.ground.plane.shapes import (
    TOUCH_FT,
    ground_of,
    lines_of,
    parts_of,
    union_of,
)
from scanner.ground.plane.widths import drop_slivers, join_seamless

BORDER_FT = 0.004
"""A border runs along what it lies this near to: corners add no more than that to a length."""

RAY_FT = 60.0
"""Turf wider than this is wide."""

BESIDE_FT = 4 * TOUCH_FT
"""Rays begin this far off the bed line, clear of rounding."""

RAY_SPACING_FT = 1.0
"""Rays off the bed line stand this far apart."""

NARROW_PERCENTILE = 10
"""Percentile of the rays that is called the width."""


def measure_beds(
    beds: pd.DataFrame, sites: Sites, lawn: Lawn, setbacks: Setbacks, others: np.ndarray
) -> pd.DataFrame:
    """
    Measure each bed, absorbed turf included.

    Parameters
    ----------
    beds
        Columns ``site``, ``edge_ft``, ``core``, ``absorbed`` [ft].
    sites, lawn, setbacks
        Sites of one plane, their turf and limits.
    others
        Ground of the other beds built with each bed [ft], aligned with `beds`.

    Returns
    -------
    beds
        The same rows with `geometry`, `plantable`, `low_ground` and the measures of table
        `BEDS`.
    """
    row = beds["site"].to_numpy()
    shapes = join_seamless(beds["core"].to_numpy(), beds["absorbed"].to_numpy())
    turf = drop_slivers(shapely.difference(lawn.ground[row], union_of(shapes, others)))
    limits = _limits(shapes, setbacks, row)
    hard = sites.hard
    trimmed = union_of(hard, sites.neighbor)
    shut = union_of(trimmed, sites.old_bed, sites.water)[row]
    line = bed_lines(shapes, union_of(_beside(shapes, shut), others))
    area_ft2 = shapely.area(shapes)
    return beds.assign(
        geometry=shapes,
        area_ft2=area_ft2,
        mean_depth_ft=area_ft2 / np.maximum(beds["edge_ft"].to_numpy(), TOUCH_FT),
        bed_line_ft=shapely.length(line),
        absorbed_ft2=shapely.area(beds["absorbed"].to_numpy()),
        right_of_way_ft2=shapely.area(shapely.difference(shapes, sites.outline[row])),
        trim_ft=_border_on(shapes, trimmed[row]),
        turf_left_ft2=shapely.area(turf),
        turf_left_width_ft=_width_ft(line, turf),
        **limits,
    )


def bed_lines(shapes: np.ndarray, shut: np.ndarray) -> np.ndarray:
    """
    Take the lawn-side border of each bed, the only side that needs edging.

    Parameters
    ----------
    shapes
        Beds [ft], n rows.
    shut
        Hardscape, walls, old beds, water and beds beside [ft], n rows.

    Returns
    -------
    lines
        The border that lies on none of them [ft], n rows.
    """
    reach = shapely.buffer(shut, BORDER_FT, join_style="mitre")
    return lines_of(shapely.difference(shapely.boundary(shapes), reach))


def _border_on(shapes: np.ndarray, hard: np.ndarray) -> np.ndarray:
    """Measure the border of beds on what turf is trimmed along [ft]."""
    reach = shapely.buffer(_beside(shapes, hard), BORDER_FT, join_style="mitre")
    return shapely.length(shapely.intersection(shapely.boundary(shapes), reach))


def _beside(shapes: np.ndarray, ground: np.ndarray) -> np.ndarray:
    """Cut ground to what lies beside each bed: less to overlay than a whole street."""
    return shapely.intersection(ground, shapely.buffer(shapes, 1.0, quad_segs=2))


def _limits(shapes: np.ndarray, setbacks: Setbacks, row: np.ndarray) -> dict[str, np.ndarray]:
    """Cut the limited ground to each bed."""
    plant_free = ground_of(shapely.intersection(shapes, setbacks.plant_free[row]))
    wall = ground_of(shapely.intersection(shapes, setbacks.wall[row]))
    step_out = setbacks.step_out[row]
    bare = union_of(plant_free, wall, step_out)
    low = ground_of(shapely.intersection(shapes, setbacks.low[row]))
    by_hand = shapely.intersection(shapes, union_of(plant_free, setbacks.roots[row]))
    kept_free = shapely.intersection(shapes, union_of(plant_free, step_out))
    burns = shapely.area(shapely.intersection(shapes, setbacks.wildfire[row])) > 1.0
    return {
        "plantable": ground_of(shapely.difference(shapes, bare)),
        "low_ground": low,
        "low_plant_ft2": shapely.area(low),
        "plant_free_ft2": shapely.area(kept_free),
        "wall_strip_ft2": shapely.area(wall),
        "hand_dig_ft2": shapely.area(by_hand),
        "is_wildfire": burns,
    }


def _width_ft(lines: np.ndarray, turf: np.ndarray) -> np.ndarray:
    """Measure the turf's width off each bed line: a low percentile of rays a foot apart."""
    pieces, bed = parts_of(lines, "line")
    length_ft = shapely.length(pieces)
    count = np.ceil(length_ft / RAY_SPACING_FT).astype(int)
    ray = np.repeat(np.arange(len(count)), count)
    first = np.repeat(np.cumsum(count) - count, count)
    at_ft = (np.arange(len(ray)) - first + 0.5) * length_ft[ray] / count[ray]
    before, foot, after = (
        shapely.get_coordinates(shapely.line_interpolate_point(pieces[ray], at_ft + step_ft))
        for step_ft in (-0.02, 0.0, 0.02)
    )
    along = after - before
    left = np.column_stack([-along[:, 1], along[:, 0]])
    left = left / np.maximum(np.hypot(*along.T), 1e-9)[:, None]
    ground = turf[bed[ray]]
    # The turf lies on one side of the line or, off an open end, on none.
    beside = foot + left * BESIDE_FT
    is_left = shapely.intersects_xy(ground, beside[:, 0], beside[:, 1])
    wide_ft = _reach(foot, np.where(is_left[:, None], left, -left), ground)
    # A ray off an open end runs through no lawn and says nothing of its width.
    runs = pd.DataFrame({"bed": bed[ray], "wide_ft": wide_ft})[wide_ft > 0]
    width_ft = runs.groupby("bed")["wide_ft"].quantile(NARROW_PERCENTILE / 100)
    return width_ft.reindex(range(len(lines))).to_numpy(float)


def _reach(foot: np.ndarray, along: np.ndarray, turf: np.ndarray) -> np.ndarray:
    """Measure how far each ray runs through turf before it leaves it."""
    rays = shapely.linestrings(np.stack([foot + along * BESIDE_FT, foot + along * RAY_FT], axis=1))
    runs, ray = parts_of(shapely.intersection(rays, turf), "line")
    begins = shapely.dwithin(runs, shapely.get_point(rays, 0)[ray], TOUCH_FT)
    reach_ft = np.zeros(len(rays))
    np.maximum.at(reach_ft, ray[begins], shapely.length(runs[begins]) + BESIDE_FT)
    return reach_ft
