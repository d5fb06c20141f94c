"""
Where the few shrubs of an accent stand: rows along the middle of the bed, zigzag.

A row is the edge offset to a depth at which it runs as long as it can through ground one
foot off the border; shrubs stand evenly along each of its stretches, in turn a little to
either side.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import shapely

from scanner.job.edge_rows import BORDER_FT, EdgeParts, Shapes, far_ft, offset_lines
from scanner.schema.documents import RateBook

CLEAR_FT = 1.0
"""No shrub stands nearer to the border of its ground (our rule, no source)."""

ROUND_FT = 0.01
"""A stretch this much short still takes its shrub: circles are drawn with corners."""

DEPTH_COUNT = 5
"""Depths tried for each row."""

EQUAL_SHARE = 0.95
"""Depths whose run is this share of the longest are equally good."""


def place_accents(grounds: Shapes, stretches: EdgeParts, *, rates: RateBook) -> pd.DataFrame:
    """
    Place the shrubs of an accent on n grounds where plants may stand [ft]: ``ground``, ``x_ft``, ``y_ft``.

    By ground, row and stretch of the edges that they lie along, from the edge on.

    With w the plantable area over (longest run + 2 ft): max(1, ⌊w/spacing + ½⌋) rows share
    the depth evenly. Of five depths evenly across a row's share, those whose run is at
    least 95 % of the longest are equally good, and the one nearest their middle is taken.
    A stretch of length L = run + 2 ft takes ⌊L/spacing + ½⌋ shrubs at (i − ½) L/n from a
    foot before its start, in turn min(w/6, w/2 − 1 ft) to either side, w the row's own.
    """
    spacing_ft = rates.accent_spacing_ft.value
    drawn, parts, owners = stretches
    inner = shapely.buffer(grounds, -CLEAR_FT)
    has_room = ~shapely.is_empty(inner)[owners]
    drawn, parts, owners = drawn[has_room], parts[has_room], owners[has_room]
    near_ft = shapely.distance(parts, inner[owners])
    room_ft = far_ft(parts, inner[owners]) - near_ft
    whole = _runs(parts, owners, inner, near_ft, room_ft, np.ones(len(parts), int))
    longest_ft = np.zeros(len(parts))
    np.maximum.at(longest_ft, whole["part"], whole["run_ft"])
    width_ft = shapely.area(grounds)[owners] / (longest_ft + 2 * CLEAR_FT)
    row_count = np.maximum(1, np.floor(width_ft / spacing_ft + 0.5)).astype(int)
    many = row_count > 1
    runs = whole[~many[whole["part"]]]
    if many.any():
        at = np.flatnonzero(many)
        more = _runs(parts[at], owners[at], inner, near_ft[at], room_ft[at], row_count[at])
        runs = pd.concat([runs, more.assign(part=at[more["part"]])], ignore_index=True)
    spots = _set_out(_choose_depths(runs), inner, owners, width_ft / row_count, spacing_ft)
    spots = spots[_is_nearest(spots, drawn, owners)].sort_values("ground", kind="stable")
    return spots[["ground", "x_ft", "y_ft"]].reset_index(drop=True)


def _is_nearest(spots: pd.DataFrame, drawn: Shapes, owners: np.ndarray) -> np.ndarray:
    """Let each stretch of a bed's edge rule the ground next to it, where there are several."""
    several = np.bincount(owners)[owners] > 1
    keep = ~several[spots["part"]]
    for at in np.flatnonzero(~keep):
        point = shapely.Point(spots["x_ft"].iloc[at], spots["y_ft"].iloc[at])
        rivals = np.flatnonzero(owners == spots["ground"].iloc[at])
        keep[at] = rivals[shapely.distance(drawn[rivals], point).argmin()] == spots["part"].iloc[at]
    return keep


def _runs(
    parts: Shapes, owners: np.ndarray, inner: Shapes,
    near_ft: np.ndarray, room_ft: np.ndarray, row_count: np.ndarray,
) -> pd.DataFrame:  # fmt: skip
    """Offset each edge to the depths tried for each row and tell how long it runs through its ground."""
    count = DEPTH_COUNT * row_count
    part = np.repeat(np.arange(len(parts)), count)
    step = np.arange(len(part)) - np.repeat(np.cumsum(count) - count, count)
    depth_ft = near_ft[part] + room_ft[part] * (step + 0.5) / count[part]
    lines = offset_lines(parts, part, depth_ft)
    inside = shapely.intersection(lines, inner[owners[part]])
    return pd.DataFrame({
        "part": part, "row": step // DEPTH_COUNT, "depth_ft": depth_ft, "line": lines,
        "inside": inside, "run_ft": shapely.length(inside),
    })  # fmt: skip


def _choose_depths(runs: pd.DataFrame) -> pd.DataFrame:
    """Of each row's depths take the one nearest the middle of those that run longest."""
    by_row = runs.groupby(["part", "row"], sort=False)
    longest_ft = by_row["run_ft"].transform("max")
    good = runs[(runs["run_ft"] >= EQUAL_SHARE * longest_ft) & (runs["run_ft"] > BORDER_FT)]
    middle_ft = good.groupby(["part", "row"], sort=False)["depth_ft"].transform("mean")
    off_ft = (good["depth_ft"] - middle_ft).abs().round(6)
    ordered = good.assign(off_ft=off_ft).sort_values(["part", "row", "off_ft", "depth_ft"])
    return ordered.drop_duplicates(["part", "row"])


def _set_out(
    rows: pd.DataFrame, inner: Shapes, owners: np.ndarray, width_ft: np.ndarray, spacing_ft: float
) -> pd.DataFrame:
    """Stand shrubs evenly along each stretch of the rows, in turn to either side."""
    lines = np.asarray(rows["line"], dtype=object)
    merged = shapely.line_merge(np.asarray(rows["inside"], dtype=object))
    stretches, row = shapely.get_parts(merged, return_index=True)
    long_enough = shapely.length(stretches) > BORDER_FT
    stretches, row = stretches[long_enough], row[long_enough]
    ends = [
        shapely.line_locate_point(lines[row], shapely.get_point(stretches, at)) for at in (0, -1)
    ]
    start_ft = np.minimum(*ends)
    order = np.lexsort((start_ft, row))
    start_ft, run_ft, row = start_ft[order], shapely.length(stretches)[order], row[order]
    length_ft = run_ft + 2 * CLEAR_FT
    counts = np.floor((length_ft + ROUND_FT) / spacing_ft + 0.5).astype(int)
    at = np.repeat(np.arange(len(row)), counts)
    place = np.arange(len(at)) - np.repeat(np.cumsum(counts) - counts, counts)
    along_ft = start_ft[at] - CLEAR_FT + (place + 0.5) * length_ft[at] / counts[at]
    along_ft = np.clip(along_ft, start_ft[at], start_ft[at] + run_ft[at])
    part = rows["part"].to_numpy()[row[at]]
    aside_ft = np.clip(np.minimum(width_ft / 6, width_ft / 2 - CLEAR_FT), 0.0, None)[part]
    xy = _beside(lines[row[at]], along_ft, np.where(place % 2, -aside_ft, aside_ft))
    ground = owners[part]
    middle = _beside(lines[row[at]], along_ft, np.zeros(len(at)))
    out = ~shapely.intersects_xy(shapely.buffer(inner, BORDER_FT)[ground], xy[:, 0], xy[:, 1])
    xy[out] = middle[out]
    return pd.DataFrame({"ground": ground, "part": part, "x_ft": xy[:, 0], "y_ft": xy[:, 1]})


def _beside(lines: Shapes, along_ft: np.ndarray, aside_ft: np.ndarray) -> np.ndarray:
    step_ft = 0.05
    here, before, after = (
        shapely.get_coordinates(
            shapely.line_interpolate_point(lines, np.maximum(along_ft + by, 0.0))
        )
        for by in (0.0, -step_ft, step_ft)
    )
    way = after - before
    way /= np.maximum(np.hypot(way[:, 0], way[:, 1]), 1e-12)[:, None]
    return here + np.column_stack([-way[:, 1], way[:, 0]]) * aside_ft[:, None]
