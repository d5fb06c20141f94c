from __future__ import annotations

import json
from dataclasses import replace

import pytest

from scanner.pages.summary import summarize, summary_json
from tests.small_scan import small_scan

# The keys that the file promises, in their order
KEYS = [
    "clients",
    "scanned",
    "not_drawn",
    "beds",
    "skipped",
    "skipped_by_reason",
    "offers",
    "problems",
    "edge_ft",
    "area_ft2",
    "right_of_way_ft2",
    "price_usd",
    "gross_profit_usd",
    "expected_profit_usd",
]


def test_keys_in_the_order_of_the_design():
    assert list(json.loads(summary_json(small_scan())))[: len(KEYS)] == KEYS


def test_counts_add_up():
    totals = summarize(small_scan())
    # Eight lots and one client measured on foot; the tenth is not drawn
    assert (totals["clients"], totals["scanned"], totals["not_drawn"]) == (10, 9, 1)
    assert (totals["beds"], totals["skipped"]) == (9, 1)
    assert sum(totals["skipped_by_reason"].values()) == totals["skipped"]
    assert totals["skipped_by_reason"]["too short"] == 1


def test_sums_by_hand():
    totals = json.loads(summary_json(small_scan()))
    # 52 + five curb or sidewalk beds of 50 + two house beds of 30 + 40 measured ft, 4 ft deep
    assert totals["edge_ft"] == 402
    assert totals["area_ft2"] == 1608
    listed = small_scan().calls.query("left_out == ''")["offer_id"]
    offers = small_scan().offers.set_index("offer_id").loc[listed]
    assert totals["crew_days"] == pytest.approx(offers["crew_days"].sum(), abs=0.005)
    assert totals["later_price_usd"] * 100 == offers["later_price_cents"].sum()
    assert totals["right_of_way_ft2"] == pytest.approx(
        small_scan().beds.query("skip_reason == ''")["right_of_way_ft2"].sum()
    )
    # Offers on the list: 4290.91 + 2865.45 + 2 * 2763.64 + 2254.55 + 1745.45
    assert totals["offers"] == 6
    assert totals["price_usd"] == 16683.64
    assert totals["gross_profit_usd"] == 7507.64
    assert totals["left_out"] == 2


def test_lot_without_a_known_lawn_is_not_drawn():
    scan = small_scan()
    lots = scan.lots.assign(
        lawn_source=scan.lots["lawn_source"].where(scan.lots["client_id"] != "C0007", "")
    )
    assert summarize(replace(scan, lots=lots))["not_drawn"] == 2


def test_later_phases_are_counted_apart():
    scan = small_scan()
    offers = scan.offers.assign(
        phase=scan.offers["offer_id"].eq("C0002+2").map({True: 2, False: 1})
    )
    assert summarize(replace(scan, offers=offers))["later_phases"] == 1
