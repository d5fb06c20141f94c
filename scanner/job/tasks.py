"""
The tasks that a price is made of: what is counted, at which rates of the book.

Two lists: tasks that belong to one bed, and tasks, purchases and fees that the beds
of an offer share. A task's rate is the product of its factors in the rate book; a
pace (``_per_hour``) enters as its inverse, minutes enter as hours.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import prod

from scanner.job.method import day_rates
from scanner.schema.documents import RateBook
from scanner.schema.rate_book import LABOR, WASTE, factor


@dataclass(frozen=True)
class Task:
    """One line of a price."""

    task: str  # what it is for, in words
    quantity: str  # column that holds how much of it there is
    unit: str  # unit of the quantity
    keys: tuple[str, ...]  # names in the rate book whose factors make up the price of one unit
    # names in the rate book that went into the quantity: they widen the range too
    scaled_by: tuple[str, ...] = ()
    is_labor: bool = False  # whether its hours count as crew time

    @property
    def rate_key(self) -> str:
        """Name the rates in the way that line items do, joined by ``*``."""
        return "*".join(self.keys)


def _work(task: str, quantity: str, unit: str, *keys: str, by: tuple[str, ...] = ()) -> Task:
    return Task(task, quantity, unit, (*keys, LABOR), scaled_by=by, is_labor=True)


def _cost(task: str, quantity: str, unit: str, *keys: str, by: tuple[str, ...] = ()) -> Task:
    return Task(task, quantity, unit, keys, scaled_by=by)


def bed_tasks(rates: RateBook) -> tuple[Task, ...]:
    """
    List the tasks that belong to one bed, one a line of the price, in the order of the work.

    >>> [task.task for task in bed_tasks(RateBook.model_construct())][0]
    'dig out by hand'
    """
    heads = ("heads_per_100ft",)
    return (
        _work("dig out by hand", "hand_yd3", "yd3", "dig_hand_hours_per_yd3"),
        _work("skim the sod along the wall by hand", "skim_yd3", "yd3", "dig_hand_hours_per_yd3"),
        _work("cut the sod with the sod cutter", "cutter_ft2", "ft2", "sod_cutter_ft2_per_hour"),
        _work("dig out and load with the loader", "loader_yd3", "yd3", "loader_hours_per_yd3"),
        _work(
            "take up cut sod and dig with the loader", "after_cut_yd3", "yd3",
            "loader_after_cut_hours_per_yd3",
        ),
        _work("barrow to the trailer", "barrow_yd3", "yd3", "barrow_hours_per_yd3"),
        _work("load the trailer by hand", "load_yd3", "yd3 loose", "load_trailer_yd3_per_hour"),
        _work("cap or convert sprinkler heads", "head_count", "head", "head_hours", by=heads),
        _cost("parts for sprinkler heads", "head_count", "head", "head_usd", by=heads),
        _work("set edging", "edging_ft", "ft", "set_edging_ft_per_hour"),
        _work("spread compost", "compost_yd3", "yd3", "spread_compost_yd3_per_hour"),
        _work("till compost in", "till_ft2", "ft2", "till_ft2_per_hour"),
        *_planting("plant", "plants", "plant_count", rates.plant_size),
        *_planting("plant shrubs", "shrubs", "accent_count", rates.accent_size),
        _work("lay fabric", "fabric_ft2", "ft2", "lay_fabric_ft2_per_hour"),
        _work("spread mulch", "mulch_yd3", "yd3", "spread_mulch_yd3_per_hour"),
        _work("spread gravel", "gravel_yd3", "yd3", "spread_gravel_yd3_per_hour"),
    )  # fmt: skip


def _planting(work: str, what: str, quantity: str, size: str) -> tuple[Task, ...]:
    usd, minutes = f"plant_{size}_usd", f"plant_{size}_minutes"
    warranty = "plant_warranty_share"
    return (
        _work(work, quantity, "plant", minutes),
        _work(f"water in {what}", quantity, "plant", "water_in_minutes"),
        _cost(what, quantity, "plant", usd),
        _cost(f"warranty on {what}", quantity, "plant", warranty, usd),
        _cost(f"warranty on planting {what}", quantity, "plant", warranty, minutes, LABOR),
    )


def job_tasks(rates: RateBook) -> tuple[Task, ...]:
    """
    List the tasks, purchases and fees that the beds of an offer share, one a line of the price.

    >>> [task.task for task in job_tasks(RateBook.model_construct()) if task.is_labor][:2]
    ['haul away', 'set up and clean up']
    """
    waste, gravel = (WASTE,), (WASTE, "gravel_ton_per_yd3")
    cutter_key, loader_key = day_rates(rates)
    return (
        _work("haul away", "load_count", "load", "haul_hours_per_load"),
        _work("set up and clean up", "day_count", "day", "setup_hours_per_day"),
        _work("fetch the sod cutter", "cutter_fetch_count", "day", "sod_cutter_fetch_hours"),
        _work("set up the loader", "loader_day_count", "day", "loader_setup_hours"),
        _work("fetch mulch", "mulch_fetch_count", "trip", "fetch_hours"),
        _work("fetch gravel", "gravel_fetch_count", "trip", "fetch_hours"),
        _cost("edging, whole sticks", "edging_order_ft", "ft", "edging_usd_per_ft"),
        _cost("compost, by the half yard", "compost_order_yd3", "yd3", "compost_usd_per_yd3"),
        _cost(
            "mulch with waste, by the half yard", "mulch_order_yd3", "yd3",
            "mulch_usd_per_yd3", by=waste,
        ),
        _cost("delivery of mulch", "mulch_trip_count", "trip", "mulch_delivery_usd"),
        _cost(
            "gravel with waste, by the tenth of a ton", "gravel_order_ton", "ton",
            "gravel_usd_per_ton", by=gravel,
        ),
        _cost("delivery of gravel", "gravel_trip_count", "trip", "gravel_delivery_usd"),
        _cost("fabric with waste", "fabric_order_ft2", "ft2", "fabric_usd_per_ft2", by=waste),
        _cost("sod cutter", "cutter_day_count", "day", cutter_key),
        _cost("loader", "loader_day_count", "day", loader_key),
        _cost("transport of the loader", "loader_trip_count", "job", "loader_transport_usd"),
        _cost("tiller", "tiller_day_count", "day", "tiller_usd_per_day"),
        _cost("tip fee", "tip_ton", "ton", "tip_fee_usd_per_ton"),
        _cost("mobilization", "day_count", "day", "mobilization_usd_per_day"),
    )  # fmt: skip


def unit_usd(task: Task, rates: RateBook, **moved: float) -> float:
    """Price one unit of a task [USD]; ``moved`` stands in for values of the book."""
    return prod(factor(key, moved.get(key, getattr(rates, key).value)) for key in task.keys)


def unit_hours(task: Task, rates: RateBook) -> float:
    """Tell the labor in one unit of a task [h]; none where the task is no crew time."""
    if not task.is_labor:
        return 0.0
    return prod(factor(key, getattr(rates, key).value) for key in task.keys if key != LABOR)
