"""Rules of the ground by small drawings with answers worked out by hand."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
import shapely
from shapely import LineString, Point, Polygon, box

from scanner.ground.drawn.lot_tables import list_notes
from scanner.ground.record.on_foot import size_measured
from scanner.ground.record.stored import match_beds
from scanner.ground.survey import survey_block
from scanner.plane.offsets import open_ground
from scanner.schema.tables import MEASURED, check_table
from tests.sites import (
    Drawing,
    beds_of,
    clients_of,
    features_of,
    in_plane,
    rules_of_cases,
    street_south,
    survey,
)

LOT = box(0, 0, 80, 120)


def lot(street_y_ft: float = 0.0, **columns: object) -> Drawing:
    """An 80 ft lot on a street."""
    return Drawing().add("property", LOT).add("street", street_south(street_y_ft), "", **columns)


def strip_ft2(drawing: Drawing, **rules: object) -> float:
    """Area of A's frontage strip."""
    found = survey(drawing, rules_of_cases(**rules))
    return float(found.lots.strip[list(found.lots.client_id).index("A")].area)


def note_of(drawing: Drawing) -> list[str]:
    """Remedies of the notes on a drawing."""
    found = survey(drawing)
    return list_notes(found, rules=rules_of_cases())["remedy"].tolist()


# --- frontage


def test_strip_reaches_to_the_curb_and_no_farther_than_twenty_feet():
    assert strip_ft2(lot(-12)) == pytest.approx(80 * 12, abs=0.1)
    assert strip_ft2(lot(-19.9)) == pytest.approx(80 * 19.9, abs=0.1)
    assert strip_ft2(lot(-20.5)) == 0


def test_a_run_under_ten_feet_is_no_front():
    for width_ft, area_ft2 in ((9, 0), (11, 110)):
        narrow = Drawing().add("property", box(0, 0, width_ft, 100))
        strip = strip_ft2(narrow.add("street", street_south(-10), ""))
        assert strip == pytest.approx(area_ft2, abs=0.1)


def test_fronts_on_two_streets_join_at_the_corner():
    streets = box(-60, -60, 300, 300) - box(-10, -10, 301, 301)
    corner = Drawing().add("property", box(0, 0, 100, 100)).add("street", streets, "")
    assert strip_ft2(corner) == pytest.approx(110 * 110 - 100 * 100, abs=0.1)


def test_a_building_between_hides_the_curb():
    shed = lot(-15).add("house", box(20, -10, 40, -5), "")
    # Points straight behind the shed see no curb; the strip is cut into the parts beside it.
    assert strip_ft2(shed) == pytest.approx(60 * 15, abs=0.5)


def test_another_outline_between_hides_the_curb():
    behind = lot(-15).add("property", box(0, -10, 80, -1), "B")
    assert strip_ft2(behind) == 0


def test_an_uncurbed_street_gives_a_strip_but_no_edge():
    found = survey(lot(-10, curbed="no"))
    assert found.lots.strip[0].area == pytest.approx(800, abs=0.1)
    assert len(beds_of(found, "curb")) == 0


def test_two_strips_never_claim_the_same_ground():
    # Fronts that lean to each other over one straight curb.
    one = Polygon([(-60, 0), (0, 6), (0, 100), (-60, 100)])
    two = Polygon([(0, 6), (60, 0), (60, 100), (0, 100)])
    drawing = (
        Drawing()
        .add("property", one, "A")
        .add("property", two, "B")
        .add("street", street_south(-8), "")
    )
    found = survey(drawing)
    strips = in_plane(found, found.lots.strip)
    assert strips[0].intersection(strips[1]).area < 0.01
    assert strips[0].area + strips[1].area == pytest.approx(120 * 8 + 60 * 6, abs=0.5)


# --- lawn


def test_gaps_up_to_the_limit_are_closed_and_wider_ones_are_not():
    for gap_ft, beds in ((1.4, 1), (1.7, 0)):
        drawing = lot().add("lawn", box(0, gap_ft, 80, 60))
        assert len(beds_of(survey(drawing), "curb")) == beds


def test_nothing_is_inferred_on_more_than_an_acre():
    acre = Drawing().add("property", box(0, 0, 200, 217.8)).add("street", street_south(0), "")
    assert len(beds_of(survey(acre), "curb")) == 1  # 43,560 ft² exactly
    more = Drawing().add("property", box(0, 0, 200, 218)).add("street", street_south(0), "")
    assert len(survey(more).beds) == 0
    assert note_of(more) == ["draw the lawn"]


def test_nothing_is_inferred_far_beyond_the_mowed_area():
    drawing = lot()  # 9,600 ft² of open ground
    for mowed_ft2, is_undrawn in ((6500.0, False), (6300.0, True)):
        clients = clients_of(drawing, mowed_ft2=mowed_ft2)
        lots = np.array(["A"], object)
        found = survey_block(features_of(drawing), lots, clients, rules=rules_of_cases())
        assert bool(found.lawn.is_undrawn[0]) is is_undrawn


def test_a_lawn_drawn_under_the_house_is_noted_from_five_percent_on():
    for depth_ft, noted in ((4.0, False), (6.0, True)):
        house = box(0, 100 - depth_ft, 80, 110)  # of 8,000 ft²: 320 or 480 lost
        drawing = lot().add("lawn", box(0, 0, 80, 100)).add("house", house)
        assert bool(note_of(drawing)) is noted


def test_no_street_takes_every_wall_and_says_so():
    drawing = Drawing().add("property", LOT).add("house", box(20, 40, 60, 70))
    found = survey(drawing)
    ring = beds_of(found, "house").iloc[0]
    assert ring["edge_ft"] == pytest.approx(140, abs=0.1)
    assert "no street is known" in ring["cautions"]
    assert "add the street" in note_of(drawing)[0]


# --- faces


@pytest.mark.parametrize(("jog_ft", "edge_ft"), [(2.5, 45.0), (5.5, 51.0), (6.5, 40.0)])
def test_a_jog_shorter_than_six_feet_belongs_to_its_face(jog_ft, edge_ft):
    # A bay of 10 ft stands out by the jog: its two cheeks look sideways.
    bay = box(35, 40 - jog_ft, 45, 40)
    house = box(20, 40, 60, 70).union(bay)
    found = survey(lot().add("house", house))
    front = found.edges[found.edges["along"] == "house"]
    assert front["edge_ft"].sum() == pytest.approx(edge_ft, abs=0.1)


def test_a_house_drawn_in_parts_has_one_front():
    # 25 and 17 ft of front with a 4 ft step between them.
    drawing = lot().add("house", box(20, 40, 45, 70)).add("house", box(45, 44, 62, 70))
    assert beds_of(survey(drawing), "house")["edge_ft"].tolist() == pytest.approx([46], abs=0.1)


def test_a_recess_deeper_than_a_jog_breaks_the_front():
    recess = box(35, 40, 45, 47)
    found = survey(lot().add("house", box(20, 40, 60, 70) - recess))
    front = found.edges[found.edges["along"] == "house"]
    # 15 + 10 + 15 look at the street, the two 7 ft cheeks do not.
    assert front["edge_ft"].sum() == pytest.approx(40, abs=0.1)


def test_a_back_wall_that_sees_a_street_across_a_neighbor_is_not_front():
    drawing = (
        Drawing()
        .add("property", box(0, 0, 80, 100), "A")
        .add("property", box(0, 100, 80, 130), "B")
        .add("house", box(20, 60, 60, 90), "A")
        .add("street", box(-100, 130, 200, 160), "")
    )
    assert len(beds_of(survey(drawing), "house")) == 0


def test_a_wall_turned_by_fifty_degrees_is_front_and_by_seventy_not():
    # Walls of 30 and 25 ft, turned from the street by so much and by 90° less that.
    for degrees, front_ft in ((50, 30 + 25), (70, 25)):
        rad = np.radians(degrees)
        along = np.array([np.cos(rad), np.sin(rad)])
        inward = np.array([-np.sin(rad), np.cos(rad)])
        corner = np.array([40.0, 30.0])
        ring = [
            corner,
            corner + 30 * along,
            corner + 30 * along + 25 * inward,
            corner + 25 * inward,
        ]
        found = survey(lot().add("house", Polygon(ring)), rules_of_cases(house_faces=("front",)))
        lengths_ft = found.edges.loc[found.edges["along"] == "house", "edge_ft"]
        assert lengths_ft.sum() == pytest.approx(front_ft, abs=0.1)


# --- drawn edges


def test_a_drawn_curb_needs_no_street():
    drawing = (
        Drawing()
        .add("property", LOT)
        .add("edge", LineString([(-50, -6), (130, -6)]), "", along="curb")
    )
    found = survey(drawing)
    bed = beds_of(found, "curb").iloc[0]
    assert (bed["edge_ft"], bed["edge_source"]) == (pytest.approx(80, abs=0.1), "drawn")
    assert bed["area_ft2"] == pytest.approx(320, abs=0.5)
    assert bed["right_of_way_ft2"] == pytest.approx(320, abs=0.5)


def test_a_drawn_curb_beats_the_polygon_within_the_gap():
    for line_y_ft in (-9.0, -11.0):
        drawing = lot(-10).add(
            "edge", LineString([(-50, line_y_ft), (130, line_y_ft)]), along="curb"
        )
        found = survey(drawing)
        bed = beds_of(found, "curb")
        assert bed["edge_source"].tolist() == ["drawn"]
        assert found.lots.strip[0].area == pytest.approx(80 * -line_y_ft, abs=1)
        assert bed["area_ft2"].iloc[0] == pytest.approx(320, abs=0.5)


def test_a_centerline_street_is_told_as_such():
    drawing = (
        Drawing()
        .add("property", LOT)
        .add("street_centerline", LineString([(-200, -25), (300, -25)]), "", pavement_ft=30.0)
    )
    bed = beds_of(survey(drawing), "curb").iloc[0]
    assert bed["edge_source"] == "centerline"
    assert bed["right_of_way_ft2"] == pytest.approx(320, abs=0.1)


# --- openings


def test_a_lot_without_a_drive_leaves_one_out_on_the_right():
    found = survey(lot(-10), rules_of_cases(default_opening_ft=24.0))
    bed = beds_of(found, "curb").iloc[0]
    assert bed["edge_ft"] == pytest.approx(56, abs=0.1)
    assert bed["is_opening_guessed"]
    assert "its place is a guess" in bed["cautions"]
    # Right as seen from the street, which lies south: the east end is free.
    east_ft = bed["geometry"].bounds[2] - 5000
    assert east_ft == pytest.approx(56, abs=0.1)


def test_the_sidewalk_opposite_the_guessed_drive_is_cut_alike():
    drawing = lot(-10).add("sidewalk", box(-100, -5, 200, 0), "")
    found = survey(drawing, rules_of_cases(default_opening_ft=24.0))
    assert beds_of(found, "sidewalk")["edge_ft"].tolist() == pytest.approx([56], abs=0.1)


def test_a_flare_widens_the_drive_at_the_curb():
    drawing = lot(-10).add("drive", box(30, -10, 50, 60))
    found = survey(drawing, rules_of_cases(drive_flare_ft=2.0))
    assert sorted(beds_of(found, "curb")["edge_ft"]) == pytest.approx([28, 28], abs=0.1)
    # A bed ends at the flare as at a drive: 28 ft and one open end.
    assert beds_of(found, "curb")["bed_line_ft"].tolist() == pytest.approx([32, 32], abs=0.1)


def test_a_band_ends_square_against_a_slanting_drive():
    slanting = Polygon([(30, 0), (50, 0), (70, 60), (50, 60)])
    found = survey(lot().add("drive", slanting))
    areas = sorted(beds_of(found, "curb")["area_ft2"])
    # Over 4 ft of depth the side leans by 4/3 ft: 30 + 2/3 and 30 − 2/3 ft in the mean.
    assert areas == pytest.approx([4 * (30 - 2 / 3), 4 * (30 + 2 / 3)], abs=0.2)


# --- setbacks


def test_a_transformer_takes_ground_and_cuts_off():
    box_at = Point(40, 6)
    found = survey(lot().add("utility", box_at, "", what="transformer"))
    beds = beds_of(found, "curb")
    circle = box_at.buffer(10, quad_segs=64)
    left = box(0, 0, 80, 4) - circle
    assert beds["area_ft2"].sum() == pytest.approx(left.area, abs=1.0)
    assert all("transformer" in text for text in beds["cautions"])


def test_an_easement_over_the_whole_band_cuts_it_off():
    found = survey(lot().add("easement", box(-10, -2, 90, 6), ""))
    assert beds_of(found, "curb")["skip_reason"].tolist() == ["cut off"]


def test_walls_curbs_with_parking_trees_and_fire():
    drawing = (
        lot(parking="yes")
        .add("house", box(20, 60, 60, 90))
        .add("tree", Point(40, 10), "", dbh_in=12.0)
        .add("wildfire_area", box(0, 50, 80, 120), "")
    )
    found = survey(drawing)
    curb, house = beds_of(found, "curb").iloc[0], beds_of(found, "house").iloc[0]
    assert house["wall_strip_ft2"] == pytest.approx(40, abs=0.1)
    assert (house["is_wildfire"], curb["is_wildfire"]) == (True, False)
    assert curb["plant_free_ft2"] == pytest.approx(80 * 1.5, abs=0.1)
    # A 12 in tree has a 15 ft root zone: what a circle about (40, 10) takes of the strip.
    zone = Point(40, 10).buffer(15, quad_segs=64).intersection(box(0, 0, 80, 4))
    assert curb["hand_dig_ft2"] == pytest.approx(zone.area, abs=0.5)
    assert "roots" in curb["cautions"]
    assert "cars park here: 18 in" in curb["cautions"]
    assert "gravel only" in house["cautions"]


# --- names


def test_curb_beds_count_from_left_to_right_as_seen_from_the_street():
    drawing = lot().add("drive", box(20, -2, 35, 60)).add("walk", box(55, 0, 59, 60))
    beds = beds_of(survey(drawing), "curb").set_index("bed_id")["geometry"]
    west_to_east = beds.map(lambda bed: bed.centroid.x).sort_values().index.tolist()
    assert west_to_east == ["A-curb-1", "A-curb-2", "A-curb-3"]


def test_a_bed_keeps_its_name_when_its_curb_is_drawn_anew():
    old = pd.DataFrame({"bed_id": ["A-curb-2", "A-curb-1"], "client_id": "A", "along": "curb"})
    old = old.assign(geometry=[box(0, 0, 30, 4), box(50, 0, 90, 4)], area_ft2=[120.0, 160.0])
    old["built_on"] = ""
    new = pd.DataFrame({"bed_id": ["A-curb-1", "A-curb-2", "A-curb-3"], "client_id": "A"})
    new = new.assign(
        along="curb",
        geometry=[box(0, 0.2, 30, 4.2), box(50, 0, 90, 4), box(0, 9, 9, 13)],
        area_ft2=[120.0, 160.0, 36.0],
    )
    assert match_beds(new, old).tolist() == ["A-curb-2", "A-curb-1", "A-curb-3"]


# --- measured on foot


def test_measured_edges():
    rows = pd.DataFrame(
        [
            ("A", "curb", 60.0, np.nan, 12.0),  # 48 × 4, two ends
            ("A", "curb", 50.0, 7.0, 0.0),  # 3 ft left is no room for a mower: 50 × 7
            ("A", "house", 30.0, 20.0, 0.0),
            ("A", "house", 10.0, 20.0, 0.0),
            ("A", "sidewalk", 40.0, 1.5, 0.0),
        ],
        columns=["client_id", "along", "length_ft", "room_ft", "openings_ft"],
    ).assign(bed_id="", measured_on="", note="", row=2)
    beds = size_measured(check_table(rows, MEASURED), rules=rules_of_cases())
    assert beds["area_ft2"].tolist() == [192, 350, 120, 40, 60]
    assert beds["bed_line_ft"].tolist() == [56, 14, 38, 18, 3]
    assert beds["absorbed_ft2"].tolist() == [0, 150, 0, 0, 0]
    assert beds["skip_reason"].tolist() == ["", "", "", "too short", "too shallow"]
    assert shapely.area(beds["geometry"].to_numpy()).tolist() == [192, 350, 120, 40, 60]


# --- opening


def test_case_7_a_tail_goes_and_square_corners_stay():
    """A 40 × 4 band with a 10 × 1 tail at the middle of one end gives 160.0 to 160.3."""
    band = box(0, 0, 40, 4).union(box(40, 1.5, 50, 2.5))
    opened = open_ground(np.array([band]), 2.0)
    assert 160.0 - 1e-6 <= shapely.area(opened)[0] <= 160.3
