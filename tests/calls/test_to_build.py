"""Days of a week's jobs: what a ticket, the right to cancel and a busy crew leave, by hand on the calendar of April 2026."""

from __future__ import annotations

from datetime import date

import pandas as pd

from scanner.calls.dig_days import WorkDays
from scanner.calls.to_build import plan_week
from scanner.schema.log_tables import TICKETS
from scanner.schema.tables import empty_table

MONDAY, TODAY = "2026-04-13", date(2026, 4, 1)
WORK = WorkDays("NE")


def jobs_of(*rows):
    """Job and client in one, days on it, day of the sale."""
    names = ["job_id", "client_id", "day_count", "sold_on", "week"]
    return pd.DataFrame(
        [(job, job, days, sold_on, MONDAY) for job, days, sold_on in rows], columns=names
    )


def tickets_of(*rows):
    if not rows:
        return empty_table(TICKETS)
    return pd.DataFrame(rows, columns=["client_id", "ticket", "dig_from", "dig_until"])


def days_of(plans):
    return {job: [day.day for day in plan.days] for job, plan in plans.items()}


def test_one_crew_takes_jobs_one_after_the_other_short_ones_first():
    jobs = jobs_of(("A", 3, "2026-03-20"), ("B", 1, "2026-03-20"), ("C", 1, "2026-03-20"))
    plans = plan_week(jobs, tickets_of(), WORK, today=TODAY)
    assert days_of(plans) == {"B": [13], "C": [14], "A": [15, 16, 17]}
    assert not any(plan.is_astray for plan in plans.values())


def test_two_crews_work_side_by_side():
    jobs = jobs_of(("A", 3, "2026-03-20"), ("B", 1, "2026-03-20"), ("C", 1, "2026-03-20"))
    plans = plan_week(jobs, tickets_of(), WORK, today=TODAY, crew_count=2)
    assert days_of(plans) == {"B": [13], "C": [13], "A": [14, 15, 16]}


def test_ticket_and_right_to_cancel_come_first():
    # sold on Saturday, April 11: Monday to Wednesday are the three business days, so Thursday is the first day
    jobs = jobs_of(("A", 1, "2026-04-11"), ("B", 1, "2026-03-20"))
    tickets = tickets_of(
        ("A", "7", "2026-04-13", "2026-05-01"), ("B", "8", "2026-04-14", "2026-04-14")
    )
    plans = plan_week(jobs, tickets, WORK, today=date(2026, 4, 11))
    assert days_of(plans) == {"B": [14], "A": [16]}
    assert plans["A"].cancel_until == date(2026, 4, 15)
    assert plans["A"].against == plans["B"].against == ()


def test_days_skip_the_weekend_and_a_job_that_leaves_its_week_says_so():
    plan = plan_week(jobs_of(("A", 6, "2026-03-20")), tickets_of(), WORK, today=TODAY)["A"]
    assert [day.isoformat() for day in plan.days[-2:]] == ["2026-04-17", "2026-04-20"]
    assert plan.is_astray
    assert plan.against == (
        "its days, 2026-04-13 to 2026-04-20, do not all lie in its week of 2026-04-13",
    )


def test_a_day_that_somebody_set_holds():
    plans = plan_week(
        jobs_of(("A", 2, "2026-03-20")),
        tickets_of(),
        WORK,
        today=TODAY,
        begin={"A": date(2026, 4, 16)},
    )
    assert days_of(plans) == {"A": [16, 17]}
    # two full days between the call and the first day (Neb. Rev. Stat. 76-2321)
    assert plans["A"].call_by == date(2026, 4, 13)


def test_what_the_marks_hold_back_says_so():
    # Nebraska, two full working days between (Neb. Rev. Stat. 76-2321). Called on Friday, April 10: Monday and Tuesday
    # between, so Wednesday, April 15; a fortnight before, the week's Monday stands, with the call by Wednesday, April 8
    jobs = jobs_of(("A", 1, "2026-03-20"))
    early = plan_week(jobs, tickets_of(), WORK, today=TODAY)["A"]
    assert (early.days[0].day, early.ticket_words) == (13, "no ticket yet: call 811 by Wed Apr 8")
    late = plan_week(jobs, tickets_of(), WORK, today=date(2026, 4, 10))["A"]
    assert late.days[0].day == 15
    assert late.ticket_words == "no ticket yet: earliest Wed Apr 15, with a call to 811 today"
    tickets = tickets_of(("A", "7", "2026-04-14", "2026-05-01"))
    assert (
        plan_week(jobs, tickets, WORK, today=TODAY)["A"].ticket_words
        == "ticket 7: earliest Tue Apr 14"
    )
    tickets = tickets_of(("A", "7", "2026-04-10", "2026-05-01"))
    assert plan_week(jobs, tickets, WORK, today=TODAY)["A"].ticket_words == ""
