"""Three stages of a sale: shares worked out by hand, and against scipy and simulated seasons."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
import scipy

from scanner.book.settings import read_rates
from scanner.calls.chance import HALF_YEARS, START_SHARES, Stages, chance_of_sale
from scanner.calls.trials import LOST, OPEN, QUOTE_COLUMNS, SOLD, Trials

RATES = read_rates(None)[0]


def trials(reached=(0, 0, 0), missed=(0, 0, 0), agreed=0, refused=0, quotes=()):
    """What is on record; `quotes` are (end, days open)."""
    table = pd.DataFrame(
        [("A", "", end, days, 0) for end, days in quotes], columns=[*QUOTE_COLUMNS]
    )
    nobody = pd.Series(dtype="int64")
    return Trials(np.array(reached), np.array(missed), agreed, refused, table, nobody)


def stages(years=1.0, **told):
    record = trials(**told)
    return Stages.learn(record, pd.Series(float(years), index=record.quotes.index), rates=RATES)


def chance(known, years, factor=1.0):
    return tuple(float(x[0]) for x in chance_of_sale(known, [years], [factor]))


# Each figure worked out from the definitions: reached 1 - 13/20 x 9.75/13 x 8/9.75, agreed 4/12,
# sold the grid's mean; the interval that of the beta with the product's mean and variance.
@pytest.mark.parametrize(
    ("years", "expected"),
    [
        (np.sqrt(0.5), (0.080109, 0.021688, 0.154111)),
        (1.0, (0.062592, 0.013770, 0.126583)),
    ],
)
def test_before_any_call(years, expected):
    known = stages()
    assert 1 - known.never_reached[0] == pytest.approx(0.6)
    assert known.agreed / (known.agreed + known.refused) == pytest.approx(1 / 3)
    assert known.buys([np.sqrt(0.5)])[0][0] == pytest.approx(0.400547, abs=1e-6)
    assert chance(known, years) == pytest.approx(expected, abs=1e-6)


def test_after_a_season():
    known = stages(
        reached=(40, 15, 6), missed=(60, 45, 39), agreed=20, refused=38,
        quotes=[(SOLD, 0)] * 6 + [(LOST, 0)] * 8 + [(OPEN, 10)] * 3,
    )  # fmt: skip
    # 47 of 120 first tries, 18.25 of 73 second, 7.75 of 54.75 third: 1 - 73/120 x 54.75/73 x 47/54.75
    assert 1 - known.never_reached[0] == pytest.approx(0.608333, abs=1e-6)
    assert known.agreed / (known.agreed + known.refused) == pytest.approx(24 / 70)
    assert known.buys([1.0])[0][0] == pytest.approx(0.380787, abs=1e-6)
    assert chance(known, 1.0) == pytest.approx((0.079421, 0.047417, 0.115003), abs=1e-6)
    assert known.record.attempt_count == 205
    assert known.record.talk_count == 58
    assert known.record.quote_count == 17


def test_product_of_nested_stages_is_a_beta():
    # Of Dirichlet shares the product of Beta(12, 8), Beta(4, 8) and Beta(1.6, 2.4) is Beta(1.6, 18.4):
    # here the three tries count as one and the price has no say
    cell = scipy.stats.beta(1.6, 2.4)
    known = stages()
    one = replace(
        known, reached=np.array([12.0]), missed=np.array([8.0]), agreed=4.0, refused=8.0,
        weights=known.weights,
    )  # fmt: skip
    talked, talked_2 = one.talked
    product = scipy.stats.beta(1.6, 18.4)
    assert talked * cell.mean() == pytest.approx(product.mean(), abs=1e-9)
    second = talked_2 * (cell.var() + cell.mean() ** 2)
    assert second == pytest.approx(product.var() + product.mean() ** 2, abs=1e-9)


def test_who_was_tried_in_vain_has_what_is_left():
    # misses .65, .75, .820513: (1 - .75 x .820513)/.6 and (1 - .820513)/.6; then one more try's share
    left = stages().still_reached([0, 1, 2, 3, 7])
    assert left == pytest.approx([1, 0.641026, 0.299145, 0.179487, 0.179487], abs=1e-6)


def test_the_chance_falls_with_the_price():
    years = np.linspace(0, 8, 40)
    mean, low, high = chance_of_sale(stages(), years, np.ones(40))
    assert (np.diff(mean) < 0).all()
    assert ((low <= mean) & (mean <= high)).all()


def test_one_half_of_the_price_response():
    # Half as many buy at h as at nothing, in every cell
    known = stages()
    for place in (0, 12, 24):
        sure = np.zeros_like(known.weights)
        sure[10, place] = 1.0
        cell = replace(known, weights=sure)
        at_h, at_0 = cell.buys([HALF_YEARS[place], 0.0])[0]
        assert at_h == pytest.approx(at_0 / 2)
        assert at_0 == pytest.approx(START_SHARES[10])


def test_equal_profit_a_call_where_the_price_is_h():
    # s(r) r, sales times price, is largest at r = h: d/dr r/(1 + (r/h)²) = 0
    years = np.linspace(0.05, 4, 4000)
    sure = np.zeros_like(stages().weights)
    sure[12, 12] = 1.0
    takings = replace(stages(), weights=sure).buys(years)[0] * years
    assert years[takings.argmax()] == pytest.approx(HALF_YEARS[12], abs=0.01)


def test_the_price_response_is_the_published_one():
    # s(r) = 0.6 / (1 + r²); sales times price tie at r and 1/r
    sure = np.zeros_like(stages().weights)
    sure[12, 12] = 1.0
    assert HALF_YEARS[12] == pytest.approx(1.0)
    cell = replace(stages(), weights=sure)
    years = np.array([0, 0.25, 0.5, np.sqrt(0.5), 1, 1.5, 2, 3])
    shares = cell.buys(years)[0] / START_SHARES[12]
    assert 0.6 * shares == pytest.approx([0.6, 0.56471, 0.48, 0.4, 0.3, 0.18462, 0.12, 0.06], abs=5e-6)  # fmt: skip
    for r, taken in ((0.5, 0.4), (2 / 3, 0.461538), (1, 0.5)):
        pair = np.array([r, 1 / r])
        assert pair * cell.buys(pair)[0] / START_SHARES[12] == pytest.approx([taken] * 2, abs=1e-6)


@pytest.mark.parametrize(("end", "moves"), [(SOLD, 1), (LOST, -1)])
def test_a_quote_moves_the_last_stage_alone(end, moves):
    before, after = stages(), stages(quotes=[(end, 0)])
    assert np.sign(after.buys([1.0])[0][0] - before.buys([1.0])[0][0]) == moves
    assert after.talked == before.talked


def test_an_open_quote_fades():
    chances = [stages(quotes=[(OPEN, days)]).buys([1.0])[0][0] for days in (0, 10, 30, 60)]
    assert chances[0] == pytest.approx(stages().buys([1.0])[0][0])
    assert sorted(chances, reverse=True) == chances


def test_one_day_of_calls_does_not_collapse_the_chance():
    # 92 first tries: 46 not reached, 14 no, 8 not now, 12 visits, 6 quoted, 6 to be called back
    known = stages(
        reached=(46, 0, 0), missed=(46, 0, 0), agreed=18, refused=22, quotes=[(OPEN, 0)] * 6
    )
    was, now = chance(stages(), 1.0)[0], chance(known, 1.0)[0]
    assert 0.8 * was < now < 1.8 * was


@pytest.mark.slow
def test_intervals_hold_what_they_promise():
    """
    Seasons drawn from the prior: the 80 % interval holds the truth in 70 to 88 of 100.

    Clients of a year's fee are tried three times a day apart, visits are quoted at once,
    answers take 15 days; the book is asked on day 10, 40 or 90. Fixed seed.
    """
    draw = np.random.default_rng(20270301)
    held, means, truths = 0, [], []
    for season in range(240):
        day = (10, 40, 90)[season % 3]
        tries = draw.beta([7, 3.25, 1.75], [13, 9.75, 8])
        agrees, start = draw.beta(4, 8), draw.beta(2.5, 1.5)
        half = np.exp(draw.normal(0, 0.5))
        buys = start / (1 + half**-2)
        reached, missed = np.zeros(3, int), np.zeros(3, int)
        talks, quotes = [0, 0], []
        for client in range(60):
            called = client % day
            for place, chance_of_try in enumerate(tries):
                if draw.random() < chance_of_try:
                    reached[place] += 1
                    has_agreed = draw.random() < agrees
                    talks[not has_agreed] += 1
                    if has_agreed:
                        quotes.append(_answer(draw, buys, day - called))
                    break
                missed[place] += 1
        known = stages(
            reached=reached, missed=missed, agreed=talks[0], refused=talks[1], quotes=quotes
        )
        truth = (1 - np.prod(1 - tries)) * agrees * buys
        mean, low, high = chance(known, 1.0)
        held += low <= truth <= high
        means.append(mean)
        truths.append(truth)
    assert 0.70 <= held / 240 <= 0.88
    assert np.sum(means) == pytest.approx(np.sum(truths), rel=0.08)


def _answer(draw, buys, days):
    """How a quote of so many days ago stands: who buys says so, half of the others never do."""
    buys_it = draw.random() < buys
    answers = buys_it or draw.random() < 0.5
    heard = answers and draw.exponential(15) < days
    if heard:
        return (SOLD if buys_it else LOST, 0)
    return (OPEN, days) if days <= 60 else (LOST, 60)
