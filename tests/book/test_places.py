"""Whether a place can have a lawn: any town of the lower 48, right and swapped."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from scanner.book.places import SWAPPED, find_misplaced


@given(lon=st.floats(-124.8, -66.9), lat=st.floats(24.5, 49.4))
def test_any_town_is_right_as_it_is_and_found_when_swapped(lon, lat):
    assert find_misplaced(np.array([lon]), np.array([lat])).tolist() == [""]
    assert find_misplaced(np.array([lat]), np.array([lon])).tolist() == [SWAPPED]


@pytest.mark.parametrize(
    ("lon", "lat"),
    [(14.4, 50.1), (-68.3, -54.8), (174.8, -41.3), (-149.9, 61.2), (np.nan, np.nan), (0.0, 51.5)],
)
def test_towns_all_over_the_world_are_left_alone(lon, lat):
    # Prague, Ushuaia, Wellington, Anchorage, nowhere, Greenwich (coordinates from memory)
    assert find_misplaced(np.array([lon]), np.array([lat])).tolist() == [""]
