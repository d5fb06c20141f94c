"""Visit and sell: ``sketch`` draws the beds of clients, a page each."""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path

import click
import pandas as pd

from scanner import pipeline
from scanner.cli.keeping import read_for_scan
from scanner.cli.options import book_argument, out_option, output_folder, paper_option, today_option
from scanner.cli.plans import draw_up_plans, plant_words
from scanner.cli.rows import show_problems
from scanner.cli.talk import counted, progress_bar, say, say_unwritten, tell
from scanner.cli.who import find_client
from scanner.pages.publish import publish_files
from scanner.pages.sketch_page import Sender, Sketch, sketches_pdf
from scanner.schema.documents import Book, Scan, Season

PAGE = "sketches.pdf"


@click.command(short_help="Draw the beds of clients to scale, a page each.")
@book_argument
@click.argument("who", nargs=-1)
@out_option
@paper_option
@today_option
@click.pass_context
def sketch(
    ctx: click.Context,
    book: Path,
    who: tuple[str, ...],
    out_folder: Path | None,
    paper: str,
    today: date,
) -> None:
    """Draw what is offered to clients of BOOK: beds, plants, lengths, what is kept clear and why, prices.

    Each WHO is an id, a name or a phone number; without one, all clients on the call list in
    its order. Writes sketches.pdf.
    """
    season = pipeline.open_season(book)
    read = read_for_scan(book, season)
    named, unknown = find_clients(who, read.clients)
    if who and not named:
        ctx.exit(1)
    with progress_bar("looking at the lots") as report:
        found = pipeline.scan(
            read, today=today, season=season, client_ids=named if who else None, progress=report
        )
    if not who:
        calls = found.calls[found.calls["left_out"] == ""].sort_values("rank")
        named = calls["client_id"].tolist()
    sketches, problems = gather_sketches(read, season, found, named)
    drawn = {sketch.client["client_id"] for sketch in sketches}
    missing = [client for client in named if client not in drawn]
    for client in missing:
        say(why_nothing(found, client))
    if sketches:
        sender = Sender(
            read.rules.company,
            today,
            today + timedelta(days=round(read.rules.quote.good_days)),
            read.rates,
            paper,
        )
        document, content = sketches_pdf(sketches, sender)
        file = output_folder(out_folder, book) / PAGE
        tell(str(publish_files({PAGE: content}, file.parent)[0]))
        say(f"Drew {counted(len(sketches), 'client')}.")
        say_unwritten(document.unwritten)
    show_problems(problems[problems["severity"] == "fault"], as_json=False)
    ctx.exit(int(bool(unknown or (who and missing)) or (problems["severity"] == "fault").any()))


def find_clients(who: tuple[str, ...], clients: pd.DataFrame) -> tuple[list[str], int]:
    """Find the clients that are named, each once; of the others is said why not, and how many there are."""
    named, unknown = list[str](), 0
    for one in who:
        try:
            named.append(find_client(one, clients))
        except click.BadParameter as err:
            say(f"{err.message}.")
            unknown += 1
    return list(dict.fromkeys(named)), unknown


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
    drawn = draw_up_plans(book, season, beds, follow, finishes)
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
    if client in set(found.offers["client_id"]):
        return f"{client} was measured on foot: no outline is drawn, so there is nothing to draw to scale. Draw the lot, or print a visit sheet."
    why = found.left_out.set_index("client_id")["reason"].get(client, "")
    skipped = ", ".join(sorted({reason for reason in beds["skip_reason"] if reason}))
    reason = why or (f"its beds are skipped: {skipped}" if skipped else "no bed was found")
    return f"{client}: nothing to sketch, {reason}."
