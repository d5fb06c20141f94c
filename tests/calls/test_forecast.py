"""What the weeks to come may sell and what of it can be built: vectors, enumeration, whole seasons drawn."""

from __future__ import annotations

from itertools import product

import numpy as np
import pandas as pd
import pytest

from scanner.calls.chance import START_SHARES, price_falls
from scanner.calls.forecast import Delays, Forecast, deal_calls, follow_work
from scanner.calls.totals import RANGE_SHARES
from scanner.schema.plan_tables import LEADS, NEW, QUOTE, SOLD, TRIED, VISIT
from tests.calls.test_chance import stages

MISS = np.array([0.65, 0.75, 1 - 1.75 / 9.75])


def leads(*rows):
    """Leads of stage, day, tries, years, profit; a crew-day each, no upgrade."""
    table = [
        (
            f"C{place}",
            "North",
            stage,
            float(day),
            tried,
            float(years),
            int(profit),
            1.0,
            float(years),
            int(profit),
            1.0,
            1.0,
        )
        for place, (stage, day, tried, years, profit) in enumerate(rows)
    ]
    return pd.DataFrame(table, columns=[*LEADS.columns])


def forecast(*rows, calls_a_week=20, week_count=20, today=0):
    known = stages()
    return Forecast(
        leads(*rows), known, Delays(known.missed / (known.reached + known.missed), 15.0, 7.0, 7.0, 10.0),
        today=today, calls_a_week=calls_a_week, week_count=week_count,
    )  # fmt: skip


def test_before_any_call_the_third_try_reaches_18_in_100():
    known = stages()
    assert known.reached / (known.reached + known.missed) == pytest.approx(
        [0.35, 0.25, 0.179487], abs=1e-6
    )
    assert [*known.still_reached([1, 2])] == pytest.approx([0.641026, 0.299145], abs=1e-6)


@pytest.mark.parametrize(
    ("row", "days", "shares"),
    [
        ((NEW, np.nan, 0, 1, 1), [14, 28, 42, 63, 98], [0.165357, 0.609447, 0.846419, 0.962127, 0.996327]),
        ((TRIED, np.nan, 1, 1, 1), [14, 28, 42], [0.184255, 0.659585, 0.866135]),
        ((QUOTE, -30, 0, 1, 1), [7, 14, 28], [0.372911, 0.606759, 0.845362]),
        ((VISIT, 5, 0, 1, 1), [7, 14, 28], [0.124827, 0.451188, 0.784185]),
    ],
)  # fmt: skip
def test_shares_of_the_sales_by_day(row, days, shares):
    found = forecast(row)
    assert found.shares(days)[:, 0] == pytest.approx(shares, abs=1e-6)
    # The work may start a week after the sale
    assert found.shares(np.array(days) + 7, is_ready=True)[:, 0] == pytest.approx(shares, abs=1e-6)


def test_an_open_quote_by_its_age():
    # Over the grid s (1 − F) / [s (1 − F) + (1 − s)(1 − F/2)], F = 1 − e^(−days/15), at a year's fee
    for days, chance in ((0, 0.312960), (10, 0.245757), (40, 0.067852)):
        found = forecast((QUOTE, -days, 0, 1, 1), week_count=60)
        assert found.outlook(np.ones((1, 1))).mean == pytest.approx([chance], abs=1e-6)


def test_weeks_in_which_the_work_of_a_call_may_start():
    weeks = forecast((NEW, np.nan, 0, 1, 1)).shares(7 * np.arange(10), is_ready=True)[:, 0]
    assert np.diff(weeks) == pytest.approx(
        [0, 0, 0.165357, 0.232641, 0.211450, 0.145641, 0.091330, 0.057272, 0.035915], abs=1e-6
    )
    assert 1 - weeks[-1] == pytest.approx(0.060394, abs=1e-6)
    assert 1 - weeks[5] == pytest.approx(0.390553, abs=1e-6)  # of a call four weeks later


def test_calls_of_a_week_go_to_misses_first():
    # x: 20, 7, 5.7, 12.882, 8.848, 7.969 new ones at 20 calls a week
    weeks = deal_calls(MISS, np.zeros(62, int), 20, 6)
    ends = np.cumsum([20, 7, 5.7, 12.882, 8.848, 7.969])
    assert [*weeks] == [int(np.searchsorted(ends, place + 0.5)) for place in range(62)]


def test_whoever_was_tried_comes_first():
    found = forecast(*[(NEW, np.nan, 0, 1, 1)] * 20, *[(TRIED, np.nan, 2, 1, 1)] * 15)
    assert found.leads["day"].tolist() == [0.0] * 5 + [7.0] * 15 + [0.0] * 15


def test_one_of_each_by_hand_and_by_enumeration():
    # 806.700824 and 178,209.503938; nothing more 0.616684 (exactly 0.616482), 80 % 500 to 1,449.27
    found = forecast(
        (SOLD, 0, 0, 1, 500),
        (QUOTE, 0, 0, 1, 700),
        (NEW, np.nan, 0, 1, 800),
        (NEW, np.nan, 0, 1, 600),
    )
    outlook = found.outlook(np.ones((1, 4)))
    assert outlook.mean == pytest.approx([806.700824], abs=1e-6)
    assert outlook.spread.variance == pytest.approx([178_209.503938], abs=1e-6)
    assert outlook.spread.nothing == pytest.approx([0.616684], abs=1e-6)
    assert outlook.quantiles(RANGE_SHARES)[:, 0] == pytest.approx([500, 1449.27], abs=0.01)
    mean, square, nothing = enumerated(stages(), (700,), (800, 600))
    assert outlook.mean[0] - 500 == pytest.approx(mean, abs=1e-6)
    assert outlook.spread.variance[0] == pytest.approx(square - mean**2, rel=1e-9)
    assert outlook.spread.nothing[0] == pytest.approx(nothing, abs=3e-4)


def enumerated(known, quotes, calls):
    """Moments and chance of nothing over all outcomes, with the exact moments of the talk."""
    talked, talked_2 = known.talked
    # Polynomials in the talk's chance, up to its square: two calls are enough
    s = START_SHARES[:, None] * price_falls([1.0])
    mean = square = nothing = 0.0
    for quoted, called in product(product((0, 1), repeat=len(quotes)), product((0, 1), repeat=2)):
        gain = np.dot(quoted, quotes) + np.dot(called, calls)
        of_quotes = np.prod([s if one else 1 - s for one in quoted], axis=0)
        count = sum(called)
        # E[(πs)^k (1 − πs)^(2−k)] by the moments of π
        of_calls = {
            0: 1 - 2 * talked * s + talked_2 * s**2,
            1: talked * s - talked_2 * s**2,
            2: talked_2 * s**2,
        }[count]
        chance = float((known.weights * of_quotes * of_calls).sum())
        mean, square = mean + chance * gain, square + chance * gain**2
        nothing += chance * (gain == 0)
    return mean, square, nothing


def test_free_days_that_passed_without_work_are_gone():
    assert follow_work(np.array([[0, 2.5, 3, 3.2]]), np.ones(4)).tolist() == [[0, 1, 2, 3]]
    endless = np.full(4, np.inf)
    assert follow_work(np.array([[0, 2.5, 3, 3.2]]), endless).tolist() == [[0, 2.5, 3, 3.2]]


def test_whole_seasons_drawn():
    # 94 clients, 20 calls a week, four months: q, agreed and the buyers' cell drawn 4,000 times,
    # calls dealt one by one, answers in continuous days; fixed seed
    rng = np.random.default_rng(20260316)
    years, profit = rng.uniform(0.6, 1.4, 94), rng.uniform(400, 1200, 94)
    found = forecast(*[(NEW, np.nan, 0, r, g) for r, g in zip(years, profit, strict=True)])
    until = 7 * 17
    outlook = found.outlook(found.shares([until]))
    known = stages()
    drawn = np.array([draw_season(rng, known, years, profit, until) for _ in range(4000)])
    assert outlook.mean[0] == pytest.approx(drawn.mean(), rel=0.05)
    assert outlook.spread.nothing[0] == pytest.approx((drawn == 0).mean(), abs=0.02)
    low, high = outlook.quantiles(RANGE_SHARES)[:, 0]
    assert high == pytest.approx(np.quantile(drawn, 0.9), rel=0.05)
    assert low == pytest.approx(np.quantile(drawn, 0.1), rel=0.25, abs=150)


def draw_season(rng, known, years, profit, until):
    """Sell one season call by call."""
    reach = rng.beta(known.reached, known.missed)
    agree = rng.beta(known.agreed, known.refused)
    start, half = np.unravel_index(
        rng.choice(known.weights.size, p=known.weights.ravel()), known.weights.shape
    )
    buys = START_SHARES[start] * price_falls(years)[:, half]
    queue, follow_up, earned, week = list(range(len(years))), {}, 0.0, 0
    while week * 7 < until:
        due = follow_up.pop(week, [])
        due += [(queue.pop(0), 0) for _ in range(min(len(queue), max(0, 20 - len(due))))]
        for client, tries in due:
            if rng.random() >= reach[tries]:
                if tries < 2:
                    follow_up.setdefault(week + 1, []).append((client, tries + 1))
            elif (
                rng.random() < agree * buys[client]
                and 7 * week + 2 + rng.integers(3, 12) + rng.exponential(15) < until
            ):
                earned += profit[client]
        week += 1
    return earned


def test_a_job_of_a_week_stands_in_that_week():
    # day 7 is the Monday after: its own week begins with it
    ready = forecast((SOLD, 7, 0, 1, 500), (SOLD, 6, 0, 1, 500), week_count=3).ready_by_week()
    assert ready.tolist() == [[0, 1, 0], [1, 0, 0]]
