"""A city's whole street layer in one polygon serves a lot as its own street would."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from shapely import Polygon, box

from scanner.ground.seams import LARGE_VERTICES, divide_large
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
    features = features_of(Drawing().add("street", local, ""))
    pieces = divide_large(features).geometry.to_numpy()
    assert len(pieces) > 1
    assert shapely.get_num_coordinates(pieces).max() <= LARGE_VERTICES
    whole = features.geometry.iloc[0]
    # seams overlap by half a tenth of a foot
    assert shapely.union_all(pieces).area == pytest.approx(whole.area, rel=1e-6)
    assert shapely.area(pieces).sum() == pytest.approx(whole.area, rel=1e-3)


def test_tiles_are_the_same_whatever_is_asked_for():
    local = city().intersection(box(-2000, -2000, 2000, 2000))
    features = features_of(Drawing().add("street", local, ""))
    every = set(divide_large(features).geometry.to_wkb())
    west, south, *_ = features.total_bounds
    some = divide_large(features, np.array([[west, south, west + 0.001, south + 0.001]]))
    assert 0 < len(some) < len(every)
    assert set(some.geometry.to_wkb()) <= every


def test_features_far_from_every_lot_change_nothing():
    near = lot_in(city().intersection(box(-400, -400, 800, 800)))
    far = near.add("house", box(9000, 9000, 9060, 9040), "").add(
        "sidewalk", box(9000, 8990, 9060, 8995), ""
    )
    assert survey(far).beds[[*MEASURES]].equals(survey(near).beds[[*MEASURES]])
