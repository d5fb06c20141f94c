"""Who is under way: sold and not built, quoted, visit agreed, each said in words with the next step."""

from __future__ import annotations

from dataclasses import replace

import pandas as pd
import pytest

from scanner.calls.history import add_history
from scanner.calls.log import NO_SEASON
from scanner.calls.ranking import rank_calls
from scanner.calls.under_way import list_under_way
from scanner.schema.log_tables import CALL_LOG, JOBS, QUOTES, SCHEDULE, TICKETS, VISITS
from tests.small_scan import TODAY, small_learned, small_scan

SCAN = small_scan()
# Today is Monday, February 16, 2026


def calls(*told):
    rows = [
        (number, client_id, day, outcome, note, action, next_date, "", "t", 0)
        for number, (client_id, day, outcome, note, action, next_date) in enumerate(told, start=1)
    ]
    return replace(NO_SEASON, calls=pd.DataFrame(rows, columns=[*CALL_LOG.columns]))


def known(season):
    return add_history(SCAN.clients, season, rates=SCAN.rates)


def listed(season):
    return list_under_way(season, known(season), today=TODAY)


@pytest.mark.parametrize(
    ("told", "stage", "words", "step", "due"),
    [
        (("2026-02-13", "visit", "", "", ""), "visit agreed", "visit agreed on Feb 13", "Call; settle a day for the visit", ""),
        (("2026-02-13", "visit", "", "bring the wheel", "2026-02-19"), "visit agreed", "visit agreed on Feb 13", "bring the wheel", "2026-02-19"),
        (("2026-02-04", "quoted", "", "", ""), "quote open", "quoted on Feb 4, open for 12 days", "Call and ask", ""),
        (("2026-02-13", "sold", "", "", ""), "sold", "sold on Feb 13, not built yet", "Give it a week; ask for the locating marks before that", ""),
    ],
)  # fmt: skip
def test_each_stage_has_its_words_and_its_next_step(told, stage, words, step, due):
    row = listed(calls(("C0001", *told))).iloc[0]
    assert (row["stage"], row["words"], row["due_action"], row["due_date"]) == (
        stage, words, step, due,
    )  # fmt: skip


@pytest.mark.parametrize(
    "told",
    [
        [("C0001", "2026-02-13", "not reached", "", "", "")],
        [("C0001", "2026-02-12", "visit", "", "", ""), ("C0001", "2026-02-13", "no", "", "", "")],
        [("C0001", "2025-11-03", "visit", "", "", "")],  # last year's
        [("C0001", "2025-12-01", "quoted", "", "", "")],  # 77 days ago: after 60 it is lost
        [("C0005", "2026-02-13", "visit", "", "", "")],  # asked not to be called
    ],
)
def test_who_is_not_under_way(told):
    assert listed(calls(*told)).empty


def test_who_was_quoted_or_buys_is_told_of_those_beds_that_price_and_that_step():
    """C0001 has a quote; C0002 a sale with a week and a ticket, five weeks off; C0003 heard a price alone."""
    told = calls(
        ("C0001", "2026-02-04", "quoted", "", "", ""), ("C0002", "2026-02-10", "sold", "", "", ""),
        ("C0003", "2026-02-10", "quoted", "", "", ""), ("C0004", "2026-02-12", "sold", "", "", ""),
    )  # fmt: skip
    quote = dict.fromkeys(QUOTES.columns, "") | {
        "quote_id": "Q2026-002", "client_id": "C0001", "bed_ids": "C0001-curb-1", "price_cents": 165_000,
        "quoted_on": "2026-02-04", "good_until": "2026-03-06",
    }  # fmt: skip
    season = replace(
        told,
        calls=told.calls.assign(price_cents=[0, 0, 132_909, 0], bed_ids=["", "C0002-curb-1", "", ""]),
        quotes=pd.DataFrame([quote]),
        schedule=pd.DataFrame([("C0002", "", "2026-03-23"), ("C0004", "", "2026-02-23")], columns=[*SCHEDULE.columns]),
        tickets=pd.DataFrame([("C0002", "T-1", "2026-03-20", "2026-04-03")], columns=[*TICKETS.columns]),
    )  # fmt: skip
    rows = listed(season).set_index("client_id")
    assert rows["words"].to_dict() == {
        "C0001": "quoted on Feb 4, open for 12 days; Q2026-002: curb bed, $1,650",
        "C0002": "sold on Feb 10, not built yet; curb bed",
        "C0003": "quoted on Feb 10, open for 6 days; about $1,330, the beds are not on record",
        "C0004": "sold on Feb 12, not built yet",
    }
    assert rows["due_action"].to_dict() == {
        "C0001": "Call and ask", "C0003": "Call and ask",
        "C0002": "Its ticket is there; build it in the week of Mar 23",
        "C0004": "Call 811 for the marks: nobody may dig in the week of Feb 23 without them",
    }  # fmt: skip


def test_a_visit_that_was_made_waits_for_its_quote():
    season = calls(("C0001", "2026-02-10", "visit", "", "", "2026-02-12"))
    made = pd.DataFrame([(2, "C0001", "2026-02-12", "Kim", "", "t")], columns=[*VISITS.columns])
    row = listed(replace(season, visits=made)).iloc[0]
    assert row["words"] == "visited on Feb 12, the quote is to be written"
    assert row["due_action"] == "Visited; write the quote"


def test_a_job_is_under_way_until_it_is_built_whatever_its_client_asked():
    season = calls(("C0005", "2026-02-10", "sold", "", "", ""))
    job = dict.fromkeys(JOBS.columns, "") | {"job_id": "7", "client_id": "C0005", "finish": "mulch"}
    cents = dict.fromkeys((name for name in JOBS.columns if name.endswith("_cents")), 0)
    jobs = pd.DataFrame([job | cents | {"area_ft2": 1.0}])
    assert listed(replace(season, jobs=jobs))["stage"].tolist() == ["sold"]
    assert listed(replace(season, jobs=jobs.assign(built_on="2026-02-14"))).empty


def test_sold_comes_before_quotes_and_quotes_before_visits_longest_first():
    season = calls(
        ("C0004", "2026-02-12", "visit", "", "", ""), ("C0002", "2026-02-10", "quoted", "", "", ""),
        ("C0003", "2026-02-03", "quoted", "", "", ""), ("C0001", "2026-02-14", "sold", "", "", ""),
    )  # fmt: skip
    assert listed(season)["client_id"].tolist() == ["C0001", "C0003", "C0002", "C0004"]


def test_who_is_under_way_has_no_rank_even_when_the_rest_is_over():
    """A visit agreed five weeks ago: its rest is over, and a new offer would be the wrong call."""
    season = calls(("C0001", "2026-01-05", "visit", "", "", ""))
    clients = known(season)
    options = {"rates": SCAN.rates, "today": TODAY, "learned": small_learned()}
    ranked = rank_calls(SCAN.offers, SCAN.beds, clients, **options).set_index("client_id")
    assert ranked["rank"]["C0001"] > 0  # nothing but the rest would keep the client off the list
    words = clients["client_id"].map({"C0001": listed(season)["words"].iloc[0]}).fillna("")
    told = rank_calls(SCAN.offers, SCAN.beds, clients.assign(under_way=words), **options)
    row = told.set_index("client_id").loc["C0001"]
    assert (row["rank"], row["left_out"]) == (0, "under way: visit agreed on Jan 5")
