from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scanner.job.quantities import know_lots, take_off
from scanner.schema.tables import CLIENTS, OFFER_BEDS, QUANTITIES, empty_table
from tests.job.job_cases import bed, clients, offer_beds, rate_book


def take(*rows, sprinklers="no", **changes):
    rates = rate_book(**changes)
    table = offer_beds(*rows)
    people = clients(*sorted({row["client_id"] for row in rows}), sprinklers=sprinklers)
    return take_off(table, know_lots(table, people, rates=rates), rates=rates)


def test_worked_case_12():
    # trade values, section 17: the same bed, computed there
    row = take(bed()).iloc[0]
    assert row["mulch_yd3"] == pytest.approx(2.222, abs=5e-4)
    assert row["sod_bank_yd3"] == pytest.approx(2.222, abs=5e-4)
    assert row["sod_loose_yd3"] == pytest.approx(2.778, abs=5e-4)
    assert row["sod_lb"] == pytest.approx(6667, abs=0.5)
    assert row["compost_yd3"] == pytest.approx(0.96)
    assert row["edging_ft"] == 64
    assert row["plant_count"] == 59
    assert row["head_count"] == 0


# trade values, section 17 with the trailers of section 11 (miragetrailers.com)
@pytest.mark.parametrize(
    ("cut_in", "payload_lb", "volume_yd3", "loads"),
    [(3, 3250, 3.70, 3), (3, 7390, 5.33, 1), (1.5, 3250, 3.70, 2), (1.5, 7390, 5.33, 1)],
)
def test_trailer_loads(cut_in, payload_lb, volume_yd3, loads):
    quantities = take(
        bed(), cut_depth_in=cut_in, trailer_payload_lb=payload_lb, trailer_volume_yd3=volume_yd3
    )
    assert quantities["haul_loads"].tolist() == [loads]


def test_volume_rules_when_the_load_is_light():
    # 2.778 loose yd3 in a box of 1.5 yd3, payload no limit
    quantities = take(bed(), trailer_payload_lb=100_000, trailer_volume_yd3=1.5)
    assert quantities["haul_loads"].tolist() == [2]


# trade values, section 1: what 1 yd3 covers; 324 = 27 ft3 x 12 in
@pytest.mark.parametrize(
    ("depth_in", "covers_ft2"), [(1, 324), (2, 162), (2.5, 129.6), (3, 108), (4, 81), (5, 64.8), (6, 54)]
)  # fmt: skip
def test_coverage(depth_in, covers_ft2):
    row = bed(length=covers_ft2 / 4)
    (taken,) = take(row, mulch_depth_in=depth_in, gravel_depth_in=depth_in).to_dict("records")
    assert (taken["mulch_yd3"], taken["gravel_yd3"]) == pytest.approx((1, 1))


# trade values, section 1: published examples
@pytest.mark.parametrize(
    ("length", "depth", "depth_in", "yd3"),
    # countrygardencenterofbelair.com: 500 ft2 at 3 in; yardandgardenworks.com: 60 x 3 ft at 2 in
    [(125, 4, 3, 4.63), (60, 3, 2, 1.111)],
)
def test_published_mulch_examples(length, depth, depth_in, yd3):
    quantities = take(bed(length=length, depth=depth), mulch_depth_in=depth_in)
    assert quantities["mulch_yd3"].iloc[0] == pytest.approx(yd3, abs=5e-3)


# trade values, section 18: published figures that are wrong
@pytest.mark.parametrize(
    ("depth_in", "wrong_ft2"), [(1, 275), (2, 130), (3, 70), (2, 135), (3, 120)]
)
def test_published_wrong_coverages_are_not_ours(depth_in, wrong_ft2):
    quantities = take(bed(length=wrong_ft2 / 4), mulch_depth_in=depth_in)
    assert quantities["mulch_yd3"].iloc[0] != pytest.approx(1, rel=0.05)


def test_weight_of_sod():
    # trade values, section 3: 9.26 lb/ft2 wet for each inch of cut (CalRecycle 3,000 lb / 324)
    quantities = take(bed(), cut_depth_in=1)
    assert quantities["sod_lb"].iloc[0] / 240 == pytest.approx(9.26, abs=5e-3)


def test_sod_alone():
    # trade values, section 3: 1.5 in is 1 bank yd3 a 216 ft2; 1.389 loose yd3 a 240 ft2
    quantities = take(bed(), cut_depth_in=1.5)
    assert quantities["sod_bank_yd3"].iloc[0] == pytest.approx(240 / 216)
    assert quantities["sod_loose_yd3"].iloc[0] == pytest.approx(1.389, abs=5e-4)


def test_wall_strip_is_skimmed_and_gravelled_only():
    # 30 ft of wall, 1 ft strip, 3 ft of planted ground:
    # 90 ft2 at 3 in and 30 ft2 at 1.5 in are (270 + 45) / 324 yd3
    row = bed("C1-house-1", length=30, along="house", face="front", wall_strip_ft2=30.0)
    quantities = take(row).iloc[0]
    assert quantities["sod_bank_yd3"] == pytest.approx(315 / 324)
    assert quantities["mulch_yd3"] == pytest.approx(270 / 324)
    assert quantities["gravel_yd3"] == pytest.approx(360 / 324)
    assert quantities["wall_gravel_yd3"] == pytest.approx(90 / 324)
    assert quantities["compost_yd3"] == pytest.approx(0.36)
    assert quantities["fabric_ft2"] == 120


@pytest.mark.parametrize(
    ("sprinklers", "heads"), [("yes", 4.8), ("no", 0), ("unknown", 0), ("", 0)]
)
def test_heads_only_where_the_client_has_them(sprinklers, heads):
    # 8 heads a 100 ft on 60 ft
    assert take(bed(), sprinklers=sprinklers)["head_count"].tolist() == [pytest.approx(heads)]


def test_no_compost_where_no_plant_fits():
    assert take(bed(depth=1.5))["compost_yd3"].tolist() == [0]


def test_skipped_beds_are_left_out_and_order_is_kept():
    rows = [bed("C2-curb-1"), bed("C1-curb-1"), bed("C1-curb-2", skip_reason="too short")]
    assert take(*rows)["bed_id"].tolist() == ["C2-curb-1", "C1-curb-1"]


def test_empty_tables_keep_their_columns():
    beds = empty_table(OFFER_BEDS)
    lots = know_lots(beds, empty_table(CLIENTS), rates=rate_book())
    quantities = take_off(beds, lots, rates=rate_book())
    assert quantities.columns.tolist() == list(QUANTITIES.columns)


@settings(max_examples=10, deadline=None)
@given(length=st.floats(12, 200), wall=st.floats(0, 1))
def test_volumes_add_up(length, wall):
    row = bed(length=length, wall_strip_ft2=wall * length, plantable=bed()["plantable"])
    quantities = take(row).iloc[0]
    # mulch and wall gravel lie at the same depth here: together they cover the bed once
    covered = quantities["mulch_yd3"] + quantities["wall_gravel_yd3"]
    assert covered == pytest.approx(quantities["gravel_yd3"])
