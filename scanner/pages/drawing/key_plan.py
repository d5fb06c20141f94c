"""The small plan: the whole lot with its beds, and what of it the drawing shows."""

from __future__ import annotations

import numpy as np
import shapely

from scanner.pages.drawing.brush import Brush
from scanner.pages.drawing.framing import SCALES, Frame
from scanner.pages.drawing.scene import Scene
from scanner.pages.paper.look import HARD, HARD_PALE, HOUSE, INK, PLANTED, RULE, TEAL
from scanner.pages.paper.sheet import Paper

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
