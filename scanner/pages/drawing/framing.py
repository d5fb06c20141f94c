"""How a lot fits into a box of a page: the scale, what is cut out, and where feet come to lie."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import shapely
from numpy.typing import NDArray

from scanner.pages.drawing.scene import Scene

Points = NDArray[np.float64]


class Scale(NamedTuple):
    """A scale of the trade: points on paper a foot, how it is said, feet of a small square and of the bar."""

    points: float
    words: str
    square_ft: int
    bar_ft: int


SCALES = (
    Scale(9.0, "1/8 in = 1 ft", 1, 8),
    Scale(7.2, "1 in = 10 ft", 1, 10),
    Scale(3.6, "1 in = 20 ft", 2, 20),
    Scale(1.8, "1 in = 40 ft", 4, 40),
    Scale(0.72, "1 in = 100 ft", 10, 100),
)
"""Scales from the finest; the last two are for lots that no cut brings onto the page."""
CUT_FROM = 2
"""A cut is tried before this scale is taken."""

BREAK = 22.0
"""Height of a break strip [pt]."""
RUNS_ON = 17.0
"""Height of the strip that says that a lot goes on [pt]."""
MARGINS_FT = ((7.0, 6.5), (2.5, 2.5))
"""Lawn left over lower beds and under upper ones at a cut; less where that brings a finer scale."""
REAR_FT = 7.0
"""Ground shown behind the rear lot line."""
BY_DIMENSION, BY_BED, BY_SIDE, BESIDE_STEEP = 50.0, 24.0, 12.0, 66.0
"""Room round beds where a length is written, over them, at their sides, at the side of a steep one [pt]."""
UNDER, WORTH = 38.0, 1.4
"""Room under upper beds at a cut [pt]; a cut takes out so many times its own height at least."""
IN_PART, SIGHTS = ("roots", "barred", "ramp", "wildfire"), ("drive", "corner")
"""What may go on behind the field: large grounds at any rate, sight triangles where that brings a finer scale."""
FARTHEST_FT = 2000.0
"""The size of a field that holds any lot."""
LEVEL = 0.5
"""A side points up, down or sideways by at least this much of its length."""


class Cut(NamedTuple):
    """Ground left out, from and to [ft], along x or y."""

    start: float
    end: float
    axis: int


class Frame(NamedTuple):
    """Where a scene lies on a page: its field [pt], its lower left corner [ft], scale and cut."""

    left: float
    bottom: float
    width: float
    height: float  # with the strip on top
    corner: Points
    scale: Scale
    cut: Cut | None = None
    runs_on: bool = False

    @property
    def top(self) -> float:
        """Where ground ends at the top [pt]."""
        return self.bottom + self.height - (RUNS_ON if self.runs_on else 0.0)

    @property
    def right(self) -> float:
        """Where the field ends at the right [pt]."""
        return self.left + self.width

    def to_page(self, xy: Points) -> Points:
        """Turn feet into points of the page."""
        xy = np.asarray(xy, float)
        if self.cut is None:
            return (xy - self.corner) * self.scale.points + (self.left, self.bottom)
        start, end, axis = self.cut
        at = np.array([self.left, self.bottom]) + (xy - self.corner) * self.scale.points
        over = xy[..., axis]
        gone = np.clip(over - start, 0.0, end - start)
        at[..., axis] -= gone * (self.scale.points - BREAK / (end - start))
        return at

    def shown(self) -> list[shapely.Geometry]:
        """Give the windows of ground that are drawn [ft]."""
        per_ft = self.scale.points
        x0, y0 = self.corner
        x1, y1 = x0 + self.width / per_ft, y0 + (self.top - self.bottom) / per_ft
        if self.cut is None:
            return [shapely.box(x0, y0, x1, y1)]
        start, end, axis = self.cut
        more = (end - start) - BREAK / per_ft
        if axis:
            return [shapely.box(x0, y0, x1, start), shapely.box(x0, end, x1, y1 + more)]
        return [shapely.box(x0, y0, start, y1), shapely.box(end, y0, x1 + more, y1)]


class Needs(NamedTuple):
    """What must be on the page: boxes [ft], and room round all of them [pt]."""

    boxes: Points
    room: Points  # left, bottom, right, top

    @property
    def box(self) -> Points:
        """The box of all."""
        return np.concatenate([self.boxes[:, :2].min(axis=0), self.boxes[:, 2:].max(axis=0)])


def find_needs(scene: Scene, *, with_sights: bool) -> Needs:
    """Box beds with the rings and sight triangles that touch them, and the room for what is written beside."""
    boxes = shapely.bounds(scene.beds)
    for kept in scene.kept:
        if kept.what in IN_PART or (kept.what in SIGHTS and not with_sights):
            continue
        for row, box in zip(kept.beds, shapely.bounds(kept.shapes), strict=True):
            boxes[row, :2] = np.minimum(boxes[row, :2], box[:2])
            boxes[row, 2:] = np.maximum(boxes[row, 2:], box[2:])
    east, north = scene.aside.T
    room = np.array([
        BESIDE_STEEP if (east < -LEVEL).any() else BY_SIDE,
        BY_DIMENSION if (north < -LEVEL).any() else BY_BED,
        BESIDE_STEEP if (east > LEVEL).any() else BY_SIDE,
        BY_DIMENSION if (north > LEVEL).any() else BY_BED,
    ])  # fmt: skip
    return Needs(boxes, room)


def fit(scene: Scene, left: float, top: float, width: float, most: float, least: float) -> Frame:
    """Find the finest scale at which all that is needed fits under ``top``, at most ``most`` high [pt].

    Before a coarse scale is taken, lawn between the beds is cut out, and then sight triangles go on behind the field.
    """
    whole, beds = (find_needs(scene, with_sights=shown) for shown in (True, False))
    fine, coarse = SCALES[:CUT_FROM], SCALES[CUT_FROM:]
    tries: list[tuple[Needs, Scale, Cut | None]] = []
    for needs in (whole, beds):
        tries += [(needs, scale, None) for scale in fine]
        tries += [
            (needs, scale, _level_cut(needs, scale, *margins))
            for margins in MARGINS_FT
            for scale in fine
        ]
    for scale in coarse:
        for needs in (whole, beds):
            cuts = [_level_cut(needs, scale, *margins) for margins in MARGINS_FT]
            tries += [(needs, scale, cut) for cut in (None, *cuts)]
        tries.append((whole, scale, _across_cut(scene, whole, scale, width)))
    for needs, scale, cut in tries:
        frame = _frame(scene, needs, scale, cut, (left, top, width, most, least))
        if frame is not None:
            return frame
    scale = Scale(
        min(width, most) / FARTHEST_FT, "none: this lot is too large for a page", 100, 100
    )
    frame = _frame(scene, whole, scale, None, (left, top, width, np.inf, least))
    assert frame is not None  # noqa: S101  # no lot that is surveyed is as wide
    return frame


def _frame(
    scene: Scene, needs: Needs, scale: Scale, cut: Cut | None,
    field: tuple[float, float, float, float, float],
) -> Frame | None:  # fmt: skip
    left, top, width, most, least = field
    per_ft, room = scale.points, needs.room
    box, lot = needs.box, np.array(shapely.bounds(scene.outline))
    gone = np.zeros(2)
    if cut is not None:
        gone[cut.axis] = (cut.end - cut.start) - BREAK / per_ft
    size = (box[2:] - box[:2] - gone) * per_ft + room[:2] + room[2:]
    rear = room[1] + (max(lot[3], box[3]) + REAR_FT - box[1] - gone[1]) * per_ft
    runs_on = bool(rear > most)
    if size[0] > width or size[1] + RUNS_ON * runs_on > most:
        return None
    height = float(np.clip(rear, max(least, size[1]), most))
    # as much of the lot as there is room for, all that is needed in any case
    wide = width / per_ft + gone[0]
    low, high = box[2] + room[2] / per_ft - wide, box[0] - room[0] / per_ft
    middle = (lot[0] + lot[2]) / 2 if lot[2] - lot[0] <= wide else (box[0] + box[2]) / 2
    corner = np.array([np.clip(middle - wide / 2, low, high), box[1] - room[1] / per_ft])
    return Frame(left, top - height, width, height, corner, scale, cut, runs_on)


def _level_cut(needs: Needs, scale: Scale, above_ft: float, below_ft: float) -> Cut | None:
    """Find the lawn between lower and upper beds that may be left out."""
    boxes = needs.boxes[np.argsort(needs.boxes[:, 1])]
    reached = np.maximum.accumulate(boxes[:, 3])
    gaps = boxes[1:, 1] - reached[:-1]
    if not len(gaps):
        return None
    at = int(np.argmax(gaps))
    start = reached[at] + max(above_ft, BY_BED / scale.points)
    end = boxes[at + 1, 1] - max(below_ft, UNDER / scale.points)
    return Cut(start, end, 1) if end - start > WORTH * BREAK / scale.points else None


def _across_cut(scene: Scene, needs: Needs, scale: Scale, width: float) -> Cut | None:
    """Find the plainest stretch of the longest bed, as long as must be left out."""
    box, per_ft = needs.box, scale.points
    gone = box[2] - box[0] - (width - needs.room[0] - needs.room[2] - BREAK) / per_ft + 0.5
    longest = int(np.argmax(shapely.length(scene.edges)))
    low, _, high, _ = shapely.bounds(scene.edges[longest])
    off = 40.0 / per_ft
    if gone <= 0 or high - low < gone + 2 * off:
        return None
    taken = [b for at, b in enumerate(shapely.bounds(scene.beds)) if at != longest]
    taken += [b for kept in scene.kept if kept.what not in ("step_out", "roots", "wildfire")
              for b in shapely.bounds(kept.shapes)]  # fmt: skip
    starts = np.arange(low + off, high - off - gone, 1.0)
    middle = (low + high - gone) / 2
    for start in starts[np.argsort(np.abs(starts - middle), kind="stable")]:
        stretch = shapely.clip_by_rect(scene.edges[longest], start, -1e6, start + gone, 1e6)
        _, y0, _, y1 = shapely.bounds(stretch)
        if y1 - y0 < 1.0 and not any(b[0] < start + gone + 1 and b[2] > start - 1 for b in taken):
            return Cut(float(start), float(start + gone), 0)
    return None
