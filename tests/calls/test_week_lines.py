"""What a week begins with: each client in one section, with the day that counts and the next step."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pandas as pd
import pytest

from scanner.calls.history import add_history
from scanner.calls.log import NO_SEASON
from scanner.calls.today import list_offered, list_today
from scanner.calls.week_lines import list_week
from scanner.schema.log_tables import CALL_LOG, JOB_TASKS, JOBS, QUOTES, VISITS
from scanner.schema.tables import LEFT_OUT, empty_table
from tests.small_scan import small_rates, small_scan

MONDAY = date(2026, 3, 16)


def season(*calls, jobs=(), hours=(), visits=()):
    rows = [
        (number, client_id, day, outcome, "", action, next_date, "", "t", 0)
        for number, (client_id, day, outcome, next_date, action) in enumerate(calls, start=1)
    ]
    job_rows = [
        (bed, bed[:5], bed, "accent", "hand", built, 200.0, 0, 0, sold, 0, "")
        for bed, built, sold in jobs
    ]
    tasks = [
        (bed, "strip by hand", "labor", 1.0, "h", 4.0, actual, 0, float("nan"))
        for bed, actual in hours
    ]
    seen = [(9, client_id, day, "", "", "t") for client_id, day in visits]
    return replace(
        NO_SEASON,
        calls=pd.DataFrame(rows, columns=[*CALL_LOG.columns]),
        jobs=pd.DataFrame(job_rows, columns=[*JOBS.columns]),
        job_tasks=pd.DataFrame(tasks, columns=[*JOB_TASKS.columns]),
        visits=pd.DataFrame(seen, columns=[*VISITS.columns]),
    )


def week(known, today=MONDAY):
    found, rates = small_scan(), small_rates()
    clients = add_history(found.clients, known, rates=rates)
    listed = list_offered(found.calls, found.offers, found.beds, today=found.today)
    calls = list_today(listed, empty_table(LEFT_OUT), clients, rates=rates, today=today)
    to_call = calls[(calls["left_out"] == "") & (calls["offer_id"] != "")]
    return list_week(known, to_call, clients, rates=rates, today=today)


def test_each_stage_stands_in_its_section_with_its_day():
    lines, young = week(season(
        ("C0001", "2026-03-04", "call back", "2026-03-13", "Offer a visit"),
        ("C0002", "2026-03-11", "visit", "2026-03-18", ""),
        ("C0003", "2026-03-02", "quoted", "", ""),
        ("C0004", "2026-03-10", "quoted", "", ""),
        ("C0007", "2026-03-12", "sold", "", ""),
        jobs=[("C0007-curb-1", "", 180_000), ("C0010-curb-1", "2026-03-12", 150_000)],
        hours=[("C0007-curb-1", float("nan")), ("C0010-curb-1", float("nan"))],
    ))  # fmt: skip
    told = lines[lines["section"] != "new call"]
    assert told[["section", "client_id", "day"]].to_numpy().tolist() == [
        ["call back", "C0001", "2026-03-13"],
        ["visit", "C0002", "2026-03-18"],
        ["quote", "C0003", "2026-03-02"],
        ["sold", "C0007", "2026-03-12"],
        ["built", "C0010", "2026-03-12"],
    ]
    assert lines["next_step"].iloc[0] == "Offer a visit"
    assert young == 1
    # Nobody who was called is a new call, nor whoever has a job
    assert {*told["client_id"], "C0004"}.isdisjoint(
        lines.loc[lines["section"] == "new call", "client_id"]
    )


def test_only_an_old_quote_is_asked_after_when_its_client_has_a_young_one_too():
    quotes = pd.DataFrame(
        [dict.fromkeys(QUOTES.columns, "") | {"quote_id": number, "client_id": "C0003", "price_cents": 100_000,
                                              "quoted_on": day, "good_until": "2026-04-15"}
         for number, day in (("Q2026-001", "2026-03-02"), ("Q2026-002", "2026-03-15"))]
    )  # fmt: skip
    lines = week(
        replace(season(("C0003", "2026-03-02", "quoted", "", "")), quotes=quotes)
    )[0].query("section == 'quote'")  # fmt: skip
    assert lines["number"].tolist() == ["Q2026-001"]


def test_a_job_with_its_hours_is_settled():
    lines, _ = week(
        season(jobs=[("C0010-curb-1", "2026-03-12", 150_000)], hours=[("C0010-curb-1", 5.0)])
    )
    assert "built" not in set(lines["section"])


@pytest.mark.parametrize(
    ("next_date", "visits", "day", "step"),
    [
        ("", (), "", "Call; settle a day for the visit"),
        ("2026-03-22", (), "2026-03-22", "Take wheel and price sheet along"),
        ("2026-03-12", (), "2026-03-12", "Take wheel and price sheet along"),
        ("2026-03-12", (("C0002", "2026-03-12"),), "2026-03-12", "Visited; write the quote"),
    ],
)  # fmt: skip
def test_a_visit_is_due_without_a_day_or_made(next_date, visits, day, step):
    lines, _ = week(season(("C0002", "2026-03-11", "visit", next_date, ""), visits=visits))
    row = lines[lines["client_id"] == "C0002"].iloc[0]
    assert (row["section"], row["day"], row["next_step"]) == ("visit", day, step)


def test_what_is_due_after_this_week_waits():
    lines, _ = week(season(
        ("C0001", "2026-03-04", "call back", "2026-03-23", ""), ("C0002", "2026-03-11", "visit", "2026-03-23", ""),
    ))  # fmt: skip
    assert {"C0001", "C0002"}.isdisjoint(lines["client_id"])


def test_new_calls_keep_the_order_of_the_list():
    lines, _ = week(season())
    found = small_scan()
    ranked = found.calls[found.calls["rank"] > 0].sort_values("rank")["client_id"].tolist()
    assert lines["client_id"].tolist() == ranked[:10]


def test_a_sale_without_a_quote_is_built_by_the_names_of_its_beds():
    known = season(("C0001", "2026-03-02", "sold", "", ""))
    calls = known.calls.assign(price_cents=210_000, bed_ids="C0001-curb-1 C0001-curb-2")
    weeks = pd.DataFrame([("C0001", "", "2026-03-09")], columns=["client_id", "job_id", "week"])
    lines, _ = week(replace(known, calls=calls, schedule=weeks))
    line = lines.set_index("section").loc["to build"]
    assert line["about"] == "2 curb beds, about $2,100"
    assert line["command"] == "record BOOK job C0001-curb-1 C0001-curb-2 --built DATE"
