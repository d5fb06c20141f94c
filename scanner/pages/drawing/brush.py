"""What draws shapes given in feet on a page: cut to the field, in points."""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from scanner.pages.drawing.framing import Frame
from scanner.pages.paper.sheet import Paper

Shapes = NDArray[Any]
Points = NDArray[np.float64]

LEAST_RING = 3
"""A ring has a point more."""
FINE = 0.12
"""Bends smaller than this are not drawn [pt]."""


class Brush:
    """Draws shapes of one frame."""

    def __init__(self, paper: Paper, frame: Frame) -> None:
        self.paper, self.canvas, self.frame = paper, paper.canvas, frame
        self._windows = frame.shown()

    def visible(self, shapes: Shapes) -> Shapes:
        """Cut shapes to what is drawn of them, in points; parts in no order."""
        shapes = shapes[~shapely.is_empty(shapes)]
        fine = shapely.simplify(shapes, FINE / self.frame.scale.points)
        cut = [np.asarray(shapely.intersection(fine, window)) for window in self._windows]
        parts = shapely.get_parts(np.concatenate(cut)) if len(shapes) else shapes
        parts = parts[~shapely.is_empty(parts)]
        xy = shapely.get_coordinates(parts)
        return shapely.set_coordinates(parts, self.frame.to_page(xy)) if len(xy) else parts

    def fill(self, shapes: Shapes, color: str) -> None:
        """Fill areas."""
        parts = self.visible(shapes)
        parts = parts[shapely.area(parts) > 0]
        if len(parts):
            path = self.canvas.beginPath()
            for ring in shapely.get_rings(parts):
                _add(path, shapely.get_coordinates(ring), is_closed=True)
            self.canvas.setFillColor(color)
            self.canvas.drawPath(path, stroke=0, fill=1, fillMode=0)

    def outline(
        self, shapes: Shapes, color: str, weight: float, dash: tuple[float, ...] = ()
    ) -> None:
        """Draw the borders of areas, or lines."""
        is_area = shapely.get_dimensions(shapes) == 2  # noqa: PLR2004  # areas
        lines = np.where(is_area, shapely.boundary(shapes), shapes)
        parts = self.visible(np.asarray(lines, object))
        parts = shapely.get_parts(shapely.line_merge(parts))
        self.lines([shapely.get_coordinates(part) for part in parts], color, weight, dash)

    def lines(
        self, lines: list[Points], color: str, weight: float, dash: tuple[float, ...] = ()
    ) -> None:
        """Draw lines given in points of the page."""
        if not lines:
            return
        path = self.canvas.beginPath()
        for xy in lines:
            _add(path, xy, is_closed=len(xy) > LEAST_RING and bool((xy[0] == xy[-1]).all()))
        self.canvas.setStrokeColor(color)
        self.canvas.setLineWidth(weight)
        self.canvas.setDash(list(dash))
        self.canvas.drawPath(path, stroke=1, fill=0)
        self.canvas.setDash([])


def _add(path: Any, xy: Points, *, is_closed: bool) -> None:  # noqa: ANN401  # reportlab's, without types
    rows = np.round(xy, 2).tolist()
    path.moveTo(*rows[0])
    for x, y in rows[1 : len(rows) - is_closed]:
        path.lineTo(x, y)
    if is_closed:
        path.close()
