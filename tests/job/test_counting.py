from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from scanner.errors import RateError
from scanner.job.counting import whole_cents, whole_days, whole_loads, whole_steps
from scanner.units import cents_from_usd
from tests.job.job_cases import rate_book

RATES = rate_book()


def test_product_is_settled_before_rounding_up():
    # trade values, section 2: 40 x 2.25 must stay 90
    assert whole_steps(np.array([40 * 2.25, 0.1 * 3 / 0.3 * 90]), 1.0).tolist() == [90, 90]


# trade values, section 2: 24 ft2 at 6 in; 15 x 24 ft at 10 in (weradtke.com): 518.4 -> 519
@pytest.mark.parametrize(("exact", "bought"), [(24 * 4.0, 96), (518.4, 519), (598.6, 599)])
def test_published_counts_round_up(exact, bought):
    assert whole_steps(np.array([exact]), 1.0).tolist() == [bought]


def test_loads_take_the_larger_of_volume_and_weight():
    # trade values, section 11: a level 6 x 12 box of 2,200 lb gravel is 11,726 lb, over its payload
    loads = whole_loads(np.array([5.33, 5.33, 0.0]), np.array([11_726.0, 100.0, 0.0]), rates=RATES)
    assert loads.tolist() == [2, 1, 0]


@pytest.mark.parametrize(
    ("work_hours", "days"),
    # 16 labour hours a crew-day, 1 h of it set-up: 1.17 and 1.28 crew-days are one day; a day
    # more from half a crew-day over: 23 + 1 h are 1.5 crew-days
    [(0, 1), (10.75, 1), (17.69, 1), (19.43, 1), (22.9, 1), (23, 2), (37.9, 2), (38, 3)],
)
def test_days_of_a_crew(work_hours, days):
    assert whole_days(np.array([work_hours]), rates=RATES).tolist() == [days]


@given(st.floats(0, 500))
def test_days_agree_with_themselves(work_hours):
    (days,) = whole_days(np.array([work_hours]), rates=RATES)
    assert (work_hours + days) / 16 < days + 0.5 + 1e-6
    assert days == 1 or (work_hours + days - 1) / 16 >= days - 0.5 - 1e-6


def test_set_up_that_fills_the_day_is_refused():
    with pytest.raises(RateError, match=r"setup_hours_per_day 16 leaves nothing .* lower it"):
        whole_days(np.array([1.0]), rates=rate_book(setup_hours_per_day=16))


@given(st.integers(0, 10**7), st.sampled_from([0, 1, 4, 5, 6, 9]))
def test_cents_round_as_the_exact_rule_does(cents, tenth):
    usd = (cents * 10 + tenth) / 1000
    assert whole_cents(np.array([usd])).tolist() == [cents_from_usd(usd)]
