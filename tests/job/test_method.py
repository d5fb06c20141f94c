from __future__ import annotations

import pytest

from scanner.job.method import break_even_areas, choose_method
from scanner.schema.tables import OFFER_BEDS, empty_table
from tests.job.job_cases import bed, offer_beds, rate_book

RATES = rate_book()


def method(*rows, rates=RATES):
    return choose_method(offer_beds(*rows), rates=rates).set_index("offer_id")["method"].to_dict()


def test_break_even_areas():
    # standard rates, check of the worked bed: cutter about 1,690 ft2, loader about 610 ft2 at 3 in
    break_even = break_even_areas(RATES)
    assert break_even.cutter_ft2 == pytest.approx(1690, abs=10)
    assert break_even.loader_ft2 == pytest.approx(610, abs=10)


def test_a_machine_that_saves_nothing_never_pays():
    slow = rate_book(sod_cutter_ft2_per_hour=10, loader_hours_per_yd3=9)
    assert break_even_areas(slow).cutter_ft2 == float("inf")
    assert break_even_areas(slow).loader_ft2 == float("inf")


@pytest.mark.parametrize(
    ("ft2", "chosen"), [(240, "hand"), (600, "hand"), (615, "loader"), (3000, "loader")]
)
def test_curb_bed_takes_the_loader_past_its_break_even(ft2, chosen):
    assert method(bed(length=ft2 / 4)) == {"C1-curb-1": chosen}


@pytest.mark.parametrize(
    ("face", "ft2", "chosen"),
    [
        ("front", 1000, "loader"),
        ("side", 1000, "hand"),  # behind a gate, too small for the cutter
        ("back", 1750, "sod cutter"),
        ("front+side", 1750, "sod cutter"),
        ("", 1750, "sod cutter"),
    ],
)
def test_walls_behind_a_gate_take_no_loader(face, ft2, chosen):
    row = bed("C1-house-1", along="house", face=face, length=ft2 / 4)
    assert method(row) == {"C1-house-1": chosen}


def test_hand_ground_stays_by_hand():
    assert method(bed(length=300, hand_dig_ft2=1200.0)) == {"C1-curb-1": "hand"}
    assert method(bed(length=300, wall_strip_ft2=1200.0)) == {"C1-curb-1": "hand"}


def test_one_method_an_offer():
    # either bed alone is 320 ft2, below the loader's break-even; both are above
    one, two = bed(length=80), bed("C1-curb-2", length=80)
    together = [one | {"offer_id": "C1+2"}, two | {"offer_id": "C1+2"}]
    assert method(one, two, *together) == {
        "C1-curb-1": "hand",
        "C1-curb-2": "hand",
        "C1+2": "loader",
    }


def test_empty_table_keeps_its_columns():
    assert choose_method(empty_table(OFFER_BEDS), rates=RATES).columns.tolist() == [
        "offer_id",
        "method",
    ]
