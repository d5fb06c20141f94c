"""Find and price: ``scan`` a book."""

from __future__ import annotations

import json
import math
import re
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from datetime import date
from functools import partial
from pathlib import Path

import click

from scanner import pipeline
from scanner.calls.log import read_seals
from scanner.cli.closing import beside_words, scan_line
from scanner.cli.keeping import (
    Scanned,
    keep_scan,
    read_for_scan,
    scanned,
    take_up_remarks,
    why_kept,
)
from scanner.cli.options import Asked, command, season_on
from scanner.cli.talk import counted, progress_bar, say, stoppable, tell
from scanner.pages.publish import seal_of
from scanner.sheets.reader import open_elsewhere
from scanner.store.folder import kept_folders
from scanner.store.kept import list_kept

DATED = re.compile(r"calls-\d{4}-\d{2}-\d{2}(-\d+)?\.(csv|xlsx)")
"""A call list beside one that was kept; copies that people made have other names."""


@command("out", "today", "json")
@click.option(
    "--share",
    "is_shared",
    is_flag=True,
    help="Write what can be handed on: map, beds and totals without names, addresses, notes, ids and place.",
)
def scan(asked: Asked, is_shared: bool) -> int:
    """Find, price and rank the beds of BOOK; write the map and the lists.

    Prints the files written, one a line, or with --json the summary. Faulty
    records are listed in problems.csv and left out; the rest is done. With --share
    three files are written into a folder of their own, by default maps/<book>-shared.
    """
    if is_shared:
        return _share(asked)
    told = scan_into(asked.folder, book=asked.book, today=asked.today, as_json=asked.as_json)
    with told as (_, fault_count):
        return fault_count


@contextmanager
def scan_into(
    folder: Path, *, book: Path, today: date, as_json: bool
) -> Iterator[tuple[Scanned, int]]:
    """Scan a book, write its pages, say what came of it; gives the scan as long as it can be read, and how many records need fixing."""
    summary_file = folder / "summary.json"
    before = _inode(summary_file)
    since = summary_file.stat().st_mtime if before else math.inf
    earlier = [
        file for file in sorted(folder.glob("calls-*.[cxo]*")) if file.stat().st_mtime > since
    ]

    def what_stands() -> str:
        if _inode(summary_file) != before:
            return f"The new files stand in {folder}."
        lots = counted(len(list_kept(kept_folders(book))), "lot")
        kept = "" if lots == "0 lots" else f" Worked out and kept for the next scan: {lots}."
        return f"Nothing was written: what is in {folder} is as it was.{kept}"

    why = partial(why_kept, book=book, today=today)
    with stoppable(what_stands), pipeline.open_store(book) as store:
        take_up_remarks(book, folder, today=today)
        season = season_on(book, today)
        with progress_bar("reading the book") as report:
            read = read_for_scan(book, season, store=store)
            found = pipeline.scan(read, today=today, season=season, progress=report, store=store)
            report("writing the map and the lists", len(found.beds), len(found.beds))
            seals = list[str]()
            files = pipeline.publish_scan(found, folder, why_kept=why, seals=seals, store=store)
        swept = sweep_lists(folder, read_seals(book), files)
        keep_scan(found, book, seals=seals)
        # What a program reads from us is the very file that was written, so the two agree.
        text = summary_file.read_text(encoding="utf-8")
        summary = json.loads(text)
        tell(text.rstrip("\n") if as_json else "\n".join(str(file) for file in files))
        old = filter(Path.exists, earlier)  # not swept
        say(" ".join([scan_line(summary, folder), *beside_words(files, why, old), *swept]))
        yield Scanned(read, season, found), int(summary["faults"])


def sweep_lists(folder: Path, seals: list[str], new: list[Path]) -> list[str]:
    """Delete earlier scans' dated lists that are as they were printed, which their seals tell; gives a sentence with their names."""
    gone = list[str]()
    for file in sorted({*folder.glob("calls-*")} - {*new}):
        if DATED.fullmatch(file.name) and seal_of(file) in seals and not open_elsewhere(file):
            with suppress(OSError):  # one that is held open stays, and goes another day
                file.unlink()
                gone.append(file.name)
    return [f"Deleted, because nobody had written into it: {', '.join(gone)}."] if gone else []


def _share(asked: Asked) -> int:
    # It loads what draws maps; a scan in which nothing changed draws none
    from scanner.pages.share import publish_shared

    folder = asked.out_folder or asked.folder.with_name(f"{asked.folder.name}-shared")
    with scanned(asked) as at:
        asked.tell_files(publish_shared(at.found, folder))
    say(
        f"{folder} can be handed on: no name, address, number, note or id is in it, and the lots lie where nobody lives. Areas, quantities, "
        "prices and profit are in it. Whoever has the county's maps may still find the streets by their shapes."
    )
    return 0


def _inode(file: Path) -> int | None:
    return file.stat().st_ino if file.exists() else None
