"""
The story in one screen: book → ground → job → calls → pages.

Only this module and the command line join rooms. Sites are worked on block by block, so
that memory stays bounded; calls are ranked over the whole book at the end.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Mapping
from dataclasses import dataclass, fields, replace
from datetime import date
from pathlib import Path
from typing import Self

import numpy as np
import pandas as pd
from geopandas import GeoDataFrame

from scanner.book.book import read_book
from scanner.book.unseen import list_defeated, list_unseen
from scanner.calls.bad_edges import add_bad_edges
from scanner.calls.history import add_history, list_orphans
from scanner.calls.learning import learn_chances
from scanner.calls.left_out import list_left_out
from scanner.calls.log import NO_SEASON, read_season
from scanner.calls.ranking import rank_calls
from scanner.calls.sales import set_sold_aside
from scanner.calls.visits import override_measured
from scanner.ground.answers import note_answers
from scanner.ground.bed.on_foot import size_measured
from scanner.ground.layers import list_beds, list_edges, list_lots, list_notes, list_shapes
from scanner.ground.stored import find_neighbors, know_again, plant_built
from scanner.ground.survey import Survey, split_blocks, survey_soundly
from scanner.ground.together import lay_together, sell_alone
from scanner.job.method import break_even_areas
from scanner.job.offers import make_offers
from scanner.job.order import order_beds
from scanner.job.planting import place_plants
from scanner.job.prices import price_offers
from scanner.job.quantities import take_off
from scanner.pages.publish import publish
from scanner.schema.columns import TableSchema
from scanner.schema.documents import Book, Scan, Season
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
from scanner.sheets.problems import join_problems, list_problems

__all__ = ["open_season", "publish_scan", "read_book", "scan"]

open_season = read_season
"""Read what a book's log knows, for `scan`."""

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


def scan(
    book: Book,
    *,
    today: date,
    season: Season = NO_SEASON,
    client_ids: Collection[str] | None = None,
    progress: Progress | None = None,
) -> Scan:
    """
    Find, size, price and rank the beds of a book.

    Parameters
    ----------
    book
        A book as `read_book` gives it.
    today
        Day of the scan: recent contacts count from it.
    season
        What the log knows: beds keep their names, built ones are not found again, whoever
        rests is left out.
    client_ids
        Clients whose lots are looked at; None: all, and what is on record in vain is listed.
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
    book = replace(book, measured=override_measured(book.measured, season.measurements))
    parts = _survey_all(book, season, client_ids, told)
    beds, offers = _join(parts, "beds", BEDS), _join(parts, "offers", OFFERS)
    told("ranking calls", len(beds), len(beds))
    near = find_neighbors(book.clients, book.features, season.beds, today=today)
    clients = add_history(book.clients, season, rates=book.rates, is_near_built=near)
    seen = add_bad_edges(clients, season.answers)
    learned = learn_chances(season, clients, rates=book.rates, today=today)
    calls = rank_calls(offers, beds, seen, rates=book.rates, today=today, learned=learned)
    problems = join_problems(
        book.problems,
        *(part.problems for part in parts),
        list_unseen(book),
        list_orphans(season, beds, book.clients) if client_ids is None else list_problems([]),
        note_answers(beds, book.clients, season.answers),
    )
    return Scan(
        today=today,
        name=book.folder.name,
        clients=clients[[*book.clients.columns]],
        lots=_join(parts, "lots", LOTS),
        edges=_join(parts, "edges", EDGES),
        beds=beds,
        offer_beds=_join(parts, "offer_beds", OFFER_BEDS),
        quantities=_join(parts, "quantities", QUANTITIES),
        plants=_join(parts, "plants", PLANTS),
        line_items=_join(parts, "line_items", LINE_ITEMS),
        prices=_join(parts, "prices", PRICES),
        offers=offers,
        calls=calls,
        left_out=list_left_out(calls, book.clients, beds, problems),
        shapes=GeoDataFrame(_join(parts, "shapes", SHAPES), geometry="geometry", crs="EPSG:4326"),
        problems=problems,
        rates=book.rates,
        rules=book.rules,
        break_even=break_even_areas(book.rates),
    )


def publish_scan(
    found: Scan, folder: Path, *, pending: Mapping[str, Collection[object]] | None = None
) -> list[Path]:
    """
    Write the pages, lists and files of a scan, whole or not at all.

    Parameters
    ----------
    found
        A scan.
    folder
        Where they go; made if it is not there.
    pending
        By call list there, rows filled in that are not on record; None: all that are.

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
    return publish(found, folder, pending=pending)


def _survey_all(
    book: Book, season: Season, client_ids: Collection[str] | None, told: Progress
) -> list[Part]:
    """Look at the lots block by block, then at what was measured on foot; at least one part."""
    parts = list[Part]()
    is_outline = (book.features["kind"] == "property") & (book.features["client_id"] != "")
    outlined = book.features.loc[is_outline, "client_id"].unique()
    features = plant_built(book.features, season.beds)
    wanted = outlined if client_ids is None else np.intersect1d(outlined, [*client_ids])
    done, looked_at, failed = 0, list[str](), list[str]()
    for town, block in split_blocks(features):
        chosen = block[np.isin(block, wanted)]
        surveys, lost = survey_soundly(
            town, chosen, book.clients,
            rules=book.rules, stored=season.beds, answers=season.answers,
        )  # fmt: skip
        for survey in surveys:
            looked_at += [*survey.sites.client_id]
            parts.append(_price_block(book, survey, survey.sites.client_id, season))
        failed += lost
        done += len(chosen)
        told("finding and pricing beds", done, len(wanted))
    measured = book.measured["client_id"]
    on_foot = measured if client_ids is None else measured[measured.isin([*client_ids])]
    walked = np.setdiff1d(on_foot, looked_at)
    # Most books have nothing measured on foot, and pricing nothing takes as long as a block
    if len(walked) or not parts:
        parts.append(_price_block(book, None, walked, season))
    problems = join_problems(parts[-1].problems, list_defeated(failed))
    return [*parts[:-1], replace(parts[-1], problems=problems)]


def _price_block(book: Book, survey: Survey | None, clients: np.ndarray, season: Season) -> Part:
    """Take one block of clients from beds to offers."""
    rates, rules = book.rates, book.rules
    measured = book.measured[book.measured["client_id"].isin(clients)]
    on_foot = know_again(
        size_measured(measured, rules=rules, answers=season.answers),
        season.beds,
        frame="",
        rules=rules,
    )
    beds = set_sold_aside(_better_source(on_foot, survey), season.jobs)
    alone = sell_alone(beds)
    order = order_beds(_price(alone, book, season).prices, beds)
    offer_beds = pd.concat(
        [alone, lay_together(beds, order, survey, rules=rules)], ignore_index=True
    )
    priced = _price(offer_beds, book, season)
    offers = make_offers(
        priced.prices, offer_beds, order, rules=rules, rates=rates, answers=season.answers
    )
    # Sets of beds that no offer sells have served their turn.
    sold = pd.concat([alone["offer_id"], offers["offer_id"]]).unique()
    offer_beds, priced = _only(offer_beds, sold), priced.only(sold)
    return Part(
        lots=list_lots(survey) if survey else empty_table(LOTS),
        edges=list_edges(survey) if survey else empty_table(EDGES),
        shapes=list_shapes(survey, beds) if survey else empty_table(SHAPES),
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


def _price(offer_beds: pd.DataFrame, book: Book, season: Season) -> _Priced:
    plants = place_plants(offer_beds, rates=book.rates)
    rates, answers = book.rates, season.answers
    quantities = take_off(offer_beds, plants, book.clients, rates=rates, answers=answers)
    line_items, prices = price_offers(
        offer_beds, quantities, book.clients, rates=rates, answers=answers
    )
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


def _join(parts: Iterable[Part], name: str, schema: TableSchema) -> pd.DataFrame:
    tables = [getattr(part, name) for part in parts]
    filled = [table for table in tables if len(table)] or tables[:1]
    return check_table(pd.concat(filled, ignore_index=True), schema)
