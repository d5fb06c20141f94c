"""Learn: ``calibrate`` sets the rates against what the built jobs really took."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click
import pandas as pd

from scanner.book.proposals import write_proposals
from scanner.book.settings import read_rates
from scanner.calls.built import HOURS, PriceCheck, check_prices, name_losses
from scanner.calls.calibration import (
    FROM_JOBS,
    TASK_COLUMNS,
    compare_tasks,
    count_jobs,
    propose_rates,
)
from scanner.calls.log import read_season
from scanner.cli.options import book_argument, json_option
from scanner.cli.rows import print_rows
from scanner.cli.talk import counted, say
from scanner.schema.documents import RateBook, Season
from scanner.sheets.cells import factor, number
from scanner.sheets.lists import TASKS_COMPARED
from scanner.units import CENTS_PER_USD


@click.command()
@book_argument
@json_option
def calibrate(book: Path, as_json: bool) -> None:
    """
    Set the rates of BOOK against what its built jobs really took, task by task.

    From five jobs on: estimate against actual, the ratio with its 80 % interval, and
    a rate that would have hit it. Proposed rates are written to rates-proposed.toml
    beside rates.toml, never over it.
    """
    season, rates = read_season(book), read_rates(book / "rates.toml")[0]
    job_count = count_jobs(season.jobs, season.job_tasks)
    if job_count < FROM_JOBS:
        print_rows([], TASKS_COMPARED, as_json=as_json)
        say(
            f"{counted(job_count, 'built job')} with hours or costs on record; from {FROM_JOBS} on, rates are compared. "
            "To record one: bed-scanner record BOOK job."
        )
    else:
        tasks = compare_tasks(season.jobs, season.job_tasks, rates=rates)
        print_rows(map(_row, tasks.to_dict("records")), TASKS_COMPARED, as_json=as_json)  # fmt: skip
        _propose(book, season, rates)
    say(_price_words(check_prices(season.jobs)))
    _tell_losses(name_losses(season.jobs, season.job_tasks, rates=rates))


def _row(task: dict[Any, Any]) -> dict[str, Any]:
    measured = {
        name: number(task[name])
        for name in ("estimated", "actual", "ratio", "ratio_low", "ratio_high")
    }
    rates = {
        name: None if pd.isna(task[name]) else factor(task[name])
        for name in ("rate_now", "rate_suggested")
    }
    unit = "h" if task["measure"] == HOURS else "USD"
    return {name: task[name] for name in TASK_COLUMNS} | measured | rates | {"measure": unit}


def _propose(book: Path, season: Season, rates: RateBook) -> None:
    proposals = propose_rates(season.jobs, season.job_tasks, rates=rates)
    if proposals.empty:
        say("No rate is off for sure: nothing is proposed.")
        return
    last_on = season.jobs["built_on"].max()
    reason = f"built jobs up to {last_on}, geometric mean of actual over estimate"
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
        f"{counted(check.job_count, 'job')} (80 % interval of the share {check.low:.0%} to {check.high:.0%})."
    )


def _tell_losses(losses: pd.DataFrame) -> None:
    for loss in losses.to_dict("records"):
        say(
            f"Lost money: job {loss['job_id']} ({loss['bed_ids']}, client {loss['client_id']}) brought in "
            f"${loss['price_cents'] / CENTS_PER_USD:,.2f} and cost ${loss['cost_cents'] / CENTS_PER_USD:,.2f}, "
            f"${loss['loss_cents'] / CENTS_PER_USD:,.2f} more."
        )
