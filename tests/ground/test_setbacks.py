"""Ramp corners and sight triangles, by hand."""

from __future__ import annotations

import math

import pytest
from shapely import Polygon, box

from tests.ground.forms import FORMS, in_all_forms
from tests.sites import Drawing, arc, beds_of, corner_lot, rules_of_cases, street_south, survey


def ramp_corner(*, radius_ft: float = 25.0, one_walk: bool = False) -> Drawing:
    """Case 14: along two sides a 5 ft sidewalk and a 5 ft grass strip, a curb return between."""
    streets = box(-60, -60, 300, 300) - box(-10, -10, 301, 301)
    middle = radius_ft - 10
    circle = Polygon([*arc((middle, middle), radius_ft, 180, 270), (middle, middle)])
    turn = box(-10, -10, middle, middle) - circle
    walk = box(-5, -5, 300, 300) - box(0, 0, 300, 300)
    if one_walk:
        walk = box(-5, -5, 300, 0)
    return (
        Drawing()
        .add("property", box(0, 0, 100, 100))
        .add("street", streets.union(turn), "")
        .add("sidewalk", walk - turn, "")
    )


def curb_rows(found, client="A"):
    """Edge and area before absorbing of the curb beds."""
    beds = beds_of(found, "curb", client)
    kept = beds[beds["skip_reason"] == ""].sort_values("edge_ft")
    area_ft2 = kept["area_ft2"] - kept["absorbed_ft2"]
    return [*zip(kept["edge_ft"].round(1), area_ft2.round(1), strict=True)]


def test_case_14_nothing_lies_on_the_return_where_ramps_stand():
    found = survey(in_all_forms(ramp_corner()))
    for at, name in enumerate(found.lots.client_id):
        assert curb_rows(found, name) == [(85, 340), (85, 340)]
        kept = found.beds[(found.beds["client_id"] == name) & (found.beds["skip_reason"] == "")]
        turn = found.limits.removed[at]
        assert turn.area > 0
        assert max(shape.intersection(turn).area for shape in kept["shape"]) < 0.01
        told = beds_of(found, "curb", name)["cautions"]
        assert told.str.contains("free for its ramps").all()
    assert {*found.lots.client_id} == {*FORMS}


def test_the_return_has_its_bed_where_ramps_need_not_stay_free():
    # 90 ft of straight curb on each side less the tangents of 25 ft, and a quarter of the return,
    # of which the sidewalk's crossing takes the middle: one bed on each side
    rows = curb_rows(survey(ramp_corner(), rules_of_cases(keep_ramps="no")))
    assert len(rows) == 2
    assert all(edge_ft > 95 for edge_ft, _ in rows)


def test_one_sidewalk_makes_no_ramp_corner():
    found = survey(ramp_corner(one_walk=True))
    assert found.limits.removed[0].is_empty


def test_a_return_without_sidewalks_keeps_its_bed():
    # case 2
    found = survey(corner_lot())
    assert curb_rows(found) == [(189.3, pytest.approx(744.5, abs=0.1))]


@pytest.mark.parametrize(("deflection", "is_ramp"), [(55, False), (65, True)])
def test_curbs_that_turn_by_less_than_sixty_degrees_have_no_ramps(deflection, is_ramp):
    # two straight curbs round a lot, a chamfer of one 8 ft piece as the return
    turn = math.radians(deflection)
    far = 200.0
    one = (-far, 0.0)
    cut = 6.0
    begin = (-cut, 0.0)
    end = (cut * math.cos(turn), cut * math.sin(turn))
    two = (far * math.cos(turn), far * math.sin(turn))
    ground = Polygon([one, begin, end, two, (far * math.cos(turn), 400), (-far, 400)])
    street = box(-300, -200, 400, 420) - ground
    walk = ground - ground.buffer(-5)
    lot = ground.buffer(-5).intersection(box(-80, 0, 80, 90))
    drawing = (
        Drawing().add("property", lot).add("street", street, "")
        .add("sidewalk", (ground.buffer(-3) - ground.buffer(-5)).intersection(walk), "")
    )  # fmt: skip
    found = survey(drawing)
    assert found.limits.removed[0].is_empty is not is_ramp


def driveway(*, curb_ft: float, drive_from: float = 30.0) -> Drawing:
    """An 80 ft lot with a straight 20 ft drive, its curb so far before the property line."""
    return (
        Drawing()
        .add("property", box(0, 0, 80, 100))
        .add("street", street_south(-curb_ft), "")
        .add("drive", box(drive_from, -curb_ft, drive_from + 20, 60))
    )


def low_ft2(drawing, **rules):
    return beds_of(survey(drawing, rules_of_cases(**rules)), "curb")["low_plant_ft2"].sum()


def test_who_backs_out_over_the_line_sees_ten_feet_of_strip_on_either_side():
    # El Segundo CA 15-2: 10 ft along the drive's side and the property line. With the curb 10 ft
    # before the line, all of a 4 ft bed lies between triangle and curb: 10 × 4 on either side.
    assert low_ft2(driveway(curb_ft=10)) == pytest.approx(80, abs=0.1)


def test_from_the_curb_a_triangle_cuts_the_bed_slantwise():
    # Middletown OH ch. 1208 measures from the curb line: 10 × 10 takes 32 of a 4 ft strip
    assert low_ft2(driveway(curb_ft=10), sight_drive_from="curb") == pytest.approx(64, abs=0.1)


def test_both_are_one_where_the_line_is_the_curb():
    for line in ("curb", "property_line"):
        assert low_ft2(driveway(curb_ft=0), sight_drive_from=line) == pytest.approx(64, abs=0.1)


def test_next_doors_drive_is_seen_from_its_own_line_or_ones_own():
    drive = box(-24, -10, -4, 60)
    alone = driveway(curb_ft=10).add("drive", drive, "")
    # 10 ft beside a drive that ends 4 ft off the lot line: 6 ft of this lot's strip
    assert low_ft2(alone) == pytest.approx(80 + 6 * 4, abs=0.1)
    with_outline = alone.add("property", box(-80, 0, 0, 100), "")
    assert low_ft2(with_outline) == pytest.approx(80 + 6 * 4, abs=0.1)


def square_corner() -> Drawing:
    """A 100 ft corner lot 10 ft within two curbs that meet square."""
    streets = box(-60, -60, 300, 300) - box(-10, -10, 301, 301)
    return Drawing().add("property", box(0, 0, 100, 100)).add("street", streets, "")


@pytest.mark.parametrize(
    ("line", "low_plant_ft2"),
    [
        # legs of 25 ft from the curbs: both 4 ft strips lose 168 (2 × 92, the corner once)
        ("curb", 168.0),
        # from the property lines: 35 ft of either strip lie before the triangle, the corner once
        ("property_line", 2 * 35 * 4 - 16.0),
    ],
)
def test_corner_triangle_from_curb_or_property_line(line, low_plant_ft2):
    # Norfolk NE 27-290: 25 ft legs; Lindenhurst IL measures from the right-of-way lines
    assert low_ft2(square_corner(), sight_corner_from=line) == pytest.approx(low_plant_ft2, abs=0.1)
