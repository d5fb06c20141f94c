"""Bad days of the log: killed, full, held, locked away, clock gone wrong. Nothing is lost."""

from __future__ import annotations

import os
import signal
import sqlite3
import sys
import threading
from collections.abc import Callable
from datetime import date
from multiprocessing.connection import Connection
from multiprocessing.context import BaseContext
from pathlib import Path

import pytest

from scanner.calls.entry_kinds import CALL, Counts
from scanner.calls.log import file, open_log, read_season
from scanner.errors import LogError, ReadOnlyError
from tests.calls.desk import DAY, calls_of, keys_of, read_only_copy, record

FIRST = ("A", "2027-03-01", "visit", "gate on the left")
MANY = [(f"C{n:05}", "2027-03-02", "no", "x" * 200) for n in range(3000)]


def die_recording(folder: Path, cache: int) -> None:
    """Kill this process while the log holds many entries that nobody has finished."""
    with open_log(folder, today=date(2027, 3, 2)) as log:
        log._store._connection.execute(f"PRAGMA cache_size = {cache}")
        log.record(CALL, calls_of(*MANY))
        os.kill(os.getpid(), signal.SIGKILL)


def record_with_room(folder: Path, room_bytes: int, answer: Connection) -> None:
    """Record where no file may be longer than so many bytes, and send what goes wrong."""
    import resource  # noqa: PLC0415  # other systems have none

    resource.setrlimit(resource.RLIMIT_FSIZE, (room_bytes, room_bytes))
    try:
        with open_log(folder, today=date(2027, 3, 3)) as log:
            log.record(CALL, calls_of(*MANY))
    except Exception as err:  # noqa: BLE001  # whatever it is, the test judges it
        answer.send(f"{type(err).__name__}: {err}")


def ends(children: BaseContext, act: Callable[..., None], *args: object) -> int | None:
    """Do something in another process, which may die of it; how it ended."""
    child = children.Process(target=act, args=args)
    child.start()
    child.join(120)
    return child.exitcode


@pytest.mark.skipif(sys.platform == "win32", reason="kills by signal")
@pytest.mark.parametrize("spills", [False, True], ids=["in memory", "half on the disk"])
def test_killed_in_the_middle_of_a_write(children, tmp_path, spills):
    record(tmp_path, FIRST)
    # A small cache makes the database write pages before the end: the journal must undo them
    assert ends(children, die_recording, tmp_path, 2 if spills else -8000) == -9
    if spills:
        assert (tmp_path / "book.sqlite-journal").stat().st_size > 0
    assert keys_of(tmp_path) == [FIRST[:3]]
    # The file that named the dead one holds nobody up, and the sheet goes in once
    assert record(tmp_path, *MANY) == Counts(added_count=len(MANY))
    assert record(tmp_path, *MANY) == Counts(known_count=len(MANY))
    assert len(keys_of(tmp_path)) == len(MANY) + 1
    assert not (tmp_path / "book.sqlite-in-use.txt").exists()


@pytest.mark.skipif(sys.platform == "win32", reason="kills by signal")
def test_killed_while_the_very_first_log_is_made(children, tmp_path):
    assert ends(children, die_recording, tmp_path, 2) == -9
    assert keys_of(tmp_path) == []
    assert record(tmp_path, FIRST) == Counts(added_count=1)


@pytest.mark.skipif(sys.platform == "win32", reason="kills by signal")
def test_journal_of_the_dead_in_a_folder_that_is_locked_away(children, tmp_path):
    record(tmp_path, FIRST)
    assert ends(children, die_recording, tmp_path, 2) == -9
    with read_only_copy(tmp_path) as locked, pytest.raises(ReadOnlyError, match="read-only"):
        read_season(locked)
    assert keys_of(tmp_path) == [FIRST[:3]]


def test_disk_full_as_the_database_says_it(tmp_path, monkeypatch):
    record(tmp_path, FIRST)
    before = (tmp_path / "book.sqlite").read_bytes()
    connect = file._connect

    def on_a_small_disk(path, mode, wait_seconds):
        connection = connect(path, mode, wait_seconds)
        connection.execute("PRAGMA max_page_count = 30")
        return connection

    monkeypatch.setattr(file, "_connect", on_a_small_disk)
    with pytest.raises(LogError, match=r"disk is full or gives way. Make room.*before it was"):
        record(tmp_path, *MANY)
    monkeypatch.undo()
    assert (tmp_path / "book.sqlite").read_bytes() == before
    assert record(tmp_path, *MANY) == Counts(added_count=len(MANY))


@pytest.mark.skipif(sys.platform == "win32", reason="limits a process's files")
@pytest.mark.parametrize("room_bytes", [100, 90_000, 200_000])
def test_disk_full_wherever_it_strikes(children, tmp_path, room_bytes):
    """Copy, journal and database meet the end of the room at different points."""
    record(tmp_path, FIRST)
    ours, theirs = children.Pipe()
    assert ends(children, record_with_room, tmp_path, room_bytes, theirs) == 0
    assert ours.poll(), "it did not fail"
    told = ours.recv()
    assert told.startswith("LogError: ")
    assert "ake room" in told
    ours.close()
    theirs.close()
    assert keys_of(tmp_path) == [FIRST[:3]]
    assert record(tmp_path, *MANY) == Counts(added_count=len(MANY))


def test_second_writer_is_told_who_holds_the_log(tmp_path):
    with open_log(tmp_path, today=DAY) as log:
        log.record(CALL, calls_of(FIRST))
        with (
            pytest.raises(
                LogError, match=rf"being written by .* on .*, process {os.getpid()}, since \d{{4}}-"
            ),
            open_log(tmp_path, today=DAY, wait_seconds=0.2),
        ):
            pytest.fail("two writers at once")
    assert keys_of(tmp_path) == [FIRST[:3]]


def test_holder_without_a_name_is_another_program(tmp_path):
    record(tmp_path, FIRST)
    raw = sqlite3.connect(tmp_path / "book.sqlite", isolation_level=None)
    raw.execute("BEGIN IMMEDIATE")
    with (
        pytest.raises(LogError, match="being written by another program: wait"),
        open_log(tmp_path, today=DAY, wait_seconds=0.1),
    ):
        pytest.fail("two writers at once")
    raw.close()


def test_second_writer_waits_and_both_are_kept(tmp_path):
    is_open, may_end = threading.Event(), threading.Event()

    def first() -> None:
        with open_log(tmp_path, today=DAY) as log:
            log.record(CALL, calls_of(FIRST))
            is_open.set()
            may_end.wait(10)

    writer = threading.Thread(target=first)
    writer.start()
    assert is_open.wait(10)
    threading.Timer(0.3, may_end.set).start()
    record(tmp_path, ("B", "2027-03-02", "sold"))
    writer.join()
    assert sorted(keys_of(tmp_path)) == [FIRST[:3], ("B", "2027-03-02", "sold")]


def test_reading_goes_on_while_somebody_records(tmp_path):
    record(tmp_path, FIRST)
    with open_log(tmp_path, today=DAY) as log:
        log.record(CALL, calls_of(("B", "2027-03-02", "sold")))
        # What is not finished is not seen
        assert keys_of(tmp_path) == [FIRST[:3]]


def test_read_only_folder_is_read_and_writing_is_a_sentence(tmp_path):
    record(tmp_path, FIRST)
    with read_only_copy(tmp_path) as locked:
        assert keys_of(locked) == [FIRST[:3]]
        with pytest.raises(ReadOnlyError, match=r"read-only. Move the book.*Nothing was recorded"):
            record(locked, ("B", "2027-03-02", "no"))
        assert sorted(path.name for path in locked.iterdir()) == ["book.sqlite"]


def test_read_only_folder_without_a_log(tmp_path):
    with read_only_copy(tmp_path) as locked:
        assert keys_of(locked) == []
        with pytest.raises(ReadOnlyError, match="cannot be written: the folder or the file"):
            record(locked, FIRST)


def test_clock_that_went_backwards_loses_nothing(tmp_path):
    record(tmp_path, ("A", "2027-03-02", "visit"), today=date(2027, 3, 2))
    record(tmp_path, ("A", "2027-03-03", "quoted"), today=date(2027, 3, 3))
    copy = tmp_path / "copies" / "book-2027-03-03.sqlite"
    before = copy.read_bytes()
    with open_log(tmp_path, today=date(2026, 1, 1)) as log:
        assert log.newest_day() == "2027-03-03"
        log.record(CALL, calls_of(("A", "2025-12-31", "not now")))
    calls = read_season(tmp_path).calls
    # Entries stand in the order of recording, whatever the clock said
    assert calls["outcome"].tolist() == ["visit", "quoted", "not now"]
    assert copy.read_bytes() == before
    assert sorted(path.name for path in copy.parent.iterdir()) == [
        "book-2026-01-01.sqlite",
        "book-2027-03-03.sqlite",
    ]


def test_what_its_user_stumbles_over_is_not_told_as_a_fault_of_the_log(tmp_path):
    with pytest.raises(FileNotFoundError, match="no such sheet"), open_log(tmp_path, today=DAY):
        (tmp_path / "no such sheet").read_bytes()
