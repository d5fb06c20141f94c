"""Drawings that an earlier ground room got wrong, and the newer worked cases. Worked out by hand."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
import shapely
from shapely import LineString, Polygon, box

from scanner.ground.lawn import _joined as joined_lots
from scanner.ground.sets import combine_beds
from scanner.plane.frame import to_degrees, to_feet
from tests.sites import (
    RING,
    Drawing,
    beds_of,
    densified,
    first_sets,
    front_walk,
    mid_block,
    restarted,
    rules_of_cases,
    street_south,
    survey,
    turned,
)

FENCES = ("curb", "house", "sidewalk", "fence")
ALL_KINDS = ("curb", "house", "sidewalk", "drive", "walk", "patio", "fence")
WAYS = {
    "as drawn": lambda shape: shape,
    "turned 37°": turned(37),
    "turned 200°": turned(200),
    "reversed": restarted,
    "densified": densified(3.7),
}


def lot(street_y_ft: float = 0.0) -> Drawing:
    """An 80 ft lot on a street."""
    return (
        Drawing().add("property", box(0, 0, 80, 120)).add("street", street_south(street_y_ft), "")
    )


def figures(beds: pd.DataFrame, *columns: str) -> np.ndarray:
    return np.ravel(beds[[*columns]].to_numpy(float))


# --- fences


@pytest.mark.parametrize("way", WAYS)
def test_case_16_a_fence_is_one_edge_with_its_bed_on_the_side_of_the_house(way):
    drawing = (
        lot()
        .add("house", box(20, 40, 60, 70))
        .add("edge", LineString([(2, 100), (78, 100)]), along="fence")
    )
    found = survey(drawing.change(WAYS[way]), rules_of_cases(offer_kinds=FENCES))
    beds = beds_of(found, "fence")
    # 76 x 4 = 304, edged behind and at both ends
    assert figures(beds, "edge_ft", "area_ft2", "bed_line_ft") == pytest.approx(
        [76, 304, 84], abs=0.1
    )
    assert beds["edge_source"].tolist() == ["drawn"]
    if way == "as drawn":
        assert shapely.bounds(beds["geometry"].iloc[0])[[1, 3]] - 3000 == pytest.approx(
            [96, 100], abs=0.05
        )


def test_without_a_house_the_bed_of_a_fence_lies_on_the_side_of_the_street():
    drawing = lot().add("edge", LineString([(2, 60), (78, 60)]), along="fence")
    bed = beds_of(survey(drawing, rules_of_cases(offer_kinds=FENCES)), "fence")["geometry"].iloc[0]
    assert shapely.bounds(bed)[[1, 3]] - 3000 == pytest.approx([56, 60], abs=0.05)


def test_a_fence_in_the_right_of_way_asks_for_a_permit():
    drawing = lot(-18).add("edge", LineString([(0, -8), (80, -8)]), along="fence")
    rules = rules_of_cases(offer_kinds=FENCES)
    beds = beds_of(survey(drawing, rules), "fence")
    # On the street's side: y -12 to -8, all of it outside the outline
    assert figures(beds, "right_of_way_ft2") == pytest.approx([80 * 4], abs=0.1)
    assert beds["cautions"].str.contains("in the right-of-way").all()


# --- faces


@pytest.mark.parametrize("faces", [("front",), ("side",), ("back",), RING])
@pytest.mark.parametrize("wall", ["front", "back", "west", "east"])
def test_case_18_a_stray_vertex_changes_no_face(wall, faces):
    plain = [(20, 40), (60, 40), (60, 70), (20, 70)]
    place, stray = {
        "front": (1, (37, 39.999)), "east": (2, (60.001, 52)),
        "back": (3, (44, 70.001)), "west": (4, (19.999, 55)),
    }[wall]  # fmt: skip
    columns = ["bed_id", "face", "skip_reason"]
    one, two = (
        beds_of(
            survey(lot().add("house", Polygon(ring)), rules_of_cases(house_faces=faces)), "house"
        )
        for ring in (plain, [*plain[:place], stray, *plain[place:]])
    )
    assert two[columns].to_numpy().tolist() == one[columns].to_numpy().tolist()
    assert figures(two, "edge_ft", "area_ft2") == pytest.approx(
        figures(one, "edge_ft", "area_ft2"), abs=0.1
    )


# --- gaps and drawn lines


@pytest.mark.parametrize("lean_ft", [-40.0, 40.0])
@pytest.mark.parametrize("gap_ft", [0.5, 1.0, 1.4])
def test_a_closed_gap_ends_square_at_a_slanted_lot_line(gap_ft, lean_ft):
    # The east line leans out or in; the sidewalk lies a gap off the front of 80 ft.
    outline = Polygon([(0, 0), (80, 0), (80 + lean_ft, 100), (0, 100)])
    drawing = (
        Drawing()
        .add("property", outline)
        .add("sidewalk", box(-100, -6 - gap_ft, 300, -gap_ft), "")
        .add("street", street_south(-200), "")
    )
    found = survey(drawing)
    # The front pushed out square: 80 ft of it, no wedge beyond the line.
    closed_ft2 = 80 * gap_ft
    if lean_ft > 0:  # the line, carried on, leans back over the front
        closed_ft2 -= gap_ft**2 * 0.4 / 2
    assert found.lawn.ground[0].area - outline.area == pytest.approx(closed_ft2, abs=0.1)


@pytest.mark.parametrize("degrees", [0, 17, 104])
@pytest.mark.parametrize("off_ft", [0.05, 0.1, 0.3, 0.8, 1.4])
def test_an_edge_drawn_a_few_tenths_off_the_lawn_keeps_its_bed(off_ft, degrees):
    drawing = (
        lot()
        .add("lawn", box(0, 0, 80, 40 - off_ft))
        .add("edge", LineString([(20, 40), (60, 40)]), along="house")
    )
    found = survey(drawing.change(turned(degrees)), decimals=9)
    beds = beds_of(found, "house")
    assert figures(beds, "edge_ft", "area_ft2") == pytest.approx([40, 160], abs=0.2)
    assert beds["face"].tolist() == ["drawn"]


def test_strips_a_hair_apart_make_one_lawn():
    outline = np.array([box(0, 0, 80, 120)])
    strips = np.array([shapely.union(box(0, -10, 40, 0), box(40.015, -10, 80, -0.001))])
    (whole,) = joined_lots(outline, strips)
    assert (whole.geom_type, len(whole.interiors)) == ("Polygon", 0)
    assert whole.area == pytest.approx(80 * 130, abs=0.5)


# --- pieces


def test_case_20_scrap_is_no_row():
    # A foot of lawn between the walk (28 to 32) and a drive: 1 ft of curb, 4 ft2, no row.
    drawing = front_walk().add("drive", box(33, 0, 45, 60))
    found = survey(drawing)
    curb = beds_of(found, "curb").sort_values("edge_ft")
    assert figures(curb, "edge_ft", "area_ft2") == pytest.approx([15, 60, 28, 112], abs=0.1)
    assert (found.beds["skip_reason"] == "").all()


def test_a_larger_piece_is_skipped_with_its_reason():
    drawing = front_walk().add("drive", box(36, 0, 45, 60))
    curb = beds_of(survey(drawing), "curb").sort_values("edge_ft")
    assert curb["skip_reason"].tolist() == ["too short", "", ""]
    assert figures(curb, "edge_ft") == pytest.approx([4, 15, 28], abs=0.1)


def test_patio_and_drive_beds_where_a_book_offers_them():
    drawing = lot().add("drive", box(0, 0, 20, 60)).add("patio", box(40, 80, 60, 95))
    found = survey(drawing, rules_of_cases(offer_kinds=ALL_KINDS))
    # Beside the drive: 60 ft less the 4 ft that the curb bed has; round its end 4 ft deep
    drive = beds_of(found, "drive")
    quarter_ft2 = np.pi * 4**2 / 4
    assert figures(drive, "edge_ft", "area_ft2") == pytest.approx(
        [76, 56 * 4 + 20 * 4 + quarter_ft2], abs=0.1
    )
    assert drive["trim_ft"].tolist() == pytest.approx([76], abs=0.1)
    # Round the patio: 70 ft of it, and four quarters at the corners
    patio = beds_of(found, "patio")
    assert figures(patio, "edge_ft", "area_ft2") == pytest.approx(
        [70, 70 * 4 + 4 * quarter_ft2], abs=0.1
    )
    assert patio["face"].tolist() == [""]


def test_width_is_told_off_bed_lines_of_ten_feet_and_more_only():
    # Turf strips of 3 ft: beds take all of it, what is left of their line is 3 ft at the open end
    found = survey(lot(-8).add("sidewalk", box(-200, -5, 300, 0), ""))
    assert beds_of(found, "curb")["turf_left_width_ft"].isna().all()
    assert beds_of(found, "sidewalk")["turf_left_width_ft"].tolist() == [60.0]


# --- feet and degrees


@pytest.mark.parametrize("frame", ["-98.75,41.25", "-80.25,34.25", "-149.75,61.25", "0.25,0.25"])
def test_feet_come_back_from_degrees_to_a_ten_thousandth_of_an_inch(frame):
    """The projection's own inverse errs by 0.0025 ft in latitude."""
    feet = shapely.points(np.random.default_rng(5).uniform(-80_000, 80_000, (400, 2)))
    again = to_feet(to_degrees(feet, frame), frame)
    assert shapely.distance(feet, again).max() < 1e-5


# --- offers


def test_beds_far_apart_are_reused_and_leave_their_turf_together():
    found = survey(mid_block())
    order = pd.DataFrame({"client_id": "A", "bed_id": ["A-curb-2", "A-house-1"], "place": [1, 2]})
    together = combine_beds(first_sets(order), found.beds, found, rules=rules_of_cases())
    same = ["edge_ft", "area_ft2", "bed_line_ft", "trim_ft", "turf_left_width_ft", "cautions"]
    alone = found.beds.set_index("bed_id").loc[["A-curb-2", "A-house-1"], same]
    again = together.set_index("bed_id")[same]
    assert again.to_numpy().tolist() == alone.to_numpy().tolist()
    assert together["turf_left_ft2"].tolist() == pytest.approx([8300 - 200 - 120] * 2, abs=0.1)


def test_any_beds_of_a_client_may_be_combined():
    found = survey(front_walk())
    sets = pd.DataFrame(
        {"offer_id": "one", "client_id": "A", "bed_id": ["A-curb-2", "A-curb-1"], "place": [1, 2]}
    )
    together = combine_beds(sets, found.beds, found, rules=rules_of_cases())
    assert together["bed_id"].tolist() == ["A-curb-2", "A-curb-1"]
    assert figures(together, "area_ft2", "bed_line_ft") == pytest.approx([112, 32] * 2, abs=0.1)
