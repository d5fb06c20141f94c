"""What the log teaches about chances."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest
import scipy.stats
from hypothesis import given, settings
from hypothesis import strategies as st

from scanner.calls.bad_edges import add_bad_edges, bad_edge_reasons
from scanner.calls.chance import NO_CALLS, CallCounts, chance_of_sale
from scanner.calls.learning import NOTHING_LEARNED, learn_chances
from scanner.calls.ranking import rank_calls
from scanner.calls.seasons import count_seasons
from scanner.schema.documents import Rate
from scanner.schema.log_tables import OUTCOMES
from tests.answers import answers
from tests.calls.calls_on_record import calls, season_of
from tests.small_scan import TODAY, small_scan

DECEMBER = date(2027, 12, 1)


def told(count, outcome, *, along="", first=0, year=2027):
    """So many clients with one call each."""
    beds = f"X-{along}-1" if along else ""
    return [
        (f"N{first + at:04d}", f"{year}-03-02", outcome, beds if beds else "")
        for at in range(count)
    ]


def clients_of(*rows, **columns):
    ids = sorted({row[0] for row in rows})
    blank = small_scan().clients.iloc[[0]].assign(client_since="", bought_before="")
    table = blank.loc[blank.index.repeat(len(ids))].reset_index(drop=True)
    return table.assign(client_id=ids, **columns)


def learn(*rows, seen=(), today=DECEMBER, **columns):
    return learn_chances(
        season_of(*rows, seen=seen), clients_of(*rows, **columns), rates=small_scan().rates, today=today
    )  # fmt: skip


def test_nothing_on_record():
    learned = learn_chances(
        season_of(), small_scan().clients, rates=small_scan().rates, today=DECEMBER
    )
    assert learned == NOTHING_LEARNED
    assert learned.counts_of("curb") == NO_CALLS


def test_sold_share_by_hand():
    # Prior 8, 8, 2.4, 1.6; 100 seasons of 40, 40, 8, 12: sold is Beta(13.6, 106.4), 0.11333
    rows = (
        told(40, "not reached") + told(40, "no", first=40) + told(8, "quoted", first=80)
        + told(12, "sold", first=88)
    )  # fmt: skip
    learned = learn(*rows)
    chance = chance_of_sale(small_scan().rates, counts=learned.counts)
    assert learned.counts == CallCounts(40, 40, 8, 12)
    assert chance.sold.mean == pytest.approx(13.6 / 120)
    assert chance.calls_count == 100
    assert chance.sold.interval() == pytest.approx(
        scipy.stats.beta.interval(0.8, 13.6, 106.4), abs=1e-12
    )


def two_kinds(curb_sold, house_sold, *, each=100):
    """So many client-seasons of two kinds, with so many sold."""
    return (
        told(curb_sold, "sold", along="curb")
        + told(each - curb_sold, "no", along="curb", first=each)
        + told(house_sold, "sold", along="house", first=2 * each)
        + told(each - house_sold, "no", along="house", first=3 * each)
    )


def test_kinds_are_believed_from_200_calls_on():
    # 20 of 100 and 2 of 100: each interval excludes the pooled 11 %
    learned = learn(*two_kinds(20, 2))
    assert learned.by_kind == {
        "curb": CallCounts(0, 80, 0, 20), "house": CallCounts(0, 98, 0, 2),
    }  # fmt: skip
    assert learned.counts_of("sidewalk") == CallCounts(0, 178, 0, 22)
    assert learn(*two_kinds(20, 2)[1:]).by_kind == {}  # 199


def test_a_kind_whose_interval_holds_the_pooled_rate_is_not_believed():
    # 11 of 100 is 7.6 to 15.5 %, 9 of 100 is 5.9 to 13.2 %; pooled 10 %
    assert learn(*two_kinds(11, 9)).by_kind == {}


def test_one_kind_alone_is_the_pool():
    rows = told(150, "sold", along="curb") + told(60, "no", along="curb", first=150)
    assert learn(*rows).by_kind == {}


def test_a_warm_sign_is_learned_likewise():
    # 100 long clients buy 25 times, 100 new ones 3 times
    rows = two_kinds(25, 3)
    since = {row[0]: "2010" if int(row[0][1:]) < 200 else "2026" for row in rows}
    learned = learn(*rows, client_since=[since[one] for one in sorted(since)])
    # (25 + 1.6) / 120 against (28 + 1.6) / 220, as odds
    own, pooled = 26.6 / 120, 29.6 / 220
    assert learned.odds == {
        "long_client": pytest.approx((own / (1 - own)) / (pooled / (1 - pooled)))
    }
    assert learn(*rows).odds == {}


def test_a_sale_is_not_its_own_sign():
    # 100 who bought last year: 30 buy again; of 150 others 5
    rows = (
        told(100, "sold", year=2026) + told(30, "sold") + told(70, "no", first=30)
        + told(5, "sold", first=200) + told(145, "no", first=205)
    )  # fmt: skip
    learned = learn(*rows)
    # In 2026 nobody had bought before; in 2027 30 of 100 of them buy again
    assert learned.counts == CallCounts(0, 215, 0, 135)
    assert "bought_before" not in learned.odds or learned.odds["bought_before"] < 1
    again = learn(*told(100, "sold", year=2026), *told(90, "sold"), *told(10, "no", first=90),
                  *told(150, "no", first=200))  # fmt: skip
    assert again.odds["bought_before"] > 1


def test_a_bad_edge_is_learned_from_when_it_was_seen():
    rows = two_kinds(25, 3)
    bad = [(row[0], "curb condition", "3") for row in rows if int(row[0][1:]) < 200]
    assert learn(*rows, seen=bad).odds["bad_edge"] > 1
    season = season_of(*rows)
    late = answers(*bad, seen_on="2027-06-01")  # after the calls of March
    season = replace(season, answers=late)
    found = learn_chances(season, clients_of(*rows), rates=small_scan().rates, today=DECEMBER)
    assert "bad_edge" not in found.odds


def ranked(*, learned=NOTHING_LEARNED, seen=(), **rates):
    scan = small_scan()
    book = scan.rates.model_copy(
        update={k: Rate(value=v, low=v, high=v, source="made up") for k, v in rates.items()}
    )
    clients = add_bad_edges(scan.clients, answers(*seen))
    calls_made = rank_calls(
        scan.offers, scan.beds, clients, rates=book, today=TODAY, learned=learned
    )
    return calls_made.set_index("client_id")


def test_a_kinds_own_chance_says_how_many_calls_it_rests_on():
    learned = learn(*two_kinds(20, 2))
    call, other = ranked(learned=learned).loc["C0001"], ranked(learned=learned).loc["C0003"]
    # C0001 leads with a curb bed, C0003 with a sidewalk bed
    assert call["chance"] == pytest.approx(21.6 / 120)
    assert call["chance_calls_count"] == 100
    assert other["chance"] == pytest.approx(23.6 / 220)
    assert other["chance_calls_count"] == 200
    assert call["chance_low"] < call["chance"] < call["chance_high"]


def test_bad_condition_is_a_reason_with_its_odds():
    seen = [("C0001", "curb condition", "2"), ("C0003", "curb condition", "3"), ("C0002", "curb condition", "1")]  # fmt: skip
    calls_made = ranked(seen=seen, bad_edge_odds=2.0)
    assert "the crew saw a bad edge along the curb on 2027-02-10: 2 of 3" in calls_made.loc["C0001", "reasons"]  # fmt: skip
    # odds 0.08 / 0.92 × 2 = 0.173913: chance 0.148148
    assert calls_made.loc["C0001", "chance"] == pytest.approx(0.148148, abs=1e-6)
    # C0003 has no curb bed on offer, C0002's edge is fair
    for client_id in ("C0002", "C0003"):
        assert "bad edge" not in calls_made.loc[client_id, "reasons"]
        assert calls_made.loc[client_id, "chance"] == pytest.approx(0.08)


def test_no_log_no_bad_edge():
    scan = small_scan()
    offers = scan.offers.head(3)
    clients = scan.clients.set_index("client_id").loc[offers["client_id"]].reset_index()
    assert bad_edge_reasons(offers, clients).tolist() == ["", "", ""]


outcomes = st.lists(st.sampled_from(OUTCOMES), min_size=1, max_size=4)
logs = st.lists(outcomes, max_size=40)


@settings(max_examples=60, deadline=None)
@given(logs)
def test_intervals_equal_scipys_on_any_log(log):
    rows = [
        (f"N{client}", f"2027-03-{day:02d}", outcome)
        for client, own in enumerate(log) for day, outcome in enumerate(own, start=1)
    ]  # fmt: skip
    counts = count_seasons(calls(*rows), today=DECEMBER)
    chance = chance_of_sale(small_scan().rates, counts=counts)
    alpha = 1.6 + counts.sold_count
    beta = 18.4 + counts.not_reached_count + counts.reached_only_count + counts.visited_only_count
    low, high = chance.sold.interval()
    assert (low, high) == pytest.approx(scipy.stats.beta.interval(0.8, alpha, beta), abs=1e-12)
    # The two tails hold a tenth each
    assert scipy.stats.beta.cdf(low, alpha, beta) == pytest.approx(0.1, abs=1e-9)
    assert scipy.stats.beta.sf(high, alpha, beta) == pytest.approx(0.1, abs=1e-9)
    assert low < chance.sold.mean < high
