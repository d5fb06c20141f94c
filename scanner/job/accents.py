"""
Where the few shrubs of an accent stand: rows along the middle of the bed, zigzag.

A row is the edge offset to a depth at which it runs as long as it can through ground one
foot off the border; shrubs stand evenly along each of its stretches, in turn a little to
either side.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import numpy.typing as npt
import pandas as pd
import shapely

from scanner.schema.documents import RateBook

Shapes = npt.NDArray[np.object_]

BORDER_FT = 0.01
"""A position on the limit counts as inside it: an eighth of an inch, above what a border errs that was laid on the grid."""


STRAIGHT = 2
"""Points of a line that turns nowhere."""


class EdgeParts(NamedTuple):
    """Unbroken stretches of edge with the bed on their left."""

    drawn: Shapes  # as drawn [ft]
    lines: Shapes  # run on straight past their ends, so that rows reach skew ends [ft]
    owner: npt.NDArray[np.intp]  # ground of each


def edge_parts(grounds: Shapes, edges: Shapes) -> EdgeParts:
    """Take edges [ft] apart into unbroken stretches, in the order of the grounds that they lie along."""
    drawn = ~(shapely.is_missing(edges) | shapely.is_empty(edges))
    drawn &= ~(shapely.is_missing(grounds) | shapely.is_empty(grounds))
    lines = shapely.line_merge(np.where(drawn, edges, shapely.LineString()))
    parts, owners = shapely.get_parts(shapely.remove_repeated_points(lines), return_index=True)
    is_line = shapely.length(parts) > 0
    parts, owners = parts[is_line], owners[is_line]
    parts = np.where(_bed_is_right(parts, grounds[owners]), shapely.reverse(parts), parts)
    return EdgeParts(parts, _run_on(parts, far_ft(parts, grounds[owners])), owners)


def _bed_is_right(parts: Shapes, grounds: Shapes) -> npt.NDArray[np.bool_]:
    inside = shapely.point_on_surface(grounds)
    at_ft = shapely.line_locate_point(parts, inside)
    step_ft = shapely.length(parts) * 1e-3
    before = shapely.get_coordinates(
        shapely.line_interpolate_point(parts, np.maximum(at_ft - step_ft, 0.0))
    )
    after = shapely.get_coordinates(
        shapely.line_interpolate_point(parts, np.minimum(at_ft + step_ft, shapely.length(parts)))
    )
    along, across = after - before, shapely.get_coordinates(inside) - before
    right: npt.NDArray[np.bool_] = along[:, 0] * across[:, 1] - along[:, 1] * across[:, 0] < 0
    return right


def far_ft(parts: Shapes, grounds: Shapes) -> npt.NDArray[np.float64]:
    """Tell how far the farthest corner of each ground lies from its stretch of edge [ft]."""
    corners, owners = shapely.get_coordinates(grounds, return_index=True)
    reach_ft = np.zeros(len(parts))
    np.maximum.at(reach_ft, owners, shapely.distance(parts[owners], shapely.points(corners)))
    return reach_ft


def offset_lines(
    parts: Shapes, part: npt.NDArray[np.intp], depth_ft: npt.NDArray[np.float64]
) -> Shapes:
    """Draw lines parallel to stretches of edge [ft], on their left: mitred at turns, empty where none is left."""
    lines = np.empty(len(part), dtype=object)
    is_straight = (shapely.get_num_coordinates(parts) == STRAIGHT)[part]
    ends = shapely.get_coordinates(parts[part[is_straight]]).reshape(-1, 2, 2)
    way = ends[:, 1] - ends[:, 0]
    left = np.column_stack([-way[:, 1], way[:, 0]]) / np.hypot(way[:, 0], way[:, 1])[:, None]
    lines[is_straight] = shapely.linestrings(
        ends + (left * depth_ft[is_straight][:, None])[:, None, :]
    )
    lines[~is_straight] = shapely.offset_curve(
        parts[part[~is_straight]], depth_ft[~is_straight], join_style="mitre", mitre_limit=2.0
    )
    return lines


def _run_on(parts: Shapes, reach_ft: npt.NDArray[np.float64]) -> Shapes:
    """Lengthen open lines at both ends by `reach_ft`, so that rows reach skew ends of a bed."""
    is_open = ~shapely.is_closed(parts)
    if not is_open.any():
        return parts
    lines, reach_ft = parts[is_open], reach_ft[is_open]
    corners, owners = shapely.get_coordinates(lines, return_index=True)
    starts = np.searchsorted(owners, np.arange(len(lines)))
    ends = np.append(starts[1:], len(owners)) - 1
    heads = _beyond(corners[starts + 1], corners[starts], reach_ft)
    tails = _beyond(corners[ends - 1], corners[ends], reach_ft)
    here = np.arange(len(lines))
    order = np.argsort(np.concatenate([here, owners, here]), kind="stable")
    all_corners = np.concatenate([heads, corners, tails])[order]
    longer = parts.copy()
    longer[is_open] = shapely.linestrings(
        all_corners, indices=np.concatenate([here, owners, here])[order]
    )
    return longer


def _beyond(
    before: npt.NDArray[np.float64], end: npt.NDArray[np.float64], reach_ft: npt.NDArray[np.float64]
) -> npt.NDArray[np.float64]:
    way = end - before
    on: npt.NDArray[np.float64] = end + way / np.hypot(way[:, 0], way[:, 1])[:, None] * (
        reach_ft[:, None] + 1.0
    )
    return on


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
    part, row, run_ft = (runs[name].to_numpy() for name in ("part", "row", "run_ft"))
    key = part * (row.max(initial=0) + 1) + row
    longest_ft = np.zeros(key.max(initial=0) + 1)
    np.maximum.at(longest_ft, key, run_ft)
    is_good = (run_ft >= EQUAL_SHARE * longest_ft[key]) & (run_ft > BORDER_FT)
    good, key = runs[is_good], key[is_good]
    middle_ft = good["depth_ft"].groupby(key).transform("mean")
    off_ft = (good["depth_ft"] - middle_ft).abs().round(6)
    order = np.lexsort((good["depth_ft"], off_ft, key))
    return good.iloc[order[np.unique(key[order], return_index=True)[1]]]


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
