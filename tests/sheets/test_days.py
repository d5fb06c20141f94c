"""Days as people and spreadsheets write them."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scanner.sheets.days import read_day


@pytest.mark.parametrize(
    ("typed", "day"),
    [
        ("2027-03-14", date(2027, 3, 14)),
        ("2027-3-4", date(2027, 3, 4)),
        ("2027/03/14", date(2027, 3, 14)),
        ("2027-03-14 00:00:00", date(2027, 3, 14)),
        ("2027-03-14T09:30", date(2027, 3, 14)),
        ("20270314", date(2027, 3, 14)),
        ("3/14/2027", date(2027, 3, 14)),
        ("3/4/27", date(2027, 3, 4)),
        # 46,460 days from 30 December 1899: 127 years of 365 days are 46,355, 31 leap days
        # (1904 to 2024) make 46,386 to 30 December 2026, and 74 more lead to 14 March
        ("46460", date(2027, 3, 14)),
        ("46460.75", date(2027, 3, 14)),
        ("Mar 14, 2027", date(2027, 3, 14)),
        ("14 March 2027", date(2027, 3, 14)),
        ("14-Mar-27", date(2027, 3, 14)),
        ("", None),
        ("14/3/2027", None),
        ("2027-02-29", None),
        ("99999", None),
        ("tomorrow", None),
        ("2027", None),
    ],
)
def test_days_as_people_write_them(typed, day):
    assert read_day(typed) == day


@given(st.dates(date(2000, 1, 1), date(2099, 12, 31)))
def test_every_day_is_read_in_every_form(day):
    forms = (
        day.isoformat(),
        f"{day.month}/{day.day}/{day.year}",
        f"{day:%B} {day.day}, {day.year}",
        str((day - date(1899, 12, 30)).days),
    )
    assert {read_day(form) for form in forms} == {day}


@given(st.text())
def test_no_text_stops_the_reader(typed):
    assert read_day(typed) is None or isinstance(read_day(typed), date)


@pytest.mark.parametrize(
    ("typed", "since", "day"),
    [
        # the year from September 10, 2026 on holds each day of the calendar once, but February 29
        ("3/12", date(2026, 9, 10), date(2027, 3, 12)),
        ("12/10", date(2026, 9, 10), date(2026, 12, 10)),
        ("9/9", date(2026, 9, 10), date(2027, 9, 9)),
        ("9/10", date(2026, 9, 10), date(2026, 9, 10)),
        ("Mar 12", date(2026, 9, 10), date(2027, 3, 12)),
        ("12-Mar", date(2026, 9, 10), date(2027, 3, 12)),
        ("2/29", date(2026, 9, 10), None),
        ("2/29", date(2027, 9, 10), date(2028, 2, 29)),
        ("25/2", date(2026, 9, 10), None),
        ("13.13", date(2026, 9, 10), None),
        ("3/12", None, None),
    ],
)
def test_a_day_without_its_year_is_the_one_in_a_year(typed, since, day):
    assert read_day(typed, since=since) == day


@given(st.dates(date(2000, 1, 1), date(2099, 12, 31)), st.integers(0, 363))
def test_every_day_of_a_year_is_found_without_its_year(since, count):
    day = since + timedelta(days=count)
    assert read_day(f"{day:%b} {day.day}", since=since) == day
