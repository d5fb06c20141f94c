"""What the pages that look ahead share: their look, and how they write money, days and chances."""

from __future__ import annotations

import math
from datetime import date
from typing import Any

from scanner.pages.plots import PATTERNS
from scanner.pages.sealed import fill_page, open_templates, read_asset
from scanner.units import write_usd

_ASSETS = "plan_assets"
_HALF_FEET_BELOW = 10


def write_share(share: float) -> str:
    """Write a chance in whole percent; nothing that may happen is 0 %.

    >>> write_share(0.0), write_share(0.004), write_share(0.1249), write_share(0.996)
    ('0 %', '<1 %', '12 %', '>99 %')
    """
    percent = round(share * 100)
    if 0 < share < 1 and percent in (0, 100):
        return "<1 %" if percent == 0 else ">99 %"
    return f"{percent} %"


def write_day(day: date) -> str:
    """Write a day in words.

    >>> write_day(date(2026, 3, 16))
    'March 16, 2026'
    """
    return f"{day:%B} {day.day}, {day.year}"


def month_day(day: date) -> str:
    """Write a day of this year in short.

    >>> month_day(date(2026, 3, 16))
    'Mar 16'
    """
    return f"{day:%b} {day.day}"


def write_days(days: float) -> str:
    """Write crew-days to a tenth.

    >>> write_days(2.04), write_days(float("inf"))
    ('2.0', 'no limit')
    """
    return "no limit" if days == float("inf") else f"{days:.1f}"


def write_feet(feet: float) -> str:
    """Write a length as a person says it: whole feet, half feet under 10.

    >>> write_feet(17.6), write_feet(5.4), write_feet(0.6), write_feet(9.9)
    ('18 ft', '5½ ft', '½ ft', '10 ft')
    """
    halves = math.floor(feet * 2 + 0.5) if feet < _HALF_FEET_BELOW else 2 * math.floor(feet + 0.5)
    whole, half = divmod(halves, 2)
    return f"{whole or '' if half else whole}{'½' * half} ft"


def render_page(name: str, page: Any, *, script: str = "") -> str:  # noqa: ANN401 - each page has its own
    """Fill in a page's template and seal it: nothing runs that is not its own, nothing is fetched."""
    open_templates(_ASSETS).filters |= {
        "usd": write_usd, "share": write_share, "day": write_day, "days": write_days,
    }  # fmt: skip
    style = read_asset(f"{_ASSETS}/look.css")
    return fill_page(f"{_ASSETS}/{name}", page=page, style=style, script=script, patterns=PATTERNS)
