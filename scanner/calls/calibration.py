"""
What built jobs teach about rates: estimate against actual, task by task.

The estimate is made anew at the rates that hold now: jobs sold before a rate was changed
count as if they had been sold after, so that no rate is corrected twice.
"""

from __future__ import annotations

from dataclasses import astuple

import numpy as np
import pandas as pd

from scanner.calls.built import estimate_anew, list_actuals
from scanner.calls.ratios import Ratio, ratio_of
from scanner.schema.documents import Rate, RateBook

FROM_JOBS = 5
"""Built jobs with actuals from which on there is a table, and a rate is suggested."""

TASK_COLUMNS = (
    "task", "measure", "job_count", "estimated", "actual", "ratio", "ratio_low", "ratio_high",
    "jobs_low", "jobs_high", "rate_key", "rate_now", "rate_suggested", "verdict",
)  # fmt: skip
PROPOSAL_COLUMNS = (
    "rate_key", "value", "low", "high", "was", "ratio", "ratio_low", "ratio_high", "jobs_low",
    "jobs_high", "job_count",
)  # fmt: skip

RATE_FORMAT = ".4g"
"""Rates are proposed to four digits: what differs by less is the same rate."""

MOST_SHARE = 0.95
"""A share of the rate book stays below this."""


def compare_tasks(jobs: pd.DataFrame, job_tasks: pd.DataFrame, *, rates: RateBook) -> pd.DataFrame:
    """Compare estimate and actual, task by task.

    Columns `TASK_COLUMNS`, in the order of the work: sums over the jobs that tell both [h, or
    USD], estimated at the rates as they stand, their ratio, and the rate that would have hit
    it. A task that was done and never estimated shows what it took and has no ratio.
    """
    report = estimate_anew(list_actuals(jobs, job_tasks), rates=rates)
    proposals = propose_rates(jobs, job_tasks, rates=rates).set_index("rate_key")
    rows = []
    for (task, measure), own in report.groupby(["task", "measure"], sort=False):
        ratio = ratio_of(own["actual"].to_numpy(float), own["estimated"].to_numpy(float))
        both = own[(own["estimated"] > 0) & (own["actual"] > 0)]
        told_of = both if len(both) else own
        key = str(own["key"].iloc[0])
        suggested = proposals["value"].get(key, np.nan)
        rows.append(
            (task, measure, len(own), told_of["estimated"].sum(), told_of["actual"].sum(), ratio.mean,
             ratio.low, ratio.high, ratio.job_low, ratio.job_high, key, _value(key, rates), suggested, _verdict(key, ratio, proposals))
        )  # fmt: skip
    return pd.DataFrame(rows, columns=[*TASK_COLUMNS])


def propose_rates(jobs: pd.DataFrame, job_tasks: pd.DataFrame, *, rates: RateBook) -> pd.DataFrame:
    """Propose rates where `FROM_JOBS` jobs show that the one in use is off.

    Columns `PROPOSAL_COLUMNS`, by name of the rate. Tasks that share a rate are added up job by
    job. A pace is divided by the ratio, any other rate multiplied; low and high are those of
    the spread of jobs.
    """
    report = estimate_anew(list_actuals(jobs, job_tasks), rates=rates)
    both = report[(report["estimated"] > 0) & (report["actual"] > 0) & (report["key"] != "")]
    rows = []
    for key, own in both.groupby("key", sort=True):
        by_job = own.groupby("job_id")[["actual", "estimated"]].sum()
        ratio = ratio_of(by_job["actual"].to_numpy(float), by_job["estimated"].to_numpy(float))
        was = _value(str(key), rates)
        if ratio.job_count < FROM_JOBS or not ratio.excludes_one or not was > 0:
            continue
        low, value, high = sorted(
            _moved(str(key), was, one) for one in (ratio.job_low, ratio.mean, ratio.job_high)
        )
        if format(value, RATE_FORMAT) == format(was, RATE_FORMAT):
            continue
        rows.append((key, value, low, high, was, *astuple(ratio)))
    return pd.DataFrame(rows, columns=[*PROPOSAL_COLUMNS])


def _value(key: str, rates: RateBook) -> float:
    rate = getattr(rates, key, None) if key else None
    return rate.value if isinstance(rate, Rate) else np.nan


def _moved(key: str, value: float, ratio: float) -> float:
    if key.endswith("_per_hour"):
        return value / ratio
    return min(value * ratio, MOST_SHARE) if key.endswith("_share") else value * ratio


def _verdict(key: str, ratio: Ratio, proposals: pd.DataFrame) -> str:
    if not key:
        return "was not estimated"
    if key in proposals.index:
        return "change it"
    if ratio.job_count < FROM_JOBS:
        return f"needs {FROM_JOBS} jobs"
    return "keep it"
