"""Properties that hold for any lot: moved, turned, densified, gapped, deeper."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest
import shapely
from hypothesis import example, given, settings
from hypothesis import strategies as st
from shapely import box

from scanner.ground.survey import Survey
from scanner.plane.grid import ON_FT
from tests.sites import (
    Drawing,
    densified,
    in_plane,
    moved,
    restarted,
    rules_of_cases,
    street_south,
    survey,
    turned,
)

MEASURES = ("edge_ft", "area_ft2", "bed_line_ft", "right_of_way_ft2", "low_plant_ft2", "trim_ft")


@dataclass(frozen=True)
class Lot:
    """A lot with a house, a drive, a walk and perhaps a sidewalk."""

    width_ft: float
    setback_ft: float
    curb_ft: float
    drive_ft: float
    walk_ft: float
    sidewalk_ft: float

    def draw(self) -> Drawing:
        """Draw it on a street to the south."""
        width, house_y = self.width_ft, self.setback_ft
        drawing = (
            Drawing()
            .add("property", box(0, 0, width, house_y + 70))
            .add("street", street_south(-self.curb_ft), "")
            .add("house", box(10, house_y, width - 12, house_y + 35))
            .add("drive", box(14, -self.curb_ft, 14 + self.drive_ft, house_y))
        )
        if self.walk_ft > 0:
            middle = 14 + self.drive_ft + 15
            drawing = drawing.add("walk", box(middle, 0, middle + self.walk_ft, house_y))
        if self.sidewalk_ft > 0:
            drawing = drawing.add("sidewalk", box(-100, -self.sidewalk_ft, 300, 0), "")
        return drawing


lots = st.builds(
    Lot,
    width_ft=st.floats(62, 110),
    setback_ft=st.floats(14, 45),
    # At 6 ft a sidewalk of 4.5 leaves just the gap that is closed: either answer is right.
    curb_ft=st.floats(6.2, 18),
    drive_ft=st.floats(9, 20),
    walk_ft=st.sampled_from([0.0, 4.0]),
    sidewalk_ft=st.sampled_from([0.0, 4.5]),
)
ways = st.sampled_from([turned(23), turned(141), moved(9000, 12_000), restarted, densified(2.9)])


def numbers(found: Survey) -> list[tuple]:
    """Names, reasons and measures of all beds, by name."""
    beds = found.beds.sort_values("bed_id")
    return [
        (row.bed_id, row.skip_reason, *(getattr(row, name) for name in MEASURES))
        for row in beds.itertuples()
    ]


@settings(max_examples=25)
@given(lot=lots, way=ways)
@example(
    lot=Lot(62, 33.30019494704616, 15.335236785737159, 15.335236785737159, 4, 4.5), way=turned(23)
)
def test_drawing_it_otherwise_changes_no_number(lot, way):
    plain, other = numbers(survey(lot.draw())), numbers(survey(lot.draw().change(way)))
    assert [row[:2] for row in plain] == [row[:2] for row in other]
    for one, two in zip(plain, other, strict=True):
        # a corner lies on the grid to 1/8000 ft: ground with 400 ft of border is right to 0.05 ft2
        assert one[2:-1] == pytest.approx(two[2:-1], abs=0.05)
        # a contact is measured to `ON_FT` at either end; a piece seldom has more than four
        assert one[-1] == pytest.approx(two[-1], abs=8 * ON_FT)


@settings(max_examples=20)
@given(lot=lots)
def test_beds_lie_in_the_lawn_apart_and_clear_of_what_is_removed(lot):
    drawing = lot.draw().add("easement", box(-5, -30, 18 + lot.drive_ft, 5), "")
    found = survey(drawing, rules_of_cases(offer_kinds=("curb", "house", "sidewalk", "drive")))
    shapes = found.beds["geometry"].to_numpy()
    assert (
        shapely.area(shapely.difference(shapes, in_plane(found, found.lawn.ground)[0])).max(
            initial=0
        )
        < 0.02
    )
    kept = shapes[found.beds["skip_reason"] == ""]
    assert shapely.area(shapely.union_all(kept)) == pytest.approx(
        shapely.area(kept).sum(), abs=0.05
    )
    removed = shapely.area(shapely.intersection(kept, in_plane(found, found.limits.removed)[0]))
    assert removed.max(initial=0) < 0.02


@settings(max_examples=15)
@given(lot=lots, depth_ft=st.floats(2.5, 6))
def test_a_deeper_bed_never_loses_ground(lot, depth_ft):
    areas = [
        # Before they absorb: a left-over just under 5 ft² of turf stays turf.
        shapely.area(
            survey(lot.draw(), rules_of_cases(bed_depth_ft=deep_ft, offer_kinds=("curb",)))
            .beds["core"]
            .to_numpy()
        ).sum()
        for deep_ft in (depth_ft, depth_ft + 0.5)
    ]
    assert areas[1] >= areas[0] - 0.05


@settings(max_examples=15)
@given(lot=lots)
def test_four_inches_between_layers_change_beds_by_no_more_than_that(lot):
    """
    The lawn is drawn 4 in short of everything.

    Closing gives it back along hardscape; at a lot line it stays short, so an edge may
    lose 4 in at each end and an area 4 in times the depth there.
    """
    plain = survey(lot.draw())
    gap_ft = 4 / 12
    lawn = shapely.transform(
        in_plane(plain, plain.lawn.ground)[0], lambda points: points - [5000, 3000]
    )
    short = shapely.buffer(lawn, -gap_ft, join_style="mitre")
    gapped = survey(lot.draw().add("lawn", short))
    for along in ("curb", "house", "sidewalk"):
        exact, loose = (
            found.beds[(found.beds["along"] == along) & (found.beds["skip_reason"] == "")]
            for found in (plain, gapped)
        )
        near_limit = np.abs(exact["edge_ft"] - 12) < 2 * gap_ft
        if near_limit.any() or (np.abs(loose["edge_ft"] - 12) < 2 * gap_ft).any():
            continue
        assert len(exact) == len(loose)
        assert np.allclose(exact["edge_ft"], loose["edge_ft"], atol=2 * gap_ft + 0.05)
        assert np.allclose(exact["area_ft2"], loose["area_ft2"], atol=2 * gap_ft * 4 + 0.6)
