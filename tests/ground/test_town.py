"""A city's whole street layer in one polygon serves a lot as its own street would."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from shapely import Polygon, box

from scanner.ground.lot.town import LARGE_VERTICES
from scanner.ground.survey import split_blocks
from tests.sites import Drawing, features_of, survey

STREETS = np.arange(-20_000, 20_001, 400.0)
"""Where the streets of an invented town begin [ft]: a grid of 101 by 101."""

MEASURES = ("edge_ft", "area_ft2", "bed_line_ft", "right_of_way_ft2", "low_plant_ft2", "trim_ft")


def city() -> Polygon:
    """All streets of a grid town as one polygon with blocks of lots for holes, densified."""
    west, south = np.meshgrid(STREETS[:-1] + 30, STREETS[:-1] + 30)
    holes = shapely.box(west.ravel(), south.ravel(), west.ravel() + 370, south.ravel() + 370)
    rings = shapely.get_exterior_ring(shapely.segmentize(holes, 150))
    shell = box(-20_000, -20_000, 20_030, 20_030)
    return shapely.polygons(shapely.get_exterior_ring(shell), rings)


def lot_in(street: shapely.Geometry) -> Drawing:
    """A corner lot with house and drive in the block whose corner is (30, 30)."""
    return (
        Drawing()
        .add("property", box(38, 38, 138, 158))
        .add("house", box(60, 70, 120, 110))
        .add("drive", box(100, 30, 116, 70))
        .add("street", street, "")
    )


def test_a_street_polygon_of_100_000_vertices_gives_the_numbers_of_a_local_one():
    whole = city()
    assert shapely.get_num_coordinates(whole) > 100_000
    local = whole.intersection(box(-400, -400, 800, 800))
    one, two = survey(lot_in(local)).beds, survey(lot_in(whole)).beds
    assert len(one) > 2
    for column in ("bed_id", "skip_reason", "cautions"):
        assert one[column].tolist() == two[column].tolist()
    for measure in MEASURES:
        assert two[measure].tolist() == pytest.approx(one[measure].tolist(), abs=0.01), measure


def test_a_large_polygon_is_cut_small_and_covers_the_same_ground():
    local = city().intersection(box(-2000, -2000, 2000, 2000))
    town, _ = next(iter(split_blocks(features_of(lot_in(local)))))
    pieces = town.shapes[(town.features["kind"] == "street").to_numpy()]
    assert len(pieces) > 1
    assert shapely.get_num_coordinates(pieces).max() <= LARGE_VERTICES
    union = shapely.union_all(pieces)
    assert union.area == pytest.approx(local.area, rel=1e-6)


def test_features_far_from_every_lot_change_nothing():
    near = lot_in(city().intersection(box(-400, -400, 800, 800)))
    far = near.add("house", box(9000, 9000, 9060, 9040), "").add(
        "sidewalk", box(9000, 8990, 9060, 8995), ""
    )
    assert survey(far).beds[[*MEASURES]].equals(survey(near).beds[[*MEASURES]])
