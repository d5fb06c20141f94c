"""The working store: one worker or many, any block, any order of files, the same bytes."""

from __future__ import annotations

import re
import shutil
from dataclasses import replace
from datetime import date

import numpy as np
import pandas as pd
import pytest
import shapely
from shapely import box
from shapely.affinity import translate

from scanner import block_ground
from scanner.calls.log import NO_SEASON
from scanner.errors import SchemaError, WorkerError
from scanner.pipeline import list_ground, open_store, publish_scan, read_book, scan
from scanner.store import workers
from scanner.store.curve import along_curve
from scanner.store.parquet_tables import StoredTables, read_table, write_table
from scanner.store.workers import work_through
from tests.sites import Drawing, features_of
from tests.worker_tasks import die_at_three, fail_at, lots_named

TODAY = date(2026, 2, 16)
LOT_FT = 80.0


def street_of(count):
    """A street with lots, each with a drive and a house: worked case 1 again and again."""
    drawing = Drawing().add("street", box(-50, -30, LOT_FT * count + 50, -10), client="")
    for number in range(count):
        for kind, shape in (
            ("property", box(0, 0, LOT_FT, 120)),
            ("drive", box(10, -10, 30, 35)),
            ("house", box(20, 35, 60, 65)),
        ):
            drawing = drawing.add(kind, translate(shape, LOT_FT * number), client=f"C{number:03d}")
    return drawing


@pytest.fixture(scope="module")
def book(tmp_path_factory):
    """A book of six lots in two files."""
    folder = tmp_path_factory.mktemp("book") / "street"
    (folder / "sites").mkdir(parents=True)
    features = features_of(street_of(6)).drop(columns=["feature_id", "file"])
    features.iloc[::2].to_file(folder / "sites" / "one.geojson")
    features.iloc[1::2].to_file(folder / "sites" / "two.geojson")
    ids = sorted({*features["client_id"]} - {""})
    pd.DataFrame({"client_id": ids, "name": ids}).to_csv(folder / "clients.csv", index=False)
    return folder


def written(book, out, *, is_new=True, **how):
    """Scan a book through a store, where nothing is kept unless asked; every file that came out, by name."""
    if is_new:
        shutil.rmtree(book / ".scan", ignore_errors=True)
    with open_store(book) as store:
        place = replace(store, **how)
        read = read_book(book, store=place)
        publish_scan(scan(read, today=TODAY, store=place), out)
    return {path.name: path.read_bytes() for path in sorted(out.iterdir())}


@pytest.fixture(scope="module")
def whole(book, tmp_path_factory):
    """Every file of a scan of that book in one block."""
    return written(book, tmp_path_factory.mktemp("whole") / "pages")


@pytest.mark.parametrize(("small_lots", "is_stored"), [(5, True), (6, False)])
def test_parts_of_a_large_book_stay_on_the_disk_however_few_processes_work(
    book, tmp_path, small_lots, is_stored
):
    copy = shutil.copytree(book, tmp_path / "street", ignore=shutil.ignore_patterns(".scan"))
    with open_store(copy) as store:
        place = replace(store, workers=1, small_lots=small_lots)
        found = scan(read_book(copy, store=place), today=TODAY, store=place)
        assert [isinstance(part, StoredTables) for part in found.parts] == [is_stored]


def test_same_bytes_for_any_block_worker_and_order_of_files(book, whole, tmp_path):
    assert written(book, tmp_path / "two", block_lots=3, small_lots=0, workers=2) == whole
    other = tmp_path / book.name
    shutil.copytree(book, other)
    (other / "sites" / "one.geojson").rename(other / "sites" / "zwei.geojson")
    assert written(other, tmp_path / "blocks in another order", block_lots=4) == whole


def test_worker_that_dies_is_named_with_what_it_did():
    with pytest.raises(WorkerError, match=r"at lots 3 ended unexpectedly \(exit code 9\)"):
        list(work_through(iter(range(6)), die_at_three, workers=2, name=lots_named))


@pytest.mark.parametrize(
    ("task", "kind", "words"),
    [
        ("unreadable", WorkerError, "at lots unreadable met UnreadableError: met a nut;"),
        ("unsendable", WorkerError, "at lots unsendable met RuntimeError: the lid is open;"),
        ("result", Exception, "at lots result:\nTraceback"),
        ("plain", SchemaError, "^a column is missing\nat lots plain:\nTraceback"),
    ],
)
def test_an_error_of_a_worker_keeps_its_sentence(task, kind, words):
    with pytest.raises(kind, match=words):
        list(work_through(iter([task]), fail_at, workers=2, name=lots_named))


def test_what_is_next_to_no_work_is_done_here_and_comes_in_its_turn(monkeypatch):
    def ease(task):
        return None if task % 3 == 1 else -task

    eased = work_through(iter(range(7)), die_at_three, workers=2, name=lots_named, ease=ease)
    assert list(eased) == [0, 1, -2, -3, 4, -5, -6]
    monkeypatch.setattr(workers, "get_context", None)
    eased = work_through(iter(range(7)), die_at_three, workers=2, name=lots_named, ease=float)
    assert list(eased) == [0, 1, 2, 3, 4, 5, 6], "no process was started"


def test_neighbors_lie_side_by_side_along_the_curve():
    east, north = (part.ravel() for part in np.meshgrid(np.arange(64), np.arange(64)))
    step = 0.5 / 64
    order = np.argsort(along_curve(7 + (east + 0.5) * step, 1 + (north + 0.5) * step))
    assert (np.abs(np.diff(east[order])) + np.abs(np.diff(north[order])) == 1).all()


def test_a_table_comes_back_as_it_was_put_away(tmp_path):
    features = features_of(street_of(2))
    write_table(features, tmp_path / "table")
    back = read_table(tmp_path / "table")
    pd.testing.assert_frame_equal(pd.DataFrame(back), pd.DataFrame(features))
    assert (tmp_path / "table").stat().st_mode & 0o777 == 0o600


def test_the_working_folder_is_private_and_leaves_what_was_put_in_it(tmp_path):
    with open_store(tmp_path) as store:
        assert store.folder.parent == tmp_path / ".scan"
        assert (tmp_path / ".scan").stat().st_mode & 0o777 == 0o700
        assert store.folder.stat().st_mode & 0o777 == 0o700
    assert list(tmp_path.iterdir()) == []
    with open_store(tmp_path) as store:
        (store.folder / "something").touch()
    with open_store(tmp_path) as store:
        assert [path.name for path in store.kept[0].iterdir()] == ["something"]


def test_a_lot_that_defeats_the_geometry_bars_no_plan_of_another(book, tmp_path, monkeypatch):
    honest, looked = block_ground.survey_block, []

    def survey(features, client_ids, *rest, **known):
        looked.append([*client_ids])
        if "C003" in client_ids:
            message = "TopologyException: side location conflict"
            raise shapely.errors.GEOSException(message)
        return honest(features, client_ids, *rest, **known)

    monkeypatch.setattr(block_ground, "survey_block", survey)
    with open_store(book) as store:
        read = read_book(book, store=replace(store, folder=tmp_path))
        found = scan(read, today=TODAY, client_ids={"C002", "C003"})
        before = len(looked)
        ground = list_ground(read, NO_SEASON, found, ["C002"])
    assert {*ground["client_id"]} == {"C002"}
    assert looked[before:] == []  # what the scan saw of it stands


def test_lots_that_defeat_the_geometry_are_told_of_and_the_rest_goes_on(
    book, whole, tmp_path, monkeypatch
):
    """Whether one fails when it is surveyed or later, when its shapes are listed."""
    defeats = {"survey_block": "C003", "list_shapes": "C004"}
    for verb, client in defeats.items():
        honest = getattr(block_ground, verb)

        def defeated(one, two, *rest, honest=honest, client=client, **known):
            if client in set(two["client_id"] if isinstance(two, pd.DataFrame) else two):
                message = "TopologyException: side location conflict"
                raise shapely.errors.GEOSException(message)
            return honest(one, two, *rest, **known)

        monkeypatch.setattr(block_ground, verb, defeated)
    found = written(book, tmp_path / "defeated")
    monkeypatch.undo()
    faults = found["problems.csv"].decode("utf-8-sig").splitlines()[1:]
    assert [line.split(",")[2] for line in faults] == ["C003", "C004"]
    assert all("could not be worked out" in fault for fault in faults)
    items = (files["line_items.csv"].splitlines() for files in (found, whole))
    ours, theirs = (
        [line for line in lines if not re.search(rb"C00[34]-", line)] for lines in items
    )
    assert ours == theirs
    for client in defeats.values():
        assert f"{client}-house-1".encode() in whole["line_items.csv"]
        assert f"{client}-house-1".encode() not in found["line_items.csv"]
    # What failed is tried again by the next scan, nothing of it is taken over
    assert written(book, tmp_path / "again", is_new=False) == whole
