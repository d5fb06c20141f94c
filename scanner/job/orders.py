"""
Materials over several jobs: summed first, waste added once, then rounded to what is sold.

What a job needs is the estimate that it was sold with, its plants those of its beds by name. What
its estimate fetches the crew fetches: the hours and the price hold it, so nobody orders it too.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from math import ceil, floor, prod

import numpy as np
import pandas as pd

from scanner.job.counting import DECIMALS
from scanner.job.species import size_words
from scanner.job.tasks import bed_tasks, job_tasks
from scanner.schema.documents import RateBook
from scanner.schema.job_tables import BY_CREW
from scanner.schema.plant_list import Plant
from scanner.schema.tables import CHOSEN_PLANTS, ORDER, check_table, empty_table

LEAST_DELIVERED_YD3 = 1
"""No yard delivers less, of gravel a ton; whole ones only (behrenslandscape.com/deliveries; birchtreebarkandstone.com)."""

BULK = {"yd3": ("yard", 0.5), "ton": ("ton", 0.1)}
"""
What is too little for a delivery: loaded by the half yard (birchtreebarkandstone.com); gravel is weighed at the yard
(common practice, no source).
"""

FETCHED_BY_CREW = {"mulch": "mulch_order_yd3", "gravel": "gravel_order_ton"}
"""What a crew fetches on its way where the estimate has that, and the quantity that it loads."""

ROLL_FT = (4, 100)
"""Width and length of a roll of fabric (from memory, no source)."""


@dataclass(frozen=True)
class Material:
    """Something that jobs need."""

    name: str  # what it is
    quantity: str  # quantity of the task that lays it, as `bed_tasks` has it
    unit: str  # unit in which it is needed
    step: float  # what it is printed to, same unit
    has_waste: bool  # whether waste is added


MATERIALS = (
    Material("mulch", "mulch_yd3", "yd3", 0.1, has_waste=True),
    Material("gravel", "gravel_yd3", "ton", 0.1, has_waste=True),
    Material("compost", "compost_yd3", "yd3", 0.1, has_waste=False),
    Material("edging", "edging_ft", "ft", 1.0, has_waste=False),
    Material("fabric", "fabric_ft2", "ft2", 1.0, has_waste=True),
    Material("sprinkler parts", "head_count", "head", 0.1, has_waste=False),
)


def sum_order(
    tasks: pd.DataFrame, planted: pd.DataFrame, *, species: Mapping[str, Plant], rates: RateBook
) -> pd.DataFrame:
    """
    Sum the materials of some jobs and round them to what is sold: table `ORDER`.

    Materials in the order of the work, plants by name last, each with the jobs that need it
    beneath; what the crews fetch is a material of its own. `planted`: table `CHOSEN_PLANTS` of the
    jobs' beds, with ``job_id``.
    """
    check_table(planted, CHOSEN_PLANTS)
    rows = [*_materials(tasks, rates), *_pots(planted, species)]
    if not rows:
        return empty_table(ORDER)
    return check_table(pd.concat(rows, ignore_index=True), ORDER)


def _materials(tasks: pd.DataFrame, rates: RateBook) -> Iterator[pd.DataFrame]:
    names = {task.quantity: task.task for task in bed_tasks(rates) if task.is_labor}
    for material in MATERIALS:
        own = tasks[tasks["task"] == names[material.quantity]]
        amounts = own.groupby("job_id", sort=False)["quantity"].sum()
        amounts *= 1.0 + rates.waste_share.value if material.has_waste else 1.0
        amounts *= rates.gravel_ton_per_yd3.value if material.unit == "ton" else 1.0
        loaded = _fetched(material.name, tasks, rates)
        is_fetched = amounts.index.isin(loaded.index)
        brought, fetched = amounts[~is_fetched], amounts[is_fetched]
        if brought.sum() > 0:
            sold = _sold(material, float(brought.sum()), rates)
            yield _rows(material.name, material.unit, brought, material.step, sold)
        if fetched.sum() > 0:
            sold = float(loaded.sum()), f"{BULK[material.unit][0]}s, {BY_CREW}"
            rows = _rows(f"fetched {material.name}", material.unit, fetched, material.step, sold)
            yield rows.assign(
                order=[sold[0], *loaded[fetched.index]], sold_as=[sold[1]] * len(rows)
            )


def _fetched(material: str, tasks: pd.DataFrame, rates: RateBook) -> pd.Series[float]:
    """Give what the crews load of a material, by the jobs whose estimates fetch it and have none of it delivered."""
    if material not in FETCHED_BY_CREW:
        return pd.Series(dtype=float)
    names = {task.quantity: task.task for task in job_tasks(rates)}
    by_job = tasks.pivot_table(index="job_id", columns="task", values="quantity", aggfunc="sum")
    fetched, delivered, loaded = (
        by_job.get(names[quantity], pd.Series(0.0, by_job.index)).fillna(0.0)
        for quantity in (f"{material}_fetch_count", f"{material}_trip_count", FETCHED_BY_CREW[material])
    )  # fmt: skip
    return loaded[(fetched > 0) & (delivered == 0)]


def _pots(planted: pd.DataFrame, species: Mapping[str, Plant]) -> Iterator[pd.DataFrame]:
    for key, own in planted.groupby(["plant", "plant_size"], sort=False):
        plant, size = map(str, key)
        counts = own.groupby("job_id", sort=False)["plant_count"].sum()
        flat = species[plant].flat_count if plant else 1
        name = species[plant].one if plant else "plant without a name"
        sold = ceil(counts.sum() / flat), f"flats of {flat}" if flat > 1 else "pots"
        yield _rows(f"{name}, {size_words(size)}", "pot", counts, 1.0, sold)


def _sold(material: Material, needed: float, rates: RateBook) -> tuple[float, str]:
    """Round a sum up to what is sold, and say in what and how it comes."""
    if material.unit in BULK:
        one, step = BULK[material.unit]
        per_yd3 = rates.gravel_ton_per_yd3.value if material.unit == "ton" else 1.0
        if needed / per_yd3 > rates.own_trailer_yd3.value:
            return max(_up(needed, 1.0), LEAST_DELIVERED_YD3), f"whole {one}s, delivered"
        return _up(needed, step), f"{one}s, to the shop"
    sold_by, sold_as = {
        "ft": (rates.edging_stick_ft.value, f"sticks of {rates.edging_stick_ft.value:g} ft"),
        "ft2": (prod(ROLL_FT), f"rolls of {ROLL_FT[0]} × {ROLL_FT[1]} ft"),
    }.get(material.unit, (1.0, "sets"))
    return _up(needed / sold_by, 1.0), sold_as


def _up(amount: float, step: float) -> float:
    """Round up to whole steps; 2.2 × 1.1 is not above 2.42."""
    return round(ceil(round(amount / step, DECIMALS)) * step, DECIMALS)


def _rows(
    name: str, unit: str, amounts: pd.Series[float], step: float, sold: tuple[float, str]
) -> pd.DataFrame:
    parts = round_parts(amounts.to_numpy(float), step)
    order, sold_as = sold
    return pd.DataFrame({
        "material": name, "job_id": ["", *amounts.index], "needed": [sum(parts), *parts], "unit": unit,
        "order": [float(order)] + [0.0] * len(parts), "sold_as": [sold_as] + [""] * len(parts),
    }).round({"needed": DECIMALS})  # fmt: skip


def round_parts(amounts: np.ndarray, step: float) -> list[float]:
    """
    Round parts to `step`, same unit, so that as printed they add up to their sum as printed.

    Each is less than a step off; what was cut off most is rounded up.

    >>> round_parts(np.array([0.25, 0.25, 0.25]), 0.1)
    [0.3, 0.3, 0.2]
    """
    whole = np.floor(np.round(amounts / step, DECIMALS)).astype(int)
    total = floor(round(amounts.sum() / step, DECIMALS) + 0.5)
    order = np.argsort(whole * step - amounts, kind="stable")
    whole[order[: total - whole.sum()]] += 1
    return [round(int(count) * step, DECIMALS) for count in whole]
