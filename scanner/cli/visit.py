"""Visit and sell: ``visit`` prints the sheet for the clipboard."""

from __future__ import annotations

import shlex
from typing import Any

import click
import numpy as np
import pandas as pd

from scanner.calls.remarks import known_of
from scanner.cli.keeping import look_at_one
from scanner.cli.options import Asked, command
from scanner.cli.plans import draw_up_plans
from scanner.cli.rows import show_problems
from scanner.cli.sketch import why_nothing
from scanner.cli.talk import say
from scanner.errors import BookError
from scanner.ground.record.corrections import scale_beds
from scanner.job.prices import full_price_cents, price_offers
from scanner.job.quantities import know_lots, take_off
from scanner.pages.bed_words import letter_of
from scanner.pages.publish import paper_name
from scanner.pages.said import own_cautions
from scanner.pages.sketch_page import LEAST_FT2
from scanner.pages.visit_page import Visit, draw_visit
from scanner.schema.documents import Book, Scan, Season
from scanner.sheets.problems import faults_of
from scanner.sheets.visit_blanks import LENGTH


@command("out", "paper", "today", words="Print the sheet to take along on a visit.")
@click.argument("who")
def visit(asked: Asked, who: str) -> int:
    """Print a sheet for a visit to WHO (id, name or phone number), a client of BOOK.

    The drawing with blanks for what is measured, what to ask, prices to say on the spot for
    beds that come out shorter or longer. What is written on it, "record BOOK visit WHO" takes
    by the names printed on it. Writes visit-WHO.pdf.
    """
    at, client_id = look_at_one(asked, who)
    sheet, problems = gather_visit(*at, client_id)
    asked.print_paper(draw_visit(sheet, asked.paper), paper_name("visit", client_id))
    lengths = " ".join(f'"{LENGTH} {letter_of(at)}=FEET"' for at in range(len(sheet.beds)))
    say(
        "Next, write down what it says by the names of its blanks: bed-scanner record "
        f"{shlex.quote(asked.book.as_posix())} visit {client_id} {lengths} slope=flat"
    )
    show_problems(faults := faults_of(problems), as_json=False)
    return len(faults)


def gather_visit(
    book: Book, season: Season, found: Scan, client_id: str
) -> tuple[Visit, pd.DataFrame]:
    """Gather what the sheet of a client tells, and table PROBLEMS of its plants; `BookError` where nothing is offered."""
    leads = found.offers[(found.offers["client_id"] == client_id) & (found.offers["phase"] == 1)]
    if leads.empty:
        raise BookError(why_nothing(found, client_id).removesuffix("."))
    lead = leads.iloc[0]
    offer_beds = found.table("offer_beds")
    beds = offer_beds[offer_beds["offer_id"] == lead["offer_id"]]
    drawn = draw_up_plans(
        book, season, found, beds, offer_beds.iloc[:0], {lead["offer_id"]: lead["finish"]}
    )
    prices, head_cents = price_lengths(book, season, found, lead["offer_id"])
    plan = drawn.plans.get(client_id)
    rows = (plan.beds if plan else beds).to_dict("records")
    sheet = Visit(
        client=found.clients.set_index("client_id", drop=False).loc[client_id].to_dict(),
        plan=plan,
        beds=rows,
        finish=str(lead["finish"]),
        prices=prices,
        head_cents=head_cents,
        cautions=_more_cautions(rows, is_drawn=plan is not None),
        known=known_of(found.clients, season, client_id, today=found.today),
    )
    return sheet, drawn.problems


def _more_cautions(beds: list[dict[Any, Any]], *, is_drawn: bool) -> list[str]:
    """Say what no number on the drawing says: city ground, a drive guessed; on foot all that is out of the usual."""
    told = []
    if not is_drawn:
        told += [one for bed in beds for one in own_cautions(bed["cautions"])]
        told.append("nothing is drawn of this lot: look for meters, hydrants, trees and corners")
    if any(bed["right_of_way_ft2"] > LEAST_FT2 for bed in beds):
        told.append("city ground: a permit may be needed")
    if any(bed["is_opening_guessed"] for bed in beds):
        told.append("the place of the drive is a guess: look first")
    return [f"{one[0].upper()}{one[1:]}." for one in dict.fromkeys(told)]


STEP_FT, REACH_SHARE = 4.0, 0.25
"""Lengths are priced in such steps, so far either way."""
MOST_STEPS = 5
"""More rows than this to a side do not fit a clipboard: the step is doubled then."""


def price_lengths(
    book: Book, season: Season, found: Scan, offer_id: str
) -> tuple[pd.DataFrame, int]:
    """Price an offer at other lengths, all its beds longer or shorter alike.

    Rows: ``length_ft``, ``is_drawn`` and ``price_cents`` of each finish by name; and what one more
    sprinkler head adds [cents].
    """
    offer_beds, prices = found.table("offer_beds"), found.table("prices")
    beds = offer_beds[offer_beds["offer_id"] == offer_id].assign(share=np.nan, room_ft=np.nan)
    every = found.table("beds")
    every = every[every["client_id"] == beds["client_id"].iloc[0]]
    lots = know_lots(every, book.clients, rates=book.rates, answers=season.answers)
    drawn_ft = float(beds["edge_ft"].sum())
    lengths = [drawn_ft + off_ft for off_ft in _steps(drawn_ft)]
    # All at once: as drawn, the same with a head more, then every length
    sets = [beds, beds, *(beds.assign(share=length_ft / drawn_ft) for length_ft in lengths)]
    laid = pd.concat([one.assign(offer_id=str(at)) for at, one in enumerate(sets)])
    # Whoever asks for a shorter bed is told its price, however short
    scaled = scale_beds(laid.reset_index(drop=True), rules=book.rules).assign(skip_reason="")
    taken = take_off(scaled, lots, rates=book.rates)
    taken["head_count"] += np.arange(len(taken)) == len(beds)
    priced = price_offers(scaled, taken, lots, rates=book.rates).groupby("offer_id")
    bare, with_head = (priced.get_group(at)["direct_cost_cents"].iloc[0] for at in ("0", "1"))
    rows = [_row(prices[prices["offer_id"] == offer_id], drawn_ft, is_drawn=True)]
    rows += [
        _row(priced.get_group(str(at)), length_ft, is_drawn=False)
        for at, length_ft in enumerate(lengths, start=2)
    ]
    table = pd.DataFrame(rows).sort_values("length_ft", ignore_index=True)
    return table, int(full_price_cents(np.array([with_head - bare]), book.rates)[0])


def _steps(drawn_ft: float) -> list[float]:
    """How much longer or shorter, without nothing.

    >>> _steps(34.0), len(_steps(130.0))
    ([-8.0, -4.0, 4.0, 8.0], 8)
    """
    step = STEP_FT
    while drawn_ft * REACH_SHARE >= step * (MOST_STEPS + 1):
        step *= 2
    count = int(drawn_ft * REACH_SHARE / step + 1e-9)
    return [step * at for at in range(-count, count + 1) if at]


def _row(prices: pd.DataFrame, length_ft: float, *, is_drawn: bool) -> dict[str, float]:
    by_finish = dict(zip(prices["finish"], prices["price_cents"], strict=True))
    return {"length_ft": length_ft, "is_drawn": is_drawn, **by_finish}
