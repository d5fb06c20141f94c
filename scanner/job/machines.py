"""Rent or own: on how many days the jobs of a list would use each machine, and what that saves."""

from __future__ import annotations

import numpy as np
import pandas as pd

from scanner.job.method import choose_method, machine_days, strip_usd, strip_work
from scanner.schema.documents import MachineUse, RateBook

MACHINES = {"sod cutter": ("sod_cutter_owned", "cutter"), "loader": ("loader_owned", "loader")}
"""By machine: what says whether it is owned, and its days as `machine_days` counts them."""


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
