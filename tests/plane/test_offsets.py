"""Offsets that GEOS answers with nothing, and closings that may only gain."""

from __future__ import annotations

import subprocess
import sys

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import Polygon, affinity, box

from scanner.plane.grid import on_grid, snap
from scanner.plane.offsets import close_ground, open_ground
from scanner.plane.spikes import despike

STEPPED = Polygon(
    [(-11802.590651209504, 32361.0004299062), (-11884.439774277605, 32356.03445897435),
     (-11891.82668221067, 32477.810890929246), (-11892.432257843177, 32487.793500701686),
     (-11847.208704632305, 32490.53689971899), (-11810.583504618795, 32492.758683767832),
     (-11810.583505378676, 32492.758696294164), (-11809.977975259697, 32482.776836789348)]
)  # fmt: skip
"""A lot with its frontage strip as one came out of a scan, a step of 0.00001 ft in it."""


def test_a_sound_lot_is_never_lost():
    """10,824 ft² that GEOS 3.14 turned into nothing, by an offset of 0.002 ft out and in."""
    lot = np.array([STEPPED])
    area_ft2 = shapely.area(lot)[0]
    for shapes in (
        close_ground(lot, 0.002), open_ground(lot, 2.0), snap(lot), despike(lot),
        on_grid(shapely.set_precision, lot), on_grid(shapely.union, lot, lot),
    ):  # fmt: skip
        assert shapely.area(shapes)[0] == pytest.approx(area_ft2, abs=0.5)


def test_a_closing_that_loses_ground_is_made_another_way(monkeypatch):
    """Whatever the library answers to the inward offset, the shape itself stays."""
    from scanner.plane import offsets  # noqa: PLC0415  # to stand in for its buffer

    honest = shapely.buffer

    def answers_nothing(shapes, distance, **options):
        wide = honest(shapes, distance, **options)
        return np.full(len(wide), Polygon()) if distance < 0 else wide

    monkeypatch.setattr(offsets.shapely, "buffer", answers_nothing)
    closed = close_ground(np.array([box(0, 0, 10, 10)]), 0.75)
    assert shapely.area(closed).tolist() == [100.0]


@settings(max_examples=150)
@given(
    turn=st.floats(0, 360), east_ft=st.floats(-90_000, 90_000), north_ft=st.floats(-90_000, 90_000),
    radius_ft=st.sampled_from([0.002, 0.025, 0.75]),
)  # fmt: skip
def test_closing_only_gains_and_little(turn, east_ft, north_ft, radius_ft):
    lot = affinity.translate(affinity.rotate(STEPPED, turn), east_ft, north_ft).buffer(0)
    closed = close_ground(np.array([lot]), radius_ft)[0]
    assert lot.area - 0.01 <= closed.area <= lot.area + 0.1


WARNED = """
import scanner.plane.grid, warnings
for what in ("buffer", "divide"):
    warnings.warn(f"divide by zero encountered in {what}", RuntimeWarning)
"""


def test_what_the_library_divides_by_zero_is_not_told_on_a_terminal() -> None:
    """It does so at hairs, of which offsets leave nothing; what we divide by zero ourselves is told."""
    done = subprocess.run(
        [sys.executable, "-c", WARNED], capture_output=True, text=True, check=True
    )
    assert "in divide" in done.stderr
    assert "in buffer" not in done.stderr
