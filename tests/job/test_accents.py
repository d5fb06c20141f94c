"""Where an accent's few shrubs stand: counts worked out by hand from the rule."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from shapely import affinity

from scanner.job.accents import edge_parts, place_accents
from tests.job.job_cases import rate_book

RATES = rate_book()


def place(*beds, rates=RATES):
    grounds, edges = (np.array(shapes, dtype=object) for shapes in zip(*beds, strict=True))
    return place_accents(grounds, edge_parts(grounds, edges), rates=rates)


def straight(length, depth, *, ground=None):
    edge = shapely.LineString([(0, 0), (length, 0)])
    return (shapely.box(0, 0, length, depth) if ground is None else ground), edge


@pytest.mark.parametrize(
    ("bed", "count"),
    [
        (straight(60, 4), 10),  # 58 ft of run + 2, over 6
        (straight(12, 4), 2),
        (straight(60, 1.9), 0),  # no ground a foot off both sides
        (straight(60, 12), 20),  # 12 ft wide: two rows
        (straight(15, 4), 3),  # 2.5 and a half
        (straight(14, 4), 2),
    ],
)
def test_counts_of_plain_beds(bed, count):
    assert len(place(bed)) == count


def test_shrubs_stand_zigzag_about_the_middle():
    # width 4: a sixth, 0.667 ft, to either side of 2 ft; the first half a sixth of 60 in
    spots = place(straight(60, 4))
    assert spots["x_ft"].to_numpy() == pytest.approx(np.arange(3, 60, 6))
    assert spots["y_ft"].to_numpy() == pytest.approx([2.6667, 1.3333] * 5, abs=1e-3)


def test_a_hydrant_in_the_middle_divides_the_row():
    # radius 3 and a foot: 26 ft to either side, of which 25 run; 27 over 6 and a half is 5
    ground = shapely.box(0, 0, 60, 4) - shapely.Point(30, 2).buffer(3)
    spots = place(straight(60, 4, ground=ground))
    assert np.histogram(spots["x_ft"], [0, 26, 34, 60])[0].tolist() == [5, 0, 5]


def quarter_curb(radius=25.0):
    turn = np.linspace(0, np.pi / 2, 90)
    circle = np.column_stack([np.cos(turn), np.sin(turn)])
    ground = shapely.Polygon([*radius * circle, *(radius - 4) * circle[::-1]])
    return ground, shapely.LineString(radius * circle)


def test_a_quarter_curb():
    # the row at radius 23 runs 36.1 ft less a foot at each end: 36.1 over 6 and a half is 6
    spots = place(quarter_curb())
    assert len(spots) == 6
    off_ft = np.hypot(spots["x_ft"], spots["y_ft"])
    assert off_ft.between(21 + 1 - 0.01, 25 - 1 + 0.01).all()


@pytest.mark.parametrize("degrees", [37, 200])
def test_turned_moved_and_reversed_is_the_same_row(degrees):
    def change(shape):
        return affinity.translate(
            affinity.rotate(shape, degrees, origin=(0, 0)), 12_345.6, -9_876.5
        )

    ground, edge = straight(44, 4)
    home = place((ground, edge))
    for line in (change(edge), change(edge).reverse(), shapely.segmentize(change(edge), 3.0)):
        away = place((change(ground), line))
        there = shapely.MultiPoint(away[["x_ft", "y_ft"]].to_numpy())
        assert shapely.hausdorff_distance(
            there, change(shapely.MultiPoint(home[["x_ft", "y_ft"]].to_numpy()))
        ) == pytest.approx(0, abs=1e-3)


def test_two_stretches_of_one_edge_plant_their_ground_once():
    ground = shapely.box(0, 0, 60, 4)
    edge = shapely.MultiLineString([[(0, 0), (28, 0)], [(32, 0), (60, 0)]])
    assert len(place((ground, edge))) == 10


def test_nothing_on_an_empty_bed():
    assert place((shapely.Polygon(), shapely.LineString())).empty
