from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from scanner.calls.chance import (
    CallCounts,
    Share,
    chance_of_sale,
    jeffreys_interval,
    total_sales,
)
from scanner.errors import RateError
from scanner.schema.documents import Rate
from tests.small_scan import small_rates

# The share of the normal distribution within one sigma, at which the published vectors stand
ONE_SIGMA = math.erf(1 / math.sqrt(2))


@pytest.mark.parametrize(
    ("successes", "failures", "low", "high"),
    [
        # boostorg/histogram, test/utility_jeffreys_interval_test.cpp (trade-values section 15)
        (5, 5, 0.349406560319967, 0.650593439680033),
        (1, 9, 0.041888372640752, 0.233759443394751),
        (9, 1, 0.766240556605249, 0.958111627359248),
    ],
)
def test_jeffreys_equals_published_vectors(successes, failures, low, high):
    interval = jeffreys_interval(successes, successes + failures, level=ONE_SIGMA)
    assert interval == pytest.approx((low, high), abs=1e-12)


def test_jeffreys_at_the_ends_is_clamped_where_the_published_library_is_not():
    # Same source: (0, 1) gives 0.015608 to 0.537560 unclamped, (1, 0) the mirror image. The
    # rule to clamp: liquisearch.com, Jeffreys interval (trade-values section 15).
    assert jeffreys_interval(0, 1, level=ONE_SIGMA) == pytest.approx((0, 0.537560439331611))
    assert jeffreys_interval(1, 1, level=ONE_SIGMA) == pytest.approx((0.462439560668389, 1))
    assert Share(0.5, 1.5).interval(level=ONE_SIGMA)[0] == pytest.approx(0.015608332029966)


@pytest.mark.parametrize(
    ("x", "n", "mean", "low", "high"),
    [
        # Computed beta quantiles, trade-values section 15; the rule itself is from Brown, Cai,
        # DasGupta, Statistical Science 16(2), 2001
        (0, 10, 0.045455, 0, 0.217196),
        (1, 10, 0.136364, 0.011012, 0.381315),
        (3, 20, 0.166667, 0.044131, 0.348578),
        (5, 20, 0.261905, 0.102398, 0.464195),
        (3, 30, 0.112903, 0.028981, 0.243402),
        (5, 50, 0.107843, 0.039194, 0.205355),
        (12, 100, 0.123762, 0.067304, 0.194285),
        (173, 174, 0.991429, 0.973457, 0.999379),
    ],
)
def test_jeffreys_95_percent_table(x, n, mean, low, high):
    assert jeffreys_interval(x, n, level=0.95) == pytest.approx((low, high), abs=1e-6)
    assert Share(x + 0.5, n - x + 0.5).mean == pytest.approx(mean, abs=1e-6)


@pytest.mark.parametrize(("x", "n"), [(-1, 10), (11, 10)])
def test_jeffreys_refuses_the_impossible(x, n):
    with pytest.raises(ValueError, match=f"{x} of {n} cannot be: allowed is 0 to {n}"):
        jeffreys_interval(x, n)


@given(n=st.integers(1, 500), data=st.data())
def test_jeffreys_holds_the_observed_share(n, data):
    x = data.draw(st.integers(0, n))
    low, high = jeffreys_interval(x, n)
    assert 0 <= low <= x / n <= high <= 1


def test_starting_chance_is_8_percent_with_its_interval():
    # default-rates.md: 8 % sold, 80 % interval 1.8-16 %, of 20 client-seasons
    chance = chance_of_sale(small_rates())
    low, high = chance.sold.interval()
    assert chance.sold.mean == pytest.approx(0.08)
    assert (round(low, 3), round(high, 2)) == (0.018, 0.16)
    assert chance.calls_count == 0
    assert chance.reached.mean == pytest.approx(12 / 20)
    assert chance.visited.mean == pytest.approx(4 / 20)


def test_record_adds_to_the_prior_and_stages_multiply():
    counts = CallCounts(
        not_reached_count=40, reached_only_count=40, visited_only_count=8, sold_count=12
    )
    chance = chance_of_sale(small_rates(), counts=counts)
    assert chance.calls_count == 100
    assert chance.sold == Share(13.6, pytest.approx(106.4))
    assert chance.visited_of_reached == Share(pytest.approx(24.0), 48)
    assert chance.sold_of_visited == Share(13.6, pytest.approx(10.4))
    product = chance.reached.mean * chance.visited_of_reached.mean * chance.sold_of_visited.mean
    assert product == pytest.approx(chance.sold.mean)


def test_more_calls_narrow_the_interval():
    few = chance_of_sale(small_rates()).sold.interval()
    many = chance_of_sale(small_rates(), counts=CallCounts(400, 400, 120, 80)).sold.interval()
    assert many[1] - many[0] < (few[1] - few[0]) / 4


def test_prior_of_nothing_is_refused():
    nothing = Rate(value=0, low=0, high=0, source="made up")
    rates = small_rates().model_copy(update={"prior_sold_count": nothing})
    with pytest.raises(RateError, match="prior_sold_count is 0 and no such call is on record"):
        chance_of_sale(rates)
    assert chance_of_sale(rates, counts=CallCounts(sold_count=1)).sold.mean == pytest.approx(
        1 / 19.4
    )


def test_totals_of_worked_case_13():
    # Worked case 13: 12 sold of 100 with a prior of 1/2 and 1/2
    share = Share(12.5, 88.5)
    hundred, four_hundred = total_sales(share, 100), total_sales(share, 400)
    assert hundred.mean_count == pytest.approx(12.376, abs=5e-4)
    assert (hundred.low_count, hundred.high_count) == (7, 19)
    assert (four_hundred.low_count, four_hundred.high_count) == (32, 69)


def test_total_is_the_beta_binomial_of_the_reference():
    # trade-values section 15 (computed): 3 sales in 20 calls, next 10
    sales = stats.betabinom(10, 3.5, 17.5)
    assert total_sales(Share(3.5, 17.5), 10).mean_count == pytest.approx(1.6667, abs=5e-5)
    assert float(sales.var()) == pytest.approx(1.95707, abs=5e-6)
    assert float(sales.pmf(0)) == pytest.approx(0.223411, abs=5e-7)
    # P(0) = 0.223 is more than a tenth, so the low end is none
    assert total_sales(Share(3.5, 17.5), 10).low_count == 0


def test_total_is_wider_than_independent_calls():
    share = Share(1.6, 18.4)
    total = total_sales(share, 1000)
    independent = stats.binom(1000, share.mean)
    assert total.low_count < int(independent.ppf(0.1))
    assert total.high_count > int(independent.ppf(0.9))


def test_total_refuses_a_negative_number():
    with pytest.raises(ValueError, match="a number of calls cannot be negative: -1"):
        total_sales(Share(1, 1), -1)
