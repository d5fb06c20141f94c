"""Cells that must hold a number, a flag, a word or a date: read whole columns, list what is wrong."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import date

import numpy as np
import pandas as pd

from scanner.sheets.problems import Problem, fault, shown

Where = Callable[[int], dict[str, str]]
"""From a position in the column to ``file``, ``feature`` and ``client_id`` of a problem."""

_YES = {"yes", "y", "true", "t", "1"}
_NO = {"no", "n", "false", "f", "0"}
_THOUSANDS = re.compile(r"^\d{1,3}(,\d{3})+(\.\d*)?$")
_ISO = re.compile(r"^\d{4}(-\d{2}(-\d{2})?)?$")
_BLANKED = "the cell is taken as blank"


def read_numbers(
    texts: pd.Series[str], where: Where, *, least: float | None, most: float
) -> tuple[pd.Series[float], list[Problem]]:
    """Read a column of numbers; what is not one becomes NaN and a fault.

    Thousands commas and a dollar sign are understood, units are not.

    >>> texts = pd.Series(["1,200", "12 ft", ""], name="length_ft", dtype="str")
    >>> numbers, problems = read_numbers(
    ...     texts, lambda at: {"file": "a.csv", "feature": f"row {at + 2}"}, least=0, most=5000)
    >>> numbers.tolist(), problems[0]["feature"]
    ([1200.0, nan, nan], 'row 3')
    """
    bare = texts.str.strip().str.removeprefix("$")
    is_grouped = bare.str.match(_THOUSANDS)
    bare = bare.where(~is_grouped, bare.str.replace(",", ""))
    numbers = pd.to_numeric(bare.where(bare != ""), errors="coerce").astype(float)
    numbers = numbers.where(np.isfinite(numbers))
    low = -np.inf if least is None else least
    is_wrong = (bare != "") & ~numbers.between(low, most)
    floor = "" if least is None else f" from {least:,.15g}"
    problems = [
        fault(
            **where(at),
            problem=f"{texts.name}: {shown(texts.iloc[at])} came where a number{floor} to {most:,.15g} belongs; {_BLANKED}",
            remedy="write the number alone, without unit or words, or leave the cell blank",
        )
        for at in np.flatnonzero(is_wrong).tolist()
    ]
    return numbers.where(~is_wrong), problems


def read_flags(
    texts: pd.Series[str], where: Where, *, words: tuple[str, ...], doubtful: str = ""
) -> tuple[pd.Series[str], list[Problem]]:
    """Read a column of flags: yes, no, blank, and what else is allowed.

    >>> texts = pd.Series(["Y", "maybe"], name="renter", dtype="str")
    >>> flags, problems = read_flags(
    ...     texts, lambda at: {"file": "a.csv", "feature": f"row {at + 2}"}, words=("yes", "no", ""))
    >>> flags.tolist(), len(problems)
    (['yes', ''], 1)
    """
    plain = texts.str.strip().str.lower()
    plain = plain.where(~plain.isin(_YES), "yes").where(~plain.isin(_NO), "no")
    return _read_words(plain, texts, where, (words, doubtful))


def read_words(
    texts: pd.Series[str], where: Where, *, words: tuple[str, ...]
) -> tuple[pd.Series[str], list[Problem]]:
    """Read a column of words from a list; others become blank and a fault.

    >>> texts = pd.Series(["Curb", "kerb"], name="along", dtype="str")
    >>> found, problems = read_words(
    ...     texts, lambda at: {"file": "a.csv", "feature": f"row {at + 2}"}, words=("curb", "house"))
    >>> found.tolist(), len(problems)
    (['curb', ''], 1)
    """
    plain = texts.str.strip().str.lower().str.replace(r"[\s-]+", "_", regex=True)
    return _read_words(plain, texts, where, ((*words, ""), ""))


def read_dates(texts: pd.Series[str], where: Where) -> tuple[pd.Series[str], list[Problem]]:
    """Read a column of ISO dates: a day, a month or a year; others become blank and a fault.

    >>> texts = pd.Series(["2019", "3/14/2019"], name="client_since", dtype="str")
    >>> dates, problems = read_dates(
    ...     texts, lambda at: {"file": "a.csv", "feature": f"row {at + 2}"})
    >>> dates.tolist(), len(problems)
    (['2019', ''], 1)
    """
    plain = texts.str.strip()
    is_wrong = (plain != "") & ~plain.map(_is_date).astype(bool)
    problems = [
        fault(
            **where(at),
            problem=f"{texts.name}: {shown(texts.iloc[at])} came where a date as 2026-03-14 belongs; {_BLANKED}",
            remedy="write year-month-day, as 2026-03-14; a year alone will do for client_since",
        )
        for at in np.flatnonzero(is_wrong).tolist()
    ]
    return plain.where(~is_wrong, ""), problems


def _read_words(
    plain: pd.Series[str], texts: pd.Series[str], where: Where, allowed: tuple[tuple[str, ...], str]
) -> tuple[pd.Series[str], list[Problem]]:
    words, doubtful = allowed
    is_wrong = ~plain.isin([*words, ""])
    taken = "blank" if not doubtful else f"'{doubtful}', to be on the safe side"
    named = ", ".join(word for word in words if word)
    problems = [
        fault(
            **where(at),
            problem=f"{texts.name}: {shown(texts.iloc[at])} came where one of {named} belongs; taken as {taken}",
            remedy=f"write one of {named}, or leave it blank",
        )
        for at in np.flatnonzero(is_wrong).tolist()
    ]
    return plain.where(~is_wrong, doubtful), problems


def _is_date(text: str) -> bool:
    if not _ISO.match(text):
        return False
    try:
        date.fromisoformat((text + "-01-01")[:10])
    except ValueError:
        return False
    return True
