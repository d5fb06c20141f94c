"""Ground taken out of ground, and pieces joined that touch, against one union of all."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from scanner.ground.kinds import DRIVE, WALK, Parts, take_from
from scanner.ground.seams import join_parts

LAWN = shapely.box(0, 0, 100, 60)
COURT = shapely.Polygon(
    shapely.box(40, 10, 80, 50).exterior, [shapely.box(50, 20, 70, 40).exterior]
)
"""A walk round a court: 1,600 less 400 ft²."""


def parts(*shapes: shapely.Geometry, bits: int = WALK) -> Parts:
    return Parts(np.array(shapes), np.full(len(shapes), bits), np.zeros(len(shapes), int))


@pytest.mark.parametrize(
    ("taken", "left_ft2"),
    [
        ((), 6000),
        ((shapely.box(0, 0, 10, 10), shapely.box(20, 0, 30, 10)), 5800),  # apart
        ((shapely.box(0, 0, 10, 10), shapely.box(10, 0, 20, 10)), 5800),  # side by side
        ((shapely.box(0, 0, 10, 10), shapely.box(5, 0, 15, 10)), 5850),  # over each other
        ((shapely.box(0, 0, 10, 10), shapely.box(0, 0, 10, 10)), 5900),  # the same twice
        ((COURT, shapely.box(55, 25, 65, 35)), 4700),  # one in the hole of another
        ((shapely.MultiPolygon([shapely.box(0, 0, 5, 5), shapely.box(9, 0, 14, 5)]), COURT), 4750),
        ((shapely.LineString([(0, 5), (100, 5)]), shapely.box(200, 0, 210, 10)), 6000),
    ],
)
def test_what_is_left_hangs_neither_on_order_nor_on_what_lies_apart(taken, left_ft2):
    for order in (taken, taken[::-1]):
        left = take_from(np.array([LAWN]), np.array([0]), parts(*order))
        assert shapely.is_valid(left).all()
        assert shapely.area(left).tolist() == pytest.approx([left_ft2])


def test_only_parts_of_the_same_lot_are_taken():
    taken = Parts(np.array([LAWN]), np.array([WALK]), np.array([1]))
    left = take_from(np.array([LAWN, LAWN]), np.array([0, 1]), taken)
    assert shapely.area(left).tolist() == [6000.0, 0.0]


def test_a_drive_drawn_in_forty_pieces_in_any_order_is_one():
    order = np.random.default_rng(7).permutation(40)
    west = order[order != 20] * 5.0  # one piece is missing: two drives
    drive = Parts(shapely.box(west, 0, west + 5, 10), np.full(39, DRIVE), np.zeros(39, int))
    joined = join_parts(drive, gap_ft=1.5)
    assert sorted(shapely.area(joined.shape)) == pytest.approx([950.0, 1000.0])
