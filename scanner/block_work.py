"""One block of lots, from its features to its offers: ground → job."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd
import pyarrow as pa
from shapely.errors import GEOSException

from scanner.block_ground import DRAWN, GROUND_TABLES, Ground, Ids
from scanner.book.unseen import list_defeated
from scanner.desk import Desk
from scanner.job.bundles import LATER, LEAD, bundle_beds
from scanner.job.line_items import itemize
from scanner.job.offers import make_offers
from scanner.reuse import (
    WHOLE_TABLES,
    Terms,
    find_kept,
    hash_own,
    is_as_before,
    print_block,
    print_lots,
    unchanged_part,
)
from scanner.schema.documents import PART_TABLES, Part
from scanner.schema.tables import BED_LIST, LOT_LIST, OFFERS, PROBLEMS
from scanner.sheets.problems import join_problems
from scanner.store.blocks import Block
from scanner.store.kept import KEYS, UNREADABLE, link_part, owners_of, read_kept
from scanner.store.parquet_tables import (
    AnyTable,
    StoredTables,
    Tables,
    as_arrow,
    from_arrow,
    join_arrow,
    join_tables,
    read_table,
    write_tables,
)

THIN = {"lots": LOT_LIST, "beds": BED_LIST, "offers": OFFERS, "problems": PROBLEMS}
"""Tables of the whole book, in columns few enough to hold."""

Worked = tuple[int, Part, Tables]
"""How many clients a block has, its part, and its rows of the thin tables."""


def work_block(block: Block, *, terms: Terms, is_small: bool = False) -> Worked:
    """
    Take a block from features to offers: how many clients it has, its part, and what of the thin tables is its.

    `terms`: what all lots of the scan share. `is_small`: the book is one whose parts may
    stay in memory until the pages are written. `SchemaError` if a stage hands over a table that breaks its schema: a bug.
    """
    ids, folder, prints = block.client_ids, block.folder, pd.DataFrame()
    if folder or len(block.kept):
        prints = print_lots(block, terms, hash_own(block, terms))
    if len(block.kept):
        kept = find_kept(block, prints)
        if worked := _take_part(block, kept, prints):
            return worked
        tables, failed = _work_again(block, kept, terms)
    else:
        tables, failed = _work_lots(block, ids, ({}, ids[:0]), terms)
    tables = _along(tables, ids)
    if folder:
        # Keys are written last: without them nothing there counts
        write_tables({**tables, KEYS: prints[~prints["client_id"].isin(failed)]}, folder)
    if folder and not is_small:
        part: Part = StoredTables(folder)
    else:
        part = {name: _table(tables[name]) for name in PART_TABLES}
    thin = {name: _table(tables[name])[[*schema.columns]] for name, schema in THIN.items()}
    return len(ids), part, thin


def _work_again(
    block: Block, kept: pd.DataFrame, terms: Terms
) -> tuple[Mapping[str, AnyTable], list[str]]:
    """Work out what of a block is not kept; all else is handed on as it was stored."""
    whole, whole_ids = read_kept(kept[kept["is_whole"]], WHOLE_TABLES)
    seen, seen_ids = read_kept(kept[~kept["is_whole"]], tuple(GROUND_TABLES))
    anew, failed = np.setdiff1d(block.client_ids, whole_ids), list[str]()
    made = dict[str, pa.Table]()
    if len(anew):
        ground = {name: from_arrow(table) for name, table in seen.items() if name not in DRAWN}
        found, failed = _work_lots(block, anew, (ground, seen_ids), terms)
        made = {name: as_arrow(found[name]) for name in WHOLE_TABLES}
    drawn = {
        name: seen[name].filter(pa.array(~owners_of(name, seen).isin(failed)))
        for name in DRAWN if name in seen
    }  # fmt: skip
    return {
        name: join_arrow([tables[name] for tables in (whole, drawn, made) if name in tables])
        for name in WHOLE_TABLES
    }, failed


def take_unchanged(block: Block, *, terms: Terms) -> Worked | None:
    """
    Let what an earlier scan left of a block stand where nothing in it has changed, and see that at a glance.

    As `work_block` gives it; None where the block has to be worked out.
    """
    own = hash_own(block, terms)
    if not is_as_before(block, print_block(block, terms, own)):
        return None
    prints = print_lots(block, terms, own)
    return _take_part(block, find_kept(block, prints), prints)


def price_set(block: Block, bed_ids: tuple[str, ...]) -> Tables:
    """Price beds of a lot, lead first, as one job in every finish: ``offer_beds quantities prices line_items``."""
    ground = Ground.of(block, block.client_ids, {}, block.client_ids[:0])
    name = bed_ids[0] if len(bed_ids) == 1 else "+".join(bed_ids)
    kept = Desk(block.book, block.season, ground).keep({name: bed_ids}, [])
    made = ("offer_beds", "quantities", "prices")
    tables = {at: kept[at][kept[at]["offer_id"] == name] for at in made}
    items = itemize(tables["prices"], tables["quantities"], rates=block.book.rates)
    return tables | {"line_items": items}


def _take_part(block: Block, kept: pd.DataFrame, prints: pd.DataFrame) -> Worked | None:
    """Let the part of an earlier scan stand for the block as it is; None where none does, or it is gone."""
    old, folder = unchanged_part(block, kept), block.folder
    if old is None or folder is None:
        return None
    try:
        link_part(old, folder, WHOLE_TABLES)
        thin = {
            name: read_table(folder / f"{name}.parquet", schema.columns)
            for name, schema in THIN.items()
        }
    except UNREADABLE:
        return None
    write_tables({KEYS: prints}, folder)
    return len(block.client_ids), StoredTables(folder), thin


def _along(tables: Mapping[str, AnyTable], client_ids: Ids) -> Mapping[str, AnyTable]:
    places = pd.Index(client_ids)
    owners = {name: places.get_indexer(pd.Index(owners_of(name, tables))) for name in tables}
    return {
        name: table.take(np.argsort(owners[name], kind="stable")) for name, table in tables.items()
    }


def _table(table: AnyTable) -> pd.DataFrame:
    return from_arrow(table) if isinstance(table, pa.Table) else table.reset_index(drop=True)


def _work_lots(
    block: Block, client_ids: Ids, kept: tuple[Tables, Ids], terms: Terms
) -> tuple[Tables, list[str]]:
    """Work lots out; those that defeat the geometry library are halved out and told of."""
    try:
        ground = Ground.of(block, client_ids, *kept)
        return _price(block, ground, terms), []
    except GEOSException:
        if len(client_ids) > 1:
            halves = [
                _work_lots(block, half, kept, terms) for half in np.array_split(client_ids, 2)
            ]
            tables = {
                name: join_tables([half[name] for half, _ in halves]) for name in WHOLE_TABLES
            }
            return tables, [client for _, failed in halves for client in failed]
    tables = _price(block, Ground.on_foot(block, client_ids), terms)
    failed = [str(client) for client in client_ids]
    return {**tables, "problems": join_problems(tables["problems"], list_defeated(failed))}, failed


def _price(block: Block, ground: Ground, terms: Terms) -> Tables:
    book, season = block.book, block.season
    desk = Desk(book, season, ground)
    bundles = bundle_beds(
        desk.price_alone(), desk.price_sets,
        demand=terms.demand, limit_crew_days=book.rules.job_limit_crew_days,
    )  # fmt: skip
    sets = dict(zip(bundles["offer_id"], bundles["beds"], strict=True))
    listed = bundles["role"].isin([LEAD, LATER])
    kept = desk.keep(sets, bundles.loc[listed, "offer_id"].tolist())
    offers = make_offers(
        bundles, kept["prices"], kept["offer_beds"],
        rules=book.rules, answers=season.answers,
    )  # fmt: skip
    return {**ground.tables, **kept, "offers": offers}
