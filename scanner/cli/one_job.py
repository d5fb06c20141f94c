"""Any of a client's beds priced as one job: those that are named, else those of the offer."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import pandas as pd

from scanner import pipeline
from scanner.calls.sales import why_skipped
from scanner.cli.explain import why_no_price
from scanner.cli.plans import name_plants
from scanner.errors import BookError
from scanner.schema.documents import FINISH_LONG_WORDS, Book, Scan, Season


@dataclass(frozen=True)
class Priced:
    """Beds priced as one job in one finish."""

    tables: dict[str, pd.DataFrame]  # OFFER_BEDS, QUANTITIES, LINE_ITEMS of it
    price: dict[Any, Any]  # row of PRICES
    chosen: pd.DataFrame  # table CHOSEN_PLANTS
    problems: pd.DataFrame  # table PROBLEMS: where no species fits


def choose_beds(
    found: Scan, client_id: str, beds: tuple[str, ...], jobs: pd.DataFrame
) -> tuple[str, ...]:
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
            message = f"{bed} cannot be quoted: {why_skipped(bed, own[bed], jobs)}"
            raise BookError(message)
    return tuple(dict.fromkeys(beds))


def offered_finish(found: Scan, bed_ids: tuple[str, ...]) -> str:
    """Give the finish in which the beds are offered, blank for the one that their job leads with."""
    same = found.offers[found.offers["bed_ids"] == " ".join(bed_ids)]
    return str(same["finish"].iloc[0]) if len(same) else ""


def price_beds(
    book: Book, season: Season, found: Scan, bed_ids: tuple[str, ...], finish: str
) -> Priced:
    """Price beds as one job; a finish that gets no plant there is refused."""
    tables = pipeline.price_job(book, season, found, bed_ids)
    prices = tables["prices"]
    wanted = prices[prices["finish"] == finish] if finish else prices[prices["is_lead"]]
    if wanted.empty:
        known = ", ".join(prices["finish"])
        message = f"{', '.join(bed_ids)}: no plant fits, so there is no {FINISH_LONG_WORDS[finish]}; these finishes have a price: {known}"
        raise BookError(message)
    price = {str(name): value for name, value in wanted.iloc[0].items()}
    items = tables["line_items"]
    tables["line_items"] = items[items["finish"] == price["finish"]]
    _, chosen, problems = name_plants(
        book, season, tables["offer_beds"], {price["offer_id"]: price["finish"]}
    )
    return Priced(tables, price, chosen, problems)


def with_pots(priced: Priced) -> int:
    """Add to a price what species with an own price come to more [cents]."""
    return int(priced.price["price_cents"]) + int(priced.chosen["extra_cents"].sum())
