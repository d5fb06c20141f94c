"""The rate book: the standard one, with what a firm's own rates.toml replaces."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pandas as pd

from scanner.book.figures import merge_settings
from scanner.book.settings import Choice, Setting, load_own, load_standard
from scanner.schema.documents import FINISHES, Rate, RateBook
from scanner.sheets.problems import Problem, fault, list_problems, shown

_WORDS = {"lead_finish": tuple(FINISHES), "plant_size": ("1gal", "3gal", "5gal")}


def read_rates(path: Path | None) -> tuple[RateBook, pd.DataFrame]:
    """
    Read a firm's rate book over the standard one.

    A bare number keeps the standard spread, widened to hold it; a table may give
    value, low, high and source. A faulty key is listed and the standard one used.

    Parameters
    ----------
    path
        ``rates.toml``; None or no such file: the standard rate book.

    Returns
    -------
    rates
        Every rate with low, high and source.
    problems
        Table `PROBLEMS`.

    Examples
    --------
    >>> rates, problems = read_rates(None)
    >>> rates.labor_usd_per_hour.value, len(problems)
    (28.0, 0)
    """
    standard = load_standard("rates.toml")
    own, problems = load_own(path)
    file = path.name if path else "rates.toml"
    settings, merge_problems = merge_settings(standard, own, file)
    settings, word_problems = _check_words(settings, standard, file)
    fields: dict[str, Any] = {}
    for key, setting in settings.items():
        if isinstance(setting, Choice):
            fields[key] = setting.value
        else:
            fields[key] = Rate(
                value=setting.value, low=setting.low, high=setting.high, source=setting.source
            )
    return RateBook(**fields), list_problems([*problems, *merge_problems, *word_problems])


def _check_words(
    settings: dict[str, Setting], standard: dict[str, Setting], file: str
) -> tuple[dict[str, Setting], list[Problem]]:
    checked = dict(settings)
    problems = []
    for key, words in _WORDS.items():
        came = settings[key].value
        if came not in words:
            named = ", ".join(words)
            problem = (
                f"{shown(came)} came; one of {named} is allowed; the standard value is used instead"
            )
            problems.append(fault(file, key, problem, f"write one of {named} in quotation marks"))
            checked[key] = standard[key]
    return checked, problems
