"""
Layers that nearly meet: a few inches between two drawings change no bed. Worked out by hand.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd
import pytest
import shapely
from shapely import Polygon, box

from scanner.ground.kinds import CURB
from tests.each import each
from tests.ground.forms import shaken
from tests.sites import Drawing, arc, beds_of, rules_of_cases, street_south, survey

GAPS_FT = (0.0, 0.02, 0.1, 0.33)
TURNS = (0, 39, 141)

FROM_THE_CURB = rules_of_cases(sight_drive_from="curb")
"""Sight triangles at drives are worked out from the curb here."""


def found_along(
    drawings: Mapping[Any, Drawing], along: str, *turns: float
) -> dict[Any, pd.DataFrame]:
    """The beds that are offered along one kind, on drawings turned and rounded."""
    found = shaken(drawings, turns or (0,), FROM_THE_CURB)
    return {case: beds_of(one, along).query("skip_reason == ''") for case, one in found.items()}


def worked(beds, *columns: str) -> list[list[float]]:
    return beds[[*columns]].to_numpy(float).tolist()


def drawn_short(gap_ft: float) -> Drawing:
    # A flared drive beside a grass strip: a closing cuts a horn off there, and nothing else
    drive = Polygon([(9, -9), (12, -6), (12, 34), (24, 34), (24, -6), (27, -9)])
    house = Polygon([(12, 34), (12, 62), (104, 62), (104, 22), (58, 22), (58, 34)])
    walk = box(-150, -5, 260, -1)
    lawn = box(0, -9 + gap_ft, 110, 130)
    for hard in (drive, house, walk):
        lawn = lawn - hard.buffer(gap_ft, join_style="mitre")
    drawing = (
        Drawing()
        .add("property", box(0, 0, 110, 130))
        .add("street", street_south(-9), "")
        .add("house", house)
        .add("drive", drive)
        .add("sidewalk", walk, "")
    )
    for part in lawn.geoms:
        drawing = drawing.add("lawn", part)
    return drawing


@each(lambda: shaken({gap_ft: drawn_short(gap_ft) for gap_ft in GAPS_FT[1:]}, TURNS, FROM_THE_CURB))
def test_lawn_drawn_short_of_everything_keeps_its_inside_corners(found):
    house, curb, walk = (
        sorted(worked(beds_of(found, along).query("skip_reason == ''"), "edge_ft", "area_ft2"))
        for along in ("house", "curb", "sidewalk")
    )
    # The wing's front 58 to 104, and the wall behind it from the drive at 24 to the wing
    assert np.ravel(house) == pytest.approx([34, 136, 46, 184], abs=0.2)
    # 27 to 110 at the curb, and 3 x 3 / 2 + 3 x 1 above the flare; 0 to 9 is too short
    assert np.ravel(curb) == pytest.approx([83, 83 * 4 + 7.5], abs=0.3)
    # 0 to 12 and 24 to 110 behind the sidewalk
    assert np.ravel(walk) == pytest.approx([12, 48, 86, 344], abs=0.2)


def in_two_pieces(gap_ft: float) -> Drawing:
    return (
        Drawing()
        .add("property", box(0, 0, 60, 120))
        .add("street", box(-200, -40, 31, -10), "")
        .add("street", box(31 + gap_ft, -40, 300, -10), "")
        .add("drive", box(0, -10, 20, 40))
        .add("drive", box(44, -10, 60, 40))
        .add("house", box(10, 40, 50, 70))
    )


@each(
    lambda: found_along(
        {gap_ft: in_two_pieces(gap_ft) for gap_ft in (0.0, 0.04, 0.06, 0.33, 1.4)}, "curb", 0, 39
    )
)
def test_street_in_two_pieces_has_one_curb(beds):
    # 24 ft of curb between the drives; of each one's 10 ft triangle (100 - 36) / 2 lie in the bed
    figures = worked(beds, "edge_ft", "area_ft2", "low_plant_ft2")
    assert np.ravel(figures) == pytest.approx([24, 96, 64], abs=0.2)


def short_of(old: Polygon, gap_ft: float) -> Drawing:
    """A lawn drawn short of an old bed."""
    return (
        Drawing()
        .add("property", box(0, 0, 80, 120))
        .add("street", street_south(0), "")
        .add("lawn", box(0, 0, 80, 120) - old.buffer(gap_ft, join_style="mitre"))
        .add("bed", old)
    )


def with_old_beds(old: Polygon) -> dict[Any, pd.DataFrame]:
    return found_along({gap_ft: short_of(old, gap_ft) for gap_ft in (*GAPS_FT, 1.0)}, "curb", 17)


@each(lambda: with_old_beds(box(0, 0, 30, 4)))
def test_lawn_drawn_short_of_an_old_bed_beside_the_new_one(beds):
    # Beside the old bed no edging is wanted: 50 ft behind and 4 ft at the other end
    assert beds["bed_line_ft"].sum() == pytest.approx(54, abs=0.2)


@each(lambda: with_old_beds(box(0, 7, 80, 12)))
def test_lawn_drawn_short_of_an_old_bed_behind_the_new_one(beds):
    # Three feet of turf between a 4 ft curb bed and an old one: too narrow to mow
    figures = worked(beds, "area_ft2", "absorbed_ft2", "bed_line_ft")
    assert np.ravel(figures) == pytest.approx([560, 240, 14], abs=0.5)


def grass_strip(width_ft: float) -> Drawing:
    return (
        Drawing()
        .add("property", box(0, 0, 80, 110))
        .add("street", street_south(-5 - width_ft), "")
        .add("sidewalk", box(-150, -5, 200, 0), "")
    )


WIDTHS_FT = (3.9, 3.99, 4.0, 4.01, 4.05, 4.1, 4.2)


@each(lambda: found_along({width_ft: grass_strip(width_ft) for width_ft in WIDTHS_FT}, "curb", 17))
def test_grass_strip_a_hair_wider_than_the_bed(beds, case):
    width_ft, _ = case
    # The bed takes all of the strip: edged at its two ends, trimming saved along both sides
    figures = worked(beds, "edge_ft", "area_ft2", "bed_line_ft", "trim_ft")
    assert np.ravel(figures) == pytest.approx([80, 80 * width_ft, 2 * width_ft, 160], abs=0.2)


def test_absorbed_turf_has_no_needles():
    drawing = (
        Drawing()
        .add("property", box(0, 0, 85, 90))
        .add("street", box(-150, -39, 235, -9).union(box(-36, -150, -6, 240)), "")
        .add("sidewalk", box(-5, -150, -1, 240), "")
        .add("house", box(6, 26, 80, 54))
    )
    trims = []
    for beds in found_along({"": drawing}, "house", 0, 17, 104, 236, 301).values():
        shapes = beds["geometry"].to_numpy()
        without = shapely.buffer(shapely.buffer(shapes, -0.02), 0.02, join_style="mitre")
        assert shapely.length(shapes) == pytest.approx(shapely.length(without), abs=0.1)
        trims.append(float(beds["trim_ft"].sum()))
    assert trims == pytest.approx([trims[0]] * len(trims), abs=0.1)


def cul_de_sac_lot(gap_ft: float | None, drive_at_ft: float) -> Drawing:
    """A lot on a bulb of 42 ft, its drive at a slant to the curb; None: nobody drew the lawn."""

    def rim(radius_ft: float, start: float, end: float) -> list:
        count = int(abs(end - start) / 2)
        angles = [math.radians(start + (end - start) * at / count) for at in range(count + 1)]
        return [(radius_ft * math.cos(one), radius_ft * math.sin(one)) for one in angles]

    street = Polygon(rim(42, 0, 360)[:-1]).union(box(-15, -150, 15, 0))
    outline = Polygon(rim(52, 60, 120) + rim(152, 120, 60))
    drive, house = box(drive_at_ft, 20, drive_at_ft + 10, 82) - street, box(-20, 82, 20, 112)
    drawing = (
        Drawing()
        .add("property", outline)
        .add("street", street, "")
        .add("drive", drive)
        .add("house", house)
    )
    if gap_ft is None:
        return drawing
    strip = Polygon(rim(41, 60, 120) + rim(52.5, 120, 60))
    lawn = outline.union(strip)
    for hard in (street, drive, house):
        lawn = lawn - hard.buffer(gap_ft, join_style="mitre")
    for part in shapely.get_parts(lawn):
        drawing = drawing.add("lawn", part) if part.area > 1 else drawing
    return drawing


def curved() -> dict[Any, tuple[pd.DataFrame, pd.DataFrame]]:
    """Beds of lawns drawn short of a curved curb, beside those of lawns that nobody drew."""
    cases = [
        (drive_at_ft, gap_ft) for drive_at_ft in (5, 8) for gap_ft in (None, 0.0, 0.03, 0.1, 0.33)
    ]
    lots = {case: cul_de_sac_lot(case[1], case[0]) for case in cases}
    found = {case: beds for (case, _), beds in found_along(lots, "curb", 33).items()}
    return {
        case: (beds, found[case[0], None]) for case, beds in found.items() if case[1] is not None
    }


@each(curved)
def test_gap_at_a_curved_curb_changes_no_bed(beds):
    drawn, inferred = beds
    columns = ("area_ft2", "bed_line_ft")
    assert len(inferred) == 1
    assert np.ravel(worked(drawn, *columns)) == pytest.approx(
        np.ravel(worked(inferred, *columns)), abs=0.3
    )
    # The edge itself ends where the closed corner does, inches before the drive
    assert drawn["edge_ft"].sum() == pytest.approx(inferred["edge_ft"].sum(), abs=0.5)


def beside_a_drive(ring: list[tuple[float, float]]) -> Drawing:
    return (
        Drawing()
        .add("property", box(0, 0, 100, 100))
        .add("street", street_south(-10), "")
        .add("drive", Polygon(ring))
    )


def flared(gap_ft: float) -> Drawing:
    low = -10 + gap_ft
    return beside_a_drive([(37, low), (40, -7), (40, 40), (56, 40), (56, -7), (59, low)])


@each(
    lambda: found_along(
        {gap_ft: flared(gap_ft) for gap_ft in (0.0, 0.01, 0.04, 0.1)}, "curb", *TURNS
    )
)
def test_flared_drive_drawn_short_of_the_curb(beds):
    figures = worked(
        beds.sort_values("edge_ft"), "edge_ft", "area_ft2", "bed_line_ft", "low_plant_ft2"
    )
    # 37 ft and 41 ft of curb; above each flare 3 x 3 / 2 + 3 x 1; edged behind, 3 ft longer than
    # the curb, and at the lot's line; (100 - 36) / 2 of each sight triangle
    expected = [37, 37 * 4 + 7.5, 40 + 4, 32, 41, 41 * 4 + 7.5, 44 + 4, 32]
    assert np.ravel(figures) == pytest.approx(expected, abs=0.3)


SQUARE = [(40, -10), (40, 40), (56, 40), (56, -10)]
FLARED = [(35, -10), (40, -5), (40, 40), (56, 40), (56, -5), (61, -10)]
ROUNDED = [*arc((35, -5), 5, 270, 360), (40, 40), (56, 40), *arc((61, -5), 5, 180, 270)]


SIDES = {"square": SQUARE, "flared": FLARED, "rounded": ROUNDED}


@each(lambda: found_along({name: beside_a_drive(side) for name, side in SIDES.items()}, "curb"))
def test_sight_triangle_starts_outside_a_flare_and_goes_straight_up(beds):
    # Legs of 10 ft along the curb and square to it: (10² - 6²) / 2 of it in a 4 ft bed
    assert beds["low_plant_ft2"].tolist() == pytest.approx([32, 32], abs=0.2)


def test_two_mouths_of_a_round_drive_are_two():
    # In at 15 to 25, round behind, out at 75 to 85: triangles on both sides of each
    drive = box(15, -10, 85, 30) - box(25, -11, 75, 20)
    drawing = (
        Drawing()
        .add("property", box(0, 0, 100, 100))
        .add("street", street_south(-10), "")
        .add("drive", drive)
    )
    (beds,) = found_along({"": drawing}, "curb").values()
    beds = beds.sort_values("edge_ft")
    # 0 to 15 and 85 to 100 have one mouth beside them, 25 to 75 two
    assert beds["low_plant_ft2"].tolist() == pytest.approx([32, 32, 64], abs=0.2)


def test_lots_carry_streets_that_are_closed():
    drawing = (
        Drawing()
        .add("property", box(0, 0, 60, 120))
        .add("street", box(-200, -40, 31, -10), "")
        .add("street", box(32, -40, 300, -10), "")
    )
    streets = survey(drawing).parts.of(CURB)
    assert shapely.get_num_geometries(shapely.union_all(streets.shape)) == 1
