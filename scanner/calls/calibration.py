"""
What built jobs teach about rates: estimate against actual, task by task.

The estimate is made anew at the rates that hold now: jobs sold before a rate was changed
count as if they had been sold after, so that no rate is corrected twice.
A ratio is sum over sum, because a rate is right when it gives the year's total; large jobs weigh more.
"""

from __future__ import annotations

from dataclasses import astuple, dataclass

import numpy as np
import pandas as pd
from scipy.special import betaincinv, stdtrit

from scanner.calls.chance import CHANCE_LEVEL
from scanner.schema.documents import Rate, RateBook
from scanner.schema.log_tables import JOB_TASKS, JOBS
from scanner.schema.rate_book import LABOR, factor
from scanner.schema.tables import check_table
from scanner.units import CENTS_PER_USD


@dataclass(frozen=True)
class Ratio:
    """Actual over estimate."""

    mean: float  # sum over sum; NaN: no job tells
    # ends of the interval of the mean; NaN: one job alone
    low: float
    high: float
    # between these lie eight of ten jobs; NaN: one job alone
    job_low: float
    job_high: float
    job_count: int  # jobs that it rests on

    @property
    def excludes_one(self) -> bool:
        """Tell whether the estimate is off for sure."""
        return bool(self.low > 1.0 or self.high < 1.0)


def ratio_of(actual: np.ndarray, estimated: np.ndarray, *, level: float = CHANCE_LEVEL) -> Ratio:
    """Compare actuals with estimates.

    R = Σa / Σe, the interval of the mean R ± t √(Σ(a − R e)² / (n − 1) / n) / ē, the variance of a ratio of
    sums (Cochran, Sampling Techniques, 3rd ed., 1977, chapter 6, from memory); the spread R exp(± t s), s the
    standard deviation of the logarithms of a / e. t is Student's with n − 1 degrees of freedom.

    >>> ratio = ratio_of(np.array([2.0, 4.0]), np.array([1.0, 3.0]))
    >>> ratio.mean, ratio.job_count
    (1.5, 2)
    """
    with np.errstate(invalid="ignore"):
        is_told = (actual > 0) & (estimated > 0) & np.isfinite(actual) & np.isfinite(estimated)
    actual, estimated = actual[is_told], estimated[is_told]
    count = len(actual)
    if not count:
        return Ratio(np.nan, np.nan, np.nan, np.nan, np.nan, 0)
    mean = float(actual.sum() / estimated.sum())
    if count == 1:
        return Ratio(mean, np.nan, np.nan, np.nan, np.nan, 1)
    student = float(stdtrit(count - 1, (1.0 + level) / 2.0))
    rests = actual - mean * estimated
    error = float(np.sqrt((rests**2).sum() / (count - 1) / count) / estimated.mean())
    spread = float(np.exp(student * np.log(actual / estimated).std(ddof=1)))
    low, high = max(mean - student * error, 0.0), mean + student * error
    return Ratio(mean, low, high, mean / spread, mean * spread, count)


def jeffreys_interval(
    success_count: float, trial_count: float, *, level: float = CHANCE_LEVEL
) -> tuple[float, float]:
    """Give the interval of a plain yes-or-no share with the prior of half a yes, half a no.

    Equal-tailed interval; its low end is 0 when there was no yes and its high end 1 when there was
    no no [1]_. ``success_count``: how many were a yes [count]. ``trial_count``: how many there were
    [count]. `ValueError`: if the successes are fewer than none or more than the trials.

    .. [1] Brown, Cai, DasGupta, Statistical Science 16(2), 2001, 101-133.

    >>> [round(end, 6) for end in jeffreys_interval(3, 20, level=0.95)]
    [0.044131, 0.348578]
    >>> jeffreys_interval(0, 0)
    (0.0, 1.0)
    """
    if not 0 <= success_count <= trial_count:
        message = f"{success_count} of {trial_count} cannot be: allowed is 0 to {trial_count}"
        raise ValueError(message)
    yes, no = success_count + 0.5, trial_count - success_count + 0.5
    low, high = betaincinv(yes, no, [(1.0 - level) / 2.0, (1.0 + level) / 2.0])
    return (
        0.0 if success_count == 0 else float(low),
        1.0 if success_count == trial_count else float(high),
    )


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
