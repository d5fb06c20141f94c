"""
Jobs drawn up for the log: the estimate that the scan made beside what it really took.

A job that is on record keeps its estimate; what is told anew is put in its place.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from scanner.calls.job_faults import fault_of, sold_twice, what_to_look_at, why_refused
from scanner.schema.documents import Scan, Season
from scanner.schema.log_tables import JOB_TASKS, JOBS
from scanner.schema.tables import PROBLEMS, check_table, empty_table

NO_COST_KEYS = ("gross_margin_share", "minimum_job_usd", "sales_tax_share")
"""Line items under these rates are part of the price and not of what a job costs."""

TEXTS = ("bed_ids", "finish", "method", "built_on", "note")
AMOUNTS = ("sold_cents", "invoiced_cents")


_SHRUBS = {"plant": "plant shrubs", "plants": "shrubs", "water in plants": "water in shrubs"}
SAME_WORK = _SHRUBS | {shrubs: plants for plants, shrubs in _SHRUBS.items()}
"""Tasks that people call by the name of the other finish's: the one that was estimated is meant."""


def draw_up_jobs(
    report: pd.DataFrame,
    actuals: pd.DataFrame,
    season: Season,
    *,
    found: Scan | None,
    tasks: tuple[str, ...],
) -> tuple[pd.DataFrame, pd.DataFrame, pd.DataFrame]:
    """
    Put beside what was told of jobs what the scan estimated for them: tables `JOBS`, `JOB_TASKS`, `PROBLEMS`.

    Left out and listed: jobs without a price, of beds that the scan does not find or that are sold
    already, and actuals of a task that is none; noted: skipped beds, prices far outside the quick
    price.
    """
    problems = list[dict[str, str]]()
    jobs, parts = list[dict[str, Any]](), []
    for job in report.to_dict("records"):
        before = season.jobs[season.jobs["job_id"] == job["job_id"]]
        others: list[dict[Any, Any]] = [*season.jobs.to_dict("records"), *jobs]
        faults = why_refused(job, others, found=found) if before.empty else sold_twice(job, others)
        problems += faults
        if faults:
            continue
        if before.empty:
            drawn, estimate = _estimate(job, found)
        else:
            drawn = before.to_dict("records")[0]
            estimate = season.job_tasks[season.job_tasks["job_id"] == job["job_id"]]
        jobs.append({name: _newer(job, drawn, name) for name in JOBS.columns})
        problems += what_to_look_at(job, jobs[-1], before, found=found)
        own = actuals[actuals["job_id"] == job["job_id"]]
        known, strange = _known_tasks(own, tasks, [*estimate["task"]])
        problems += strange
        parts.append(_with_actuals(estimate, known, str(job["job_id"])))
    return (
        check_table(pd.DataFrame(jobs), JOBS) if jobs else empty_table(JOBS),
        check_table(pd.concat(parts, ignore_index=True), JOB_TASKS) if parts else empty_table(JOB_TASKS),
        check_table(pd.DataFrame(problems), PROBLEMS) if problems else empty_table(PROBLEMS),
    )  # fmt: skip


def _newer(job: dict[Any, Any], drawn: dict[Any, Any], name: str) -> object:
    """Take what was told where something was, else what stands there."""
    if name in TEXTS:
        return job[name] or drawn[name]
    if name in AMOUNTS and not np.isnan(job[name]):
        return int(job[name])
    return drawn[name]


def _estimate(job: dict[Any, Any], found: Scan | None) -> tuple[dict[str, Any], pd.DataFrame]:
    """Draw a job up from the scan's offer of these beds, else from each bed's own."""
    if found is None:
        message = f"job {job['job_id']} is new: it is drawn up from a scan"
        raise ValueError(message)
    bed_ids = job["bed_ids"].split()
    offers = found.offers
    is_same = offers["bed_ids"].map(lambda ids: set(ids.split()) == set(bed_ids)).astype(bool)
    offer_ids = offers.loc[is_same, "offer_id"].tolist()[:1] or bed_ids
    prices = found.table("prices")
    prices = prices[prices["offer_id"].isin(offer_ids)]
    lead = [*prices.loc[prices["is_lead"], "finish"], found.rates.lead_finish][0]
    finish = job["finish"] or lead
    prices = prices[prices["finish"] == finish]
    rows = found.table("offer_beds")
    rows = rows[rows["offer_id"].isin(prices["offer_id"])]
    # A bed that is skipped has no price, but its area is known all the same
    beds = found.beds[found.beds["bed_id"].isin(set(bed_ids) - set(rows["bed_id"]))]
    items = found.table("line_items")
    items = items[items["offer_id"].isin(prices["offer_id"]) & (items["finish"] == finish)]
    job_row = {
        "job_id": job["job_id"], "client_id": job["client_id"], "bed_ids": job["bed_ids"],
        "finish": finish, "method": " ".join(dict.fromkeys(prices["method"])), "built_on": "", "note": "",
        "area_ft2": float(rows["area_ft2"].sum() + beds["area_ft2"].sum()),
        "quick_low_cents": int(prices["price_low_cents"].sum()),
        "quick_high_cents": int(prices["price_high_cents"].sum()),
        "sold_cents": 0, "invoiced_cents": 0,
    }  # fmt: skip
    return job_row, sum_tasks(items)


def sum_tasks(items: pd.DataFrame) -> pd.DataFrame:
    """Add the line items of a job's cost up task by task, in the order of the work."""
    items = items[~items["rate_key"].isin(NO_COST_KEYS)]
    tasks = items.groupby("task", sort=False, as_index=False).agg(
        rate_key=("rate_key", "first"),
        quantity=("quantity", "sum"),
        unit=("unit", "first"),
        estimated_hours=("labor_hours", "sum"),
        estimated_cents=("amount_cents", "sum"),
    )
    # A purchase has no hours, which is not the same as none being needed
    hours = tasks["estimated_hours"].where(tasks["estimated_hours"] > 0.0)
    return tasks.assign(estimated_hours=hours, actual_hours=np.nan, actual_cents=np.nan)


def _with_actuals(estimate: pd.DataFrame, actuals: pd.DataFrame, job_id: str) -> pd.DataFrame:
    """Put actuals beside the estimate; a task that was not estimated gets a row of its own."""
    estimated = set(estimate["task"])
    other = [SAME_WORK.get(task, task) for task in actuals["task"]]
    meant = [
        alike if task not in estimated and alike in estimated else task
        for task, alike in zip(actuals["task"], other, strict=True)
    ]
    actuals = actuals.assign(task=pd.Series(meant, index=actuals.index, dtype="str"))
    report = actuals.groupby("task", sort=False)[["actual_hours", "actual_cents"]].sum(min_count=1)
    extra = pd.DataFrame({"task": [task for task in report.index if task not in estimated]})
    extra = extra.assign(
        rate_key="", quantity=0.0, unit="", estimated_hours=np.nan, actual_hours=np.nan,
        estimated_cents=0, actual_cents=np.nan,
    )  # fmt: skip
    tasks = pd.concat([estimate, extra], ignore_index=True) if len(extra) else estimate
    newer = {name: tasks["task"].map(report[name]) for name in report.columns}
    tasks = tasks.assign(
        job_id=job_id,
        **{name: newer[name].where(newer[name].notna(), tasks[name]) for name in newer},
    )
    return tasks[[*JOB_TASKS.columns]].astype({"estimated_cents": "int64"})


def _known_tasks(
    actuals: pd.DataFrame, tasks: tuple[str, ...], estimated: list[str]
) -> tuple[pd.DataFrame, list[dict[str, str]]]:
    """Give tasks their own names; a few letters will do where only one task has them.

    Where none has, those estimated for the job are listed: all that the rate book knows are too many to look through.
    """
    names, problems = [], []
    for row in actuals.to_dict("records"):
        typed = " ".join(row["task"].casefold().split())
        fits = [task for task in tasks if typed == task.casefold()]
        fits = fits or [task for task in tasks if typed in task.casefold()]
        names.append(fits[0] if len(fits) == 1 else "")
        if len(fits) != 1:
            # Names hold commas of their own
            listed = ", ".join(f"'{task}'" for task in fits or estimated or tasks)
            problems.append(fault_of(row, f"task '{row['task']}' is none or several of: {listed}; its hours and cost are left out",
                                     "write one of these, as the estimate has it"))  # fmt: skip
    named = actuals.assign(task=pd.Series(names, index=actuals.index, dtype="str"))
    return named[named["task"] != ""], problems
