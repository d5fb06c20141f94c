from __future__ import annotations

from functools import cache, partial

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from shapely import affinity

from scanner.errors import SchemaError
from scanner.job.accents import BORDER_FT
from scanner.job.planting import PLANTINGS, PlantCounts, place_plants
from scanner.schema.tables import OFFER_BEDS, PLANTS, empty_table
from tests.each import each, examples
from tests.job.job_cases import bed, offer_beds, rate_book

RATES = rate_book()


def place_grid(table, *, rates=RATES):
    """The grid of a full planting alone."""
    plants = place_plants(table, rates=rates)
    return plants[plants["planting"] == "planted"].reset_index(drop=True)


def count(*rows, rates=RATES):
    return len(place_grid(offer_beds(*rows), rates=rates))


def moved(row, change):
    """The same bed, every shape of it put through one change."""
    shapes = ("geometry", "plantable", "edge", "low_ground")
    return row | {name: change(row[name]) for name in shapes}


def points(plants):
    return shapely.points(plants["x_ft"], plants["y_ft"])


def test_worked_case_has_59_in_rows_of_30_and_29():
    # 60 x 4 ft at 24 in, laid out half a spacing from the border
    plants = place_grid(offer_beds(bed()), rates=RATES)
    rows = plants.groupby(plants["y_ft"].round(3)).size()
    assert rows.to_dict() == {1.0: 30, 2.732: 29}
    assert plants["x_ft"].min() == pytest.approx(1)
    assert plants["x_ft"].max() == pytest.approx(59)


def test_step_out_leaves_one_row():
    # 18 in kept at the curb leaves 2.5 ft, one row at 24 in
    plants = place_grid(offer_beds(bed(plantable=shapely.box(0, 1.5, 60, 4))), rates=RATES)
    assert plants["y_ft"].to_numpy() == pytest.approx(np.full(30, 2.5))


def test_a_row_stands_whole_where_the_ground_runs_a_hair_askew():
    # 3 ft are left beyond the strip at the wall: one row of 20 at 24 in; the strip ends 1/16 in off at its far end
    ground = shapely.Polygon([(0, 1), (40, 1.005), (40, 4), (0, 4)])
    assert count(bed("C1-house-1", length=40.0, along="house", plantable=ground)) == 20


def test_ground_narrower_than_a_spacing_holds_nothing():
    assert count(bed(depth=1.9)) == 0
    assert count(bed(depth=2.0)) == 30


def test_three_gallon_spacing_counts_rows():
    # 36 in on centre in 4 ft: one row at 1.5 ft, from 1.5 to 58.5 ft, 3 ft apart: 20
    assert count(bed(), rates=rate_book(plant_spacing_in=36)) == 20


TURNS = [
    (degrees, shift, is_reversed)
    for degrees in (0, 37, 90, 211.3)
    for shift in ((0, 0), (123_456.789, -98_765.4321))
    for is_reversed in (False, True)
]


@cache
def turned_grids():
    """The grid of one bed turned, moved and reversed in all ways, beside its own."""
    row = bed("home-curb-1", length=59.3, depth=7.1)
    rows = [row]
    for at, (degrees, shift, is_reversed) in enumerate(TURNS):
        away = moved(row, partial(put, degrees=degrees, shift=shift))
        if is_reversed:
            away["edge"] = away["edge"].reverse()
        rows.append(
            away | {"offer_id": f"{at}-curb-1", "bed_id": f"{at}-curb-1", "client_id": f"{at}"}
        )
    plants = place_grid(offer_beds(*rows))
    return {name: points(own) for name, own in plants.groupby("bed_id")}


def put(shape, degrees, shift):
    return affinity.translate(affinity.rotate(shape, degrees, origin=(0, 0)), *shift)


@each(lambda: {case: turned_grids()[f"{at}-curb-1"] for at, case in enumerate(TURNS)})
def test_turned_moved_reversed_is_the_same_grid(there, case):
    degrees, shift, _ = case
    expected = [put(point, degrees, shift) for point in turned_grids()["home-curb-1"]]
    assert len(there) == len(expected) > 50
    assert shapely.distance(there, expected).max() < 1e-4


def test_densified_edge_is_the_same_grid():
    row = bed()
    dense = moved(row, lambda shape: shapely.segmentize(shape, 0.7))
    assert count(dense) == count(row) == 59


def test_repeated_corners_and_stray_points_of_an_edge_do_no_harm():
    assert count(bed(edge=shapely.LineString([(0, 0), (0, 0), (60, 0), (60, 0)]))) == 59
    stray = shapely.GeometryCollection([shapely.Point(0, 0), bed()["edge"]])
    assert count(bed(edge=stray)) == 59
    assert count(bed(edge=shapely.LineString())) == 0


def test_bed_on_the_right_of_its_edge():
    row = bed(geometry=shapely.box(0, -4, 60, 0))
    assert count(row) == 59


def test_rows_follow_a_curb_arc():
    # curb of radius 40 seen from outside: rows at radius 41 and 42.732
    angles = np.linspace(0, np.pi / 2, 400)
    circle = np.column_stack([np.cos(angles), np.sin(angles)])
    edge = shapely.LineString(40 * circle)
    ground = shapely.Polygon([*(40 * circle), *(44 * circle)[::-1]])
    row = bed(edge=edge, geometry=ground, length=edge.length, area_ft2=ground.area)
    plants = place_grid(offer_beds(row), rates=RATES)
    radii = np.hypot(plants["x_ft"], plants["y_ft"])
    assert set(radii.round(2)) == {41.0, 42.73}
    # the clear run of the first row is its arc less half a spacing at each end
    run_ft = 41 * (np.pi / 2 - 2 * np.arcsin(1 / 41))
    assert (radii < 42).sum() == int(run_ft // 2) + 1


def test_two_stretches_of_edge_share_a_corner_bed():
    edge = shapely.MultiLineString([[(0, 0), (40, 0)], [(0, 30), (0, 0)]])
    ground = shapely.box(0, 0, 40, 30).difference(shapely.box(4, 4, 41, 31))
    plants = place_grid(offer_beds(bed(edge=edge, geometry=ground)), rates=RATES)
    near = shapely.distance(points(plants)[:, None], points(plants)[None, :])
    assert near[near > 0].min() > 1.2  # nobody stands on another's roots
    assert len(plants) > 55  # 264 ft2 at about a plant each 4.2 ft2, less borders


def test_circle_kept_free_makes_a_hole():
    # hydrant, radius 3, 2 ft in: trade values, section 16
    hole = shapely.Point(30, 2).buffer(3, quad_segs=64)
    plants = place_grid(
        offer_beds(bed(plantable=shapely.box(0, 0, 60, 4).difference(hole))), rates=RATES
    )
    assert shapely.distance(points(plants), shapely.Point(30, 2)).min() >= 4 - 1e-3
    assert 50 <= len(plants) <= 55


def test_low_plants_stand_in_the_triangle():
    row = bed(low_ground=shapely.Polygon([(0, 0), (10, 0), (0, 10)]))
    plants = place_grid(offer_beds(row), rates=RATES)
    expected = plants["x_ft"] + plants["y_ft"] <= 10 + 1e-9
    assert (plants["is_low"] == expected).all()


def test_a_table_without_triangles_has_no_low_plants():
    table = offer_beds(bed()).drop(columns="low_ground")
    assert not place_grid(table, rates=RATES)["is_low"].any()


def test_skipped_beds_get_no_plants_and_repeats_get_the_same():
    rows = [
        bed(),
        bed("C1-curb-2", skip_reason="too short"),
        bed(offer_id="C1+2"),
    ]
    plants = place_grid(offer_beds(*rows), rates=RATES)
    assert plants.groupby(["offer_id", "bed_id"]).size().to_dict() == {
        ("C1+2", "C1-curb-1"): 59,
        ("C1-curb-1", "C1-curb-1"): 59,
    }
    assert plants["offer_id"].iloc[0] == "C1-curb-1"


def test_counts_are_those_of_the_places_whatever_was_counted_before():
    rows = [bed(), bed("C1-curb-2", length=21), bed(offer_id="C1+2"), bed("C1-curb-3", depth=1.5)]
    table = offer_beds(*rows)
    placed = place_plants(table, rates=RATES)
    plants = PlantCounts(RATES)
    plants.count(table.iloc[1:2])
    for planting, counted in zip(PLANTINGS, plants.count(table), strict=True):
        own = placed[placed["planting"] == planting].groupby(["offer_id", "bed_id"]).size()
        expected = [own.get((row["offer_id"], row["bed_id"]), 0) for row in rows]
        assert counted.tolist() == expected


def test_counts_kept_from_an_earlier_scan_hold_for_their_spacing_alone(monkeypatch):
    table = offer_beds(bed(), bed("C1-curb-2", length=21))
    before = PlantCounts(RATES)
    counted = before.count(table)
    wider = RATES.model_copy(
        update={"plant_spacing_in": RATES.plant_spacing_in.model_copy(update={"value": 48.0})}
    )
    assert PlantCounts(wider, before.table()).count(table)[1].sum() < counted[1].sum() / 2
    monkeypatch.setattr("scanner.job.planting._lay_out", None)
    again = PlantCounts(RATES, before.table()).count(table)
    assert [own.tolist() for own in again] == [own.tolist() for own in counted]


def test_empty_table_keeps_its_columns():
    plants = place_grid(empty_table(OFFER_BEDS), rates=RATES)
    assert plants.columns.tolist() == list(PLANTS.columns)


def test_a_table_without_edges_is_our_bug():
    with pytest.raises(SchemaError, match="table offer_beds breaks its schema"):
        place_grid(offer_beds(bed()).drop(columns="edge"), rates=RATES)


# trade values, section 2: triangle, plants a square foot, computed from 144 / (0.8660 s^2)
@pytest.mark.parametrize(
    ("spacing_in", "per_ft2"),
    [(12, 1.1547), (18, 0.5132), (24, 0.2887), (30, 0.1848), (36, 0.1283), (48, 0.0722)],
)
def test_wide_ground_holds_what_the_table_says(spacing_in, per_ft2):
    side_ft = 50 * spacing_in / 12
    plants = count(bed(length=side_ft, depth=side_ft), rates=rate_book(plant_spacing_in=spacing_in))
    # 50 x 50 spacings hold 57 rows, of 50 and 49 in turn: 29 x 50 + 28 x 49
    assert plants == 2822
    assert plants / side_ft**2 == pytest.approx(per_ft2, rel=0.03)  # less the borders


def test_published_wrong_multiplier_is_not_ours():
    # trade values, section 18: two charts say 0.24 a square foot at 24 in; 0.25 is right (square)
    # and 15 % more when staggered
    plants = place_grid(offer_beds(bed()), rates=RATES)
    first, second = np.unique(plants["y_ft"].round(6))
    step_ft = np.diff(plants["x_ft"].to_numpy()[:2])[0]
    staggered = 1 / (step_ft * (second - first))
    assert staggered == pytest.approx(0.2887, abs=1e-4)
    assert staggered / 1.1547 == pytest.approx(0.25, rel=1e-4)


SHAPES = st.tuples(
    st.integers(12, 120), st.floats(2.1, 12), st.integers(-3, 3), st.integers(0, 360)
)


@examples(3)
@given(shapes=st.lists(SHAPES, min_size=4, max_size=10))
def test_no_plant_stands_near_a_border(shapes):
    rows = []
    for at, (length, depth, skew, turn) in enumerate(shapes):
        ground = shapely.Polygon([(0, 0), (length, 0), (length + skew, depth), (-skew, depth)])
        row = bed(f"C{at}-curb-1", geometry=ground, length=length)
        rows.append(moved(row, partial(put, degrees=turn, shift=(0, 0))))
    plants = place_grid(offer_beds(*rows))
    for row in rows:
        spots = points(plants[plants["bed_id"] == row["bed_id"]])
        assert shapely.contains(row["plantable"], spots).all()
        assert (shapely.distance(row["plantable"].boundary, spots) >= 1 - 2 * BORDER_FT).all()
        apart = shapely.distance(spots[:, None], spots[None, :])[~np.eye(len(spots), dtype=bool)]
        assert (apart >= 2 - 2 * BORDER_FT).all()


@examples(2)
@given(sizes=st.lists(st.tuples(st.floats(12, 80), st.floats(0, 40)), min_size=4, max_size=12))
def test_longer_never_holds_fewer(sizes):
    rows = [
        bed(f"C{at}-{name}-1", length=length + extra)
        for at, (length, more) in enumerate(sizes)
        for name, extra in (("short", 0.0), ("long", more))
    ]
    held = place_grid(offer_beds(*rows)).groupby("bed_id").size()
    for at in range(len(sizes)):
        assert 0 < held[f"C{at}-short-1"] <= held[f"C{at}-long-1"]
