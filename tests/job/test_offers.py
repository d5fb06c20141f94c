from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scanner.errors import SchemaError
from scanner.job.offers import make_offers
from scanner.job.order import order_beds
from scanner.job.planting import place_plants
from scanner.job.prices import price_offers
from scanner.job.quantities import take_off
from scanner.schema.tables import (
    BED_ORDER,
    BEDS,
    OFFER_BEDS,
    OFFERS,
    PRICES,
    empty_table,
)
from tests.job.job_cases import bed, beds, clients, local_rules, offer_beds, rate_book

RATES = rate_book(sod_cutter_usd_per_day=1e5, loader_usd_per_day=1e5)


def priced(table, rates=RATES):
    people = clients(*sorted(set(table["client_id"])))
    plants = place_plants(table, rates=rates)
    return price_offers(table, take_off(table, plants, people, rates=rates), people, rates=rates)


def offer(*rows, limit=4.0, rates=RATES):
    """Every bed alone, its client's order, then the first beds of each order together."""
    order = order_beds(priced(offer_beds(*rows), rates), beds(*rows))
    by_id = {row["bed_id"]: row for row in rows}
    together = []
    for _, group in order.groupby("client_id"):
        for place in group["place"][1:]:
            first = group[group["place"] <= place]
            offer_id = f"{group['client_id'].iloc[0]}+{place}"
            together += [by_id[bed_id] | {"offer_id": offer_id} for bed_id in first["bed_id"]]
    table = offer_beds(*rows, *together)
    rules = local_rules(job_limit_crew_days=limit)
    return make_offers(priced(table, rates), table, order, rules=rules, rates=rates)


FRONT = {"along": "house", "face": "front"}


def test_beds_are_ordered_by_gross_profit_then_id():
    rows = [bed("C1-curb-2", length=40), bed("C1-curb-1", length=40), bed("C1-house-1", length=50)]
    order = order_beds(priced(offer_beds(*rows)), beds(*rows))
    assert order["bed_id"].tolist() == ["C1-house-1", "C1-curb-1", "C1-curb-2"]
    assert order["place"].tolist() == [1, 2, 3]


def test_skipped_beds_have_no_place():
    rows = [bed(), bed("C1-curb-2", skip_reason="denied")]
    order = order_beds(priced(offer_beds(*rows)), beds(*rows))
    assert order["bed_id"].tolist() == ["C1-curb-1"]


def test_one_bed_is_its_own_offer():
    offers = offer(bed())
    assert offers["offer_id"].tolist() == ["C1-curb-1"]
    assert offers["offer"].tolist() == ["60 ft curb bed, mulch and plants"]
    assert offers["price_cents"].tolist() == [327_662]  # the worked bed
    assert offers["saving_cents"].tolist() == [0]
    assert offers["phase"].tolist() == [1]


def test_add_ons_join_while_they_fit_and_the_saving_is_shown():
    one, two = bed(length=52.3), bed("C1-house-1", length=29.6, **FRONT)
    offers = offer(one, two)
    assert offers["offer_id"].tolist() == ["C1+2"]
    assert offers["offer"].tolist() == [
        "52 ft curb bed and 30 ft house-front bed, mulch and plants"
    ]
    assert offers["bed_ids"].tolist() == ["C1-curb-1 C1-house-1"]
    assert offers["area_ft2"].tolist() == [pytest.approx((52.3 + 29.6) * 4)]
    prices = priced(offer_beds(one, two))
    apart = prices[prices["is_lead"]]["price_cents"].sum()
    assert offers["saving_cents"].tolist() == [apart - offers["price_cents"].iloc[0]]
    assert offers["saving_cents"].iloc[0] > 0


def test_what_does_not_fit_becomes_phases():
    rows = [bed(length=60), bed("C1-curb-2", length=50), bed("C1-house-1", length=40, **FRONT)]
    offers = offer(*rows, limit=1.5)
    assert offers["offer_id"].tolist() == ["C1-curb-1", "C1-curb-2", "C1-house-1"]
    assert offers["phase"].tolist() == [1, 2, 3]
    assert offers["offer"].tolist() == [
        "60 ft curb bed, mulch and plants; then phase 2: 50 ft curb bed, mulch and plants;"
        " phase 3: 40 ft house-front bed, mulch and plants",
        "phase 2: 50 ft curb bed, mulch and plants",
        "phase 3: 40 ft house-front bed, mulch and plants",
    ]
    assert not offers["needs_designer"].any()


def test_a_lead_bed_over_the_limit_needs_a_designer():
    offers = offer(bed(), limit=1.0)
    assert offers["needs_designer"].tolist() == [True]
    assert offers["offer"].iloc[0].startswith("refer to a landscape designer: 60 ft curb bed")


def test_more_than_six_pieces_need_a_designer():
    seven = [bed(f"C1-curb-{n}", length=12) for n in range(1, 8)]
    assert offer(*seven, limit=20)["needs_designer"].tolist() == [True]
    assert offer(*seven[:6], limit=20)["needs_designer"].tolist() == [False]


@pytest.mark.parametrize(
    ("known", "is_confirmed"),
    [
        ({}, True),
        ({"lawn_source": "inferred", "edge_source": "surveyed"}, True),  # a curb shows itself
        ({"lawn_source": "inferred", "edge_source": "surveyed", **FRONT}, False),
        ({"lawn_source": "drawn", "edge_source": "surveyed", **FRONT}, True),
        ({"lawn_source": "inferred", "edge_source": "measured", **FRONT}, True),
        ({"is_opening_guessed": True}, False),
    ],
)
def test_confirmed(known, is_confirmed):
    assert offer(bed(**known))["is_confirmed"].tolist() == [is_confirmed]


def test_one_unseen_bed_makes_the_offer_unconfirmed():
    unseen = {"lawn_source": "inferred", "edge_source": "surveyed", **FRONT}
    assert offer(bed(), bed("C1-house-1", **unseen))["is_confirmed"].tolist() == [False]


def test_cautions_come_once_each():
    rows = [
        bed(cautions="roots near; right-of-way permit"),
        bed("C1-curb-2", length=30, cautions="right-of-way permit; meter"),
    ]
    cautions = offer(*rows)["cautions"].iloc[0].split("; ")
    assert cautions[:3] == ["roots near", "right-of-way permit", "meter"]
    # 3,000 lb/yd3 at 3 in: 9.26 x 3 (trade values, section 3)
    assert cautions[3].startswith("lifting: what is stripped weighs some 28 lb a square foot")
    assert cautions[4].startswith("machines: ")


def test_hand_work_in_mulch_has_no_machine():
    rates = rate_book(lead_finish="mulch")
    assert "machines" not in offer(bed(), rates=rates)["cautions"].iloc[0]
    assert "machines" in offer(bed(length=250), rates=rates)["cautions"].iloc[0]


def test_wildfire_leads_with_gravel():
    offers = offer(bed(is_wildfire=True))
    assert offers["finish"].tolist() == ["gravel"]
    assert offers["offer"].tolist() == ["60 ft curb bed, gravel and plants"]


def test_empty_tables_keep_their_columns():
    order = order_beds(empty_table(PRICES), empty_table(BEDS))
    assert order.columns.tolist() == list(BED_ORDER.columns)
    offers = make_offers(
        empty_table(PRICES), empty_table(OFFER_BEDS), order, rules=local_rules(), rates=RATES
    )
    assert offers.columns.tolist() == list(OFFERS.columns)


def test_an_offer_that_was_not_drawn_is_our_bug():
    table = offer_beds(bed(), bed("C1-curb-2"))
    prices = priced(table)
    order = order_beds(prices, beds(bed(), bed("C1-curb-2")))
    with pytest.raises(SchemaError, match=r"offers that are due were not drawn: C1\+2"):
        make_offers(prices, table, order, rules=local_rules(), rates=RATES)


@settings(max_examples=8, deadline=None)
@given(lengths=st.lists(st.integers(12, 150), min_size=1, max_size=5), limit=st.floats(0.5, 6))
def test_no_offer_exceeds_the_limit_but_a_single_bed(lengths, limit):
    rows = [bed(f"C1-curb-{n}", length=length) for n, length in enumerate(lengths)]
    offers = offer(*rows, limit=limit)
    over = offers[offers["crew_days"] > limit + 1e-6]
    assert (over["bed_count"] == 1).all()
    sold = sorted(" ".join(offers["bed_ids"]).split())
    assert sold == sorted(row["bed_id"] for row in rows)
    assert offers["phase"].tolist() == list(range(1, len(offers) + 1))
