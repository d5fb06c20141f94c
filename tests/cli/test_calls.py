"""``calls``: whom to call today; exit code, stdout and stderr."""

from __future__ import annotations

import csv
import io
import json
import re
import shutil
from datetime import date, datetime
from pathlib import Path

import pytest

from scanner.book.new import start_book
from scanner.calls.law import COUNSEL
from scanner.calls.log import open_log
from scanner.calls.today import list_offered
from scanner.schema.log_tables import LISTED
from tests.calls.desk import record
from tests.cli.desk import type_in
from tests.small_scan import TODAY, small_clients, small_scan

DAY = ("--today", "2026-02-16")


@pytest.fixture(scope="module")
def scanned(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The ten clients of the small scan, with that scan on record."""
    folder = tmp_path_factory.mktemp("calls") / "lawns"
    folder.mkdir()
    # As a program writes a book: the cell that would run as a formula is guarded
    clients = small_clients().map(lambda cell: f"'{cell}" if str(cell).startswith("=") else cell)
    clients.to_csv(folder / "clients.csv", index=False)
    scan = small_scan()
    with open_log(folder, today=TODAY) as log:
        log.store_last_scan(LISTED, list_offered(scan.calls, scan.offers, scan.beds, today=TODAY))
    return folder


@pytest.fixture
def book(scanned: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    return Path(shutil.copytree(scanned, tmp_path / "lawns"))


def rows_of(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text)))


def ids_of(*options: str) -> list[str]:
    result = type_in("calls", "lawns", *DAY, *options)
    assert result.exit_code == 0, result.stderr
    return [row["client_id"] for row in rows_of(result.stdout)]


@pytest.mark.usefixtures("book")
def test_list_as_text_with_what_was_said_and_the_law() -> None:
    result = type_in("calls", "lawns", *DAY)
    rows = rows_of(result.stdout)
    assert [row["client_id"] for row in rows] == [
        "C0009", "C0004", "C0008", "C0003", "C0001", "C0002",
    ]  # fmt: skip
    assert [row["place"] for row in rows] == ["1", "2", "3", "4", "5", "6"]
    first = rows[0]
    assert (first["name"], first["route"], first["bed_ids"]) == (
        "'=SUM(1,2) Lane Trust", "North", "C0009-house-1",
    )  # fmt: skip
    # A formula in a name stays text. Direct cost 960 $, over 0.55 1,745.45 $: 1,300 to 2,450 $, gross profit 785.45 $
    assert (first["price_low_usd"], first["price_high_usd"]) == ("1300.00", "2450.00")
    assert first["gross_profit_usd"] == "785.45"
    assert result.stderr.splitlines() == [
        "From the scan of 2026-02-16; what has changed in the book since is not in it.",
        "6 clients to call: 0 promised a call by now, 0 not reached last time, 6 others; 6 rows shown, 4 clients left out, 2 of them without an offer"
        " (--all lists them with the reason).",
        *COUNSEL,
    ]


def test_due_call_backs_first_and_alone_with_due(book: Path) -> None:
    record(
        book, ("C0009", "2026-02-01", "call back", "", "send the sketch", "2026-02-10"), today=TODAY
    )
    assert ids_of()[0] == "C0009"
    row = rows_of(type_in("calls", "lawns", *DAY, "--due").stdout)[0]
    assert (row["due_on"], row["to_do"], row["last_outcome"]) == (
        "2026-02-10", "send the sketch", "call back",
    )  # fmt: skip
    assert ids_of("--due") == ["C0009"]


@pytest.mark.usefixtures("book")
@pytest.mark.parametrize(
    ("options", "client_ids"),
    [
        (("--route", "south"), ["C0004"]),
        (("--day", "mon"), ["C0001", "C0002"]),
        (("--kind", "house"), ["C0009", "C0002"]),
        (("--limit", "2"), ["C0009", "C0004"]),
        (("--route", "North", "--limit", "1"), ["C0009"]),
        (("--due",), []),
    ],
)
def test_some_of_them(options: tuple[str, ...], client_ids: list[str]) -> None:
    assert ids_of(*options) == client_ids


@pytest.mark.usefixtures("book")
def test_all_lists_every_client_left_out_with_the_reason() -> None:
    one, two = (type_in("calls", "lawns", *DAY, "--all") for _ in range(2))
    assert (one.stdout, one.stderr) == (two.stdout, two.stderr)
    rows = rows_of(one.stdout)
    assert len(rows) == 10
    reasons = {row["client_id"]: row["left_out"] for row in rows if row["left_out"]}
    assert reasons == {
        "C0005": "asked not to be called", "C0006": "payment past due: settle that first",
        "C0007": "no offer in the last scan", "C0010": "no offer in the last scan",
    }  # fmt: skip
    assert {row["place"] for row in rows if row["left_out"]} == {""}


def test_refusal_and_do_not_call_are_respected(book: Path) -> None:
    record(book, ("C0002", "2026-02-01", "no"), ("C0001", "2020-02-01", "do not call"), today=TODAY)
    assert ids_of() == ["C0009", "C0004", "C0008", "C0003"]
    rows = {
        row["client_id"]: row for row in rows_of(type_in("calls", "lawns", *DAY, "--all").stdout)
    }
    assert rows["C0002"]["left_out"] == "no on 2026-02-01, rests until 2027-02-01"
    assert rows["C0001"]["left_out"] == "asked not to be called"


def test_what_was_said_on_later_days_is_left_aside_and_said(book: Path) -> None:
    record(book, ("C0002", "2026-02-20", "no"), ("C0001", "2026-02-20", "do not call"), today=date(2026, 2, 20))  # fmt: skip
    result = type_in("calls", "lawns", *DAY)
    assert "Left aside: 1 entry of days after 2026-02-16." in result.stderr
    listed = [row["client_id"] for row in csv.DictReader(result.stdout.splitlines())]
    assert "C0002" in listed
    assert "C0001" not in listed


def test_list_may_be_filled_in_and_recorded_as_it_is(book: Path) -> None:
    text = type_in("calls", "lawns", *DAY, "--csv").stdout
    rows = rows_of(text)
    rows[0] |= {"called_on": "2026-02-16", "outcome": "visit", "note": "gate"}
    with Path("tuesday.csv").open("w", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, rows[0].keys())
        writer.writeheader()
        writer.writerows(rows)
    result = type_in("record", "lawns", "tuesday.csv", *DAY)
    # The best call on the list is that of C0009; after a visit comes what to take along
    assert result.stderr.splitlines()[-2:] == [
        "Recorded 1 new call.", "Next, print what to take along: bed-scanner visit lawns C0009",
    ]  # fmt: skip
    assert book.is_dir()


@pytest.mark.usefixtures("book")
def test_json_for_other_programs() -> None:
    rows = json.loads(type_in("calls", "lawns", *DAY, "--json", "--limit", "1").stdout)
    assert rows[0]["client_id"] == "C0009"
    assert (rows[0]["price_low_usd"], rows[0]["place"]) == (1300.0, 1)
    assert "called_on" not in rows[0]


def test_relationship_is_shown_where_a_day_is_known(book: Path) -> None:
    record(book, ("C0003", "2025-08-01", "quoted"), today=TODAY)
    rows = {row["client_id"]: row for row in rows_of(type_in("calls", "lawns", *DAY).stdout)}
    # Three months from 1 August end on 1 November
    assert rows["C0003"]["relationship"].startswith("the inquiry lapsed on 2025-11-01")
    assert rows["C0001"]["relationship"] == ""


def test_promised_client_who_is_gone_is_told(book: Path) -> None:
    record(book, ("C0099", "2026-02-01", "call back", "", "", "2026-02-10"), today=TODAY)
    result = type_in("calls", "lawns", *DAY, "--all")
    assert "Promised a call and not in the client list any more: C0099." in result.stderr
    last = rows_of(result.stdout)[-1]
    assert (last["client_id"], last["left_out"]) == ("C0099", "not in the client list any more")


@pytest.mark.usefixtures("book")
def test_a_call_in_lines_on_a_terminal(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("FORCE_COLOR", "1")
    monkeypatch.setenv("COLUMNS", "200")
    told = re.sub(r"\x1b\[[0-9;]*m", "", type_in("calls", "lawns", *DAY, "--limit", "1").stdout)
    head, *lines = told.splitlines()
    assert head.startswith("  1  =SUM(1,2) Lane Trust (C0009) ")
    # 1,745.45 $ as a client hears it
    assert head.endswith("+1 308 555 0109   $1,750")
    assert lines[0] == "     116 Prairie Lane; North, Friday, stop 5"
    assert max(map(len, told.splitlines())) <= 100


def test_a_terminal_shows_what_to_say_what_is_next_and_what_was_said(
    book: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    call = ("C0003", "2026-02-10", "call back", "gate code 12#", "send the sketch", "2026-02-14")
    record(book, call, today=TODAY)
    with open_log(book, today=TODAY) as log:
        scan = small_scan()
        listed = list_offered(scan.calls, scan.offers, scan.beds, today=TODAY)
        log.store_last_scan(LISTED, listed.assign(say="We could put a bed along 50 ft. " * 5))
    monkeypatch.setenv("FORCE_COLOR", "1")
    monkeypatch.setenv("COLUMNS", "100")
    told = type_in("calls", "lawns", *DAY, "--due").stdout
    assert max(map(len, told.splitlines())) <= 100
    assert "     Next: due 2026-02-14 send the sketch" in told
    assert "     Last: 2026-02-10, call back: gate code 12#" in told
    assert " ".join(told.split()).count("We could put a bed along 50 ft.") == 5


@pytest.mark.usefixtures("book")
@pytest.mark.parametrize(
    ("now", "is_told"),
    [("2026-02-16 07:59", True), ("2026-02-16 20:59", False), ("2026-02-15 23:00", False)],
)
def test_hour_outside_the_law_is_told(
    monkeypatch: pytest.MonkeyPatch, now: str, *, is_told: bool
) -> None:
    monkeypatch.setattr("scanner.cli.calls.this_time", lambda: datetime.fromisoformat(now))
    assert ("outside these hours" in type_in("calls", "lawns", *DAY).stderr) is is_told


def test_book_that_was_never_scanned_is_scanned_on_the_spot(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    start_book(tmp_path / "lawns")
    result = type_in("calls", "lawns", *DAY)
    assert result.stderr.startswith("No scan is on record, so the book is scanned now.\n")
    assert [row["client_id"] for row in rows_of(result.stdout)]
    assert not (tmp_path / "lawns" / "book.sqlite").exists()


@pytest.mark.usefixtures("book")
@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("--kind", "kerb"), "'kerb' is not one of 'curb'"),
        (("--limit", "0"), "0 is not in the range x>=1"),
    ],
)
def test_wrong_usage_is_exit_code_2(words: tuple[str, ...], told: str) -> None:
    result = type_in("calls", "lawns", *words)
    assert told in result.stderr
    assert result.exit_code == 2
