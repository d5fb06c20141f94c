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
from tests.each import each
from tests.ground.forms import shaken
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
    surveys,
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


def fenced() -> Drawing:
    return (
        lot()
        .add("house", box(20, 40, 60, 70))
        .add("edge", LineString([(2, 100), (78, 100)]), along="fence")
    )


@each(
    lambda: surveys(
        {way: fenced().change(change) for way, change in WAYS.items()},
        rules_of_cases(offer_kinds=FENCES),
    )
)
def test_case_16_a_fence_is_one_edge_with_its_bed_on_the_side_of_the_house(found, way):
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


PLAIN = [(20, 40), (60, 40), (60, 70), (20, 70)]
STRAY = {"front": (1, (37, 39.999)), "east": (2, (60.001, 52)), "back": (3, (44, 70.001)), "west": (4, (19.999, 55))}  # fmt: skip


def with_stray_vertices() -> dict[tuple, tuple[pd.DataFrame, pd.DataFrame]]:
    """House beds with a stray vertex in a wall and without, by the faces pitched and the wall."""
    rings = {"": PLAIN} | {
        wall: [*PLAIN[:place], vertex, *PLAIN[place:]] for wall, (place, vertex) in STRAY.items()
    }
    houses = {wall: lot().add("house", Polygon(ring)) for wall, ring in rings.items()}
    cases = {}
    for faces in (("front",), ("side",), ("back",), RING):
        found = surveys(houses, rules_of_cases(house_faces=faces))
        beds = {wall: beds_of(one, "house") for wall, one in found.items()}
        cases |= {(faces, wall): (beds[""], beds[wall]) for wall in STRAY}
    return cases


@each(with_stray_vertices)
def test_case_18_a_stray_vertex_changes_no_face(beds):
    one, two = beds
    columns = ["bed_id", "face", "skip_reason"]
    assert len(one) > 0
    assert two[columns].to_numpy().tolist() == one[columns].to_numpy().tolist()
    assert figures(two, "edge_ft", "area_ft2") == pytest.approx(
        figures(one, "edge_ft", "area_ft2"), abs=0.1
    )


# --- gaps and drawn lines


def leaning(gap_ft: float, lean_ft: float) -> Drawing:
    """The east line leans out or in; the sidewalk lies a gap off the front of 80 ft."""
    return (
        Drawing()
        .add("property", Polygon([(0, 0), (80, 0), (80 + lean_ft, 100), (0, 100)]))
        .add("sidewalk", box(-100, -6 - gap_ft, 300, -gap_ft), "")
        .add("street", street_south(-200), "")
    )


LEANS = [(gap_ft, lean_ft) for gap_ft in (0.5, 1.0, 1.4) for lean_ft in (-40.0, 40.0)]


@each(lambda: surveys({case: leaning(*case) for case in LEANS}))
def test_a_closed_gap_ends_square_at_a_slanted_lot_line(found, case):
    gap_ft, lean_ft = case
    # The front pushed out square: 80 ft of it, no wedge beyond the line.
    closed_ft2 = 80 * gap_ft
    if lean_ft > 0:  # the line, carried on, leans back over the front
        closed_ft2 -= gap_ft**2 * 0.4 / 2
    outline_ft2 = 80 * 100 + lean_ft * 100 / 2
    assert found.lawn.ground[0].area - outline_ft2 == pytest.approx(closed_ft2, abs=0.1)


def off_the_lawn(off_ft: float) -> Drawing:
    return (
        lot()
        .add("lawn", box(0, 0, 80, 40 - off_ft))
        .add("edge", LineString([(20, 40), (60, 40)]), along="house")
    )


@each(
    lambda: shaken(
        {off_ft: off_the_lawn(off_ft) for off_ft in (0.05, 0.1, 0.3, 0.8, 1.4)}, [0, 17, 104]
    )
)
def test_an_edge_drawn_a_few_tenths_off_the_lawn_keeps_its_bed(found):
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
    # An easement across the strip leaves turf beyond the beds' ends, which are 3 ft long
    cut = (
        lot(-8).add("sidewalk", box(-200, -5, 300, 0), "").add("easement", box(30, -9, 50, -4), "")
    )
    curbs = beds_of(survey(cut), "curb").query("skip_reason == ''")
    assert curbs["edge_ft"].tolist() == pytest.approx([30, 30], abs=0.1)
    assert curbs["turf_left_width_ft"].isna().all()


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


def test_near_beds_that_were_all_measured_on_foot_are_laid_together():
    """As above, each along 28 ft of curb; half the length measured is half the area."""
    found = survey(front_walk())
    sets = pd.DataFrame(
        {"offer_id": "one", "client_id": "A", "bed_id": ["A-curb-2", "A-curb-1"], "place": [1, 2]}
    )
    measured = found.beds.assign(share=0.5, room_ft=np.nan)
    together = combine_beds(sets, measured, found, rules=rules_of_cases())
    assert together["bed_id"].tolist() == ["A-curb-2", "A-curb-1"]
    assert figures(together, "edge_ft", "area_ft2") == pytest.approx([14, 56] * 2, abs=0.1)
