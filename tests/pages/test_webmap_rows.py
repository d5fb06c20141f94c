"""Rows, bands and choices of the map page."""

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from scanner.pages.webmap_rows import (
    add_bands,
    dial,
    page_left_out,
    page_rows,
    rank_band,
    sort_days,
    sort_routes,
)
from tests.small_scan import small_scan


def test_bands_of_thirty():
    bands = rank_band(pd.Series(range(31)))
    assert bands.value_counts().to_dict() == {0: 3, 1: 7, 2: 20, 3: 1}


@given(st.integers(0, 200))
def test_bands_never_fall_with_rank(count):
    bands = rank_band(pd.Series(range(1, count + 1), dtype=int))
    assert bands.is_monotonic_increasing
    assert set(bands) <= {0, 1, 2}


@pytest.mark.parametrize(
    ("phone", "number"),
    [
        ("308-555-0142", "3085550142"),
        ("555-0142", "5550142"),
        ("+1 (308) 555-0142 x9", "+13085550142"),
        ("911", ""),
        ("'><b>", ""),
        ("١٢٣٤٥٦٧٨", ""),
    ],
)
def test_number_to_dial(phone, number):
    assert dial(phone) == number


def test_rows_follow_the_rank():
    rows = page_rows(add_bands(small_scan()))
    assert rows["rank"].tolist() == [1, 2, 3, 4, 5, 6]
    assert rows["band"].tolist() == [0, 1, 2, 2, 2, 2]
    assert rows["place"].iloc[0] == "North, Fri, stop 5"


def test_days_run_as_the_week_and_routes_by_number():
    assert sort_routes(["Route 10", "Route 9", "", "North"]) == ["North", "Route 9", "Route 10"]
    assert sort_days(["Friday", "monday", "any", "Tue"]) == ["monday", "Tue", "Friday", "any"]


def test_left_out_say_why():
    left_out = page_left_out(small_scan()).set_index("client_id")
    assert left_out.index.tolist() == ["C0005", "C0006", "C0007", "C0010"]
    assert left_out["has_offer"].tolist() == [True, True, False, False]
    assert left_out["why"].ne("").all()
