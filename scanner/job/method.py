"""How the sod is stripped: by hand, with a sod cutter or with a loader."""

from __future__ import annotations

import numpy as np
import pandas as pd

from scanner.job.counting import FloatArray, whole_steps
from scanner.job.quantities import ground_ft2, kept, skim_depth_in
from scanner.schema.documents import BreakEven, RateBook
from scanner.schema.edge_kinds import STREET_SIDE
from scanner.schema.tables import METHODS, OFFER_BEDS, check_table
from scanner.units import FT2_IN_PER_YD3

GATE_COLUMN = "gate_in"
"""Width of the gate as a crew measured it [in]; no such column, or NaN: not measured."""


def choose_method(offer_beds: pd.DataFrame, *, rates: RateBook) -> pd.DataFrame:
    """
    Choose the cheapest way of stripping for each offer.

    Parameters
    ----------
    offer_beds
        Table `OFFER_BEDS`, n rows [ft²]; skipped beds are left out. It may hold
        `GATE_COLUMN`.
    rates
        Labour, machine and depth rates.

    Returns
    -------
    methods
        One row an offer, in the order of `offer_beds`: `offer_id`, `method`.

    Raises
    ------
    SchemaError
        If `offer_beds` breaks its schema.

    Notes
    -----
    Compared are digging, loading by hand and the machine's rental. The strip along a
    wall and ground where only hand digging is right are dug by hand whatever the
    method; a loader goes only where no gate is in its way. Ties go to the hand.

    Examples
    --------
    >>> from scanner.schema.documents import Rate
    >>> from scanner.schema.tables import empty_table
    >>> one = Rate(value=1, low=1, high=1, source="an example")
    >>> rates = RateBook.model_construct(**dict.fromkeys(RateBook.model_fields, one))
    >>> choose_method(empty_table(OFFER_BEDS), rates=rates).columns.tolist()
    ['offer_id', 'method']
    """
    offer_beds = kept(check_table(offer_beds, OFFER_BEDS))
    codes, offer_ids = pd.factorize(offer_beds["offer_id"])
    costs_usd = np.column_stack([
        _strip_usd(strip_work(offer_beds, np.full(len(offer_beds), method), rates=rates), codes, rates)
        for method in METHODS
    ])  # fmt: skip
    cheapest = np.round(costs_usd, 6).argmin(axis=1)
    return pd.DataFrame(
        {"offer_id": offer_ids, "method": np.array(METHODS, dtype=object)[cheapest]}
    ).astype("str")


def strip_work(offer_beds: pd.DataFrame, methods: np.ndarray, *, rates: RateBook) -> pd.DataFrame:
    """
    Divide the stripping of each bed between hand and machine.

    Parameters
    ----------
    offer_beds
        Table `OFFER_BEDS`, kept rows, n of them [ft²].
    methods
        One of `METHODS` a row.
    rates
        Depths [in] and swell.

    Returns
    -------
    work
        On the index of `offer_beds`: `hand_yd3`, `skim_yd3`, `cutter_ft2`,
        `cutter_yd3`, `loader_yd3` (bank) and `load_yd3` (loose, loaded by hand).
    """
    cut_in, skim_in = rates.cut_depth_in.value, skim_depth_in(rates)
    ground = ground_ft2(offer_beds)
    machine_ft2 = (ground - offer_beds["hand_dig_ft2"]).clip(lower=0.0)
    cutter_ft2 = machine_ft2.where(methods == "sod cutter", 0.0)
    loader_ft2 = machine_ft2.where((methods == "loader") & _is_open(offer_beds, rates), 0.0)
    skim_yd3 = offer_beds["wall_strip_ft2"] * skim_in / FT2_IN_PER_YD3
    cutter_yd3 = cutter_ft2 * skim_in / FT2_IN_PER_YD3
    loader_yd3 = loader_ft2 * cut_in / FT2_IN_PER_YD3
    hand_yd3 = (ground * cut_in / FT2_IN_PER_YD3 - cutter_yd3 - loader_yd3).clip(lower=0.0)
    return pd.DataFrame({
        "hand_yd3": hand_yd3,
        "skim_yd3": skim_yd3,
        "cutter_ft2": cutter_ft2,
        "cutter_yd3": cutter_yd3,
        "loader_yd3": loader_yd3,
        "load_yd3": (hand_yd3 + skim_yd3 + cutter_yd3) * rates.swell_ratio.value,
    })  # fmt: skip


def _is_open(offer_beds: pd.DataFrame, rates: RateBook) -> np.ndarray:
    at_front = (offer_beds["along"] == "house") & (offer_beds["face"] == "front")
    # A loader reaches these from the street, and a front wall; the rest is behind a gate
    is_open = offer_beds["along"].isin(STREET_SIDE) | at_front
    if GATE_COLUMN in offer_beds:
        is_open |= offer_beds[GATE_COLUMN] >= rates.loader_gate_in.value
    return is_open.to_numpy()


def machine_days(cutter_ft2: FloatArray, loader_yd3: FloatArray, *, rates: RateBook) -> FloatArray:
    """
    Count the days for which the machines are rented.

    Parameters
    ----------
    cutter_ft2
        Ground cut, one an offer [ft²].
    loader_yd3
        Soil dug, one an offer [bank yd³].
    rates
        The machines' paces, length of a day [h].

    Returns
    -------
    days
        Two columns, sod cutter and loader; whole days.
    """
    hours = np.column_stack([
        cutter_ft2 / rates.sod_cutter_ft2_per_hour.value,
        loader_yd3 * rates.loader_hours_per_yd3.value,
    ])  # fmt: skip
    return whole_steps(hours / rates.day_hours.value, 1.0)


def _strip_usd(work: pd.DataFrame, codes: np.ndarray, rates: RateBook) -> FloatArray:
    sums = work.groupby(codes).sum()
    hours = (
        (sums["hand_yd3"] + sums["skim_yd3"]) * rates.dig_hand_hours_per_yd3.value
        + sums["cutter_ft2"] / rates.sod_cutter_ft2_per_hour.value
        + sums["cutter_yd3"] * rates.barrow_hours_per_yd3.value
        + sums["loader_yd3"] * rates.loader_hours_per_yd3.value
        + sums["load_yd3"] / rates.load_trailer_yd3_per_hour.value
    ).to_numpy()
    days = machine_days(sums["cutter_ft2"].to_numpy(), sums["loader_yd3"].to_numpy(), rates=rates)
    rental_usd = days @ np.array(
        [rates.sod_cutter_usd_per_day.value, rates.loader_usd_per_day.value]
    )
    strip_usd: FloatArray = hours * rates.labor_usd_per_hour.value + rental_usd
    return strip_usd


def break_even_areas(rates: RateBook) -> BreakEven:
    """
    Work out from which area on a machine beats digging by hand.

    Parameters
    ----------
    rates
        Labour, machine and depth rates.

    Returns
    -------
    break_even
        Areas within one day's rental [ft²].

    Notes
    -----
    Rental over what the machine saves in labour on a square foot. The sod cutter saves
    the digging of the sod, not its barrowing; the loader saves digging and loading.
    """
    hand_yd3_per_ft2 = rates.cut_depth_in.value / FT2_IN_PER_YD3
    sod_yd3_per_ft2 = skim_depth_in(rates) / FT2_IN_PER_YD3
    dig_hours = rates.dig_hand_hours_per_yd3.value
    load_hours = rates.swell_ratio.value / rates.load_trailer_yd3_per_hour.value
    cutter_saves_hours = (
        sod_yd3_per_ft2 * (dig_hours - rates.barrow_hours_per_yd3.value)
        - 1.0 / rates.sod_cutter_ft2_per_hour.value
    )
    loader_saves_hours = hand_yd3_per_ft2 * (
        dig_hours + load_hours - rates.loader_hours_per_yd3.value
    )
    return BreakEven(
        cutter_ft2=_rental_area(rates.sod_cutter_usd_per_day.value, cutter_saves_hours, rates),
        loader_ft2=_rental_area(rates.loader_usd_per_day.value, loader_saves_hours, rates),
    )


def _rental_area(day_usd: float, saved_hours_per_ft2: float, rates: RateBook) -> float:
    saved_usd_per_ft2 = saved_hours_per_ft2 * rates.labor_usd_per_hour.value
    return day_usd / saved_usd_per_ft2 if saved_usd_per_ft2 > 0 else float("inf")
