"""Blocks of neighboring lots: what each is worked out from, and nothing of any other lot."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from scanner.schema.documents import Book, Season
from scanner.store.curve import deal, number_blocks, split_lots
from scanner.store.folder import Store
from scanner.store.land import ENDS, Built, Land, widen

WINDOW_FT = 310.0
"""What lies within this distance of an outline may bear on its lot: streets within 300 ft do."""


@dataclass(frozen=True)
class Block:
    """Some neighboring lots."""

    client_ids: NDArray[np.object_]  # their clients, along the curve
    windows: NDArray[np.float64]  # what is in reach of each outline, n rows of `ENDS` [degrees]
    land: Land  # the features round them
    # their rows of the book and of the log, built beds in reach beside
    book: Book
    season: Season
    folder: Path | None  # where their part is put away; None: it stays in memory

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
    on_land = split_lots(lots["client_id"].to_numpy(object), lots["key"].to_numpy(), most)
    return [*on_land, *(on_foot[at : at + most] for at in range(0, len(on_foot), most))]


def deal_blocks(
    book: Book, land: Land, season: Season, blocks: list[NDArray[np.object_]], *, store: Store
) -> Iterator[Block]:
    """Deal out what each block is worked out from, one block after the other."""
    is_large = store.has_room and sum(map(len, blocks)) > store.small_lots
    number = number_blocks(blocks)
    lots = deal(land.words[land.words["kind"] == "property"], number)
    clients, measured = deal(book.clients, number), deal(book.measured, number)
    answers, jobs = deal(season.answers, number), deal(season.jobs, number)
    stored, built = deal(season.stored, number), Built.of(season.stored)
    bare = replace(book, land=None, features=book.features[:0], problems=book.problems[:0])
    nothing = replace(
        season,
        calls=season.calls[:0],
        job_tasks=season.job_tasks[:0],
        visits=season.visits[:0],
        measurements=season.measurements[:0],
    )
    for at, ids in enumerate(blocks):
        windows = widen(lots(at)[ENDS].to_numpy(), WINDOW_FT)
        beds = pd.concat([stored(at), built.near(windows)]).drop_duplicates("bed_id")
        yield Block(
            client_ids=ids,
            windows=windows,
            land=land.part(windows),
            book=replace(bare, clients=clients(at), measured=measured(at)),
            season=replace(nothing, stored=beds, answers=answers(at), jobs=jobs(at)),
            folder=store.folder / f"{at:06d}" if is_large else None,
        )
