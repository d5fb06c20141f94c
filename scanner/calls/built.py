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
JOB_COLUMNS = (
    "job_id", "client_id", "bed_ids", "estimated_hours", "took_hours", "untold_hours", "price_cents", "cost_cents", "made_cents",
    "made_per_crew_hour_cents",
)  # fmt: skip


@dataclass(frozen=True)
class PriceCheck:
    """How often the price as sold lay inside the quick price's range."""

    inside_count: int  # jobs inside, and jobs that have both
    job_count: int
    low: float  # jeffreys interval of the share inside
    high: float


def list_actuals(jobs: pd.DataFrame, job_tasks: pd.DataFrame) -> pd.DataFrame:
    """List the tasks of built jobs of which an actual is on record.

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
    """Estimate what was built once more, at the rates that hold now.

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


def sum_jobs(jobs: pd.DataFrame, job_tasks: pd.DataFrame, *, rates: RateBook) -> pd.DataFrame:
    """Sum each built job up of which an actual is on record: hours, what it brought in, cost and made.

    Columns `JOB_COLUMNS`, by the day it was built. The price is the invoice, else the price as
    sold. The cost of a task is its actual cost; else its actual hours at the estimate's hourly
    cost; else the estimate. ``untold_hours``: what of the hours taken is only estimated. Crew-hours are the labor hours over the people of a crew.
    """
    report = set(list_actuals(jobs, job_tasks)["job_id"])
    jobs, tasks = check_table(jobs, JOBS), check_table(job_tasks, JOB_TASKS)
    hourly = tasks["estimated_cents"] / tasks["estimated_hours"]
    hourly = hourly.fillna(rates.labor_usd_per_hour.value * CENTS_PER_USD)
    cost = tasks["actual_cents"].fillna(tasks["actual_hours"] * hourly)
    summed = tasks.assign(
        cost_cents=cost.fillna(tasks["estimated_cents"].astype(float)),
        took_hours=tasks["actual_hours"].fillna(tasks["estimated_hours"]),
        untold_hours=tasks["estimated_hours"].where(tasks["actual_hours"].isna()),
    ).groupby("job_id")[["estimated_hours", "took_hours", "untold_hours", "cost_cents"]].sum()  # fmt: skip
    told = jobs[jobs["job_id"].isin(report)].merge(summed, on="job_id", how="left")
    told = told.sort_values(["built_on", "job_id"], ignore_index=True).assign(
        price_cents=lambda job: job["invoiced_cents"].where(job["invoiced_cents"] > 0, job["sold_cents"]),
        cost_cents=lambda job: job["cost_cents"].round().astype("int64"),
        made_cents=lambda job: job["price_cents"] - job["cost_cents"],
        made_per_crew_hour_cents=lambda job: job["made_cents"] / job["took_hours"] * rates.crew_count.value,
    )  # fmt: skip
    return told[[*JOB_COLUMNS]]


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
