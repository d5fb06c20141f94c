"""Visit and sell: ``visit`` prints the sheet for the clipboard."""

from __future__ import annotations

import shlex
from typing import Any

import click
import pandas as pd

from scanner.calls.remarks import known_of
from scanner.cli.keeping import look_at_one
from scanner.cli.options import Asked, command
from scanner.cli.plans import draw_up_plans
from scanner.cli.rows import show_problems
from scanner.cli.sketch import why_nothing
from scanner.cli.talk import say
from scanner.cli.visit_prices import price_lengths
from scanner.errors import BookError
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
    at, client_id = look_at_one(asked.book, who, today=asked.today)
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
