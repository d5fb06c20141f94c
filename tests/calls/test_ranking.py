from __future__ import annotations

from datetime import date, timedelta

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scanner.calls.chance import CallCounts
from scanner.calls.learning import Learned
from scanner.calls.ranking import rank_calls
from scanner.errors import SchemaError
from scanner.schema.documents import Rate
from tests.small_scan import TODAY, small_scan


def rank(*, offers=None, clients=None, **options):
    scan = small_scan()
    options = {"rates": scan.rates, "today": TODAY} | options
    return rank_calls(
        scan.offers if offers is None else offers,
        scan.beds,
        scan.clients if clients is None else clients,
        **options,
    )


def row_of(calls, client_id):
    return calls.set_index("client_id").loc[client_id]


def with_client(client_id, **values):
    clients = small_scan().clients.copy()
    for column, value in values.items():
        clients.loc[clients["client_id"] == client_id, column] = value
    return clients


def with_rate(**values):
    rates = {k: Rate(value=v, low=v, high=v, source="made up") for k, v in values.items()}
    return small_scan().rates.model_copy(update=rates)


def test_best_first_then_name_then_left_out():
    calls = rank()
    # Gross profits 1930.91, 1289.45, twice 1243.64, 1014.55 and 785.45; at the tie "<script>"
    # stands before "Cy Verbena"; the do-not-call and the past-due client come last
    assert calls["client_id"].tolist() == [
        "C0002", "C0001", "C0008", "C0003", "C0004", "C0009", "C0005", "C0006",
    ]  # fmt: skip
    assert calls["rank"].tolist() == [1, 2, 3, 4, 5, 6, 0, 0]


def test_profits_by_hand():
    # 1.6 of 20 sold: 0.08; gross profit 1,243.64; 0.875 crew-days; 4 of 20 calls come to a
    # visit, so 0.25 h + 0.2 * 1.5 h = 0.55 selling hours
    call = row_of(rank(), "C0003")
    assert call["chance"] == pytest.approx(0.08)
    assert call["expected_profit_cents"] == 9949  # 9,949.12
    assert call["profit_per_crew_day_cents"] == 142130  # 142,130.29
    assert call["profit_per_selling_hour_cents"] == 18089  # 18,089.31


def test_record_moves_the_chance():
    call = row_of(rank(learned=Learned(CallCounts(40, 40, 8, 12))), "C0003")
    assert call["chance"] == pytest.approx(13.6 / 120)
    assert call["chance_calls_count"] == 100


def test_reasons_are_facts_of_the_data():
    calls = rank()
    assert row_of(calls, "C0001")["reasons"] == (
        "turf up to the curb for 52 ft; string-trimming saved on 56 ft at each of 28 visits a year; "
        "bought extra work before; a client since 2011"
    )
    assert row_of(calls, "C0002")["reasons"].startswith(
        "turf up to the curb for 50 ft; turf up to the house wall for 30 ft; "
    )
    assert "the beds in one job save $218" in row_of(calls, "C0002")["reasons"]
    assert row_of(calls, "C0008")["reasons"].startswith("refer to a landscape designer")
    assert row_of(calls, "C0008")["left_out"] == ""


@pytest.mark.parametrize(
    ("width_ft", "words"),
    [
        # Residual widths, trade-values section 12: under 4, 8 and 10 ft; 10 is fine, 0 is no turf
        (3.9, "only 4 ft of turf stays behind it, too narrow to mow and water"),
        (4.0, "only 4 ft of turf stays behind it, hard to water"),
        (7.9, "only 8 ft of turf stays behind it, hard to water"),
        (8.0, "only 8 ft of turf stays behind it, narrower than the strictest local rules allow"),
        (10.0, None),
        (0.0, None),
        (float("nan"), None),
    ],
)
def test_width_of_the_turf_left(width_ft, words):
    scan = small_scan()
    beds = scan.beds.assign(turf_left_width_ft=width_ft)
    calls = rank_calls(scan.offers, beds, scan.clients, rates=scan.rates, today=TODAY)
    reasons = row_of(calls, "C0003")["reasons"]
    assert (words in reasons) if words else ("stays behind" not in reasons)


def test_absorbed_turf_is_a_reason():
    scan = small_scan()
    beds = scan.beds.assign(absorbed_ft2=100.0)
    calls = rank_calls(scan.offers, beds, scan.clients, rates=scan.rates, today=TODAY)
    assert "takes in 100 ft² of turf too narrow to mow" in row_of(calls, "C0003")["reasons"]


@pytest.mark.parametrize(
    ("values", "reason"),
    [
        ({"do_not_call": "yes"}, "asked not to be called"),
        ({"renter": "yes"}, "rents: the owner would have to decide"),
        ({"past_due": "yes"}, "payment past due: settle that first"),
        ({"last_contact": "2026-02-12"}, "last contact 2026-02-12, rests until 2026-02-19"),
    ],
)
def test_left_out_in_plain_words(values, reason):
    call = row_of(rank(clients=with_client("C0002", **values)), "C0002")
    assert (call["rank"], call["left_out"]) == (0, reason)


def test_all_reasons_to_leave_out_are_told():
    clients = with_client("C0002", do_not_call="yes", past_due="yes")
    assert row_of(rank(clients=clients), "C0002")["left_out"] == (
        "asked not to be called; payment past due: settle that first"
    )


@pytest.mark.parametrize(("days", "is_left_out"), [(0, True), (6, True), (7, False), (400, False)])
def test_rest_after_a_contact_ends_on_its_day(days, is_left_out):
    clients = with_client("C0002", last_contact=(TODAY - timedelta(days=days)).isoformat())
    assert (row_of(rank(clients=clients), "C0002")["left_out"] != "") is is_left_out


@pytest.mark.parametrize(
    ("since", "is_long"),
    [("2021-02-16", True), ("2021-02-18", False), ("2021", True), ("", False)],
)
def test_long_client_from_five_years_on(since, is_long):
    call = row_of(rank(clients=with_client("C0003", client_since=since)), "C0003")
    assert ("a client since 2021" in call["reasons"]) is is_long


def test_warm_signs_move_the_odds_only_as_the_rate_book_says():
    rates = with_rate(bought_before_odds=2.0)
    calls = rank(rates=rates)
    # odds 0.08 / 0.92 doubled: 0.16 / 1.08
    assert row_of(calls, "C0001")["chance"] == pytest.approx(0.16 / 1.08)
    assert row_of(calls, "C0003")["chance"] == pytest.approx(0.08)
    both = rank(rates=with_rate(bought_before_odds=2.0, long_client_odds=1.5))
    assert row_of(both, "C0001")["chance"] == pytest.approx(0.24 / 1.16)


def test_only_the_first_phase_is_ranked():
    offers = small_scan().offers
    offers = offers.assign(phase=offers["offer_id"].eq("C0002+2").map({True: 2, False: 1}))
    assert "C0002" not in rank(offers=offers)["client_id"].tolist()


def test_nothing_to_rank():
    calls = rank(offers=small_scan().offers.iloc[:0])
    assert len(calls) == 0
    assert "left_out" in calls


def test_offer_for_an_unknown_client_is_our_bug():
    offers = small_scan().offers.assign(client_id="C9999")
    with pytest.raises(SchemaError, match="offers for clients that are not in the table: C9999"):
        rank(offers=offers)


def test_no_crew_days_is_no_error():
    offers = small_scan().offers.assign(crew_days=0.0)
    assert rank(offers=offers)["profit_per_crew_day_cents"].eq(0).all()


def test_order_of_the_input_does_not_matter():
    scan = small_scan()
    turned = rank(offers=scan.offers.iloc[::-1], clients=scan.clients.iloc[::-1])
    pd.testing.assert_frame_equal(turned, rank())


@settings(deadline=None, max_examples=30)
@given(st.lists(st.integers(-500_000, 5_000_000), min_size=8, max_size=8))
def test_rank_follows_expected_profit(profits_cents):
    offers = small_scan().offers.assign(gross_profit_cents=profits_cents)
    calls = rank(offers=offers)
    listed = calls[calls["rank"] > 0]
    assert listed["expected_profit_cents"].is_monotonic_decreasing
    assert listed["rank"].tolist() == list(range(1, len(listed) + 1))
    assert len(calls) == len(offers)


def test_today_is_an_argument():
    clients = with_client("C0002", last_contact="2026-02-12")
    calls = rank(clients=clients, today=date(2026, 3, 1))
    assert row_of(calls, "C0002")["left_out"] == ""
