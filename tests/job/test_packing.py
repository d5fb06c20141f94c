"""Later jobs: first fit decreasing, with its known misses."""

from __future__ import annotations

import math
from itertools import combinations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scanner.job.bundles import _pack


def count(sizes, most):
    """Pack beds of so many crew-days; how many jobs, none over the most."""
    days = {f"bed-{at:02d}": float(size) for at, size in enumerate(sizes)}
    jobs = _pack(list(days), days, most)
    assert sorted(bed for job in jobs for bed in job) == sorted(days)
    assert all(len(job) == 1 or sum(days[bed] for bed in job) <= most for job in jobs)
    return len(jobs)


def best(sizes, most):
    """Fewest jobs, by trying all: the first bed goes with each set of others that fits."""
    if not sizes:
        return 0
    first, *rest = sizes
    options = [
        chosen
        for n in range(len(rest) + 1)
        for chosen in combinations(range(len(rest)), n)
        if first + sum(rest[at] for at in chosen) <= most
    ]
    return 1 + min(
        best([size for at, size in enumerate(rest) if at not in chosen], most) for chosen in options
    )


@pytest.mark.parametrize(
    ("sizes", "most", "packed", "fewest"),
    [
        # 6 + 3, 5 + 2 + 2, 2, where 6 + 2 + 2 and 5 + 3 + 2 would do
        ((6, 5, 3, 2, 2, 2), 10, 3, 2),
        ((44, 24, 24, 22, 21, 17, 8, 8, 6, 6), 61, 4, 3),
        ((7, 6, 5, 5, 5, 4, 2, 2, 1), 10, 4, 4),
    ],
)
def test_known_misses_stay_within_the_bound(sizes, most, packed, fewest):
    assert count(sizes, most) == packed
    assert best(list(sizes), most) == fewest
    # FFD <= 11/9 OPT + 6/9, tight: Dósa, ESCAPE 2007
    assert packed <= math.floor(11 / 9 * fewest + 6 / 9)


@given(st.lists(st.integers(1, 10), max_size=8))
def test_never_more_than_the_bound(sizes):
    assert count(sizes, 10) <= 11 / 9 * best(sizes, 10) + 6 / 9
