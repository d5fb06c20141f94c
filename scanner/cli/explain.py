"""Find and price: ``explain`` writes any price out line by line."""

from __future__ import annotations

import math
from datetime import date
from pathlib import Path
from typing import Any

import click
import pandas as pd
from rich.console import Console

from scanner import pipeline
from scanner.cli.keeping import itemize_all, read_for_scan
from scanner.cli.options import book_argument, json_option, today_option
from scanner.cli.rows import print_rows
from scanner.cli.talk import counted, progress_bar, say
from scanner.cli.who import find_client
from scanner.errors import BookError
from scanner.schema.documents import FINISH_WORDS, FINISHES, Finish, RateBook, Scan
from scanner.sheets.cells import factor, usd
from scanner.sheets.description import Column, Sheet
from scanner.units import CENTS_PER_USD

EXPLAINED = Sheet("Explained", (
    Column("offer_id", heading="price of"), Column("bed_id", heading="bed"), Column("finish"),
    Column("task", heading="what for"), Column("quantity", heading="quantity"), Column("unit", heading="unit"),
    Column("rate_usd", heading="rate $"), Column("amount_usd", heading="amount $"),
    Column("rate_key", heading="rates"), Column("source"),
))  # fmt: skip


HALF_CENT = 0.005
RANKED_BY = {
    "offer_profit": "this sum", "lead_profit": "the lead's part alone",
    "profit_per_crew_day": "chance × profit a crew-day",
}  # fmt: skip
"""What a list is sorted by, in words."""


@click.command(short_help="Write any price of a client out, line by line.")
@book_argument
@click.argument("who")
@click.option("--bed", "bed_id", metavar="BED", help="This bed sold alone.  [default: all offers]")
@click.option(
    "--finish", type=click.Choice(FINISHES), help="In this finish.  [default: as offered]"
)
@click.option("--csv", "as_csv", is_flag=True, help="Print csv on a terminal, too.")
@today_option
@json_option
def explain(
    book: Path,
    who: str,
    bed_id: str | None,
    finish: Finish | None,
    as_csv: bool,
    today: date,
    as_json: bool,
) -> None:
    """Write a price out line by line: quantity, unit, rate, amount, and where the rate comes from.

    WHO is a client of BOOK: id, name or phone number. What is offered to the client is
    priced anew; with --bed and --finish any other price. Below stands what the chance and the
    rank of the call are made of.
    """
    season = pipeline.open_season(book)
    read = read_for_scan(book, season)
    client_id = find_client(who, read.clients)
    with progress_bar("looking at the lot") as report:
        found = pipeline.scan(
            read, today=today, season=season, client_ids={client_id}, progress=report
        )
    prices = _choose(found, client_id, bed_id, finish)
    items = itemize_all(found).table("line_items")
    rows = [
        _row(item, found.rates)
        for price in prices.to_dict("records")
        for item in items[_is_of(items, price)].to_dict("records")
    ]
    print_rows(rows, EXPLAINED, as_json=as_json, as_csv=as_csv)
    for price in prices.to_dict("records"):
        say(price_line(price))
    for sentence in chance_lines(found, client_id, listed=season.listed):
        say(sentence)
    if not as_csv and not as_json and Console().is_terminal:
        for key in dict.fromkeys("*".join(row["rate_key"] for row in rows).split("*")):
            rate = getattr(found.rates, key)
            say(f"{key} = {rate.value:g}: {rate.source}")


def price_line(price: dict[Any, Any]) -> str:
    """Say what the lines of one price come to, to the cent.

    >>> price_line({"offer_id": "C7-curb-1", "finish": "mulch", "price_cents": 162718, "sales_tax_cents": 11390,
    ...             "price_low_cents": 120000, "price_high_cents": 230000, "method": "hand", "crew_days": 0.73})
    'C7-curb-1, mulch: $1,627.18 before tax, $1,741.08 with sales tax; $1,200 to $2,300 until it is measured; by hand, 0.7 crew-days.'
    """
    usd_of = {
        name: price[f"{name}_cents"] / CENTS_PER_USD
        for name in ("price", "price_low", "price_high", "sales_tax")
    }
    tax = (
        f", ${usd_of['price'] + usd_of['sales_tax']:,.2f} with sales tax"
        if usd_of["sales_tax"]
        else ""
    )
    method = price["method"] if price["method"] == "hand" else f"the {price['method']}"
    return (
        f"{price['offer_id']}, {FINISH_WORDS[price['finish']]}: ${usd_of['price']:,.2f} before tax{tax}; "
        f"${usd_of['price_low']:,.0f} to ${usd_of['price_high']:,.0f} until it is measured; "
        f"by {method}, {price['crew_days']:.1f} crew-days."
    )  # fmt: skip


def chance_lines(found: Scan, client_id: str, *, listed: pd.DataFrame) -> list[str]:
    """Say what the chance of a client's call and its place in the list are made of."""
    calls = found.calls[found.calls["client_id"] == client_id].to_dict("records")
    if not calls:
        return []
    call, record = calls[0], found.chance_record
    offer = found.offers.set_index("offer_id").loc[call["offer_id"]]
    years, profit = call["price_over_annual"], offer["gross_profit_cents"] / CENTS_PER_USD
    steps = record.reached * call["still_reached"], record.agreed, call["buys"]
    signs = math.prod(float(part.rpartition(" ")[2]) for part in call["sign_factors"].split("; "))
    lines = [
        f"Chance: reached {steps[0]:.1%} ({_rests(record.attempt_count, 'try', 'tries')}) × agrees to a visit "
        f"{steps[1]:.1%} ({_rests(record.talk_count, 'talk', 'talks')}) × buys {steps[2]:.1%} at {years:.2f} years "
        f"of mowing ({_rests(record.quote_count, 'quote', 'quotes')}) = {math.prod(steps):.2%}.",
        f"Kind and signs: {call['sign_factors']}; together × {signs:.3f}.",
    ]
    own = listed[listed["offer_id"] == call["offer_id"]].to_dict("records")
    if own and own[0]["price_cents"] == offer["price_cents"]:
        chance, expected = own[0]["chance"], own[0]["expected_profit_cents"] / CENTS_PER_USD
        scale = chance / (math.prod(steps) * signs)
        place = f"in the list of {own[0]['scanned_on']}: × {scale:.3f}, so that signs move no sum of a list, = {chance:.2%}"
    else:
        chance, expected = call["chance"], call["expected_profit_cents"] / CENTS_PER_USD
        place = f"no list of this price is on record: {chance:.2%} as the only call of one"
    added = expected - chance * profit
    lines.append(f"Chance {place}.")
    upgrade = f" + ${added:,.2f} that the larger job adds" if abs(added) >= HALF_CENT else ""
    lines.append(
        f"Rank: {chance:.2%} × gross profit ${profit:,.2f} = ${chance * profit:,.2f}{upgrade} = ${expected:,.2f}; "
        f"lists are sorted by {RANKED_BY[found.rates.rank_by]}."
    )
    return lines if not call["left_out"] else [*lines, f"Not called: {call['left_out']}."]


def _rests(count: int, one: str, many: str) -> str:
    return f"{counted(count, one, many)} on record, and the rate book's starting counts"


def _choose(found: Scan, client_id: str, bed_id: str | None, finish: Finish | None) -> pd.DataFrame:
    """Rows of table `PRICES` that are asked for: the offers in their order, or one bed alone."""
    beds = found.beds[found.beds["client_id"] == client_id].set_index("bed_id")
    if bed_id is not None and bed_id not in beds.index:
        known = ", ".join(beds.index) or "none was found"
        message = f"'{bed_id}' is no bed of {client_id}: {known}"
        raise click.BadParameter(message, param_hint="--bed")
    offers = found.offers["offer_id"].tolist() if bed_id is None else [bed_id]
    prices = found.table("prices").set_index("offer_id", drop=False)
    prices = prices[prices["finish"] == finish if finish else prices["is_lead"]]
    chosen = prices.loc[[offer for offer in offers if offer in prices.index]]
    if chosen.empty:
        raise BookError(why_no_price(found, client_id, beds, bed_id))
    return chosen


def why_no_price(found: Scan, client_id: str, beds: pd.DataFrame, bed_id: str | None) -> str:
    """Say why a client, or a bed, has no price."""
    if bed_id is not None:
        return f"{bed_id} has no price: it is skipped, {beds['skip_reason'].to_dict()[bed_id]}"
    skipped = "; ".join(
        f"{name} is skipped, {why}" for name, why in beds["skip_reason"].to_dict().items()
    )
    of_client = found.problems[found.problems["client_id"] == client_id]
    why = "; ".join(filter(None, [skipped, *of_client["problem"]]))
    return f"{client_id} has no offer and so no price" + (f": {why}" if why else "")


def _is_of(items: pd.DataFrame, price: dict[Any, Any]) -> pd.Series[bool]:
    return (items["offer_id"] == price["offer_id"]) & (items["finish"] == price["finish"])


def _row(item: dict[Any, Any], rates: RateBook) -> dict[str, Any]:
    sources = (getattr(rates, key).source for key in item["rate_key"].split("*"))
    written = item | {
        "quantity": factor(item["quantity"]),
        "rate_usd": factor(item["rate_usd"], least_digits=2),
        "amount_usd": usd(item["amount_cents"]),
        "source": "; ".join(dict.fromkeys(sources)),
    }
    return {name: written[name] for name in EXPLAINED.names}
