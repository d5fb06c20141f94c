"""Where each client stands: from what is on record to the leads of forecast and promotion."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pandas as pd
import pytest

from scanner.calls.leads import list_leads
from scanner.calls.log import NO_SEASON
from scanner.schema.log_tables import CALL_LOG, JOBS
from scanner.schema.plan_tables import CALL_BACK, NEW, QUOTE, SOLD, TRIED, VISIT
from tests.calls.desk import job_of, quote_of, quote_task_of
from tests.small_scan import TODAY, small_scan

# Today is Monday, February 16, 2026
assert date(2026, 2, 16) == TODAY


def season(*calls):
    rows = [
        (number, client_id, day, outcome, "", "", next_date, "", "t", 0)
        for number, (client_id, day, outcome, next_date) in enumerate(calls, start=1)
    ]
    return replace(NO_SEASON, calls=pd.DataFrame(rows, columns=[*CALL_LOG.columns]))


def leads_after(*calls):
    found = small_scan()
    return list_leads(found, season(*calls)).set_index("client_id")


def listed():
    found = small_scan()
    return found.calls[found.calls["rank"] > 0].sort_values("rank")["client_id"].tolist()


def test_before_any_call_all_on_the_list_are_new_in_its_order():
    leads = leads_after()
    assert set(leads["stage"]) == {NEW}
    assert leads.index.tolist() == listed()
    assert leads["day"].isna().all()
    assert leads["factor"].to_numpy() == pytest.approx(1.0, abs=0.2)


@pytest.mark.parametrize(
    ("outcome", "called_on", "next_date", "stage", "day"),
    [
        ("quoted", "2026-02-06", "", QUOTE, -10),
        ("quoted", "2026-02-06", "2026-02-20", QUOTE, -10),
        ("visit", "2026-02-13", "2026-02-19", VISIT, 3),
        ("visit", "2026-02-13", "", VISIT, 4),  # a week after the talk
        ("call back", "2026-02-13", "2026-02-18", CALL_BACK, 2),
        ("sold", "2026-02-13", "", SOLD, 4),  # may start a week after the sale
    ],
)
def test_the_last_talk_tells_the_stage_and_its_day(outcome, called_on, next_date, stage, day):
    client = listed()[0]
    lead = leads_after((client, called_on, outcome, next_date)).loc[client]
    assert (lead["stage"], lead["day"]) == (stage, day)


def test_a_built_job_waits_for_nothing():
    client = listed()[0]
    found, known = small_scan(), season((client, "2026-02-13", "sold", ""))
    cells = dict.fromkeys(JOBS.columns, 0) | {
        "job_id": "7", "client_id": client, "bed_ids": "", "finish": "accent", "method": "hand",
        "built_on": "2026-02-14", "note": "", "area_ft2": 200.0,
    }  # fmt: skip
    built = replace(known, jobs=pd.DataFrame([cells]))
    assert client not in set(list_leads(found, built)["client_id"])
    sold = replace(built, jobs=built.jobs.assign(built_on="", sold_cents=150_000))
    lead = list_leads(found, sold).set_index("client_id").loc[client]
    assert (lead["stage"], lead["profit_cents"], lead["day"]) == (SOLD, 150_000, 4)


def test_tries_in_vain_count_and_come_before_new_ones():
    first, last = listed()[0], listed()[-1]
    leads = leads_after(
        (last, "2026-02-10", "not reached", ""), (last, "2026-02-13", "not reached", "")
    )
    assert leads.index[0] == last
    assert leads.loc[last, ["stage", "tried_count"]].tolist() == [TRIED, 2]
    assert leads.loc[first, "stage"] == NEW


@pytest.mark.parametrize("outcome", ["no", "not now", "do not call"])
def test_who_refused_may_not_be_hoped_for(outcome):
    client = listed()[0]
    found = small_scan()
    calls = found.calls.assign(
        rank=found.calls["rank"].where(found.calls["client_id"] != client, 0),
        left_out=found.calls["left_out"].where(found.calls["client_id"] != client, outcome),
    )
    noted = season((client, "2026-02-13", outcome, ""))
    leads = list_leads(replace(found, calls=calls), noted)
    assert client not in set(leads["client_id"])


def test_an_old_quote_is_lost_and_a_client_who_owes_is_left_alone():
    found = small_scan()
    owes = found.clients.loc[found.clients["past_due"] == "yes", "client_id"].iloc[0]
    leads = leads_after((owes, "2026-02-13", "visit", ""))
    assert owes not in leads.index


def test_a_quote_with_a_number_has_its_own_price_and_estimate():
    client = listed()[0]
    found, known = small_scan(), season((client, "2026-02-06", "quoted", ""))
    bare = list_leads(found, known).set_index("client_id").loc[client]
    quote = quote_of("Q2026-001", client_id=client, quoted_on="2026-02-06", good_until="2026-03-08")
    tasks = quote_task_of("Q2026-001").assign(estimated_hours=12.0, estimated_cents=90_000)
    asked = replace(known, quotes=quote, quote_tasks=tasks)
    lead = list_leads(found, asked).set_index("client_id").loc[client]
    rates = found.rates
    offer = found.offers.set_index("client_id").query("phase == 1").loc[client]
    # $1,500 less $900; twelve hours over a crew's day; years as the list has them, by price
    assert lead["profit_cents"] == lead["upgrade_profit_cents"] == 60_000
    assert lead["crew_days"] == pytest.approx(12 / (rates.crew_count.value * rates.day_hours.value))
    years = bare["price_years"] * 150_000 / offer["price_cents"]
    assert (lead["price_years"], lead["upgrade_years"]) == pytest.approx((years, years))
    lost = replace(asked, quotes=quote.assign(outcome="lost"))
    gone = list_leads(found, lost).set_index("client_id").loc[client]
    assert gone["profit_cents"] == bare["profit_cents"]


def test_a_sold_job_starts_in_the_week_that_it_was_given():
    client = listed()[0]
    found, known = small_scan(), season((client, "2026-02-13", "sold", ""))
    sold = job_of("7", client_id=client, built_on="")
    week = pd.DataFrame({"client_id": [client], "job_id": ["7"], "week": ["2026-03-09"]})
    waits = replace(known, jobs=sold)
    for schedule, day in ((week.iloc[:0], 4), (week, 21)):  # February 16 + 21 days is March 9
        leads = list_leads(found, replace(waits, schedule=schedule))
        assert leads.set_index("client_id").loc[client, "day"] == day
