"""What must hold on any lot: streets of invented lots, moved, turned, re-drawn, and compared."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
import shapely
from hypothesis import example, given
from hypothesis import strategies as st
from shapely import Geometry, Point, box

from scanner.ground.survey import Survey
from scanner.plane.grid import ON_FT
from tests.each import examples
from tests.sites import (
    RING,
    Drawing,
    densified,
    in_plane,
    restarted,
    rules_of_cases,
    street_south,
    surveys,
    turned,
)

SAME = ("bed_id", "skip_reason", "cautions")
MEASURES = (
    "edge_ft", "area_ft2", "bed_line_ft", "absorbed_ft2", "right_of_way_ft2", "low_plant_ft2",
    "plant_free_ft2", "turf_left_ft2",
)  # fmt: skip


@st.composite
def whole_feet(draw: st.DrawFn) -> Drawing:
    """Draw a lot in whole feet: house, drive, perhaps a walk, a sidewalk, a hydrant."""
    width, depth = draw(st.integers(60, 110)), draw(st.integers(90, 150))
    to_curb = draw(st.sampled_from([0, 8, 12, 15]))
    front, side = draw(st.integers(20, 35)), draw(st.integers(6, 12))
    house = box(side, front, width - draw(st.integers(6, 20)), front + draw(st.integers(20, 40)))
    drive = draw(st.integers(0, 20))
    drawing = (
        Drawing()
        .add("property", box(0, 0, width, depth))
        .add("street", street_south(-to_curb), "")
        .add("house", house)
        .add("drive", box(drive, -to_curb, drive + draw(st.integers(9, 20)), front))
    )
    if to_curb and draw(st.booleans()):
        drawing = drawing.add("sidewalk", box(-200, -5, 300, 0), "")
    if draw(st.booleans()):
        drawing = drawing.add("walk", box(48, 0, 52, front))
    if draw(st.booleans()):
        drawing = drawing.add("hydrant", Point(45, 2 - to_curb), "")
    return drawing


def any_feet(
    width: float, setback: float, curb: float, drive: float, *, walk: bool, sidewalk: bool
) -> Drawing:
    """A lot of any size on a street to the south."""
    drawing = (
        Drawing()
        .add("property", box(0, 0, width, setback + 70))
        .add("street", street_south(-curb), "")
        .add("house", box(10, setback, width - 12, setback + 35))
        .add("drive", box(14, -curb, 14 + drive, setback))
    )
    if walk:
        drawing = drawing.add("walk", box(29 + drive, 0, 33 + drive, setback))
    if sidewalk:
        drawing = drawing.add("sidewalk", box(-100, -4.5, 300, 0), "")
    return drawing


LOTS = st.one_of(
    whole_feet(),
    st.builds(
        any_feet,
        st.floats(62, 110),
        st.floats(14, 45),
        # At 6 ft a sidewalk of 4.5 leaves just the gap that is closed, at 8.5 all of the grass is
        # the curb's bed, at 10.5 the rest is as deep as a bed has to be: either answer is right.
        st.one_of(st.floats(6.2, 8.4), st.floats(8.6, 10.4), st.floats(10.6, 18)),
        st.floats(9, 20),
        walk=st.booleans(),
        sidewalk=st.booleans(),
    ),
)
STREETS = st.lists(LOTS, min_size=10, max_size=10).map(lambda lots: dict(enumerate(lots)))
"""Ten lots, each on a street of its own, which are surveyed at once."""

TURNS = st.lists(
    st.tuples(st.integers(0, 359), st.floats(0.7, 9.0), st.booleans()), min_size=10, max_size=10
)
CLOSE = any_feet(62, 33.30019494704616, 15.335236785737159, 15.335236785737159, walk=True, sidewalk=True)  # fmt: skip
HEMMED = any_feet(89.2968, 15.6239, 9.0513, 16.9624, walk=False, sidewalk=True)
"""Half a foot of grass between a curb's bed and a sidewalk; a union of all that is taken once lost it."""
IN_THE_CORNER = (
    Drawing()
    .add("property", box(0, 0, 69, 98))
    .add("street", street_south(-15), "")
    .add("drive", box(4, -15, 17, 24))
    .add("sidewalk", box(-200, -5, 300, 0), "")
)
"""4 ft of grass between lot line and drive: the bed in the corner is as near to the side as to the front."""


@examples(3)
@given(street=STREETS, turns=TURNS, east_ft=st.integers(-20_000, 20_000))
@example(street={0: CLOSE}, turns=[(23, 500.0, False)], east_ft=0)
@example(street={0: HEMMED}, turns=[(336, 500.0, False)], east_ft=0)
@example(street={0: IN_THE_CORNER}, turns=[(189, 500.0, False)], east_ft=-388)
def test_moving_turning_reversing_and_densifying_change_no_number(street, turns, east_ft):
    others = {}
    for (at, lot), (degrees, step_ft, is_reversed) in zip(street.items(), turns, strict=True):
        other = lot.change(turned(degrees)).change(densified(step_ft))
        others[at] = other.change(restarted) if is_reversed else other
    plain, found = surveys(street), surveys(others, by_ft=(east_ft, -east_ft / 2))
    for at in street:
        one, two = (table[at].beds.sort_values("bed_id") for table in (plain, found))
        assert two[[*SAME]].to_numpy().tolist() == one[[*SAME]].to_numpy().tolist(), at
        for measure in MEASURES:
            # A corner lies on the grid to 1/8000 ft: ground with 400 ft of border is right to 0.05 ft2.
            off = 0.05 if measure.endswith("ft2") else 0.01
            assert two[measure].tolist() == pytest.approx(one[measure].tolist(), abs=off), measure
        # a contact is measured to `ON_FT` at either end; a piece seldom has more than four
        assert two["trim_ft"].tolist() == pytest.approx(one["trim_ft"].tolist(), abs=8 * ON_FT)


@examples(3)
@given(street=STREETS)
def test_beds_lie_in_the_lawn_apart_and_clear_of_what_is_removed(street):
    limited = {
        at: lot.add("easement", box(-20, -30, 46, 5), "")
        .add("utility", Point(58, 3), "", what="transformer")
        for at, lot in street.items()
    }  # fmt: skip
    kinds = ("curb", "house", "sidewalk", "drive")
    for found in surveys(limited, rules_of_cases(house_faces=RING, offer_kinds=kinds)).values():
        kept = found.beds[found.beds["skip_reason"] == ""]["geometry"].to_numpy()
        (lawn,), (removed,) = (
            in_plane(found, shapes) for shapes in (found.lawn.ground, found.limits.removed)
        )
        every = found.beds["geometry"].to_numpy()
        assert shapely.area(shapely.difference(every, lawn)).max(initial=0) < 0.02
        # Disjoint: the union is as large as the sum.
        assert shapely.union_all(kept).area == pytest.approx(shapely.area(kept).sum(), abs=0.05)
        assert removed.area > 100
        assert shapely.area(shapely.intersection(kept, removed)).max(initial=0) < 0.02


def core_ft2(found: Survey) -> float:
    """Ground of all beds before they absorb."""
    return float(shapely.area(found.beds["core"].to_numpy()).sum())


@examples(3)
@given(
    street=STREETS,
    along=st.sampled_from(["curb", "house", "sidewalk"]),
    narrow_ft=st.floats(2.5, 6.0),
    more_ft=st.floats(0.1, 2.0),
)
def test_a_deeper_bed_never_loses_ground(street, along, narrow_ft, more_ft):
    """
    One kind alone and before it absorbs: a later kind may lose ground to an earlier one, and
    a left-over under 5 ft² is not absorbed any more.
    """
    kind = {"offer_kinds": (along,), "kind_order": (along,), "house_faces": RING}
    narrow, deep = (
        surveys(street, rules_of_cases(bed_depth_ft=depth_ft, **kind))
        for depth_ft in (narrow_ft, narrow_ft + more_ft)
    )
    for at in street:
        assert core_ft2(deep[at]) >= core_ft2(narrow[at]) - 0.05, at


@examples(3)
@given(street=STREETS)
def test_every_piece_of_a_band_is_found_or_skipped_with_a_reason(street):
    # Whoever skips everything finds the same pieces, but where an earlier kind's beds took ground.
    plain, none = surveys(street), surveys(street, rules_of_cases(min_edge_ft=10_000.0))
    for at in street:
        beds, skipped_all = plain[at].beds, none[at].beds
        kept, skipped = (beds[(beds["skip_reason"] == "") == is_kept] for is_kept in (True, False))
        assert (kept["edge_ft"] >= 12 - 0.02).all()
        assert (kept["area_ft2"] >= 40 - 0.02).all()
        assert beds["bed_id"].is_unique
        assert set(skipped["skip_reason"]) <= {"cut off", "too shallow", "too short", "too small"}
        assert len(skipped_all) >= len(beds)
        for rows in (beds, skipped_all):
            assert (rows["along"] == "curb").sum() == (beds["along"] == "curb").sum()
        assert (skipped_all["skip_reason"] != "").all()
        # Absorbed turf is part of the area, never beside it.
        cores = shapely.area(beds["core"].to_numpy())
        assert (cores + beds["absorbed_ft2"]).tolist() == pytest.approx(
            beds["area_ft2"].tolist(), abs=0.05
        )
        assert (skipped["absorbed_ft2"] == 0).all()


def lawn_drawn(plain: Survey, short: Callable[[Geometry], Geometry]) -> Geometry:
    """The lawn that was inferred, drawn by hand and short of everything."""
    (lawn,) = in_plane(plain, plain.lawn.ground)
    return short(shapely.transform(lawn, lambda points: points - (5000, 3000)))


@examples(3)
@given(street=STREETS, gap_in=st.integers(1, 12))
def test_gaps_between_layers_move_beds_by_no_more_than_the_gap(street, gap_in):
    """
    Lawn and hardscape each drawn half a gap short.

    The edge moves by half the gap, sidewise too: each of a bed's two ends is off by the gap
    at most, so that the edge is right to two gaps and the area to depth times that.
    """
    gap_ft = gap_in / 12

    def short(shape: Geometry) -> Geometry:
        return shape.buffer(-gap_ft / 2, join_style="mitre")

    exact = surveys(street)
    loose = {
        at: Drawing(
            tuple(
                (kind, short(shape) if kind in ("house", "drive", "walk") else shape, row)
                for kind, shape, row in lot.features
            )
        ).add("lawn", lawn_drawn(exact[at], short))
        for at, lot in street.items()
    }
    for at, found in surveys(loose).items():
        beds = exact[at].beds
        for bed in beds[beds["skip_reason"] == ""].itertuples():
            if bed.edge_ft < 12 + 2 * gap_ft or bed.area_ft2 < 40 + 8 * gap_ft or bed.absorbed_ft2:
                continue  # a gap may well tip a piece that just made it
            same = found.beds.query("along == @bed.along and skip_reason == ''")
            centers = shapely.distance(same["geometry"].to_numpy(), bed.geometry.centroid)
            near = same.iloc[int(centers.argmin())]
            assert near["edge_ft"] == pytest.approx(bed.edge_ft, abs=2 * gap_ft + 0.05), at
            assert near["area_ft2"] == pytest.approx(bed.area_ft2, abs=8 * gap_ft + 0.2), at


@examples(3)
@given(street=STREETS)
def test_a_lawn_drawn_four_inches_short_changes_beds_by_no_more_than_that(street):
    """
    The lawn is drawn 4 in short of everything.

    Closing gives it back along hardscape; at a lot line it stays short, so an edge may
    lose 4 in at each end and an area 4 in times the depth there.
    """
    gap_ft = 4 / 12

    def short(shape: Geometry) -> Geometry:
        return shape.buffer(-gap_ft, join_style="mitre")

    plain = surveys(street)
    drawn = {at: lot.add("lawn", lawn_drawn(plain[at], short)) for at, lot in street.items()}
    for at, gapped in surveys(drawn).items():
        for along in ("curb", "house", "sidewalk"):
            exact, loose = (
                found.beds[(found.beds["along"] == along) & (found.beds["skip_reason"] == "")]
                for found in (plain[at], gapped)
            )
            # What lies at the least length or the least area may fall on either side of it
            lengths_ft = np.concatenate([exact["edge_ft"], loose["edge_ft"]])
            areas_ft2 = np.concatenate([exact["area_ft2"], loose["area_ft2"]])
            is_least = np.abs(lengths_ft - 12) < 2 * gap_ft
            if (is_least | (np.abs(areas_ft2 - 40) < 8 * gap_ft)).any():
                continue
            assert len(exact) == len(loose), (at, along)
            assert np.allclose(exact["edge_ft"], loose["edge_ft"], atol=2 * gap_ft + 0.05)
            assert np.allclose(exact["area_ft2"], loose["area_ft2"], atol=2 * gap_ft * 4 + 0.6)
