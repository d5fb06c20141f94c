"""
Drawings as files hold them: turned any way and rounded to nine decimals of a degree.

Rounding moves every corner by a few ten-thousandths of a foot, so that layers which
touch on paper neither touch nor overlap evenly any more. Answers are worked out by hand.
"""

from __future__ import annotations

import math
from functools import cache

import numpy as np
import pytest
import shapely
from shapely import LineString, Point, Polygon, box

from scanner.ground.survey import Survey
from tests.each import each
from tests.ground.forms import shaken
from tests.sites import (
    Drawing,
    arc,
    beds_of,
    in_plane,
    narrow_front,
    street_south,
    survey,
    surveys,
)

TURNS = [0, 17, 39, 104, 141, 180, 193, 236, 301]


def sums(found, along: str) -> tuple[float, float]:
    """Edge and area of what is offered along one kind."""
    beds = beds_of(found, along).query("skip_reason == ''")
    return float(beds["edge_ft"].sum()), float(beds["area_ft2"].sum())


def two_streets(gap_ft: float) -> Drawing:
    return (
        Drawing()
        .add("property", box(0, 0, 100, 100))
        .add("street", box(-200, -40, 300, -10), "")
        .add("street", box(-40, -10 + gap_ft, -10, 300), "")
    )


@each(lambda: shaken({gap_ft: two_streets(gap_ft) for gap_ft in (0.0, 0.02)}, TURNS))
def test_two_street_polygons_make_one_corner(found):
    # A square of 110 ft less the lot; 220 ft of curb, 4 ft deep, the corner counted once.
    assert found.lots.strip[0].area == pytest.approx(110**2 - 100**2, abs=0.5)
    assert sums(found, "curb")[1] == pytest.approx(220 * 4 - 16, abs=0.5)
    # Both strips inside a 25 ft corner triangle: 168 ft² (by hand).
    assert found.beds["low_plant_ft2"].sum() == pytest.approx(168, abs=1)


def slanted(west_ft: float) -> Drawing:
    outline = Polygon([(0, -west_ft), (80, -10), (80, 120), (0, 120)])
    return Drawing().add("property", outline).add("street", street_south(-10), "")


@each(lambda: shaken({west_ft: slanted(west_ft) for west_ft in (9, 8, 6, 4, 2, 0)}, TURNS[:4]))
def test_an_outline_that_touches_the_curb_at_one_corner_keeps_its_whole_bed(found):
    assert sums(found, "curb") == pytest.approx((80, 320), abs=0.3)


def corner_between(south_ft: float, west_ft: float) -> Drawing:
    streets = box(-60, -60, 300, 300) - box(-west_ft, -south_ft, 301, 301)
    return Drawing().add("property", box(0, 0, 100, 100)).add("street", streets, "")


UNEQUAL = [(10, 10), (10, 10.02), (10, 8), (12, 6), (6, 12)]


@each(lambda: shaken({sides: corner_between(*sides) for sides in UNEQUAL}, [17]))
def test_fronts_at_unequal_distances_meet_at_the_corner(found, case):
    (south_ft, west_ft), _ = case
    strip_ft2 = 100 * south_ft + 100 * west_ft + south_ft * west_ft
    assert found.lots.strip[0].area == pytest.approx(strip_ft2, abs=0.5)
    edge_ft = 200 + south_ft + west_ft
    assert sums(found, "curb") == pytest.approx((edge_ft, 4 * edge_ft - 16), abs=0.5)


LOT = Drawing().add("property", box(0, 0, 80, 120))
DRAWINGS = {
    "street in two pieces": LOT
    .add("street", box(-200, -40, 40, -10), "")
    .add("street", box(40.02, -40, 300, -10), ""),
    "house line before its polygon": LOT
    .add("street", street_south(0), "")
    .add("house", box(20, 36, 60, 60))
    .add("edge", LineString([(20, 35), (60, 35)]), along="house"),
    "curbs that end at a drive": LOT
    .add("edge", LineString([(0, -10), (30, -10)]), along="curb")
    .add("edge", LineString([(46, -10), (80, -10)]), along="curb")
    .add("drive", box(30, -10, 46, 40)),
    "lawn a gap off its wall": Drawing()
    .add("property", box(0, -5, 80, 120))
    .add("lawn", box(0, 0, 80, 30))
    .add("street", street_south(-1.4), "")
    .add("house", box(20, 31.4, 60, 60)),
    "pond and old bed at the curb": LOT
    .add("street", street_south(0), "")
    .add("bed", box(0, 0, 30, 4), "")
    .add("water", Point(70, 30).buffer(8), ""),
    "two lots at a drawn curb": Drawing()
    .add("property", box(0, 0, 60, 100), "A")
    .add("property", box(60, 0, 120, 100), "B")
    .add("edge", LineString([(-5, -9), (50, -4), (70, -11), (125, -8)]), "", along="curb"),
    "narrow front": narrow_front(7),
}  # fmt: skip


@cache
def all_shaken() -> dict[tuple[str, int], Survey]:
    return shaken(DRAWINGS, TURNS)


def look(name: str) -> dict[int, Survey]:
    """What was found on a drawing, by the degrees that it was turned by."""
    return {case[1]: found for case, found in all_shaken().items() if case[0] == name}


@each(lambda: look("street in two pieces"))
def test_a_street_in_two_pieces_makes_one_bed(found):
    assert beds_of(found, "curb")["bed_line_ft"].tolist() == pytest.approx([88], abs=0.1)
    assert sums(found, "curb") == pytest.approx((80, 320), abs=0.2)


@each(lambda: look("house line before its polygon"))
def test_a_house_line_drawn_before_its_polygon(found):
    bed = beds_of(found, "house").query("skip_reason == ''")
    assert bed["area_ft2"].tolist() == pytest.approx([160], abs=0.5)
    assert bed["bed_line_ft"].tolist() == pytest.approx([48], abs=0.2)


@each(lambda: look("curbs that end at a drive"))
def test_drawn_curbs_that_end_at_a_drive(found):
    # 30 and 34 ft, 4 ft deep, each between the drive and an open lot line.
    assert sums(found, "curb") == pytest.approx((64, 256), abs=0.6)
    assert found.beds["absorbed_ft2"].sum() < 0.1
    lines_ft = sorted(beds_of(found, "curb")["bed_line_ft"])
    assert lines_ft == pytest.approx([34, 38], abs=0.3)


@each(lambda: look("lawn a gap off its wall"))
def test_a_lawn_a_gap_off_its_wall(found):
    assert sums(found, "curb") == pytest.approx((80, 320), abs=0.3)
    assert sums(found, "house") == pytest.approx((40, 160), abs=0.3)


@each(lambda: look("narrow front"))
def test_turf_that_is_gone_has_no_width(found):
    assert found.beds["turf_left_ft2"].max() < 0.1
    assert found.beds["turf_left_width_ft"].isna().all()


@each(lambda: look("two lots at a drawn curb"))
def test_two_clients_share_a_drawn_curb(found):
    strips = in_plane(found, found.lots.strip)
    assert min(strip.area for strip in strips) > 100
    assert strips[0].intersection(strips[1]).area < 0.05


@each(lambda: look("pond and old bed at the curb"))
def test_a_pond_and_an_old_bed_at_the_curb(found):
    # 50 ft beside the old bed, which needs no edging: 50 and the open end.
    assert sums(found, "curb") == pytest.approx((50, 200), abs=0.2)
    assert beds_of(found, "curb")["bed_line_ft"].tolist() == pytest.approx([54], abs=0.1)


def wavering(shape):
    """A curb digitised every 15 ft by a hand that wavers by 0.05 ft."""
    return shapely.transform(
        shapely.segmentize(shape, 15.0),
        lambda a: a + 0.05 * np.column_stack(
            [np.sin(a[:, 0] * 913.7 + a[:, 1] * 377.1), np.sin(a[:, 0] * 511.3 - a[:, 1] * 719.9)]
        ),
    )  # fmt: skip


def test_a_corner_is_seen_on_a_curb_drawn_by_hand():
    streets = wavering(box(-60, -60, 300, 300) - box(-10, -10, 301, 301))
    drawing = Drawing().add("property", box(0, 0, 100, 100)).add("street", streets, "")
    found = survey(drawing)
    assert found.beds["low_plant_ft2"].sum() == pytest.approx(168, abs=6)
    assert "sight triangle" in found.beds["cautions"].iloc[0]


def short_of_the_curb(short_ft: float) -> Drawing:
    return (
        LOT.add("street", street_south(-10), "")
        .add("house", box(20, 35, 60, 65))
        .add("drive", box(50, -10 + short_ft, 66, 40))
    )


@each(
    lambda: shaken({short_ft: short_of_the_curb(short_ft) for short_ft in (2.0, 5.0, 10.0)}, [17])
)
def test_a_drive_drawn_short_of_the_curb_runs_on_to_it(found):
    # 80 ft less a drive of 16 ft: 50 and 14 ft.
    edges_ft = sorted(beds_of(found, "curb")["edge_ft"])
    assert edges_ft == pytest.approx([14, 50], abs=0.1)
    assert beds_of(found, "curb")["cautions"].str.contains("its place is a guess").all()


def bent(bend: int, *, in_two: bool) -> Drawing:
    slope = math.radians(bend)
    away = (200 * math.cos(slope), 200 * math.sin(slope))
    drawing = Drawing().add("property", Polygon(
        [(-40, -15), *arc((0, 0), 15, 270, 270 + bend), (40, -10), (40, -100), (-40, -100)]
    ))  # fmt: skip
    lines = ([(-200, 0), (0, 0)], [(0, 0), away]) if in_two else ([(-200, 0), (0, 0), away],)
    for line in lines:
        drawing = drawing.add("street_centerline", LineString(line), "", pavement_ft=30.0)
    return drawing


def test_centerlines_that_meet_at_a_bend_leave_no_wedge():
    """Outside the bend the pavement's border is an arc: P·d and half the angle times d²."""
    cases = {
        (bend, in_two): bent(bend, in_two=in_two) for bend in (10, 20) for in_two in (False, True)
    }
    areas = {case: sums(found, "curb")[1] for case, found in surveys(cases).items()}
    for bend in (10, 20):
        assert areas[bend, False] > 300
        assert areas[bend, True] == pytest.approx(areas[bend, False], abs=0.5)


def test_the_step_out_lies_along_a_drawn_curb_too():
    drawing = (
        Drawing()
        .add("property", box(0, 0, 80, 120))
        .add("street", street_south(-1), "", parking="yes")
        .add("edge", LineString([(-30, 0), (120, 0)]), "", along="curb")
    )
    bed = beds_of(survey(drawing), "curb").iloc[0]
    assert bed["plant_free_ft2"] == pytest.approx(80 * 1.5, abs=0.5)
