"""One client in one year is one trial."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scanner.calls.trials import NOT_SOLD, PENDING, lead_along, list_seasons
from scanner.schema.log_tables import OUTCOMES
from tests.calls.calls_on_record import calls

DECEMBER = date(2027, 12, 1)


def ends(*told, today=DECEMBER):
    seasons = list_seasons(calls(*told), today=today)
    return dict(zip(seasons["client_id"], seasons["end"], strict=True))


@pytest.mark.parametrize(
    ("outcomes", "end"),
    [
        (["not reached"], NOT_SOLD),
        (["not reached", "not reached", "not reached"], NOT_SOLD),
        (["not now"], NOT_SOLD),
        (["no"], NOT_SOLD),
        (["do not call"], NOT_SOLD),
        (["not reached", "no"], NOT_SOLD),
        (["call back"], PENDING),
        (["call back", "not reached"], PENDING),
        (["call back", "no"], NOT_SOLD),
        (["visit"], PENDING),
        (["visit", "not now"], NOT_SOLD),
        (["quoted"], NOT_SOLD),  # in March, and it is December
        (["visit", "quoted", "no"], NOT_SOLD),
        (["quoted", "call back"], PENDING),
        (["visit", "quoted", "sold"], "sold"),
        (["sold", "call back"], "sold"),
    ],
)
def test_how_a_season_ends(outcomes, end):
    told = [("A", f"2027-03-{day:02d}", outcome) for day, outcome in enumerate(outcomes, start=1)]
    assert ends(*told) == {"A": end}


@pytest.mark.parametrize(("days", "end"), [(0, PENDING), (59, PENDING), (60, NOT_SOLD)])
def test_a_quote_is_pending_for_60_days(days, end):
    today = date(2027, 3, 2) + timedelta(days=days)
    assert ends(("A", "2027-03-02", "quoted"), today=today) == {"A": end}


@pytest.mark.parametrize(
    ("called_on", "today", "outcome", "end"),
    [
        # Open until the year is out, and 60 days at the least
        ("2027-03-02", date(2027, 12, 31), "call back", PENDING),
        ("2027-03-02", date(2028, 1, 1), "call back", NOT_SOLD),
        ("2027-03-02", date(2028, 1, 1), "visit", NOT_SOLD),
        ("2027-12-20", date(2028, 2, 17), "visit", PENDING),
        ("2027-12-20", date(2028, 2, 18), "visit", NOT_SOLD),
    ],
)
def test_nothing_is_pending_for_good(called_on, today, outcome, end):
    assert ends(("A", called_on, outcome), today=today) == {"A": end}


def test_each_year_is_a_trial_of_its_own():
    told = [("A", "2026-03-02", "no"), ("A", "2027-03-02", "sold"), ("B", "2027-03-02", "no")]
    seasons = list_seasons(calls(*told), today=DECEMBER)
    assert seasons[["client_id", "year", "end"]].to_numpy().tolist() == [
        ["A", 2026, NOT_SOLD], ["A", 2027, "sold"], ["B", 2027, NOT_SOLD],
    ]  # fmt: skip


def test_order_is_that_of_the_days_not_of_typing():
    told = [("A", "2027-03-09", "no"), ("A", "2027-03-02", "call back")]
    assert ends(*told) == {"A": NOT_SOLD}


@pytest.mark.parametrize(
    ("bed_ids", "along"),
    [("C1-curb-1 C1-house-2", "curb"), ("house-7-sidewalk-2", "sidewalk"), ("", ""), ("C1", "")],
)
def test_kind_from_the_lead_beds_name(bed_ids, along):
    assert lead_along(bed_ids) == along


days = st.dates(date(2026, 1, 1), date(2027, 12, 31)).map(date.isoformat)
entries = st.tuples(st.sampled_from("ABCDEFGHIJKL"), days, st.sampled_from(OUTCOMES))


@settings(max_examples=20, deadline=None)
@given(st.lists(entries, max_size=90), st.dates(date(2027, 12, 31), date(2028, 12, 31)))
def test_every_client_season_is_counted_once(told, today):
    seasons = list_seasons(calls(*told), today=today)
    asked = {(client, day[:4]) for client, day, _ in told}
    assert len(seasons) == len(asked)
