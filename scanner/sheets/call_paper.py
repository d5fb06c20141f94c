"""
The call list as a sheet of paper: eleven plain columns to read from on the phone and to write into.

A cell holds what belongs together, one thing a line; `call_of` takes it apart again.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import date

from scanner.schema.log_tables import OUTCOMES
from scanner.sheets.days import read_day
from scanner.sheets.description import DAY, WORD, Column, Form, Sheet

BOX = "☐"
USUAL_ANSWERS = ("not reached", "call back", "visit", "not now", "no")
TICKS = "\n".join(f"{BOX} {answer}" for answer in USUAL_ANSWERS)
"""What stands in an answer's cell on paper; a cell that still holds it holds no answer."""

ANSWERS_UNDER_WAY = ("not reached", "call back", "quoted", "sold", "no")
TICKS_UNDER_WAY = "\n".join(f"{BOX} {answer}" for answer in ANSWERS_UNDER_WAY)
"""What stands there for a client under way."""

_TICKED = re.compile(r"^[☒☑✓✔✗xX]\s+")
_DAY_TOKENS = 3
_ANY_YEAR = date(2024, 1, 1)
"""A leap year: February 29 is a day, too."""


def _column(name: str, width_pt: float, *, kind: str = "text", heading: str = "") -> Column:
    """Describe a column by its width on paper [points]; those behind *last said* are filled in."""
    is_filled_in = name in FILLED_IN
    heading = heading or name.replace("_", " ").capitalize()
    choices = OUTCOMES if kind == WORD else ()
    return Column(name, kind, choices=choices, heading=heading, width=width_pt, is_filled_in=is_filled_in)  # fmt: skip


FILLED_IN = ("called_on", "answer", "note", "next")

PAPER = Sheet("Calls", (
    _column("number", 20, heading="#"), _column("client", 104), _column("phone", 66), _column("what_to_say", 152),
    _column("if_asked", 70), _column("route", 38), _column("last_said", 66), _column("called_on", 50, kind=DAY),
    _column("answer", 64, kind=WORD), _column("note", 52), _column("next", 38),
), needs=("client", "called_on", "answer"), kept_count=2)  # fmt: skip
"""Widths in points: together 720, what landscape letter paper has between half-inch margins."""


def call_of(row: Mapping[str, str]) -> dict[str, str]:
    r"""Take a row of the sheet apart into columns of the call list."""
    *told, client_id = [line.strip() for line in row["client"].splitlines()] or [""]
    next_date, next_action = split_next(row["next"])
    return {
        "client_id": client_id, "name": told[0] if told else "", "phone": row["phone"], "called_on": row["called_on"],
        "outcome": read_answer(row["answer"]), "note": row["note"], "next_action": next_action, "next_date": next_date,
    }  # fmt: skip


def read_answer(cell: str) -> str:
    r"""Read an answer that was chosen, typed or ticked; boxes without a tick say nothing.

    >>> read_answer(TICKS), read_answer("call back"), read_answer("x visit\n☐ not now"), read_answer("x visit\nx no\n☐ not now")
    ('', 'call back', 'visit', 'visit and no')
    """
    lines = (line.strip() for line in cell.splitlines())
    by = " and " if BOX in cell else " "
    return by.join(_TICKED.sub("", line) for line in lines if not line.startswith(BOX))


def split_next(cell: str) -> tuple[str, str]:
    """Part a date at the beginning, with its year or without, from what is to be done.

    >>> split_next("Mar 19: ring after five"), split_next("2027-03-19 ask again"), split_next("12/10/2027 send")
    (('Mar 19', 'ring after five'), ('2027-03-19', 'ask again'), ('12/10/2027', 'send'))
    >>> split_next("1/4"), split_next("send the price")
    (('1/4', ''), ('', 'send the price'))
    """
    tokens = cell.split()
    for count in range(min(_DAY_TOKENS, len(tokens)), 0, -1):
        day = " ".join(tokens[:count]).rstrip(":;,")
        if read_day(day, since=_ANY_YEAR) and not (day.isdigit() and len(tokens) > 1):
            return day, " ".join(tokens[count:]).lstrip("-–: ")
    return "", " ".join(tokens)


CALL_PAPER = Form(PAPER, call_of)
