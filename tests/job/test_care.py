"""Next spring's care, worked out by hand."""

from __future__ import annotations

from datetime import date

import numpy as np
import pandas as pd
import pytest

from scanner.job.care import (
    CARE_COLUMNS,
    CLIENT_COLUMNS,
    ROUTE_COLUMNS,
    plan_care,
    spring_after,
    sum_clients,
    sum_routes,
)
from tests.job.job_cases import clients, rate_book

RATES = rate_book(refresh_depth_in=1, weed_ft2_per_hour=500)


def people(**routes):
    table = clients(*routes)
    return table.assign(
        route=list(routes.values()), mow_day="Tuesday", stop=[float(n) for n in range(len(routes))]
    )


def old_beds(*rows):
    return pd.DataFrame(rows, columns=["client_id", "bed_id", "area_ft2", "known_from"])


BEDS = old_beds(
    ("A", "A-curb-1", 240.0, "built"),
    ("A", "A-house-1", 100.0, "built"),
    ("B", "sites/beds.geojson#1", 162.0, "drawn"),
    ("C", "", np.nan, "seen"),
    ("", "sites/beds.geojson#2", 50.0, "drawn"),
)
FINISHES = {"A-curb-1": "planted", "A-house-1": "gravel"}


def plan():
    return plan_care(BEDS, people(A="North", B="North", C="South"), FINISHES, rates=RATES)


def test_an_inch_of_mulch_and_weeding():
    care = plan().set_index("bed_id")
    bed = care.loc["A-curb-1"]
    # 240 / 324 = 0.7407 yd³; at 1.5 yd³/h 0.4938 h; 240 / 500 = 0.48 h
    assert bed["mulch_yd3"] == pytest.approx(0.740741, abs=1e-6)
    assert bed["spreading_hours"] == pytest.approx(0.493827, abs=1e-6)
    assert bed["weeding_hours"] == pytest.approx(0.48)
    # 0.973827 h × 28 = 27.2672; 0.740741 × 1.1 × 38 = 30.9630; 58.2301 / 0.55 = 105.8730
    assert bed["price_cents"] == 10587


def test_gravel_is_weeded_only():
    bed = plan().set_index("bed_id").loc["A-house-1"]
    assert bed["mulch_yd3"] == 0
    # 100 / 500 × 28 / 0.55 = 10.1818
    assert bed["price_cents"] == 1018
    assert bed["note"] == "gravel: weeding only"


def test_a_bed_that_was_only_seen_is_to_be_measured():
    bed = plan().set_index("client_id").loc["C"]
    assert np.isnan(bed["mulch_yd3"])
    assert bed["price_cents"] == 0
    assert bed["note"] == "seen by a crew: measure it"


def test_nobodys_bed_is_left_out():
    assert "sites/beds.geojson#2" not in plan()["bed_id"].tolist()


def test_one_row_a_client_with_the_beds_in_words():
    rows = sum_clients(plan())
    assert rows.columns.tolist() == list(CLIENT_COLUMNS)
    assert rows["client_id"].tolist() == ["A", "B", "C"]
    assert rows["beds"].tolist() == [
        "curb bed 240 ft²; house bed 100 ft², gravel: weeding only",
        "drawn bed 162 ft²",
        "a bed, seen by a crew: measure it",
    ]
    # the two beds of A: 105.87 + 10.18 $, 240 / 324 yd³
    assert rows["price_cents"].tolist() == [10587 + 1018, 7146, 0]
    assert rows["area_ft2"].tolist() == [340, 162, 0]
    assert rows["mulch_yd3"].iloc[0] == pytest.approx(0.740741, abs=1e-6)


def test_totals_of_each_route():
    routes = sum_routes(plan(), rates=RATES).set_index("route")
    north = routes.loc["North"]
    # 0.740741 + 162/324 = 1.240741 yd³; × 1.1 = 1.364815, ordered as 1.5
    assert north["mulch_yd3"] == pytest.approx(1.240741, abs=1e-6)
    assert north["order_yd3"] == 1.5
    # 0.973827 + 0.2 + (0.5/1.5 + 0.324) h
    assert north["labor_hours"] == pytest.approx(1.831160, abs=1e-6)
    # Delivery 75 / 0.55 = 136.3636. B: (0.657333 × 28 + 0.55 × 38) / 0.55 = 71.4642
    assert north["delivery_cents"] == 13636
    assert north["price_cents"] == 10587 + 1018 + 7146 + 13636
    south = routes.loc["South"]
    assert (south["unmeasured_count"], south["order_yd3"], south["price_cents"]) == (1, 0, 0)


def test_the_list_runs_in_the_order_of_the_round():
    table = people(C="South", B="North", A="North")
    care = plan_care(BEDS, table, FINISHES, rates=RATES)
    assert care["client_id"].tolist() == ["B", "A", "A", "C"]


def test_no_bed_no_row():
    care = plan_care(old_beds(), people(A="North"), {}, rates=RATES)
    assert care.columns.tolist() == list(CARE_COLUMNS)
    assert care.empty
    assert sum_clients(care).columns.tolist() == list(CLIENT_COLUMNS)
    routes = sum_routes(care, rates=RATES)
    assert routes.columns.tolist() == list(ROUTE_COLUMNS)
    assert routes.empty


@pytest.mark.parametrize(
    ("today", "spring"),
    [(date(2026, 9, 1), 2027), (date(2027, 2, 28), 2027), (date(2027, 3, 1), 2028)],
)
def test_next_spring(today, spring):
    assert spring_after(today) == spring
