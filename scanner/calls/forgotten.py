"""
Who asked to be forgotten: no name is kept, only enough to leave the number uncalled.

A mark is the first 28 bits of a salted hash of a phone number's digits. Some 37 of all the
numbers there may be share each mark, so that whoever tries them all does not find out whose it
was; that one of a thousand other clients shares it has a chance of 1 in 270,000.
"""

from __future__ import annotations

import hashlib
import re

import pandas as pd

MARK_LETTERS = 7
"""Hexadecimal digits of a mark, of 4 bits each."""
NUMBER_DIGITS = 10
"""Of a phone number, its area code included; what stands before is the country's."""
FEWEST_DIGITS = 7


def digits_of(phone: str) -> str:
    """Give the digits of a phone number by which it is known, however it is written; blank: it is none.

    >>> digits_of("+1 (308) 555-0107"), digits_of("308.555.0107 ext. 2"), digits_of("none")
    ('3085550107', '3085550107', '')
    """
    number = re.split(r"[a-zA-Z,;#]", phone, maxsplit=1)[0]
    digits = re.sub(r"[^0-9]", "", number)
    return digits[-NUMBER_DIGITS:] if len(digits) >= FEWEST_DIGITS else ""


def mark_of(phone: str, salt: str) -> str:
    """Mark a phone number; blank where it is none.

    >>> mark_of("(308) 555-0107", "a1") == mark_of("1 308 555 0107", "a1") != mark_of("3085550107", "b2")
    True
    """
    digits = digits_of(phone)
    hashed = hashlib.sha256(f"{salt} {digits}".encode()).hexdigest()
    return hashed[:MARK_LETTERS] if digits else ""


def leave_uncalled(clients: pd.DataFrame, marks: tuple[str, ...]) -> pd.DataFrame:
    """Set "do not call" for whoever has a forgotten number; the first of the marks is the salt."""
    if not marks:
        return clients
    salt, *known = marks
    is_known = clients["phone"].map(lambda phone: mark_of(phone, salt)).isin(known)
    return clients.assign(do_not_call=clients["do_not_call"].mask(is_known, "yes"))
