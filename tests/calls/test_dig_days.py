"""Days of the locating law: computed from each state's notice, holidays federal unless said."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scanner.calls.dig_days import WorkDays, dig_days, latest_call
from scanner.schema.locating import LAWS
from tests.each import examples


def first(state, called_on, **how):
    days = dig_days(date.fromisoformat(called_on), WorkDays(state, **how))
    return days and days[0].isoformat()


# two full days (Neb. Rev. Stat. 76-2321, F.S. 556.105, O.C.G.A. 25-9-6) and three (73 P.S. 176, NC 87-122); Labor Day
# is 2026-09-07; F.S. 556.102(1) and O.C.G.A. 25-9-3(3) name the Friday after Thanksgiving
@pytest.mark.parametrize(
    ("state", "called_on", "dig_from"),
    [
        ("NE", "2026-06-01", "2026-06-04"), ("NE", "2026-06-05", "2026-06-10"), ("NE", "2026-09-03", "2026-09-09"),
        ("PA", "2026-06-01", "2026-06-05"), ("PA", "2026-06-05", "2026-06-11"), ("PA", "2026-09-03", "2026-09-10"),
        ("NE", "2026-11-24", "2026-11-30"), ("FL", "2026-11-24", "2026-12-01"), ("GA", "2026-11-24", "2026-12-01"),
        # IC 8-1-26-16 by its own example: notice on Wednesday, start on Monday (weltman.com), Tuesday where Monday is a holiday
        ("IN", "2026-06-03", "2026-06-08"), ("IN", "2026-05-20", "2026-05-26"),
        # Tex. Util. Code 251.151: notice on Saturday counts from Tuesday's end
        ("TX", "2026-06-06", "2026-06-10"),
    ],
)  # fmt: skip
def test_first_day_of_digging(state, called_on, dig_from):
    assert first(state, called_on) == dig_from


def test_a_holiday_of_the_book_counts():
    # Arbor Day, 2026-04-24, is one of Nebraska's
    assert first("NE", "2026-04-22") == "2026-04-27"
    assert first("NE", "2026-04-22", holidays=[date(2026, 4, 24)]) == "2026-04-28"


# K.S.A. 66-1804: 15 calendar days after the start date; Ala. Code 37-15: 20 working days from it; Va. Code 56-265.17: 15
# working days from the day after the notice; RCW 19.122.030: 45 calendar days; ne1call.com/ticket-life: 17 calendar days
# after the start; nc811.org/ticket-types: 15 full working days, June 19 a holiday
@pytest.mark.parametrize(
    ("state", "last"),
    [
        ("KS", "2026-06-19"),
        ("AL", "2026-07-06"),
        ("VA", "2026-06-23"),
        ("WA", "2026-07-16"),
        ("NE", "2026-06-21"),
        ("NC", "2026-06-23"),
        ("OH", None),
    ],
)
def test_last_day_of_a_ticket(state, last):
    days = dig_days(date(2026, 6, 1), WorkDays(state))
    assert days
    assert (days[1] and days[1].isoformat()) == last


def test_a_state_without_a_rule_has_no_days():
    assert dig_days(date(2026, 6, 1), WorkDays("WY")) is None
    assert latest_call(date(2026, 6, 1), WorkDays("")) is None


@given(st.sampled_from([*LAWS]), st.integers(0, 1_000))
@examples(60)
def test_the_latest_call_is_in_time_and_the_next_day_is_too_late(state, offset):
    days = WorkDays(state)
    day = days.on_or_after(date(2026, 1, 1) + timedelta(days=offset))
    call = latest_call(day, days)
    assert call
    assert dig_days(call, days)[0] == day
    assert dig_days(days.after(call), days)[0] > day
