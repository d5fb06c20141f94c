"""What was said last, what is next, and what to mind: the words that map and calling sheet share."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any

from scanner.schema.locating import LOCATING
from scanner.schema.log_tables import NOTED
from scanner.sheets.days import short_day

USUAL = (
    LOCATING, "in the right-of-way", "sight triangle", "along the curb: plants", "work there behind cones", "first ",
    "the ground must fall",
)  # fmt: skip
"""How the cautions begin that stand at nearly every bed; they are told once, not beside each."""


SAID = ("due_date", "due_action", "last_contact", "last_outcome", "last_note")
"""Columns of a call that these words are made of."""


def next_words(call: Mapping[str, Any], today: date) -> str:
    """Say what to do next.

    >>> call = {"due_date": "2027-03-09", "due_action": "", "last_outcome": "call back"}
    >>> next_words(call, date(2027, 3, 12)), next_words(call | {"due_date": "", "last_outcome": ""}, date(2027, 3, 12))
    ('Call, due Mar 9: 3 days late', 'Not called yet')
    """
    action = call["due_action"][:1].upper() + call["due_action"][1:]
    if call["due_date"]:
        late = (today - date.fromisoformat(call["due_date"])).days
        words = f": {late} day{'s' if late > 1 else ''} late" if late > 0 else ""
        return f"{action or 'Call'}, due {short_day(call['due_date'], today)}{words}"
    if action:
        return action
    last = call["last_outcome"]
    if last == "not reached":
        return "Tried, not reached; call again"
    is_fresh = not last or (last == NOTED and not call["last_note"])
    return "Not called yet" if is_fresh else ""


def last_words(call: Mapping[str, Any], today: date) -> str:
    """Say how the last call ended, with its words.

    >>> last_words({"last_contact": "2027-03-02", "last_outcome": "call back", "last_note": "gate 12#"}, date(2027, 3, 12))
    'Mar 2, call back: gate 12#'
    >>> last_words({"last_contact": "2027-02-11", "last_outcome": NOTED, "last_note": ""}, date(2027, 3, 12))
    'Feb 11, contact in the client list'
    """
    told = ", ".join(filter(None, (short_day(call["last_contact"], today), call["last_outcome"])))
    return ": ".join(filter(None, (told, call["last_note"])))


def own_cautions(cautions: str) -> list[str]:
    """Leave out what is usual.

    >>> own_cautions("in the right-of-way: ask; gas meter: dig by hand; along the curb: plants no taller than 36 in")
    ['gas meter: dig by hand']
    """
    return [one for one in cautions.split("; ") if one and not one.startswith(USUAL)]
