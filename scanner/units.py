"""
Exact factors between the units that the program uses, each once, with its source.

Inside the program lengths are international feet, areas square feet, volumes
cubic yards, masses pounds and money whole cents.

References
----------
.. [1] NIST Special Publication 811 (2008), Appendix B: 1 ft = 0.3048 m exactly,
   1 in = 0.0254 m exactly.
.. [2] NIST Handbook 44, Appendix C: 1 yd³ = 27 ft³, 1 short ton = 2,000 lb.
"""

from __future__ import annotations

from collections.abc import Sequence
from decimal import ROUND_HALF_UP, Decimal

M_PER_FT = 0.3048
"""Meters in one international foot [1]_."""

IN_PER_FT = 12.0
"""Inches in one foot [1]_."""

FT3_PER_YD3 = 27.0
"""Cubic feet in one cubic yard [2]_."""

FT2_IN_PER_YD3 = IN_PER_FT * FT3_PER_YD3
"""Square feet that one cubic yard covers one inch deep: 324."""

LB_PER_TON = 2000.0
"""Pounds in one short ton [2]_."""

MINUTES_PER_HOUR = 60.0
"""Minutes in one hour."""

DAYS_PER_WEEK = 7
"""Days in one week."""

CENTS_PER_USD = 100
"""Cents in one dollar."""

RANGE_STEP_CENTS = 5000
"""Ranges of money are rounded outward to $50 (our rule)."""

SAID_CENTS = 1000
"""A price that a client hears is rounded up to $10 (our rule, no source)."""


def list_words(words: Sequence[str]) -> str:
    """List words as a sentence does.

    >>> list_words(["A", "B", "C"]), list_words(["A"])
    ('A, B and C', 'A')
    """
    *first, last = words
    return f"{', '.join(first)} and {last}" if first else last


def cents_from_usd(amount_usd: float | str | Decimal) -> int:
    """Round a dollar amount to whole cents, half away from zero; a float is read by its shortest decimal form.

    >>> cents_from_usd(1.005), cents_from_usd(-1.005), cents_from_usd("2.5")
    (101, -101, 250)
    """
    amount = Decimal(str(amount_usd))
    if not amount.is_finite():
        message = f"not an amount of money: {amount_usd}"
        raise ValueError(message)
    return int((amount * CENTS_PER_USD).quantize(Decimal(1), rounding=ROUND_HALF_UP))


def usd_text(amount_cents: int) -> str:
    """Write cents as dollars with two decimals, as the output files carry them.

    >>> usd_text(162705), usd_text(-5), usd_text(0)
    ('1627.05', '-0.05', '0.00')
    """
    sign = "-" if amount_cents < 0 else ""
    whole, rest = divmod(abs(int(amount_cents)), CENTS_PER_USD)
    return f"{sign}{whole}.{rest:02d}"


def write_usd(amount_cents: float, digits: int = 0) -> str:
    """Write cents as people read dollars: whole ones, or with so many decimals.

    >>> write_usd(182_049), write_usd(-5_000), write_usd(-40), write_usd(129_765, 2), write_usd(5, 2)
    ('$1,820', '-$50', '$0', '$1,297.65', '$0.05')
    """
    amount = round(amount_cents / CENTS_PER_USD, digits)
    return f"{'-' if amount < 0 else ''}${abs(amount):,.{digits}f}"


def said_cents(price_cents: int) -> int:
    """Round a price that a client hears, sees or signs [cents]: up to $10.

    >>> said_cents(181_234), said_cents(182_000)
    (182000, 182000)
    """
    return -(-price_cents // SAID_CENTS) * SAID_CENTS


def usd_said(price_cents: int) -> str:
    """Write a price as a client hears it: rounded up to $10.

    >>> usd_said(181_234), usd_said(182_000)
    ('$1,820', '$1,820')
    """
    return f"${said_cents(price_cents) // CENTS_PER_USD:,}"
