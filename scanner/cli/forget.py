"""Erase a person: out of the log and its copies, the pages and lists, and on request the office's own files."""

from __future__ import annotations

import secrets
import shutil
from collections.abc import Iterable
from fnmatch import fnmatch
from functools import partial
from pathlib import Path

import click
import pandas as pd

from scanner.book.filled_sheet import read_filled
from scanner.book.mailing_sheet import check_letters
from scanner.book.own_files import take_out
from scanner.calls.entry_kinds import KINDS, LETTER, judge
from scanner.calls.forgotten import digits_of
from scanner.calls.log import forget_client, open_log, read_entries
from scanner.cli.crew_sheets import SHEET, refuse_filled
from scanner.cli.keeping import take_up_remarks, why_kept
from scanner.cli.options import Asked, command
from scanner.cli.talk import counted, say
from scanner.cli.who import find_client
from scanner.errors import BookError
from scanner.pages.publish.earlier import Kept
from scanner.schema.documents import Season
from scanner.store.folder import STORE_FOLDER
from scanner.store.replacing import UNFINISHED, settle
from scanner.store.traces import find_traces, traces_of

LISTS, MAILINGS = ("calls*.csv", "calls*.xlsx"), "mailing*.csv"
MADE = (
    *LISTS, SHEET, "*.html", "map/*.html", "candidates.geojson", "line_items.csv", "problems.csv", "summary.json", "care.csv",
    MAILINGS, "letters*.pdf", "postcards*.pdf", "sketch*.pdf", "visit*.pdf", "quote*.pdf", "jobsheet*.pdf", "order*.csv", "order*.pdf",
)  # fmt: skip
"""What the program writes into a folder of outputs and can make anew; whatever else lies there is the office's."""

SALT_BYTES = 16
UNMATCHED = "unmatched.csv"
TELLING = ("name", "address", "email", "mailing_address", "parcel_id")


@command("out", "today", takes_book=False, words="Erase a person, for good.")
@click.argument("who")
@click.option(
    "--also-the-book",
    is_flag=True,
    help="Out of the book's own csv, plain xlsx and GeoJSON files, too.",
)
@click.option("--yes", "is_sure", is_flag=True, help="Don't ask first.")
def forget(asked: Asked, who: str, also_the_book: bool, is_sure: bool) -> int:
    """Erase WHO (id, name or phone number) for good: log, its copies, lists, pages, what scans keep.

    The office's own files stay as they are, and what in them names the person is told, unless
    --also-the-book is given. Of the phone number a mark stays, by which it is not called again.
    """
    book, folder, today, season = asked.book, asked.folder, asked.today, asked.season
    clients = asked.callees
    client_id = _whom(who, clients, book)
    words, phones = _telling(clients[clients["client_id"] == client_id], season, client_id)
    pattern = traces_of(words, map(digits_of, phones), client_id)
    if folder.is_dir():
        settle(folder, keep=Kept(partial(why_kept, book=book, today=today)))
        _refuse_unrecorded(folder, asked)
    if not is_sure:
        told = ", ".join(filter(None, [client_id, *words[:2]]))
        click.confirm(f"Erase {told} for good? Nothing brings it back", abort=True, err=True)
    with open_log(book, today=today) as log:
        for phone in phones:
            log.store_mark(phone, secrets.token_hex(SALT_BYTES))
        log.keep_last_quotes()
    say(
        "The phone number is not called again: a mark of it stays, without a name."
        if phones
        else "No phone number is known, so a later client list cannot be told by it."
    )
    count, failed = forget_client(book, client_id)
    say(f"Erased {counted(count, 'row')} of the log, and the same in its copies.")
    _sweep(book, folder)
    gone = [path for path in find_traces(folder, pattern) if _is_made(path, folder)]
    for path in gone:
        path.unlink()
    if gone:
        say(
            f"Deleted {_names(gone, folder)}: the next scan and the commands that make them write them anew."
        )
    _clear_book(book, client_id, also_the_book=also_the_book)
    left = [*find_traces(book, pattern), *find_traces(folder, pattern)]
    return _tell_left(book, folder, left, failed)


def _whom(who: str, clients: pd.DataFrame, book: Path) -> str:
    """Find whom somebody means; an id that only the log knows will do."""
    if who not in set(clients["client_id"]) and any(
        who in set(read_entries(book, kind)["client_id"]) for kind in KINDS.values()
    ):
        return who
    return find_client(who, clients)


def _telling(client: pd.DataFrame, season: Season, client_id: str) -> tuple[list[str], list[str]]:
    """Give the words that tell a client, and his phone numbers, those once put right, too."""
    remarks = season.remarks[
        (season.remarks["client_id"] == client_id) & (season.remarks["heading"] == "phone")
    ]
    words = [text for name in TELLING for text in client[name] if text]
    phones = {*client["phone"], *remarks["text"], *remarks["instead_of"]}
    return words, sorted(filter(digits_of, phones))


def _refuse_unrecorded(folder: Path, asked: Asked) -> None:
    """Refuse where a list holds what is on record nowhere: it would be lost with the list."""
    book, today = asked.book, asked.today
    take_up_remarks(book, folder, today=today)
    for path in (path for name in LISTS for path in sorted(folder.glob(name))):
        if why := why_kept(path, book=book, today=today):
            message = (
                f"{path}: {why}, and it would be lost with the list. Record the list first, or move it away. "
                "Nothing was erased."
            )
            raise BookError(message)
    clients = asked.callees
    refuse_filled(folder / SHEET, clients, asked.season, today)
    for path in sorted(folder.glob(MAILINGS)):
        check = partial(check_letters, clients=clients, today=today)
        letters, problems = read_filled(path, "letter", check)
        if len(problems) or (judge(LETTER, letters, read_entries(book, LETTER)) != "known").any():
            message = f"{path} holds days that are not on record yet. Record it first, or move it away. Nothing was erased."
            raise BookError(message)


def _sweep(book: Path, folder: Path) -> None:
    """Take away what scans keep, and what runs left that were cut off."""
    shutil.rmtree(book / STORE_FOLDER, ignore_errors=True)
    for place in (book, folder):
        for stray in [*place.rglob(f"{UNFINISHED}*")]:
            shutil.rmtree(stray, ignore_errors=True)


def _is_made(path: Path, folder: Path) -> bool:
    name = path.relative_to(folder).as_posix()
    return any(fnmatch(name, made) for made in MADE)


def _clear_book(book: Path, client_id: str, *, also_the_book: bool) -> None:
    """Take the client out of the list that `assemble` keeps, and on request out of all files that can be."""
    paths = sorted(path for path in book.rglob("*") if path.is_file() and not path.is_symlink())
    for path in paths:
        if (also_the_book or path.name == UNMATCHED) and (found := take_out(path, client_id)):
            say(
                f"Took {counted(found, 'row or feature', 'rows and features')} out of {path.relative_to(book)}."
            )


def _tell_left(book: Path, folder: Path, left: list[Path], failed: list[Path]) -> int:
    """Say where the person still stands; 1 where that is anywhere."""
    for path in failed:
        say(f"{path} cannot be read: delete it by hand.")
    own = {path for path in left if book in path.parents}
    if own:
        say(
            f"Still named in {_names(sorted(own), book)}: files of your own are left as they are; take it out by hand, or with --also-the-book (csv, GeoJSON, xlsx without formulas, comments and pictures)."
        )
    if others := sorted({*left} - own):
        say(
            f"Still named in {_names(others, folder)}, which this program did not make: delete it by hand."
        )
    say("Sheets, prints and backups kept elsewhere are not known here.")
    return int(bool(left or failed))


def _names(paths: Iterable[Path], folder: Path) -> str:
    return ", ".join(path.relative_to(folder).as_posix() for path in paths)
