"""Dates as people and spreadsheets write them: one day, or none that can be told for sure."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import date, datetime, timedelta

DAY_ZERO = date(1899, 12, 30)
"""What spreadsheets count days from (the 1900 date system, from March 1900 on)."""

FIRST_DAY, LAST_DAY = date(2000, 1, 1), date(2100, 1, 1)
"""A number outside these days is no day of a call."""

_TIME = r"(?:[ T]\d{1,2}:\d{2}\S*(?: [AaPp][Mm])?)?$"
_ISO = re.compile(rf"^(\d{{4}})[-/.](\d{{1,2}})[-/.](\d{{1,2}}){_TIME}")
_AMERICAN = re.compile(rf"^(\d{{1,2}})[-/.](\d{{1,2}})(?:[-/.](\d{{4}}|\d{{2}}))?{_TIME}")
_MONTHS = 12
YEAR_DAYS = 365
NEAR_DAYS = 300
"""A day to come that is written without its year lies so near (our rule, no source)."""
NEARER_DAYS = YEAR_DAYS // 2
"""One that is past: then no other year's is as near."""

_NUMBER = re.compile(r"^\d{5}(\.\d+)?$")
_COMPACT = re.compile(r"^(20\d{2})(\d{2})(\d{2})$")
_WITHOUT_YEAR = re.compile(
    r"^(\d{1,2}[-/.]\d{1,2}|[A-Za-z]{3,9}\.?[ -]\d{1,2}|\d{1,2}[ -][A-Za-z]{3,9}\.?)$"
)
_WORDED = ("%b %d %Y", "%B %d %Y", "%d %b %Y", "%d %B %Y", "%b %d %y", "%d %b %y")


WEEKEND_DAYS = 2

WEEKDAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")


def monday_of(day: date) -> date:
    """Give the Monday that names a day's week.

    >>> monday_of(date(2026, 3, 18)).isoformat()
    '2026-03-16'
    """
    return day - timedelta(days=day.weekday())


def coming_monday(day: date) -> date:
    """Give the Monday of the week that is planned on a day: on a weekend the one to come.

    >>> [coming_monday(date(2026, 3, day)).day for day in (16, 20, 21, 22, 23)]
    [16, 16, 23, 23, 23]
    """
    return monday_of(day + timedelta(days=WEEKEND_DAYS))


def day_number(mow_day: str) -> int:
    """Number the days of the week from 0 for Monday; what is no day of it, 7, comes last.

    >>> [day_number(text) for text in ("Monday", "Tue", "thurs.", " sunday ", "T", "")]
    [0, 1, 3, 6, 7, 7]
    """
    word = mow_day.strip().casefold().rstrip(".")
    near = [number for number, name in enumerate(WEEKDAYS) if word and name.startswith(word[:3])]
    return near[0] if len(near) == 1 else len(WEEKDAYS)


def is_same_day(mow_day: str, wanted: str) -> bool:
    """Whether two words name the same day of the week, or are the same words.

    >>> is_same_day("Tue", "tuesday"), is_same_day("Tuesday", "tue."), is_same_day("T", "Tuesday"), is_same_day("B", "b")
    (True, True, False, True)
    """
    own, other = day_number(mow_day), day_number(wanted)
    if own == other == len(WEEKDAYS):
        return mow_day.strip().casefold() == wanted.strip().casefold()
    return own == other


def short_day(iso: str, today: date) -> str:
    """Write a day as it stands on paper, with its year where that could be doubted; other texts as they are.

    >>> [short_day(text, date(2026, 3, 16)) for text in ("2026-03-04", "2024-11-03", "2019", "")]
    ['Mar 4', 'Nov 3, 2024', '2019', '']
    """
    day = read_day(iso) if iso else None
    if day is None:
        return iso
    return f"{day:%b} {day.day}" + (f", {day.year}" if abs(today - day).days > NEAR_DAYS else "")


def read_days(texts: Sequence[str], *, since: Sequence[date | None] = ()) -> list[date | None]:
    """Read the days of a column; none of it where one has its day before its month, for the others may, too.

    ``since``: as `read_day` takes it, one a text.

    >>> [str(day) for day in read_days(["25.02.2026", "03.02.2026", "2026-02-27"])]
    ['None', 'None', 'None']
    >>> [str(day) for day in read_days(["02.25.2026", "03.02.2026"])]
    ['2026-02-25', '2026-03-02']
    """
    if find_day_first(texts):
        return [None] * len(texts)
    starts = since or [None] * len(texts)
    return [read_day(text, since=start) for text, start in zip(texts, starts, strict=True)]


def find_day_first(texts: Sequence[str]) -> str:
    """Find a day in a column that has its day before its month; blank: there is none.

    A spreadsheet has then turned those days of the column into dates that could be read the other way.
    """
    found = [(text, _AMERICAN.match(text.strip())) for text in texts]
    return next(
        (text for text, match in found if match and int(match[1]) > _MONTHS >= int(match[2]) > 0),
        "",
    )


def read_day(text: str, *, since: date | None = None) -> date | None:
    """Read a day; one without its year is the one in the year that begins with ``since``, else none.

    >>> [str(read_day(text)) for text in ("2027-03-14", "3/14/27", "46460", "14-Mar-27")]
    ['2027-03-14', '2027-03-14', '2027-03-14', '2027-03-14']
    >>> read_day("14/3/2027"), read_day("soon"), read_day("3/14")
    (None, None, None)
    >>> [str(read_day(text, since=date(2026, 9, 20))) for text in ("3/14", "12-Oct", "Sep 19")]
    ['2027-03-14', '2026-10-12', '2027-09-19']
    """
    plain = " ".join(text.replace(",", " ").split())
    if _WITHOUT_YEAR.match(plain):
        return _in_year_from(plain, since) if since else None
    if match := _ISO.match(plain) or _COMPACT.match(plain):
        year, month, day = (int(part) for part in match.groups())
        return _day(year, month, day)
    if match := _AMERICAN.match(plain):
        month, day, year = (int(part) for part in match.groups())
        return _day(year if len(match[3]) > len("27") else 2000 + year, month, day)
    if _NUMBER.match(plain):
        counted = DAY_ZERO + timedelta(days=int(float(plain)))
        return counted if FIRST_DAY <= counted < LAST_DAY else None
    return _worded(plain)


def _in_year_from(plain: str, since: date) -> date | None:
    mark = next((mark for mark in "/.-" if mark in plain[1:-1]), " ")
    days = (read_day(f"{plain}{mark}{year}") for year in (since.year, since.year + 1))
    return next((day for day in days if day and 0 <= (day - since).days < YEAR_DAYS), None)


def _day(year: int, month: int, day: int) -> date | None:
    try:
        return date(year, month, day)
    except ValueError:
        return None


def _worded(text: str) -> date | None:
    plain = " ".join(text.replace(".", "").replace("-", " ").split())
    for form in _WORDED:
        try:
            return datetime.strptime(plain, form).date()  # noqa: DTZ007  # a day has no zone
        except ValueError:
            continue
    return None
