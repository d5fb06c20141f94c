"""
The checklist: what a crew looks at on each lot, on paper, in the order of its stops.

One line a lot, half a minute each. The same questions stand in the spreadsheet that is
filled in afterwards and recorded.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from typing import Any, BinaryIO

import pandas as pd

from scanner.pages.sealed import fill_page, read_asset
from scanner.schema.documents import Company
from scanner.sheets.cells import count
from scanner.sheets.days import day_number, is_same_day
from scanner.sheets.filled import ASKED, CHECKLIST, SCALE_WORDS
from scanner.sheets.writer import Page, write_workbook

ABOUT = (
    ("What this is", "What a crew saw, one row a lot. Fill in the shaded cells; a blank cell is no answer."),
    ("seen_on", "The day on which the crew looked. One row of a route and day is enough when it holds for all of them."),
    ("Afterwards", "bed-scanner record BOOK checklist.xlsx keeps the answers; the next scan goes by them."),
    *((question.name, f"{question.heading} {question.hint}") for question in ASKED),
)  # fmt: skip


@dataclass(frozen=True)
class Round:
    """The lots of one route and day."""

    route: str  # as the client list has them; blank: none
    day: str
    # ``client_id name address stop seen_on`` of each, in the order of the stops
    lots: tuple[dict[str, Any], ...]


def plan_rounds(
    clients: pd.DataFrame, answers: pd.DataFrame, *, route: str | None, day: str | None
) -> tuple[Round, ...]:
    """Put the lots to look at into rounds: one a route and mowing day, stops in order.

    By route, then day of the week; lots without a stop come last, by address. ``answers``: table
    `ANSWERS`: when each lot was last looked at. ``route``, ``day``: take these only, capitals
    aside; None: all.
    """
    seen_on = answers.groupby("client_id")["seen_on"].max().to_dict()
    chosen = clients
    if route is not None:
        chosen = chosen[chosen["route"].str.strip().str.casefold() == route.strip().casefold()]
    if day is not None:
        chosen = chosen[[is_same_day(own, day) for own in chosen["mow_day"]]]
    rounds: dict[tuple[str, str], list[dict[str, Any]]] = {}
    for client in sorted(chosen.to_dict("records"), key=_place):
        lot = {name: client[name] for name in ("client_id", "name", "address")}
        lot |= {"stop": count(client["stop"]), "seen_on": seen_on.get(client["client_id"], "")}
        rounds.setdefault((client["route"].strip(), client["mow_day"].strip()), []).append(lot)
    return tuple(Round(*key, tuple(lots)) for key, lots in rounds.items())


def render_checklist(rounds: Iterable[Round], *, company: Company, book: str, today: date) -> str:
    """Make the page to print of `plan_rounds`: one file, no script, each round on a new sheet of paper."""
    style = read_asset("checklist_assets/checklist.css")
    return fill_page(
        "checklist_assets/checklist.html", style=style, rounds=tuple(rounds), questions=ASKED,
        scale=SCALE_WORDS, company=company, book=book, today=today.isoformat(),
    )  # fmt: skip


def checklist_xlsx(file: BinaryIO, rounds: Iterable[Round], *, book: str, today: date) -> None:
    """Write the checklist as a spreadsheet: the same lots and questions, to be filled in and recorded."""
    # What is known of an earlier look stands on paper only: here it would be an answer
    rows = (
        {**lot, "route": one.route, "mow_day": one.day, "seen_on": ""}
        for one in rounds
        for lot in one.lots
    )
    title = f"{book}, {today.isoformat()}"
    write_workbook(
        file, [Page(CHECKLIST, rows)], ("About", ABOUT), title=title, author=book, day=today
    )


def _place(client: dict[Any, Any]) -> tuple[Any, ...]:
    stop = count(client["stop"])
    weekday = day_number(client["mow_day"])
    return (
        client["route"].strip() == "", client["route"].strip().casefold(), weekday,
        client["mow_day"].strip().casefold(), stop is None, stop or 0, client["address"].casefold(),
        client["client_id"],
    )  # fmt: skip
