"""Rent or own."""

from __future__ import annotations

import pandas as pd
import pytest

from scanner.job.method import use_machines
from tests.job.job_cases import STANDARD


def beds(*areas_ft2):
    """Beds at a curb, an offer each."""
    return pd.DataFrame({
        "offer_id": [f"{area:g}" for area in areas_ft2], "ground_ft2": areas_ft2, "machine_ft2": areas_ft2,
        "wall_strip_ft2": 0.0, "is_open": True, "is_at_curb": True,
    })  # fmt: skip


def uses(quantities, **chances):
    found = use_machines(
        quantities,
        pd.Series({k.lstrip("a"): v for k, v in chances.items()}),
        rates=STANDARD,
    )
    return {use.machine: use for use in found}


def test_days_and_savings_of_a_cutter():
    # At a curb a rented cutter is the cheapest from 480 ft², an own one from 120 ft²; a day each
    cutter = uses(beds(100.0, 240.0, 500.0), a100=0.1, a240=0.1, a500=0.2)["sod cutter"]
    assert (cutter.rented_days, cutter.rented_days_all) == pytest.approx((0.2, 1.0))
    assert (cutter.owned_days, cutter.owned_days_all) == pytest.approx((0.3, 2.0))
    # 500 ft²: $70 of day rate and the hour of fetching, $28. 240 ft²: by hand 240 × 3/324 × (1.75 +
    # 1.25/2) × 28 = 147.78; cut: 240/900 h, 1 in of 3 dug, all loaded: (0.26667 + 240/324 × 1.75 +
    # 240 × 3/324 × 0.625) × 28 + 30 = 112.65
    saved = {
        500: 98.0,
        240: 240 * 3 / 324 * 2.375 * 28
        - ((240 / 900 + 240 / 324 * 1.75 + 240 * 3 / 324 * 0.625) * 28 + 30),
    }
    assert cutter.saved_usd_all == pytest.approx(saved[500] + saved[240])
    assert cutter.saved_usd == pytest.approx(0.2 * saved[500] + 0.1 * saved[240])


def test_beds_of_an_offer_share_a_day_and_other_offers_count_nowhere():
    two = beds(240.0, 260.0, 900.0).assign(offer_id=["two", "two", "other"])
    cutter = uses(two, two=0.5)["sod cutter"]
    assert (cutter.rented_days, cutter.rented_days_all) == (0.5, 1.0)


def test_no_list_no_machines():
    assert use_machines(beds(500.0), pd.Series(dtype=float), rates=STANDARD) == ()
