"""What commands do with the log around a scan: keep its beds, free its lists, draw jobs up."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator
from contextlib import contextmanager, suppress
from dataclasses import replace
from datetime import date
from functools import partial
from pathlib import Path
from typing import NamedTuple

import click
import pandas as pd

from scanner import pipeline
from scanner.book.clients import read_client_list
from scanner.book.filled_sheet import check_calls, read_added, read_filled
from scanner.book.settings import read_rates
from scanner.calls.entry_kinds import CALL, REMARK, judge
from scanner.calls.history import with_recorded
from scanner.calls.jobs import draw_up_jobs
from scanner.calls.log import open_log, read_entries, read_last_scan, read_seals, read_season
from scanner.calls.remarks import find_remarks, list_printed
from scanner.calls.today import list_offered
from scanner.cli.options import Asked, scan_at_hand
from scanner.cli.talk import progress_bar, say
from scanner.cli.who import find_client
from scanner.errors import BookError, LogError
from scanner.ground.record.stored import remember_beds
from scanner.job.line_items import itemize
from scanner.job.tasks import bed_tasks, job_tasks
from scanner.pages.publish import CALL_LISTS, RECORD, UNREADABLE, seal_of
from scanner.schema.documents import Book, RateBook, Scan, Season
from scanner.schema.log_tables import LISTED, PRINTED
from scanner.schema.tables import LEFT_OUT
from scanner.sheets.problems import faults_of, row_words
from scanner.sheets.reader import open_elsewhere
from scanner.store.folder import Store, passing_store
from scanner.store.kept import link


def read_for_scan(book: Path, season: Season, *, store: Store | None = None) -> Book:
    """Read a book that is to be scanned."""
    return pipeline.read_book(book, needs_lots=season.measurements.empty, store=store)


class Scanned(NamedTuple):
    """A book that was scanned; parts and features can be read as long as its store is open."""

    book: Book
    season: Season
    found: Scan


@contextmanager
def scanned(asked: Asked) -> Iterator[Scanned]:
    """Scan a whole book for a page about all of it, or take the scan that the command round this one has at hand."""
    if at_hand := scan_at_hand():
        yield at_hand
        return
    with pipeline.open_store(asked.book) as store:
        with progress_bar("reading the book") as report:
            read = read_for_scan(asked.book, asked.season, store=store)
            found = pipeline.scan(
                read, today=asked.today, season=asked.season, progress=report, store=store
            )
        if store.kept:  # what the pages of the last scan were made from holds on
            with suppress(OSError):
                link(store.kept[0] / RECORD, store.folder / RECORD)
        yield Scanned(read, asked.season, found)


def read_aside(book: Path, season: Season) -> Book:
    """Read a book of which a few lots are looked at, with what the last scan has read; leave that as it is.

    Its features can be read until the command ends.
    """
    if at_hand := scan_at_hand():
        return at_hand.book
    store = click.get_current_context().with_resource(passing_store(book))
    return read_for_scan(book, season, store=store)


def look_at(asked: Asked, whom: Callable[[pd.DataFrame], list[str]]) -> tuple[Scanned, list[str]]:
    """Scan the lots of clients alone, or take the scan that the command round this one has at hand."""
    if at_hand := scan_at_hand():
        return at_hand, whom(at_hand.book.clients)
    read, season = read_aside(asked.book, asked.season), asked.season
    client_ids = whom(read.clients)
    with progress_bar("looking at the lots") as report:
        found = pipeline.scan(
            read, today=asked.today, season=season, client_ids=client_ids, progress=report
        )
    return Scanned(read, season, found), client_ids


def price(read: Book, season: Season, today: date, client_ids: Collection[str]) -> Scan:
    """Price the beds of some clients, none of whom is ranked."""
    with progress_bar("looking at the lots") as report:
        return pipeline.price_lots(read, season, client_ids, today=today, progress=report)


def look_at_one(asked: Asked, who: str) -> tuple[Scanned, str]:
    """Scan the lot of the one client who is meant."""
    at, (client_id,) = look_at(asked, lambda clients: [find_client(who, clients)])
    return at, client_id


def keep_scan(found: Scan, book: Path, *, seals: list[str]) -> None:
    """Keep the names of the beds, the call list and its files' seals in the log; where it cannot be, say so."""
    try:
        with open_log(book, today=found.today) as log:
            for part in found.parts:
                log.store_beds(remember_beds(part["beds"], today=found.today))
            listed = list_offered(found.calls, found.offers, found.beds, today=found.today)
            log.store_last_scan(LISTED, listed)
            log.store_last_scan(LEFT_OUT, found.left_out)
            log.store_printed(list_printed(found.clients))
            log.store_seals(seals)
    except LogError as err:
        say(f"Bed names are not kept, so the next scan may name some beds anew: {err}")


def why_kept(path: Path, *, book: Path, today: date) -> str:
    """Say what of a call list is not on record and would be lost with it, as a sentence without its end; blank: nothing."""
    if mark := open_elsewhere(path):
        return f"it is open in another program ({mark} lies beside it)"
    if seal_of(path) in read_seals(book):
        return ""
    entries, season, clients = (
        read_entries(book, CALL),
        read_season(book),
        read_client_list(book)[0],
    )
    try:
        known = with_recorded(clients, entries)
        check = partial(check_calls, clients=known, today=today, on_record=entries)
        calls, problems = read_filled(path, "calls", check)
        added, strange = read_added(path, known)
    except BookError:
        return UNREADABLE
    is_open = judge(CALL, calls, entries) != "known"
    rows = {*map(row_words, calls.index[is_open]), *faults_of(problems)["feature"]} - {""}
    if rows:
        # row 9 before row 10
        return f"{min(rows, key=lambda words: (len(words), words))} is not on record yet"
    news = find_remarks(added, clients, season.remarks, read_last_scan(book, PRINTED))[0]
    is_new = judge(REMARK, news, read_entries(book, REMARK)) != "known"
    strange += [f"what stands under {heading}" for heading in news.loc[is_new, "heading"]]
    return f"{strange[0]} cannot be taken up" if strange else ""


def take_up_remarks(book: Path, folder: Path, *, today: date) -> None:
    """Record what the office wrote beside the calls into the lists of a folder; where it cannot be, the lists stay."""
    lists = [folder / name for name in CALL_LISTS if (folder / name).exists()]
    seals = read_seals(book) if lists else []
    if not (lists := [path for path in lists if seal_of(path) not in seals]):
        return
    clients, season = read_client_list(book)[0], read_season(book)
    printed, taken = read_last_scan(book, PRINTED), list[pd.DataFrame]()
    for path in lists:
        with suppress(BookError):
            added = read_added(path, clients)[0]
            taken.append(find_remarks(added, clients, season.remarks, printed)[0])
    with suppress(LogError):
        if any(map(len, taken)):
            with open_log(book, today=today) as log:
                for remarks in taken:
                    log.record(REMARK, remarks)


def draw_up(
    asked: Asked, report: pd.DataFrame, actuals: pd.DataFrame
) -> tuple[pd.DataFrame, pd.DataFrame, pd.DataFrame]:
    """Draw up jobs; a new one is estimated from a scan of its client, as `draw_up_jobs` has it."""
    season, day = asked.season, asked.today
    new = set(report.loc[~report["job_id"].isin(season.jobs["job_id"]), "client_id"])
    # a job may be sold in any finish
    found = itemize_all(price(read_aside(asked.book, season), season, day, new)) if new else None
    rates = read_rates(asked.book / "rates.toml")[0]
    return draw_up_jobs(report, actuals, season, found=found, tasks=task_names(rates))


def task_names(rates: RateBook) -> tuple[str, ...]:
    """Name all tasks that a price may have, in their order."""
    return tuple(task.task for task in (*bed_tasks(rates), *job_tasks(rates)))


def itemize_all(found: Scan) -> Scan:
    """Write every price of a scan out, where its own line items are those of the offers made."""
    parts = [
        {**part, "line_items": itemize(part["prices"], part["quantities"], rates=found.rates)}
        for part in found.parts
    ]
    return replace(found, parts=parts)
