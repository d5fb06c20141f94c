"""A scan and a recording cut off before each of their file operations: the old stands whole, or the new does."""

from __future__ import annotations

import os
import shutil
import signal
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from scanner.book.new import start_book
from scanner.calls.log import read_season
from scanner.pages.publish import scan_files
from scanner.store.replacing import settle
from tests.cli.desk import type_in
from tests.small_scan import small_scan

OPERATIONS = ("link", "mkdir", "open", "rename", "replace", "rmdir", "unlink")
STEP = 12
"""Of the operations of a whole scan each test takes one in twelve; `test_replacing` takes all that put files in place."""

DAY = ("--today", "2026-02-16")


class Disk:
    """Does something before the file operation of a number, or before each."""

    def __init__(self, patch, at, do):
        self.count, self.at, self.do, self.is_busy = 0, at, do, False
        for name in OPERATIONS:
            patch.setattr(os, name, self.counted(getattr(os, name)))

    def counted(self, operation):
        def run(*args, **kwargs):
            if not self.is_busy:
                self.count += 1
                if self.at in (None, self.count):
                    self.is_busy = True
                    try:
                        self.do()
                    finally:
                        self.is_busy = False
            return operation(*args, **kwargs)

        return run


@pytest.fixture(autouse=True)
def heeds_ctrl_c() -> Iterator[None]:
    """Tests that a shell runs in the background begin deaf to it."""
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    yield
    signal.signal(signal.SIGINT, before)


@pytest.fixture(scope="module")
def scanned(tmp_path_factory):
    """A book that was scanned, and what a scan writes that finds other prices."""
    folder = tmp_path_factory.mktemp("scanned")
    start_book(folder / "lawns")
    found = small_scan()
    dearer = replace(
        found, offers=found.offers.assign(price_cents=found.offers["price_cents"] + 100)
    )
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(folder)
        answer_with(patch, found, [*scan_files._render(found, folder)])
        assert "Open maps" in type_in("scan", "lawns", *DAY).stderr
    (folder / "maps" / "lawns" / ".unfinished-stray").mkdir()
    type_in("record", str(folder / "lawns"), "calls", "001", "visit", *DAY)
    return folder, dearer, [*scan_files._render(dearer, folder)]


def answer_with(patch, found, pieces):
    """Let every scan from now on find this at once, and draw these."""
    patch.setattr("scanner.cli.find.read_for_scan", lambda *_, **__: None)
    patch.setattr("scanner.pipeline.scan", lambda *_, **__: found)
    patch.setattr(scan_files, "_render", lambda *_, **__: iter(pieces))


@pytest.fixture
def office(scanned, tmp_path, monkeypatch):
    """A copy of that book; what is scanned and drawn is there already."""
    folder, dearer, pieces = scanned
    answer_with(monkeypatch, dearer, pieces)
    shutil.copytree(folder, tmp_path / "office")
    monkeypatch.chdir(tmp_path / "office")
    return tmp_path / "office"


def files_in(folder):
    return {path.name: path.read_bytes() for path in Path(folder).iterdir() if path.is_file()}


def copies_of(office):
    """Give fresh copies of the office, one after the other."""
    number = 0
    while True:
        number += 1
        folder = office.with_name(f"{office.name}-{number}")
        shutil.copytree(office, folder)
        yield folder


def scan(folder):
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(folder)
        return type_in("scan", "lawns", *DAY)


def test_a_scan_killed_at_any_point(office):
    """What a kill leaves is what lies on the disk before the operation: it is copied there, each time."""
    old, left = files_in("maps/lawns"), []

    def copy():
        left.append(office.with_name(f"{office.name}-{len(left)}"))
        shutil.copytree(Path("maps", "lawns"), left[-1])

    with pytest.MonkeyPatch.context() as patch:
        Disk(patch, None, copy)
        assert "Open maps" in type_in("scan", "lawns", *DAY).stderr
    new, ends = files_in("maps/lawns"), set()
    assert len(left) > 40
    assert old["calls.csv"] != new["calls.csv"]
    for folder in left:
        # Before anything is settled no file is missing or half written
        assert all(content in (old[name], new[name]) for name, content in files_in(folder).items())
        assert files_in(folder).keys() == new.keys()
        settle(folder, keep=lambda _: False)
        ends.add(files_in(folder) == new)
        assert files_in(folder) in (old, new)
        assert not [path for path in folder.iterdir() if path.name.startswith(".")]
    assert ends == {False, True}


@pytest.mark.parametrize("end", ["ctrl-c", "ended"])
def test_a_scan_stopped_at_any_point_says_what_stands(office, end):
    old, told = files_in("maps/lawns"), set()
    signals = {"ctrl-c": signal.SIGINT, "ended": signal.SIGTERM}
    at = 1 + ["ctrl-c", "ended"].index(end) - STEP
    for folder in copies_of(office):
        at += STEP
        with pytest.MonkeyPatch.context() as patch:
            disk = Disk(patch, at, lambda: os.kill(os.getpid(), signals[end]))
            result = scan(folder)
        if disk.count < at:
            break
        stands = files_in(folder / "maps" / "lawns")
        words = result.stderr.splitlines()[-1]
        told.add(words)
        assert result.exit_code == 130
        assert (stands == old) == words.startswith("Stopped. Nothing was written"), (at, words)
        assert (stands != old) == words.startswith("Stopped. The new files stand"), (at, words)
        strays = [
            path.name for path in (folder / "maps" / "lawns").iterdir() if path.name.startswith(".")
        ]
        assert set(strays) <= {".unfinished-stray", ".unfinished-done"}
        shutil.rmtree(folder)
    assert at > 40
    assert len(told) == 2


@pytest.mark.parametrize("end", ["ctrl-c", "ended"])
def test_a_recording_stopped_at_any_point_says_what_stands(office, end):
    signals = {"ctrl-c": signal.SIGINT, "ended": signal.SIGTERM}
    at = 0
    for folder in copies_of(office):
        at += 1
        with pytest.MonkeyPatch.context() as patch:
            patch.chdir(folder)
            disk = Disk(patch, at, lambda: os.kill(os.getpid(), signals[end]))
            result = type_in("record", "lawns", "calls", "002", "no", *DAY)
        if disk.count < at:
            break
        outcomes = read_season(folder / "lawns").calls["outcome"].tolist()
        words = result.stderr.splitlines()[-1]
        assert (outcomes == ["visit"]) == (words == "Stopped. Nothing was recorded."), (at, words)
        assert (outcomes == ["visit", "no"]) == (words == "Stopped. All of it was recorded."), (
            at,
            words,
        )
    assert at > 1


def test_a_full_disk_at_any_point_of_a_scan(office):
    old = files_in("maps/lawns")
    at = 3 - STEP
    for folder in copies_of(office):
        at += STEP

        def full():
            raise OSError(28, "No space left on device", "calls.csv")

        with pytest.MonkeyPatch.context() as patch:
            disk = Disk(patch, at, full)
            result = scan(folder)
        if disk.count < at:
            break
        stands = files_in(folder / "maps" / "lawns")
        if "Cannot go on" in result.stderr:
            assert stands == old, at
            assert "Nothing was changed" in result.stderr
        else:
            assert stands != old, at
        shutil.rmtree(folder)
    assert at > 40
