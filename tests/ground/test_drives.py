"""Drives: one through a sidewalk, mouths that nobody drew, flares, and the guessed opening."""

from __future__ import annotations

import pytest
import shapely
from shapely import Polygon, box

from tests.answers import answers
from tests.ground.forms import FORMS, in_all_forms
from tests.sites import Drawing, beds_of, parkway, rules_of_cases, street_south, survey

GUESSING = rules_of_cases(default_opening_ft=24.0)


def split_parkway(*, gap_ft: float = 0.0) -> Drawing:
    """Case 17: case 4 with its drive drawn in two pieces, one on each side of the sidewalk."""
    return (
        Drawing()
        .add("property", box(0, 0, 60, 120))
        .add("street", street_south(-8), "")
        .add("sidewalk", box(-200, -5, 300, 0), "")
        .add("drive", box(6, -8, 24, -5))
        .add("drive", box(6, gap_ft, 24, 40))
    )


def row_house() -> Drawing:
    """Case 15: a house over the whole width of a 34 ft lot, no drive."""
    return (
        Drawing()
        .add("property", box(0, 0, 34, 80))
        .add("street", street_south(0), "")
        .add("house", box(0, 20, 34, 50))
    )


def rows(found, along, client="A"):
    """Edge, area and reason of each bed, smallest first."""
    beds = beds_of(found, along, client).sort_values("edge_ft")
    return [
        (round(edge_ft, 1), round(area_ft2, 1), reason)
        for edge_ft, area_ft2, reason in beds[["edge_ft", "area_ft2", "skip_reason"]].itertuples(index=False)
    ]  # fmt: skip


@pytest.mark.parametrize("gap_ft", [0.0, 0.4])
def test_case_17_a_drive_that_a_sidewalk_splits_is_one(gap_ft):
    one, two = (
        survey(in_all_forms(parkway()), GUESSING),
        survey(in_all_forms(split_parkway(gap_ft=gap_ft)), GUESSING),
    )
    for name in FORMS:
        for along in ("curb", "sidewalk"):
            split = beds_of(two, along, name)
            assert not split["is_opening_guessed"].any(), name
            assert "guess" not in " ".join(split["cautions"])
            assert rows(two, along, name) == [
                (pytest.approx(edge_ft, abs=0.1), pytest.approx(area_ft2, abs=0.1), reason)
                for edge_ft, area_ft2, reason in rows(one, along, name)
            ]


def test_a_drive_drawn_to_the_sidewalk_alone_has_a_mouth_that_is_a_guess():
    drawing = (
        Drawing()
        .add("property", box(0, 0, 60, 120))
        .add("street", street_south(-8), "")
        .add("sidewalk", box(-200, -5, 300, 0), "")
        .add("drive", box(6, 0, 24, 40))
    )
    found = survey(drawing)
    # the mouth takes 18 ft of the parkway all the same
    assert rows(found, "curb") == [(6, 18, "too short"), (36, 108, "")]
    assert beds_of(found, "curb")["is_opening_guessed"].all()
    assert "its place is a guess" in beds_of(found, "curb")["cautions"].iloc[0]


@pytest.mark.parametrize(("short_ft", "is_guessed"), [(1.4, False), (1.6, True), (19.0, True)])
def test_a_mouth_over_turf_is_a_guess_beyond_the_gap(short_ft, is_guessed):
    drawing = (
        Drawing()
        .add("property", box(0, 0, 80, 120))
        .add("street", street_south(-20), "")
        .add("drive", box(30, -20 + short_ft, 50, 60))
    )
    found = survey(drawing)
    assert rows(found, "curb") == [(30, 120, ""), (30, 120, "")]
    assert bool(found.is_guessed[0]) is is_guessed


def test_case_15_row_house_keeps_its_house_bed_in_all_forms():
    # 34 × 4; a guessed opening 24 ft wide and deep would leave 52
    found = survey(in_all_forms(row_house()), GUESSING)
    for name in FORMS:
        assert rows(found, "curb", name) == [(10, 40, "too short")]
        assert rows(found, "house", name) == [(34, 136, "")]
        assert beds_of(found, "curb", name)["is_opening_guessed"].all()
        assert not beds_of(found, "house", name)["is_opening_guessed"].any()


@pytest.mark.parametrize(
    ("by_lot", "by_rules", "curb_ft"),
    [("", "no", 56), ("yes", "no", 80), ("", "yes", 80), ("no", "yes", 56), ("no", "no", 56)],
)
def test_no_drive_is_guessed_where_all_are_known(by_lot, by_rules, curb_ft):
    drawing = (
        Drawing()
        .add("property", box(0, 0, 80, 100), drives_known=by_lot)
        .add("street", street_south(0), "")
    )
    rules = GUESSING.model_copy(update={"drives_known": by_rules})
    found = survey(drawing, rules)
    assert rows(found, "curb") == [(curb_ft, 4 * curb_ft, "")]
    assert bool(found.is_guessed[0]) is (curb_ft < 80)


def test_a_width_that_a_crew_measured_counts_where_all_drives_are_known():
    drawing = (
        Drawing()
        .add("property", box(0, 0, 80, 100), drives_known="yes")
        .add("street", street_south(0), "")
    )
    found = survey(drawing, GUESSING, answers=answers(("A", "drive width ft", "20")))
    assert rows(found, "curb") == [(60, 240, "")]


def test_a_flare_is_as_deep_as_a_bed_and_as_wide_as_told():
    # 30 ft of curb on each side less 2 ft; over 4 ft of depth, then the drive is straight again
    drawing = (
        Drawing()
        .add("property", box(0, 0, 80, 100))
        .add("street", street_south(0), "")
        .add("drive", box(30, 0, 50, 60))
    )
    found = survey(drawing, rules_of_cases(drive_flare_ft=2.0))
    assert rows(found, "curb") == [(28, 112, ""), (28, 112, "")]
    assert shapely.area(found.lawn.ground)[0] == pytest.approx(
        80 * 100 - 20 * 60 - 2 * 2 * 4, abs=0.1
    )


def test_a_slanting_drive_flares_along_the_curb():
    # sides lean by a third: the flare is a parallelogram, 2 ft off the side all the way up
    slanting = Polygon([(30, 0), (50, 0), (70, 60), (50, 60)])
    drawing = (
        Drawing()
        .add("property", box(0, 0, 90, 100))
        .add("street", street_south(0), "")
        .add("drive", slanting)
    )
    found = survey(drawing, rules_of_cases(drive_flare_ft=2.0))
    out_ft = 2 * (1 + 1 / 9) ** 0.5  # along the curb, 2 ft square off the side
    edges = sorted(beds_of(found, "curb")["edge_ft"])
    assert edges == pytest.approx([30 - out_ft, 40 - out_ft], abs=0.1)
