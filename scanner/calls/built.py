"""Built jobs as they were told: which tasks have actuals, what was sold, what lost money."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from scanner.calls.ratios import jeffreys_interval
from scanner.schema.documents import Rate, RateBook
from scanner.schema.log_tables import JOB_TASKS, JOBS
from scanner.schema.rate_book import LABOR, factor
from scanner.schema.tables import check_table
from scanner.units import CENTS_PER_USD

HOURS, COST = "hours", "cost"
LOSS_COLUMNS = ("job_id", "client_id", "bed_ids", "price_cents", "cost_cents", "loss_cents")


@dataclass(frozen=True)
class PriceCheck:
    """
    How often the price as sold lay inside the quick price's range.

    Attributes
    ----------
    inside_count, job_count
        Jobs inside, and jobs that have both.
    low, high
        Jeffreys interval of the share inside.
    """

    inside_count: int
    job_count: int
    low: float
    high: float


def list_actuals(jobs: pd.DataFrame, job_tasks: pd.DataFrame) -> pd.DataFrame:
    """
    List the tasks of built jobs of which an actual is on record.

    Rows of `JOB_TASKS` with ``measure`` (hours where there are any, else cost), ``estimated``
    and ``actual`` [h, or USD], and ``key``, the rate that they speak of.
    """
    jobs, tasks = check_table(jobs, JOBS), check_table(job_tasks, JOB_TASKS)
    tasks = tasks[tasks["job_id"].isin(jobs.loc[jobs["built_on"] != "", "job_id"])]
    is_labor = tasks["actual_hours"].notna()
    estimated = tasks["estimated_hours"].where(is_labor, tasks["estimated_cents"] / CENTS_PER_USD)
    report = tasks.assign(
        measure=np.where(is_labor, HOURS, COST),
        actual=tasks["actual_hours"].where(is_labor, tasks["actual_cents"] / CENTS_PER_USD),
        estimated=estimated.fillna(0.0),
        key=tasks["rate_key"].map(_own_key),
    )
    return report[report["actual"].notna()]


def estimate_anew(report: pd.DataFrame, *, rates: RateBook) -> pd.DataFrame:
    """
    Estimate what was built once more, at the rates that hold now.

    What jobs took is set against the rates in use, not against those that each was sold
    at: a rate that was learned from jobs is not learned from the same jobs again.

    The same rows, ``estimated`` [h, or USD] the quantity of that time at today's rates. Of a
    rate that is several joined by ``*`` all are today's, labor among them where it is dollars.
    What has no quantity, or a rate that the book has no more, keeps its estimate.
    """
    units = [
        _unit_now(keys, measure, rates)
        for keys, measure in zip(report["rate_key"], report["measure"], strict=True)
    ]
    anew = report["quantity"] * pd.Series(units, index=report.index, dtype=float)
    return report.assign(estimated=anew.where(anew > 0, report["estimated"]))


def check_prices(jobs: pd.DataFrame) -> PriceCheck:
    """Count how often the price as sold lay inside the quick price's range."""
    jobs = check_table(jobs, JOBS)
    report = jobs[(jobs["quick_high_cents"] > 0) & (jobs["sold_cents"] > 0)]
    is_inside = report["sold_cents"].between(report["quick_low_cents"], report["quick_high_cents"])
    inside_count = int(is_inside.sum())
    return PriceCheck(inside_count, len(report), *jeffreys_interval(inside_count, len(report)))


def name_losses(jobs: pd.DataFrame, job_tasks: pd.DataFrame, *, rates: RateBook) -> pd.DataFrame:
    """
    Name the jobs that cost more than they brought in.

    Columns `LOSS_COLUMNS`, largest loss first. The price is the invoice, else the price as
    sold. The cost of a task is its actual cost; else its actual hours at the estimate's hourly
    cost; else the estimate.
    """
    report = set(list_actuals(jobs, job_tasks)["job_id"])
    jobs, tasks = check_table(jobs, JOBS), check_table(job_tasks, JOB_TASKS)
    hourly = tasks["estimated_cents"] / tasks["estimated_hours"]
    hourly = hourly.fillna(rates.labor_usd_per_hour.value * CENTS_PER_USD)
    cost = tasks["actual_cents"].fillna(tasks["actual_hours"] * hourly)
    cost = cost.fillna(tasks["estimated_cents"].astype(float)).groupby(tasks["job_id"]).sum()
    priced = jobs[jobs["job_id"].isin(report)].assign(
        price_cents=jobs["invoiced_cents"].where(jobs["invoiced_cents"] > 0, jobs["sold_cents"]),
        cost_cents=jobs["job_id"].map(cost).astype(float).round(),
    )
    priced = priced.assign(loss_cents=priced["cost_cents"] - priced["price_cents"])
    losses = priced[(priced["loss_cents"] > 0) & (priced["price_cents"] > 0)]
    losses = losses.astype({"cost_cents": "int64", "loss_cents": "int64"})
    losses = losses.sort_values(["loss_cents", "job_id"], ascending=[False, True])
    return losses[[*LOSS_COLUMNS]].reset_index(drop=True)


def _unit_now(rate_key: str, measure: str, rates: RateBook) -> float:
    """Give hours, or dollars, of one unit at today's rates; NaN where a rate is not in the book."""
    keys = [key for key in rate_key.split("*") if key and not (measure == HOURS and key == LABOR)]
    unit = 1.0 if keys else np.nan
    for key in keys:
        rate = getattr(rates, key, None)
        unit *= factor(key, rate.value) if isinstance(rate, Rate) else np.nan
    return unit


def _own_key(rate_key: str) -> str:
    """Name the rate that a task's ratio speaks of: the first one, the labor rate aside."""
    keys = [key for key in rate_key.split("*") if key and key != LABOR]
    return keys[0] if keys else ""
