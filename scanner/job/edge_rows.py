"""The edge that a bed lies along, made ready for rows of plants that run parallel to it."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import numpy.typing as npt
import shapely

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
