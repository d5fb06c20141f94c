"""Learn: ``calibrate`` sets the rates against what the built jobs really took."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click
import pandas as pd

from scanner.book.proposals import write_proposals
from scanner.book.settings import read_rates
from scanner.calls.calibration import (
    FROM_JOBS,
    HOURS,
    PriceCheck,
    check_prices,
    compare_tasks,
    list_actuals,
    propose_rates,
    sum_jobs,
)
from scanner.calls.log import read_season
from scanner.cli.options import Asked, command
from scanner.cli.rows import print_rows
from scanner.cli.talk import counted, say
from scanner.schema.documents import RateBook, Season
from scanner.sheets.cells import factor, sheet_row
from scanner.sheets.description import Sheet
from scanner.sheets.lists import JOB_TOLD, TASKS_COMPARED
from scanner.units import CENTS_PER_USD, write_usd


@command("json")
@click.option("--job", "job_id", metavar="JOB", help="This job alone, task by task.")
def calibrate(asked: Asked, job_id: str | None) -> None:
    """Set the rates of BOOK against what its built jobs really took, task by task.

    From the first job on: each job with what it took and what it made or lost per
    crew-hour. From five on: estimate against actual over all jobs, how sure that is,
    how far jobs lie apart, and a rate that would have hit it. Proposed rates are
    written to rates-proposed.toml beside rates.toml, never over it.
    """
    book, as_json = asked.book, asked.as_json
    season, rates = read_season(book), read_rates(book / "rates.toml")[0]
    jobs = sum_jobs(season.jobs, season.job_tasks, rates=rates)
    if job_id is not None and job_id not in set(jobs["job_id"]):
        known = ", ".join(jobs["job_id"]) or "none yet"
        message = f"'{job_id}' is no built job with hours or costs on record: {known}"
        raise click.BadParameter(message, param_hint="--job")
    if job_id is not None or len(jobs) < FROM_JOBS:
        jobs = jobs if job_id is None else jobs[jobs["job_id"] == job_id]
        _break_down(season, jobs, as_json=as_json)
    else:
        tasks = compare_tasks(season.jobs, season.job_tasks, rates=rates)
        rows = [_row(TASKS_COMPARED, task) for task in tasks.to_dict("records")]
        print_rows(rows, TASKS_COMPARED, as_json=as_json)
        _propose(book, season, rates)
    if job_id is None:
        say(_price_words(check_prices(season.jobs)))
        _tell_losses(jobs[(jobs["made_cents"] < 0) & (jobs["price_cents"] > 0)])


def _break_down(season: Season, jobs: pd.DataFrame, *, as_json: bool) -> None:
    tasks = list_actuals(season.jobs, season.job_tasks)
    tasks = tasks[tasks["job_id"].isin(jobs["job_id"])]
    rows = [_row(JOB_TOLD, task) for task in tasks.to_dict("records")]
    print_rows(rows, JOB_TOLD, as_json=as_json)
    for job in jobs.to_dict("records"):
        say(job_words(job))
    if len(jobs) < FROM_JOBS:
        say(
            f"{counted(len(jobs), 'built job')} with hours or costs on record; from {FROM_JOBS} on, rates are compared. "
            "To record one: bed-scanner record BOOK job."
        )


def job_words(job: dict[Any, Any]) -> str:
    """Say what a job took and what it made.

    >>> job_words({"job_id": "J1", "client_id": "A", "bed_ids": "A-curb-1", "estimated_hours": 10.0, "took_hours": 15.0, "untold_hours": 4.0,
    ...            "price_cents": 30_000, "cost_cents": 42_000, "made_cents": -12_000, "made_per_crew_hour_cents": -1_600.0})
    'Job J1 (A-curb-1, client A): estimated 10.0 h, took 15.0 h, 4.0 h of them as estimated; brought in $300.00, cost $420.00: $16.00 lost per crew-hour.'
    """
    hour = job["made_per_crew_hour_cents"] / CENTS_PER_USD
    untold = f", {job['untold_hours']:.1f} h of them as estimated" if job["untold_hours"] else ""
    made = (
        f": ${abs(hour):,.2f} {'made' if hour >= 0 else 'lost'} per crew-hour"
        if job["price_cents"] > 0
        else ""
    )
    return (
        f"Job {job['job_id']} ({job['bed_ids']}, client {job['client_id']}): estimated {job['estimated_hours']:.1f} h, "
        f"took {job['took_hours']:.1f} h{untold}; brought in {write_usd(job['price_cents'], 2)}, "
        f"cost {write_usd(job['cost_cents'], 2)}{made}."
    )


def _row(sheet: Sheet, task: dict[Any, Any]) -> dict[str, Any]:
    rates = {
        name: None if pd.isna(task[name]) else factor(task[name])
        for name in ("rate_now", "rate_suggested")
        if name in task
    }
    return sheet_row(sheet, task | rates | {"measure": "h" if task["measure"] == HOURS else "USD"})


def _propose(book: Path, season: Season, rates: RateBook) -> None:
    proposals = propose_rates(season.jobs, season.job_tasks, rates=rates)
    if proposals.empty:
        say("No rate is off for sure: nothing is proposed.")
        return
    last_on = season.jobs["built_on"].max()
    reason = f"built jobs up to {last_on}, all that was used over all that was estimated"
    path = write_proposals(book, proposals, reason=reason)
    changes = counted(len(proposals), "rate")
    say(
        f"{changes} proposed in {path}, each with its reason; rates.toml is as it was. Look at it first."
    )


def _price_words(check: PriceCheck) -> str:
    if not check.job_count:
        return "No job with both a quick price and a price as sold is on record yet."
    return (
        f"The price as sold lay inside the quick price's range in {check.inside_count} of "
        f"{counted(check.job_count, 'job')} sold, built or not (80 % interval of the share {check.low:.0%} to {check.high:.0%})."
    )


def _tell_losses(losses: pd.DataFrame) -> None:
    for loss in losses.to_dict("records"):
        say(
            f"Lost money: job {loss['job_id']} ({loss['bed_ids']}, client {loss['client_id']}) brought in "
            f"{write_usd(loss['price_cents'], 2)} and cost {write_usd(loss['cost_cents'], 2)}, "
            f"{write_usd(-loss['made_cents'], 2)} more."
        )
