"""
The cost sheet of some jobs: how much of each task, bed by bed and for the job.

A job is an offer in one finish. The sheet is wide (one column a task) so that jobs are
priced in a few array operations; `line_items` writes it out as rows.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from scanner.job.counting import (
    Amounts,
    FloatArray,
    IntArray,
    whole_cents,
    whole_days,
    whole_loads,
    whole_steps,
)
from scanner.job.method import machine_days, strip_work
from scanner.job.tasks import Task, bed_tasks, job_tasks, unit_hours, unit_usd
from scanner.schema.documents import RateBook
from scanner.units import LB_PER_TON

ORDER_STEP_YD3 = 0.5
"""Mulch and compost are bought by the half yard: 2.222 yd³ is ordered as 2.5."""

ACCENTED = ("accent", "gravel")
"""Finishes with the few shrubs of an accent."""

ORDER_STEP_TON = 0.1
"""Gravel is weighed at the yard, to a tenth of a ton (common practice, no source)."""


@dataclass(frozen=True)
class CostSheet:
    """What n jobs that hold m beds take."""

    # bed_tasks, job_tasks: the tasks, in the order of the columns
    bed_tasks: tuple[Task, ...]
    job_tasks: tuple[Task, ...]
    # bed_quantities, job_quantities: how much of each task: m rows a bed, n rows a job
    bed_quantities: FloatArray
    job_quantities: FloatArray
    # bed_cents, job_cents: the same as money, rounded once each [cents]
    bed_cents: IntArray
    job_cents: IntArray
    starts: IntArray  # first bed of each job
    labor_hours: FloatArray  # crew time, one a job [h]

    @property
    def tasks(self) -> tuple[Task, ...]:
        """Bed tasks, then job tasks, in the order of the columns of `quantities`."""
        return (*self.bed_tasks, *self.job_tasks)

    @cached_property
    def quantities(self) -> FloatArray:
        """How much of each of `tasks` a job takes: one row a job, one column a task."""
        of_beds = np.add.reduceat(self.bed_quantities, self.starts)
        return np.column_stack([of_beds, self.job_quantities])

    @property
    def direct_cents(self) -> IntArray:
        """Direct cost of each job [cents]."""
        of_beds = np.add.reduceat(self.bed_cents.sum(axis=1), self.starts)
        direct_cents: IntArray = of_beds + self.job_cents.sum(axis=1)
        return direct_cents

    def count(self, *names: str) -> IntArray:
        """Count something that comes in wholes: quantities of tasks added up, one a job."""
        columns = [[task.quantity for task in self.tasks].index(name) for name in names]
        counts: IntArray = self.quantities[:, columns].sum(axis=1).astype(np.int64)
        return counts


def make_cost_sheet(
    beds: Amounts, starts: IntArray, methods: np.ndarray, finishes: np.ndarray, *, rates: RateBook
) -> CostSheet:
    """
    Count every task of n jobs and cost it.

    Beds of a job stand together in `beds`, its first one at `starts`; `methods` and `finishes`: one
    a job. `RateError` if set-up alone fills the crew's day.
    """
    bed_count = np.diff(starts, append=len(beds["ground_ft2"]))
    amounts = _bed_amounts(
        beds, np.repeat(methods, bed_count), np.repeat(finishes, bed_count), rates
    )
    tasks, shared = bed_tasks(rates), job_tasks(rates)
    bed_quantities = np.column_stack([amounts[task.quantity] for task in tasks])
    bed_hours = bed_quantities @ np.array([unit_hours(task, rates) for task in tasks])
    sums = {name: np.add.reduceat(own, starts) for name, own in amounts.items()}
    jobs = _job_amounts(sums, rates)
    work_hours = np.add.reduceat(bed_hours, starts) + sum(
        jobs[task.quantity] * unit_hours(task, rates)
        for task in shared
        if task.is_labor and task.quantity != "day_count"
    )
    jobs["day_count"] = whole_days(work_hours, rates=rates)
    job_quantities = np.column_stack([jobs[task.quantity] for task in shared])
    return CostSheet(
        bed_tasks=tasks,
        job_tasks=shared,
        bed_quantities=bed_quantities,
        job_quantities=job_quantities,
        bed_cents=_money(bed_quantities, tasks, rates),
        job_cents=_money(job_quantities, shared, rates),
        starts=starts,
        labor_hours=work_hours + jobs["day_count"] * rates.setup_hours_per_day.value,
    )


def _bed_amounts(
    beds: Amounts, methods: np.ndarray, finishes: np.ndarray, rates: RateBook
) -> dict[str, FloatArray]:
    is_gravel, is_planted = finishes == "gravel", finishes == "planted"
    compost_yd3 = np.where(is_planted, beds["compost_yd3"], 0.0)
    return strip_work(beds, methods, rates=rates) | {
        "sod_loose_yd3": beds["sod_loose_yd3"],
        "sod_lb": beds["sod_lb"],
        "edging_ft": beds["edging_ft"],
        "head_count": beds["head_count"],
        "mulch_yd3": np.where(is_gravel, 0.0, beds["mulch_yd3"]),
        "gravel_yd3": np.where(is_gravel, beds["gravel_yd3"], beds["wall_gravel_yd3"]),
        "fabric_ft2": np.where(is_gravel, beds["fabric_ft2"], beds["wall_strip_ft2"]),
        "compost_yd3": compost_yd3,
        # a tiller has no business among roots and pipes: there compost stays on top
        "till_ft2": np.where(compost_yd3 > 0, beds["machine_ft2"], 0.0),
        "plant_count": np.where(is_planted, beds["plant_count"], 0.0),
        "accent_count": np.where(np.isin(finishes, ACCENTED), beds["accent_count"], 0.0),
    }


def _job_amounts(sums: Amounts, rates: RateBook) -> dict[str, np.ndarray]:
    with_waste = 1.0 + rates.waste_share.value
    own_yd3 = rates.own_trailer_yd3.value
    gravel_ton = sums["gravel_yd3"] * rates.gravel_ton_per_yd3.value
    mulch_order_yd3 = whole_steps(sums["mulch_yd3"] * with_waste, ORDER_STEP_YD3)
    gravel_order_ton = whole_steps(gravel_ton * with_waste, ORDER_STEP_TON)
    is_big_mulch = mulch_order_yd3 > own_yd3
    is_big_gravel = sums["gravel_yd3"] * with_waste > own_yd3
    till_days = sums["till_ft2"] / rates.till_ft2_per_hour.value / rates.day_hours.value
    return machine_days(sums, rates=rates) | {
        "load_count": whole_loads(sums["sod_loose_yd3"], sums["sod_lb"], rates=rates),
        "edging_order_ft": whole_steps(sums["edging_ft"], rates.edging_stick_ft.value),
        # compost is laid by its rate: what is over or short is raked even, no waste
        "compost_order_yd3": whole_steps(sums["compost_yd3"], ORDER_STEP_YD3),
        "mulch_order_yd3": mulch_order_yd3,
        "mulch_trip_count": is_big_mulch * 1.0,
        "mulch_fetch_count": (~is_big_mulch & (mulch_order_yd3 > 0)) * 1.0,
        "gravel_order_ton": gravel_order_ton,
        "gravel_trip_count": is_big_gravel * 1.0,
        "gravel_fetch_count": (~is_big_gravel & (gravel_order_ton > 0)) * 1.0,
        "fabric_order_ft2": sums["fabric_ft2"] * with_waste,
        "tiller_day_count": whole_steps(till_days, 1.0),
        "tip_ton": sums["sod_lb"] / LB_PER_TON,
    }


def _money(quantities: FloatArray, tasks: tuple[Task, ...], rates: RateBook) -> IntArray:
    return whole_cents(quantities * np.array([unit_usd(task, rates) for task in tasks]))
