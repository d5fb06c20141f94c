"""The drawing itself, from ground to frame, with its scale line; and the key plan of a large lot."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import shapely

from scanner.pages.drawing.brush import Brush
from scanner.pages.drawing.dimensions import BedWords, Dimensions
from scanner.pages.drawing.framing import BREAK, SCALES, SIGHTS, Frame, fit
from scanner.pages.drawing.marks import write_names, write_numbers
from scanner.pages.drawing.painting import paint_breaks, paint_ground, paint_north
from scanner.pages.drawing.scene import Scene
from scanner.pages.drawing.taken import Box, Taken
from scanner.pages.paper.look import HARD, HARD_PALE, HOUSE, INK, MAP, PLANTED, RULE, TEAL
from scanner.pages.paper.sheet import Paper

SCALE_LINE = 20.0
"""Height of the line under the drawing that tells its scale [pt]."""
EDGE = 3.0
"""Words keep so far off the frame [pt]."""


class Field(NamedTuple):
    """The box that a drawing may take: left and top edge, width, most and least height [pt]."""

    left: float
    top: float
    width: float
    most: float
    least: float


class Drawn(NamedTuple):
    """What was drawn."""

    frame: Frame
    bottom: float  # where the page is free below it [pt]

    @property
    def is_part(self) -> bool:
        """Whether the lot goes on beyond the drawing, or some of it is left out."""
        return self.frame.runs_on or self.frame.cut is not None


def draw_lot(
    paper: Paper, scene: Scene, words: list[BedWords], field: Field, *, blanks: bool = False,
    has_small_plan: bool = True,
) -> Drawn:  # fmt: skip
    """Draw a lot at the finest scale that fits; ``blanks``: room to write the numbers in instead of them."""
    frame = fit(scene, *field)
    brush = Brush(paper, frame)
    paint_ground(brush, scene)
    paint_breaks(paper, brush, has_small_plan=has_small_plan)
    taken = Taken(Box(frame.left + EDGE, frame.bottom + EDGE, frame.right - EDGE, frame.top - EDGE))
    at, radius = frame.to_page(scene.plants[:, :2]), scene.plants[:, 2] / 2 * frame.scale.points
    taken.add(*(Box.around(x, y, 2 * r, 2 * r) for (x, y), r in zip(at, radius, strict=True)))
    if frame.cut is not None:
        taken.add(*_cut_boxes(frame))
    north = frame.right - 25.0, frame.top - 25.0
    if not scene.is_schematic:
        taken.add(Box.around(*north, 38.0, 38.0))
    Dimensions(brush, scene, taken, blanks).write(words)
    write_numbers(paper, brush, scene, taken)
    if not scene.is_schematic:
        paint_north(paper, *north, scene.turn)
    for kept in scene.kept:
        if kept.what in SIGHTS:
            for ring in shapely.get_rings(brush.visible(kept.shapes)):
                taken.add_line(shapely.get_coordinates(ring))
    write_names(paper, brush, scene, taken)
    paper.canvas.setStrokeColor(INK)
    paper.canvas.setLineWidth(0.9)
    paper.canvas.rect(frame.left, frame.bottom, frame.width, frame.height, stroke=1, fill=0)
    return Drawn(frame, _write_scale(paper, brush))


def _cut_boxes(frame: Frame) -> tuple[Box, Box]:
    """Take the strip of a cut, and its zigzags."""
    assert frame.cut is not None  # noqa: S101  # for the type checker
    at = float(frame.to_page(np.full((1, 2), frame.cut.start))[0, frame.cut.axis])
    x, y = (frame.left + frame.right) / 2, (frame.bottom + frame.top) / 2
    if frame.cut.axis:
        strip = Box(frame.left, at - 1, frame.right, at + BREAK + 1)
        return strip, Box.around(x, at + BREAK / 2, 24, BREAK + 18)
    strip = Box(at - 1, frame.bottom, at + BREAK + 1, frame.top)
    return strip, Box.around(at + BREAK / 2, y, BREAK + 18, 24)


def _write_scale(paper: Paper, brush: Brush) -> float:
    """Write bar and scale under the drawing: the bar stays true on a copier."""
    frame = brush.frame
    scale, y = frame.scale, frame.bottom - 11.0
    end = frame.left + scale.bar_ft * scale.points
    bar = [[frame.left, y], [end, y]]
    ends = [[[x, y - 3], [x, y + 3]] for x in (frame.left, end)]
    brush.lines([np.array(line) for line in (bar, *ends)], INK, 1.2)
    box = paper.text(end + 6, y - 3, f"{scale.bar_ft} ft", MAP)
    gone = ""
    if frame.cut is not None and not frame.cut.axis:
        gone = f" {frame.cut.end - frame.cut.start:.0f} ft are left out at the break."
    words = f"Scale {scale.words}; one small square is {scale.square_ft} ft. Print at full size (100 %).{gone}"
    paper.text(box.right + 18, y - 3, words, MAP.soft)
    return frame.bottom - SCALE_LINE


AROUND_FT = 8.0
FILLS = {"street": HARD, "drive": HARD_PALE, "sidewalk": HARD_PALE, "old_bed": PLANTED, "neighbor": HOUSE,
         "outbuilding": HOUSE, "house": HOUSE}  # fmt: skip


def draw_key_plan(
    paper: Paper, scene: Scene, shown: Frame, corner: tuple[float, float], size: tuple[float, float]
) -> float:
    """Draw the whole lot into the lower right corner of a place; returns how wide it came out [pt]."""
    lot = shapely.union_all([scene.outline, *scene.beds])
    x0, y0, x1, y1 = np.array(shapely.bounds(lot)) + AROUND_FT * np.array([-1, -1, 1, 1])
    per_ft = min(size[0] / (x1 - x0), size[1] / (y1 - y0))
    wide, high = (x1 - x0) * per_ft, (y1 - y0) * per_ft
    scale = SCALES[0]._replace(points=per_ft)
    frame = Frame(corner[0] - wide, corner[1], wide, high, np.array([x0, y0]), scale)
    brush = Brush(paper, frame)
    for layer, color in FILLS.items():
        brush.fill(scene.layers[layer], color)
    brush.outline(np.array([scene.outline]), INK, 1.1)
    brush.fill(scene.beds, INK)
    windows = shapely.box(*shapely.bounds(shapely.union_all(shown.shown())))
    brush.outline(np.array([windows]), TEAL, 0.9, (3.0, 2.0))
    brush.canvas.setStrokeColor(RULE)
    brush.canvas.setLineWidth(0.6)
    brush.canvas.rect(frame.left, frame.bottom, wide, high, stroke=1, fill=0)
    return wide
