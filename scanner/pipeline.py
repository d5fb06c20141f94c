"""
The story in one screen: book → ground → job → calls → pages.

Only this module and the command line join rooms. Sites are worked on a block at a time,
so that memory stays bounded; calls are ranked over the whole book at the end.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, fields, replace
from datetime import date
from pathlib import Path
from typing import Self

import numpy as np
import pandas as pd
import pandera.pandas as pa
from geopandas import GeoDataFrame

from scanner.book.book import read_book
from scanner.book.problems import fault, join_problems, list_problems, note
from scanner.calls.ranking import rank_calls
from scanner.ground.bed.on_foot import size_measured
from scanner.ground.layers import list_beds, list_edges, list_lots, list_notes, list_shapes
from scanner.ground.survey import Survey, split_blocks, survey_soundly
from scanner.ground.together import lay_together, sell_alone
from scanner.job.method import break_even_areas
from scanner.job.offers import make_offers
from scanner.job.order import order_beds
from scanner.job.planting import place_plants
from scanner.job.prices import price_offers
from scanner.job.quantities import take_off
from scanner.pages.publish import publish
from scanner.schema.documents import Book, Scan
from scanner.schema.tables import (
    BEDS,
    EDGES,
    LINE_ITEMS,
    LOTS,
    OFFER_BEDS,
    OFFERS,
    PLANTS,
    PRICES,
    QUANTITIES,
    SHAPES,
    check_table,
    empty_table,
)

__all__ = ["publish_scan", "read_book", "scan"]

Progress = Callable[[str, int, int], None]
"""Called with what is being done, how many sites are done and how many there are."""


@dataclass(frozen=True)
class Part:
    """What one block of clients comes to: tables named as in `Scan`."""

    lots: pd.DataFrame
    edges: pd.DataFrame
    shapes: pd.DataFrame
    beds: pd.DataFrame
    offer_beds: pd.DataFrame
    plants: pd.DataFrame
    quantities: pd.DataFrame
    line_items: pd.DataFrame
    prices: pd.DataFrame
    offers: pd.DataFrame
    problems: pd.DataFrame


def scan(book: Book, *, today: date, progress: Progress | None = None) -> Scan:
    """
    Find, size, price and rank the beds of a book.

    Parameters
    ----------
    book
        A book as `read_book` gives it.
    today
        Day of the scan: recent contacts count from it.
    progress
        Called after each block of sites.

    Returns
    -------
    scan
        Every table that the pages need.

    Raises
    ------
    SchemaError
        If a stage hands over a table that breaks its schema: a bug.
    """
    told = progress or (lambda _step, _done, _total: None)
    total = int(book.features.loc[book.features["kind"] == "property", "client_id"].nunique())
    parts, failed, done = [], [], 0
    for town, block in split_blocks(book.features):
        surveys, lost = survey_soundly(town, block, book.clients, rules=book.rules)
        parts += [_price_block(book, survey, survey.sites.client_id) for survey in surveys]
        failed += lost
        done += len(block)
        told("finding and pricing beds", done, total)
    on_foot = np.setdiff1d(
        book.measured["client_id"], [i for part in parts for i in part.lots["client_id"]]
    )
    parts.append(_price_block(book, None, on_foot))
    beds, offers = _join(parts, "beds", BEDS), _join(parts, "offers", OFFERS)
    told("ranking calls", total, total)
    return Scan(
        today=today,
        name=book.folder.name,
        clients=book.clients,
        lots=_join(parts, "lots", LOTS),
        edges=_join(parts, "edges", EDGES),
        beds=beds,
        offer_beds=_join(parts, "offer_beds", OFFER_BEDS),
        quantities=_join(parts, "quantities", QUANTITIES),
        plants=_join(parts, "plants", PLANTS),
        line_items=_join(parts, "line_items", LINE_ITEMS),
        prices=_join(parts, "prices", PRICES),
        offers=offers,
        calls=rank_calls(offers, beds, book.clients, rates=book.rates, today=today),
        shapes=GeoDataFrame(_join(parts, "shapes", SHAPES), geometry="geometry", crs="EPSG:4326"),
        problems=join_problems(
            book.problems, *(part.problems for part in parts), _missing(book), _defeated(failed)
        ),
        rates=book.rates,
        rules=book.rules,
        break_even=break_even_areas(book.rates),
    )


def publish_scan(found: Scan, folder: Path) -> list[Path]:
    """
    Write the pages, lists and files of a scan, whole or not at all.

    Parameters
    ----------
    found
        A scan.
    folder
        Where they go; made if it is not there.

    Returns
    -------
    files
        What was written.

    Raises
    ------
    BookError
        If a call list there holds outcomes that are not recorded, or a file cannot be
        written.
    """
    return publish(found, folder)


def _price_block(book: Book, survey: Survey | None, clients: np.ndarray) -> Part:
    """Take one block of clients from beds to offers."""
    rates, rules = book.rates, book.rules
    measured = book.measured[book.measured["client_id"].isin(clients)]
    beds = _better_source(size_measured(measured, rules=rules), survey)
    alone = sell_alone(beds)
    order = order_beds(_price(alone, book).prices, beds)
    offer_beds = pd.concat(
        [alone, lay_together(beds, order, survey, rules=rules)], ignore_index=True
    )
    priced = _price(offer_beds, book)
    offers = make_offers(priced.prices, offer_beds, order, rules=rules, rates=rates)
    # Sets of beds that no offer sells have served their turn.
    sold = pd.concat([alone["offer_id"], offers["offer_id"]]).unique()
    offer_beds, priced = _only(offer_beds, sold), priced.only(sold)
    return Part(
        lots=list_lots(survey) if survey else empty_table(LOTS),
        edges=list_edges(survey) if survey else empty_table(EDGES),
        shapes=list_shapes(survey) if survey else empty_table(SHAPES),
        beds=beds.loc[:, [*BEDS.columns]],
        offer_beds=offer_beds.loc[:, [*OFFER_BEDS.columns]],
        plants=priced.plants,
        quantities=priced.quantities,
        line_items=priced.line_items,
        prices=priced.prices,
        offers=offers,
        problems=list_notes(survey, rules=rules) if survey else list_problems([]),
    )


@dataclass(frozen=True)
class _Priced:
    plants: pd.DataFrame
    quantities: pd.DataFrame
    line_items: pd.DataFrame
    prices: pd.DataFrame

    def only(self, offer_ids: np.ndarray) -> Self:
        """Keep some offers."""
        return replace(
            self, **{part.name: _only(getattr(self, part.name), offer_ids) for part in fields(self)}
        )


def _only(table: pd.DataFrame, offer_ids: np.ndarray) -> pd.DataFrame:
    return table[table["offer_id"].isin(offer_ids)].reset_index(drop=True)


def _price(offer_beds: pd.DataFrame, book: Book) -> _Priced:
    plants = place_plants(offer_beds, rates=book.rates)
    quantities = take_off(offer_beds, plants, book.clients, rates=book.rates)
    line_items, prices = price_offers(offer_beds, quantities, book.clients, rates=book.rates)
    return _Priced(plants, quantities, line_items, prices)


def _better_source(on_foot: pd.DataFrame, survey: Survey | None) -> pd.DataFrame:
    """Let an edge measured on foot stand in for the same client's edge from a layer."""
    if survey is None:
        return on_foot
    found = list_beds(survey)
    known = pd.MultiIndex.from_frame(on_foot[["client_id", "along"]])
    is_beaten = pd.MultiIndex.from_frame(found[["client_id", "along"]]).isin(known)
    beds = pd.concat([found[~is_beaten], on_foot], ignore_index=True)
    return check_table(beds.sort_values("bed_id", ignore_index=True), BEDS)


def _missing(book: Book) -> pd.DataFrame:
    """Say which clients have neither an outline nor a measured edge."""
    outlines = book.features.loc[book.features["kind"] == "property", "client_id"]
    known = set(outlines) | set(book.measured["client_id"])
    return list_problems(
        note(
            "clients.csv", "", "no outline and no measured edge: nothing was looked for",
            "add the lot's outline to sites/, or measure the edges and add them to measured.csv",
            client_id=client,
        )
        for client in book.clients["client_id"] if client not in known
    )  # fmt: skip


def _defeated(clients: Iterable[str]) -> pd.DataFrame:
    """Say which lots the geometry could not work out."""
    return list_problems(
        fault(
            "sites", "", "the shapes of this lot could not be worked out: nothing was found on it",
            "look at its drawing for lines that cross or all but coincide and draw them anew, or "
            "measure the edges on foot",
            client_id=client,
        )
        for client in clients
    )  # fmt: skip


def _join(parts: Iterable[Part], name: str, schema: pa.DataFrameSchema) -> pd.DataFrame:
    tables = [getattr(part, name) for part in parts]
    filled = [table for table in tables if len(table)] or tables[:1]
    return check_table(pd.concat(filled, ignore_index=True), schema)
