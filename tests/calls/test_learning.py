"""What the log teaches about chances."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import date

import pandas as pd
import pytest

from scanner.calls.chance import chance_of_sale
from scanner.calls.learning import learn_chances, learn_stages
from scanner.calls.ranking import rank_calls
from scanner.calls.reasons import add_bad_edges, bad_edge_reasons
from tests.answers import answers
from tests.calls.calls_on_record import season_of
from tests.small_scan import TODAY, small_learned, small_scan

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


NO_NEIGHBORS = pd.DataFrame({"client_id": [], "built_on": []}, dtype="str")


def learn(*rows, season=None, seen=(), today=DECEMBER, built=NO_NEIGHBORS, **columns):
    season, rates = season or season_of(*rows, seen=seen), small_scan().rates
    clients = clients_of(*rows, **columns).assign(price_years=math.nan)
    # A year's mowing of $1, so that no quote without a price is set against one
    fees = pd.DataFrame({"fee_usd": 1.0}, index=clients["client_id"])
    stages = learn_stages(season, fees, rates=rates, today=today)
    return learn_chances(season, clients, stages, built=built, rates=rates, today=today)


def test_nothing_on_record():
    learned = learn()
    assert (learned.kinds, learned.signs["long_client"]) == ({}, 1.0)
    assert learned.stages.record.attempt_count == 0
    assert learned.tried_counts.empty


@pytest.mark.parametrize("outcome", ["quoted", "visit", "call back"])
def test_a_season_in_which_nothing_has_ended_yet(outcome):
    # Everything is pending, as in the first weeks of March
    learned = learn(*told(3, outcome), today=date(2027, 3, 20))
    assert set(learned.signs.values()) == {1.0}


def two_kinds(curb_sold, house_sold, *, each=100):
    """So many client-seasons of two kinds, with so many sold."""
    return (
        told(curb_sold, "sold", along="curb")
        + told(each - curb_sold, "no", along="curb", first=each)
        + told(house_sold, "sold", along="house", first=2 * each)
        + told(each - house_sold, "no", along="house", first=3 * each)
    )


def factor(sold, all_, count, total, mean):
    """By hand: 200 seasons of the mean chance stand against a difference."""
    against = 200 * mean
    return ((sold + against) / (count * mean + against)) / (
        (all_ + against) / (total * mean + against)
    )


def test_kinds_by_hand():
    # 20 of 100 curb beds sold and 2 of 100 house beds; the pooled chance is the same for all, p
    learned = learn(*two_kinds(20, 2))
    pooled, _, _ = chance_of_sale(learned.stages, [1.0], [1.0])
    assert learned.kinds == {
        "curb": pytest.approx(factor(20, 22, 100, 200, pooled[0])),
        "house": pytest.approx(factor(2, 22, 100, 200, pooled[0])),
    }
    assert learned.kinds["house"] < 1 < learned.kinds["curb"]


def test_a_few_lucky_calls_move_little():
    # 2 of 4 curb beds, 0 of 4 house beds
    learned = learn(*two_kinds(2, 0, each=4))
    assert 0.8 < learned.kinds["house"] < 1 < learned.kinds["curb"] < 1.2


def test_one_kind_alone_is_the_pool():
    rows = told(150, "sold", along="curb") + told(60, "no", along="curb", first=150)
    assert learn(*rows).kinds == {"curb": pytest.approx(1.0)}


def test_a_sign_is_learned_likewise():
    # 100 long clients buy 25 times, 100 new ones 3 times
    rows = two_kinds(25, 3)
    since = {row[0]: "2010" if int(row[0][1:]) < 200 else "2026" for row in rows}
    learned = learn(*rows, client_since=[since[one] for one in sorted(since)])
    pooled, _, _ = chance_of_sale(learned.stages, [1.0], [1.0])
    assert learned.signs["long_client"] == pytest.approx(factor(25, 28, 100, 200, pooled[0]))
    # nobody shows it: what all sold beyond the start stands against it
    assert learn(*rows).signs["long_client"] == pytest.approx(factor(0, 28, 0, 200, pooled[0]))


def test_a_sale_is_not_its_own_sign():
    again = learn(*told(100, "sold", year=2026), *told(90, "sold"), *told(10, "no", first=90),
                  *told(150, "no", first=200))  # fmt: skip
    # 90 of 100 who bought last year buy again; in 2026 nobody had bought before
    assert again.signs["bought_before"] > 1
    never = learn(*told(100, "sold", year=2026), *told(100, "no"), *told(50, "sold", first=200))
    assert never.signs["bought_before"] < 1


def test_a_bad_edge_is_learned_from_when_it_was_seen():
    rows = two_kinds(25, 3)
    bad = [(row[0], "curb condition", "3") for row in rows if int(row[0][1:]) < 200]
    assert learn(*rows, seen=bad).signs["bad_edge"] > 1
    late = replace(season_of(*rows), answers=answers(*bad, seen_on="2027-06-01"))  # after March
    # no season had it, and some sold
    assert learn(*rows, season=late).signs["bad_edge"] < 1


def test_signs_of_the_place_count_from_the_day_they_held():
    rows = two_kinds(25, 3)  # 2 March 2027; a hundred curb beds sold more often
    first = sorted({row[0] for row in rows})[:100]
    old = [2016.0 if client in first else 2017.0 for client in sorted({row[0] for row in rows})]
    new = [2027.0 if client in first else 2016.0 for client in sorted({row[0] for row in rows})]
    # 10 years or fewer in 2027: from 2017 on; only the others had the sign in the first list
    assert learn(*rows, year_built=old).signs["new_tract"] < 1
    assert learn(*rows, year_built=new).signs["new_tract"] > 1
    for built_on, is_sign in (("2026-03-03", True), ("2026-03-02", False), ("2027-03-03", False)):
        built = pd.DataFrame({"client_id": first, "built_on": built_on})
        assert (learn(*rows, built=built).signs["neighbor_built"] > 1) == is_sign, built_on
    for listed_on, is_sign in (("2027-03-02", True), ("2027-03-03", False)):
        alike = pd.DataFrame({"client_id": first, "listed_on": listed_on})
        found = learn(*rows, season=replace(season_of(*rows), alike=alike))
        assert (found.signs["alike"] > 1) == is_sign, listed_on


def ranked(*, learned=None, seen=()):
    scan = small_scan()
    clients = add_bad_edges(scan.clients, answers(*seen))
    calls_made = rank_calls(
        scan.offers, scan.beds, clients, rates=scan.rates, today=TODAY,
        learned=learned or small_learned(),
    )  # fmt: skip
    return calls_made.set_index("client_id")


def test_a_kind_moves_the_beds_that_lead_with_it():
    learned = replace(small_learned(), kinds={"curb": 2.0})
    moved, plain = ranked(learned=learned), ranked()
    # C0001 leads with a curb bed, C0003 with a sidewalk bed
    own, other = (moved.loc[one, "chance"] / plain.loc[one, "chance"] for one in ("C0001", "C0003"))
    assert own == pytest.approx(2 * other)


def test_bad_condition_is_a_reason_and_a_sign():
    seen = [("C0001", "curb condition", "2"), ("C0003", "curb condition", "3"), ("C0002", "curb condition", "1")]  # fmt: skip
    learned = replace(small_learned(), signs={"bad_edge": 2.0})
    moved, plain = ranked(seen=seen, learned=learned), ranked()
    assert "the crew saw a bad edge along the curb on 2027-02-10: 2 of 3" in moved.loc["C0001", "reasons"]  # fmt: skip
    ratio = moved["chance"] / plain["chance"]
    assert ratio["C0001"] == pytest.approx(2 * ratio["C0004"])
    # C0003 has no curb bed on offer, C0002's edge is fair
    for client_id in ("C0002", "C0003"):
        assert "bad edge" not in moved.loc[client_id, "reasons"]
        assert ratio[client_id] == pytest.approx(ratio["C0004"])


def test_no_log_no_bad_edge():
    scan = small_scan()
    offers = scan.offers.head(3)
    clients = scan.clients.set_index("client_id").loc[offers["client_id"]].reset_index()
    assert bad_edge_reasons(offers, clients).tolist() == ["", "", ""]
