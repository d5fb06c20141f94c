"""Build what is sold: ``order`` sums up a week's materials."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from pathlib import Path

import pandas as pd

from scanner.book.capacity import CAPACITY_FILE, read_capacity
from scanner.calls.dig_days import SOURCE, WorkDays
from scanner.calls.to_build import BuildDays, list_to_build
from scanner.cli.building import Building, Job, close_with, gather, plan_for, quantity_of
from scanner.cli.options import Asked, command, open_day_option
from scanner.cli.talk import counted, say
from scanner.errors import BookError
from scanner.job.orders import sum_order
from scanner.pages.order_page import OrderTables, draw_order
from scanner.pages.paper.look import PAPERS
from scanner.schema.documents import Season
from scanner.schema.job_tables import BY_CREW
from scanner.sheets.cells import sheet_csv
from scanner.sheets.days import monday_of
from scanner.sheets.lists import ORDER_LIST

LOADS_TASK = "haul away"
"""Task whose quantity is trailer loads."""

MACHINES = {"sod cutter": "sod_cutter_owned", "loader": "loader_owned", "tiller": ""}
"""Machines as the tasks name them, and the choice of the rate book that says whose they are; a tiller is rented."""


@command("paper", "out", "today")
@open_day_option("--week", help="Week of the jobs: any day of it, like 2026-04-13.")
def order(asked: Asked, week: date | None) -> int:
    """Sum up what the jobs sold and scheduled for a week need: materials and plants by name, as they are sold.

    Writes order-WEEK.csv and order-WEEK.pdf: what to order, where it goes, what to settle before.
    """
    book, today, season = asked.book, asked.today, asked.season
    monday = monday_of(week or today)
    building = gather(asked, _jobs_of(season, monday, today))
    plans = plan_for(asked, building, building.jobs)
    sentences = [*_over_capacity(book, building, monday)]
    sentences += [
        f"Job {name} does not fit into the week of {monday}: it is planned for {plan.days[0]} to {plan.days[-1]}."
        for name, plan in plans.items()
        if plan.is_astray
    ]
    if plans:
        _write_order(asked, building, plans, monday)
    say(f"Week of {monday}: materials for {counted(len(plans), 'job')}.")
    return close_with(building.problems, sentences)


def _jobs_of(season: Season, monday: date, today: date) -> pd.DataFrame:
    if monday < monday_of(today):
        message = f"the week of {monday} is over: name one to come with --week"
        raise BookError(message)
    waiting = list_to_build(season)
    jobs = waiting[waiting["week"] == monday.isoformat()]
    if jobs.empty:
        lacking = int((waiting["week"] == "").sum())
        more = f"; {counted(lacking, 'job is', 'jobs are')} sold without a week" if lacking else ""
        message = f"no job is scheduled for the week of {monday}{more}: record BOOK schedule WHO WEEK puts one there"
        raise BookError(message)
    return jobs


def _over_capacity(book: Path, building: Building, monday: date) -> Iterator[str]:
    capacity, _ = read_capacity(book)
    if capacity.empty:
        return
    needed = building.tasks["estimated_hours"].sum() / building.book.rates.crew_day_hours
    free = capacity.loc[capacity["week"] == monday.isoformat(), "free_crew_days"].sum()
    if needed > free:
        yield (
            f"The jobs of the week of {monday} take {needed:.1f} crew-days, and {CAPACITY_FILE} has {free:.1f} free: "
            "move one with record BOOK schedule."
        )


def _write_order(
    asked: Asked, building: Building, plans: dict[str, BuildDays], monday: date
) -> None:
    rules, today = building.book.rules, asked.today
    clients = building.found.clients.set_index("client_id")
    jobs = [
        job | {name: clients[name][job["client_id"]] for name in ("name", "address")} | {"first": plans[job["job_id"]].days[0]}
        for job in building.jobs.to_dict("records")
    ]  # fmt: skip
    jobs.sort(key=lambda job: (job["first"], job["name"], job["job_id"]))
    summed = sum_order(
        building.tasks, building.planted, species=building.book.plants, rates=building.book.rates
    )
    work = WorkDays(rules.state, rules.holidays)
    tables = OrderTables(
        company=rules.company, week=monday, today=today, needed_by=work.before(min(job["first"] for job in jobs)),
        order=summed, jobs=jobs, before=[*_before(jobs, plans, building, today)], file=f"order-{monday}.csv",
    )  # fmt: skip
    by_id = {job["job_id"]: job for job in jobs}
    blank = dict.fromkeys(("client_id", "name", "address"), "")
    rows = [
        blank | {key: by_id.get(row["job_id"], blank)[key] for key in blank} | row
        | {"needed": f"{row['needed']:.10g}", "order": f"{row['order']:.10g}" if row["sold_as"] else "", "needed_by": "" if row["job_id"] or BY_CREW in row["sold_as"] else tables.needed_by.isoformat()}
        for row in summed.to_dict("records")
    ]  # fmt: skip
    paper = draw_order(tables, PAPERS[asked.paper])
    asked.print_paper(paper, f"order-{monday}.pdf", **{tables.file: sheet_csv(ORDER_LIST, rows)})


def _before(
    jobs: list[Job], plans: dict[str, BuildDays], building: Building, today: date
) -> Iterator[str]:
    """Say what to settle before ordering: tickets, rights to cancel, machines to rent, loads of the trailer."""
    marks = [(job["name"], plans[job["job_id"]].ticket_words) for job in jobs]
    lacking = "; ".join(f"{name}, {words}" for name, words in marks if words)
    yield f"Marked lines: {lacking or 'every job has its ticket'}."
    open_until = [(plans[job["job_id"]].cancel_until, job) for job in jobs]
    waiting = [(until, job) for until, job in open_until if until and until >= today]
    for until, job in waiting:
        yield f"{job['name']} may cancel through {until:%A, %B} {until.day} ({SOURCE}): order the plants of this job after that day."
    if not waiting:
        yield f"Right to cancel ({SOURCE}): over for every job."
    rented = list[str]()
    for machine, choice in MACHINES.items():
        days = {job["name"]: round(quantity_of(job, building, machine)) for job in jobs}
        if (count := sum(days.values())) and getattr(building.book.rates, choice, "no") == "no":
            names = ", ".join(name for name in days if days[name])
            rented.append(f"{machine}, {counted(count, 'day')} ({names})")
    yield f"Rented machines: {'; '.join(rented) or 'none this week'}."
    loads = [(round(quantity_of(job, building, LOADS_TASK)), job) for job in jobs]
    trips = [f"{count} on {job['first']:%A} ({job['name']})" for count, job in loads if count]
    yield f"Trailer loads to haul away: {'; '.join(trips) or 'none'}."
