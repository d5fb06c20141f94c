"""Outlines without a client bound strips and hide streets as clients' do; ways and doubles don't."""

from __future__ import annotations

import pytest
import shapely
from shapely import LineString, box

from tests.sites import Drawing, beds_of, street_south, survey

LOT = box(0, 0, 80, 120)


def lot_at_street() -> Drawing:
    """An 80 ft lot, its curb 10 ft off: a strip of 800 ft2 and a curb bed of 80 x 4."""
    return Drawing().add("property", LOT).add("street", street_south(-10), "")


def strip_ft2(drawing: Drawing) -> float:
    """Area of A's frontage strip."""
    found = survey(drawing)
    return float(found.lots.strip[list(found.lots.client_id).index("A")].area)


@pytest.mark.parametrize("owner", ["", "B"])
def test_a_neighbours_outline_bounds_the_strip(owner: str):
    # ground 2 ft off the curb before the right-hand 30 ft of the front: 50 x 10 is left
    drawing = lot_at_street().add("property", box(50, -8, 120, 0), owner)
    assert strip_ft2(drawing) == pytest.approx(500, abs=0.1)
    curb = beds_of(survey(drawing), "curb")
    assert curb["edge_ft"].tolist() == pytest.approx([50], abs=0.1)
    assert curb["area_ft2"].tolist() == pytest.approx([200], abs=0.1)


@pytest.mark.parametrize("owner", ["", "B"])
def test_a_neighbours_outline_hides_the_street_from_a_back_wall(owner: str):
    drawing = (
        Drawing()
        .add("property", box(0, 0, 80, 100))
        .add("property", box(0, 100, 80, 130), owner)
        .add("house", box(20, 60, 60, 90))
        .add("street", box(-100, 130, 200, 160), "")
    )
    assert len(beds_of(survey(drawing), "house")) == 0


def test_a_neighbour_beside_the_lot_takes_nothing():
    drawing = lot_at_street().add("property", box(80, 0, 160, 120), "")
    assert strip_ft2(drawing) == pytest.approx(800, abs=0.1)


@pytest.mark.parametrize("reach_ft", [300, 40_000])
def test_right_of_way_drawn_as_an_outline_is_no_neighbour(reach_ft: float):
    # also where it spans the town and is cut: its far pieces have no street in them
    way = shapely.segmentize(box(-reach_ft, -50, reach_ft, 0), 100)
    assert strip_ft2(lot_at_street().add("property", way, "")) == pytest.approx(800, abs=0.1)


def test_right_of_way_is_told_by_a_curb_line_too():
    drawing = (
        Drawing()
        .add("property", LOT)
        .add("property", box(-200, -50, 300, 0), "")
        .add("edge", LineString([(-200, -10), (300, -10)]), "", along="curb")
    )
    # a line stands for a hair of pavement
    assert strip_ft2(drawing) == pytest.approx(800, abs=0.5)


def test_a_neighbours_line_some_feet_off_over_the_curb_is_a_neighbours_still():
    # 3 ft over the curb, as layers of two surveys lie; 50 x 10 of strip are left
    drawing = lot_at_street().add("property", box(50, -13, 150, 0), "")
    assert strip_ft2(drawing) == pytest.approx(500, abs=0.1)


def test_the_clients_own_lot_once_more_is_no_neighbour():
    # a county's outline reaches 3 ft before the one that a person drew
    drawing = lot_at_street().add("property", box(-4, -3, 70, 100), "")
    assert strip_ft2(drawing) == pytest.approx(800, abs=0.1)
