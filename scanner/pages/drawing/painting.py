"""Ground, beds, plants and limits of a scene, painted in their order."""

from __future__ import annotations

from typing import Final

import numpy as np
import shapely

from scanner.pages.drawing.brush import Brush, Points
from scanner.pages.drawing.framing import BREAK, RUNS_ON
from scanner.pages.drawing.scene import Scene
from scanner.pages.paper.look import (
    BED,
    DRIVE,
    FAINT,
    HARD,
    HARD_PALE,
    HOUSE,
    INK,
    MAP,
    NEIGHBOR,
    PLANTED,
    RULE,
    SOFT,
    SQUARES,
    TEAL,
    WHITE,
)
from scanner.pages.paper.sheet import Paper
from scanner.schema.feature_kinds import PAVED

FILLS: Final = {
    "old_bed": PLANTED, "water": HARD, "street": HARD,
    **{name: HARD_PALE for name in PAVED if name not in ("street", "drive")}, "drive": DRIVE,
}  # fmt: skip
HOUSES: Final = {"neighbor": NEIGHBOR, "outbuilding": HOUSE, "house": HOUSE}
LOT_LINE: Final = (14.0, 2.5, 3.0, 2.5, 3.0, 2.5)
DASHED: Final = (3.5, 2.5)
DOTS = 5.0
"""Dots of a bed lie so far apart [pt]."""
ZIGZAG: Final = np.array([[-11.0, 0], [-3, 0], [1, 7.5], [6, -7.5], [9.5, 0], [11, 0]])
"""A break in a level line."""


def paint_ground(brush: Brush, scene: Scene) -> None:
    """Paint all that lies under the dimensions."""
    layers = scene.layers
    for layer, color in FILLS.items():
        brush.fill(layers[layer], color)
    brush.fill(scene.beds, BED)
    _squares(brush)
    for layer, color in HOUSES.items():
        brush.fill(layers[layer], color)
    thin = np.concatenate([layers[name] for name in (*FILLS, "neighbor")])
    brush.outline(thin, RULE, 0.5)
    for layer in ("outbuilding", "house"):
        brush.outline(layers[layer], INK, 1.1)
    if not scene.is_schematic:
        brush.outline(np.array([scene.outline]), INK, 0.8, LOT_LINE)
    brush.outline(scene.follow, SOFT, 0.9, DASHED)
    _dots(brush, scene)
    brush.outline(scene.beds, INK, 1.5)
    for kept in scene.kept:
        brush.outline(kept.shapes, TEAL, 0.8, DASHED)
    _plants(brush, scene)


def _squares(brush: Brush) -> None:
    """Rule the field: faint lines a square, stronger ones a length of the bar."""
    scale = brush.frame.scale
    for step, weight, color in ((scale.square_ft, 0.25, SQUARES), (scale.bar_ft, 0.7, SQUARES)):
        lines = list[Points]()
        for window in brush.frame.shown():
            x0, y0, x1, y1 = shapely.bounds(window)
            xs, ys = (
                np.arange(np.ceil(low / step) * step, high, step)
                for low, high in ((x0, x1), (y0, y1))
            )
            lines += [brush.frame.to_page(np.array([[x, y0], [x, y1]])) for x in xs]
            lines += [brush.frame.to_page(np.array([[x0, y], [x1, y]])) for y in ys]
        brush.lines(lines, color, weight)


def _dots(brush: Brush, scene: Scene) -> None:
    """Dot the beds: they are told from hard ground without color."""
    for bed in brush.visible(scene.beds):
        x0, y0, x1, y1 = shapely.bounds(bed)
        xs = np.arange(np.ceil(x0 / DOTS) * DOTS, x1, DOTS)
        ys = np.arange(np.ceil(y0 / DOTS) * DOTS, y1, DOTS)
        x, y = (some.ravel() for some in np.meshgrid(xs, ys))
        inside = shapely.contains_xy(bed, x, y)
        canvas = brush.canvas
        canvas.setLineCap(1)
        dots = [np.array([[a, b], [a, b]]) for a, b in zip(x[inside], y[inside], strict=True)]
        brush.lines(dots, RULE, 0.8)
        canvas.setLineCap(0)


def _plants(brush: Brush, scene: Scene) -> None:
    """Draw plants as wide as they grow, those in ground that is cut out left out."""
    canvas = brush.canvas
    windows = shapely.union_all(brush.frame.shown())
    seen = scene.plants[shapely.contains_xy(windows, scene.plants[:, 0], scene.plants[:, 1])]
    canvas.setStrokeColor(TEAL)
    canvas.setLineWidth(0.9)
    for (x, y), spread in zip(brush.frame.to_page(seen[:, :2]), seen[:, 2], strict=True):
        canvas.setFillColor(WHITE)
        canvas.circle(x, y, spread / 2 * brush.frame.scale.points, stroke=1, fill=1)
        canvas.setFillColor(TEAL)
        canvas.circle(x, y, 1.1, stroke=0, fill=1)


def paint_breaks(paper: Paper, brush: Brush, *, has_small_plan: bool) -> None:
    """Paint white strips where ground is left out or goes on, each with its zigzag and its words."""
    frame = brush.frame
    if frame.runs_on:
        _strip(brush, (frame.left, frame.top, frame.width, RUNS_ON))
        _zigzag(brush, frame.top)
        more = ": see the small plan below" if has_small_plan else ""
        paper.text(frame.left + 6, frame.top + 5.5, f"The lot runs on{more}.", MAP.soft)
    if frame.cut is None:
        return
    start, end, axis = frame.cut
    at = float(frame.to_page(np.array([[start, start]]))[0, axis])
    if axis:
        _strip(brush, (frame.left, at, frame.width, BREAK))
        _zigzag(brush, at)
        _zigzag(brush, at + BREAK)
        paper.text(frame.left + 6, at + 8, f"{end - start:.0f} ft of lawn left out here.", MAP.soft)
        return
    _strip(brush, (at, frame.bottom, BREAK, frame.top - frame.bottom))
    middle = (frame.bottom + frame.top) / 2
    for x in (at, at + BREAK):
        bent = np.add(ZIGZAG[:, ::-1], (x, middle))
        brush.lines([np.vstack([(x, frame.bottom), bent, (x, frame.top)])], INK, 0.9)


def _zigzag(brush: Brush, y: float) -> None:
    """Draw a level line over the whole field, broken in its middle."""
    left, right = brush.frame.left, brush.frame.right
    bent = np.add(ZIGZAG, ((left + right) / 2, y))
    brush.lines([np.vstack([(left, y), bent, (right, y)])], INK, 0.9)


def _strip(brush: Brush, box: tuple[float, float, float, float]) -> None:
    brush.canvas.setFillColor(WHITE)
    brush.canvas.rect(box[0], box[1], box[2], box[3], stroke=0, fill=1)


def paint_north(paper: Paper, x: float, y: float, turn: float) -> None:
    """Draw the arrow to north on a white disc of radius 19; the lot was turned counter-clockwise."""
    canvas = paper.canvas
    canvas.setFillColor(WHITE)
    canvas.setStrokeColor(FAINT)
    canvas.setLineWidth(0.6)
    canvas.circle(x, y, 19, stroke=1, fill=1)
    north = np.array([-np.sin(turn), np.cos(turn)])
    east = np.array([north[1], -north[0]])
    tip, tail = np.array([x, y]) + 8 * north, np.array([x, y]) - 12 * north
    path = canvas.beginPath()
    path.moveTo(*tip)
    for corner in (tail + 5.5 * east, tail + 4 * north, tail - 5.5 * east):
        path.lineTo(*corner)
    path.close()
    canvas.setFillColor(INK)
    canvas.drawPath(path, stroke=0, fill=1)
    at = np.array([x, y]) + 13.5 * north
    paper.text(at[0], at[1] - 2.9, "N", MAP.at(8).bold, "center")
