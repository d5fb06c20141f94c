"""Beds known again: names stay through re-drawn edges, built beds are not found again."""

from __future__ import annotations

from datetime import date

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from shapely import Polygon, affinity, box

from scanner.book.settings import read_rules
from scanner.calls.reasons import is_just_built
from scanner.ground.record.on_foot import size_measured
from scanner.ground.record.stored import (
    find_neighbors,
    match_beds,
    match_stored_beds,
    plant_built,
    remember_beds,
)
from scanner.ground.survey import survey_block
from scanner.plane import frame as frames
from scanner.schema.log_tables import STORED_BEDS
from scanner.schema.tables import MEASURED, check_table
from tests.each import examples
from tests.sites import (
    HERE,
    Drawing,
    clients_of,
    features_of,
    front_walk,
    mid_block,
    parkway,
    rules_of_cases,
    survey,
)

DAY = date(2027, 3, 2)


def again(drawing, stored, **changes):
    """Scan a drawing anew with what is stored."""
    features = plant_built(features_of(drawing), stored)
    lots = clients_of(drawing)
    rules = rules_of_cases(**changes)
    return survey_block(
        features, lots["client_id"].to_numpy(object), lots, rules=rules, stored=stored
    ).beds


def street_moved(drawing, north_ft):
    return Drawing(tuple(
        (kind, affinity.translate(shape, 0, north_ft) if kind == "street" else shape, row)
        for kind, shape, row in drawing.features
    ))  # fmt: skip


def built(stored, *bed_ids, on="2027-05-12"):
    is_built = stored["bed_id"].isin(bed_ids)
    return stored.assign(built_on=np.where(is_built, on, ""))


def one_bed():
    """Case 12: 60 ft of curb between a drive and an open lot line, 4 ft deep."""
    return (
        Drawing()
        .add("property", box(0, 0, 80, 100))
        .add("street", box(-50, -30, 200, 0), "")
        .add("drive", box(60, 0, 80, 50))
    )


@pytest.mark.parametrize("north_ft", [0.2, -0.2])
def test_case_12_curb_moved_by_a_fifth_of_a_foot_keeps_its_name(north_ft):
    stored = remember_beds(survey(one_bed()).beds, today=DAY)
    first = stored.iloc[0]
    assert (first["bed_id"], first["area_ft2"]) == ("A-curb-1", pytest.approx(240, abs=0.1))
    beds = again(street_moved(one_bed(), north_ft), stored)
    assert beds["bed_id"].tolist() == ["A-curb-1"]
    assert beds["skip_reason"].tolist() == [""]


@pytest.mark.parametrize("north_ft", [0.0, 0.2, -0.2, 1.4])
def test_case_12_recorded_built_is_not_found_again(north_ft):
    stored = built(remember_beds(survey(one_bed()).beds, today=DAY), "A-curb-1")
    beds = again(street_moved(one_bed(), north_ft), stored)
    assert beds.loc[beds["skip_reason"] == "", "bed_id"].tolist() == []


def test_what_is_left_in_front_of_a_built_bed_is_built():
    # The curb drawn 2.2 ft further out: of 80 × 2.2 ft there, 61.5 × 1.5 lie within the gap of the built bed
    stored = built(remember_beds(survey(one_bed()).beds, today=DAY), "A-curb-1")
    beds = again(street_moved(one_bed(), -2.2), stored)
    assert beds["skip_reason"].tolist() == ["built"]


def test_other_beds_are_found_beside_a_built_one():
    stored = remember_beds(survey(mid_block()).beds, today=DAY)
    beds = again(mid_block(), built(stored, "A-curb-2"))
    kept = beds[beds["skip_reason"] == ""]
    # Case 1: the house front is 30 ft and 120 ft², whatever lies at the curb
    assert kept["bed_id"].tolist() == ["A-house-1"]
    assert kept["area_ft2"].item() == pytest.approx(120, abs=0.1)


def test_undone_job_brings_its_bed_back():
    stored = remember_beds(survey(one_bed()).beds, today=DAY)
    assert again(one_bed(), stored)["skip_reason"].tolist() == [""]


@pytest.mark.parametrize("depth_ft", [3.0, 6.0])
def test_changed_depth_keeps_names(depth_ft):
    stored = remember_beds(survey(mid_block()).beds, today=DAY)
    beds = again(mid_block(), stored, bed_depth_ft=depth_ft)
    assert beds["bed_id"].tolist() == ["A-curb-1", "A-curb-2", "A-house-1"]


def test_new_drive_splits_a_bed_and_only_the_larger_part_keeps_the_name():
    stored = remember_beds(survey(one_bed()).beds, today=DAY)
    split = one_bed().add("drive", box(15, 0, 23, 50))
    beds = again(split, stored).sort_values("edge_ft")
    # 15 and 37 ft: both lie wholly in the old bed, the larger share takes its name
    assert beds["bed_id"].tolist() == ["A-curb-2", "A-curb-1"]


def test_name_of_a_bed_that_is_gone_is_not_given_away():
    stored = remember_beds(survey(front_walk()).beds, today=DAY)
    assert stored["bed_id"].tolist() == ["A-curb-1", "A-curb-2"]
    # Elsewhere on the same lot, where neither old bed was
    far = stored.assign(geometry=[affinity.translate(s, 0.001, 0) for s in stored["geometry"]])
    assert again(front_walk(), far)["bed_id"].tolist() == ["A-curb-3", "A-curb-4"]


def test_other_clients_bed_on_the_same_ground_is_another_bed():
    stored = remember_beds(survey(one_bed()).beds, today=DAY)
    others = stored.assign(bed_id="B-curb-7", client_id="B")
    assert again(one_bed(), others)["bed_id"].tolist() == ["A-curb-1"]
    # Were it the client's own, it would keep that name
    own = stored.assign(bed_id="A-curb-7")
    assert again(one_bed(), own)["bed_id"].tolist() == ["A-curb-7"]


# Each example surveys a lot of its own against the beds stored of it: some 0.2 s
@examples(6)
@given(
    st.floats(-1.0, 1.0), st.floats(-1.0, 1.0),
    st.sampled_from([mid_block, parkway, front_walk]), st.floats(3.0, 5.0),
)  # fmt: skip
def test_names_stay_however_the_layers_shift(east_ft, north_ft, case, depth_ft):
    """Shifted by up to 1.4 ft and cut deeper or less: each bed shares half with itself."""
    before = survey(case()).beds
    stored = remember_beds(before, today=DAY)
    shifted = case().change(lambda shape: affinity.translate(shape, east_ft, north_ft))
    beds = again(shifted, stored, bed_depth_ft=depth_ft)
    kept = before.loc[before["skip_reason"] == "", "bed_id"]
    assert set(kept) <= set(beds["bed_id"])
    places = beds.set_index("bed_id")["geometry"]
    for bed in before[before["skip_reason"] == ""].to_dict("records"):
        moved = affinity.translate(bed["geometry"], east_ft, north_ft)
        now = places[bed["bed_id"]]
        assert moved.intersection(now).area >= 0.5 * min(moved.area, now.area)
    assert beds["bed_id"].is_unique


def test_re_ordered_features_keep_names():
    stored = remember_beds(survey(mid_block()).beds, today=DAY)
    turned = Drawing(tuple(reversed(mid_block().features)))
    beds = again(turned, stored)
    assert beds["bed_id"].tolist() == stored["bed_id"].tolist()


def measured_of(*lengths_ft):
    rows = [
        {"client_id": "A", "along": "curb", "length_ft": length, "room_ft": np.nan,
         "openings_ft": 0.0, "bed_id": "", "measured_on": "", "note": "", "row": number}
        for number, length in enumerate(lengths_ft, start=2)
    ]  # fmt: skip
    return size_measured(check_table(pd.DataFrame(rows), MEASURED), rules=read_rules(None)[0])


def known_on_foot(beds, stored):
    return match_stored_beds(beds, stored, frame="", rules=read_rules(None)[0])


def test_measured_edges_keep_names_when_the_file_is_re_ordered():
    stored = remember_beds(measured_of(70, 40, 25), today=DAY)
    assert shapely.is_empty(stored.geometry.to_numpy()).all()
    beds = known_on_foot(measured_of(25, 70, 40), stored)
    assert beds.set_index("bed_id")["edge_ft"].to_dict() == {
        "A-curb-1": 70.0, "A-curb-2": 40.0, "A-curb-3": 25.0,
    }  # fmt: skip


def test_measured_bed_that_is_built_keeps_its_row_and_says_so():
    stored = built(remember_beds(measured_of(70, 40), today=DAY), "A-curb-2")
    beds = known_on_foot(measured_of(70, 40), stored)
    assert beds["skip_reason"].tolist() == ["", "built"]


def test_bed_measured_on_foot_is_the_drawn_one_that_it_was():
    drawn = remember_beds(survey(one_bed()).beds, today=DAY)
    beds = known_on_foot(measured_of(58), drawn)
    assert beds["bed_id"].tolist() == ["A-curb-1"]
    # And a drawing later made of it is that bed again
    on_foot = remember_beds(beds, today=DAY)
    assert again(one_bed(), on_foot)["bed_id"].tolist() == ["A-curb-1"]


def test_crews_no_comes_before_built():
    stored = built(remember_beds(measured_of(70), today=DAY), "A-curb-1")
    denied = measured_of(70).assign(skip_reason="denied")
    assert known_on_foot(denied, stored)["skip_reason"].tolist() == ["denied"]


def test_nothing_stored_changes_nothing():
    beds = survey(mid_block()).beds
    nothing = remember_beds(beds.iloc[:0], today=DAY)
    assert match_stored_beds(beds, nothing, frame=HERE, rules=rules_of_cases()) is beds
    assert len(match_beds(beds.iloc[:0], pd.DataFrame(nothing))) == 0


def test_stored_shape_comes_back_to_the_foot():
    beds = survey(mid_block()).beds
    stored = remember_beds(beds, today=DAY)
    back = frames.to_feet(stored.geometry.to_numpy(), HERE)
    assert shapely.hausdorff_distance(back, beds["geometry"].to_numpy()).max() < 0.005


def neighbors(built_on, *, today=DAY, distance_ft=100.0, shape=True):
    """A's bed, and B's lot some feet to its east; C only has a point there, D nothing."""
    lots = (
        Drawing()
        .add("property", box(0, 0, 80, 100))
        .add("property", box(80 + distance_ft, 0, 200 + distance_ft, 100), "B")
    )
    features = features_of(lots)
    clients = clients_of(lots)
    west, south, *_ = features.total_bounds
    more = clients.assign(client_id=["C", "D"], lon=[west, np.nan], lat=[south, np.nan])
    clients = pd.concat([clients, more], ignore_index=True)
    bed = affinity.translate(box(20, 0, 80, 4), 5000, 3000) if shape else Polygon()
    row = {"bed_id": "A-curb-1", "client_id": "A", "along": "curb", "area_ft2": 240.0,
           "last_seen": "2026-03-02", "built_on": built_on}  # fmt: skip
    geometry = frames.to_degrees(np.array([bed]), HERE) if shape else [bed]
    stored = check_table(gpd.GeoDataFrame([row], geometry=geometry, crs="EPSG:4326"), STORED_BEDS)
    built = find_neighbors(clients, features, stored)
    near = built["client_id"][is_just_built(built["built_on"], today)]
    return near.tolist()


@pytest.mark.parametrize(
    ("built_on", "distance_ft", "shape", "client_ids"),
    [
        ("2026-05-12", 100.0, True, ["B", "C"]),
        ("2026-05-12", 299.0, True, ["B", "C"]),
        ("2026-05-12", 301.0, True, ["C"]),
        ("2027-03-02", 100.0, True, ["B", "C"]),
        ("2026-03-02", 100.0, True, []),  # a year ago and no longer just now
        ("2027-03-03", 100.0, True, []),  # not yet
        ("", 100.0, True, []),
        ("2026-05-12", 100.0, False, ["B", "C"]),  # lies nowhere: as near as the lot
    ],
)
def test_neighbor_within_300_ft_of_a_bed_just_built(built_on, distance_ft, shape, client_ids):
    assert neighbors(built_on, distance_ft=distance_ft, shape=shape) == client_ids
