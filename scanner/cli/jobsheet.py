"""Build what is sold: ``jobsheet`` tells a crew its job."""

from __future__ import annotations

from datetime import date

import click
import pandas as pd

from scanner.calls.remarks import known_of
from scanner.calls.to_build import BuildDays, list_to_build
from scanner.cli.building import Building, Job, close_with, gather, plan_for
from scanner.cli.options import Asked, command, open_day_option
from scanner.cli.plans import draw_up_plans, plant_words
from scanner.cli.talk import say
from scanner.cli.who import NO_SALE, jobs_meant
from scanner.errors import BookError
from scanner.job.orders import round_parts
from scanner.job.tasks import bed_tasks, job_tasks
from scanner.pages.bed_words import letter_of
from scanner.pages.crew_words import CrewJob, JobSheet
from scanner.pages.jobsheet_page import draw_jobsheet
from scanner.pages.paper.look import PAPERS
from scanner.pages.publish import paper_name
from scanner.schema.documents import RateBook, Season
from scanner.schema.edge_kinds import STREET_SIDE
from scanner.schema.locating import LOCATING

HOUR_STEP = 0.1
"""Hours are printed to a tenth, so that they add up as printed."""


@command("paper", "out", "today")
@click.argument("who")
@open_day_option(
    "--on", help="First day on the job.  [default: the first of its week that all allows]"
)
def jobsheet(asked: Asked, who: str, on: date | None) -> int:
    """Print what the crew of WHO's job loads, digs, minds and writes down: one leaf, two sides.

    WHO is a client (id, name or phone number) or the number of a job that is sold. Writes jobsheet-CLIENT.pdf.
    """
    client_id, own = jobs_meant(who, list_to_build(asked.season), asked)
    if own.empty:
        raise BookError(NO_SALE.format(client_id=client_id))
    jobs = _week_of(asked.season, own, on)
    own = jobs.iloc[:1]
    building = gather(asked, own)
    sentences = list[str]()
    for job in building.jobs.to_dict("records"):
        begin = {job["job_id"]: on} if on else None
        plan = plan_for(asked, building, jobs, begin)[job["job_id"]]
        paper = draw_jobsheet(_sheet_of(building, job, plan, asked), PAPERS[asked.paper])
        asked.print_paper(paper, paper_name("jobsheet", job["client_id"]))
        sentences += [f"Mind: {words}." for words in plan.against]
        until = f" to {plan.days[-1]}" if len(plan.days) > 1 else ""
        why = f" ({plan.ticket_words})" if plan.is_held else ""
        say(f"Job {job['job_id']}: {plan.days[0]:%A}, {plan.days[0]}{until}{why}.")
    return close_with(building.problems, sentences)


def _week_of(season: Season, own: pd.DataFrame, on: date | None) -> pd.DataFrame:
    week = own["week"].iloc[0]
    if not week and on is None:
        message = f"{own['job_id'].iloc[0]} has no week yet: record BOOK schedule WHO WEEK gives it one, or name its day with --on"
        raise BookError(message)
    waiting = list_to_build(season)
    others = waiting[
        waiting["week"].eq(week) & waiting["job_id"].ne(own["job_id"].iloc[0]) & (week != "")
    ]
    return pd.concat([own, others], ignore_index=True)


def _sheet_of(building: Building, job: Job, plan: BuildDays, asked: Asked) -> JobSheet:
    read, rates = building.book, building.book.rates
    beds = building.beds[building.beds["job_id"] == job["job_id"]]
    tasks = building.tasks[building.tasks["job_id"] == job["job_id"]]
    planted = building.planted[building.planted["job_id"] == job["job_id"]]
    finishes = dict.fromkeys(beds["offer_id"], str(job["finish"]))
    drawn = draw_up_plans(read, building.season, building.found, beds, beds.iloc[:0], finishes)
    order = {task.task: at for at, task in enumerate((*bed_tasks(rates), *job_tasks(rates)))}
    tasks = tasks.sort_values("task", key=lambda names: names.map(order), kind="stable")
    hours = tasks[tasks["estimated_hours"].fillna(0.0) > 0.0]
    planned = round_parts(hours["estimated_hours"].to_numpy(float), HOUR_STEP)
    labor_hours = sum(planned)
    rows = beds.to_dict("records")
    work = CrewJob(
        lengths=[(letter_of(at), bed["edge_ft"]) for at, bed in enumerate(rows)], amounts=_amounts(tasks, rates),
        plants=[f"{words}, {row['plant_size']}" for words, row in plant_words(planted, read.plants)],
        is_at_street=bool(beds["along"].isin(STREET_SIDE).any()),
        has_hand_dig=bool((beds["hand_dig_ft2"] > 0).any()), rates=rates, rules=read.rules,
    )  # fmt: skip
    return JobSheet(
        client=read.clients.set_index("client_id", drop=False).loc[job["client_id"]].to_dict(), company=read.rules.company,
        job_id=job["job_id"], finish=job["finish"], days=plan.days, ticket=plan.ticket, dig_from=plan.dig_from,
        dig_until=plan.dig_until, call_by=plan.call_by, labor_hours=labor_hours,
        crew_days=labor_hours / rates.crew_day_hours,
        hours=[*zip(hours["task"], planned, strict=True)], beds=rows,
        plan=drawn.plans.get(job["client_id"]), work=work, cautions=_cautions(beds),
        command=f"bed-scanner record {asked.book.as_posix()} job {job['job_id']}",
        held=plan.ticket_words if plan.is_held else "",
        known=known_of(read.clients, asked.season, str(job["client_id"]), today=asked.today),
    )  # fmt: skip


def _cautions(beds: pd.DataFrame) -> list[str]:
    told = [
        words
        for cell in beds.loc[beds["frame"] == "", "cautions"]
        for words in cell.split("; ")
        if words
    ]
    return [
        f"{words[:1].upper()}{words[1:]}."
        for words in dict.fromkeys(told)
        if not words.startswith(LOCATING)
    ]


def _amounts(tasks: pd.DataFrame, rates: RateBook) -> dict[str, float]:
    quantity_of_task = {task.task: task.quantity for task in (*bed_tasks(rates), *job_tasks(rates))}
    return {
        quantity_of_task[task]: float(quantity)
        for task, quantity in zip(tasks["task"], tasks["quantity"], strict=True) if task in quantity_of_task
    }  # fmt: skip
