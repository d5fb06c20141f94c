"""A desk to type commands at: the real command line over a pipeline that answers at once."""

from __future__ import annotations

import io
import json
import pickle
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import ExitStack, contextmanager
from dataclasses import fields, replace
from datetime import date
from functools import partial
from pathlib import Path
from typing import Any

import click
import openpyxl
import pandas as pd
import pytest
from click.testing import CliRunner, Result

from scanner import pipeline
from scanner.calls.log import NO_SEASON
from scanner.cli import main
from scanner.schema.documents import PART_TABLES, Book, Scan, Season
from scanner.schema.tables import FEATURES, MEASURED, PROBLEMS, empty_table
from scanner.store.folder import Store, passing_store
from tests.small_scan import small_clients, small_rates, small_rules, small_scan

SUMMARY = {
    "beds": 8, "area_ft2": 1512.4, "scanned": 10, "offers": 1, "price_usd": "2345.60",
    "skipped_by_reason": {"too short": 1, "denied": 0}, "not_drawn": 1, "left_out": 2, "under_way": {"sold": 0}, "chance_attempts": 0,
}  # fmt: skip

FAULT = {
    "file": "clients.csv", "feature": "row 7", "client_id": "C0007", "severity": "fault",
    "problem": "the id C0007 stands in rows 6 and 7; each id may stand once",
    "remedy": "give one of them another id",
}  # fmt: skip
NOTE = {
    "file": "", "feature": "", "client_id": "", "severity": "note",
    "problem": "no site has a tree", "remedy": "",
}  # fmt: skip


def type_in(*words: str) -> Result:
    """Type a command; an error that the program does not tell as a sentence is raised."""
    return CliRunner().invoke(main, list(words), catch_exceptions=False)


def book_on_foot(folder: Path, *clients: str, curb_ft: Mapping[str, int]) -> Path:
    """Write a book of clients, the heads of their columns first, whose curbs were measured on foot."""
    folder.mkdir()
    edges = [f"{client},curb,{length},30" for client, length in curb_ft.items()]
    edges = ["client_id,along,length_ft,room_ft", *edges]
    for name, rows in {"clients.csv": clients, "measured.csv": edges}.items():
        (folder / name).write_text("\n".join([*rows, ""]), encoding="utf-8")
    return folder


def fill(path: Path, *rows: dict[str, object], sheet: str = "Figures") -> None:
    """Type into a call list: each row by its client."""
    workbook = openpyxl.load_workbook(path)
    cells = workbook[sheet]
    header = [cell.value for cell in cells[1]]
    lines = {
        str(line[header.index("client_id")].value): line for line in cells.iter_rows(min_row=2)
    }
    for row in rows:
        for name, value in row.items():
            if name != "client_id":
                lines[str(row["client_id"])][header.index(name)].value = value
    workbook.save(path)


def taken_out(found: Scan) -> Scan:
    """Take the tables of a scan out of the folder in which they lie, which lasts as long as the scan."""
    parts = [{name: part[name] for name in PART_TABLES} for part in found.parts]
    return replace(found, parts=parts)


@contextmanager
def keeping_scans() -> Iterator[list[Scan]]:
    """Keep what every scan finds that is typed meanwhile, of a whole book or of lots that are priced alone."""
    scans: list[Scan] = []

    def keep(verb: Callable[..., Scan], *book: object, **how: object) -> Scan:
        found = verb(*book, **how)
        scans.append(taken_out(found))
        return found

    with pytest.MonkeyPatch.context() as patch:
        for name in ("scan", "price_lots"):
            patch.setattr(pipeline, name, partial(keep, getattr(pipeline, name)))
        yield scans


@contextmanager
def finding(found: Scan) -> Iterator[None]:
    """A scan finds what one found before: no lot is looked at again."""

    def scan(*_: object, today: date, **__: object) -> Scan:
        return replace(found, today=today)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("scanner.pipeline.scan", scan)
        patch.setattr("scanner.pipeline.price_lots", scan)
        yield


@contextmanager
def leaving_map_out() -> Iterator[None]:
    """A scan writes an empty map, which takes a third as long as the rest."""

    def no_pages(_scan: object, parts: Iterable[object]) -> Iterator[list[tuple[str, bytes]]]:
        yield [("map.html", b"")]
        yield from ([] for _ in parts)
        yield []

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("scanner.pages.webmap.map_pages", no_pages)
        yield


def in_bytes(what: object) -> bytes:
    """Give what is equal the same bytes."""
    stream = io.BytesIO()
    pickler = pickle.Pickler(stream)
    pickler.fast = True  # else they tell, too, which of its parts are the same in memory
    pickler.dump(what)
    return stream.getvalue()


@contextmanager
def scanning_once(heard: Callable[[Season, date], object]) -> Iterator[None]:
    """Read and scan what is the same book once: for tests of what is made of it.

    ``heard``: what of the log and the day tells one scan from another.
    """
    read, scan, price = pipeline.read_book, pipeline.scan, pipeline.price_lots
    found = dict[bytes, Any]()

    def once(make: Callable[[], Any], folder: Path, *known: object) -> Any:
        if (key := in_bytes((files_of(folder), known))) not in found:
            found[key] = make()
        return found[key]

    def read_once(folder: Path, *, needs_lots: bool = True, store: Store | None = None) -> Book:
        def make() -> Book:
            # Its shapes have to outlast the command that asked for them
            own = store and stores.enter_context(passing_store())
            return read(folder, needs_lots=needs_lots, store=own)

        book = once(make, folder, "read", needs_lots, store is None)
        return replace(book, folder=folder)

    def scan_once(book: Book, *, progress: object = None, store: object = None, **asked: Any) -> Scan:  # fmt: skip
        def make() -> Scan:
            return taken_out(scan(book, progress=progress, store=store, **asked))

        whose, today = asked.get("client_ids"), asked["today"]
        whose = None if whose is None else sorted(whose)
        season = heard(asked.get("season", NO_SEASON), today)
        return replace(once(make, book.folder, "scan", season, whose), today=today)

    def price_once(book: Book, season: Season, client_ids: Iterable[str], *, today: date, progress: Any) -> Scan:  # fmt: skip
        def make() -> Scan:
            return taken_out(price(book, season, client_ids, today=today, progress=progress))

        told = heard(season, today), sorted(client_ids)
        return replace(once(make, book.folder, "price", *told), today=today)

    with pytest.MonkeyPatch.context() as patch, ExitStack() as stores:
        patch.setattr("scanner.pipeline.read_book", read_once)
        patch.setattr("scanner.pipeline.scan", scan_once)
        patch.setattr("scanner.pipeline.price_lots", price_once)
        yield


def files_of(folder: Path) -> object:
    """What of a book's files bears on a scan, wherever it lies."""
    files = (path for kind in ("*.csv", "*.toml", "sites/*") for path in sorted(folder.glob(kind)))
    bears = (path for path in files if path.name != "capacity.csv")
    return folder.name, [(path.name, path.read_bytes()) for path in bears]


UNHEARD = ("quotes", "quote_tasks", "job_tasks", "schedule", "tickets", "if_damaged")
"""What no scan asks of a season: what follows a sale, and where the book lies."""


def all_heard(season: Season, today: date) -> object:
    """What a scan asks of a season, and of the day where anything was said; these books' client lists name no day."""
    names = [one.name for one in fields(season) if one.name not in UNHEARD]
    told = [_rows(getattr(season, name)) for name in names]
    return today if any(told) else "any day", told


def lots_heard(season: Season, _today: date) -> object:
    """What bears on the beds of a lot and on who may have them, not on the chance of a sale."""
    calls, stored = season.calls, season.stored
    final = calls.loc[calls["outcome"].isin(["do not call", "sold"]), ["client_id", "outcome"]]
    names = ("answers", "jobs", "measurements", "remarks", "forgotten")
    known = (*(getattr(season, name) for name in names), final, stored[stored["built_on"] != ""])
    return [*map(_rows, known)]


def _rows(told: Any) -> object:
    """What stands in a table, however it is kept and whenever it was typed."""
    if not isinstance(told, pd.DataFrame):
        return told
    if told.empty:
        return []
    return told.drop(columns="recorded_at", errors="ignore").astype("str").to_numpy().tolist()


def command_of(name: str) -> click.Command:
    """Load a command."""
    command = main.get_command(click.Context(main), name)  # type: ignore[attr-defined]
    assert command is not None
    return command


def problems_of(*rows: dict[str, str]) -> pd.DataFrame:
    return pd.DataFrame(rows, columns=list(PROBLEMS.columns)) if rows else empty_table(PROBLEMS)


def book_with(*problems: dict[str, str]) -> Book:
    return Book(
        folder=Path("lawns"), clients=small_clients(), features=empty_table(FEATURES),
        measured=empty_table(MEASURED), rates=small_rates(), rules=small_rules(),
        problems=problems_of(*problems),
    )  # fmt: skip


def scan_with(*problems: dict[str, str], today: date) -> Scan:
    return replace(small_scan(), problems=problems_of(*problems), today=today)


def publish_summary(found: Scan, folder: Path, **_: object) -> list[Path]:
    """Write the summary only, as the pages room would with everything else."""
    folder.mkdir(parents=True)
    file = folder / "summary.json"
    faults = int((found.problems["severity"] == "fault").sum())
    summary = {**SUMMARY, "faults": faults, "problems": len(found.problems)}
    file.write_text(json.dumps(summary, indent=2) + "\n", encoding="utf-8")
    return [folder / "map.html", file]
