"""Spikes go, corners stay."""

from __future__ import annotations

import pytest
import shapely

from scanner.plane.spikes import despike


def test_corner_with_a_kink_smaller_than_the_tolerance_stays():
    # 20 x 20 less its upper right quarter; at the inside corner a side of 0.002 ft turns back
    kinked = "POLYGON ((0 0, 20 0, 20 10, 10 10, 10.0005 9.998, 10 20, 0 20, 0 0))"
    assert shapely.area(despike(shapely.from_wkt([kinked])))[0] == pytest.approx(300, abs=0.05)
