"""Visit and sell: ``quote`` writes the page that a client signs, and keeps it in the log."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import click
import pandas as pd

from scanner.calls.entry_kinds import QUOTE
from scanner.calls.job_faults import FAR_FACTOR
from scanner.calls.jobs import sum_tasks
from scanner.calls.log import open_log
from scanner.calls.quotes import Payments, next_quote_id, quote_states
from scanner.calls.to_build import DAYS_TASK
from scanner.calls.trials import OPEN
from scanner.cli.keeping import look_at_one
from scanner.cli.one_job import Priced, choose_beds, offered_finish, price_beds, with_pots
from scanner.cli.options import Asked, command
from scanner.cli.plans import draw_up_plans, plant_words
from scanner.cli.rows import show_problems
from scanner.cli.talk import say
from scanner.errors import BookError
from scanner.ground.record.stored import remember_beds
from scanner.pages.bed_words import bed_names
from scanner.pages.drawing.scene import LotPlan
from scanner.pages.quote_page import draw_quote
from scanner.pages.quote_words import Quote
from scanner.schema.documents import FINISH_LONG_WORDS, FINISHES, Book, Scan
from scanner.schema.log_tables import QUOTE_TASKS
from scanner.sheets.filled import MOST_USD
from scanner.sheets.problems import faults_of
from scanner.units import cents_from_usd, said_cents, write_usd

SAME = ("client_id", "bed_ids", "finish", "price_cents")
"""What makes an open quote the one that is asked for again."""


@command("out", "paper", "today")
@click.argument("who")
@click.option("--finish", type=click.Choice(FINISHES), help="Finish.  [default: as offered]")
@click.option("--beds", "beds", metavar="BED", multiple=True, help="Bed, lead first; give it once for each.  [default: as offered]")  # fmt: skip
@click.option(
    "--price", "price_usd", metavar="USD", type=click.FloatRange(0, MOST_USD, min_open=True),
    help="Price before tax, as it was said.  [default: worked out, up to the next $10]",
)  # fmt: skip
def quote(
    asked: Asked, who: str, finish: str | None, beds: tuple[str, ...], price_usd: float | None
) -> int:
    """Write the quote for WHO, a client of BOOK (id, name or phone number), and keep it in the log.

    Without --beds it is for the offer of the call list. Writes quote-<number>.pdf. The same quote
    again keeps its number as long as it is open.
    """
    (read, season, found), client_id = look_at_one(asked, who)
    today = asked.today
    _may_be_quoted(found, client_id)
    bed_ids = choose_beds(found, client_id, beds, season.jobs)
    if not beds:
        _tell_next(season.jobs, found, client_id, bed_ids)
    priced = price_beds(read, season, found, bed_ids, finish or offered_finish(found, bed_ids))
    said = _price_to_say(priced, price_usd)
    show_problems(faults := faults_of(priced.problems), as_json=False)
    _warn(priced, said, read)
    row = quote_row(priced, bed_ids, said, today, round(read.rules.quote.good_days))
    plans = draw_up_plans(
        read, season, found, priced.tables["offer_beds"], priced.tables["offer_beds"].iloc[:0],
        {priced.price["offer_id"]: priced.price["finish"]},
    ).plans  # fmt: skip
    with open_log(asked.book, today=today) as log:
        # A quote names beds: they keep their names from now on
        for part in found.parts:
            own = part["beds"][part["beds"]["client_id"] == client_id]
            log.store_beds(remember_beds(own, today=today))
        standing = log.season().quotes
        row |= _same_open(standing, row, today) or {
            "quote_id": next_quote_id(log.quote_ids(), today=today)
        }
        tasks = sum_tasks(priced.tables["line_items"]).assign(quote_id=row["quote_id"])
        log.record(QUOTE, pd.DataFrame([row]), tasks[[*QUOTE_TASKS.columns]])
        page = _page(read, found, priced, row, plans.get(client_id))
        asked.print_paper(draw_quote(page, asked.paper), f"quote-{page.number}.pdf")
    _close(standing, row, today)
    return len(faults)


def _close(standing: pd.DataFrame, row: dict[str, Any], today: date) -> None:
    is_open = quote_states(standing, today=today).eq(OPEN)
    others = standing.loc[is_open & standing["client_id"].eq(row["client_id"]), "quote_id"]
    for number in others[others != row["quote_id"]]:
        say(
            f"Quote {number} to the same client is open, too: record it lost if this one stands in its place."
        )
    kept = "on record already" if row["quote_id"] in set(others) else "kept in the log"
    say(
        f"Quote {row['quote_id']} over {write_usd(row['price_cents'], 2)} before tax, {kept}. When it is answered: record BOOK "
        f"quote {row['quote_id']} won, or lost --why TEXT."
    )


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


def _tell_next(jobs: pd.DataFrame, found: Scan, client_id: str, bed_ids: tuple[str, ...]) -> None:
    """Say what the next offer is where the client bought something before: nobody named the beds."""
    sold = jobs.loc[jobs["client_id"] == client_id, "job_id"].tolist()
    offers = found.offers.set_index("bed_ids")["offer"]
    if sold:
        verb = "is" if len(sold) == 1 else "are"
        say(
            f"{', '.join(sold)} {verb} sold already: this quote is for the next offer, {offers[' '.join(bed_ids)]}."
        )


def _price_to_say(priced: Priced, price_usd: float | None) -> int:
    """Give the price that was said, else the one worked out [cents]; a slip of the keys is refused."""
    worked_out = said_cents(with_pots(priced))
    said = cents_from_usd(price_usd) if price_usd else worked_out
    if said < worked_out / FAR_FACTOR:
        message = (
            f"{write_usd(said, 2)} is under a third of the {write_usd(worked_out, 2)} that it works out to: no quote is written. "
            "Give the whole job's price with --price"
        )
        raise BookError(message)
    return said


def _warn(priced: Priced, said: int, book: Book) -> None:
    """Say what the office may want to look at before the client signs."""
    cost, low, high = (
        priced.price[f"{name}_cents"] for name in ("direct_cost", "price_low", "price_high")
    )
    price, terms, company = write_usd(said, 2), book.rules.quote, book.rules.company
    has_notice = terms.cancel_notice == "yes"
    for is_so, words in (
        (said < low, f"{price} is under the low end of its range, {write_usd(low, 2)} to {write_usd(high, 2)}."),
        (said < cost, f"{price} is under the direct cost of {write_usd(cost, 2)}: the job would lose {write_usd(cost - said, 2)}."),
        (not book.rates.sales_tax_share.value, "sales_tax_share in rates.toml is 0: look whether your state taxes this work."),
        (not has_notice,
         "Signed at the client's home, the sale may be canceled for three business days, and the paper must say so (16 CFR "
         '429): ask counsel, then set cancel_notice = "yes" under [quote] in local.toml to print notice and form.'),
        (has_notice,
         "Signed at the client's home: write the day of signing and the third business day after it into both forms (16 CFR "
         "429; ask counsel)."),
        (has_notice and not company.address,
         "The form of cancellation needs the company's address: write address under [company] in local.toml."),
        (not (terms.license or company.license_id),
         "No license number stands under [quote] or [company] in local.toml: many states want it on a contract."),
    ):  # fmt: skip
        if is_so:
            say(words)


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
    """Give number and days of the open quote that says the same; its work is that of the beds as they are known now."""
    is_same = quote_states(quotes, today=today) == OPEN
    for name in SAME:
        is_same &= quotes[name] == row[name]
    same = quotes.loc[is_same, ["quote_id", "quoted_on", "good_until"]].to_dict("records")
    return {str(name): value for name, value in same[-1].items()} if same else None


def _page(
    book: Book, found: Scan, priced: Priced, row: dict[str, Any], plan: LotPlan | None
) -> Quote:
    terms, rates, finish = book.rules.quote, book.rates, row["finish"]
    beds = priced.tables["offer_beds"].to_dict("records")
    sums = priced.tables["quantities"].select_dtypes("number").sum().to_dict()
    items, tax_share = priced.tables["line_items"], rates.sales_tax_share.value
    paid = Payments.of(row["price_cents"], tax_share=tax_share, deposit_share=terms.deposit_share)
    payments = [
        (bed_names(len(beds)), FINISH_LONG_WORDS[finish], paid.price_cents),
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
        | {"day_count": items.loc[items["task"] == DAYS_TASK, "quantity"].sum(), "wall_in": book.rules.setbacks.wall_clear_in},
        plants=plant_words(priced.chosen, book.plants), payments=payments, plan=plan,
        company=book.rules.company, terms=terms, rates=rates,
    )  # fmt: skip
