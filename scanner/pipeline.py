"""
The story in one screen: book → ground → job → calls → pages.

Only this module, the two that work on a block of lots, and the command line join rooms.
Lots are worked on block by block along a curve through the land, so that memory stays
bounded; calls are ranked over the whole book at the end.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from contextlib import contextmanager, nullcontext
from dataclasses import replace
from datetime import date
from functools import partial
from typing import Any

import numpy as np
import pandas as pd
from geopandas import GeoDataFrame

from scanner.block_ground import look_at
from scanner.block_work import THIN, price_set, take_unchanged, work_block
from scanner.book.book import read_book
from scanner.book.unseen import list_unseen
from scanner.calls.chance import Stages
from scanner.calls.fees import annual_fees, fee_words, listed_years
from scanner.calls.forgotten import leave_uncalled
from scanner.calls.history import add_history, list_orphans
from scanner.calls.learning import learn_chances, learn_stages
from scanner.calls.left_out import list_left_out
from scanner.calls.log import NO_SEASON, read_season
from scanner.calls.ranking import FIRST_PHASE, rank_calls, total_by_route
from scanner.calls.reasons import add_bad_edges, is_just_built
from scanner.calls.remarks import own_columns, with_remarks
from scanner.calls.sales import override_measured
from scanner.calls.under_way import list_under_way
from scanner.ground.drawn.plan_shapes import list_plan_shapes
from scanner.ground.record.answers import note_answers
from scanner.ground.record.stored import find_neighbors
from scanner.ground.setting.bearing import reach_ft
from scanner.job.bundles import Demand
from scanner.job.method import break_even_areas, use_machines
from scanner.job.offers import usual_cautions
from scanner.pages.publish.scan_files import publish
from scanner.reuse import Terms, settle_terms
from scanner.schema.documents import Book, MachineUse, Part, RateBook, Scan, Season
from scanner.schema.plan_tables import UNDER_WAY
from scanner.schema.tables import CALLS, LEFT_OUT, PLAN_SHAPES, TOTALS, empty_table
from scanner.sheets.problems import join_problems, list_problems
from scanner.store.blocks import Block, cut_blocks, deal_blocks
from scanner.store.folder import Store, open_store, passing_store
from scanner.store.land import Land, store_features
from scanner.store.parquet_tables import Tables, join_tables
from scanner.store.workers import work_through

__all__ = ["list_ground", "open_season", "open_store", "publish_scan", "read_book", "scan"]

open_season = read_season
"""Read what a book's log knows, for `scan`."""

publish_scan = publish
"""Write the pages, lists and files of a scan, whole or not at all."""

Progress = Callable[[str, int, int], None]
"""Called with what is being done, how many lots are done and how many there are."""


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
        rests is left out. What was said on later days is left aside.
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
    """
    season, told = season.until(today), progress or (lambda _step, _done, _total: None)
    book = _put_right(book, season)
    found, (fees, built, stages) = _find(book, season, client_ids, today, told=told, store=store)
    clients, offers, beds = found.clients, found.offers, found.beds
    told("ranking calls", len(beds), len(beds))
    priced = _priced(clients, offers, season, client_ids, fees)
    learned = learn_chances(season, priced, stages, built=built, rates=book.rates, today=today)
    clients, under_way = _tell(clients, client_ids, season, built, rates=book.rates, today=today)
    calls = rank_calls(offers, beds, clients, rates=book.rates, today=today, learned=learned)
    problems = _problems(book, season, beds, found.problems, is_whole=client_ids is None)
    return replace(
        found,
        clients=clients.assign(**book.clients[["lon", "lat"]])[[*book.clients.columns]],
        calls=calls,
        left_out=list_left_out(calls, clients, beds, problems, under_way=under_way),
        under_way=under_way,
        totals=total_by_route(calls, offers, clients, learned=learned),
        problems=problems,
        machines=_use_machines(found.parts, calls, book.rates),
    )


def price_lots(
    book: Book, season: Season, client_ids: Collection[str], *, today: date, progress: Progress
) -> Scan:
    """Find, size and price the beds of some clients as `scan` does, and rank nobody: nothing of calls, problems of these lots alone."""
    season = season.until(today)
    found, _ = _find(_put_right(book, season), season, client_ids, today, told=progress)
    return replace(found, clients=found.clients[found.clients["client_id"].isin(client_ids)])


def _find(
    book: Book, season: Season, client_ids: Collection[str] | None, today: date, *,
    told: Progress, store: Store | None = None,
) -> tuple[Scan, tuple[pd.DataFrame, pd.DataFrame, Stages]]:  # fmt: skip
    # A scan before anybody is ranked, clients at their lots, and what ranking goes by: fees, beds built nearby, stages
    fees = annual_fees(book.clients, rates=book.rates)
    with nullcontext(store) if store else passing_store() as place:
        land = book.land or store_features(book.features, place.folder / "shapes")
        clients = _locate(book.clients, land)
        built = find_neighbors(clients, *_built(land, season))
        stages = learn_stages(season, fees, rates=book.rates, today=today)
        lot_count, blocks = _deal(book, land, season, client_ids, store=place)
        terms = settle_terms(Demand(fees["fee_usd"], stages.mean_buyers), book)
        parts, tables = _work(blocks, terms, lot_count, store=place, told=told)
    usual = usual_cautions(book.rates, book.rules)
    of_calls = {"calls": CALLS, "left_out": LEFT_OUT, "under_way": UNDER_WAY, "totals": TOTALS}
    every: dict[str, Any] = {name: empty_table(schema) for name, schema in of_calls.items()}
    return Scan(
        today=today,
        name=book.folder.name,
        clients=clients,
        own=own_columns(book.clients, season.remarks),
        **every | tables,
        chance_record=stages.record,
        rates=book.rates,
        rules=book.rules,
        break_even=break_even_areas(book.rates),
        parts=parts,
        assumptions=(("In every bed", usual), ("Annual fees", fee_words(fees))),
        blocks=blocks if isinstance(blocks, list) else (),
    ), (fees, built, stages)


def price_job(
    book: Book, season: Season, found: Scan, bed_ids: tuple[str, ...]
) -> dict[str, pd.DataFrame]:
    """
    Price any beds of a client, as `found`, as one job in every finish: ``offer_beds quantities prices line_items``.

    None of them may be skipped there.
    """
    owner = found.beds.loc[found.beds["bed_id"] == bed_ids[0], "client_id"]
    with _few_blocks(_put_right(book, season), season, found, {*owner}) as blocks:
        return price_set(next(blocks), bed_ids)


def list_ground(
    book: Book, season: Season, found: Scan, client_ids: Collection[str]
) -> pd.DataFrame:
    """List what plans of some clients' lots, scanned and with beds drawn, are drawn from: table `PLAN_SHAPES`."""
    with _few_blocks(book, season, found, {*client_ids}) as blocks:
        # All that was seen of them, for a lot that defeats the library bars no other's
        looks = [
            look
            for block in blocks
            for look in [*block.looks.values()] or [look_at(block, block.client_ids)]
        ]
    drawn, left = [empty_table(PLAN_SHAPES)], {*client_ids}
    for shapes in (list_plan_shapes(look.survey) for look in looks if look.survey is not None):
        drawn.append(shapes[shapes["client_id"].isin(left)])
        left -= {*shapes["client_id"]}
    return join_tables(drawn)


@contextmanager
def _few_blocks(
    book: Book, season: Season, found: Scan, client_ids: set[str]
) -> Iterator[Iterator[Block]]:
    """Give the blocks of some clients, as long as this lasts: those that were looked at, else dealt out anew."""
    if found.blocks:
        yield (block for block in found.blocks if client_ids.intersection(block.client_ids))
        return
    with passing_store() as place:
        land = book.land or store_features(book.features, place.folder / "shapes")
        yield iter(_deal(book, land, season, client_ids, store=place)[1])


def _deal(
    book: Book, land: Land, season: Season, client_ids: Collection[str] | None, *, store: Store
) -> tuple[int, Iterable[Block]]:
    """Count the lots, and deal out their blocks: of a few clients in memory a list, to be looked at again."""
    lots = cut_blocks(book, land, client_ids, store=store)
    blocks = deal_blocks(book, land, season, lots, store=store, reach_ft=reach_ft(book.rules))
    is_list = client_ids is not None and not store.has_room
    return sum(map(len, lots)), [*blocks] if is_list else blocks


def _put_right(book: Book, season: Season) -> Book:
    """Let what was measured and put right since stand in for what the book's files say."""
    return replace(
        book,
        clients=leave_uncalled(with_remarks(book.clients, season.remarks), season.forgotten),
        measured=override_measured(book.measured, season.measurements),
    )


def _locate(clients: pd.DataFrame, land: Land) -> pd.DataFrame:
    """Place clients at their lots, and take what the lots know and the client list does not."""
    lots = land.lots().reindex(clients["client_id"])
    own = clients[["lon", "lat", "year_built"]].to_numpy(float)
    drawn = lots.to_numpy(float)
    lon, lat = np.where(np.isnan(drawn), own, drawn)[:, :2].T
    year_built = np.where(np.isnan(own), drawn, own)[:, 2]
    return clients.assign(lon=lon, lat=lat, year_built=year_built)


def _priced(
    clients: pd.DataFrame, offers: pd.DataFrame, season: Season,
    client_ids: Collection[str] | None, fees: pd.DataFrame,
) -> pd.DataFrame:  # fmt: skip
    """Put beside clients what they are offered over their fee: by this scan, by the last one those that are not looked at, else what they were quoted last."""
    listed, calls = season.listed, season.calls.sort_values(["called_on", "entry_id"])
    others = listed[~listed["client_id"].isin(client_ids or listed["client_id"])]
    tables = (offers[offers["phase"] == FIRST_PHASE], others, calls[calls["price_cents"] > 0][::-1])
    every = pd.concat([table[["client_id", "price_cents"]] for table in tables])
    years = listed_years(every.drop_duplicates("client_id"), fees)
    return clients.assign(price_years=clients["client_id"].map(years))


def _tell(
    clients: pd.DataFrame, ids: Collection[str] | None, season: Season, built: pd.DataFrame, *,
    rates: RateBook, today: date,
) -> tuple[pd.DataFrame, pd.DataFrame]:  # fmt: skip
    """Put beside each client, or those looked at, what the log knows, what crews saw, and whether a neighbor's bed is new; and list who is under way."""
    clients = clients if ids is None else clients[clients["client_id"].isin(ids)]
    near = clients["client_id"].isin(built["client_id"][is_just_built(built["built_on"], today)])
    history = add_history(clients, season, rates=rates, is_near_built=near)
    under_way = list_under_way(season, history, today=today)
    words = history["client_id"].map(under_way.set_index("client_id")["words"])
    known = history.assign(under_way=words.astype("str").fillna(""))
    return add_bad_edges(known, season.answers), under_way


def _built(land: Land, season: Season) -> tuple[GeoDataFrame, GeoDataFrame]:
    """Give the outlines that a bed may lie near which was built, and those beds: the shapes of all others stay unread."""
    built = replace(season, stored=season.stored[season.stored["built_on"] != ""])
    is_lot = (land.words["kind"] == "property") & bool(len(built.stored))
    return land.take(np.flatnonzero(is_lot)), built.beds


def _work(
    blocks: Iterable[Block], terms: Terms, lot_count: int, *, store: Store, told: Progress
) -> tuple[list[Part], Tables]:
    is_small = lot_count <= store.small_lots
    workers = 1 if is_small else store.workers
    parts, rows = list[Part](), {name: [empty_table(schema)] for name, schema in THIN.items()}
    work = partial(work_block, terms=terms, is_small=is_small)
    done, ease = 0, partial(take_unchanged, terms=terms)
    for client_count, part, thin in work_through(
        blocks, work, workers=workers, name=Block.name, ease=ease
    ):
        parts.append(part)
        for name, table in thin.items():
            rows[name].append(table)
        done += client_count
        told("finding and pricing beds", done, lot_count)
    # One after the other: of a large book the pieces of one table weigh as much as all of another
    return parts, {name: join_tables(rows.pop(name)) for name in THIN}


def _use_machines(
    parts: Sequence[Part], calls: pd.DataFrame, rates: RateBook
) -> tuple[MachineUse, ...]:
    chances = calls[calls["left_out"] == ""].set_index("offer_id")["chance"]
    beds = (part["quantities"] for part in parts)
    # `isin` would look the whole list through again for every part
    listed = [table[chances.index.get_indexer(pd.Index(table["offer_id"])) >= 0] for table in beds]
    return use_machines(join_tables(listed), chances, rates=rates) if listed else ()


def _problems(
    book: Book, season: Season, beds: pd.DataFrame, found: pd.DataFrame, *, is_whole: bool
) -> pd.DataFrame:
    return join_problems(
        book.problems,
        found,
        list_unseen(book),
        list_orphans(season, beds, book.clients) if is_whole else list_problems([]),
        note_answers(beds, book.clients, season.answers),
    )
