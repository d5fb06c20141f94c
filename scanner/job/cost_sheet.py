"""
The cost sheet of one finish: how much of each task, bed by bed and for the offer.

Kept wide (one column a task) so that a whole book is priced in a few array
operations; `line_items` writes it out as rows.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from scanner.job.counting import (
    FloatArray,
    IntArray,
    whole_cents,
    whole_days,
    whole_loads,
    whole_steps,
)
from scanner.job.method import machine_days, strip_work
from scanner.job.quantities import ground_ft2
from scanner.job.tasks import Task, bed_tasks, job_tasks, unit_hours, unit_usd
from scanner.schema.documents import Finish, RateBook
from scanner.units import LB_PER_TON

ORDER_STEP_YD3 = 0.5
"""Mulch and compost are bought by the half yard: 2.222 yd³ is ordered as 2.5."""

ACCENTED = ("accent", "gravel")
"""Finishes with the few shrubs of an accent."""

ORDER_STEP_TON = 0.1
"""Gravel is weighed at the yard, to a tenth of a ton (common practice, no source)."""


@dataclass(frozen=True)
class CostSheet:
    """
    What one finish takes, for n offers holding m beds.

    Attributes
    ----------
    finish
        The finish.
    bed_tasks, job_tasks
        The tasks, in the order of the columns.
    bed_quantities, job_quantities
        How much of each task: m rows a bed, n rows an offer.
    bed_cents, job_cents
        The same as money, rounded once each [cents].
    offer_codes
        Offer of each bed: 0 to n - 1.
    labor_hours
        Crew time, one an offer [h].
    direct_cents
        Direct cost, one an offer [cents].
    """

    finish: Finish
    bed_tasks: tuple[Task, ...]
    job_tasks: tuple[Task, ...]
    bed_quantities: FloatArray
    job_quantities: FloatArray
    bed_cents: IntArray
    job_cents: IntArray
    offer_codes: IntArray
    labor_hours: FloatArray
    direct_cents: IntArray

    @property
    def tasks(self) -> tuple[Task, ...]:
        """
        Bed tasks, then job tasks.

        Returns
        -------
        tasks
            In the order of the columns of `offer_quantities`.
        """
        return (*self.bed_tasks, *self.job_tasks)

    @property
    def offer_quantities(self) -> FloatArray:
        """
        How much of each of `tasks` an offer takes, one row an offer.

        Returns
        -------
        quantities
            One row an offer, one column a task.
        """
        return np.column_stack([
            sum_by_offer(self.bed_quantities, self.offer_codes, len(self.labor_hours)),
            self.job_quantities,
        ])  # fmt: skip

    @property
    def plant_counts(self) -> IntArray:
        """
        Plants, one an offer.

        Returns
        -------
        plants
            Full planting or shrubs, whichever the finish has, n of them.
        """
        names = [task.quantity for task in self.bed_tasks]
        places = [names.index("plant_count"), names.index("accent_count")]
        plants: IntArray = self.offer_quantities[:, places].sum(axis=1).astype(np.int64)
        return plants

    @property
    def load_counts(self) -> IntArray:
        """
        Trailer loads, one an offer.

        Returns
        -------
        loads
            Whole loads, n of them.
        """
        names = [task.quantity for task in self.job_tasks]
        loads: IntArray = self.job_quantities[:, names.index("load_count")].astype(np.int64)
        return loads


def make_cost_sheet(
    offer_beds: pd.DataFrame,
    quantities: pd.DataFrame,
    methods: pd.Series[str],
    *,
    finish: Finish,
    rates: RateBook,
) -> CostSheet:
    """
    Count every task of a finish and cost it.

    Parameters
    ----------
    offer_beds
        Table `OFFER_BEDS`, m kept rows, offers in the order of `methods`.
    quantities
        Table `QUANTITIES`, the same rows in the same order.
    methods
        How each offer is stripped, indexed by `offer_id`, n offers.
    finish
        The finish.
    rates
        The rate book.

    Returns
    -------
    sheet
        Quantities and money, wide.

    Raises
    ------
    RateError
        If set-up alone fills the crew's day.
    """
    codes = methods.index.get_indexer(pd.Index(offer_beds["offer_id"])).astype(np.int64)
    beds = _bed_amounts(
        offer_beds, quantities, methods.to_numpy()[codes], finish=finish, rates=rates
    )
    tasks, shared = bed_tasks(rates), job_tasks(rates)
    bed_quantities = beds[[task.quantity for task in tasks]].to_numpy(dtype=float)
    bed_hours = bed_quantities @ np.array([unit_hours(task, rates) for task in tasks])
    jobs = _job_amounts(beds.groupby(codes).sum(), rates)
    jobs = _add_days(jobs, sum_by_offer(bed_hours[:, None], codes, len(methods))[:, 0], rates)
    job_quantities = jobs[[task.quantity for task in shared]].to_numpy(dtype=float)
    bed_cents, job_cents = (
        _money(bed_quantities, tasks, rates),
        _money(job_quantities, shared, rates),
    )
    return CostSheet(
        finish=finish,
        bed_tasks=tasks,
        job_tasks=shared,
        bed_quantities=bed_quantities,
        job_quantities=job_quantities,
        bed_cents=bed_cents,
        job_cents=job_cents,
        offer_codes=codes,
        labor_hours=jobs["labor_hours"].to_numpy(dtype=float),
        direct_cents=_direct_cents(bed_cents, job_cents, codes),
    )


def _direct_cents(bed_cents: IntArray, job_cents: IntArray, codes: IntArray) -> IntArray:
    of_beds = np.zeros(len(job_cents), dtype=np.int64)
    np.add.at(of_beds, codes, bed_cents.sum(axis=1))
    direct_cents: IntArray = of_beds + job_cents.sum(axis=1)
    return direct_cents


def _bed_amounts(
    offer_beds: pd.DataFrame,
    quantities: pd.DataFrame,
    methods: np.ndarray,
    *,
    finish: Finish,
    rates: RateBook,
) -> pd.DataFrame:
    is_gravel = finish == "gravel"
    beds = strip_work(offer_beds, methods, rates=rates).assign(
        sod_loose_yd3=quantities["sod_loose_yd3"],
        sod_lb=quantities["sod_lb"],
        edging_ft=quantities["edging_ft"],
        head_count=quantities["head_count"],
        mulch_yd3=0.0 if is_gravel else quantities["mulch_yd3"],
        gravel_yd3=quantities["gravel_yd3" if is_gravel else "wall_gravel_yd3"],
        fabric_ft2=quantities["fabric_ft2"] if is_gravel else offer_beds["wall_strip_ft2"],
        compost_yd3=quantities["compost_yd3"] if finish == "planted" else 0.0,
        plant_count=quantities["plant_count"].astype(float) if finish == "planted" else 0.0,
        accent_count=quantities["accent_count"].astype(float) if finish in ACCENTED else 0.0,
    )
    # a tiller has no business among roots and pipes: there compost stays on top
    till_ft2 = (ground_ft2(offer_beds) - offer_beds["hand_dig_ft2"]).clip(lower=0.0)
    return beds.assign(till_ft2=till_ft2.where(beds["compost_yd3"] > 0, 0.0))


def _job_amounts(sums: pd.DataFrame, rates: RateBook) -> pd.DataFrame:
    column = {name: sums[name].to_numpy(dtype=float) for name in sums.columns}
    with_waste = 1.0 + rates.waste_share.value
    own_yd3 = rates.own_trailer_yd3.value
    gravel_ton = column["gravel_yd3"] * rates.gravel_ton_per_yd3.value
    mulch_order_yd3 = whole_steps(column["mulch_yd3"] * with_waste, ORDER_STEP_YD3)
    gravel_order_ton = whole_steps(gravel_ton * with_waste, ORDER_STEP_TON)
    is_big_mulch = mulch_order_yd3 > own_yd3
    is_big_gravel = column["gravel_yd3"] * with_waste > own_yd3
    till_days = column["till_ft2"] / rates.till_ft2_per_hour.value / rates.day_hours.value
    return pd.DataFrame({
        "load_count": whole_loads(column["sod_loose_yd3"], column["sod_lb"], rates=rates),
        "edging_order_ft": whole_steps(column["edging_ft"], rates.edging_stick_ft.value),
        # compost is laid by its rate: what is over or short is raked even, no waste
        "compost_order_yd3": whole_steps(column["compost_yd3"], ORDER_STEP_YD3),
        "mulch_order_yd3": mulch_order_yd3,
        "mulch_trip_count": is_big_mulch * 1.0,
        "mulch_fetch_count": ~is_big_mulch & (mulch_order_yd3 > 0),
        "gravel_order_ton": gravel_order_ton,
        "gravel_trip_count": is_big_gravel * 1.0,
        "gravel_fetch_count": ~is_big_gravel & (gravel_order_ton > 0),
        "fabric_order_ft2": column["fabric_ft2"] * with_waste,
        "tiller_day_count": whole_steps(till_days, 1.0),
        "tip_ton": column["sod_lb"] / LB_PER_TON,
    }, index=sums.index).join(machine_days(sums, rates=rates))  # fmt: skip


def _add_days(jobs: pd.DataFrame, bed_hours: FloatArray, rates: RateBook) -> pd.DataFrame:
    work_hours = bed_hours + sum(
        jobs[task.quantity].to_numpy(dtype=float) * unit_hours(task, rates)
        for task in job_tasks(rates)
        if task.is_labor and task.quantity != "day_count"
    )
    days = whole_days(work_hours, rates=rates)
    labor_hours = work_hours + days * rates.setup_hours_per_day.value
    return jobs.assign(day_count=days, labor_hours=labor_hours)


def _money(quantities: FloatArray, tasks: tuple[Task, ...], rates: RateBook) -> IntArray:
    return whole_cents(quantities * np.array([unit_usd(task, rates) for task in tasks]))


def sum_by_offer(amounts: FloatArray, codes: IntArray, count: int) -> FloatArray:
    """
    Sum the rows of each offer.

    Parameters
    ----------
    amounts
        One row a bed.
    codes
        Offer of each bed: 0 to `count` - 1.
    count
        Offers.

    Returns
    -------
    sums
        One row an offer.

    Examples
    --------
    >>> sum_by_offer(np.array([[1.0], [2.0], [4.0]]), np.array([0, 1, 0]), 2).tolist()
    [[5.0], [2.0]]
    """
    sums = np.zeros((count, amounts.shape[1]))
    np.add.at(sums, codes, amounts)
    return sums
