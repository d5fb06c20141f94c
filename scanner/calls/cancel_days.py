"""
How long a buyer at home may cancel: to midnight of the third business day after the sale.

A bed that is sold on a visit is a covered sale [1]_ (as we read it: ask counsel). Every day is a
business day but Sundays and federal holidays [2]_; Saturdays count. A holiday that offices keep on
another day is left out on both days, so that the last day told is never too early.

References
----------
.. [1] 16 CFR 429.0(a), (f) and 429.1.
.. [2] 5 USC 6103(a) and (b).
"""

from __future__ import annotations

import calendar
from datetime import date, timedelta

SOURCE = "16 CFR 429"
BUSINESS_DAYS = 3

_ONE_DAY = timedelta(days=1)
_FIXED = ((1, 1), (6, 19), (7, 4), (11, 11), (12, 25))
_NTH = (
    (1, calendar.MONDAY, 2), (2, calendar.MONDAY, 2), (5, calendar.MONDAY, -1), (9, calendar.MONDAY, 0),
    (10, calendar.MONDAY, 1), (11, calendar.THURSDAY, 3),
)  # fmt: skip
"""Federal holidays: month and day; month, day of the week and which of them in the month, from 0."""

_KEPT = {calendar.SATURDAY: -_ONE_DAY, calendar.SUNDAY: _ONE_DAY}
"""Where offices keep a holiday that falls on a day of the weekend."""


def last_day_to_cancel(sold_on: date) -> date:
    """
    Give the third business day after a sale: to its midnight the buyer may cancel.

    >>> last_day_to_cancel(date(2026, 3, 3)).isoformat()  # Tuesday: Wednesday, Thursday, Friday
    '2026-03-06'
    >>> last_day_to_cancel(date(2026, 5, 22)).isoformat()  # Friday: Saturday counts, Sunday and Memorial Day don't
    '2026-05-27'
    """
    day, left = sold_on, BUSINESS_DAYS
    while left:
        day += _ONE_DAY
        left -= day.weekday() != calendar.SUNDAY and day not in federal_holidays(day)
    return day


def federal_holidays(near: date) -> set[date]:
    """List the federal holidays of the years around a day, also on the days on which offices keep them."""
    years = {near.year, (near + 7 * _ONE_DAY).year}
    days = {date(year, *fixed) for year in years for fixed in _FIXED}
    kept = {day + _KEPT.get(day.weekday(), 0 * _ONE_DAY) for day in days}
    return days | kept | {_nth(year, *rule) for year in years for rule in _NTH}


def _nth(year: int, month: int, weekday: int, which: int) -> date:
    weeks = calendar.Calendar().monthdatescalendar(year, month)
    own = [week[weekday] for week in weeks if week[weekday].month == month]
    return own[which]
