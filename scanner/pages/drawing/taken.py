"""Where words about a bed may stand, best first, and what places on a drawing are taken: directions and boxes in points."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple

import numpy as np
import shapely
from numpy.typing import NDArray

Points = NDArray[np.float64]

PIECE = 6.0
"""Lines are taken in pieces so long [pt]."""


class Box(NamedTuple):
    """A box of a page [pt]."""

    left: float
    bottom: float
    right: float
    top: float

    @classmethod
    def around(cls, x: float, y: float, width: float, height: float) -> Box:
        """Lay a box round its middle."""
        return cls(x - width / 2, y - height / 2, x + width / 2, y + height / 2)


class Taken:
    """Boxes that are taken within a field; nothing is free outside of it."""

    def __init__(self, field: Box) -> None:
        self.field = field
        self._boxes = np.empty((0, 4))

    def add(self, *boxes: Box) -> None:
        """Take boxes."""
        self._boxes = np.concatenate([self._boxes, np.array(boxes, float).reshape(-1, 4)])

    def add_line(self, xy: Points) -> None:
        """Take a line, piece by piece."""
        steps = np.diff(xy, axis=0)
        count = np.maximum(np.ceil(np.hypot(*steps.T) / PIECE), 1).astype(int)
        for at, step, pieces in zip(xy, steps, count, strict=False):
            ends = at + step * (np.arange(pieces + 1) / pieces)[:, None]
            low, high = np.minimum(ends[1:], ends[:-1]), np.maximum(ends[1:], ends[:-1])
            self._boxes = np.concatenate([self._boxes, np.hstack([low - 0.5, high + 0.5])])

    def is_free(self, box: Box) -> bool:
        """Tell whether a box lies within the field and off all that is taken."""
        field, boxes = self.field, self._boxes
        if (
            box.left < field.left
            or box.right > field.right
            or box.bottom < field.bottom
            or box.top > field.top
        ):
            return False
        over = (boxes[:, 0] < box.right) & (boxes[:, 2] > box.left)
        over &= (boxes[:, 1] < box.top) & (boxes[:, 3] > box.bottom)
        return not over.any()


HIGH = 15.0
"""A line of words with a disc is so high [pt]."""
PAST = 7.0
"""A depth stands so far past the end of its bed [pt]."""
LEADERS = (14.0, 26.0, 40.0, 60.0, 90.0)
"""How long a leader is, the first that leads to free ground [pt]."""
FAR = 400.0
"""Longer than any bed is deep [pt]."""


def unit(way: Points) -> Points:
    """Give a direction the length of one point."""
    return way / max(np.hypot(*way), 1e-9)


def left_of(way: Points) -> Points:
    """Turn a direction a quarter to the left, one point long."""
    return unit(np.array([-way[1], way[0]]))


def points_at(line: Points, shares: tuple[float, ...]) -> Points:
    """Give the points at some shares of a line."""
    at = shapely.line_interpolate_point(shapely.linestrings(line), shares, normalized=True)
    return shapely.get_coordinates(at)


def clear_of(way: Points, width: float) -> float:
    """How far the middle of words must lie off in a direction to stand clear [pt]."""
    return float(5 + abs(way[0]) * width / 2 + abs(way[1]) * HIGH / 2)


def box_of(line: Points) -> Box:
    """Box a line with its ticks."""
    low, high = line.min(axis=0) - 2, line.max(axis=0) + 2
    return Box(low[0], low[1], high[0], high[1])


def words_box(spot: Sequence[float] | Points, width: float) -> Box:
    """Box a line of words round its middle."""
    return Box.around(spot[0], spot[1], width, HIGH)


def leaders(
    edge: Points, bed: shapely.Geometry, width: float
) -> Iterator[tuple[Points, tuple[float, float]]]:
    """Lead from the lawn side of a bed to where words of some width may stand, best first."""
    lawn = left_of(edge[-1] - edge[0])
    starts = points_at(edge, (0.5, 0.4, 0.6, 0.3, 0.7, 0.2, 0.8))
    for off in LEADERS:
        for start in starts:
            ray = shapely.linestrings([start - FAR * lawn, start + FAR * lawn])
            out = shapely.get_coordinates(shapely.intersection(bed.boundary, ray))
            foot = out[np.argmax(out @ lawn)] if len(out) else start
            x, y = foot + lawn * (off + abs(lawn[1]) * HIGH / 2 + abs(lawn[0]) * width / 2)
            for slide in (0.0, -0.3, 0.3):
                box = Box.around(x + slide * width, y, width, HIGH)
                end = np.clip(foot, (box.left + 4, box.bottom), (box.right - 4, box.top))
                yield np.vstack([foot, end]), (x + slide * width, y)


def past_ends(
    edge: Points, deep: float, width: float, *, is_left_first: bool
) -> Iterator[tuple[Points, Points]]:
    """Stand a depth past the left end of the first bed, the right one of the next, then at the other end."""
    lawn = left_of(edge[-1] - edge[0])
    is_turned = (edge[0][0] > edge[-1][0]) == is_left_first
    for ends in (edge[::-1], edge) if is_turned else (edge, edge[::-1]):
        out = unit(ends[0] - ends[1])
        up = left_of(out) * np.sign(left_of(out) @ lawn)
        foot = ends[0] + PAST * out
        across = np.array([foot, foot + up * deep])
        yield across, across.mean(axis=0) + out * clear_of(out, width)


def across_bed(
    edge: Points, bed: shapely.Geometry, width: float
) -> Iterator[tuple[Points, Points]]:
    """Lay a depth across a bed, between two plants, its number on the lawn."""
    for share in (0.75, 0.68, 0.82, 0.62, 0.25, 0.32, 0.38, 0.5):
        before, foot, after = points_at(edge, (share - 0.02, share, share + 0.02))
        up = left_of(after - before)
        ray = shapely.linestrings([foot, foot + FAR * up])
        top = shapely.get_coordinates(shapely.intersection(bed, ray))
        if len(top):
            across = np.array([foot, top[np.argmax(top @ up)]])
            yield across, across[1] + up * clear_of(up, width)
