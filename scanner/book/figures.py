"""A firm's own figures over the standard ones, each checked by itself."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping
from difflib import get_close_matches
from typing import Any

from scanner.book.settings import PARTS, Choice, Figure, Setting
from scanner.sheets.problems import Problem, fault, shown

ABSURD_RATIO = 100.0
"""A figure this many times the standard one, or this small a part of it, is absurd."""

_ALIKE = 0.5
"""How alike a misspelled name must be to be taken for a known one, 0 to 1."""

_NOT_ZERO = re.compile(
    r"^(labor_usd_per_hour|crew_count|day_hours|\w+(?<!usd)_per_hour|trailer_\w+|swell_ratio|edging_stick_ft"
    r"|\w+_depth_in|plant_spacing_in|\w+_per_yd3|soil_\w+|prior_\w+|\w+_odds|min_depth_ft|bed_depth_ft|gap_ft"
    r"|mower_ft|turn_radius_ft|infer_max_ft2|front_reach_ft|job_limit_crew_days)$"
)
_MAY_BE_ZERO = re.compile(r"^\w+_usd_per_\w+$")
_STANDARD_KEPT = "the standard value is used instead"


def merge_settings(
    standard: Mapping[str, Setting], own: Mapping[str, Any], file: str
) -> tuple[dict[str, Setting], list[Problem]]:
    """
    Put a firm's own settings over the standard ones, each checked by itself.

    Parameters
    ----------
    standard
        Standard settings by key.
    own
        What came in the firm's file, by key.
    file
        Name of the firm's file.

    Returns
    -------
    settings
        One setting for each standard key; where what came is faulty, the standard one.
    problems
        One fault a faulty or unknown key.

    Examples
    --------
    >>> standard = {"crew_count": Figure(2.0, 2.0, 4.0, "common practice, no source")}
    >>> settings, problems = merge_settings(standard, {"crew_count": 5, "crew": 2}, "rates.toml")
    >>> settings["crew_count"]
    Figure(value=5.0, low=2.0, high=5.0, source="this book's rates.toml")
    >>> problems[0]["remedy"]
    'write crew_count, or take the line out'
    """
    settings = dict(standard)
    problems: list[Problem] = []
    for key, came in own.items():
        if key not in standard:
            problems.append(_tell_unknown(file, key, standard))
            continue
        settings[key], complaint = _read_setting(key, came, standard[key], file)
        if complaint:
            problem, remedy = complaint
            problems.append(fault(file, key, f"{problem}; {_STANDARD_KEPT}", remedy))
    return settings, problems


def _tell_unknown(file: str, key: str, known: Iterable[str]) -> Problem:
    names = list(known)
    group, _, last = key.rpartition(".")
    if group and last in names:
        problem = f"{last} stands under [{group}], where it means nothing; it is passed over"
        return fault(
            file, key, problem, f"move the line {last} to the top of the file, above every [ ]"
        )
    near = get_close_matches(key, names, n=1, cutoff=_ALIKE) or [
        name for name in names if name.endswith(f".{last}")
    ]
    near = near or get_close_matches(last, names, n=1, cutoff=_ALIKE)
    remedy = f"write {near[0]}, or take the line out" if near else "take the line out"
    return fault(file, key, f"no setting has the name {shown(key)}; it is passed over", remedy)


Complaint = tuple[str, str] | None
"""What is wrong and what to do about it."""


def _read_setting(
    key: str,
    came: object,
    usual: Setting,
    file: str,
) -> tuple[Setting, Complaint]:
    if isinstance(usual, Choice):
        return _read_choice(came, usual, file)
    return _read_figure(key, came, usual, file)


def _read_choice(came: object, usual: Choice, file: str) -> tuple[Choice, Complaint]:
    value = came.get("value") if isinstance(came, dict) else came
    own_source = f"this book's {file}"
    source = str(came.get("source", own_source)) if isinstance(came, dict) else own_source
    if isinstance(usual.value, str):
        if isinstance(value, str):
            return Choice(value, source), None
        return usual, (
            f"{shown(value)} came where words in quotation marks belong",
            'write it as "words"',
        )
    if isinstance(value, list) and value and all(isinstance(word, str) for word in value):
        return Choice(tuple(value), source), None
    wanted = ", ".join(f'"{word}"' for word in usual.value)
    return usual, (
        f"{shown(value)} came where a list of words belongs",
        f"write a list as [{wanted}]",
    )


def _read_figure(
    key: str,
    came: object,
    usual: Figure,
    file: str,
) -> tuple[Figure, Complaint]:
    parts: dict[str, Any] = dict(came) if isinstance(came, dict) else {"value": came}
    if strange := sorted(parts.keys() - PARTS):
        return usual, (
            f"{shown(strange[0])} stands in it; value, low, high and source are known",
            "take it out",
        )
    numbers = {part: parts[part] for part in ("value", "low", "high") if part in parts}
    for part, number in numbers.items():
        if (
            isinstance(number, bool)
            or not isinstance(number, int | float)
            or not math.isfinite(number)
        ):
            return usual, (
                f"{part} is {shown(number)}, where a number belongs",
                "write a number without quotation marks",
            )
    least, most = limits(key, usual)
    for part, number in numbers.items():
        floor = least if part == "value" else min(least, usual.low, 0.0)
        if not floor <= number <= most:
            problem = f"{part} is {number:g}; from {floor:g} to {most:g} is allowed"
            return usual, (problem, _remedy(key, usual))
    value = float(numbers.get("value", usual.value))
    low = float(numbers.get("low", min(usual.low, value)))
    high = float(numbers.get("high", max(usual.high, value)))
    if not low <= value <= high:
        problem = f"low {low:g}, value {value:g}, high {high:g} came; low may not be above value, nor value above high"
        return usual, (problem, "put the three in order, or write the value alone")
    return Figure(value, low, high, str(parts.get("source") or f"this book's {file}")), None


def limits(key: str, usual: Figure) -> tuple[float, float]:
    """
    Tell the least and most that a setting may be.

    Parameters
    ----------
    key
        Name of the setting; its ending is its unit.
    usual
        Its standard figure.

    Returns
    -------
    least, most
        In the setting's unit. Shares stay under 1, a range between -0.95 and 2;
        others between a hundredth and a hundred times the standard figure, and
        zero where none of a thing can be meant.

    Examples
    --------
    >>> limits("gross_margin_share", Figure(0.45, 0.35, 0.55, "common practice, no source"))
    (0.0, 0.95)
    >>> limits("labor_usd_per_hour", Figure(28.0, 22.0, 38.0, "common practice, no source"))
    (0.28, 2800.0)
    """
    if key.startswith("range_"):
        return -0.95, 2.0
    if key.endswith("_share"):
        return 0.0, 0.95
    name = key.rpartition(".")[2]
    if name == "swell_ratio":
        return 1.0, 3.0
    must_be_some = _NOT_ZERO.match(name) and (
        name == "labor_usd_per_hour" or not _MAY_BE_ZERO.match(name)
    )
    largest = max(abs(usual.value), abs(usual.high))
    least = usual.value / ABSURD_RATIO if must_be_some else 0.0
    return least, (usual.value or largest or 1.0) * ABSURD_RATIO


def _remedy(key: str, usual: Figure) -> str:
    if key.endswith("_share"):
        return f"write a share of one: 0.45 is 45 %; the standard value is {usual.value:g}"
    return f"mind the unit that the name ends in; the standard value is {usual.value:g}"
