"""``scan``: exit code, stdout and stderr."""

from __future__ import annotations

import json
from datetime import date
from pathlib import Path

import pandas as pd
import pytest

from scanner.errors import LogError, SchemaError, SiteError, WorkerError
from scanner.store.folder import Store
from scanner.store.kept import KEYS
from scanner.store.parquet_tables import write_tables
from tests.cli.desk import FAULT, NOTE, SUMMARY, publish_summary, scan_with, type_in


@pytest.fixture
def days(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> list[date]:
    """Sit down in an empty folder with a book in it; tells which days were scanned."""
    days: list[date] = []
    problems = {"faulty": [FAULT, NOTE]}

    def scan(book: Path, *, today: date, progress: object, **_: object) -> object:
        days.append(today)
        progress("finding lawns", 1, 2)
        return scan_with(*problems.get(book.name, []), today=today)

    monkeypatch.chdir(tmp_path)
    (tmp_path / "lawns").mkdir()
    (tmp_path / "faulty").mkdir()
    monkeypatch.setattr("scanner.pipeline.read_book", lambda folder, **_: folder)
    monkeypatch.setattr("scanner.pipeline.scan", scan)
    monkeypatch.setattr("scanner.pipeline.publish_scan", publish_summary)
    return days


def found_line(folder: Path, problem_words: str = "") -> str:
    return (
        "Found 8 beds (1,512 ft²) on 10 lots: 1 offer worth $2,346."
        " 1 bed skipped (1 too short). 1 lot has no lawn drawn or measured. 2 clients left out of the call list."
        f"{problem_words} Open {folder / 'map.html'}\n"
    )


def test_scan_says_what_it_found_and_where_it_lies(days: list[date]) -> None:
    result = type_in("scan", "lawns", "--today", "2026-03-02")
    folder = Path("maps") / "lawns"
    assert result.stdout == f"{folder / 'map.html'}\n{folder / 'summary.json'}\n"
    assert result.stderr == found_line(folder)
    assert result.exit_code == 0
    assert days == [date(2026, 3, 2)]


def test_scan_lists_faulty_records_and_does_the_rest(days: list[date]) -> None:
    result = type_in("scan", "faulty", "--out", "here")
    where = Path("here") / "problems.csv"
    assert result.stderr == found_line(Path("here"), f" 1 record needs fixing, 1 note: {where}.")
    assert result.exit_code == 1
    assert len(days) == 1


@pytest.mark.usefixtures("days")
def test_scan_as_json_prints_the_summary_file() -> None:
    result = type_in("scan", "lawns", "--json")
    assert json.loads(result.stdout) == {**SUMMARY, "faults": 0, "problems": 0}
    assert result.stdout == (Path("maps") / "lawns" / "summary.json").read_text(encoding="utf-8")


@pytest.mark.usefixtures("days")
def test_book_named_by_a_dot_goes_by_its_folder(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir("lawns")
    monkeypatch.setattr("scanner.pipeline.read_book", lambda folder, **_: folder.resolve())
    assert str(Path("maps") / "lawns" / "map.html") in type_in("scan", ".").stdout


@pytest.mark.usefixtures("days")
@pytest.mark.parametrize("error", [SiteError, LogError])
def test_what_someone_can_fix_is_a_sentence(
    monkeypatch: pytest.MonkeyPatch, error: type[Exception]
) -> None:
    def refuse(_folder: Path, **_: object) -> None:
        message = "sites/lots.zip holds no lots: put the .shp file in it"
        raise error(message)

    monkeypatch.setattr("scanner.pipeline.read_book", refuse)
    result = type_in("scan", "lawns")
    assert result.stderr == "Cannot go on: sites/lots.zip holds no lots: put the .shp file in it\n"
    assert (result.stdout, result.exit_code) == ("", 1)


@pytest.mark.usefixtures("days")
def test_a_list_open_elsewhere_is_a_sentence(monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: object, **__: object) -> None:
        raise PermissionError(13, "Permission denied", "maps/lawns/calls.xlsx")

    monkeypatch.setattr("scanner.pipeline.publish_scan", refuse)
    result = type_in("scan", "lawns")
    assert "maps/lawns/calls.xlsx is locked. Close it elsewhere" in result.stderr
    assert result.exit_code == 1


@pytest.mark.usefixtures("days")
def test_our_own_bug_is_a_traceback_where_it_is_asked_for(monkeypatch: pytest.MonkeyPatch) -> None:
    def break_down(_folder: Path, **_: object) -> None:
        message = "table beds breaks its schema"
        raise SchemaError(message)

    monkeypatch.setattr("scanner.pipeline.read_book", break_down)
    assert type_in("scan", "lawns").exit_code == 3
    with pytest.raises(SchemaError, match="table beds breaks its schema"):
        type_in("--debug", "scan", "lawns")


@pytest.mark.usefixtures("days")
@pytest.mark.parametrize(
    ("words", "complaint"),
    [
        (("scan",), "Missing argument 'BOOK'"),
        (("scan", "nowhere"), "Directory 'nowhere' does not exist"),
        (("scan", "lawns", "--today", "2 March"), "'2 March' is no day: write year, month and day"),
        (("demo", "lawns"), "unexpected extra argument"),
        (("find",), "No such command 'find'"),
    ],
)
def test_wrong_usage_is_exit_code_2(words: tuple[str, ...], complaint: str) -> None:
    result = type_in(*words)
    assert complaint in result.stderr
    assert (result.stdout, result.exit_code) == ("", 2)


@pytest.mark.usefixtures("days")
def test_a_scan_stopped_by_hand_says_that_nothing_was_written(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def stop(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("scanner.pipeline.scan", stop)
    result = type_in("scan", "lawns", "--out", "here")
    assert result.stderr == "Stopped. Nothing was written: what is in here is as it was.\n"
    assert result.exit_code == 130
    assert not Path("here").exists()


@pytest.mark.usefixtures("days")
def test_a_scan_stopped_by_hand_says_what_is_kept(monkeypatch: pytest.MonkeyPatch) -> None:
    def stop(*_: object, store: Store, **__: object) -> None:
        write_tables({KEYS: pd.DataFrame({"client_id": ["A", "B"]})}, store.folder / "000000")
        raise KeyboardInterrupt

    monkeypatch.setattr("scanner.pipeline.scan", stop)
    result = type_in("scan", "lawns", "--out", "here")
    assert result.stderr == (
        "Stopped. Nothing was written: what is in here is as it was. Worked out and kept for the next scan: 2 lots.\n"
    )
    assert result.exit_code == 130
    assert len([*Path("lawns", ".scan").glob("kept-*/000000/keys.parquet")]) == 1


@pytest.mark.usefixtures("days")
def test_a_worker_that_died_is_a_sentence(monkeypatch: pytest.MonkeyPatch) -> None:
    def die(*_: object, **__: object) -> None:
        message = "the worker that was at the lots of A to B (400) ended unexpectedly"
        raise WorkerError(message)

    monkeypatch.setattr("scanner.pipeline.scan", die)
    result = type_in("scan", "lawns")
    assert result.stderr == (
        "Stopped: the worker that was at the lots of A to B (400) ended unexpectedly\n"
    )
    assert result.exit_code == 3
