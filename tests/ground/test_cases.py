"""The worked cases of the design, as drawn and drawn otherwise: the same answers."""

from __future__ import annotations

import pandas as pd
import pytest
from shapely import affinity

from scanner.ground.sets import combine_beds
from scanner.ground.survey import Survey
from scanner.schema.documents import LocalRules
from tests.sites import (
    RING,
    Drawing,
    bad_drawing,
    beds_of,
    corner_lot,
    cul_de_sac,
    densified,
    first_sets,
    five_acres,
    front_walk,
    hydrant_front,
    in_plane,
    mid_block,
    moved,
    narrow_front,
    neighbors,
    one_bed,
    parkway,
    restarted,
    rules_of_cases,
    survey,
    turned,
)

TOLERANCE = 0.1

WAYS = {
    "as drawn": (lambda shape: shape, "-98.75,41.25"),
    "turned 37°": (turned(37), "-98.75,41.25"),
    "turned 200°": (turned(200), "-98.75,41.25"),
    "reversed and restarted": (restarted, "-98.75,41.25"),
    "densified": (densified(3.7), "-98.75,41.25"),
    "moved 4 miles": (moved(15_000, -14_000), "-98.75,41.25"),
    "moved 1,000 miles": (lambda shape: shape, "-80.25,34.25"),
}


@pytest.fixture(params=WAYS, scope="module")
def look(request):
    """Survey a drawing laid down in one of the ways."""
    change, frame = WAYS[request.param]

    def look(drawing: Drawing, **rules: object) -> Survey:
        return survey(drawing.change(change), rules_of_cases(**rules), frame)

    return look


def rows(found: Survey, along: str, client: str = "A") -> list[tuple[float, float, str]]:
    """Edge, area and skip reason of the beds along one kind, smallest first."""
    beds = beds_of(found, along, client).sort_values(["area_ft2", "edge_ft"])
    columns = beds[["edge_ft", "area_ft2", "skip_reason"]]
    return [(round(e, 2), round(a, 2), why) for e, a, why in columns.itertuples(index=False)]


def near(found: list[tuple], wanted: list[tuple]) -> bool:
    """Compare rows with the worked answers."""
    return len(found) == len(wanted) and all(
        one == pytest.approx(two, abs=TOLERANCE) if not isinstance(two, str) else one == two
        for left, right in zip(found, wanted, strict=True)
        for one, two in zip(left, right, strict=True)
    )


def together(found: Survey, rules: LocalRules, order: list[str]):
    """Lay some beds together in an offer."""
    table = pd.DataFrame({"client_id": "A", "bed_id": order, "place": range(1, len(order) + 1)})
    return combine_beds(first_sets(table), found.beds, found, rules=rules)


def test_case_1_mid_block(look):
    found = look(mid_block())
    assert found.lawn.ground[0].area == pytest.approx(8300, abs=TOLERANCE)
    assert near(rows(found, "curb"), [(10, 40, "too short"), (50, 200, "")])
    assert near(rows(found, "house"), [(30, 120, "")])
    curb = beds_of(found, "curb")
    assert (curb["right_of_way_ft2"] - curb["area_ft2"]).abs().max() < TOLERANCE


def test_case_1_whole_ring(look):
    assert near(rows(look(mid_block(), house_faces=RING), "house"), [(130, 557.70, "")])


def test_case_2_corner_lot(look):
    found = look(corner_lot())
    assert near(rows(found, "curb"), [(189.27, 744.51, "")])
    assert found.beds["low_plant_ft2"].iloc[0] == pytest.approx(127.31, abs=TOLERANCE)


def test_case_2_is_the_same_to_a_hundredth_however_it_is_drawn():
    plain = survey(corner_lot()).beds.iloc[0]
    # Every ring turned 37°, run the other way from another vertex, with more vertices.
    other = survey(corner_lot().change(turned(37)).change(restarted).change(densified(2.3)))
    for measure in ("edge_ft", "area_ft2", "bed_line_ft", "low_plant_ft2", "trim_ft"):
        assert other.beds[measure].iloc[0] == pytest.approx(plain[measure], abs=0.01), measure


def test_case_3_cul_de_sac(look):
    found = look(cul_de_sac())
    assert found.lots.strip[0].area == pytest.approx(471.24, abs=TOLERANCE)
    assert near(rows(found, "curb"), [(41.89, 175.93, "")])


def test_case_3_with_a_drive(look):
    found = look(cul_de_sac(with_drive=True))
    assert near(rows(found, "curb"), [(14.92, 63.88, ""), (14.92, 63.88, "")])
    assert beds_of(found, "curb")["mean_depth_ft"].to_numpy() == pytest.approx(
        [4.28, 4.28], abs=0.01
    )


def test_case_4_parkway(look):
    found = look(parkway())
    assert near(rows(found, "curb"), [(6, 18, "too short"), (36, 108, "")])
    assert near(rows(found, "sidewalk"), [(6, 24, "too short"), (36, 144, "")])
    kept = beds_of(found, "curb").query("skip_reason == ''")
    assert kept["bed_line_ft"].iloc[0] == pytest.approx(3, abs=TOLERANCE)
    at_three = look(parkway(), min_depth_ft=3.0)
    assert near(rows(at_three, "curb"), [(6, 18, "too short"), (36, 108, "")])


def test_case_4_sidewalk_at_the_curb(look):
    found = look(parkway(at_curb=True))
    assert rows(found, "curb") == []
    assert near(rows(found, "sidewalk"), [(60, 240, "")])


def test_case_5_front_walk(look):
    found = look(front_walk())
    assert near(rows(found, "curb"), [(28, 112, ""), (28, 112, "")])
    for bed in beds_of(found, "curb")["geometry"]:
        # A rectangle fills its least box.
        assert bed.minimum_rotated_rectangle.area == pytest.approx(bed.area, abs=TOLERANCE)


def test_case_6_narrow_front(look):
    found = look(narrow_front(10))
    assert near(rows(found, "curb"), [(50, 200, "")])
    assert near(rows(found, "house"), [(50, 200, "")])
    assert found.beds["absorbed_ft2"].max() < TOLERANCE
    both = together(found, rules_of_cases(), ["A-curb-1", "A-house-1"])
    assert both["area_ft2"].sum() == pytest.approx(500, abs=TOLERANCE)
    assert both["absorbed_ft2"].sum() == pytest.approx(100, abs=TOLERANCE)
    curb = both[both["along"] == "curb"]
    assert curb["absorbed_ft2"].iloc[0] == pytest.approx(100, abs=TOLERANCE)


def test_case_6_narrower_still(look):
    found = look(narrow_front(7))
    assert near(rows(found, "curb"), [(50, 350, "")])
    assert found.beds["absorbed_ft2"].sum() == pytest.approx(150, abs=TOLERANCE)
    assert rows(found, "house") == []


def test_case_8_bad_drawing(look):
    found = look(bad_drawing())
    # 2,370 drawn, 80 of it under the house; 2,290 left, 30 more once the gap is closed.
    assert found.lawn.lost_share[0] == pytest.approx(80 / 2370, abs=1e-4)
    assert found.lawn.ground[0].area == pytest.approx(2320, abs=TOLERANCE)
    assert near(rows(found, "curb"), [(60, 240, "")])
    assert near(rows(found, "house"), [(40, 160, "")])
    assert near(rows(look(bad_drawing(), house_faces=RING), "house"), [(44, 201.13, "")])


def test_case_9_hydrant(look):
    bed = look(hydrant_front()).beds.iloc[0]
    assert bed["area_ft2"] == pytest.approx(240, abs=TOLERANCE)
    assert bed["plant_free_ft2"] == pytest.approx(22.08, abs=TOLERANCE)
    assert bed["absorbed_ft2"] == 0
    assert "hydrant" in bed["cautions"]


def test_case_10_neighbors(look):
    found = look(neighbors(), house_faces=RING)
    assert near(rows(found, "house", "A"), [(120, 530.27, "")])
    assert near(rows(found, "house", "B"), [(90, 385.13, "")])


def test_case_11_five_acres(look):
    assert len(look(five_acres(with_lawn=False)).beds) == 0
    found = look(five_acres(with_lawn=True))
    assert near(rows(found, "house"), [(60, 240, "")])
    ring = look(five_acres(with_lawn=True), house_faces=RING)
    assert near(rows(ring, "house"), [(200, 850.27, "")])


def test_case_12_one_bed(look):
    bed = look(one_bed()).beds.iloc[0]
    assert (bed["edge_ft"], bed["area_ft2"]) == pytest.approx((60, 240), abs=TOLERANCE)
    assert bed["bed_line_ft"] == pytest.approx(64, abs=TOLERANCE)
    assert bed["trim_ft"] == pytest.approx(64, abs=TOLERANCE)


@pytest.mark.parametrize(
    ("drawing", "along"),
    [
        (mid_block(), "curb"),
        (mid_block(), "house"),
        (parkway(), "sidewalk"),
        (front_walk(), "curb"),
    ],
    ids=["curb", "house", "sidewalk", "walk"],
)
def test_gaps_of_four_inches_change_no_bed(drawing, along):
    """Hardscape drawn 4 in short all round: the lawn grows by the gap, beds keep their edge."""
    gap_ft = 4 / 12
    shrunk = Drawing(
        tuple(
            (kind, shape.buffer(-gap_ft / 2, join_style="mitre") if kind in {"house", "sidewalk"}
             else shape, row)
            for kind, shape, row in drawing.features
        )
    )  # fmt: skip
    drawn = lawn_of(drawing, gap_ft)
    plain, gapped = survey(drawing), survey(Drawing((*shrunk.features, drawn)))
    exact, loose = rows(plain, along), rows(gapped, along)
    assert [row[2] for row in exact] == [row[2] for row in loose]
    for one, two in zip(exact, loose, strict=True):
        assert two[0] == pytest.approx(one[0], abs=2 * gap_ft)
        assert two[1] == pytest.approx(one[1], abs=2 * gap_ft * 4 + 1)


def lawn_of(drawing: Drawing, gap_ft: float):
    """Draw the lawn of a site by hand, a gap short of everything."""
    found = survey(drawing)
    ground = affinity.translate(in_plane(found, found.lawn.ground)[0], -5000, -3000)
    short = ground.buffer(-gap_ft / 2, join_style="mitre")
    return ("lawn", short, {"client_id": "A"})
