"""
The story in one screen: book → ground → job → calls → pages.

Only this module and the command line join rooms. Lots are worked on block by block along a
curve through the land, so that memory stays bounded; calls are ranked over the whole book
at the end.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from contextlib import nullcontext
from dataclasses import replace
from datetime import date
from pathlib import Path

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
from scanner.ground.corrections import correct_beds
from scanner.ground.on_foot import size_measured
from scanner.ground.sets import combine_beds, first_sets, single_bed_offers
from scanner.ground.stored import find_neighbors, match_stored_beds, plant_built
from scanner.ground.survey import Survey, survey_lots
from scanner.ground.tables import list_beds, list_lot_edges, list_lots, list_notes, list_shapes
from scanner.job.line_items import itemize
from scanner.job.method import break_even_areas
from scanner.job.offers import make_offers
from scanner.job.order import order_beds
from scanner.job.planting import place_plants
from scanner.job.prices import price_offers
from scanner.job.quantities import take_off
from scanner.pages.publish import publish
from scanner.schema.documents import PART_TABLES, Book, Part, Scan, Season
from scanner.schema.tables import (
    BED_LIST,
    BEDS,
    EDGES,
    LOT_LIST,
    LOTS,
    OFFER_BEDS,
    OFFERS,
    PROBLEMS,
    SHAPES,
    check_table,
    empty_table,
)
from scanner.sheets.problems import join_problems, list_problems
from scanner.store.blocks import Block, cut_blocks, deal_blocks
from scanner.store.folder import Store, open_store, passing_store
from scanner.store.land import Land, store_features
from scanner.store.tables import write_tables
from scanner.store.workers import work_through

__all__ = ["open_season", "open_store", "publish_scan", "read_book", "scan"]

open_season = read_season
"""Read what a book's log knows, for `scan`."""

Progress = Callable[[str, int, int], None]
"""Called with what is being done, how many lots are done and how many there are."""

THIN = {"lots": LOT_LIST, "beds": BED_LIST, "offers": OFFERS, "problems": PROBLEMS}
"""Tables of the whole book that are joined from its blocks."""


def scan(
    book: Book,
    *,
    today: date,
    season: Season = NO_SEASON,
    client_ids: Collection[str] | None = None,
    progress: Progress | None = None,
    store: Store | None = None,
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
        Called after each block of lots.
    store
        Where a large book is worked on, by several processes; None: here, in memory.

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
    with nullcontext(store) if store else passing_store() as place:
        land = book.land or store_features(book.features, place.folder / "shapes")
        parts, thin = _work(book, land, season, client_ids, store=place, told=told)
        near = find_neighbors(book.clients, _outlines(land, season), season.beds, today=today)
    offers, beds = thin["offers"], thin["beds"]
    told("ranking calls", len(beds), len(beds))
    clients = add_history(book.clients, season, rates=book.rates, is_near_built=near)
    seen = add_bad_edges(clients, season.answers)
    learned = learn_chances(season, clients, rates=book.rates, today=today)
    calls = rank_calls(offers, beds, seen, rates=book.rates, today=today, learned=learned)
    problems = join_problems(
        book.problems,
        thin["problems"],
        list_unseen(book),
        list_orphans(season, beds, book.clients) if client_ids is None else list_problems([]),
        note_answers(beds, book.clients, season.answers),
    )
    return Scan(
        today=today,
        name=book.folder.name,
        clients=clients[[*book.clients.columns]],
        lots=thin["lots"],
        beds=beds,
        offers=offers,
        calls=calls,
        left_out=list_left_out(calls, book.clients, beds, problems),
        problems=problems,
        rates=book.rates,
        rules=book.rules,
        break_even=break_even_areas(book.rates),
        parts=parts,
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


def _outlines(land: Land, season: Season) -> GeoDataFrame:
    """Give the outlines, where some bed was built that may lie near one."""
    is_asked = (season.stored["built_on"] != "").any()
    rows = np.flatnonzero(land.words["kind"] == "property") if is_asked else np.empty(0, np.intp)
    return land.take(rows)


def _work(
    book: Book,
    land: Land,
    season: Season,
    ids: Collection[str] | None,
    *,
    store: Store,
    told: Progress,
) -> tuple[list[Part], dict[str, pd.DataFrame]]:
    """Work out all blocks; their parts, and the thin tables of the whole book."""
    parts, thin = list[Part](), {name: [empty_table(schema)] for name, schema in THIN.items()}
    lots = cut_blocks(book, land, ids, store=store)
    done, total = 0, sum(map(len, lots))
    workers = store.workers if total > store.small_lots else 1
    blocks = deal_blocks(book, land, season, lots, store=store)
    for client_count, part, tables in work_through(
        blocks, _work_block, workers=workers, name=Block.name
    ):
        parts.append(part)
        for name, table in tables.items():
            thin[name].append(table)
        done += client_count
        told("finding and pricing beds", done, total)
    return parts, {name: _join(thin[name]) for name in THIN}


def _work_block(block: Block) -> tuple[int, Part, dict[str, pd.DataFrame]]:
    """Take a block from features to offers; its part, and of thin tables what belongs there."""
    features = plant_built(block.land.window(block.windows), block.season.beds)
    survey, failed = _survey(block, features)
    worked = [] if survey is None else [_price_block(block, survey, survey.lots.client_id)]
    left = np.array(failed, dtype=object) if len(features) else block.client_ids
    if len(left):
        worked.append(_price_block(block, None, left))
    tables = {name: _join([one[name] for one in worked]) for name in worked[0]}
    problems = join_problems(tables["problems"], list_defeated(failed))
    tables = _along({**tables, "problems": problems}, block.client_ids)
    part: Part = {name: tables[name] for name in PART_TABLES}
    if block.folder is not None:
        part = write_tables(part, block.folder)
    thin = {name: tables[name][[*schema.columns]] for name, schema in THIN.items()}
    return len(block.client_ids), part, thin


def _along(tables: dict[str, pd.DataFrame], client_ids: np.ndarray) -> dict[str, pd.DataFrame]:
    """Put the rows of every table in the order of the lots."""
    places = pd.Series(range(len(client_ids)), index=client_ids)
    of_offer = tables["offer_beds"].drop_duplicates("offer_id").set_index("offer_id")["client_id"]
    sorted_tables = dict[str, pd.DataFrame]()
    for name, table in tables.items():
        owners = table["client_id"] if "client_id" in table else table["offer_id"].map(of_offer)
        order = np.argsort(owners.map(places).to_numpy(float), kind="stable")
        sorted_tables[name] = table.iloc[order].reset_index(drop=True)
    return sorted_tables


def _survey(block: Block, features: GeoDataFrame) -> tuple[Survey | None, list[str]]:
    """Look at the lots of a block; the clients of those that defeat the geometry library."""
    if features.empty:
        return None, []
    return survey_lots(
        features,
        block.client_ids,
        block.book.clients,
        rules=block.book.rules,
        stored=block.season.beds,
        answers=block.season.answers,
    )


def _price_block(
    block: Block, survey: Survey | None, clients: np.ndarray
) -> dict[str, pd.DataFrame]:
    """Take lots from beds to offers."""
    book, season, rates, rules = block.book, block.season, block.book.rates, block.book.rules
    measured = book.measured[book.measured["client_id"].isin(clients)]
    beds = set_sold_aside(_find_beds(block, survey, measured), season.jobs)
    alone = single_bed_offers(beds)
    order = order_beds(_price(alone, book, season)["prices"], beds)
    offer_beds = pd.concat(
        [alone, combine_beds(first_sets(order), beds, survey, rules=rules)], ignore_index=True
    )
    priced = _price(offer_beds, book, season)
    offers = make_offers(
        priced["prices"], offer_beds, order, rules=rules, rates=rates, answers=season.answers
    )
    made = priced["prices"].merge(offers[["offer_id", "finish"]], on=["offer_id", "finish"])
    # Sets of beds that no offer sells have served their turn.
    sold = pd.concat([alone["offer_id"], offers["offer_id"]]).unique()
    kept = {"offer_beds": offer_beds[[*OFFER_BEDS.columns]], **priced}
    return {
        "lots": list_lots(survey) if survey else empty_table(LOTS),
        "edges": list_lot_edges(survey) if survey else empty_table(EDGES),
        "beds": beds.loc[:, [*BEDS.columns]],
        "shapes": list_shapes(survey, beds) if survey else empty_table(SHAPES),
        **{name: table[table["offer_id"].isin(sold)] for name, table in kept.items()},
        "line_items": itemize(
            made, offer_beds, priced["quantities"], rates=rates, answers=season.answers
        ),
        "offers": offers,
        "problems": list_notes(survey, rules=rules) if survey else list_problems([]),
    }


def _price(offer_beds: pd.DataFrame, book: Book, season: Season) -> dict[str, pd.DataFrame]:
    rates, answers = book.rates, season.answers
    plants = place_plants(offer_beds, rates=rates)
    quantities = take_off(offer_beds, plants, book.clients, rates=rates, answers=answers)
    prices = price_offers(offer_beds, quantities, book.clients, rates=rates, answers=answers)
    return {"quantities": quantities, "prices": prices}


def _find_beds(block: Block, survey: Survey | None, measured: pd.DataFrame) -> pd.DataFrame:
    """Correct what was drawn by what was measured; edges that nobody drew stand for themselves."""
    season, rules = block.season, block.book.rules
    drawn = empty_table(BEDS)
    if survey is not None:
        drawn, measured = correct_beds(list_beds(survey), measured, rules=rules)
    on_foot = match_stored_beds(
        size_measured(measured, rules=rules, answers=season.answers),
        season.beds,
        frame="",
        rules=rules,
    )
    beds = _join([drawn, on_foot])
    return check_table(beds.sort_values("bed_id", ignore_index=True), BEDS)


def _join(tables: list[pd.DataFrame]) -> pd.DataFrame:
    filled = [table for table in tables if len(table)] or tables[:1]
    return pd.concat(filled, ignore_index=True)
