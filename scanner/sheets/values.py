"""Cells that must hold a number, a word, a date or a day: read whole columns, list what is wrong."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Sequence
from datetime import date, timedelta
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from scanner.sheets.days import NEAR_DAYS, NEARER_DAYS, YEAR_DAYS, find_day_first
from scanner.sheets.days import read_days as days_of
from scanner.sheets.description import DATE, DAY, NUMBER, TEXT, WHOLE, WORD, YES_NO, Column
from scanner.sheets.problems import Cause, Problem, Where, fault, row_words, shown, told_at
from scanner.units import IN_PER_FT

MOST_YEARS = 2
"""A call or a promise is no further off than so many years (judgement)."""

DAY_REMEDY = "write year-month-day, as 2027-03-14"

Texts = NDArray[np.object_]

_BLANK = "the cell is taken as blank"
_YES = {"yes", "y", "true", "t", "1", "x", "✓", "✔"}
_NO = {"no", "n", "false", "f", "0"}
_THOUSANDS = re.compile(r"^\d{1,3}(,\d{3})+(\.\d*)?$")
_ISO = re.compile(r"^\d{4}(-\d{2}(-\d{2})?)?$")
_MARKS = {
    "ft": r"'|′|ft|feet|foot",
    "in": '"|″|in|inch|inches',
    "%": "%|percent",
    "heads": "heads?",
}
"""What people write behind a number, by its unit."""

_REMEDIES = {
    NUMBER: "write the number alone, without unit or words, or leave the cell blank",
    WHOLE: "write the number alone, without unit or words, or leave the cell blank",
    WORD: "write {allowed}, or leave it blank",
    DATE: "write year-month-day, as 2026-03-14; a year alone will do for client_since",
    DAY: DAY_REMEDY,
}


def read_columns(
    rows: pd.DataFrame, columns: Iterable[Column], where: Where
) -> tuple[pd.DataFrame, list[Problem]]:
    """Read all columns that aren't plain text; a cell that can't be read is blank and a fault."""
    values: dict[str, pd.Series] = {}
    problems: list[Problem] = []
    for column in columns:
        if column.kind != TEXT:
            values[column.name], found = read_cells(rows[column.name], column, where)
            problems += found
    return rows.assign(**values), problems


def read_cells(
    texts: pd.Series[str], column: Column, where: Where, *, taken: str = _BLANK
) -> tuple[pd.Series, list[Problem]]:
    """Read one column; a cell that can't be read is blank (NaN for numbers), or what its column takes it for.

    >>> texts = pd.Series(["1,200", "12 ft", ""], name="length_ft", dtype="str")
    >>> place = lambda at: {"file": "a.csv", "feature": f"row {at + 2}"}
    >>> numbers, problems = read_cells(texts, Column("length_ft", NUMBER, most=5000), place)
    >>> numbers.tolist(), problems[0]["feature"]
    ([1200.0, nan, nan], 'row 3')
    >>> read_cells(texts, Column("length_ft", NUMBER, most=5000, unit="ft"), place)[0].tolist()
    [1200.0, 12.0, nan]
    >>> words = pd.Series(["Y", "maybe"], name="renter", dtype="str")
    >>> flags, problems = read_cells(words, Column("renter", WORD, choices=YES_NO), place)
    >>> flags.tolist(), problems[0]["problem"]
    (['yes', ''], "renter: 'maybe' came where yes or no belongs; the cell is taken as blank")
    """
    values, problems = read_plain(texts.to_numpy(object), column, where, taken=taken)
    dtype = "float64" if values.dtype.kind == "f" else "str"
    return pd.Series(values, texts.index, dtype=dtype, name=texts.name), problems


def read_plain(
    texts: Texts, column: Column, where: Where, *, taken: str = _BLANK
) -> tuple[NDArray[Any], list[Problem]]:
    """Read one column as `read_cells` does, from texts without an index."""
    plain = [text.strip() for text in texts]
    typed = np.array(plain, dtype=object)
    if not any(plain):
        # most sheets and layers leave most columns blank, and there is nothing to read in them
        is_number = column.kind in (NUMBER, WHOLE)
        return (np.full(len(typed), np.nan) if is_number else typed), []
    values = _READERS[column.kind](plain, column)
    is_wrong = (typed != "") & (pd.isna(values) | (values == ""))
    if column.doubtful:
        values = np.where(is_wrong, column.doubtful, values)
        taken = f"taken as '{column.doubtful}', to be on the safe side"
    allowed = allowed_words(column)
    problems = [
        fault(
            **where(at),
            problem=f"{column.name}: {shown(texts[at])} came where {allowed} belongs; {taken}",
            remedy=_REMEDIES[column.kind].format(allowed=allowed),
        )
        for at in told_at(is_wrong, where)
    ]
    return values, problems


def allowed_words(column: Column) -> str:
    """Say what belongs into a cell.

    >>> allowed_words(Column("curb condition", WHOLE, most=3))
    'a whole number from 0 to 3'
    """
    if column.kind in (NUMBER, WHOLE):
        floor = "" if column.least is None else f" from {column.least:,.15g}"
        return f"a {'whole ' * (column.kind == WHOLE)}number{floor} to {column.most:,.15g}"
    if column.kind == WORD:
        words = [word for word in column.choices if word]
        return "yes or no" if tuple(words) == YES_NO else f"one of {', '.join(words)}"
    return "a date as 2026-03-14"


def day_causes(
    typed: pd.Series[str], days: pd.Series[str], today: date, *, what: str, is_needed: pd.Series[bool] | None = None
) -> tuple[Cause, ...]:  # fmt: skip
    """Say what is wrong with a day, ``what`` it is the day of; ``is_needed``: rows that have to have it, None: all."""
    late = f"write the day {what}; if it is right, this computer's clock is wrong, or --today"
    after = f"{typed.name} " + days + f" is after today, {today}"
    every = pd.Series(data=True, index=typed.index)
    return (
        *unread_causes(typed, days, is_needed=every if is_needed is None else is_needed),
        far_cause(str(typed.name), days, today),
        (days > today.isoformat(), after, late),
    )


def far_cause(name: str, days: pd.Series[str], today: date) -> Cause:
    """Say that a day's year is hardly meant."""
    years = pd.to_numeric(days.str.slice(0, 4), errors="coerce")
    words = f"{name} " + days + f" is more than {MOST_YEARS} years from today, {today}"
    return (years - today.year).abs() > MOST_YEARS, words, "put the year right"


def unread_causes(
    typed: pd.Series[str], days: pd.Series[str], *, is_needed: pd.Series[bool], start: str = ""
) -> tuple[Cause, Cause]:
    """Say why no day was read where one is needed; ``start`` begins the sentence."""
    name, day_first = str(typed.name), find_day_first(typed.tolist())
    row = row_words(typed.index[typed == day_first][0]) if day_first else ""
    is_missing = is_needed & (days == "")
    return (
        (
            is_missing & typed.ne("") & bool(day_first),
            f"{start}{name} is {{{name}}}; {shown(day_first)}{f' in {row}' if row else ''} has its day before its month, so none of this column is read",
            "write the whole column year-month-day, as 2027-03-14",
        ),
        (is_missing, f"{start}{name} is {{{name}}}, which is no day", DAY_REMEDY),
    )


def has_any(rows: pd.DataFrame, names: Iterable[str]) -> pd.Series[bool]:
    """Whether anything stands in one of some columns."""
    return (rows[[*names]] != "").any(axis=1)


def read_days(typed: pd.Series[str], *, today: date | None = None) -> pd.Series[str]:
    """Read days however people write them, as ISO; blank where there is none.

    One without its year is the one nearest to ``today``.
    """
    since = today - timedelta(days=NEARER_DAYS) if today else None
    return _iso(typed, [since] * len(typed))


def read_next_days(typed: pd.Series[str], days: pd.Series[str]) -> pd.Series[str]:
    """Read what is to come after days [ISO]: one without its year lies up to `NEAR_DAYS` ahead."""
    behind = timedelta(days=YEAR_DAYS - 1 - NEAR_DAYS)
    return _iso(typed, [date.fromisoformat(day) - behind if day else None for day in days])


def _iso(typed: pd.Series[str], since: Sequence[date | None]) -> pd.Series[str]:
    days = days_of(typed.tolist(), since=since)
    texts = [day.isoformat() if day else "" for day in days]
    return pd.Series(texts, index=typed.index, name=typed.name, dtype="str")


def _read_numbers(plain: list[str], column: Column) -> NDArray[np.float64]:
    bare = [text.removeprefix("$") for text in plain]
    if column.unit:
        bare = [_without_marks(text, column.unit) for text in bare]
    bare = [text.replace(",", "") if _THOUSANDS.match(text) else text for text in bare]
    numbers = pd.to_numeric(np.array(bare, dtype=object), errors="coerce").astype(float)
    low = -np.inf if column.least is None else column.least
    is_fit = np.isfinite(numbers) & (numbers >= low) & (numbers <= column.most)
    if column.kind == WHOLE:
        is_fit &= numbers == np.floor(numbers)
    return np.where(is_fit, numbers, np.nan)


def _without_marks(text: str, unit: str) -> str:
    r"""Take the marks of its own unit off a number; feet may have inches behind them.

    >>> [_without_marks(text, "ft") for text in ("70'", "55.5 ft", "24' 6\"", "far", "24 6", "36 in")]
    ['70', '55.5', '24.5', 'far', '24 6', '36 in']
    """
    marks = rf"\s*(?:{_MARKS[unit]})\.?"
    inches = rf"(?:\s*(\d+(?:\.\d+)?)\s*(?:{_MARKS['in']})?\.?)?" if unit == "ft" else "()"
    found = re.fullmatch(rf"(\d+(?:\.\d+)?){marks}{inches}", text, re.IGNORECASE)
    return f"{float(found[1]) + float(found[2] or 0) / IN_PER_FT:.6g}" if found else text


def _read_words(plain: list[str], column: Column) -> Texts:
    by_word = {word.replace("_", " "): word for word in column.choices}
    if set(YES_NO) <= set(column.choices):
        by_word |= dict.fromkeys(_YES, "yes") | dict.fromkeys(_NO, "no")
    words = [by_word.get(re.sub(r"[\s_-]+", " ", text.lower()), "") for text in plain]
    return np.array(words, dtype=object)


def _read_dates(plain: list[str], _: Column) -> Texts:
    return np.array([text if _is_date(text) else "" for text in plain], dtype=object)


def _is_date(text: str) -> bool:
    if not _ISO.match(text):
        return False
    try:
        date.fromisoformat((text + "-01-01")[:10])
    except ValueError:
        return False
    return True


_READERS: dict[str, Callable[[list[str], Column], NDArray[Any]]] = {
    NUMBER: _read_numbers,
    WHOLE: _read_numbers,
    WORD: _read_words,
    DATE: _read_dates,
    DAY: lambda plain, _: read_days(pd.Series(plain, dtype="str")).to_numpy(object),
}
