"""Directions and boxes on a page, in points."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import NDArray

from scanner.pages.drawing.taken import Box

Points = NDArray[np.float64]

HIGH = 15.0
"""A line of words with a disc is so high [pt]."""


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
