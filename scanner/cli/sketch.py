"""Visit and sell: ``sketch`` draws the beds of clients, a page each."""

from __future__ import annotations

from contextlib import ExitStack
from datetime import timedelta
from functools import partial

import click
import pandas as pd

from scanner.cli.keeping import look_at, scanned
from scanner.cli.options import Asked, command
from scanner.cli.plans import draw_up_plans, plant_words
from scanner.cli.rows import show_problems
from scanner.cli.talk import counted, say
from scanner.cli.who import find_client
from scanner.errors import BookError
from scanner.pages.publish import paper_name
from scanner.pages.sketch_page import Sender, Sketch, draw_sketches
from scanner.schema.documents import Book, Scan, Season
from scanner.sheets.problems import faults_of

PAGE = "sketches.pdf"


@command("out", "paper", "today")
@click.argument("who", nargs=-1)
def sketch(asked: Asked, who: tuple[str, ...]) -> int:
    """Draw what is offered to clients of BOOK: beds, plants, lengths, what is kept clear and why, prices.

    Each WHO is an id, a name or a phone number: writes sketch-CLIENT.pdf for each. Without one,
    all clients on the call list in its order: writes sketches.pdf.
    """
    is_short = False
    with ExitStack() as last:
        if who:
            whom = partial(find_clients, who)
            at, named = look_at(asked, whom)
            is_short = len(named) < len(who)
        else:
            at = last.enter_context(scanned(asked))
            calls = at.found.calls[at.found.calls["left_out"] == ""]
            named = calls.sort_values("rank")["client_id"].tolist()
        sketches, problems = gather_sketches(*at, [*dict.fromkeys(named)])
        drawn = {sketch.client["client_id"] for sketch in sketches}
        for client in dict.fromkeys(named):
            if client not in drawn:
                say(why_nothing(at.found, client))
                is_short |= bool(who)
        if sketches:
            _write(sketches, at.book, asked, is_whole_list=not who)
    show_problems(faults := faults_of(problems), as_json=False)
    return is_short + len(faults)


def _write(sketches: list[Sketch], book: Book, asked: Asked, *, is_whole_list: bool) -> None:
    """Write sketches: those of the list into one file, in its order, else one for each client."""
    today, rules = asked.today, book.rules
    good_until = today + timedelta(days=round(rules.quote.good_days))
    sender = Sender(rules.company, today, good_until, book.rates, asked.paper)
    files = {paper_name("sketch", one.client["client_id"]): [one] for one in sketches}
    files = {PAGE: sketches} if is_whole_list else files
    for name, pages in files.items():
        asked.print_paper(draw_sketches(pages, sender), name)
    say(f"Drew {counted(len(sketches), 'client')}.")


def find_clients(who: tuple[str, ...], clients: pd.DataFrame) -> list[str]:
    """Find the clients that are named; of each that is not found is said why."""
    named = list[str]()
    for one in who:
        try:
            named.append(find_client(one, clients))
        except BookError as err:
            say(f"{err}.")
    if not named:
        raise click.exceptions.Exit(1)
    return named


def gather_sketches(
    book: Book, season: Season, found: Scan, clients: list[str]
) -> tuple[list[Sketch], pd.DataFrame]:
    """Gather what the sketches of some clients tell, in their order; table PROBLEMS where no plant fits."""
    offers = found.offers[found.offers["client_id"].isin(clients)]
    leads = offers[offers["phase"] == 1].set_index("client_id")
    offer_beds, prices = found.table("offer_beds"), found.table("prices")
    beds = offer_beds[offer_beds["offer_id"].isin(leads["offer_id"])]
    more = {client: _more_beds(offers[offers["client_id"] == client]) for client in leads.index}
    ids = [bed for own in more.values() for bed in own]
    follow = offer_beds[
        offer_beds["offer_id"].isin(ids) & (offer_beds["offer_id"] == offer_beds["bed_id"])
    ]
    finishes = dict(zip(leads["offer_id"], leads["finish"], strict=True))
    drawn = draw_up_plans(book, season, found, beds, follow, finishes, with_on_foot=True)
    rows = found.clients.set_index("client_id", drop=False)
    alone = prices[prices["is_lead"]].set_index("offer_id", drop=False)
    sketches = [
        Sketch(
            client=rows.loc[client].to_dict(),
            plan=drawn.plans[client],
            finish=str(leads.loc[client, "finish"]),
            plants=plant_words(
                drawn.chosen[drawn.chosen["offer_id"] == leads.loc[client, "offer_id"]], book.plants
            ),
            offer=leads.loc[client].to_dict(),
            prices=prices[prices["offer_id"] == leads.loc[client, "offer_id"]],
            follow_prices=alone.loc[more[client]],
        )
        for client in clients
        if client in drawn.plans
    ]
    return sketches, drawn.problems


def _more_beds(offers: pd.DataFrame) -> list[str]:
    """Name the beds of a client that are in upgrade or later jobs and not in the lead, the upgrade's first."""
    lead = offers[offers["phase"] == 1].iloc[0]
    later = " ".join(offers.loc[offers["phase"] > 1, "bed_ids"])
    more = dict.fromkeys(f"{lead['upgrade_bed_ids']} {later}".split())
    return [bed for bed in more if bed not in lead["bed_ids"].split()]


def why_nothing(found: Scan, client: str) -> str:
    """Say why there is nothing to draw of a client."""
    beds = found.beds[found.beds["client_id"] == client]
    why = found.left_out.set_index("client_id")["reason"].get(client, "")
    skipped = ", ".join(sorted({reason for reason in beds["skip_reason"] if reason}))
    reason = why or (f"its beds are skipped: {skipped}" if skipped else "no bed was found")
    return f"{client}: nothing is offered there, {reason}."
