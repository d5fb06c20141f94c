"""What the calls on record came to, stage by stage."""

from __future__ import annotations

from datetime import date, timedelta

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scanner.calls.trials import LOST, OPEN, SOLD, keep_listed_prices, list_trials
from scanner.schema.log_tables import OUTCOMES
from tests.calls.calls_on_record import calls

TODAY = date(2027, 6, 1)


def trials(*outcomes, client="A", today=TODAY):
    """One client called a day apart from March 1 on."""
    first = date(2027, 3, 1)
    told = [
        (client, (first + timedelta(days=day)).isoformat(), outcome)
        for day, outcome in enumerate(outcomes)
    ]
    return list_trials(calls(*told), today=today)


@pytest.mark.parametrize(
    ("outcomes", "reached", "missed"),
    [
        (["visit"], [1, 0, 0], [0, 0, 0]),
        (["not reached", "no"], [0, 1, 0], [1, 0, 0]),
        (["not reached"] * 5, [0, 0, 0], [1, 1, 3]),  # a fourth and fifth count as third
        (["not reached"] * 3 + ["sold"], [0, 0, 1], [1, 1, 1]),
        (
            ["call back", "not reached", "not reached"],
            [1, 0, 0],
            [0, 0, 0],
        ),  # reached once is enough
    ],
)
def test_tries_count_until_somebody_is_reached(outcomes, reached, missed):
    found = trials(*outcomes)
    assert found.reached_counts.tolist() == reached
    assert found.missed_counts.tolist() == missed


def test_each_year_is_tried_anew():
    told = [
        ("A", "2026-03-01", "not reached"),
        ("A", "2026-03-04", "no"),
        ("A", "2027-03-01", "not reached"),
    ]
    found = list_trials(calls(*told), today=TODAY)
    assert found.missed_counts.tolist() == [2, 0, 0]
    assert found.reached_counts.tolist() == [0, 1, 0]
    assert found.tried_counts.to_dict() == {"A": 1}


@pytest.mark.parametrize(
    ("outcomes", "agreed", "refused"),
    [
        (["visit"], 1, 0),
        (["quoted"], 1, 0),
        (["sold"], 1, 0),
        (["visit", "quoted", "no"], 1, 0),  # he agreed to the visit, whatever came of it
        (["not now"], 0, 1),
        (["no", "no"], 0, 1),
        (["do not call"], 0, 1),
        (["call back"], 0, 0),
        (["call back", "visit"], 1, 0),
        (["not reached"], 0, 0),
    ],
)
def test_one_talk_a_client_and_year(outcomes, agreed, refused):
    found = trials(*outcomes)
    assert (found.agreed_count, found.refused_count) == (agreed, refused)


@pytest.mark.parametrize(
    ("outcomes", "ends"),
    [
        (["visit"], []),
        (["quoted", "sold"], [SOLD]),
        (["sold"], [SOLD]),  # a sale on the spot is a quote that was taken
        (["quoted", "not now"], [LOST]),
        (["quoted", "call back", "no"], [LOST]),
        (["quoted", "quoted", "sold"], [SOLD]),  # made again while open: the same quote
        (["quoted", "no", "quoted", "sold"], [LOST, SOLD]),
        (["no"], []),
    ],
)
def test_how_quotes_end(outcomes, ends):
    assert trials(*outcomes).quotes["end"].tolist() == ends


@pytest.mark.parametrize(
    ("days", "end", "open_days"), [(0, OPEN, 0), (60, OPEN, 60), (61, LOST, 60)]
)
def test_a_quote_is_open_for_60_days(days, end, open_days):
    quotes = trials("quoted", today=date(2027, 3, 1) + timedelta(days=days)).quotes
    assert quotes[["end", "open_days"]].to_numpy().tolist() == [[end, open_days]]


def test_an_answer_after_60_days_is_another_quote():
    told = [("A", "2027-01-04", "quoted"), ("A", "2027-05-04", "sold")]
    found = list_trials(calls(*told), today=TODAY)
    assert found.quotes["end"].tolist() == [LOST, SOLD]


days = st.dates(date(2026, 1, 1), date(2027, 5, 31)).map(date.isoformat)
entries = st.tuples(st.sampled_from("ABCDEFGHI"), days, st.sampled_from(OUTCOMES))


@settings(max_examples=20, deadline=None)
@given(st.lists(entries, max_size=75))
def test_every_client_year_is_reached_once_at_most(told):
    found = list_trials(calls(*told), today=TODAY)
    talked = {(client, day[:4]) for client, day, outcome in told if outcome != "not reached"}
    assert found.reached_counts.sum() == len(talked)
    assert found.agreed_count + found.refused_count <= len(talked)
    quoted = sum(outcome in ("quoted", "sold") for *_, outcome in told)
    assert len(found.quotes) <= quoted


def kept_prices(on_record, told):
    listed = pd.DataFrame({"client_id": ["A", "B", "C"], "price_cents": [100, 200, 300]})
    return keep_listed_prices(calls(*told), calls(*on_record), listed)["price_cents"].tolist()


def test_a_quote_without_a_price_keeps_the_listed_one():
    told = [("A", "2027-03-02", "quoted"), ("B", "2027-03-02", "quoted", "", 9), ("C", "2027-03-02", "visit"),
            ("D", "2027-03-02", "quoted")]  # fmt: skip
    assert kept_prices([], told) == [100, 900, 0, 0]  # D is on no list


def test_a_sale_keeps_the_listed_price_where_no_quote_went_before():
    sold = [("A", "2027-05-01", "sold")]
    assert kept_prices([], sold) == [100]
    assert kept_prices([("A", "2027-03-02", "quoted", "", 9)], sold) == [0]  # 60 days before
    assert kept_prices([("A", "2027-03-01", "quoted", "", 9)], sold) == [100]  # 61: lost by then
    assert kept_prices([], [("A", "2027-04-30", "quoted", "", 9), *sold]) == [900, 0]


def test_what_is_on_record_is_given_no_price_by_a_sheet_read_again():
    told = [("A", "2027-03-02", "quoted")]
    assert kept_prices(told, told) == [0]
