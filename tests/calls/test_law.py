"""Calling law: hours and months, by trade-values section 14 (our reading of 16 CFR 310, 47 CFR 64.1200)."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, time

import pandas as pd
import pytest

from scanner.calls.law import COUNSEL, add_months, is_calling_time, word_relationships
from scanner.calls.log import NO_SEASON
from tests.calls.desk import job_of
from tests.calls.test_history import log_of

CLIENTS = pd.DataFrame({"client_id": ["A", "B"]})


@pytest.mark.parametrize(
    ("day", "months", "last_day"),
    [
        # Trade-values section 14, test dates: 18 months from a purchase, 3 from an inquiry
        (date(2024, 1, 15), 18, date(2025, 7, 15)),
        (date(2025, 1, 31), 3, date(2025, 4, 30)),
        # By hand: leap day, year's end
        (date(2024, 8, 31), 18, date(2026, 2, 28)),
        (date(2025, 11, 30), 3, date(2026, 2, 28)),
        (date(2023, 11, 29), 3, date(2024, 2, 29)),
    ],
)
def test_months_are_counted_to_the_same_day(day, months, last_day):
    assert add_months(day, months) == last_day


@pytest.mark.parametrize(
    ("at", "is_allowed"),
    [
        # Trade-values section 14: 20:59 allowed, 21:01 not, 07:59 not (16 CFR 310.4(c))
        (time(20, 59), True),
        (time(21, 1), False),
        (time(7, 59), False),
        (time(8, 0), True),
    ],
)
def test_calling_hours(at, is_allowed):
    assert is_calling_time(at) is is_allowed


@pytest.mark.parametrize(
    ("today", "words"),
    [
        (date(2025, 7, 15), "may be called as a client through 2025-07-15"),
        (date(2025, 7, 16), "no established relationship since 2025-07-15"),
    ],
)
def test_purchase_named_in_the_client_list(today, words):
    clients = CLIENTS.assign(last_service=["2024-01-15", ""])
    told = word_relationships(clients, NO_SEASON, today=today)
    assert told.iloc[0].startswith(words)
    assert told.iloc[1] == ""


def test_inquiry_that_lapsed_leaves_it_to_the_last_service():
    season = replace(NO_SEASON, calls=log_of(("A", "2025-01-31", "visit")))
    held = word_relationships(CLIENTS, season, today=date(2025, 4, 30))
    assert held.iloc[0] == (
        "may be called as a client through 2025-04-30 (3 months from the inquiry on 2025-01-31)"
    )
    lapsed = word_relationships(CLIENTS, season, today=date(2025, 5, 1))
    assert lapsed.iloc[0].startswith("the inquiry lapsed on 2025-04-30")


def test_built_job_and_sale_are_purchases():
    season = replace(
        NO_SEASON, jobs=job_of(client_id="A"), calls=log_of(("B", "2027-03-02", "sold"))
    )
    told = word_relationships(CLIENTS, season, today=date(2027, 6, 1))
    assert "2028-11-12 (18 months from the last purchase on 2027-05-12)" in told.iloc[0]
    assert "2028-09-02 (18 months from the last purchase on 2027-03-02)" in told.iloc[1]


def test_refusal_is_no_inquiry_and_nonsense_no_day():
    season = replace(NO_SEASON, calls=log_of(("A", "2027-03-02", "no")))
    clients = CLIENTS.assign(last_service="2024")
    assert word_relationships(clients, season, today=date(2027, 3, 3)).tolist() == ["", ""]


def test_counsel_goes_first():
    assert COUNSEL[0].startswith("Your counsel's word goes first")
    assert all(rule in " ".join(COUNSEL) for rule in ("16 CFR 310.4(c)", "47 CFR 64.1200(f)"))
