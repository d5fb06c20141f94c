"""What commands do with the log around a scan: keep its beds, free its lists, draw jobs up."""

from __future__ import annotations

from collections.abc import Callable, Iterator
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
from scanner.cli.options import season_on
from scanner.cli.talk import progress_bar, say
from scanner.cli.who import find_client
from scanner.errors import BookError, LogError
from scanner.ground.record.stored import remember_beds
from scanner.job.line_items import itemize
from scanner.job.tasks import bed_tasks, job_tasks
from scanner.pages.publish import CALL_LISTS, UNREADABLE, seal_of
from scanner.schema.documents import Book, Scan, Season
from scanner.schema.log_tables import LISTED, PRINTED
from scanner.schema.tables import LEFT_OUT
from scanner.sheets.problems import faults_of, row_words
from scanner.sheets.reader import open_elsewhere
from scanner.store.folder import Store, passing_store


def read_for_scan(book: Path, season: Season, *, store: Store | None = None) -> Book:
    """Read a book that is to be scanned."""
    return pipeline.read_book(book, needs_lots=season.measurements.empty, store=store)


class Scanned(NamedTuple):
    """A book that was scanned; parts and features can be read as long as its store is open."""

    book: Book
    season: Season
    found: Scan


AT_HAND = "scanner.at_hand"
"""Under this name a command's context keeps what was `Scanned`, for the commands that it runs."""


@contextmanager
def scanned(book: Path, *, today: date) -> Iterator[Scanned]:
    """Scan a book for a page that rests on it, unless its scan is at hand."""
    if at_hand := click.get_current_context().meta.get(AT_HAND):
        yield at_hand
        return
    season = season_on(book, today)
    with pipeline.open_store(book) as store:
        with progress_bar("reading the book") as report:
            read = read_for_scan(book, season, store=store)
            found = pipeline.scan(read, today=today, season=season, progress=report, store=store)
        yield Scanned(read, season, found)


def read_aside(book: Path, season: Season) -> Book:
    """Read a book to look at a few of its lots, until the command ends; what a scan has read is not read again."""
    context = click.get_current_context()
    at_hand: Scanned | None = context.meta.get(AT_HAND)
    if at_hand:
        return at_hand.book
    return read_for_scan(book, season, store=context.with_resource(passing_store(book)))


def look_at(
    book: Path, whom: Callable[[pd.DataFrame], list[str]], *, today: date
) -> tuple[Scanned, list[str]]:
    """Look at the lots of a few clients, whose ids ``whom`` tells from the client list, unless the book's scan is at hand."""
    at_hand: Scanned | None = click.get_current_context().meta.get(AT_HAND)
    if at_hand:
        return at_hand, whom(at_hand.book.clients)
    season = season_on(book, today)
    read = read_aside(book, season)
    client_ids = whom(read.clients)
    with progress_bar("looking at the lots") as report:
        found = pipeline.scan(
            read, today=today, season=season, client_ids=client_ids, progress=report
        )
    return Scanned(read, season, found), client_ids


def look_at_one(book: Path, who: str, *, today: date) -> tuple[Scanned, str]:
    """Look at the lot of the one client who is named by id, name or phone."""
    at, (client_id,) = look_at(book, lambda clients: [find_client(who, clients)], today=today)
    return at, client_id


def scan_for_calls(book: Path, season: Season, *, today: date) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Scan a book of which no scan is on record: tables `LISTED` and `LEFT_OUT`."""
    with progress_bar("reading the book") as report:
        found = pipeline.scan(
            read_for_scan(book, season), today=today, season=season, progress=report
        )
    return list_offered(found.calls, found.offers, found.beds, today=today), found.left_out


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
    book: Path, report: pd.DataFrame, actuals: pd.DataFrame, *, season: Season, today: date
) -> tuple[pd.DataFrame, pd.DataFrame, pd.DataFrame]:
    """Draw jobs up for the log: the estimate that a scan makes beside what was told."""
    new = set(report.loc[~report["job_id"].isin(season.jobs["job_id"]), "client_id"])
    found = None
    if new:
        read = read_aside(book, season)
        seen = pipeline.scan(read, today=today, season=season, client_ids=new)
        found = itemize_all(seen)  # a job may be sold in any finish
    rates = read_rates(book / "rates.toml")[0]
    tasks = tuple(task.task for task in (*bed_tasks(rates), *job_tasks(rates)))
    return draw_up_jobs(report, actuals, season, found=found, tasks=tasks)


def itemize_all(found: Scan) -> Scan:
    """Write every price of a scan out, where its own line items are those of the offers made."""
    parts = [
        {**part, "line_items": itemize(part["prices"], part["quantities"], rates=found.rates)}
        for part in found.parts
    ]
    return replace(found, parts=parts)
