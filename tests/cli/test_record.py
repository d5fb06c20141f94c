"""``record``: lines and sheets into the log; exit code, stdout and stderr."""

from __future__ import annotations

import json
import shutil
import sqlite3
from dataclasses import replace
from datetime import date
from pathlib import Path

import openpyxl
import pytest
from openpyxl.comments import Comment

from scanner.book.new import start_book
from scanner.calls.log import open_log, read_season
from scanner.cli.keeping import take_up_remarks, why_kept
from scanner.errors import BookError
from scanner.schema.documents import Scan
from tests.calls.desk import DAY, keys_of, read_only_copy, record
from tests.cli.desk import fill, keeping_scans, type_in

pytestmark = pytest.mark.usefixtures("without_map")

TODAY = ("--today", "2027-03-02")


@pytest.fixture(scope="module")
def started(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A new book."""
    folder = tmp_path_factory.mktemp("started") / "lawns"
    start_book(folder)
    return folder


@pytest.fixture
def desk(started: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Sit down in an empty folder with a new book named lawns in it."""
    monkeypatch.chdir(tmp_path)
    shutil.copytree(started, tmp_path / "lawns")
    return tmp_path


@pytest.fixture(scope="module")
def scanned(started: Path, tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Scan]:
    """A new book that was scanned once, with its pages beside it, and what was found."""
    folder = tmp_path_factory.mktemp("scanned")
    shutil.copytree(started, folder / "lawns")
    with keeping_scans() as scans:
        result = type_in("scan", str(folder / "lawns"), "--out", str(folder / "maps" / "lawns"), *TODAY)  # fmt: skip
    assert result.exit_code == 0, result.stderr
    return folder, *scans


@pytest.fixture
def office(scanned: tuple[Path, Scan], tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A copy of the scanned book to do with as one likes."""
    folder = tmp_path / "office"
    shutil.copytree(scanned[0], folder)
    monkeypatch.chdir(folder)
    return folder


@pytest.fixture
def at_once(scanned: tuple[Path, Scan], monkeypatch: pytest.MonkeyPatch) -> None:
    """A scan finds what the first one found, reads no lot and draws no bed: for tests of what stands before and after it."""

    def scan(_book: object, *few: object, today: date, **_: object) -> Scan:
        parts = scanned[1].parts if few else []  # of a job that is drawn up
        return replace(scanned[1], today=today, parts=parts)

    monkeypatch.setattr("scanner.pipeline.scan", scan)
    monkeypatch.setattr("scanner.pipeline.price_lots", scan)
    monkeypatch.setattr("scanner.pipeline.read_book", lambda *_, **__: None)


@pytest.mark.usefixtures("desk")
def test_one_line_and_the_same_line_again() -> None:
    words = ("record", "lawns", "calls", "001", "visit", "--note", "gate on the left",
             "--next", "3/12/2027", "--action", "measure", *TODAY)  # fmt: skip
    first = type_in(*words)
    assert (first.stdout, first.stderr, first.exit_code) == (
        "", "001, Nell Example, 12 Sample St, Meadow Fork:\nNumber 1 in the log; record BOOK undo NUMBER takes one back.\nRecorded 1 new call.\n"
        "Next, print what to take along: bed-scanner visit lawns 001\n", 0,
    )  # fmt: skip
    again = type_in(*words)
    assert "Recorded 0 new calls, 1 on record already." in again.stderr.splitlines()
    call = read_season(Path("lawns")).calls.iloc[0]
    assert (call["client_id"], call["called_on"], call["outcome"]) == ("001", "2027-03-02", "visit")
    assert (call["note"], call["next_action"], call["next_date"]) == (
        "gate on the left", "measure", "2027-03-12",
    )  # fmt: skip


@pytest.mark.usefixtures("desk")
def test_client_outcome_and_day_are_typed_as_one_says_them() -> None:
    said = [
        ("1", ("not", "reached"), "not reached"), ("nell example", ("not reached",), "not reached"),
        ("Example, Nell", ("Not-Reached",), "not reached"), ("402-555-0101", ("no",), "no"), ("555 0101", ("no",), "no"),
    ]  # fmt: skip
    keys = list[tuple[str, ...]]()
    for day, (who, words, outcome) in enumerate(said, start=1):
        told = type_in("record", "lawns", "calls", who, *words, "--on", f"2027-02-0{day}", *TODAY)
        assert told.exit_code == 0, who
        keys.append(("001", f"2027-02-0{day}", outcome))
        assert sorted(keys_of(Path("lawns")), key=lambda key: key[1]) == keys
    words = ("record", "lawns", "visit", "nell example", "--edge", "curb=40")
    assert type_in(*words, *TODAY).exit_code == 0
    assert read_season(Path("lawns")).measurements["client_id"].tolist() == ["001"]


@pytest.mark.usefixtures("desk")
@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("001", "maybe"), "client 001: outcome 'maybe' is none of not reached,"),
        (("001", "visit", "--on", "2027-03-03"), "called_on 2027-03-03 is after today, 2027-03-02"),
        (("001", "visit", "--next", "2027-03-01"), "next_date 2027-03-01 is before the call"),
        (
            ("001", "visit", "--next", "3/9/62"),
            "next_date 2062-03-09 is more than 2 years from today",
        ),
        (
            ("001", "visit", "--on", "2024-03-01"),
            "called_on 2024-03-01 is more than 2 years from today",
        ),
    ],
)
def test_faulty_line_is_told_and_nothing_recorded(words: tuple[str, ...], told: str) -> None:
    result = type_in("record", "lawns", "calls", *words, *TODAY)
    assert told in result.stdout
    nell = "001, Nell Example, 12 Sample St, Meadow Fork:\n"
    assert result.stderr == f"{nell}Recorded 0 new calls. 1 row needs fixing.\n"
    assert result.exit_code == 1
    assert not Path("lawns", "book.sqlite").exists()


@pytest.mark.usefixtures("desk")
def test_a_call_to_who_is_not_to_be_called_says_so() -> None:
    """And one who is from now on is told to be so for good."""
    result = type_in("record", "lawns", "calls", "002", "do not call", *TODAY)
    assert result.stderr == (
        "002, Ben Example, 14 Sample St, Meadow Fork:\n"
        "002 asked not to be called: left out from now on, for good.\n"
        "Number 1 in the log; record BOOK undo NUMBER takes one back.\nRecorded 1 new call.\n"
    )
    result = type_in("record", "lawns", "calls", "002", "visit", *TODAY)
    assert result.exit_code == 0
    assert "002 is not to be called, by the client list or by an earlier call." in result.stderr
    assert "Recorded 1 new call." in result.stderr
    other = type_in("record", "lawns", "calls", "001", "visit", *TODAY)
    assert "not to be called" not in other.stderr


@pytest.mark.usefixtures("desk")
def test_an_old_slip_is_taken_back_by_its_number() -> None:
    record(Path("lawns"), ("001", "2027-03-02", "do not call"))
    told = type_in("record", "lawns", "calls", "002", "sold", *TODAY)
    assert (
        "Sold. Before you build: locating service: call 811 at least 2 to 3 working days"
        in told.stderr
    )
    undone = type_in("record", "lawns", "undo", "1", *TODAY)
    assert undone.stderr.startswith(
        "Taken back: call to 001 on 2027-03-02: do not call. If it stands in a sheet"
    )
    assert keys_of(Path("lawns")) == [("002", "2027-03-02", "sold")]
    again = type_in("record", "lawns", "undo", "1", *TODAY)
    assert "no entry has the number 1, or it was taken back already" in again.stderr
    assert again.exit_code == 1


@pytest.mark.usefixtures("desk")
def test_correcting_back_by_command() -> None:
    call = ("001", "2027-03-02", "call back")
    for next_date in ("2027-03-12", "2027-03-19"):
        record(Path("lawns"), (*call, "", "", "", next_date))
    words = ("record", "lawns", "calls", "001", "call back", "--next", "2027-03-12", *TODAY)
    assert "on record already" not in type_in(*words).stderr
    assert read_season(Path("lawns")).calls["next_date"].tolist() == ["2027-03-12"]
    for length in (40, 44, 40):
        type_in("record", "lawns", "visit", "001", "--edge", f"curb={length}", *TODAY)
        assert read_season(Path("lawns")).measurements["length_ft"].tolist() == [length]


@pytest.mark.usefixtures("desk")
def test_a_day_long_past_is_recorded_and_doubted_and_one_to_come_is_refused() -> None:
    """Today is March 2, 2027: 300 days before is May 6, 2026."""
    words = ("record", "lawns", "calls", "001", "not now", *TODAY, "--on")
    told = type_in(*words, "2026-03-02")
    assert "Mind: 2026-03-02 is more than 300 days ago. It is recorded so" in told.stderr
    assert (told.exit_code, keys_of(Path("lawns"))) == (0, [("001", "2026-03-02", "not now")])
    assert "Mind" not in type_in(*words, "2026-05-06").stderr
    told = type_in(*words, "2027-03-03")
    assert (told.exit_code, len(keys_of(Path("lawns")))) == (1, 2)
    assert "is after today" in told.stdout
    told = type_in("record", "lawns", "visit", "001", "--note", "old", *TODAY, "--on", "2026-03-02")
    assert "Mind: 2026-03-02" in told.stderr


@pytest.mark.usefixtures("desk")
def test_undo_takes_the_last_entry_back() -> None:
    record(Path("lawns"), ("001", "2027-03-02", "visit"))
    result = type_in("record", "lawns", "undo", *TODAY)
    assert result.stderr == (
        "Taken back: call to 001 on 2027-03-02: visit. "
        "If it stands in a sheet, clear it there, too, or it is recorded again with that.\n"
    )
    assert keys_of(Path("lawns")) == []
    nothing = type_in("record", "lawns", "undo", *TODAY)
    assert nothing.stderr == "There is no entry to take back.\n"
    assert nothing.exit_code == 1


@pytest.mark.usefixtures("desk")
def test_undo_takes_a_whole_visit_back_and_names_a_dozen_of_a_sheet() -> None:
    record(Path("lawns"), ("001", "2027-03-02", "visit"))
    type_in("record", "lawns", "visit", "001", "--edge", "curb=40", "slope=flat", *TODAY)
    undone = type_in("record", "lawns", "undo", *TODAY)
    assert undone.stderr.startswith(
        "Taken back: 3 entries recorded together: visit to 001 on 2027-03-02; "
        "measurement of 001 on 2027-03-02: curb; answer for 001 of 2027-03-02: slope "
    )
    assert keys_of(Path("lawns")) == [("001", "2027-03-02", "visit")]
    assert read_season(Path("lawns")).answers.empty

    rows = "".join(f"00{1 + at % 2},2027-02-{1 + at:02d},not reached\n" for at in range(14))
    Path("list.csv").write_text(f"client_id,called_on,outcome\n{rows}", encoding="utf-8")
    assert "Recorded 14 new calls." in type_in("record", "lawns", "list.csv", *TODAY).stderr
    undone = type_in("record", "lawns", "undo", *TODAY)
    assert undone.stderr.startswith("Taken back: 14 entries recorded together: call to 001 on 2027-02-01: not reached; ")  # fmt: skip
    assert "call to 002 on 2027-02-12: not reached; 2 more. If it stands" in undone.stderr
    assert keys_of(Path("lawns")) == [("001", "2027-03-02", "visit")]


def test_sheet_from_the_scan_filled_in_and_recorded_twice(office: Path) -> None:
    sheet = office / "maps" / "lawns" / "calls.xlsx"
    fill(
        sheet,
        {"client_id": "001", "called_on": "2027-03-02", "outcome": "visit", "note": "gate"},
        {"client_id": "002", "called_on": "2027-03-09", "outcome": "sold"},
    )
    # Named without its folder it is looked for with the pages
    result = type_in("record", "lawns", "calls.xlsx", *TODAY)
    assert result.stderr.splitlines() == [
        f"Reading {Path('maps') / 'lawns' / 'calls.xlsx'}",
        "Number 1 in the log; record BOOK undo NUMBER takes one back.",
        "Recorded 1 new call. 1 row needs fixing.",
        "Next, print what to take along: bed-scanner visit lawns 001",
    ]
    assert "row 3, client 002: called_on 2027-03-09 is after today" in result.stdout
    assert result.exit_code == 1
    call = read_season(office / "lawns").calls.iloc[0]
    assert (call["client_id"], call["note"]) == ("001", "gate")
    assert call["bed_ids"].startswith("001-")
    later = type_in("record", "lawns", str(sheet), "--today", "2027-03-10", "--json")
    told = json.loads(later.stdout)
    assert (told["kind"], told["added_count"], told["known_count"]) == ("calls", 1, 1)
    assert told["problems"] == []
    assert len(keys_of(office / "lawns")) == 2


@pytest.mark.usefixtures("at_once")
def test_new_list_goes_beside_one_that_is_not_recorded(office: Path) -> None:
    """Then two lists lie there, and somebody writes into the older one: the next scan names it."""
    lists = office / "maps" / "lawns"
    sheet = lists / "calls.xlsx"
    for name in ("calls-2027-03-02.xlsx", "calls-kim.xlsx"):
        shutil.copy(sheet, lists / name)
    fill(
        sheet, {"client_id": "001", "called_on": "2027-03-02", "outcome": "quoted", "note": "gate"}
    )
    assert "Recorded 1 new call." in type_in("record", "lawns", "calls.xlsx", *TODAY).stderr
    # Changed once it was recorded, it is not on record as it is
    fill(sheet, {"client_id": "001", "note": "gate, and likes roses"})
    filled = sheet.read_bytes()
    done = type_in("scan", "lawns", "--today", "2027-03-03")
    assert done.exit_code == 0
    old = lists / "calls-2027-03-03.xlsx"
    last = done.stderr.splitlines()[-1]
    kept = "calls.xlsx was kept as it is, because sheet Figures, row 2 is not on record yet: the new list is"
    assert f"{kept} {old.name}." in last
    assert sheet.read_bytes() == filled
    assert str(Path("maps", "lawns", old.name)) in done.stdout.splitlines()
    # Into the one beside it nobody has written, though it was saved: it goes, a copy of somebody's own does not
    assert last.endswith("Deleted, because nobody had written into it: calls-2027-03-02.xlsx.")
    assert sorted(file.name for file in lists.glob("calls-*")) == [old.name, "calls-kim.xlsx"]
    told = type_in("record", "lawns", "calls.xlsx", *TODAY).stderr
    assert "Recorded 0 new calls, 1 changed." in told
    fill(old, {"client_id": "002", "note": "two dogs"})
    told = type_in("scan", "lawns", "--today", "2027-03-04").stderr
    assert "kept as it is" not in told
    assert (
        f"Of {old.name}, which was saved since the last scan, sheet Figures, row 3 is not on record yet."
        in told
    )
    type_in("record", "lawns", old.name, *TODAY)
    assert old.name not in type_in("scan", "lawns", "--today", "2027-03-05").stderr
    assert old.exists()


def test_a_copy_of_the_sheet_is_recorded_and_keeps_the_list_where_it_is(office: Path) -> None:
    sheet = office / "maps" / "lawns" / "calls.xlsx"
    workbook = openpyxl.load_workbook(sheet)
    workbook.copy_worksheet(workbook["Figures"]).title = "March"
    workbook.save(sheet)
    words = {"called_on": "2027-03-02", "outcome": "visit", "note": "gate code 4711"}
    fill(sheet, {"client_id": "001", **words}, sheet="March")
    kept = why_kept(sheet, book=office / "lawns", today=DAY)
    assert kept == "sheet March, row 2 is not on record yet"
    assert "Recorded 1 new call." in type_in("record", "lawns", "calls.xlsx", *TODAY).stderr
    assert read_season(office / "lawns").calls["note"].tolist() == ["gate code 4711"]
    # The other sheet says another thing of the same call: neither is lost, and it is named
    fill(sheet, {"client_id": "001", **words, "note": "gate code 1147"})
    both = type_in("record", "lawns", "calls.xlsx", *TODAY)
    assert (
        "note 'gate code 4711' came here and 'gate code 1147' in sheet Figures, row 2"
        in both.stdout
    )
    assert both.exit_code == 1


def test_a_list_that_nobody_wrote_into_is_not_read(
    office: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What was printed is known by its seal in the log; a changed cell breaks it, and a new log knows none."""
    book, sheet = office / "lawns", office / "maps" / "lawns" / "calls.xlsx"
    reads: list[str] = []

    def read_rows(path: Path, *_: object) -> None:
        reads.append(path.name)
        raise BookError

    with monkeypatch.context() as patch:
        patch.setattr("scanner.cli.keeping.read_added", read_rows)
        take_up_remarks(book, sheet.parent, today=DAY)
        assert why_kept(sheet, book=book, today=DAY) == ""
        assert reads == []
        shutil.move(book / "book.sqlite", book / "away.sqlite")
        take_up_remarks(book, sheet.parent, today=DAY)
        assert reads == ["calls.xlsx", "calls.csv"]
        shutil.move(book / "away.sqlite", book / "book.sqlite")
    fill(sheet, {"client_id": "001", "called_on": "2027-03-02", "outcome": "visit"})
    assert why_kept(sheet, book=book, today=DAY) == "sheet Figures, row 2 is not on record yet"


def test_what_cannot_be_taken_up_keeps_the_list_where_it_is(office: Path) -> None:
    sheet = office / "maps" / "lawns" / "calls.xlsx"
    clean, stamps = sheet.read_bytes(), "buy stamps"
    alone = (lambda book: book["Calls"].cell(9, 3, stamps), "row 9, which is no client's,")
    together = (
        (lambda book: book["Calls"].insert_rows(1) or book["Calls"].cell(1, 1, "Call by Friday!"), "text above the headings"),
        (lambda book: [book["Calls"].cell(row, 3, stamps) for row in (8, 9, 11)], "row 8 and 2 more, which is no client's,"),
        (lambda book: book["Figures"].cell(2, book["Figures"].max_column + 1, "rings twice"), "text without a heading above it"),
        (lambda book: book.create_sheet("Ideas").cell(1, 1, "roses?"), "a sheet Ideas of your own"),
        (lambda book: setattr(book["Calls"]["C2"], "comment", Comment("beware of the dog", "Kim")), "comments on cells"),
    )  # fmt: skip
    for some in ((alone,), together):
        sheet.write_bytes(clean)
        workbook = openpyxl.load_workbook(sheet)
        for add, _ in some:
            add(workbook)
        workbook.save(sheet)
        before = sheet.read_bytes()
        kept = why_kept(sheet, book=office / "lawns", today=DAY)
        assert kept in [f"{words} cannot be taken up" for _, words in some]
        told = type_in("record", "lawns", "calls.xlsx", *TODAY).stdout
        assert [words for _, words in some if f"{words} is not taken up" not in told] == []
        assert sheet.read_bytes() == before


def test_sheet_open_in_another_program(office: Path) -> None:
    sheet = office / "maps" / "lawns" / "calls.xlsx"
    fill(sheet, {"client_id": "001", "called_on": "2027-03-02", "outcome": "visit"})
    for mark in ("~$calls.xlsx", ".~lock.calls.xlsx#"):
        sheet.with_name(mark).touch()
        kept = why_kept(sheet, book=office / "lawns", today=DAY)
        assert kept == f"it is open in another program ({mark} lies beside it)"
        if mark.startswith("~"):
            told = type_in("record", "lawns", "calls.xlsx", *TODAY).stderr
            assert f"calls.xlsx is open in another program ({mark} lies beside it)" in told
            assert "Recorded 1 new call." in told
        sheet.with_name(mark).unlink()
    assert why_kept(sheet, book=office / "lawns", today=DAY) == ""


def test_sheet_that_another_program_locks(office: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def locked(path: object, *_: object, **__: object) -> None:
        raise PermissionError(13, "Permission denied", str(path))

    monkeypatch.setattr("zipfile.ZipFile", locked)
    result = type_in("record", "lawns", "calls.xlsx", *TODAY)
    assert "calls.xlsx is locked. Close it elsewhere, then try again." in result.stderr
    assert result.exit_code == 1
    assert office.exists()


def test_client_deleted_with_calls_on_record(office: Path) -> None:
    sheet = office / "maps" / "lawns" / "calls.xlsx"
    fill(sheet, {"client_id": "002", "called_on": "2027-03-02", "outcome": "visit"})
    record(office / "lawns", ("002", "2027-03-02", "visit"))
    clients = office / "lawns" / "clients.csv"
    lines = clients.read_text(encoding="utf-8").splitlines()
    clients.write_text(
        "\n".join(line for line in lines if not line.startswith("002")) + "\n", encoding="utf-8"
    )
    # The old sheet says nothing new of them; what is new is listed
    again = type_in("record", "lawns", "calls.xlsx", *TODAY)
    assert "Recorded 0 new calls, 1 on record already." in again.stderr
    fill(sheet, {"client_id": "002", "outcome": "quoted"})
    gone = type_in("record", "lawns", "calls.xlsx", *TODAY)
    assert "row 3, client 002: the client is not in the client list any more" in gone.stdout
    assert keys_of(office / "lawns") == [("002", "2027-03-02", "visit")]


def test_clock_that_went_backwards_is_asked_about(office: Path) -> None:
    type_in("record", "lawns", "calls", "001", "visit", "--today", "2027-03-09")
    result = type_in("record", "lawns", "calls", "002", "visit", *TODAY)
    assert (
        "Something was recorded on 2027-03-09 already, and today is 2027-03-02: is this computer's clock right?"
        in result.stderr
    )
    assert len(keys_of(office / "lawns")) == 2


def test_second_writer_is_told(office: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    real = open_log
    monkeypatch.setattr(
        "scanner.cli.recording.open_log",
        lambda folder, *, today: real(folder, today=today, wait_seconds=0.1),
    )
    with open_log(office / "lawns", today=DAY):
        result = type_in("record", "lawns", "calls", "001", "visit", *TODAY)
    assert "book.sqlite is being written by " in result.stderr
    assert "then try again. Nothing was recorded." in result.stderr
    assert result.exit_code == 1


def test_read_only_book_scans_and_says_that_names_are_not_kept(office: Path) -> None:
    with read_only_copy(office / "lawns") as locked:
        refused = type_in("record", str(locked), "calls", "001", "visit", *TODAY)
        assert "cannot be written: the folder or the file is read-only" in refused.stderr
        assert refused.exit_code == 1
        listed = type_in("calls", str(locked), *TODAY)
        assert listed.exit_code == 0


@pytest.mark.usefixtures("at_once")
def test_scan_of_a_read_only_book(office: Path) -> None:
    with read_only_copy(office / "lawns") as locked:
        result = type_in("scan", str(locked), "--out", "out", *TODAY)
    assert result.exit_code == 0, result.stderr
    assert "Bed names are not kept, so the next scan may name some beds anew: " in result.stderr
    assert "the folder or the file is read-only" in result.stderr
    assert Path("out/map.html").is_file()


def test_newer_log_stops_a_scan_before_it_begins(office: Path) -> None:
    raw = sqlite3.connect(office / "lawns" / "book.sqlite")
    raw.execute("UPDATE meta SET value = '99' WHERE name = 'schema_version'")
    raw.commit()
    raw.close()
    before = (office / "lawns" / "book.sqlite").read_bytes()
    for words in (("scan",), ("calls",), ("record", "calls", "001", "visit")):
        result = type_in(words[0], "lawns", *words[1:], *TODAY)
        assert "written by a newer bed-scanner" in result.stderr
        assert result.exit_code == 1
    assert (office / "lawns" / "book.sqlite").read_bytes() == before


@pytest.mark.usefixtures("at_once")
def test_job_sold_then_built(office: Path) -> None:
    bed_id = next(
        feature["properties"]["bed_id"]
        for feature in json.loads((office / "maps" / "lawns" / "candidates.geojson").read_text())["features"]
        if feature["properties"]["bed_id"].startswith("001-curb") and not feature["properties"]["skip_reason"]
    )  # fmt: skip
    sold = type_in("record", "lawns", "job", bed_id, "--sold", "4200", *TODAY)
    assert ("Recorded 1 new job." in sold.stderr.splitlines(), sold.exit_code) == (True, 0)
    # It takes the client off the list at once
    listed = type_in("calls", "lawns", "--all", "--json", "--today", "2027-03-03").stdout
    told = {row["client_id"]: row for row in json.loads(listed)}["001"]
    assert (told["last_outcome"], told["place"], bed_id in told["bed_ids"]) == ("sold", None, False)
    built = type_in(
        "record", "lawns", "job", "402-555-0101", "--built", "2027-05-12", "--invoiced", "$4,300",
        "--hours", "set edging=5.5", "--cost", "plants=820", "--today", "2027-05-13",
    )  # fmt: skip
    assert "Recorded 0 new jobs, 1 changed." in built.stderr.splitlines()
    season = read_season(office / "lawns")
    job = season.jobs.iloc[0]
    assert (job["client_id"], job["sold_cents"], job["invoiced_cents"]) == ("001", 420_000, 430_000)
    assert 0 < job["quick_low_cents"] <= job["quick_high_cents"]
    tasks = season.job_tasks.set_index("task")
    assert tasks.loc["set edging", "actual_hours"] == 5.5
    assert tasks.loc["set edging", "estimated_hours"] > 0
    # the office says plants; a few of them were estimated as shrubs
    assert tasks.loc["shrubs", "actual_cents"] == 82_000
    assert tasks.loc["shrubs", "estimated_cents"] > 0
    assert "plants" not in tasks.index


@pytest.mark.usefixtures("at_once")
def test_a_job_is_named_by_its_client(office: Path) -> None:
    """A name stands for the beds of the first offer, once that is sold for the open job, and then for the built one."""
    listed = read_season(office / "lawns").listed.set_index("client_id")["bed_ids"]["001"]
    sold = type_in("record", "lawns", "job", "nell example", "--sold", "4200", *TODAY)
    assert "Recorded 1 new job." in sold.stderr.splitlines()
    told = type_in("record", "lawns", "job", "555-0101", "--note", "start in May", *TODAY)
    assert "Recorded 0 new jobs, 1 changed." in told.stderr.splitlines()
    jobs = read_season(office / "lawns").jobs
    assert jobs[["bed_ids", "note"]].to_numpy().tolist() == [[listed, "start in May"]]
    built = type_in("record", "lawns", "job", "001", "--built", "2027-03-02", *TODAY)
    assert "Recorded 0 new jobs, 1 changed." in built.stderr.splitlines()
    hours = type_in("record", "lawns", "job", "001", "--hours", "set edging=2", *TODAY)
    assert "Recorded 0 new jobs, 1 changed." in hours.stderr.splitlines()


@pytest.mark.usefixtures("at_once")
def test_sheet_of_jobs(office: Path) -> None:
    (office / "jobs.csv").write_text(
        "bed_ids,built_on,sold_usd,task,actual_hours,actual_usd\n"
        "002-curb-1,2027-05-12,1500,set edging,2.5,\n,,,plants,,300\n002-curb-9,2027-05-12,1500,,,\n"
    )  # fmt: skip
    result = type_in("record", "lawns", "jobs.csv", "--today", "2027-05-13")
    assert "job '002-curb-9': bed 002-curb-9 is in no scan on record" in result.stdout
    assert result.stderr.splitlines()[-1] == "Recorded 1 new job. 1 row needs fixing."
    season = read_season(office / "lawns")
    assert season.jobs["client_id"].tolist() == ["002"]
    assert season.beds.set_index("bed_id").loc["002-curb-1", "built_on"] == "2027-05-12"


def test_checklist_goes_the_same_way(office: Path) -> None:
    (office / "crew.csv").write_text(
        "client_id,seen_on,turf to curb,curbed\n001,2027-03-01,yes,\n1,2027-03-01,,no\n"
    )
    result = type_in("record", "lawns", "crew.csv", *TODAY)
    assert result.stderr.splitlines()[-1] == "Recorded 2 new answers."
    assert len(read_season(office / "lawns").answers) == 2


@pytest.mark.usefixtures("desk")
@pytest.mark.parametrize(
    ("words", "told"),
    [
        (
            ("cals",),
            "there is no file cals here or in maps/lawns: name a filled-in sheet with its folder, or one of calls, visit",
        ),
        (("clients.txt",), "there is no file clients.txt"),
        (("lawns/README.txt",), "README.txt is no .csv, .xlsx or .ods"),
        (("calls", "001"), "Missing argument 'OUTCOME'"),
        (("undo", "--today", "9999-12-31"), "9999-12-31 is years away"),
        (("job",), "Missing argument 'BED...'"),
        (("job", "001-curb-1", "--hours", "edging"), "'edging' is no name and figure"),
        (("job", "001-curb-1", "--finish", "paint"), "'paint' is not one of"),
    ],
)
def test_wrong_usage_is_exit_code_2(words: tuple[str, ...], told: str) -> None:
    result = type_in("record", "lawns", *words)
    assert told in result.stderr
    assert (result.stdout, result.exit_code) == ("", 2)


@pytest.mark.usefixtures("desk")
def test_who_is_nobody_or_several_is_a_sentence_and_exit_code_1() -> None:
    for words, told in (
        (("calls", "009", "visit"), "'009' is no id, name or phone number in the client list"),
        (("calls", "Exampel", "no"), "client list; nearest to it: 001 (Nell Example, 12 Sample St, Meadow Fork); 002 "),
        (("calls", "Example", "no"), "'Example' fits 3 clients, name one by its id: 001 (Nell Example"),
        (("visit", "Example"), "'Example' fits 3 clients"),
    ):  # fmt: skip
        result = type_in("record", "lawns", *words)
        assert told in result.stderr
        assert "Usage" not in result.stderr
        assert (result.stdout, result.exit_code) == ("", 1)


@pytest.mark.usefixtures("desk")
def test_sheet_of_another_kind_is_a_sentence() -> None:
    result = type_in("record", "lawns", "lawns/clients.csv", *TODAY)
    assert "this is no call list" in result.stderr
    assert result.exit_code == 1


@pytest.mark.usefixtures("desk")
def test_help_names_the_forms() -> None:
    told = type_in("record", "--help").stdout
    assert (
        "SHEET | calls … | visit … | quote … | schedule … | ticket … | letter … | job … | undo"
        in " ".join(told.split())
    )
    assert "do not call" in type_in("record", "lawns", "calls", "--help").stdout


@pytest.mark.usefixtures("office")
def test_visit_with_faults_is_told_and_the_room_wants_its_edge():
    result = type_in("record", "lawns", "visit", "001", "--edge", "curb=far", *TODAY)
    assert result.exit_code == 1
    assert "length_ft is 'far'" in result.stdout
    assert "Recorded 0 new visits and measurings." in result.stderr
    wrong = type_in("record", "lawns", "visit", "001", "--room", "curb=6", *TODAY)
    assert wrong.exit_code == 2
    assert "no --edge curb goes with it" in wrong.stderr


def test_sheet_of_visits_twice_changes_nothing(office):
    (office / "visits.csv").write_text(
        "client_id,visited_on,visited_by,note,along,length_ft,room_ft,openings_ft\n"
        "001,2027-03-01,Kim,,curb,62.5,,20\n999,2027-03-01,,,,,,\n",
        encoding="utf-8",
    )
    first = type_in("record", "lawns", "visits.csv", *TODAY)
    assert first.exit_code == 1
    assert "client_id '999' is not in the client list" in first.stdout
    assert "Recorded 2 new visits and measurings. 1 row needs fixing." in first.stderr
    again = type_in("record", "lawns", "visits.csv", *TODAY)
    assert "Recorded 0 new visits and measurings, 2 on record already." in again.stderr


def test_lots_measured_on_visits_alone_scan(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    book = tmp_path / "lawns"
    book.mkdir()
    (book / "clients.csv").write_text("client_id,name\nA,Ada Moss\n", encoding="utf-8")
    assert "nothing says what the lots" in type_in("scan", "lawns", *TODAY).stderr
    assert type_in("record", "lawns", "visit", "A", "--edge", "curb=50", *TODAY).exit_code == 0
    result = type_in("scan", "lawns", *TODAY)
    assert result.exit_code == 0, result.stderr
    # 50 ft x 4 ft
    assert "Found 1 bed (200 ft²)" in result.stderr


@pytest.mark.parametrize(
    ("bed", "told"),
    [("001-curb-99", "is in no scan on record"), ("002-curb-1", "is 002's")],
)
def test_call_about_a_bed_that_is_not_the_clients(office, bed, told):
    result = type_in("record", "lawns", "calls", "001", "no", "--bed", bed, *TODAY)
    assert result.exit_code == 1
    assert f"bed {bed} {told}" in result.stdout
    assert keys_of(office / "lawns") == []
