"""
The checklist: what a crew looks at on each lot, on paper, in the order of its stops.

One line a lot, half a minute each. The same questions stand in the spreadsheet that is
filled in afterwards and recorded.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from importlib.resources import files
from typing import Any

import jinja2
import pandas as pd

from scanner.schema.documents import Company
from scanner.schema.log_tables import QUESTIONS
from scanner.sheets.cells import count
from scanner.sheets.days import day_number

YES_NO, SCALE, NUMBER = "yes or no", "scale", "number"


SCALE_WORDS = "0 good, 1 thin or dry, 2 weeds or moss, 3 bare"
"""What the steps mean, above the boxes of each page."""


@dataclass(frozen=True)
class Question:
    """
    How a question is put on paper.

    Attributes
    ----------
    name
        One of `QUESTIONS`.
    heading
        What stands above its boxes.
    kind
        `YES_NO`, `SCALE` (0 to 3) or `NUMBER`.
    unit
        Unit of a number.
    hint
        How to look, in a sentence.
    """

    name: str
    heading: str
    kind: str
    unit: str
    hint: str


ASKED = (
    Question("turf to curb", "Turf up to the curb?", YES_NO, "",
             "The mower goes all the way to the curb: no bed, gravel or paving comes first."),
    Question("turf to house", "Turf up to the house front?", YES_NO, "",
             "The mower goes all the way to the front wall."),
    Question("curb condition", "Look of the edge at the curb", SCALE, "",
             f"{SCALE_WORDS}; good is as good as the rest."),
    Question("house condition", "Look of the edge at the house", SCALE, "",
             "The same scale, along the front wall."),
    Question("heads along edge", "Sprinkler heads along both edges", NUMBER, "",
             "Count those within a long step of the curb and of the front wall. None: 0."),
    Question("drive width ft", "Drive width at the curb", NUMBER, "ft",
             "Where it is widest. A long step is about 3 ft. No drive: 0."),
    Question("curbed", "Street has a curb?", YES_NO, "",
             "No: the pavement just ends in the grass."),
    Question("slope percent", "Slope of the front", NUMBER, "%",
             "Feet of fall over 10 ft, times 10. Flat: 0."),
    Question("gate width in", "Gate width", NUMBER, "in",
             "The narrowest that a machine must get through to the back. No fence: leave it blank."),
    Question("has bed", "Has a bed already?", YES_NO, "",
             "Any planted or mulched bed at the curb or the house front."),
)  # fmt: skip
"""The questions in the order in which a crew walks: curb, front, gate."""

SCALE_STEPS = (0, 1, 2, 3)


@dataclass(frozen=True)
class Round:
    """
    The lots of one route and day.

    Attributes
    ----------
    route, day
        As the client list has them; blank: none.
    lots
        ``client_id name address stop seen_on`` of each, in the order of the stops.
    """

    route: str
    day: str
    lots: tuple[dict[str, Any], ...]


def plan_rounds(
    clients: pd.DataFrame, answers: pd.DataFrame, *, route: str | None, day: str | None
) -> tuple[Round, ...]:
    """
    Put the lots to look at into rounds: one a route and mowing day, stops in order.

    Parameters
    ----------
    clients
        Table `CLIENTS`.
    answers
        Table `ANSWERS`: when each lot was last looked at.
    route, day
        Take these only, capitals aside; None: all.

    Returns
    -------
    rounds
        By route, then day of the week; lots without a stop come last, by address.

    Examples
    --------
    >>> from scanner.schema.log_tables import ANSWERS
    >>> from scanner.schema.tables import CLIENTS, empty_table
    >>> plan_rounds(empty_table(CLIENTS), empty_table(ANSWERS), route=None, day=None)
    ()
    """
    seen_on = answers.groupby("client_id")["seen_on"].max().to_dict()
    chosen = clients
    for column, wanted in (("route", route), ("mow_day", day)):
        if wanted is not None:
            is_wanted = chosen[column].str.strip().str.casefold() == wanted.strip().casefold()
            chosen = chosen[is_wanted]
    rounds: dict[tuple[str, str], list[dict[str, Any]]] = {}
    for client in sorted(chosen.to_dict("records"), key=_place):
        lot = {name: client[name] for name in ("client_id", "name", "address")}
        lot |= {"stop": count(client["stop"]), "seen_on": seen_on.get(client["client_id"], "")}
        rounds.setdefault((client["route"].strip(), client["mow_day"].strip()), []).append(lot)
    return tuple(Round(*key, tuple(lots)) for key, lots in rounds.items())


def render_checklist(rounds: Iterable[Round], *, company: Company, book: str, today: date) -> str:
    """
    Make the page to print.

    Parameters
    ----------
    rounds
        As `plan_rounds` gives them; each begins on a new sheet of paper.
    company
        Who the page speaks for.
    book
        Name of the book.
    today
        Day of printing.

    Returns
    -------
    html
        A whole page that needs no other file and runs no script.
    """
    template = files("scanner.pages") / "checklist_assets" / "checklist.html"
    environment = jinja2.Environment(autoescape=True, trim_blocks=True, lstrip_blocks=True)
    return environment.from_string(template.read_text(encoding="utf-8")).render(
        rounds=tuple(rounds),
        questions=ASKED,
        steps=SCALE_STEPS,
        scale=SCALE_WORDS,
        company=company,
        book=book,
        today=today.isoformat(),
    )


def _place(client: dict[Any, Any]) -> tuple[Any, ...]:
    """Order clients as they are mowed."""
    stop = count(client["stop"])
    weekday = day_number(client["mow_day"])
    return (
        client["route"].strip() == "", client["route"].strip().casefold(), weekday,
        client["mow_day"].strip().casefold(), stop is None, stop or 0, client["address"].casefold(),
        client["client_id"],
    )  # fmt: skip


assert tuple(question.name for question in ASKED) == QUESTIONS  # noqa: S101  # one list, two forms
