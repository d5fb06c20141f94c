"""
When digging may begin after a call to the locating service, and until when its ticket holds.

Working days are Monday to Friday without the federal holidays, those that the state keeps too, and
those of the local rules. Hours are counted as whole days: what is told is never too early.
"""

from __future__ import annotations

import calendar
from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, timedelta

from scanner.calls.cancel_days import federal_holidays
from scanner.schema.locating import LAWS, MORE_HOLIDAYS

ONE_DAY = timedelta(days=1)
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
