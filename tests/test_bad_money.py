"""Fees, rates and limits that make no sense: each is told in a sentence, and the rest is done."""

from __future__ import annotations

import pytest

from scanner.pipeline import read_book, scan
from tests.small_scan import TODAY

ROUTES = ("North", "South")


def found(folder, *, fees=("1400", "1400"), rates="", rules="", curb_ft=60, routes=ROUTES):
    """Scan two clients whose edges were measured on foot: a curb of so many feet and a 40 ft front."""
    clients = [f"{name},{fee},{route}" for name, fee, route in zip("AB", fees, routes, strict=True)]
    (folder / "clients.csv").write_text("\n".join(["client_id,annual_usd,route", *clients]))
    edges = f"client_id,along,length_ft,room_ft\nA,curb,{curb_ft},30\nB,house,40,30\n"
    (folder / "measured.csv").write_text(edges)
    (folder / "rates.toml").write_text(rates)
    (folder / "local.toml").write_text(rules)
    return scan(read_book(folder), today=TODAY)


def call_of(scanned, client_id):
    return scanned.calls.set_index("client_id").loc[client_id]


def fees_said(scanned):
    return dict(scanned.assumptions)["Annual fees"]


def test_no_annual_fee_anywhere(tmp_path):
    scanned = found(tmp_path, fees=("", "0"))
    assert (
        fees_said(scanned)
        == "Known of 0 of 2 clients; for 2 the typical one of the rate book, $1,500."
    )
    for client_id, offer in scanned.offers.set_index("client_id").iterrows():
        years = call_of(scanned, client_id)["price_over_annual"]
        assert years == pytest.approx(offer["price_cents"] / 150_000)
    assert (scanned.calls["rank"] > 0).all()


def test_a_fee_of_a_million_is_shown_and_ends_nothing(tmp_path):
    scanned = found(tmp_path, fees=("1e6", "1400"))
    assert fees_said(scanned) == "Known of 2 of 2 clients, from $1,400 to $1,000,000."
    # a price that is nothing to him: 0.2 reach a talk, Beta(2.5, 1.5) buy, 62.5 % on average
    assert call_of(scanned, "A")["chance"] == pytest.approx(0.2 * 0.625, rel=2e-3)


def test_one_bed_over_the_job_limit_is_referred(tmp_path):
    scanned = found(tmp_path, curb_ft=2000)
    offer = scanned.offers.set_index("client_id").loc["A"]
    assert offer["crew_days"] > scanned.rules.job_limit_crew_days
    assert offer["offer"].startswith("refer to a landscape designer: 2000 ft curb bed")
    assert call_of(scanned, "A")["reasons"].startswith(
        "refer to a landscape designer: too much for a quick sketch"
    )
    assert not scanned.offers.set_index("client_id").loc["B"]["needs_designer"]


def test_a_finish_without_a_plant_is_left_out_and_mulch_leads(tmp_path):
    scanned = found(tmp_path, rates="plant_spacing_in = 60\naccent_spacing_ft = 200\n")
    prices = scanned.table("prices")
    assert set(prices.loc[prices["plant_count"] == 0, "finish"]) == {"mulch", "gravel"}
    assert set(scanned.offers["finish"]) == {"mulch"}
    assert scanned.offers["offer"].str.endswith("mulch only").all()


def test_all_clients_in_one_route_or_none(tmp_path):
    for routes in (("North", "North"), ("", "")):
        totals = found(tmp_path, routes=routes).totals
        route, whole = (totals[totals["is_all"] == is_all].iloc[0] for is_all in (False, True))
        assert (route["call_count"], whole["call_count"]) == (2, 2)
        for name in ("expected_profit_cents", "expected_profit_high_cents", "chance_of_no_sale"):
            assert route[name] == pytest.approx(whole[name])


SENSELESS = {
    "mulch_usd_per_yd3 = -500": "value is -500; from 0 to 3800 is allowed; the standard value is used instead",
    "gross_margin_share = 1.2": "value is 1.2; from 0 to 0.95 is allowed",
    'rank_by = "profit"': "'profit' came; 'offer_profit', 'lead_profit' or 'profit_per_crew_day' is allowed",
}


def test_rates_and_fees_that_would_make_no_sense_are_told_and_not_used(tmp_path):
    scanned = found(tmp_path, fees=("-5", "1400"), rates="\n".join(SENSELESS))
    told = sorted(scanned.problems["problem"])
    assert len(told) == len(SENSELESS) + 1
    (fee,) = (problem for problem in told if problem.startswith("annual_usd"))
    assert fee.startswith("annual_usd: '-5' came where a number from 0 to 10,000,000 belongs")
    told.remove(fee)
    for problem, sentence in zip(told, sorted(SENSELESS.values()), strict=True):
        assert problem.startswith(sentence)
    assert len(scanned.offers) == 2
    assert (scanned.offers["price_cents"] > 0).all()
    assert scanned.calls["rank"].tolist() == [1, 2]
