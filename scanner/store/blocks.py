"""Blocks of neighboring lots: what each is worked out from, and nothing of any other lot."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass, field, fields, replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from geopandas import GeoDataFrame
from numpy.typing import NDArray

from scanner.schema.documents import Book, Season
from scanner.store.curve import deal, number_blocks, split_lots
from scanner.store.folder import Store
from scanner.store.kept import hash_rows, list_kept
from scanner.store.land import CONTENT, ENDS, Built, Land, widen


@dataclass(frozen=True)
class Block:
    """Some neighboring lots."""

    client_ids: NDArray[np.object_]  # their clients, along the curve
    reach_ft: float  # what lies within this distance of an outline may bear on its lot
    land: Land  # the features round them
    # their rows of the book and of the log, built beds in reach and answers of neighbors beside
    book: Book
    season: Season
    kept: pd.DataFrame  # what earlier scans left of these lots, as `list_kept` gives it
    folder: Path | None  # where their part is put away; None: it stays in memory
    looks: dict[tuple[object, ...], Any] = field(default_factory=dict)  # what `look_at` saw

    def features(self, client_ids: NDArray[np.object_]) -> GeoDataFrame:
        """Give the features round the lots of some of the clients."""
        words = self.land.words
        is_lot = (words["kind"] == "property") & words["client_id"].isin(client_ids)
        return self.land.window(widen(words.loc[is_lot, ENDS].to_numpy(), self.reach_ft))

    def name(self) -> str:
        """Name the lots for a message."""
        return f"the lots of {self.client_ids[0]} to {self.client_ids[-1]} ({len(self.client_ids)})"


def cut_blocks(
    book: Book, land: Land, ids: Collection[str] | None, *, store: Store
) -> list[NDArray[np.object_]]:
    """Cut the clients into blocks; whoever is known from a walk alone comes last."""
    words, walked = land.words, book.measured["client_id"]
    lots = words[(words["kind"] == "property") & (words["client_id"] != "")]
    if ids is not None:
        lots, walked = lots[lots["client_id"].isin([*ids])], walked[walked.isin([*ids])]
    on_foot = np.setdiff1d(walked, lots["client_id"]).astype(object)
    most = store.block_lots
    blocks = [*split_lots(lots["client_id"].to_numpy(object), lots["key"].to_numpy(), most)]
    if blocks and len(blocks[-1]) + len(on_foot) <= most:
        # A block costs what some twenty lots do, however few are in it
        return [*blocks[:-1], np.concatenate([blocks[-1], on_foot])]
    return [*blocks, *(on_foot[at : at + most] for at in range(0, len(on_foot), most))]


def deal_blocks(
    book: Book, land: Land, season: Season, blocks: list[NDArray[np.object_]], *,
    store: Store, reach_ft: float,
) -> Iterator[Block]:  # fmt: skip
    """Deal out what each block is worked out from, one block after the other."""
    number = number_blocks(blocks)
    land = replace(land, words=land.words.assign(content=hash_rows(land.words[CONTENT])))
    lots = deal(land.words[land.words["kind"] == "property"], number)
    clients, measured = deal(book.clients, number), deal(book.measured, number)
    jobs, kept = deal(season.jobs, number), deal(list_kept(store.kept), number)
    stored, built = deal(season.stored, number), Built.of(season.stored)
    bare = replace(book, land=None, features=book.features[:0], problems=book.problems[:0])
    tables = [field.name for field in fields(season) if field.type == "pd.DataFrame"]
    nothing = replace(season, **{name: getattr(season, name)[:0] for name in tables})
    for at, ids in enumerate(blocks):
        windows = widen(lots(at)[ENDS].to_numpy(), reach_ft)
        around = land.part(windows)
        beds = pd.concat([stored(at), built.near(windows)]).drop_duplicates("bed_id")
        seen = season.answers["client_id"].isin({*around.words["client_id"], *ids})
        yield Block(
            client_ids=ids,
            reach_ft=reach_ft,
            land=around,
            book=replace(bare, clients=clients(at), measured=measured(at)),
            season=replace(nothing, stored=beds, answers=season.answers[seen], jobs=jobs(at)),
            kept=kept(at),
            folder=store.folder / f"{at:06d}" if store.has_room else None,
        )
