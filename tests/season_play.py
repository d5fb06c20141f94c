"""A year of calls and jobs on the invented street, typed at the real command line."""

from __future__ import annotations

import contextlib
import csv
import io
import json
import shutil
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path

import openpyxl
from click.testing import Result

from scanner.calls.log import read_season
from scanner.schema.documents import Season
from tests.cli.desk import leaving_map_out, type_in
from tests.season_town import bed_id, redraw_curb, start_book

# How the 40 calls of February ended: clients, day, outcome, day promised
FEBRUARY: tuple[tuple[range, str, str, str], ...] = (
    (range(1, 9), "2027-02-24", "not reached", ""),
    (range(9, 10), "2027-02-22", "call back", "2027-03-05"),
    (range(10, 11), "2027-02-23", "call back", ""),
    (range(11, 12), "2027-02-24", "call back", "2027-03-08"),
    (range(12, 13), "2027-02-24", "call back", "2027-03-09"),
    (range(13, 14), "2027-02-25", "call back", ""),
    (range(14, 15), "2027-02-26", "call back", "2027-04-01"),
    (range(15, 21), "2027-02-10", "not now", ""),
    (range(21, 25), "2027-02-11", "no", ""),
    (range(25, 26), "2027-02-12", "visit", "2027-03-03"),
    (range(26, 29), "2027-02-12", "visit", ""),
    (range(29, 33), "2027-02-15", "quoted", ""),
    (range(33, 36), "2027-02-16", "sold", ""),
    (range(36, 41), "2027-02-17", "do not call", ""),
)

# What came of the calls that were due on 8 March
MARCH: dict[int, tuple[str, str]] = {
    9: ("sold", ""),
    10: ("sold", ""),
    11: ("call back", "2027-09-15"),
    13: ("not reached", ""),
    25: ("quoted", ""),
}

DAY_ZERO = date(1899, 12, 30)
"""What a spreadsheet counts days from."""


@dataclass
class Scanned:
    """What one scan left in its folder."""

    said: Result
    files: dict[str, bytes]

    @property
    def summary(self) -> dict:
        return json.loads(self.files["summary.json"])

    @property
    def calls(self) -> dict[int, dict[str, str]]:
        rows = csv.DictReader(io.StringIO(self.files["calls.csv"].decode()))
        return {int(row["client_id"]): row for row in rows}

    @property
    def beds(self) -> dict[str, dict]:
        features = json.loads(self.files["candidates.geojson"])["features"]
        return {bed["properties"]["bed_id"]: bed["properties"] for bed in features}

    @property
    def problems(self) -> str:
        return self.files["problems.csv"].decode()


@dataclass
class Played:
    """Everything that came out of the year, stage by stage."""

    scans: dict[str, Scanned] = field(default_factory=dict)
    said: dict[str, Result] = field(default_factory=dict)
    logs: dict[str, Season] = field(default_factory=dict)
    files: dict[str, bytes] = field(default_factory=dict)


def play(folder: Path) -> Played:
    """Play the year in a folder of its own; beside it stays how things stood before the autumn."""
    played = Played()
    with contextlib.chdir(folder), leaving_map_out():
        start_book(Path("lawns"))
        for act in (_february, _march, _jobs):
            act(played)
        shutil.copytree(folder, folder.with_name("summer"))
        _autumn(played)
    return played


def play_autumn(folder: Path) -> Played:
    """Play what comes after the summer once more, in a folder that was left then."""
    played = Played()
    with contextlib.chdir(folder), leaving_map_out():
        _autumn(played)
    return played


def as_text(day: date, number: int) -> object:
    """Write a day as one of the ways in which it stands in a spreadsheet."""
    ways: tuple[Callable[[], object], ...] = (
        day.isoformat,
        lambda: (day - DAY_ZERO).days,
        lambda: f"{day.month}/{day.day}/{day.year}",
        lambda: day,
        lambda: f"{day:%b} {day.day}, {day.year}",
    )
    return ways[number % len(ways)]()


def _february(played: Played) -> None:
    _scan(played, "start", "2027-02-01")
    _fill_call_list(Path("maps", "lawns", "calls.xlsx"))
    for name in ("recorded", "recorded again"):
        _type(played, name, "record", "lawns", "calls.xlsx", "--today", "2027-02-26")
        played.logs[name] = read_season(Path("lawns"))


def _march(played: Played) -> None:
    redraw_curb(Path("lawns"))
    _scan(played, "redrawn", "2027-03-01")
    due = _type(played, "due", "calls", "lawns", "--due", "--csv", "--today", "2027-03-08")
    rows = list(csv.DictReader(io.StringIO(due.stdout)))
    for row in rows:
        if int(row["client_id"]) in MARCH:
            outcome, next_date = MARCH[int(row["client_id"])]
            row |= {"called_on": "3/8/27", "outcome": outcome, "next_date": next_date}
    _write_csv(Path("due.csv"), rows)
    _type(played, "due recorded", "record", "lawns", "due.csv", "--today", "2027-03-08")
    played.logs["march"] = read_season(Path("lawns"))


def _jobs(played: Played) -> None:
    _job(played, "sold", "--sold", "1739", today="2027-03-09")
    _write_csv(Path("sold.csv"), [
        {"bed_ids": bed_id(34), "sold_usd": "1150", "built_on": "", "task": ""},
        {"bed_ids": bed_id(35), "sold_usd": "$2,500.00", "built_on": "", "task": ""},
    ])  # fmt: skip
    _type(played, "sold sheet", "record", "lawns", "sold.csv", "--today", "2027-03-09")
    spent = {"dig out by hand": 6, "set edging": 2.9, "spread mulch": 0.8, "load the trailer": 1.5}
    hours = [word for task, took in spent.items() for word in ("--hours", f"{task}={took}")]
    _job(played, "told built", "--built", "2027-04-07", "--invoiced", "1739", *hours,
         "--cost", "mulch with waste=99", today="2027-04-08")  # fmt: skip
    _type(played, "too few jobs", "calibrate", "lawns")
    _fill_job_sheet(Path("jobs.xlsx"))
    for name in ("job sheet", "job sheet again"):
        _type(played, name, "record", "lawns", "jobs.xlsx", "--today", "2027-05-14")
    played.logs["built"] = read_season(Path("lawns"))
    _scan(played, "built", "2027-06-01")


def _autumn(played: Played) -> None:
    _type(played, "care", "care", "lawns", "--today", "2027-10-04")
    played.files["care.csv"] = Path("maps", "lawns", "care.csv").read_bytes()
    _type(played, "calibrated", "calibrate", "lawns", "--json")
    proposed = Path("lawns", "rates-proposed.toml")
    played.files["rates-proposed.toml"] = proposed.read_bytes()
    # The owner looks at them and takes them for the next year
    proposed.replace(Path("lawns", "rates.toml"))
    _type(played, "calibrated again", "calibrate", "lawns", "--json")
    _scan(played, "next year", "2028-01-10")


def _type(played: Played, name: str, *words: str) -> Result:
    played.said[name] = type_in(*words)
    return played.said[name]


def _scan(played: Played, name: str, today: str) -> None:
    said = _type(played, name, "scan", "lawns", "--today", today)
    kinds = ("calls.csv", "summary.json", "candidates.geojson", "problems.csv")
    files = {kind: Path("maps", "lawns", kind).read_bytes() for kind in kinds}
    played.scans[name] = Scanned(said, files)


def _fill_call_list(path: Path) -> None:
    """Fill 40 rows in and do to the sheet what people do: sort, rename, add, delete, retype."""
    workbook = openpyxl.load_workbook(path)
    sheet = workbook["Figures"]
    header, *rows = [list(row) for row in sheet.iter_rows(values_only=True)]
    at = {name: place for place, name in enumerate(header)}
    by_client = {int(row[at["client_id"]]): row for row in rows}
    for numbers, called_on, outcome, next_date in FEBRUARY:
        for number in numbers:
            row = by_client[number]
            row[at["called_on"]] = as_text(date.fromisoformat(called_on), number)
            row[at["outcome"]] = outcome if number % 2 else outcome.capitalize()
            row[at["note"]] = f"spoke of lot {number}"
            if next_date:
                row[at["next_date"]] = as_text(date.fromisoformat(next_date), number + 1)
            if number % 3 == 0:
                row[at["client_id"]] = number  # the spreadsheet took 009 for a number
    called = sorted(by_client.items(), key=lambda item: (-item[0] % 7, item[0]))
    sheet.delete_rows(1, sheet.max_row)
    # Two were not called: their rows are gone, and one column is the caller's own
    for mood, row in [("mood", header), *(("fine", row) for n, row in called if n <= 40)]:
        sheet.append([*row[:2], mood, *row[2:]])
    sheet.title = "February"
    workbook.save(path)


def _job(played: Played, name: str, *words: str, today: str) -> None:
    """Tell of the job on lot 33 by command."""
    _type(played, name, "record", "lawns", "job", bed_id(33), *words, "--today", today)


def _fill_job_sheet(path: Path) -> None:
    """Write the other four jobs into a spreadsheet, one row a task, dates as people type them."""
    columns = (
        "bed_ids",
        "built_on",
        "sold_usd",
        "invoiced_usd",
        "task",
        "actual_hours",
        "actual_usd",
    )
    # What was sold in February needs its price no more; 009 and 010 came of call-backs
    heads: dict[int, tuple[object, float | None, float]] = {
        35: ("2027-04-14", None, 2500), 34: ("4/21/2027", None, 1150),
        9: (date(2027, 5, 5), 1300, 1300), 10: ((date(2027, 5, 12) - DAY_ZERO).days, 600, 600),
    }  # fmt: skip
    hours = {
        35: {"dig out by hand": 6, "set edging": 3.625, "spread mulch": 0.8},
        34: {"dig out by hand": 3.6, "set edging": 1.55, "spread mulch": 0.32},
        9: {"dig out by hand": 6, "set edging": 2.9, "spread mulch": 0.8},
        10: {"dig out by hand": 2.5, "set edging": 1.24, "spread mulch": 0.5,
             "cap or convert sprinkler heads": 1.5},
    }  # fmt: skip
    mulch_usd = {35: 99, 34: 59.4, 9: 99, 10: 59.4}
    workbook = openpyxl.Workbook()
    sheet = workbook.worksheets[0]
    sheet.append(columns)
    for number, head in heads.items():
        sheet.append([bed_id(number), *head, "mulch with waste", None, mulch_usd[number]])
        for task, took in hours[number].items():
            sheet.append([None, None, None, None, task, took, None])
    workbook.save(path)


def _write_csv(path: Path, rows: list[dict[str, str]]) -> None:
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, [*rows[0]])
        writer.writeheader()
        writer.writerows(rows)
