"""Neighbors who could have the same bed."""

from __future__ import annotations

import math
import time

import numpy as np
import pandas as pd
import pytest

from scanner.calls.ranking import count_alike, rank_calls
from tests.small_scan import TODAY, small_learned, small_scan

FT_PER_DEGREE_NORTH = 364_294.0  # a degree of the meridian at 41°, as worked out beside `in_space`


def alike(*others, **changes):
    """How many of `others` are alike to a 50 ft curb bed at $2,000; each is a dict of what differs."""
    one = {
        "bed_ids": "A-curb-1",
        "finish": "accent",
        "edge_ft": 50.0,
        "price_cents": 200_000,
        "north_ft": 0.0,
    }
    table = pd.DataFrame([one | changes, *(one | other for other in others)])
    clients = pd.DataFrame({"lon": -98.5, "lat": 41.0 + table["north_ft"] / FT_PER_DEGREE_NORTH})
    return count_alike(table, clients).tolist()


@pytest.mark.parametrize(
    ("other", "count"),
    [
        ({}, 1),
        ({"north_ft": 999.0}, 1),
        ({"north_ft": 1001.0}, 0),
        ({"edge_ft": 57.4}, 1),  # 1.148 times
        ({"edge_ft": 57.6}, 0),
        ({"edge_ft": 43.5}, 1),  # 50 is 1.149 times that
        ({"edge_ft": 43.4}, 0),
        ({"price_cents": 229_000}, 1),
        ({"price_cents": 231_000}, 0),
        ({"bed_ids": "B-house-2"}, 0),
        ({"bed_ids": "B-curb-2"}, 1),
        ({"bed_ids": "B-curb-1 B-house-1"}, 0),
        ({"finish": "gravel"}, 0),
        ({"north_ft": math.nan}, 0),
    ],
)  # fmt: skip
def test_same_kind_near_in_place_length_and_price(other, count):
    assert alike(other) == [count, count]


def test_nine_neighbors_and_the_street_goes_on():
    # Twelve lots 80 ft apart: all within 1,000 ft of each other but none of whom is more than 12 lots off
    counts = alike(*({"north_ft": 80.0 * at} for at in range(1, 20)))
    assert counts[0] == 12  # 80 to 960 ft
    assert counts[10] == 10 + 9  # all others: 800 ft on one side, 720 on the other


def test_across_the_edge_of_a_plane():
    # Lots are measured on planes of half a degree: neighbors on both sides of 98.5° west are neighbors
    table = pd.DataFrame(
        {"bed_ids": ["A-curb-1", "B-curb-1"], "finish": "mulch", "edge_ft": 50.0, "price_cents": 1}
    )
    clients = pd.DataFrame({"lon": [-98.4999, -98.5001], "lat": 41.0})
    assert count_alike(table, clients).tolist() == [1, 1]


def test_only_who_may_be_called_counts():
    scan = small_scan()
    options = {"rates": scan.rates, "today": TODAY, "learned": small_learned()}
    calls = rank_calls(scan.offers, scan.beds, scan.clients, **options).set_index("client_id")
    # C0001 and C0008 have like beds; C0005 and C0006 have, too, and are not to be called
    assert calls.loc[["C0001", "C0008", "C0005"], "alike_clients"].tolist() == [1, 1, 0]
    asked = scan.clients.assign(
        do_not_call=scan.clients["do_not_call"].mask(scan.clients["client_id"] == "C0008", "yes")
    )
    calls = rank_calls(scan.offers, scan.beds, asked, **options).set_index("client_id")
    assert calls.loc["C0001", "alike_clients"] == 0


def test_a_sign_moves_the_chance_of_who_has_it():
    scan = small_scan()
    options = {"rates": scan.rates, "today": TODAY}
    plain, learned = small_learned(), small_learned()
    learned = type(learned)(learned.stages, learned.tried_counts, learned.kinds, {"alike": 2.0})
    before, after = (
        rank_calls(scan.offers, scan.beds, scan.clients, learned=one, **options).set_index(
            "client_id"
        )["chance"]
        for one in (plain, learned)
    )
    moved = after / before
    assert moved["C0001"] == pytest.approx(2 * moved["C0003"])


def test_a_hundred_thousand_clients_in_a_second():
    rng = np.random.default_rng(1)
    count = 100_000  # four lots an acre, as in a suburb
    side = math.sqrt(count / 4 * 43_560) / FT_PER_DEGREE_NORTH
    table = pd.DataFrame({
        "bed_ids": "A-curb-1", "finish": "accent", "edge_ft": rng.uniform(20, 90, count),
        "price_cents": rng.uniform(80_000, 400_000, count).round(),
    })  # fmt: skip
    clients = pd.DataFrame(
        {
            "lon": -98.5 + rng.uniform(0, side, count) / 0.755,
            "lat": 41 + rng.uniform(0, side, count),
        }
    )
    start = time.process_time()
    counts = count_alike(table, clients)
    assert time.process_time() - start < 5.0  # 1 s on a quiet machine
    assert counts.mean() > 1
