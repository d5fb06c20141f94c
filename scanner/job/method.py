"""How the sod is stripped: by hand, with a sod cutter, with a loader, or with both."""

from __future__ import annotations

import numpy as np
import pandas as pd

from scanner.job.counting import FloatArray, whole_steps
from scanner.job.quantities import ground_ft2
from scanner.schema.documents import BreakEven, RateBook
from scanner.schema.edge_kinds import STREET_SIDE
from scanner.schema.tables import METHODS
from scanner.units import FT2_IN_PER_YD3

HAND, CUTTER, LOADER, BOTH = METHODS

GATE_COLUMN = "gate_in"
"""Width of the gate as a crew measured it [in]; no such column, or NaN: not measured."""

AREAS_FT2: FloatArray = np.arange(10.0, 20_001.0, 10.0)
"""Areas on which the methods are compared for the order of the cheapest."""


def choose_method(offer_beds: pd.DataFrame, codes: np.ndarray, *, rates: RateBook) -> np.ndarray:
    """
    Choose the cheapest way of stripping for each offer.

    Parameters
    ----------
    offer_beds
        Table `OFFER_BEDS`, m kept rows [ft²]; it may hold `GATE_COLUMN`.
    codes
        Offer of each bed: 0 to n - 1.
    rates
        Labor, machine and depth rates.

    Returns
    -------
    methods
        One of `METHODS` an offer, n of them.

    Notes
    -----
    Compared is everything that depends on the method: digging, cutting, loading, barrowing,
    the machines' days with their fetching, transport and set-up. Ties go to the earlier.
    """
    costs_usd = np.column_stack([
        strip_usd(strip_work(offer_beds, np.full(len(offer_beds), method), rates=rates), codes, rates)
        for method in METHODS
    ])  # fmt: skip
    return np.array(METHODS, dtype=object)[np.round(costs_usd, 6).argmin(axis=1)]


def strip_work(offer_beds: pd.DataFrame, methods: np.ndarray, *, rates: RateBook) -> pd.DataFrame:
    """
    Divide the stripping of each bed between hands and machines.

    Parameters
    ----------
    offer_beds
        Table `OFFER_BEDS`, n kept rows [ft²].
    methods
        One of `METHODS` a row.
    rates
        Depths [in], share of an edge that a bucket leaves, swell.

    Returns
    -------
    work
        On the index of `offer_beds`, bank yd³ unless said: `hand_yd3` dug, `skim_yd3`
        skimmed along a wall, `cutter_ft2` cut [ft²], `sod_yd3` of cut sod that hands take,
        `loader_yd3` and `after_cut_yd3` dug with the loader, `barrow_yd3` barrowed,
        `load_yd3` loaded by hand (loose).

    Notes
    -----
    With g = area less the wall's strip, m = g less ground where only hands may dig, D the
    depth of the strip and c the cutter's cut, at most D: hands dig g D less what a machine
    takes; the cutter's sod, m c, is only loaded; a loader takes m D of open beds but for
    the share along an edge, and all of it where the sod was cut first. A volume is ft² · in
    over 324. What hands handle is loaded and, except at a curb, where the trailer stands,
    barrowed.
    """
    depth_in = rates.cut_depth_in.value
    cut_in = min(rates.sod_cutter_cut_in.value, depth_in)
    ground = ground_ft2(offer_beds)
    machine_ft2 = (ground - offer_beds["hand_dig_ft2"]).clip(lower=0.0)
    is_open = _is_open(offer_beds, rates)
    is_cut = np.isin(methods, [CUTTER, BOTH])
    by_loader = machine_ft2.where(is_open & np.isin(methods, [LOADER, BOTH]), 0.0)
    full_yd3 = by_loader * depth_in / FT2_IN_PER_YD3
    loader_yd3 = full_yd3.where(methods == LOADER, 0.0) * (1.0 - rates.loader_hand_share.value)
    after_cut_yd3 = full_yd3.where(methods == BOTH, 0.0)
    cutter_ft2 = machine_ft2.where(is_cut, 0.0)
    sod_yd3 = (cutter_ft2 - by_loader).clip(lower=0.0) * cut_in / FT2_IN_PER_YD3
    hand_yd3 = ground * depth_in / FT2_IN_PER_YD3 - sod_yd3 - loader_yd3 - after_cut_yd3
    hand_yd3 = hand_yd3.clip(lower=0.0)
    skim_yd3 = offer_beds["wall_strip_ft2"] * rates.skim_depth_in.value / FT2_IN_PER_YD3
    handled_yd3 = hand_yd3 + skim_yd3 + sod_yd3
    return pd.DataFrame({
        "hand_yd3": hand_yd3,
        "skim_yd3": skim_yd3,
        "cutter_ft2": cutter_ft2,
        "sod_yd3": sod_yd3,
        "loader_yd3": loader_yd3,
        "after_cut_yd3": after_cut_yd3,
        "barrow_yd3": handled_yd3.where(offer_beds["along"] != "curb", 0.0),
        "load_yd3": handled_yd3 * rates.swell_ratio.value,
    })  # fmt: skip


def _is_open(offer_beds: pd.DataFrame, rates: RateBook) -> np.ndarray:
    at_front = (offer_beds["along"] == "house") & (offer_beds["face"] == "front")
    # A loader reaches these from the street, and a front wall; the rest is behind a gate
    is_open = offer_beds["along"].isin(STREET_SIDE) | at_front
    if GATE_COLUMN in offer_beds:
        is_open |= offer_beds[GATE_COLUMN] >= rates.loader_gate_in.value
    return is_open.to_numpy()


def machine_days(sums: pd.DataFrame, *, rates: RateBook) -> pd.DataFrame:
    """
    Count the days for which the machines are there.

    Parameters
    ----------
    sums
        What `strip_work` gives, one row an offer.
    rates
        The machines' paces, crew, length of a day [h], which machines are owned.

    Returns
    -------
    days
        On the index of `sums`: `cutter_day_count`, `loader_day_count`, whole days;
        `cutter_fetch_count` and `loader_trip_count`, what a rented one is fetched or
        brought: the cutter each day, the loader once a job.

    Notes
    -----
    The cutter takes one pair of hands, the loader an operator and a helper, who are the crew.
    """
    cutter_hours = sums["cutter_ft2"] / rates.sod_cutter_ft2_per_hour.value
    loader_hours = (
        sums["loader_yd3"] * rates.loader_hours_per_yd3.value
        + sums["after_cut_yd3"] * rates.loader_after_cut_hours_per_yd3.value
    ) / rates.crew_count.value
    cutter, loader = (
        whole_steps((hours / rates.day_hours.value).to_numpy(float), 1.0)
        for hours in (cutter_hours, loader_hours)
    )
    return pd.DataFrame({
        "cutter_day_count": cutter,
        "cutter_fetch_count": cutter * (rates.sod_cutter_owned == "no"),
        "loader_day_count": loader,
        "loader_trip_count": (loader > 0) * (rates.loader_owned == "no"),
    }, index=sums.index)  # fmt: skip


def day_rates(rates: RateBook) -> tuple[str, str]:
    """
    Name the rates of a day of the sod cutter and of the loader.

    Parameters
    ----------
    rates
        Which machines are owned.

    Returns
    -------
    cutter_key, loader_key
        Names in the rate book.
    """
    return (
        "sod_cutter_owned_usd_per_day"
        if rates.sod_cutter_owned == "yes"
        else "sod_cutter_usd_per_day",
        "loader_owned_usd_per_day" if rates.loader_owned == "yes" else "loader_usd_per_day",
    )


def strip_usd(work: pd.DataFrame, codes: np.ndarray, rates: RateBook) -> FloatArray:
    """
    Cost the stripping: the part of a price that the method decides.

    Parameters
    ----------
    work
        What `strip_work` gives, one row a bed.
    codes
        Offer of each bed: 0 to n - 1.
    rates
        Labor, paces, machines.

    Returns
    -------
    cost_usd
        One an offer [USD].
    """
    sums = work.groupby(codes).sum()
    days = machine_days(sums, rates=rates)
    cutter_key, loader_key = day_rates(rates)
    hours = (
        (sums["hand_yd3"] + sums["skim_yd3"]) * rates.dig_hand_hours_per_yd3.value
        + sums["cutter_ft2"] / rates.sod_cutter_ft2_per_hour.value
        + sums["barrow_yd3"] * rates.barrow_hours_per_yd3.value
        + sums["loader_yd3"] * rates.loader_hours_per_yd3.value
        + sums["after_cut_yd3"] * rates.loader_after_cut_hours_per_yd3.value
        + sums["load_yd3"] / rates.load_trailer_yd3_per_hour.value
        + days["cutter_fetch_count"] * rates.sod_cutter_fetch_hours.value
        + days["loader_day_count"] * rates.loader_setup_hours.value
    )
    cost_usd: FloatArray = (
        hours * rates.labor_usd_per_hour.value
        + days["cutter_day_count"] * getattr(rates, cutter_key).value
        + days["loader_day_count"] * getattr(rates, loader_key).value
        + days["loader_trip_count"] * rates.loader_transport_usd.value
    ).to_numpy(float)
    return cost_usd


def break_even_areas(rates: RateBook) -> BreakEven:
    """
    Work out from which area on which method is the cheapest, at a curb and elsewhere.

    Parameters
    ----------
    rates
        Labor, machine and depth rates.

    Returns
    -------
    break_even
        In steps of 10 ft², for ground without a wall or anything to dig round by hand.

    Examples
    --------
    >>> break_even_areas.__name__
    'break_even_areas'
    """
    return BreakEven(*(_cheapest_in_order(along, rates) for along in ("curb", "sidewalk")))


def _cheapest_in_order(along: str, rates: RateBook) -> tuple[tuple[str, float], ...]:
    """Each method that is the cheapest somewhere, with the first area from which it is so for good or for a while."""
    blank = pd.DataFrame({
        "area_ft2": AREAS_FT2, "wall_strip_ft2": 0.0, "hand_dig_ft2": 0.0, "along": along, "face": "",
    })  # fmt: skip
    cheapest = choose_method(blank, np.arange(len(blank)), rates=rates)
    changes = np.flatnonzero(cheapest[1:] != cheapest[:-1]) + 1
    return ((str(cheapest[0]), 0.0), *((str(cheapest[at]), float(AREAS_FT2[at])) for at in changes))
