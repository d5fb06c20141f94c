"""Places on a drawing that are taken, so that no two words lie over each other."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
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
