from __future__ import annotations

import csv
import io
import itertools
import os
import shutil
from dataclasses import replace
from datetime import date
from pathlib import Path
from weakref import ref

import pytest
from openpyxl import load_workbook

from scanner.errors import BookError, SchemaError
from scanner.pages.publish import CALL_LISTS, scan_files, seal_of
from scanner.pages.publish.earlier import read_earlier
from scanner.pages.publish.scan_files import publish
from scanner.schema.log_tables import OUTCOMES
from scanner.store import replacing
from scanner.store.folder import Store
from tests.cli.desk import leaving_map_out
from tests.small_scan import in_parts, small_scan

FILES = [
    "calls.csv", "calls.xlsx", "candidates.geojson", "line_items.csv", "map.html", "problems.csv",
    "rates.csv", "summary.json",
]  # fmt: skip


def contents(folder):
    return {path.name: path.read_bytes() for path in folder.iterdir() if path.is_file()}


def fill_sheet(path, column, value):
    workbook = load_workbook(path)
    sheet = workbook["Figures"]
    place = [cell.value for cell in sheet[1]].index(column) + 1
    sheet.cell(3, place).value = value
    workbook.save(path)


def fill_text(path, column, value, *, delimiter=","):
    rows = list(csv.DictReader(io.StringIO(path.read_text(), newline="")))
    rows[0][column] = value
    with path.open("w", newline="") as file:
        writer = csv.DictWriter(file, rows[0].keys(), delimiter=delimiter)
        writer.writeheader()
        writer.writerows(rows)


def sheet_rows(content, but=""):
    header, *rows = load_workbook(io.BytesIO(content))["Calls"].values
    kept = [place for place, name in enumerate(header) if name not in ("change", but)]
    return [[row[place] for place in kept] for row in (header, *rows)]


def cheaper():
    scan = small_scan()
    return replace(scan, offers=scan.offers.assign(price_cents=scan.offers["price_cents"] - 100))


@pytest.fixture(scope="module")
def printed(tmp_path_factory):
    """The files of the small scan."""
    folder = tmp_path_factory.mktemp("printed") / "maps" / "small"
    assert [path.name for path in publish(small_scan(), folder)] == FILES
    return folder


@pytest.fixture(scope="module")
def printed_cheaper(tmp_path_factory):
    folder = tmp_path_factory.mktemp("cheaper")
    publish(cheaper(), folder)
    return contents(folder)


@pytest.fixture
def listed(printed, tmp_path):
    """A folder that holds the files of the small scan."""
    return shutil.copytree(printed, tmp_path / "listed")


@pytest.fixture
def lists(listed):
    """The same folder, where the map matters not."""
    with leaving_map_out():
        yield listed


def test_writes_every_file_and_nothing_else(printed):
    assert sorted(contents(printed)) == FILES


def test_two_runs_give_the_same_bytes(printed, listed, tmp_path):
    publish(small_scan(), listed)
    publish(small_scan(), tmp_path / "two")
    assert contents(listed) == contents(tmp_path / "two") == contents(printed)


def test_the_list_before_is_the_same_in_whatever_form_it_was_saved(tmp_path):
    clients = small_scan().clients
    odd = clients.assign(name='Ada, "the"\nsecond')
    publish(replace(small_scan(), clients=odd), tmp_path)
    path = tmp_path / "calls.csv"
    printed = read_earlier(tmp_path)
    rows = list(csv.reader(io.StringIO(path.read_bytes().decode(), newline="")))
    assert {cells[1] for cells in rows[1:]} == {*printed.rows}
    with path.open("w", encoding="utf-16", newline="") as file:
        csv.writer(file, delimiter=";").writerows(rows)
    assert read_earlier(tmp_path) == printed


class Lent(dict):
    """A part that is read anew each time; tells how many tables of beds somebody holds then."""

    lent, counts = [], []

    def __getitem__(self, name):
        table = super().__getitem__(name).copy()
        if name == "beds":
            self.lent.append(ref(table))
            self.counts.append(sum(one() is not None for one in self.lent))
        return table


def test_a_part_is_read_once_and_let_go_before_the_next_but_one(tmp_path):
    scan = in_parts(small_scan(), 1)
    publish(replace(scan, parts=[Lent(part) for part in scan.parts]), tmp_path)
    assert len(Lent.counts) == len(scan.parts) > 3
    assert max(Lent.counts) == 2


def test_marks_of_a_change_are_the_same_in_a_second_run(listed):
    publish(cheaper(), listed)
    first = contents(listed)
    assert b"price was $4290.91" in first["calls.csv"]
    publish(cheaper(), listed)
    assert contents(listed) == first


def test_only_files_made_from_the_very_same_are_left_as_they_stand(lists, tmp_path):
    out, count = lists, itertools.count()

    def is_left(scan=None, *, own=None):
        """Scan once more, on what the last scan left; whether nothing was written."""
        kept, place = tmp_path / "kept", tmp_path / f"run-{next(count)}"
        (place / "000000").mkdir(parents=True)
        (place / "000000" / "beds.parquet").write_bytes(own or b"beds")
        before = {path.name: path.stat().st_ino for path in out.glob("*")}
        seals = list[str]()
        store = Store(place, kept=(kept,) if kept.exists() else ())
        files = publish(scan or small_scan(), out, seals=seals, store=store)
        shutil.rmtree(kept, ignore_errors=True)
        place.rename(tmp_path / "kept")
        assert [path.name for path in files] == FILES
        assert seals == [seal_of(out / name) for name in CALL_LISTS]
        return before == {path.name: path.stat().st_ino for path in out.glob("*")}

    assert not is_left()
    first = contents(out)
    assert is_left()
    assert is_left()
    for name in ("map.html", "candidates.geojson", "summary.json"):
        (out / name).write_bytes(b"by hand")
        assert not is_left()
        assert contents(out) == first
    (out / "line_items.csv").unlink()
    assert not is_left()
    assert contents(out) == first
    assert not is_left(own=b"other beds")
    assert not is_left(cheaper())
    assert is_left(cheaper())
    assert not is_left(replace(small_scan(), today=date(2026, 2, 17)))


def put_beside(folder, name, content):
    """Check that a list stayed as it was, and give the new one beside it."""
    assert (folder / name).read_bytes() == content
    stem, _, kind = name.partition(".")
    return (folder / f"{stem}-2026-02-16.{kind}").read_bytes()


@pytest.mark.parametrize(
    ("column", "value", "delimiter"),
    [
        ("outcome", OUTCOMES[0], ","),
        ("note", "likes roses", ";"),
        ("called_on", "2026-03-02", "\t"),
    ],
)
def test_filled_lists_are_never_replaced(lists, printed_cheaper, column, value, delimiter):
    fill_sheet(lists / "calls.xlsx", column, value)
    fill_text(lists / "calls.csv", "next_action", "send a sketch", delimiter=delimiter)
    filled = {name: (lists / name).read_bytes() for name in ("calls.xlsx", "calls.csv")}
    files = publish(cheaper(), lists)
    beside = {name: put_beside(lists, name, content) for name, content in filled.items()}
    assert sheet_rows(beside["calls.xlsx"], but="change") == sheet_rows(
        printed_cheaper["calls.xlsx"], but="change"
    )
    assert b"4289.91" in beside["calls.csv"]
    kept = {"calls-2026-02-16.csv", "calls-2026-02-16.xlsx"}
    assert [path.name for path in files] == sorted({*FILES, *kept} - filled.keys())


def test_the_list_that_is_not_filled_in_is_replaced_all_the_same(lists):
    fill_sheet(lists / "calls.xlsx", "outcome", OUTCOMES[0])
    files = publish(cheaper(), lists)
    assert [path.name for path in files] == sorted(
        {*FILES, "calls-2026-02-16.xlsx"} - {"calls.xlsx"}
    )
    assert b"4289.91" in (lists / "calls.csv").read_bytes()


def test_new_lists_beside_a_kept_one_replace_each_other_until_they_are_filled_in(lists):
    fill_text(lists / "calls.csv", "note", "gate code")
    for scan in (small_scan(), cheaper()):
        publish(scan, lists)
    beside = lists / "calls-2026-02-16.csv"
    assert b"4289.91" in beside.read_bytes()
    fill_text(beside, "note", "dog")
    filled = beside.read_bytes()
    publish(small_scan(), lists)
    assert beside.read_bytes() == filled
    assert b"4290.91" in (lists / "calls-2026-02-16-2.csv").read_bytes()


def test_list_that_was_only_opened_and_saved_is_replaced(lists):
    workbook = load_workbook(lists / "calls.xlsx")
    workbook.save(lists / "calls.xlsx")
    fill_text(lists / "calls.csv", "note", "  ")
    publish(cheaper(), lists)
    assert b"4289.91" in (lists / "calls.csv").read_bytes()


def test_lists_that_nobody_can_read_are_never_replaced(tmp_path):
    for name in ("calls.xlsx", "calls.csv"):
        (tmp_path / name).write_bytes(b"something of my own\n1\n")
    publish(small_scan(), tmp_path)
    for name in ("calls.xlsx", "calls.csv"):
        assert put_beside(tmp_path, name, b"something of my own\n1\n"), name


def test_failure_while_rendering_leaves_the_old_files(listed, monkeypatch):
    before = contents(listed)

    def fail(_scan):
        message = "a page broke"
        raise SchemaError(message)

    monkeypatch.setattr(scan_files, "summary_json", fail)
    with pytest.raises(SchemaError, match="a page broke"):
        publish(cheaper(), listed)
    assert contents(listed) == before


def test_file_that_cannot_be_replaced_leaves_the_old_ones(lists, monkeypatch):
    before, replace_file = contents(lists), os.replace
    for failing in ("calls.csv", "map.html", "summary.json"):  # any operation: tests of the store

        def locked(source, target, failing=failing):
            if Path(target) == lists / failing and "new" in Path(source).parts:
                raise PermissionError(13, "Permission denied", str(source), None, str(target))
            replace_file(source, target)

        told = rf"cannot be written \(Permission denied: .*{failing}\).*Nothing was changed"
        with monkeypatch.context() as patch:
            patch.setattr(replacing, "_RENAME", None)  # what locks files knows no exchange
            patch.setattr(os, "replace", locked)
            with pytest.raises(BookError, match=told):
                publish(cheaper(), lists)
        assert contents(lists) == before, failing


def test_list_filled_in_after_a_kill_is_kept(lists, monkeypatch):
    """A run is killed before its list is put in place; the list that stands there is filled in."""
    replace_file = os.replace

    def killed(source, target):
        if Path(target).name == "calls.csv":
            raise SystemExit
        replace_file(source, target)

    monkeypatch.setattr(replacing, "_RENAME", None)
    monkeypatch.setattr(os, "replace", killed)
    monkeypatch.setattr(
        os,
        "rename",
        lambda *_: replace_file(*_) if ".ready" not in str(_[0]) else killed(".", "calls.csv"),
    )
    with pytest.raises(SystemExit):
        publish(cheaper(), lists)
    monkeypatch.undo()
    assert (lists / ".ready").exists()
    fill_text(lists / "calls.csv", "outcome", OUTCOMES[0])
    publish(cheaper(), lists, why_kept=lambda _: "")
    assert not (lists / ".ready").exists()
    settled = list(csv.DictReader(io.StringIO((lists / "calls.csv").read_text(), newline="")))
    assert settled[0]["outcome"] == ""  # on record, so that the new list may stand


def test_folder_that_is_a_file(tmp_path):
    (tmp_path / "maps").write_text("a file")
    with pytest.raises(BookError, match="maps: the files cannot be written"):
        publish(small_scan(), tmp_path / "maps")


def test_list_that_is_on_record_is_replaced(lists):
    fill_sheet(lists / "calls.xlsx", "outcome", OUTCOMES[0])
    publish(cheaper(), lists, why_kept=lambda _: "")
    assert b"4289.91" in (lists / "calls.csv").read_bytes()


@pytest.mark.parametrize("mark", ["~$calls.xlsx", ".~lock.calls.xlsx#"])
def test_lists_that_are_open_in_another_program_are_never_replaced(lists, mark):
    for one in (mark, ".~lock.calls.csv#"):
        (lists / one).touch()
    before = {name: (lists / name).read_bytes() for name in ("calls.csv", "calls.xlsx")}
    publish(cheaper(), lists)
    for name, content in before.items():
        assert put_beside(lists, name, content), name


@pytest.mark.parametrize("saves", ["in place", "anew"])
def test_list_saved_while_the_scan_is_written_is_never_replaced(lists, saves):
    """A large book is written for minutes; somebody may save the list meanwhile."""
    path = lists / "calls.csv"

    def parts():
        content = path.read_bytes().replace(b"\r\n", b" gate code 4711\r\n", 2)
        if saves == "anew":
            path.unlink()
        path.write_bytes(content)
        fill_text(path, "outcome", OUTCOMES[0])
        yield from cheaper().parts

    publish(replace(cheaper(), parts=parts()), lists)
    assert OUTCOMES[0].encode() in path.read_bytes()
    assert b"4289.91" in (lists / "calls-2026-02-16.csv").read_bytes()
    assert sorted(contents(lists)) == sorted([*FILES, "calls-2026-02-16.csv"])
