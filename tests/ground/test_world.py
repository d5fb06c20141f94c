"""The ground against the world outside: geodesy, Steiner's formula, published setbacks."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from geographiclib.geodesic import Geodesic
from hypothesis import given
from hypothesis import strategies as st
from shapely import Point, Polygon, affinity, box

from scanner.book.settings import read_rules
from scanner.plane.frame import name_frames, to_degrees, to_feet
from scanner.units import M_PER_FT
from tests.each import examples
from tests.sites import (
    RING,
    Drawing,
    arc,
    beds_of,
    rules_of_cases,
    street_south,
    survey,
    surveys,
)


def geodesic_polygon(ring: list[tuple[float, float]]) -> tuple[float, float]:
    """Area [ft2] and perimeter [ft] of a ring of longitudes and latitudes by GeographicLib."""
    polygon = Geodesic.WGS84.Polygon()
    for lon, lat in ring:
        polygon.AddPoint(lat, lon)
    _, perimeter_m, area_m2 = polygon.Compute(reverse=False, sign=True)
    return abs(area_m2) / M_PER_FT**2, perimeter_m / M_PER_FT


def test_the_lot_of_the_reference_values():
    """A 100 × 150 ft lot at 40° N, computed with GeographicLib's methods."""
    ring = [
        (-75.0, 40.0),
        (-74.9996430656597, 39.99999999945039),
        (-74.9996430656597, 40.000411762855286),
        (-75.0, 40.00041176340489),
    ]
    lot = np.array([Polygon(ring)])
    flat = to_feet(lot, name_frames(lot)[0])
    assert shapely.area(flat)[0] == pytest.approx(14_999.955, abs=0.01)
    assert shapely.length(flat)[0] == pytest.approx(499.9994, abs=0.005)


def test_geographiclib_test_vector_geodsolve74():
    """Short line of 39.527686385 m (GeographicLib test GeodSolve74)."""
    line = np.array([shapely.LineString([(15.3872, 54.1589), (15.3877, 54.1591)])])
    length_ft = shapely.length(to_feet(line, name_frames(line)[0]))[0]
    assert length_ft == pytest.approx(39.527686385 / M_PER_FT, rel=1e-5)


@examples(60)
@given(
    lon=st.floats(-170, 170),
    lat=st.floats(-60, 70),
    width=st.floats(20, 600),
    turn=st.floats(0, 90),
)
def test_areas_are_exact_and_lengths_right_anywhere(lon, lat, width, turn):
    """Areas to 1 in a million, lengths to 1 in 100,000, against GeographicLib."""
    frame = name_frames(shapely.points([[lon, lat]]))[0]
    center = to_feet(shapely.points([[lon, lat]]), frame)[0]
    lot = affinity.rotate(box(0, 0, width, 1.5 * width), turn)
    flat = affinity.translate(lot, center.x, center.y)
    ring = shapely.get_coordinates(to_degrees(np.array([flat]), frame)[0])[:-1]
    area_ft2, perimeter_ft = geodesic_polygon([tuple(point) for point in ring])
    assert flat.area == pytest.approx(area_ft2, rel=1e-6)
    assert flat.length == pytest.approx(perimeter_ft, rel=1e-5)


def test_web_mercator_would_read_a_third_more():
    """Web Mercator's area factor at 30° N is 1.3333: the plane must be far from that."""
    ring = [(-98.5, 30.0), (-98.4997, 30.0), (-98.4997, 30.0003), (-98.5, 30.0003)]
    lot = np.array([Polygon(ring)])
    flat_ft2 = shapely.area(to_feet(lot, name_frames(lot)[0]))[0]
    assert flat_ft2 == pytest.approx(geodesic_polygon(ring)[0], rel=1e-6)


def ring_areas_ft2(houses: list[Polygon], depth_ft: float = 4.0) -> list[float]:
    """Area of the bed all round each house, which stands in the middle of its lawn."""
    lawn = (
        Drawing().add("property", box(-200, -200, 300, 300)).add("lawn", box(-100, -100, 200, 200))
    )
    drawings = {at: lawn.add("house", house) for at, house in enumerate(houses)}
    found = surveys(drawings, rules_of_cases(house_faces=RING, bed_depth_ft=depth_ft))
    return [float(beds_of(one, "house")["area_ft2"].sum()) for one in found.values()]


@pytest.mark.parametrize(
    ("house", "area_ft2"),
    [
        (box(0, 0, 50, 30), 160 * 4 + 16 * math.pi),
        (
            Polygon([(0, 0), (40, 0), (40, 15), (20, 15), (20, 30), (0, 30)]),
            140 * 4 + (5 * math.pi / 4 - 1) * 16,
        ),
    ],
    ids=["50 × 30 house: 690.27", "L-shaped house: 606.83"],
)
def test_rings_round_houses(house, area_ft2):
    """Steiner's formula P·d + π·d²; a reflex corner takes d² away (square overlap)."""
    assert ring_areas_ft2([house]) == pytest.approx([area_ft2], abs=0.1)


RECTANGLES = st.tuples(st.floats(20, 80), st.floats(20, 60), st.floats(0, 180))


@examples(3)
@given(sizes=st.lists(RECTANGLES, min_size=6, max_size=6), bed_ft=st.floats(2.5, 8))
def test_steiner_holds_for_any_rectangle(sizes, bed_ft):
    houses = [affinity.rotate(box(0, 0, width, depth), turn) for width, depth, turn in sizes]
    expected = [house.length * bed_ft + math.pi * bed_ft**2 for house in houses]
    assert ring_areas_ft2(houses, bed_ft) == pytest.approx(expected, abs=0.1)


@pytest.mark.parametrize(
    ("lawn_outside", "area_ft2"), [(True, 1055.5751 / 4), (False, 955.0442 / 4)]
)
def test_circular_curbs(lawn_outside, area_ft2):
    """Quarter of π(44² − 40²) and of π(40² − 36²), by hand."""
    sector = [*arc((0, 0), 40, 0, 90)]
    if lawn_outside:
        lot = Polygon([*sector, (0, 160), (160, 160), (160, 0)])
        street = Polygon([*arc((0, 0), 40, -20, 110), (-20, -20)])
    else:
        lot = Polygon([*sector, (0, 0)])
        street = Polygon([*arc((0, 0), 70, -20, 110), *arc((0, 0), 40, 110, -20)])
    drawing = Drawing().add("property", lot).add("lawn", lot).add("street", street, "")
    found = survey(drawing, rules_of_cases())
    assert beds_of(found, "curb")["area_ft2"].sum() == pytest.approx(area_ft2, abs=0.15)


@pytest.mark.parametrize(("leg_ft", "one_strip_ft2"), [(10, 32), (15, 52), (25, 92), (30, 112)])
def test_sight_triangle_takes_in_of_one_strip(leg_ft, one_strip_ft2):
    """A right-angled triangle at a drive over a 4 ft strip, by hand: 4·leg − 8."""
    drawing = (
        Drawing()
        .add("property", box(0, 0, 90, 100))
        .add("street", street_south(0), "")
        .add("drive", box(0, -2, 20, 60))
    )
    rules = rules_of_cases()
    setbacks = rules.setbacks.model_copy(update={"drive_triangle_ft": float(leg_ft)})
    found = survey(drawing, rules.model_copy(update={"setbacks": setbacks}))
    low_ft2 = beds_of(found, "curb")["low_plant_ft2"].sum()
    assert low_ft2 == pytest.approx(one_strip_ft2, abs=0.1)


@pytest.mark.parametrize(("leg_ft", "both_strips_ft2"), [(10, 48), (15, 88), (25, 168), (30, 208)])
def test_corner_triangle_takes_in_of_both_strips(leg_ft, both_strips_ft2):
    """A right-angled corner without a curb return, by hand."""
    streets = box(-60, -60, 300, 300) - box(0, 0, 301, 301)
    drawing = Drawing().add("property", box(0, 0, 100, 100)).add("street", streets, "")
    rules = rules_of_cases()
    setbacks = rules.setbacks.model_copy(update={"corner_triangle_ft": float(leg_ft)})
    found = survey(drawing, rules.model_copy(update={"setbacks": setbacks}))
    low_ft2 = beds_of(found, "curb")["low_plant_ft2"].sum()
    assert low_ft2 == pytest.approx(both_strips_ft2, abs=0.1)


def test_a_bend_seen_from_outside_is_no_corner():
    """Where the street turns round a neighbour's lot, the lot outside the bend sees no corner."""
    elbow = box(-60, 0, 30, 30).union(box(0, -200, 30, 30))
    lot = box(30, -100, 130, 80)
    drawing = Drawing().add("property", lot).add("street", elbow, "")
    found = survey(drawing, rules_of_cases())
    assert beds_of(found, "curb")["low_plant_ft2"].sum() == 0


@pytest.mark.parametrize(
    ("inset_ft", "area_ft2"), [(2.0, 22.0794), (0.0, 14.1372)], ids=["2 ft in", "on the curb"]
)
def test_hydrant_circle(inset_ft, area_ft2):
    """36 in round a hydrant (NFPA 1 §18.5.7): what a 4 ft strip loses to plants, by hand."""
    drawing = (
        Drawing()
        .add("property", box(0, 0, 60, 100))
        .add("street", street_south(0), "")
        .add("hydrant", Point(30, inset_ft), "")
    )
    bed = beds_of(survey(drawing), "curb").iloc[0]
    assert bed["plant_free_ft2"] == pytest.approx(area_ft2, abs=0.02)
    assert bed["area_ft2"] == pytest.approx(240, abs=0.1)


def test_standard_rules_are_the_published_ones():
    """Norfolk NE §27-290, Whiteland IN §156.230, El Segundo CA, NFPA 1, Seattle, NC State."""
    rules = read_rules(None)[0]
    distances = rules.setbacks
    assert distances.corner_triangle_ft == 25  # Norfolk NE: 25 ft legs
    assert distances.drive_triangle_ft == 10  # Whiteland IN, El Segundo CA: 10 ft
    assert distances.triangle_plant_in == 30  # El Segundo CA: 30 in or less
    assert distances.curb_plant_in == 36  # Seattle WA: 3 ft
    assert distances.step_out_in == 18  # Seattle WA: landing strip by a parking lane
    assert distances.hydrant_ft == 3  # NFPA 1 §18.5.7: 36 in
    assert distances.trunk_ft == 4  # Seattle WA: none within 4 ft of a trunk
    assert distances.root_zone_ft_per_in == 1.25  # NC State Extension
    assert distances.wall_clear_in == 12  # NC State Extension, Georgia extension
    assert distances.gas_meter_ft == 3  # Pensacola Energy
    assert set(rules.sources) >= {f"setbacks.{name}" for name in distances.model_dump()}
