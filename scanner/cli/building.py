"""What a week's orders and a crew's sheet are made of: sold jobs with their estimates, beds and plants."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

import numpy as np
import pandas as pd

from scanner.book.capacity import read_capacity
from scanner.calls.dig_days import WorkDays
from scanner.calls.jobs import draw_up_jobs
from scanner.calls.to_build import BuildDays, plan_week
from scanner.cli.keeping import itemize_all, price, read_aside, task_names
from scanner.cli.options import Asked
from scanner.cli.plans import name_plants
from scanner.cli.rows import show_problems
from scanner.cli.talk import say
from scanner.schema.columns import SKIP_REASONS
from scanner.schema.documents import Book, Scan, Season
from scanner.sheets.problems import Problem, fault, faults_of, join_problems, list_problems

Job = dict[Any, Any]
"""A row of `list_to_build`."""

FORBIDDEN = ("denied", "cut off", "built")
"""Why a bed that was sold must not be dug."""


@dataclass(frozen=True)
class Building:
    """Jobs that can be built, in their order, each under its ``job_id``."""

    book: Book
    found: Scan  # as if they were not sold yet
    season: Season  # likewise
    jobs: pd.DataFrame  # as `list_to_build` gives them, each with its finish
    tasks: pd.DataFrame  # table JOB_TASKS
    beds: pd.DataFrame  # table OFFER_BEDS with job_id, in the order of their letters
    planted: pd.DataFrame  # table CHOSEN_PLANTS with job_id
    problems: pd.DataFrame


def gather(asked: Asked, jobs: pd.DataFrame) -> Building:
    """Look at the lots of jobs as if those were not sold yet: their beds, their plants, what they take.

    A job whose beds must not be dug, or are not there, is left out and told of. ``jobs``: as `list_to_build` gives them.
    """
    season = asked.season
    before = replace(season, jobs=season.jobs[~season.jobs["job_id"].isin(jobs["job_id"])])
    read = read_aside(asked.book, before)
    found = price(read, before, asked.today, {*jobs["client_id"]})
    sound, refused = _refuse(jobs, found)
    drawn, tasks, problems = _estimates(sound, season, found)
    sound = drawn if drawn.empty else drawn[drawn["job_id"].isin(tasks["job_id"])]
    beds = pd.concat(
        [
            found.table("offer_beds")[:0].assign(job_id=""),
            *(_beds_of(found, job) for job in sound.to_dict("records")),
        ]
    )
    of_offer = beds.drop_duplicates("offer_id").set_index("offer_id")["job_id"]
    finish_of = dict(zip(sound["job_id"], sound["finish"], strict=True))
    finishes = {str(offer_id): str(finish_of[job_id]) for offer_id, job_id in of_offer.items()}
    _, planted, unplanted = name_plants(read, before, beds, finishes)
    planted = planted.assign(job_id=planted["offer_id"].map(of_offer))
    every = join_problems(list_problems(refused), problems, unplanted)
    return Building(read, found, before, sound, tasks, beds, planted, every)


def _refuse(jobs: pd.DataFrame, found: Scan) -> tuple[pd.DataFrame, list[Problem]]:
    """Leave out jobs with a bed that the lot does not have any more, or that must not be dug."""
    reasons = dict(zip(found.beds["bed_id"], found.beds["skip_reason"], strict=True))
    problems, bad = list[Problem](), set[str]()
    for job in jobs.to_dict("records"):
        for bed_id in job["bed_ids"].split():
            if why := reasons.get(bed_id, "gone"):
                dug = "must not be dug" if why in FORBIDDEN else "cannot be built as sold"
                dug += f": {SKIP_REASONS.get(why, 'it is not found on the lot any more')}"
                bad.add(job["job_id"])
                problems.append(fault("", f"job {job['job_id']}", f"bed {bed_id} {dug}; the job is left out",
                                      "look at the lot, or take the job back with record BOOK undo", client_id=job["client_id"]))  # fmt: skip
    return jobs[~jobs["job_id"].isin(bad)], problems


def _estimates(
    jobs: pd.DataFrame, season: Season, found: Scan
) -> tuple[pd.DataFrame, pd.DataFrame, pd.DataFrame]:
    told = jobs[jobs["is_told"]]
    tasks = season.job_tasks[season.job_tasks["job_id"].isin(told["job_id"])]
    sales = jobs[~jobs["is_told"]]
    report = sales.assign(
        method="", built_on="", note="", invoiced_cents=np.nan, file="", feature=""
    )
    nothing = pd.DataFrame(
        columns=["job_id", "task", "actual_hours", "actual_cents", "file", "feature"]
    )
    drawn, estimate, problems = draw_up_jobs(
        report.astype({"sold_cents": float}), nothing, season,
        found=itemize_all(found) if len(sales) else None, tasks=task_names(found.rates),
    )  # fmt: skip
    finish = dict(zip(drawn["job_id"], drawn["finish"], strict=True))
    jobs = jobs.assign(
        finish=[job["finish"] or finish.get(job["job_id"], "") for job in jobs.to_dict("records")]
    )
    bare = told[~told["job_id"].isin(tasks["job_id"])]
    lacking = [
        fault("", f"job {job['job_id']}", "no estimate is on record for it, so nobody knows what it takes; it is left out",
              "take it back with record BOOK undo, scan, and record it anew", client_id=job["client_id"])
        for job in bare.to_dict("records")
    ]  # fmt: skip
    return (
        jobs,
        pd.concat([tasks, estimate], ignore_index=True),
        join_problems(problems, list_problems(lacking)),
    )


def _beds_of(found: Scan, job: dict[Any, Any]) -> pd.DataFrame:
    """Give the beds of a job as they lie in the offer of just these, else each alone, by name."""
    bed_ids, rows = job["bed_ids"].split(), found.table("offer_beds")
    sets = rows.groupby("offer_id")["bed_id"].agg(set)
    whole = [offer_id for offer_id, own in sets.items() if own == {*bed_ids}]
    own = rows[rows["offer_id"].isin(whole[:1] or bed_ids) & rows["bed_id"].isin(bed_ids)]
    return own.sort_values("bed_id", kind="stable").assign(job_id=job["job_id"])


def plan_for(
    asked: Asked, building: Building, jobs: pd.DataFrame, begin: Mapping[str, date] | None = None
) -> dict[str, BuildDays]:
    """Plan the jobs of a week, as many at once as `capacity.csv` names crews for it."""
    rules, capacity = building.book.rules, read_capacity(asked.book)[0]
    crews = capacity.loc[capacity["week"].isin(jobs["week"]), "crew"].nunique()
    work, tickets = WorkDays(rules.state, rules.holidays), asked.season.tickets
    return plan_week(jobs, tickets, work, today=asked.today, crew_count=crews, begin=begin)


def quantity_of(job: Job, building: Building, task: str) -> float:
    """How much of a task a job has."""
    tasks = building.tasks
    return float(
        tasks.loc[(tasks["job_id"] == job["job_id"]) & (tasks["task"] == task), "quantity"].sum()
    )


def close_with(problems: pd.DataFrame, sentences: list[str]) -> int:
    """Say what is to be minded, print what was left out; how much needs a look."""
    for sentence in sentences:
        say(sentence)
    show_problems(problems, as_json=False)
    return len(sentences) + len(faults_of(problems))
