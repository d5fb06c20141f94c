"""Curved bed lines: the same area, no turn too tight, square ends, on the lawn; else straight, and said."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from shapely import LineString, Point, Polygon, box

from scanner.ground.drawn.curved_beds import curve_beds
from scanner.ground.drawn.curved_line import curve_line
from scanner.ground.record.corrections import scale_beds
from tests.sites import beds_of, hydrant_front, one_bed, rules_of_cases, survey

RULES = rules_of_cases(bed_line="curved")
DISC, WEDGE = Point(0, 0), Polygon([(0, 0), (200, -100), (200, 100)])
JOG = LineString([(0, 0), (20, 0), (20, 3), (40, 3)])
CORNER = LineString([(30, 0), (0, 0), (0, 30)])
HOUSE = box(0, 0, 100, 100)
OPEN = box(-100, -100, 200, 200)

SHAPES = {
    "between drives": (box(0, 0, 48, 4), LineString([(0, 0), (48, 0)]), box(0, 4, 48, 30)),
    "shortest": (box(0, 0, 12, 4), LineString([(0, 0), (12, 0)]), box(0, 4, 12, 30)),
    "long": (box(0, 0, 160, 4), LineString([(0, 0), (160, 0)]), box(0, 4, 160, 30)),
    "slanted drives": (
        Polygon([(0, 0), (40, 0), (42, 4), (-3, 4)]), LineString([(0, 0), (40, 0)]),
        Polygon([(-3, 4), (42, 4), (50, 20), (-15, 20)]),
    ),
    "cul-de-sac": (
        (DISC.buffer(44, 64) - DISC.buffer(40, 64)) & WEDGE,
        shapely.line_merge(DISC.buffer(40, 64).boundary & WEDGE), (DISC.buffer(90, 64) - DISC.buffer(44, 64)) & WEDGE,
    ),
    "jog in a wall": (
        JOG.buffer(4, cap_style="flat", join_style="round", single_sided=True), JOG,
        OPEN - Polygon([*JOG.coords, (40, -99), (0, -99)]),
    ),
    "round a house corner": (CORNER.buffer(4, cap_style="flat") - HOUSE, CORNER, OPEN - HOUSE),
}  # fmt: skip


def radii(line: shapely.Geometry) -> list[float]:
    """Radius of the circle through each three points in a row: abc / 4K, K by Heron's formula."""
    points = [Point(xy) for xy in line.coords]
    found = []
    for first, middle, last in zip(points, points[1:], points[2:], strict=False):
        a, b, c = first.distance(middle), middle.distance(last), first.distance(last)
        half = (a + b + c) / 2
        area = math.sqrt(max(half * (half - a) * (half - b) * (half - c), 0.0))
        found.append(a * b * c / (4 * area) if area > 1e-9 else math.inf)
    return found


@pytest.mark.parametrize("name", SHAPES)
def test_a_curve_keeps_the_area_turns_wide_and_stays_on_the_lawn(name):
    bed, edge, turf = SHAPES[name]
    curved = curve_line(bed, edge, turf, rules=RULES)
    assert curved is not None
    assert curved.shape.is_valid
    assert curved.shape.area == pytest.approx(bed.area, rel=0.01)
    assert min(radii(curved.line)) >= RULES.turn_radius_ft
    assert min(radii(curved.line)) < 500, "that is a straight line"
    assert (curved.shape - bed - turf).area < 0.25
    # its lawn side is the line drawn: off the edge and off the bed's ends nothing else bounds it
    apart = curved.line.distance(edge)
    assert apart > RULES.min_depth_ft - 0.1
    assert curved.line.distance(curved.shape.boundary) < 0.01


@pytest.mark.parametrize("name", ["between drives", "shortest", "long"])
def test_ends_are_square_to_the_edge(name):
    bed, edge, turf = SHAPES[name]
    xy = np.array(curve_line(bed, edge, turf, rules=RULES).line.coords)
    for (x0, y0), (x1, y1) in (xy[:2], xy[-2:]):
        assert abs(y1 - y0) < 0.06 * abs(x1 - x0)  # within 3.5 degrees of the straight line


def test_a_wave_of_a_foot_is_as_long_as_its_integral():
    # 48 ft, two waves of 24 ft, 1 ft high: the length of y = cos(2 pi x / 24) by Simpson's rule
    x = np.linspace(0, 48, 4801)
    steep = np.sqrt(1 + (2 * math.pi / 24 * np.sin(2 * math.pi * x / 24)) ** 2)
    length = (steep[0] + steep[-1] + 4 * steep[1:-1:2].sum() + 2 * steep[2:-1:2].sum()) * 0.01 / 3
    bed, edge, turf = SHAPES["between drives"]
    curved = curve_line(bed, edge, turf, rules=RULES)
    assert curved.line.length == pytest.approx(length, abs=0.05)
    assert curved.line_ft == pytest.approx(length - 48, abs=0.05)


def test_a_wide_mower_gets_a_flatter_line_and_no_room_none():
    bed, edge, turf = SHAPES["shortest"]
    assert (
        curve_line(bed, edge, turf, rules=RULES.model_copy(update={"turn_radius_ft": 40.0})) is None
    )
    wide = curve_line(*SHAPES["long"], rules=RULES.model_copy(update={"turn_radius_ft": 20.0}))
    assert min(radii(wide.line)) >= 20
    assert curve_line(bed, edge, box(0, 4, 12, 4.1), rules=RULES) is None
    assert curve_line(bed, edge, turf, rules=RULES, room_ft=0.1) is None
    # two arms of 6 ft round a corner: no mower follows there
    short = LineString([(6, 0), (0, 0), (0, 6)])
    assert (
        curve_line(short.buffer(4, cap_style="flat") - HOUSE, short, OPEN - HOUSE, rules=RULES)
        is None
    )


def test_the_worked_bed_is_edged_along_its_curve():
    found = survey(one_bed(), RULES)
    (before,), (bed,) = (
        beds_of(found, "curb").to_dict("records"),
        curve_beds(beds_of(found, "curb"), found, rules=RULES).to_dict("records"),
    )
    assert before["bed_line_ft"] == pytest.approx(64, abs=0.1)
    assert bed["area_ft2"] == pytest.approx(240, rel=0.01)
    assert bed["area_ft2"] == pytest.approx(bed["geometry"].area)
    # all of the border that is neither curb (60) nor drive, where it is a foot less deep
    assert bed["bed_line_ft"] == pytest.approx(bed["geometry"].length - 60 - 3, abs=0.1)
    # string-trimming is saved where turf met curb, and drive as deep as the bed's end is: 4 ft, now 3
    assert before["trim_ft"] == pytest.approx(60 + 4, abs=0.1)
    assert bed["trim_ft"] == pytest.approx(60 + 3, abs=0.1)
    assert bed["turf_left_ft2"] == pytest.approx(before["turf_left_ft2"], abs=2.4)
    assert bed["plantable"].difference(bed["geometry"]).area < 1e-3
    assert bed["cautions"] == before["cautions"]


def test_what_is_kept_clear_stays_clear():
    found = survey(hydrant_front(), RULES)
    (bed,) = curve_beds(beds_of(found, "curb"), found, rules=RULES).to_dict("records")
    assert bed["plant_free_ft2"] == pytest.approx(
        bed["geometry"].area - bed["plantable"].area, abs=0.1
    )
    # A circle of 3 ft, 2 ft in: 16.93 between the curb and a line 3 ft off, 22.08 up to one of 4 ft
    assert 16.93 < bed["plant_free_ft2"] < 22.08


def test_straight_is_the_rule_and_no_room_is_said():
    found = survey(one_bed())
    assert curve_beds(found.beds, found, rules=rules_of_cases()) is found.beds
    tight = rules_of_cases(bed_line="curved", turn_radius_ft=400.0)
    (bed,) = curve_beds(beds_of(found, "curb"), found, rules=tight).to_dict("records")
    assert bed["cautions"].endswith(
        "; bed line drawn straight: no room for a curve that a mower with a turn of 400 ft follows"
    )
    assert bed["bed_line_ft"] == pytest.approx(64, abs=0.1)


def measured_to(share, found):
    """The curb beds as a visit leaves them that measured so much of what is drawn."""
    beds = beds_of(found, "curb").assign(share=share, room_ft=np.nan)
    return scale_beds(beds, rules=RULES)


def test_a_measured_bed_keeps_its_measures():
    # 54 of 60 ft
    found = survey(one_bed(), RULES)
    scaled = measured_to(0.9, found)
    (bed,) = curve_beds(scaled, found, rules=RULES).to_dict("records")
    assert (bed["edge_ft"], bed["edge_source"]) == (pytest.approx(54), "measured")
    assert bed["area_ft2"] == pytest.approx(216, rel=0.01)
    assert bed["geometry"].area == pytest.approx(216, rel=0.01)
    # 54 on the lawn side, a curve that adds a foot at most, and an end of 3 ft; as much at the drive
    assert 57.0 < bed["bed_line_ft"] < 58.5
    assert bed["trim_ft"] == pytest.approx(54 + 3, abs=0.1)
    assert bed["plantable"].difference(bed["geometry"]).area < 1e-3


def test_a_measured_bed_curves_into_no_patio():
    # at the crest of the first wave, 14 ft from the end of the bed of 54
    patio = box(34, 4, 39, 9)
    found = survey(one_bed().add("patio", patio), RULES)
    scaled = measured_to(0.9, found)
    (bed,) = curve_beds(scaled, found, rules=RULES).to_dict("records")
    origin = found.lots.origin[0]
    assert (bed["geometry"] & shapely.affinity.translate(patio, *origin)).area < 0.25
    assert bed["area_ft2"] == pytest.approx(216, rel=0.01)


def test_a_bed_measured_longer_than_its_lawn_curves_still():
    found = survey(one_bed(), RULES)
    (bed,) = curve_beds(measured_to(1.2, found), found, rules=RULES).to_dict("records")
    assert bed["area_ft2"] == pytest.approx(288, rel=0.01)
    assert "drawn straight" not in bed["cautions"]
    assert bed["bed_line_ft"] > 72 + 3
