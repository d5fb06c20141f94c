"""
What of an earlier scan still holds: each lot rests under prints of all that it was made from.

Its ground hangs on what bears on it, its prices on rates, client and demand beside.
"""

from __future__ import annotations

import pickle
from datetime import date
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pandas as pd
import shapely

from scanner.ground.record.stored import remember_beds
from scanner.ground.setting.bearing import list_bearing
from scanner.job.bundles import Demand
from scanner.schema.documents import PART_TABLES, Book
from scanner.store.blocks import Block
from scanner.store.kept import NOTHING, PRINTS, Hashed, hash_owned, hash_rows, print_rows, read_kept
from scanner.store.land import ENDS
from scanner.store.parquet_tables import from_arrow
from scanner.store.prints import print_of, program_print

WHOLE_TABLES = (*PART_TABLES, "problems", "sets", "plants")
"""All that a scan leaves of a lot for the next one."""

_STORED = ["bed_id", "client_id", "along", "area_ft2", "shape", "built_on"]

UNBEARING = {
    "company",
    "backgrounds",
    "sources",
    "map_max_beds",
    "job_limit_crew_days",
    "zone",
    "holidays",
}
"""Local rules that no ground hangs on."""


class Terms(NamedTuple):
    """What all lots of a scan share: what clients may well pay, and prints of what ground and offers hang on."""

    demand: Demand
    ground: str
    offer: str


def settle_terms(demand: Demand, book: Book) -> Terms:
    """Print what is the same for all lots of a scan."""
    rules = book.rules
    bearing, all_rules = rules.model_dump_json(exclude=UNBEARING), rules.model_dump_json()
    offer = print_of(all_rules, book.rates.model_dump_json(), pickle.dumps(demand.buys))
    return Terms(demand, ground=print_of(program_print(), bearing), offer=offer)


def hash_own(block: Block, terms: Terms) -> dict[str, Hashed]:
    """Hash, once, what the lots of a block hang on in the book and the log."""
    book, season = block.book, block.season
    fees = terms.demand.fee_usd.reindex(block.client_ids).rename("fee_usd")
    beds = season.stored[_STORED]
    tables = {
        "clients": book.clients, "fees": fees.rename_axis("client_id").reset_index(),
        "measured": book.measured, "jobs": season.jobs, "answers": season.answers,
        "sizes": book.clients[["client_id", "mowed_ft2"]], "built": beds[beds["built_on"] != ""],
    }  # fmt: skip
    return {name: hash_owned(table) for name, table in tables.items()} | {"beds": hash_owned(beds)}


def print_lots(block: Block, terms: Terms, own: dict[str, Hashed]) -> pd.DataFrame:
    """Print what each lot of a block is made from: columns ``client_id`` and `PRINTS`."""
    ids, whole = block.client_ids, print_block(block, terms, own)
    if is_as_before(block, whole):
        kept = block.kept.set_index("client_id").loc[ids.tolist()]
        ground, offer = kept["ground"].to_numpy(), kept["offer"].to_numpy()
    else:
        lots = [own[name] for name in ("measured", "jobs", "answers", "sizes")]
        ground = print_rows([_bearing(block), *lots], ids)
        offer = print_rows([own["clients"], own["fees"]], ids)
    return pd.DataFrame({
        "client_id": ids, "rules": terms.ground, "ground": ground, "names": print_rows([own["beds"]], ids),
        "rates": terms.offer, "offer": offer, "block": whole,
    })  # fmt: skip


def print_block(block: Block, terms: Terms, own: dict[str, Hashed]) -> str:
    """Print all that the lots of a block are made from but rates and names: where it is as it was, all their prints are."""
    names = ("clients", "fees", "measured", "jobs", "answers", "built")
    hashes = [block.land.words["content"].to_numpy(), *(own[name][1] for name in names)]
    return print_of(terms.ground, *block.client_ids, *(each.tobytes() for each in hashes))


def is_as_before(block: Block, whole: str) -> bool:
    """Whether an earlier scan left all lots of a block, made from what they are made from now."""
    return len(block.kept) == len(block.client_ids) and bool((block.kept["block"] == whole).all())


def _bearing(block: Block) -> Hashed:
    """List what bears on each lot, by the hash of its content: features, beds built, answers of neighbors."""
    words, season = block.land.words, block.season
    built = season.stored[season.stored["built_on"] != ""].assign(kind="bed")
    built[ENDS] = shapely.bounds(shapely.from_wkb(built["shape"].to_numpy(object))).reshape(-1, 4)
    lots = words.loc[words["kind"] == "property", ["client_id", *ENDS]]
    answers = season.answers.merge(lots, on="client_id").assign(kind="answer")
    content = [built[["client_id", "shape"]], answers[[*season.answers.columns]]]
    names = ["kind", "along", "client_id", "pavement_ft", *ENDS]
    tables = [words, *(table for table in (built, answers) if len(table))]
    texts = {"kind": "str", "along": "str"}
    places = [table.reindex(columns=names).astype(texts) for table in tables]
    features = pd.concat(places, ignore_index=True)
    pairs = list_bearing(features, block.land.shapes, block.client_ids, rules=block.book.rules)
    hashes = np.concatenate([words["content"].to_numpy(), *map(hash_rows, content)])
    return pairs["client_id"].to_numpy(object), hashes[pairs["row"]]


def find_kept(block: Block, prints: pd.DataFrame) -> pd.DataFrame:
    """List the lots of a block whose ground still holds; ``is_whole`` where their offers do, too."""
    kept = block.kept.merge(prints, on="client_id", suffixes=("_kept", ""))
    is_same = {name: kept[f"{name}_kept"] == kept[name] for name in PRINTS}
    is_whole = is_same["rates"] & is_same["offer"]
    kept = kept.assign(is_whole=is_whole)[is_same["rules"] & is_same["ground"]]
    is_named = kept["names_kept"] == kept["names"]
    # Beds of drawn lots that a tape corrects may, once recorded, be named otherwise
    drawn = block.land.words.loc[block.land.words["kind"] == "property", "client_id"]
    corrected = np.intersect1d(block.book.measured["client_id"], drawn)
    is_new = ~is_named & (kept["names_kept"] == NOTHING) & ~kept["client_id"].isin(corrected)
    if is_new.any() and (beds := read_kept(kept[is_new], ["beds"])[0]):
        ids = kept.loc[is_new, "client_id"].to_numpy(object)
        recorded = print_rows([_hash_recorded(from_arrow(beds["beds"]))], ids)
        is_named[is_new] = recorded == kept.loc[is_new, "names"]
    return kept[is_named]


def _hash_recorded(beds: pd.DataFrame) -> Hashed:
    """Hash beds as the log has them once their scan has ended: found again, they have these names."""
    known = remember_beds(beds, today=date.min)
    rows = pd.DataFrame(known).assign(shape=known.geometry.to_wkb(byte_order=1))
    return hash_owned(rows[_STORED])


def unchanged_part(block: Block, kept: pd.DataFrame) -> Path | None:
    """Find the part that holds the lots of a block and no other, all as they are now."""
    folders = {*kept["folder"]} if kept["is_whole"].all() else {}
    is_same = kept["client_id"].tolist() == block.client_ids.tolist()
    if block.folder and is_same and len(folders) == 1 and kept["lots"].iloc[0] == len(kept):
        return Path(str(*folders))
    return None
