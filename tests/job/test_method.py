"""How the sod is stripped: every figure worked out from the standard rates."""

from __future__ import annotations

import numpy as np
import pytest

from scanner.job.method import break_even_areas, choose_method, strip_usd, strip_work
from scanner.job.quantities import amounts_of, know_lots, take_off
from scanner.schema.tables import METHODS
from tests.job.job_cases import bed, clients, offer_beds, rate_book

RATES = rate_book()
OWNED = rate_book(sod_cutter_owned="yes")
BOTH_OWNED = rate_book(sod_cutter_owned="yes", loader_owned="yes")


def method(*rows, rates=RATES):
    names = [row["offer_id"] for row in rows]
    starts = np.array([names.index(name) for name in dict.fromkeys(names)])
    methods = choose_method(amounts(*rows, rates=rates), starts, rates=rates)
    return dict(zip(dict.fromkeys(names), methods, strict=True))


def amounts(*rows, rates):
    table = offer_beds(*rows)
    lots = know_lots(table, clients("C1"), rates=rates)
    return amounts_of(take_off(table, lots, rates=rates))


def cost_usd(ft2, along, rates=RATES, face=""):
    table = amounts(bed(length=ft2 / 4, along=along, face=face), rates=rates)
    return [
        strip_usd(strip_work(table, np.array([name]), rates=rates), np.zeros(1, int), rates)[0]
        for name in METHODS
    ]


# Worked out by hand from the standard rates: at a curb 500 ft2 are 4.630 bank yd3 at 3 in. Hand:
# 8.102 h of digging and 2.894 of loading. Cutter: 0.556 h of cutting, 2.701 of digging the last
# inch, 2.894 of loading, 1 of fetching, $100. Loader: 1.968 h of loading 85 %, 1.649 of the rest
# by hand, 1.5 of set-up, $395. Both: 0.556, 1.852, 1 and 1.5 h, $495. Elsewhere 3.333 h of barrowing.
@pytest.mark.parametrize(
    ("along", "face", "ft2", "expected_usd"),
    [
        ("curb", "", 100, (62, 162, 457, 578)),
        ("curb", "", 500, (308, 300, 538, 632)),
        ("curb", "", 1000, (616, 472, 640, 700)),
        ("curb", "", 2000, (1231, 817, 842, 835)),
        ("curb", "", 4000, (2463, 1506, 1247, 1104)),
        ("house", "front", 500, (401, 394, 552, 632)),
        ("house", "front", 2000, (1605, 1190, 898, 835)),
    ],
)
def test_what_stripping_costs(along, face, ft2, expected_usd):
    assert cost_usd(ft2, along, face=face) == pytest.approx(expected_usd, abs=0.6)


def test_cutting_pace_against_published_all_in_rate():
    # sod-cutters.com: 125 to 143 ft2 of sod an hour, cut, lifted and carried off
    ft2, sod_yd3 = 1000.0, 1000 * 1.5 / 324
    hours = ft2 / 900 + sod_yd3 * 1.25 / 2 + sod_yd3 * 0.72
    assert 125 <= ft2 / hours <= 143


@pytest.mark.parametrize(
    ("rates", "at_curb", "elsewhere"),
    [
        (
            RATES,
            {"hand": 0, "sod cutter": 480, "cutter and loader": 2090},
            {"hand": 0, "sod cutter": 480, "loader": 1030, "cutter and loader": 1340},
        ),
        (
            OWNED,
            {"hand": 0, "sod cutter": 120, "cutter and loader": 2090},
            {"hand": 0, "sod cutter": 120, "cutter and loader": 1110},
        ),
        (
            BOTH_OWNED,
            {"hand": 0, "sod cutter": 120, "cutter and loader": 780},
            {"hand": 0, "sod cutter": 120, "cutter and loader": 410},
        ),
    ],
)
def test_break_even_areas(rates, at_curb, elsewhere):
    found = break_even_areas(rates)
    assert dict(found.at_curb) == at_curb
    assert dict(found.elsewhere) == elsewhere


def test_a_machine_that_saves_nothing_never_pays():
    slow = rate_book(
        sod_cutter_ft2_per_hour=10, loader_hours_per_yd3=9, loader_after_cut_hours_per_yd3=9
    )
    assert break_even_areas(slow).at_curb == (("hand", 0.0),)


@pytest.mark.parametrize(
    ("face", "chosen"),
    [("front", "loader"), ("side", "sod cutter"), ("back", "sod cutter"), ("", "sod cutter")],
)
def test_walls_behind_a_gate_take_no_loader(face, chosen):
    row = bed("C1-house-1", along="house", face=face, length=300)
    assert method(row) == {"C1-house-1": chosen}


def test_hand_ground_stays_by_hand():
    assert method(bed(length=300, hand_dig_ft2=1200.0)) == {"C1-curb-1": "hand"}
    assert method(bed(length=300, wall_strip_ft2=1200.0)) == {"C1-curb-1": "hand"}


def test_one_method_an_offer():
    # either bed alone is 320 ft2, too small for a rented cutter; both are 640
    one, two = bed(length=80), bed("C1-curb-2", length=80)
    together = [one | {"offer_id": "C1+2"}, two | {"offer_id": "C1+2"}]
    assert method(one, two, *together) == {
        "C1-curb-1": "hand",
        "C1-curb-2": "hand",
        "C1+2": "sod cutter",
    }


def test_a_closed_bed_beside_an_open_one_is_cut_and_dug_by_hand():
    table = amounts(bed(length=60, along="house", face="back"), rates=RATES)
    work = strip_work(table, np.array(["cutter and loader"]), rates=RATES)
    # 240 ft2: 2 in of sod is 1.481 yd3, the last inch 0.741, all barrowed
    assert work["sod_yd3"] == pytest.approx(240 * 2 / 324)
    assert work["hand_yd3"] == pytest.approx(240 / 324)
    assert work["barrow_yd3"] == pytest.approx(240 * 3 / 324)
    assert work["after_cut_yd3"] == 0
