"""Find and price: ``scan`` a book."""

from __future__ import annotations

import json
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date
from functools import partial
from pathlib import Path

import click

from scanner import pipeline
from scanner.cli.closing import beside_words, scan_line
from scanner.cli.keeping import (
    Scanned,
    keep_scan,
    read_for_scan,
    scanned,
    take_up_remarks,
    why_kept,
)
from scanner.cli.options import book_argument, json_option, out_option, output_folder, today_option
from scanner.cli.talk import counted, progress_bar, say, stoppable, tell
from scanner.pages.share import publish_shared
from scanner.store.folder import kept_folders
from scanner.store.kept import list_kept


@click.command()
@book_argument
@click.option(
    "--share",
    "is_shared",
    is_flag=True,
    help="Write what can be handed on: map, beds and totals without names, addresses, notes, ids and place.",
)
@out_option
@today_option
@json_option
@click.pass_context
def scan(
    ctx: click.Context, book: Path, is_shared: bool, out_folder: Path | None, today: date, as_json: bool
) -> None:  # fmt: skip
    """Find, price and rank the beds of BOOK; write the map and the lists.

    Prints the files written, one a line, or with --json the summary. Faulty
    records are listed in problems.csv and left out; the rest is done. With --share
    three files are written into a folder of their own, by default maps/<book>-shared.
    """
    folder = output_folder(out_folder, book)
    if is_shared:
        shared = out_folder or folder.with_name(f"{folder.name}-shared")
        _share_into(shared, book=book, today=today, as_json=as_json)
        return
    with scan_into(folder, book=book, today=today, as_json=as_json) as (_, code):
        pass
    ctx.exit(code)


@contextmanager
def scan_into(
    folder: Path, *, book: Path, today: date, as_json: bool
) -> Iterator[tuple[Scanned, int]]:
    """Scan a book, write its pages, say what came of it; gives the scan as long as it can be read, and the exit code."""
    summary_file = folder / "summary.json"
    before = _inode(summary_file)

    def what_stands() -> str:
        if _inode(summary_file) != before:
            return f"The new files stand in {folder}."
        lots = counted(len(list_kept(kept_folders(book))), "lot")
        kept = "" if lots == "0 lots" else f" Worked out and kept for the next scan: {lots}."
        return f"Nothing was written: what is in {folder} is as it was.{kept}"

    why = partial(why_kept, book=book, today=today)
    with stoppable(what_stands), pipeline.open_store(book) as store:
        take_up_remarks(book, folder, today=today)
        season = pipeline.open_season(book)
        with progress_bar("reading the book") as report:
            read = read_for_scan(book, season, store=store)
            found = pipeline.scan(read, today=today, season=season, progress=report, store=store)
            report("writing the map and the lists", len(found.beds), len(found.beds))
            seals = list[str]()
            files = pipeline.publish_scan(found, folder, why_kept=why, seals=seals)
        keep_scan(found, book, seals=seals)
        # What a program reads from us is the very file that was written, so the two agree.
        text = summary_file.read_text(encoding="utf-8")
        summary = json.loads(text)
        tell(text.rstrip("\n") if as_json else "\n".join(str(file) for file in files))
        say(" ".join([scan_line(summary, folder), *beside_words(files, why)]))
        yield Scanned(read, season, found), int(summary["faults"] > 0)


def _share_into(folder: Path, *, book: Path, today: date, as_json: bool) -> None:
    """Scan a book and write what can be handed on; nothing of it is kept."""
    with scanned(book, today=today) as at:
        files = publish_shared(at.found, folder)
    tell(json.dumps(list(map(str, files))) if as_json else "\n".join(map(str, files)))
    say(
        f"{folder} can be handed on: no name, address, number, note or id is in it, and the lots lie where nobody lives. Areas, quantities, "
        "prices and profit are in it. Whoever has the county's maps may still find the streets by their shapes."
    )


def _inode(file: Path) -> int | None:
    return file.stat().st_ino if file.exists() else None
