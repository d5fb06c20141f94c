"""A desk to type commands at: the real command line over a pipeline that answers at once."""

from __future__ import annotations

import io
import json
import pickle
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import replace
from datetime import date
from pathlib import Path

import click
import openpyxl
import pandas as pd
import pytest
from click.testing import CliRunner, Result

from scanner import pipeline
from scanner.calls.log import NO_SEASON
from scanner.cli import main
from scanner.schema.documents import PART_TABLES, Book, Scan
from scanner.schema.tables import FEATURES, MEASURED, PROBLEMS, empty_table
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
    """Keep what every scan finds that is typed meanwhile."""
    scans: list[Scan] = []
    scan = pipeline.scan

    def keep(*book: object, **how: object) -> Scan:
        found = scan(*book, **how)
        scans.append(taken_out(found))
        return found

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("scanner.pipeline.scan", keep)
        yield scans


def in_bytes(what: object) -> bytes:
    """Give what is equal the same bytes."""
    stream = io.BytesIO()
    pickler = pickle.Pickler(stream)
    pickler.fast = True  # else they tell, too, which of its parts are the same in memory
    pickler.dump(what)
    return stream.getvalue()


@contextmanager
def scanning_once() -> Iterator[None]:
    """Scan what is the same book with the same log on the same day once: for tests of what is made of a scan."""
    scan, found = pipeline.scan, dict[bytes, Scan]()

    def once(book: Book, *, progress: object = None, store: object = None, **asked: object) -> Scan:
        files = (path for kind in FILES_OF_A_BOOK for path in sorted(book.folder.glob(kind)))
        whose = asked.pop("client_ids", None)
        asked["client_ids"] = None if whose is None else sorted(whose)
        # It says where the book lies, which is another place for each copy
        known = replace(asked.get("season", NO_SEASON), if_damaged="")
        key = in_bytes(
            (book.folder.name, [(path.name, path.read_bytes()) for path in files], asked | {"season": known})
        )  # fmt: skip
        if key not in found:
            found[key] = taken_out(scan(book, progress=progress, store=store, **asked))
        return found[key]

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("scanner.pipeline.scan", once)
        yield


FILES_OF_A_BOOK = ("*.csv", "*.toml", "sites/*")  # its letter.txt and postcard.txt bear on no scan


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
