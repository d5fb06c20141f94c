"""Visit and sell: ``quote`` writes the page that a client signs, and keeps it in the log."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import click
import pandas as pd

from scanner import pipeline
from scanner.calls.entry_kinds import QUOTE
from scanner.calls.jobs import sum_tasks
from scanner.calls.log import open_log
from scanner.calls.quotes import Payments, next_quote_id, quote_states
from scanner.calls.trials import OPEN
from scanner.cli.explain import why_no_price
from scanner.cli.keeping import read_for_scan
from scanner.cli.options import book_argument, out_option, output_folder, paper_option, today_option
from scanner.cli.plans import draw_up_plans, name_plants, plant_words
from scanner.cli.rows import show_problems
from scanner.cli.talk import progress_bar, say, tell
from scanner.cli.who import find_client
from scanner.errors import BookError
from scanner.ground.stored import remember_beds
from scanner.pages.drawing.scene import LotPlan
from scanner.pages.publish import publish_files
from scanner.pages.quote_page import Quote, bed_names, finish_words, quote_pdf, write_cents
from scanner.schema.documents import FINISHES, Book, Scan, Season
from scanner.schema.log_tables import QUOTE_TASKS, QUOTES
from scanner.sheets.filled import MOST_USD
from scanner.units import cents_from_usd, said_cents

SAME = ("client_id", "bed_ids", "finish", "price_cents")
"""What makes an open quote the one that is asked for again."""


@dataclass(frozen=True)
class Priced:
    """Beds priced as one job in one finish."""

    tables: dict[str, pd.DataFrame]  # OFFER_BEDS, QUANTITIES, LINE_ITEMS of it
    price: dict[Any, Any]  # row of PRICES
    chosen: pd.DataFrame  # table CHOSEN_PLANTS
    problems: pd.DataFrame  # table PROBLEMS: where no species fits


@click.command(short_help="Write the quote that a client signs.")
@click.pass_context
@book_argument
@click.argument("who")
@click.option("--finish", type=click.Choice(FINISHES), help="Finish.  [default: as offered]")
@click.option("--beds", "beds", metavar="BED", multiple=True, help="Bed, lead first; give it once for each.  [default: as offered]")  # fmt: skip
@click.option(
    "--price", "price_usd", metavar="USD", type=click.FloatRange(0, MOST_USD, min_open=True),
    help="Price before tax, as it was said.  [default: worked out, up to the next $10]",
)  # fmt: skip
@out_option
@paper_option
@today_option
def quote(
    ctx: click.Context,
    book: Path,
    who: str,
    finish: str | None,
    beds: tuple[str, ...],
    price_usd: float | None,
    out_folder: Path | None,
    paper: str,
    today: date,
) -> None:
    """Write the quote for WHO, a client of BOOK (id, name or phone number), and keep it in the log.

    Without --beds it is for the offer of the call list. Writes quote-<number>.pdf. The same quote
    again keeps its number as long as it is open.
    """
    season = pipeline.open_season(book)
    read = read_for_scan(book, season)
    client_id = find_client(who, read.clients)
    with progress_bar("looking at the lot") as report:
        found = pipeline.scan(
            read, today=today, season=season, client_ids={client_id}, progress=report
        )
    _may_be_quoted(found, client_id)
    bed_ids = choose_beds(found, client_id, beds)
    priced = price_beds(read, season, client_id, bed_ids, finish or _offered(found, bed_ids))
    said = cents_from_usd(price_usd) if price_usd else said_cents(_with_pots(priced))
    show_problems(priced.problems[priced.problems["severity"] == "fault"], as_json=False)
    _warn(priced, said, read)
    row = quote_row(priced, bed_ids, said, today, round(read.rules.quote.good_days))
    plans = draw_up_plans(
        read, season, priced.tables["offer_beds"], priced.tables["offer_beds"].iloc[:0],
        {priced.price["offer_id"]: priced.price["finish"]},
    ).plans  # fmt: skip
    with open_log(book, today=today) as log:
        # A quote names beds: they keep their names from now on
        for part in found.parts:
            log.store_beds(remember_beds(part["beds"], today=today))
        standing = log.season().quotes
        row = _same_open(standing, row, today) or row | {
            "quote_id": next_quote_id(log.quote_ids(), today=today)
        }
        tasks = sum_tasks(priced.tables["line_items"]).assign(quote_id=row["quote_id"])
        counts = log.record(QUOTE, pd.DataFrame([row]), tasks[[*QUOTE_TASKS.columns]])
        page = _page(read, found, priced, row, plans.get(client_id))
        document, content = quote_pdf(page, paper)
        name = f"quote-{page.number}.pdf"
        file = publish_files({name: content}, output_folder(out_folder, book))[0]
    tell(str(file))
    if document.unwritten:
        say(f"No letter shape for {' '.join(sorted(document.unwritten))}: written as ?.")
    others = standing[
        quote_states(standing, today=today).eq(OPEN) & standing["client_id"].eq(client_id)
    ]
    for number in [name for name in others["quote_id"] if name != row["quote_id"]]:
        say(
            f"Quote {number} to the same client is open, too: record it lost if this one stands in its place."
        )
    kept = "kept in the log" if counts.added_count else "on record already"
    say(
        f"Quote {row['quote_id']} over {write_cents(row['price_cents'])} before tax, {kept}. When it is answered: record BOOK quote "
        f"{row['quote_id']} won, or lost --why TEXT."
    )
    ctx.exit(int((priced.problems["severity"] == "fault").any()))


def _may_be_quoted(found: Scan, client_id: str) -> None:
    client = found.clients.set_index("client_id").loc[client_id]
    if client["do_not_call"] == "yes":
        message = f"{client_id} asked not to be called: no quote is written"
        raise BookError(message)
    for flag, words in (
        ("renter", "rents: the owner has to sign"), ("past_due", "has a payment past due: settle that first"),
    ):  # fmt: skip
        if client[flag] == "yes":
            say(f"{client_id} {words}.")


def choose_beds(found: Scan, client_id: str, beds: tuple[str, ...]) -> tuple[str, ...]:
    """Take the beds that are named, else those of the lead; what must not be dug is refused."""
    own = found.beds[found.beds["client_id"] == client_id].set_index("bed_id")["skip_reason"]
    if not beds:
        lead = found.offers[(found.offers["client_id"] == client_id) & (found.offers["phase"] == 1)]
        if lead.empty:
            raise BookError(why_no_price(found, client_id, own.to_frame(), None))
        return tuple(lead["bed_ids"].iloc[0].split())
    for bed in beds:
        if bed not in own.index:
            known = ", ".join(own.index[own == ""]) or "none"
            message = f"'{bed}' is no bed of {client_id}; these may be quoted: {known}"
            raise BookError(message)
        if own[bed]:
            message = f"{bed} must not be dug: it is skipped, {own[bed]}"
            raise BookError(message)
    return tuple(dict.fromkeys(beds))


def _offered(found: Scan, bed_ids: tuple[str, ...]) -> str:
    """Give the finish in which the beds are offered, blank for the one that their job leads with."""
    same = found.offers[found.offers["bed_ids"] == " ".join(bed_ids)]
    return str(same["finish"].iloc[0]) if len(same) else ""


def price_beds(
    book: Book, season: Season, client_id: str, bed_ids: tuple[str, ...], finish: str
) -> Priced:
    """Price beds as one job; a finish that gets no plant there is refused."""
    tables = pipeline.price_job(book, season, client_id, bed_ids)
    prices = tables["prices"]
    wanted = prices[prices["finish"] == finish] if finish else prices[prices["is_lead"]]
    if wanted.empty:
        known = ", ".join(prices["finish"])
        message = f"{', '.join(bed_ids)}: no plant fits, so there is no {finish_words(finish)}; these finishes have a price: {known}"
        raise BookError(message)
    price = {str(name): value for name, value in wanted.iloc[0].items()}
    items = tables["line_items"]
    tables["line_items"] = items[items["finish"] == price["finish"]]
    _, chosen, problems = name_plants(
        book, season, tables["offer_beds"], {price["offer_id"]: price["finish"]}
    )
    return Priced(tables, price, chosen, problems)


def _with_pots(priced: Priced) -> int:
    """Add to a price what species with an own price come to more [cents]."""
    return int(priced.price["price_cents"]) + int(priced.chosen["extra_cents"].sum())


def _warn(priced: Priced, said: int, book: Book) -> None:
    """Say on the terminal what is no client's business."""
    cost = priced.price["direct_cost_cents"]
    if said < cost:
        say(
            f"{write_cents(said)} is under the direct cost of {write_cents(cost)}: the job would lose money."
        )
    if not book.rates.sales_tax_share.value:
        say("sales_tax_share in rates.toml is 0: look whether your state taxes this work.")
    if book.rules.quote.cancel_notice == "no":
        say(
            "Signed at the client's home, the sale may be canceled for three business days, and the paper must say so (16 CFR "
            '429): ask counsel, then set cancel_notice = "yes" under [quote] in local.toml to print notice and form.'
        )
    else:
        say(
            "Signed at the client's home: write the day of signing and the third business day after it into both forms (16 CFR "
            "429; ask counsel)."
        )
    if book.rules.quote.cancel_notice == "yes" and not book.rules.company.address:
        say(
            "The form of cancellation needs the company's address: write address under [company] in local.toml."
        )
    if not (book.rules.quote.license or book.rules.company.license_id):
        say(
            "No license number stands under [quote] or [company] in local.toml: many states want it on a contract."
        )


def quote_row(
    priced: Priced, bed_ids: tuple[str, ...], said: int, today: date, good_days: int
) -> dict[str, Any]:
    """Draw a quote up for the log, a row of `QUOTES` without its number."""
    price, beds = priced.price, priced.tables["offer_beds"]
    return {
        "client_id": price["client_id"], "bed_ids": " ".join(bed_ids), "finish": price["finish"],
        "method": price["method"], "area_ft2": float(beds["area_ft2"].sum()),
        "quick_low_cents": price["price_low_cents"], "quick_high_cents": price["price_high_cents"],
        "price_cents": said, "quoted_on": today.isoformat(),
        "good_until": (today + timedelta(days=good_days)).isoformat(),
        "outcome": "", "ended_on": "", "why": "",
    }  # fmt: skip


def _same_open(quotes: pd.DataFrame, row: dict[str, Any], today: date) -> dict[str, Any] | None:
    """Find the open quote that says the same."""
    is_same = quote_states(quotes, today=today) == OPEN
    for name in SAME:
        is_same &= quotes[name] == row[name]
    same = quotes.loc[is_same, [*QUOTES.columns]].to_dict("records")
    return {str(name): value for name, value in same[-1].items()} if same else None


def _page(
    book: Book, found: Scan, priced: Priced, row: dict[str, Any], plan: LotPlan | None
) -> Quote:
    """Gather what the page says."""
    terms, rates, finish = book.rules.quote, book.rates, row["finish"]
    beds = priced.tables["offer_beds"].to_dict("records")
    sums = priced.tables["quantities"].select_dtypes("number").sum().to_dict()
    tax_share = rates.sales_tax_share.value
    paid = Payments.of(row["price_cents"], tax_share=tax_share, deposit_share=terms.deposit_share)
    payments = [
        (bed_names(len(beds)), finish_words(finish), paid.price_cents),
        ("Sales tax", f"{tax_share:.3%}".rstrip("0%").rstrip(".") + " %" if tax_share else "none", paid.tax_cents),
        ("Total", "", paid.total_cents),
    ]  # fmt: skip
    if paid.deposit_cents:
        payments += [
            ("Deposit when you sign", f"{terms.deposit_share * 100:g} % of the total", paid.deposit_cents),
            ("When the work is done", "rest", paid.rest_cents),
        ]  # fmt: skip
    return Quote(
        row=row, client=found.clients.set_index("client_id", drop=False).loc[row["client_id"]].to_dict(),
        beds=beds,
        taken={str(name): value for name, value in sums.items()}
        | {"crew_days": priced.price["crew_days"], "wall_in": book.rules.setbacks.wall_clear_in},
        plants=plant_words(priced.chosen, book.plants), payments=payments, plan=plan,
        company=book.rules.company, terms=terms, rates=rates,
    )  # fmt: skip
