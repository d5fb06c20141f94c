"""How the sod is stripped: by hand, with a sod cutter, with a loader, or with both; whether to rent or own."""

from __future__ import annotations

import numpy as np
import pandas as pd

from scanner.job.counting import Amounts, FloatArray, IntArray, whole_steps
from scanner.schema.documents import BreakEven, MachineUse, RateBook
from scanner.schema.tables import METHODS
from scanner.units import FT2_IN_PER_YD3

HAND, CUTTER, LOADER, BOTH = METHODS

AREAS_FT2: FloatArray = np.arange(10.0, 20_001.0, 10.0)
"""Areas on which the methods are compared for the order of the cheapest."""

MACHINES = {"sod cutter": ("sod_cutter_owned", "cutter"), "loader": ("loader_owned", "loader")}
"""By machine: what says whether it is owned, and its days as `machine_days` counts them."""


def choose_method(beds: Amounts, starts: IntArray, *, rates: RateBook) -> np.ndarray:
    """
    Choose the cheapest way of stripping for each offer: one of `METHODS`, ties to the earlier.

    Beds [ft²] of an offer stand together, its first one at `starts`. Compared is everything that
    depends on the method: digging, cutting, loading, barrowing, the machines' days with their
    fetching, transport and set-up.
    """
    ways, count = np.array(METHODS, dtype=object), len(beds["ground_ft2"])
    # All ways at once, one behind the other: one by one they take four times as long over a few beds
    every = {name: np.tile(amounts, len(ways)) for name, amounts in beds.items()}
    work = strip_work(every, np.repeat(ways, count), rates=rates)
    first = starts + count * np.arange(len(ways))[:, None]
    costs_usd = strip_usd(work, first.ravel(), rates).reshape(first.shape)
    return ways[np.round(costs_usd, 6).argmin(axis=0)]


def strip_work(beds: Amounts, methods: np.ndarray, *, rates: RateBook) -> dict[str, FloatArray]:
    """
    Divide the stripping of each bed between hands and machines: bank yd³ of n beds unless said.

    Takes `ground_ft2`, `wall_strip_ft2`, `machine_ft2`, `is_open`, `is_at_curb`; gives `hand_yd3`
    dug, `skim_yd3` skimmed along a wall, `cutter_ft2` cut [ft²], `sod_yd3` of cut sod that hands
    take, `loader_yd3` and `after_cut_yd3` dug with the loader, `barrow_yd3` barrowed, `load_yd3`
    loaded by hand (loose).

    With g the ground off the wall, m what of it machines may dig, D the depth of the strip and c
    the cutter's cut, at most D: hands dig g D less what a machine takes; the cutter's sod, m c, is
    only loaded; a loader takes m D of open beds but for the share along an edge, and all of it
    where the sod was cut first. A volume is ft² · in over 324. What hands handle is loaded and,
    except at a curb, where the trailer stands, barrowed.
    """
    depth_in = rates.cut_depth_in.value
    cut_in = min(rates.sod_cutter_cut_in.value, depth_in)
    is_both = methods == BOTH
    is_cut, is_loaded = is_both | (methods == CUTTER), is_both | (methods == LOADER)
    by_loader = np.where(beds["is_open"] & is_loaded, beds["machine_ft2"], 0.0)
    full_yd3 = by_loader * depth_in / FT2_IN_PER_YD3
    loader_yd3 = np.where(is_both, 0.0, full_yd3) * (1.0 - rates.loader_hand_share.value)
    after_cut_yd3 = np.where(is_both, full_yd3, 0.0)
    cutter_ft2 = np.where(is_cut, beds["machine_ft2"], 0.0)
    sod_yd3 = np.maximum(cutter_ft2 - by_loader, 0.0) * cut_in / FT2_IN_PER_YD3
    dug_yd3 = beds["ground_ft2"] * depth_in / FT2_IN_PER_YD3
    hand_yd3 = np.maximum(dug_yd3 - sod_yd3 - loader_yd3 - after_cut_yd3, 0.0)
    skim_yd3 = beds["wall_strip_ft2"] * rates.skim_depth_in.value / FT2_IN_PER_YD3
    handled_yd3 = hand_yd3 + skim_yd3 + sod_yd3
    return {
        "hand_yd3": hand_yd3,
        "skim_yd3": skim_yd3,
        "cutter_ft2": cutter_ft2,
        "sod_yd3": sod_yd3,
        "loader_yd3": loader_yd3,
        "after_cut_yd3": after_cut_yd3,
        "barrow_yd3": np.where(beds["is_at_curb"], 0.0, handled_yd3),
        "load_yd3": handled_yd3 * rates.swell_ratio.value,
    }


def machine_days(sums: Amounts, *, rates: RateBook) -> dict[str, FloatArray]:
    """
    Count the days for which the machines are there, from what `strip_work` gives, added up by offer.

    A rented cutter is fetched each day, a rented loader brought once a job. The cutter takes one
    pair of hands, the loader an operator and a helper, who are the crew.
    """
    cutter_hours = sums["cutter_ft2"] / rates.sod_cutter_ft2_per_hour.value
    loader_hours = (
        sums["loader_yd3"] * rates.loader_hours_per_yd3.value
        + sums["after_cut_yd3"] * rates.loader_after_cut_hours_per_yd3.value
    ) / rates.crew_count.value
    cutter, loader = (
        whole_steps(hours / rates.day_hours.value, 1.0) for hours in (cutter_hours, loader_hours)
    )
    return {
        "cutter_day_count": cutter,
        "cutter_fetch_count": cutter * (rates.sod_cutter_owned == "no"),
        "loader_day_count": loader,
        "loader_trip_count": np.where(loader > 0, float(rates.loader_owned == "no"), 0.0),
    }


def day_rates(rates: RateBook) -> tuple[str, str]:
    """Name the rates of a day of the sod cutter and of the loader: rented, or owned."""
    return (
        "sod_cutter_owned_usd_per_day"
        if rates.sod_cutter_owned == "yes"
        else "sod_cutter_usd_per_day",
        "loader_owned_usd_per_day" if rates.loader_owned == "yes" else "loader_usd_per_day",
    )


def strip_usd(work: Amounts, starts: IntArray, rates: RateBook) -> FloatArray:
    """Cost the stripping of each offer [USD]: the part of a price that the method decides."""
    sums = {name: np.add.reduceat(amounts, starts) for name, amounts in work.items()}
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
    )
    return cost_usd


def break_even_areas(rates: RateBook) -> BreakEven:
    """
    Work out from which area on which method is the cheapest, at a curb and elsewhere.

    In steps of 10 ft², for ground without a wall or anything to dig round by hand.
    """
    areas_ft2 = np.tile(AREAS_FT2, 2)
    plain = {
        "ground_ft2": areas_ft2, "machine_ft2": areas_ft2, "wall_strip_ft2": np.zeros_like(areas_ft2),
        "is_open": areas_ft2 > 0, "is_at_curb": np.arange(len(areas_ft2)) < len(AREAS_FT2),
    }  # fmt: skip
    cheapest = choose_method(plain, np.arange(len(areas_ft2)), rates=rates)
    return BreakEven(*map(_in_order, np.split(cheapest, 2)))


def _in_order(cheapest: np.ndarray) -> tuple[tuple[str, float], ...]:
    """Each method that is the cheapest somewhere, with the first area from which it is so for good or for a while."""
    changes = np.flatnonzero(cheapest[1:] != cheapest[:-1]) + 1
    return ((str(cheapest[0]), 0.0), *((str(cheapest[at]), float(AREAS_FT2[at])) for at in changes))


def use_machines(
    quantities: pd.DataFrame, chances: pd.Series[float], *, rates: RateBook
) -> tuple[MachineUse, ...]:
    """
    Count the machine-days of a list, with each machine rented and with it owned.

    `quantities`: table `QUANTITIES` [ft²], other offers too; `chances`: of a sale, by offer on the
    list. Every job takes the cheapest way for it, so an owned machine comes to jobs on which a
    rented one does not pay.
    """
    at = pd.Index(chances.index).get_indexer(pd.Index(quantities["offer_id"]))
    listed = quantities[at >= 0].assign(offer=at[at >= 0]).sort_values("offer", kind="stable")
    if listed.empty:
        return ()
    names = ("ground_ft2", "wall_strip_ft2", "machine_ft2", "is_open", "is_at_curb")
    beds = {name: listed[name].to_numpy() for name in names}
    offer, starts = np.unique(listed["offer"].to_numpy(), return_index=True)
    chance = chances.to_numpy(float)[offer]
    uses = []
    for machine, (owned, name) in MACHINES.items():
        days, costs_usd = list[np.ndarray](), list[np.ndarray]()
        for word in ("no", "yes"):
            own_rates = rates.model_copy(update={owned: word})
            methods = np.repeat(
                choose_method(beds, starts, rates=own_rates), np.diff([*starts, len(listed)])
            )
            work = strip_work(beds, methods, rates=own_rates)
            sums = {key: np.add.reduceat(amount, starts) for key, amount in work.items()}
            days.append(machine_days(sums, rates=own_rates)[f"{name}_day_count"])
            costs_usd.append(strip_usd(work, starts, own_rates))
        told = (*days, costs_usd[0] - costs_usd[1])
        expected, whole = (
            [float(weight @ each) for each in told] for weight in (chance, np.ones(len(chance)))
        )
        uses.append(
            MachineUse(machine, expected[0], whole[0], expected[1], whole[1], expected[2], whole[2])
        )
    return tuple(uses)
