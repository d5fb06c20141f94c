"""Counting in wholes: trailer loads, sticks, half yards, days, cents."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import numpy.typing as npt

from scanner.errors import RateError
from scanner.schema.documents import RateBook
from scanner.units import CENTS_PER_USD

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]

Amounts = Mapping[str, np.ndarray]
"""How much of each thing, one array a quantity, named as in `QUANTITIES` and by `tasks`."""

DECIMALS = 6
"""Rounded so before going up or to cents: 40 × 2.25 must stay 90 (trade values, section 2)."""


def whole_steps(amounts: FloatArray, step: float) -> FloatArray:
    """
    Round amounts up to whole steps, same unit.

    >>> whole_steps(np.array([2.444, 2.5, 0.0]), 0.5).tolist()
    [2.5, 2.5, 0.0]
    """
    rounded: FloatArray = np.ceil(np.round(amounts / step, DECIMALS)) * step
    return rounded


def whole_loads(loose_yd3: FloatArray, load_lb: FloatArray, *, rates: RateBook) -> IntArray:
    """Count trailer loads: the larger of by volume, loose [yd³], and by weight, wet [lb]."""
    by_volume = whole_steps(loose_yd3 / rates.trailer_volume_yd3.value, 1.0)
    by_weight = whole_steps(load_lb / rates.trailer_payload_lb.value, 1.0)
    loads: IntArray = np.maximum(by_volume, by_weight).astype(np.int64)
    return loads


def whole_days(work_hours: FloatArray, *, rates: RateBook) -> FloatArray:
    """
    Count the days, at least 1, that a crew comes, for labor without set-up [h].

    `RateError` if set-up alone fills the crew's day.

    Crew-days are rounded to the nearest day, half up: a crew stays on to finish up to
    half a day's rest, and comes again for more. Set-up is part of the crew-days and
    follows from the days; the days are the fewest that agree with themselves:
    the least d >= 1 with (work + d × set-up) / crew day < d + 1/2.
    """
    spare_hours = rates.crew_day_hours - rates.setup_hours_per_day.value
    if spare_hours <= 0:
        message = (
            f"setup_hours_per_day {rates.setup_hours_per_day.value:g} leaves nothing of a crew's day"
            f" of {rates.crew_day_hours:g} labor hours (crew_count × day_hours): lower it"
        )
        raise RateError(message)
    over = np.round((work_hours - rates.crew_day_hours / 2) / spare_hours, DECIMALS)
    days: FloatArray = np.maximum(np.floor(over) + 1.0, 1.0)
    return days


def whole_cents(amounts_usd: FloatArray) -> IntArray:
    """
    Round amounts [USD, none negative] to whole cents, half away from zero.

    >>> whole_cents(np.array([1.005, 2.5])).tolist()
    [101, 250]
    """
    # 1.005 × 100 is 100.49999999999999 in binary: settle the decimals first
    settled = np.round(np.asarray(amounts_usd) * CENTS_PER_USD, DECIMALS)
    cents: IntArray = np.floor(settled + 0.5).astype(np.int64)
    return cents
