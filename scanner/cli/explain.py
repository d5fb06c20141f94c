"""Find and price: ``explain`` writes any price out line by line."""

from __future__ import annotations

from typing import Any

import click
import pandas as pd
from rich.console import Console

from scanner.cli.explain_words import chance_lines, price_lines, rate_lines
from scanner.cli.keeping import itemize_all, look_at_one
from scanner.cli.options import Asked, command
from scanner.cli.rows import SCREEN_LETTERS, print_rows
from scanner.cli.talk import tell
from scanner.errors import BookError
from scanner.schema.columns import SKIP_REASONS
from scanner.schema.documents import FINISHES, Finish, RateBook, Scan
from scanner.sheets.cells import factor, sheet_row
from scanner.sheets.description import Column, Sheet

EXPLAINED = Sheet("Explained", (
    Column("offer_id", heading="price of"), Column("bed_id", heading="bed"), Column("finish"),
    Column("task", heading="what for"), Column("quantity", heading="quantity"), Column("unit", heading="unit"),
    Column("rate_usd", heading="rate $"), Column("amount_usd", heading="amount $"),
    Column("rate_key", heading="rates"), Column("source"),
))  # fmt: skip


@command("today", "json")
@click.argument("who")
@click.option("--bed", "bed_id", metavar="BED", help="This bed sold alone.  [default: all offers]")
@click.option(
    "--finish", type=click.Choice(FINISHES), help="In this finish.  [default: as offered]"
)
@click.option("--csv", "as_csv", is_flag=True, help="Print the lines as csv, for a spreadsheet.")
def explain(
    asked: Asked, who: str, bed_id: str | None, finish: Finish | None, as_csv: bool
) -> None:
    """Write a price out line by line: beds, labor, materials, cost, price, and where each rate comes from.

    WHO is a client of BOOK: id, name or phone number. What is offered to the client is
    priced anew; with --bed and --finish any other price. Below stands what the chance and the
    rank of the call are made of.
    """
    (_, season, found), client_id = look_at_one(asked, who)
    prices = _choose(found, client_id, bed_id, finish)
    items = itemize_all(found).table("line_items")
    told = [(price, items[_is_of(items, price)]) for price in prices.to_dict("records")]
    if as_csv or asked.as_json:
        rows = (_row(item, found.rates) for _, own in told for item in own.to_dict("records"))
        print_rows(rows, EXPLAINED, as_json=asked.as_json, as_csv=True)
        return
    width = min(Console().width, SCREEN_LETTERS)
    client = found.clients.set_index("client_id").loc[client_id]
    lines = [f"{client['name'] or client_id} ({client_id})  {client['address']}".strip()]
    for price, own in told:
        lines += ["", *price_lines(price, own, found, width)]
    lines += ["", *chance_lines(found, client_id, listed=season.listed, width=width)]
    keys = dict.fromkeys(
        key for _, own in told for name in own["rate_key"] for key in name.split("*")
    )
    lines += ["", *rate_lines(found.rates, keys, width)]
    tell("\n".join(lines))


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
        return f"{bed_id} has no price: {SKIP_REASONS[beds['skip_reason'].to_dict()[bed_id]]}"
    skipped = "; ".join(
        f"{name}, {SKIP_REASONS[why]}" for name, why in beds["skip_reason"].to_dict().items()
    )
    of_client = found.problems[found.problems["client_id"] == client_id]
    why = "; ".join(filter(None, [skipped, *of_client["problem"]]))
    return f"{client_id} has no offer and so no price" + (f": {why}" if why else "")


def _is_of(items: pd.DataFrame, price: dict[Any, Any]) -> pd.Series[bool]:
    return (items["offer_id"] == price["offer_id"]) & (items["finish"] == price["finish"])


def _row(item: dict[Any, Any], rates: RateBook) -> dict[str, Any]:
    sources = (getattr(rates, key).source for key in item["rate_key"].split("*"))
    return sheet_row(EXPLAINED, item | {
        "quantity": factor(item["quantity"]),
        "rate_usd": factor(item["rate_usd"], least_digits=2),
        "source": "; ".join(dict.fromkeys(sources)),
    })  # fmt: skip
