"""Gaps between lawn and hardscape, from a hair to the limit, straight and tapering."""

from __future__ import annotations

import pytest
from shapely import Polygon, box

from tests.each import each
from tests.sites import Drawing, beds_of, street_south, survey, surveys


def lot(lawn: Polygon) -> Drawing:
    """An 80 ft lot on a street, a house 60 ft back, the lawn drawn by hand."""
    return (
        Drawing()
        .add("property", box(0, 0, 80, 120))
        .add("street", street_south(0), "")
        .add("house", box(20, 60, 60, 90))
        .add("lawn", lawn)
    )


GAPS_FT = (0.0, 0.001, 0.006, 0.02, 0.049, 0.051, 0.1, 0.5, 1.0, 1.49)


@each(lambda: surveys({gap_ft: lot(box(0, gap_ft, 80, 60 - gap_ft)) for gap_ft in GAPS_FT}))
def test_a_gap_of_any_width_up_to_the_limit_is_closed(found, gap_ft):
    for along, edge_ft in (("curb", 80), ("house", 40)):
        bed = beds_of(found, along).iloc[0]
        assert (bed["edge_ft"], bed["area_ft2"]) == pytest.approx((edge_ft, 4 * edge_ft), abs=0.1)
    # 80 × 60 and no more: beside the house there is nothing to close against.
    drawn_ft2 = 80 * 60 - gap_ft * 40
    # What lies within 0.006 ft touches and stays as it is, along 80 and 40 ft.
    touching_ft2 = 0.006 * (80 + 40)
    assert found.lawn.ground[0].area == pytest.approx(
        drawn_ft2, abs=max(0.5, touching_ft2) + gap_ft
    )


def tapering(widest_ft: float) -> Polygon:
    return Polygon([(0, 0), (80, widest_ft), (80, 50), (0, 50)])


@each(lambda: surveys({widest_ft: lot(tapering(widest_ft)) for widest_ft in (0.04, 0.3, 1.4)}))
def test_a_gap_that_tapers_to_nothing_is_closed(found):
    bed = beds_of(found, "curb").iloc[0]
    assert (bed["edge_ft"], bed["area_ft2"]) == pytest.approx((80, 320), abs=0.1)


def test_a_gap_wider_than_the_limit_stays_open():
    assert beds_of(survey(lot(box(0, 1.6, 80, 50))), "curb").empty
