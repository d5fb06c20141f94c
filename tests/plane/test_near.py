"""Pairs of pieces that come near each other, against every pair looked at by itself."""

from __future__ import annotations

import numpy as np
import pytest

from scanner.plane.segments import Segs, near

LOTS, WIDEST_FT = 3, 120.0


def scattered(seed: int, count: int) -> Segs:
    """Pieces of all lengths on some lots, in the order of the lots: two in three are short, one in ten a point."""
    random = np.random.default_rng(seed)
    lot = np.sort(random.integers(0, LOTS, count))
    a = random.uniform(-WIDEST_FT, WIDEST_FT, (count, 2))
    size = random.choice([0.0, 0.3, 1.5, 3.0, 12.0, 40.0, 2 * WIDEST_FT], count)
    b = a + size[:, None] * random.uniform(-1, 1, (count, 2))
    at = np.arange(count)
    return Segs(a, b, at, lot, at, at)


@pytest.mark.parametrize("reach_ft", [0.0, 0.006, 1.5, 30.0])
def test_every_near_pair_is_found_once(reach_ft):
    p, q = scattered(1, 60), scattered(2, 90)
    one, two = p.box[:, None], q.box[None]
    apart_ft = np.maximum(one[..., :2] - two[..., 2:], two[..., :2] - one[..., 2:]).max(axis=2)
    wanted = np.argwhere((apart_ft <= reach_ft) & (p.lot[:, None] == q.lot))
    i, j = near(p, q, reach_ft)
    assert (np.diff(i) >= 0).all()
    assert sorted(zip(i, j, strict=True)) == [*map(tuple, wanted)]
    assert len(wanted) > 20


def test_a_piece_that_lies_half_a_million_feet_off_meets_no_other_lot():
    p, q = scattered(3, 30), scattered(4, 30)
    q.a[-1], q.b[-1] = (-0.9e6, 0.0), (0.9e6, 0.0)  # across all of its lot, and where others begin
    i, j = near(p, q, 500.0)
    assert (p.lot[i] == q.lot[j]).all()
    assert (j == 29).sum() == (p.lot == q.lot[-1]).sum()  # the last of thirty
