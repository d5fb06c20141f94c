"""
Days that the law sets: until when a sale may be canceled, from when and until when digging is allowed.

A bed that is sold on a visit is a covered sale [1]_ (as we read it: ask counsel). Every day is a
business day but Sundays and federal holidays [2]_; Saturdays count. A holiday that offices keep on
another day is left out on both days, so that the last day told is never too early.

Working days are Monday to Friday without the federal holidays, those that the state keeps too, and
those of the local rules. Hours are counted as whole days: what is told is never too early.

References
----------
.. [1] 16 CFR 429.0(a), (f) and 429.1.
.. [2] 5 USC 6103(a) and (b).
"""

from __future__ import annotations

import calendar
from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, timedelta

from scanner.schema.locating import LAWS, MORE_HOLIDAYS

SOURCE = "16 CFR 429"
BUSINESS_DAYS = 3

ONE_DAY = timedelta(days=1)
_FIXED = ((1, 1), (6, 19), (7, 4), (11, 11), (12, 25))
_NTH = (
    (1, calendar.MONDAY, 2), (2, calendar.MONDAY, 2), (5, calendar.MONDAY, -1), (9, calendar.MONDAY, 0),
    (10, calendar.MONDAY, 1), (11, calendar.THURSDAY, 3),
)  # fmt: skip
"""Federal holidays: month and day; month, day of the week and which of them in the month, from 0."""

_KEPT = {calendar.SATURDAY: -ONE_DAY, calendar.SUNDAY: ONE_DAY}
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
        day += ONE_DAY
        left -= day.weekday() != calendar.SUNDAY and day not in federal_holidays(day)
    return day


def federal_holidays(near: date) -> set[date]:
    """List the federal holidays of the years around a day, also on the days on which offices keep them."""
    years = {near.year, (near + 7 * ONE_DAY).year}
    days = {date(year, *fixed) for year in years for fixed in _FIXED}
    kept = {day + _KEPT.get(day.weekday(), 0 * ONE_DAY) for day in days}
    return days | kept | {_nth(year, *rule) for year in years for rule in _NTH}


def _nth(year: int, month: int, weekday: int, which: int) -> date:
    weeks = calendar.Calendar().monthdatescalendar(year, month)
    own = [week[weekday] for week in weeks if week[weekday].month == month]
    return own[which]


NOVEMBER, DECEMBER = 11, 12


@dataclass(frozen=True)
class WorkDays:
    """Days on which offices of a state work."""

    state: str
    holidays: Collection[date] = ()

    def has(self, day: date) -> bool:
        """Whether it is one of them.

        >>> black_friday = date(2026, 11, 27)
        >>> WorkDays("NE").has(black_friday), WorkDays("FL").has(black_friday)
        (True, False)
        """
        return not (
            day.weekday() >= calendar.SATURDAY or day in federal_holidays(day) or day in self.holidays
            or (self.state in MORE_HOLIDAYS and _is_kept_too(day))
        )  # fmt: skip

    def after(self, day: date, count: int = 1) -> date:
        """Give the working day so many working days after a day.

        >>> WorkDays("").after(date(2026, 6, 5), 2).isoformat()  # Friday: Monday, Tuesday
        '2026-06-09'
        """
        while count:
            day += ONE_DAY
            count -= self.has(day)
        return day

    def on_or_after(self, day: date) -> date:
        """Give the day itself, or the next that is worked on."""
        return day if self.has(day) else self.after(day)

    def before(self, day: date) -> date:
        """Give the last working day before a day."""
        day -= ONE_DAY
        return day if self.has(day) else self.before(day)


def dig_days(called_on: date, days: WorkDays) -> tuple[date, date | None] | None:
    """Give the first day of digging after a call and the last one of its ticket; None where not known.

    >>> first, last = dig_days(date(2026, 6, 1), WorkDays("KS"))  # Monday; two full days; 15 days after the start
    >>> first.isoformat(), last.isoformat()
    ('2026-06-04', '2026-06-19')
    >>> dig_days(date(2026, 6, 1), WorkDays("ZZ")) is None
    True
    """
    law = LAWS.get(days.state)
    if law is None:
        return None
    first = days.after(called_on, law.full_days + 1)
    if not law.life_days:
        return first, None
    start = first if law.from_start else called_on
    last = days.after(start, law.life_days) if law.is_working else start + law.life_days * ONE_DAY
    return first, last


def latest_call(first: date, days: WorkDays) -> date | None:
    """Give the last day on which to call, so that digging may begin on a day; None where not known.

    >>> latest_call(date(2026, 6, 10), WorkDays("NE")).isoformat()  # Wednesday: Friday, with two full days between
    '2026-06-05'
    """
    law = LAWS.get(days.state)
    if law is None:
        return None
    day = first
    for _ in range(law.full_days + 1):
        day = days.before(day)
    return day


def _is_kept_too(day: date) -> bool:
    """Tell whether a day is the Friday after Thanksgiving or Christmas Eve."""
    thanksgiving = day - ONE_DAY
    is_after = (
        day.weekday() == calendar.FRIDAY
        and day.month == NOVEMBER
        and thanksgiving in federal_holidays(day)
    )
    return is_after or (day.month, day.day) == (DECEMBER, 24)
