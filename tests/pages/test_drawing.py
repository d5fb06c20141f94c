"""The drawing of a lot: turn, scale, cut, what is kept clear; each case worked out by hand."""

from __future__ import annotations

import io

import numpy as np
import pandas as pd
import pdfplumber
import pytest
import shapely
from shapely import LineString, Point, box

from scanner.ground.drawn.plan_shapes import list_plan_shapes
from scanner.ground.sets import single_bed_offers
from scanner.ground.survey import Survey
from scanner.pages.bed_words import drawn_words
from scanner.pages.drawing.framing import Frame, Scale, fit
from scanner.pages.drawing.lot_drawing import Drawn, Field, draw_lot
from scanner.pages.drawing.scene import LotPlan, Scene, has_corners, set_scene
from scanner.pages.paper.sheet import Paper
from scanner.schema.tables import PLANTS, empty_table
from tests.paper_boxes import clashes
from tests.sites import (
    Drawing,
    corner_lot,
    cul_de_sac,
    hydrant_front,
    mid_block,
    rules_of_cases,
    street_south,
    survey,
    turned,
)


def plan_of(found: Survey) -> LotPlan:
    beds = single_bed_offers(found.beds)
    plants = empty_table(PLANTS).assign(spread_ft=pd.Series(dtype=float))
    return LotPlan(
        list_plan_shapes(found), beds, beds.iloc[:0], plants, "Elm Street", rules_of_cases()
    )


def scene_of(drawing: Drawing) -> Scene:
    return set_scene(plan_of(survey(drawing)))


def drawn_of(drawing: Drawing, most: float = 414, **how: bool) -> tuple[Paper, Scene, Drawn]:
    plan = plan_of(survey(drawing))
    scene, paper = set_scene(plan), Paper(title="a test")
    words = [drawn_words(bed, at) for at, bed in enumerate(plan.beds.to_dict("records"))]
    return (
        paper,
        scene,
        draw_lot(paper, scene, words, Field(36, 740, 540, most, min(most, 280)), **how),
    )


def frame_of(drawing: Drawing, most: float = 414) -> Frame:
    return fit(scene_of(drawing), 36, 740, 540, most, min(most, 280))


def words_on(paper: Paper) -> list[str]:
    return [one.text.replace("\xa0", " ") for one in paper.boxes]


def wide_lot(width_ft: float) -> Drawing:
    """Nothing but turf behind a straight curb."""
    lot = box(0, 0, width_ft, 25)
    return Drawing().add("property", lot).add("street", street_south(0, -200, width_ft + 200), "")


@pytest.mark.parametrize("degrees", [0, 37, 180, 271])
def test_the_longest_bed_lies_level_with_the_street_below(degrees):
    scene = scene_of(mid_block().change(turned(degrees)))
    edge = shapely.get_coordinates(scene.edges[0])
    assert edge[0, 1] == pytest.approx(edge[-1, 1], abs=0.01)
    assert edge[-1, 0] - edge[0, 0] == pytest.approx(50, abs=0.01)
    street_y = shapely.bounds(scene.layers["street"])[:, 3].max()
    assert street_y == pytest.approx(edge[0, 1], abs=0.01)
    assert shapely.get_coordinates(shapely.centroid(scene.beds[0]))[0, 1] > street_y
    # The arrow turns instead: the lot was turned back by what it had been turned
    assert np.degrees(scene.turn) % 360 == pytest.approx(-degrees % 360, abs=0.01)


def test_a_house_bed_has_its_wall_above():
    scene = scene_of(Drawing().add("property", box(0, 0, 60, 100)).add("street", street_south(-30), "")
                     .add("house", box(10, 40, 50, 70)))  # fmt: skip
    house_y = shapely.bounds(scene.layers["house"])[0, 1]
    assert shapely.bounds(scene.beds)[0, 3] == pytest.approx(house_y, abs=0.01)


# Field 540 pt. A bed of w ft takes 12 pt at each side: w × 9 + 24 ≤ 540 up to 57.3 ft, w × 7.2 + 24
# up to 71.6 ft, w × 3.6 + 24 up to 143.3 ft; then it is cut across, at 1 in = 20 ft.
@pytest.mark.parametrize(
    ("width_ft", "words", "is_cut"),
    [(57, "1/8 in = 1 ft", False), (58, "1 in = 10 ft", False), (71, "1 in = 10 ft", False),
     (72, "1 in = 20 ft", False), (143, "1 in = 20 ft", False), (150, "1 in = 20 ft", True)],
)  # fmt: skip
def test_the_finest_scale_that_holds_the_beds_is_taken(width_ft, words, is_cut):
    frame = frame_of(wide_lot(width_ft))
    assert (frame.scale.words, frame.cut is not None) == (words, is_cut)


@pytest.mark.parametrize("width_ft", [40, 65, 120, 200])
def test_a_foot_is_as_long_on_paper_as_the_scale_says(width_ft):
    frame = frame_of(wide_lot(width_ft))
    per_ft = {"1/8 in = 1 ft": 72 / 8, "1 in = 10 ft": 72 / 10, "1 in = 20 ft": 72 / 20}[
        frame.scale.words
    ]
    x0, y0 = frame.corner
    a, b = frame.to_page(np.array([[x0 + 1, y0 + 1], [x0 + 11, y0 + 1]]))
    assert b - a == pytest.approx([10 * per_ft, 0])
    assert frame.scale.points == per_ft


def test_a_long_curb_is_cut_across_and_keeps_its_length():
    paper, scene, drawn = drawn_of(wide_lot(300))
    cut = drawn.frame.cut
    assert cut is not None
    assert cut.axis == 0
    # (540 − 24 − 22) / 3.6 = 137.2 ft are drawn
    assert 300 - (cut.end - cut.start) == pytest.approx(137.2, abs=1.1)
    assert "300 ft" in words_on(paper)
    assert any(f"{cut.end - cut.start:.0f} ft are left out" in words for words in words_on(paper))
    low, _, high, _ = shapely.bounds(scene.beds[0])
    ends = drawn.frame.to_page(np.array([[low, 0], [high, 0]]))[:, 0]
    assert ends[0] >= 36 + 12 - 0.1
    assert ends[1] <= 576 - 12 + 0.1


@pytest.mark.parametrize("degrees", [0, 37, 200])
def test_the_line_of_a_length_runs_along_the_whole_edge(degrees):
    # 100 ft lots to the curbs, a return of radius 25: 75 + 39.27 + 75 ft
    scene = scene_of(corner_lot().change(turned(degrees)))
    assert shapely.length(scene.edges[0]) == pytest.approx(189.27, abs=0.1)


def test_lawn_between_curb_and_house_is_cut_out_for_a_finer_scale():
    drawing = (
        Drawing().add("property", box(0, 0, 50, 120)).add("street", street_south(0), "")
        .add("house", box(5, 70, 45, 100))
    )  # fmt: skip
    paper, _scene, drawn = drawn_of(drawing)
    cut = drawn.frame.cut
    assert (drawn.frame.scale.words, cut is not None and cut.axis) == ("1/8 in = 1 ft", 1)
    # beds reach up to 4 ft and down to 66 ft from the curb: 62 less 7 above and 6.5 below
    assert cut.end - cut.start == pytest.approx(62 - 7 - 6.5, abs=0.05)
    assert "48 ft of lawn left out here." in words_on(
        paper
    ) or "49 ft of lawn left out here." in words_on(paper)
    y = drawn.frame.to_page(np.array([[0, cut.start], [0, cut.end]]))[:, 1]
    assert y[1] - y[0] == pytest.approx(22)


def test_a_hydrant_is_kept_clear_once_and_told_with_the_rules_distance():
    scene = scene_of(hydrant_front())
    assert [(kept.number, kept.what, len(kept.shapes)) for kept in scene.kept] == [
        (1, "hydrant", 1)
    ]
    assert "within 3 ft" in scene.kept[0].sentence
    paper, *_ = drawn_of(hydrant_front())
    assert words_on(paper).count("1") == 1


def test_a_number_stands_at_the_part_of_an_edge_that_it_is_about():
    # Cars park along the first 12 of 60 ft of curb
    lot = (
        Drawing().add("property", box(0, 0, 60, 100)).add("house", box(10, 40, 50, 70))
        .add("street", box(-80, -30, 12, 0), "", parking="yes").add("street", box(12, -30, 140, 0), "")
    )  # fmt: skip
    paper, scene, drawn = drawn_of(lot)
    kept = next(kept for kept in scene.kept if kept.what == "step_out")
    ends = drawn.frame.to_page(shapely.get_coordinates(kept.shapes))[:, 0]
    number = next(written for written in paper.boxes if written.text == str(kept.number))
    # 12 ft, and the 1.5 ft within which a street touches a curb
    assert np.ptp(ends) == pytest.approx(13.5 * drawn.frame.scale.points, rel=0.01)
    assert ends.min() - 8 <= (number.left + number.right) / 2 <= ends.max() + 8


def test_what_touches_no_bed_has_no_number():
    far = hydrant_front().add("hydrant", Point(30, 40), "")
    assert len(scene_of(far).kept[0].shapes) == 1


def test_sight_triangles_of_a_drive_end_at_the_street():
    scene = scene_of(mid_block())
    drive = next(kept for kept in scene.kept if kept.what == "drive")
    street = shapely.union_all(scene.layers["street"])
    assert shapely.area(shapely.intersection(drive.shapes, street)) == pytest.approx(0, abs=1e-6)


@pytest.mark.parametrize(
    "make", [mid_block, cul_de_sac, hydrant_front, lambda: wide_lot(100), lambda: wide_lot(400)]
)
@pytest.mark.parametrize("how", [{"most": 414}, {"most": 262, "blanks": True}])
def test_no_words_overlap(make, how):
    paper, *_ = drawn_of(make(), **how)
    assert clashes(paper) == []


def test_blanks_stand_where_lengths_would():
    paper, *_ = drawn_of(mid_block(), 262, blanks=True)
    assert "50 ft" not in words_on(paper)
    assert "A" in words_on(paper)
    assert "50 ft" in words_on(drawn_of(mid_block())[0])


def test_a_drawing_is_lines_and_areas_in_a_small_file():
    paper, *_ = drawn_of(mid_block())
    content = paper.finish()
    assert len(content) < 100_000
    with pdfplumber.open(io.BytesIO(content)) as document:
        assert not document.pages[0].images
        assert len(document.pages[0].curves) + len(document.pages[0].lines) > 50


def test_an_edge_with_jogs_is_told_from_one_that_bends():
    bend = LineString([(np.cos(a) * 25, np.sin(a) * 25) for a in np.linspace(0, np.pi / 2, 10)])
    assert not has_corners(bend)
    assert has_corners(LineString([(0, 0), (10, 0), (10, 4), (20, 4)]))


def test_a_lot_no_scale_holds_is_drawn_all_the_same():
    frame = frame_of(wide_lot(1500))
    assert isinstance(frame.scale, Scale)
    assert clashes(drawn_of(wide_lot(1500))[0]) == []
