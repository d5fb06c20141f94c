"""
The lots of an invented town, each with a frame of its own.

A lot's frame has its origin at the middle of the front, u to the right as seen from
the street and v into the lot, so that one way of drawing a house serves every lot.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass, field, replace
from math import cos, pi, radians, sin

import shapely
from shapely import Point, Polygon
from shapely.affinity import affine_transform
from shapely.geometry import box
from town_streets import (
    ARC_DEG,
    CURB_Y,
    GRID_HALF_FT,
    GRID_SETBACK_FT,
    GRID_X,
    GRID_Y,
    STEMS,
    TRACT_SETBACK_FT,
    Streets,
    largest_part,
    list_blocks,
    polar,
)  # fmt: skip

CROSS_STREETS = ("Clover Street", "Sorrel Street", "Harrow Street")
COLLECTOR = "Meadow Rue Drive"
COURTS = ("Bobolink Court", "Burr Oak Court")


@dataclass(frozen=True)
class Lot:
    """One lot: its ground up to the street, its outline, and the frame in which its house is drawn."""

    area: str
    ground: Polygon
    origin: tuple[float, float]
    angle: float
    width_ft: float
    setback_ft: float
    street: str
    number: int
    tags: frozenset[str] = frozenset()
    outline: Polygon = field(default_factory=Polygon)

    def place(self, shape: shapely.Geometry) -> shapely.Geometry:
        """Turn a shape from the lot's own frame into the town's plane."""
        c, s = cos(self.angle), sin(self.angle)
        return affine_transform(shape, [c, -s, s, c, *self.origin])


def plan_lots(streets: Streets) -> list[Lot]:
    """Lay out every lot, clients or not, in the order in which crews drive by."""
    lots = [*_grid_lots(), *_collector_lots(), *_court_lots(0), *_court_lots(1)]
    lots += [*_curve_lots(), *_lane_lots(), *_way_lots()]
    cut = [_fit(lot, streets.reserved) for lot in lots]
    return cut + list(_acre_lots())


def _fit(lot: Lot, reserved: shapely.Geometry) -> Lot:
    outline = shapely.simplify(lot.ground.difference(reserved), 0.01)
    return replace(lot, outline=largest_part(outline))


def _grid_lots() -> list[Lot]:
    lots = []
    for block, (x, y) in enumerate(list_blocks()):
        row = block // 2
        for side in (0, 1):
            for i in range(8):
                tags = {"alley"} if block == 1 else set()
                tags |= {"corner"} if i in (0, 7) else set()
                left, low, out = x + 50 * i, y + 146 * side, GRID_SETBACK_FT
                ground = box(left - out * (i == 0), low - out * (side == 0),
                             left + 50 + out * (i == 7), low + 130 + out * (side == 1))  # fmt: skip
                lots.append(Lot(
                    "grid", ground, (left + 25, low + 130 * side), pi * side,
                    50.0, GRID_SETBACK_FT, CROSS_STREETS[row + side],
                    100 * (1 + block % 2) + 8 * i + 1 + side, frozenset(tags),
                ))  # fmt: skip
    return lots


def _collector_lots() -> list[Lot]:
    y, corner = GRID_Y[1], GRID_X[2] + GRID_HALF_FT
    north = ((945, 1028), (1028, 1110), (1412, 1492), (1492, 1572), (1572, 1652), (1652, 1732))
    south = ((945, 1027), (1027, 1109), (1109, 1190), (1190, 1270), (1572, 1652), (1652, 1732))
    lots = []
    for side, cuts in ((0, north), (1, south)):
        for a, b in cuts:
            left = corner if a == 945 else a  # the first lot reaches to the avenue's curb
            ground = box(left, y, b, y + 152) if side == 0 else box(left, y - 148, b, y)
            front = y + 26 if side == 0 else y - 26
            lots.append(Lot("tract", ground, ((a + b) / 2, front), pi * side, b - a, TRACT_SETBACK_FT,
                            COLLECTOR, 301 + (a - 945) // 8 * 2 + side))  # fmt: skip
    return lots


def _court_lots(court: int) -> list[Lot]:
    """Lay out a cul-de-sac: two lots on each side of the stem, four wedges round the bulb."""
    rays = list(itertools.pairwise(radians(a) for a in (105, 52.5, 0, -52.5, -105)))
    wedges = [_wedge(first, last) for first, last in rays]
    lots = []
    for hand in (1, -1):
        side = box(-151, 0, 0, 356) if hand == 1 else box(0, 0, 151, 356)
        for low, high, place in ((0.0, 104.0, 65.0), (104.0, 356.0, 134.0)):
            ground = side.intersection(box(-151, low, 151, high)).difference(
                shapely.union_all(wedges)
            )
            number = 10 + 8 * (high > 200) + (hand < 0)
            lots.append(
                _court_lot(court, ground, (-26.0 * hand, place), hand * pi / 2, number=number)
            )
    for i, (first, last) in enumerate(rays):
        angle = (first + last) / 2
        origin = (-50 * sin(angle), 191 + 50 * cos(angle))
        lot = _court_lot(court, wedges[i], origin, angle, number=26 + 4 * i)
        lots.append(replace(lot, width_ft=56.0, tags=frozenset({"bulb"})))
    return lots


def _wedge(first: float, last: float) -> Polygon:
    far = 600.0
    rim = [(-far * sin(t), 191 + far * cos(t)) for t in (first, (first + last) / 2, last)]
    return Polygon([(0.0, 191.0), *rim]).intersection(box(-151, 0, 151, 356))


def _court_lot(
    court: int, ground: Polygon, origin: tuple[float, float], angle: float, *, number: int
) -> Lot:
    turn = pi * court
    matrix = [cos(turn), -sin(turn), sin(turn), cos(turn), *STEMS[court][0]]
    front = affine_transform(Point(origin), matrix)
    return Lot("tract", affine_transform(ground, matrix), (front.x, front.y), turn + angle, 66.0,
               TRACT_SETBACK_FT, COURTS[court], number)  # fmt: skip


def _curve_lots() -> list[Lot]:
    lots = []
    for side, count, front, back in ((1, 8, 446.0, 572.0), (-1, 6, 394.0, 272.0)):
        first, step = radians(ARC_DEG[0]), radians(ARC_DEG[1] - ARC_DEG[0]) / count
        for i in range(count):
            angles = [first + step * (i + j / 6) for j in range(7)]
            # drawn a little into the street, which is cut off again: fronts follow the curve
            rough = Polygon([*(polar(front - side * 12, a) for a in angles),
                             *(polar(back, a) for a in reversed(angles))])  # fmt: skip
            middle = angles[3]
            lots.append(Lot("tract", rough, polar(front, middle), middle - side * pi / 2,
                            min(front, 420.0) * step, TRACT_SETBACK_FT, COLLECTOR,
                            501 + 8 * i + (side > 0), frozenset({"curve"})))  # fmt: skip
    return lots


def _lane_lots() -> list[Lot]:
    x = GRID_X[1]
    return [
        Lot("lane", box(x - 150, y, x, y + 84) if hand == 1 else box(x, y, x + 150, y + 84),
            (x - 24 * hand, y + 42), hand * pi / 2, 84.0, 10.0, "Sandreed Lane", 12 + 10 * i + (hand < 0))
        for i, y in enumerate((770.0, 854.0, 938.0)) for hand in (1, -1)
    ]  # fmt: skip


def _way_lots() -> list[Lot]:
    return [
        Lot("way", box(x, CURB_Y, x + 84, CURB_Y + 130), (x + 42, CURB_Y + 10), 0.0, 84.0, 10.0,
            "Coneflower Way", 20 + 6 * i)
        for i, x in enumerate((1000.0, 1084.0, 1168.0, 1252.0, 1336.0))
    ]  # fmt: skip


def _acre_lots() -> list[Lot]:
    lots, x = [], -200.0
    sizes = ((170, 290), (210, 300), (260, 320), (190, 290), (300, 360), (330, 390))
    for i, (width, depth) in enumerate(sizes):
        outline = box(x, -453 - depth, x + width, -453)
        lots.append(Lot("acre", outline, (x + width / 2, -453.0), pi, float(width), 21.0, "Sandhill Road",
                        4100 + 40 * i, outline=outline))  # fmt: skip
        x += width
    return lots
