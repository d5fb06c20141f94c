"""What a list brings: against exact sums, drawing and a convolution by Fourier transform."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from scanner.calls.chance import HALF_YEARS, START_SHARES, price_falls
from scanner.calls.totals import Prospects, expected_sales, spread_sales, total_sales
from tests.calls.test_chance import stages


def prospects(years, profit, *, more_years=None, whole=None, factor=None):
    years, profit = np.asarray(years, float), np.asarray(profit, float)
    return Prospects(
        years, profit,
        years if more_years is None else np.asarray(more_years, float),
        profit if whole is None else np.asarray(whole, float),
        np.ones(len(years)) if factor is None else np.asarray(factor, float),
    )  # fmt: skip


def sure_stages(cell=(12, 12), talk=None):
    """Everything known but who buys: one cell, and a talk that always or never varies."""
    weights = np.zeros((len(START_SHARES), len(HALF_YEARS)))
    weights[cell] = 1.0
    known = stages()
    reached = np.full(3, 1e9) if talk is None else np.array([talk, 0.0, 0.0]) * 1e9
    missed = np.full(3, 1.0) if talk is None else np.array([1 - talk, 1.0, 1.0]) * 1e9
    return replace(known, reached=reached, missed=missed, agreed=1e9, refused=1e-3, weights=weights)


def test_independent_clients_by_hand():
    # s = 0.520833 / 2 at r = h = 1: two clients of $800 and $600
    known, s = sure_stages(), 0.5208333 / 2
    total = total_sales(known, prospects([1, 1], [80_000, 60_000]))
    assert total.mean_cents == pytest.approx(s * 140_000, rel=1e-5)
    assert total.nothing_chance == pytest.approx((1 - s) ** 2, rel=1e-5)


def test_an_upgrade_adds_its_part():
    # s(1) = 0.260417, s(2) = 0.104167: 800 and, of those who would buy the larger, 500 more
    total = total_sales(sure_stages(), prospects([1], [80_000], more_years=[2], whole=[130_000]))
    assert total.mean_cents == pytest.approx(0.2604167 * 80_000 + 0.1041667 * 50_000, rel=1e-5)


def test_a_known_sum_against_its_convolution():
    # Known chances: clients are independent, and the distribution is the product of their transforms
    rng = np.random.default_rng(7)
    years, dollars = rng.uniform(0.4, 2.5, 60), rng.integers(3, 20, 60) * 100
    known = sure_stages()
    s = START_SHARES[12] * price_falls(years)[:, 12]
    size = 1 << 15
    waves = np.exp(-2j * np.pi * np.outer(np.arange(size), dollars / 100) / size)
    exact = np.fft.ifft(np.prod(1 - s + s * waves, axis=1)).real
    amounts = np.arange(size) * 100.0
    total = total_sales(known, prospects(years, dollars * 100))
    assert total.mean_cents == pytest.approx(float(exact @ amounts) * 100, rel=1e-5)
    assert total.nothing_chance == pytest.approx(exact[0], rel=1e-4)
    low, high = np.searchsorted(exact.cumsum(), [0.1, 0.9]) * 100
    assert total.low_cents / 100 == pytest.approx(low, abs=250)
    assert total.high_cents / 100 == pytest.approx(high, abs=250)


def test_shared_stages_against_drawing():
    # 40,000 lists of 80 clients, every stage drawn from what is known of it; fixed seed
    rng = np.random.default_rng(20270302)
    known = stages()
    years, profit = rng.uniform(0.5, 2, 80), rng.uniform(300, 1500, 80)
    total = total_sales(known, prospects(years, profit * 100))
    count = 40_000
    tries = rng.beta(known.reached, known.missed, (count, 3))
    talk = (1 - np.prod(1 - tries, axis=1)) * rng.beta(known.agreed, known.refused, count)
    start, half = np.unravel_index(
        rng.choice(known.weights.size, count, p=known.weights.ravel()), known.weights.shape
    )
    sells = talk[:, None] * START_SHARES[start][:, None] * price_falls(years)[:, half].T
    drawn = ((rng.random((count, 80)) < sells) * profit).sum(axis=1)
    assert total.mean_cents / 100 == pytest.approx(drawn.mean(), rel=0.015)
    assert total.nothing_chance == pytest.approx((drawn == 0).mean(), abs=0.006)
    low, high = np.quantile(drawn, [0.1, 0.9])
    assert total.low_cents / 100 == pytest.approx(low, abs=200)
    assert total.high_cents / 100 == pytest.approx(high, rel=0.04)


def test_many_clients_are_classed_without_harm():
    rng = np.random.default_rng(3)
    years, factor = np.exp(rng.normal(1.2, 0.6, 700)), np.exp(rng.normal(0, 0.3, 700))
    known = stages()
    classed = total_sales(known, prospects(years, np.full(700, 1e5), factor=factor))
    parts = [total_sales(known, prospects(years[:600], np.full(600, 1e5), factor=factor[:600]))]
    assert classed.nothing_chance < parts[0].nothing_chance
    assert classed.mean_cents == pytest.approx(parts[0].mean_cents * 7 / 6, rel=0.1)


def test_nobody_to_call_brings_nothing():
    total = total_sales(stages(), prospects([], []))
    assert (total.mean_cents, total.low_cents, total.high_cents) == (0, 0, 0)
    assert total.nothing_chance == pytest.approx(1.0)


def test_the_range_is_rounded_outward():
    total = total_sales(stages(), prospects([1] * 200, [70_000] * 200))
    assert total.low_cents % 5000 == total.high_cents % 5000 == 0
    assert total.low_cents < total.mean_cents < total.high_cents


def test_letters_by_hand():
    # A letter brings a visit with 1 of 50, ρ ~ Beta(1, 49): its mean 1/50, that of its square 1·2/(50·51)
    known, s = sure_stages(), 0.5208333 / 2
    letters = replace(prospects([1, 1], [80_000, 80_000]), is_written=np.ones(2, bool))
    rho, rho_2 = 1 / 50, 2 / (50 * 51)
    spread = spread_sales(known, letters, np.ones((1, 2)))
    assert spread.mean[0] == pytest.approx(2 * rho * s * 80_000, rel=1e-5)
    second = 2 * rho * s * 80_000**2 + 2 * rho_2 * (s * 80_000) ** 2
    assert spread.variance[0] == pytest.approx(second - spread.mean[0] ** 2, rel=1e-5)
    # Even quantiles stand for the whole beta, as they do for calls
    assert spread.nothing[0] == pytest.approx(1 - 2 * rho * s + rho_2 * s**2, abs=1e-3)
    assert expected_sales(known, letters).sum() == pytest.approx(spread.mean[0])


def test_calls_and_letters_hang_together():
    known = stages()
    both = replace(prospects([1, 1], [80_000, 50_000]), is_written=np.array([False, True]))
    alone = [
        spread_sales(known, both.chosen(np.array(rows)), np.ones((1, 1)))
        for rows in ([True, False], [False, True])
    ]  # fmt: skip
    together = spread_sales(known, both, np.ones((1, 2)))
    assert together.mean[0] == pytest.approx(alone[0].mean[0] + alone[1].mean[0])
    # Largest with largest: never less than if one knew nothing of the other
    assert together.variance[0] > alone[0].variance[0] + alone[1].variance[0]
    assert together.nothing[0] > alone[0].nothing[0] * alone[1].nothing[0]
