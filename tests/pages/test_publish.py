from __future__ import annotations

import csv
import io
import os
from dataclasses import replace
from pathlib import Path

import pytest
from openpyxl import load_workbook

from scanner.errors import BookError, SchemaError
from scanner.pages import publish as publish_module
from scanner.pages.publish import publish
from scanner.schema.log_tables import OUTCOMES
from tests.small_scan import small_scan

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


def cheaper():
    scan = small_scan()
    return replace(scan, offers=scan.offers.assign(price_cents=scan.offers["price_cents"] - 100))


def test_writes_every_file_and_nothing_else(tmp_path):
    folder = tmp_path / "maps" / "small"
    paths = publish(small_scan(), folder)
    assert [path.name for path in paths] == FILES
    assert sorted(contents(folder)) == FILES


def test_two_runs_give_the_same_bytes(tmp_path):
    publish(small_scan(), tmp_path / "one")
    publish(small_scan(), tmp_path / "two")
    first = contents(tmp_path / "one")
    assert contents(tmp_path / "two") == first
    publish(small_scan(), tmp_path / "one")
    assert contents(tmp_path / "one") == first


def test_marks_of_a_change_are_the_same_in_a_second_run(tmp_path):
    publish(small_scan(), tmp_path)
    publish(cheaper(), tmp_path)
    first = contents(tmp_path)
    assert b"price was $4290.91" in first["calls.csv"]
    publish(cheaper(), tmp_path)
    assert contents(tmp_path) == first


@pytest.mark.parametrize(
    ("column", "value"),
    [("outcome", OUTCOMES[0]), ("note", "likes roses"), ("called_on", "2026-03-02")],
)
def test_filled_spreadsheet_is_never_replaced(tmp_path, column, value):
    publish(small_scan(), tmp_path)
    fill_sheet(tmp_path / "calls.xlsx", column, value)
    before = contents(tmp_path)
    with pytest.raises(
        BookError,
        match=rf"calls.xlsx: sheet Figures, row 3 has something in {column} that is not recorded yet.*move it",
    ):
        publish(cheaper(), tmp_path)
    assert contents(tmp_path) == before


@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
def test_filled_text_list_is_never_replaced(tmp_path, delimiter):
    publish(small_scan(), tmp_path)
    fill_text(tmp_path / "calls.csv", "next_action", "send a sketch", delimiter=delimiter)
    with pytest.raises(BookError, match=r"calls.csv: row 2 has something in next_action"):
        publish(cheaper(), tmp_path)


def test_list_that_was_only_opened_and_saved_is_replaced(tmp_path):
    publish(small_scan(), tmp_path)
    workbook = load_workbook(tmp_path / "calls.xlsx")
    workbook.save(tmp_path / "calls.xlsx")
    fill_text(tmp_path / "calls.csv", "note", "  ")
    publish(cheaper(), tmp_path)
    assert b"4289.91" in (tmp_path / "calls.csv").read_bytes()


@pytest.mark.parametrize("name", ["calls.xlsx", "calls.csv"])
def test_list_that_nobody_can_read_is_never_replaced(tmp_path, name):
    (tmp_path / name).write_bytes(b"something of my own\n1\n")
    with pytest.raises(
        BookError, match=rf"{name}: this is not a call list that can be read.*Move it"
    ):
        publish(small_scan(), tmp_path)
    assert (tmp_path / name).read_bytes() == b"something of my own\n1\n"


def test_failure_while_rendering_leaves_the_old_files(tmp_path, monkeypatch):
    publish(small_scan(), tmp_path)
    before = contents(tmp_path)

    def fail(_scan):
        message = "a page broke"
        raise SchemaError(message)

    monkeypatch.setattr(publish_module, "summary_json", fail)
    with pytest.raises(SchemaError, match="a page broke"):
        publish(cheaper(), tmp_path)
    assert contents(tmp_path) == before


@pytest.mark.parametrize("failing", FILES)
def test_file_that_cannot_be_replaced_leaves_the_old_ones(tmp_path, monkeypatch, failing):
    publish(small_scan(), tmp_path)
    before = contents(tmp_path)
    replace_file = os.replace

    def locked(source, target):
        if Path(target) == tmp_path / failing and "new" in Path(source).parts:
            raise PermissionError(13, "Permission denied", str(source), None, str(target))
        replace_file(source, target)

    monkeypatch.setattr(os, "replace", locked)
    with pytest.raises(
        BookError,
        match=rf"cannot be written \(Permission denied: .*{failing}\).*Nothing was changed",
    ):
        publish(cheaper(), tmp_path)
    monkeypatch.undo()
    assert contents(tmp_path) == before


def test_list_filled_in_after_a_kill_is_kept(tmp_path, monkeypatch):
    """A run is killed before its list is put in place; the list that stands there is filled in."""
    publish(small_scan(), tmp_path)
    replace_file = os.replace

    def killed(source, target):
        if Path(target).name == "calls.csv":
            raise SystemExit
        replace_file(source, target)

    monkeypatch.setattr(os, "replace", killed)
    monkeypatch.setattr(
        os,
        "rename",
        lambda *_: replace_file(*_) if ".ready" not in str(_[0]) else killed(".", "calls.csv"),
    )
    with pytest.raises(SystemExit):
        publish(cheaper(), tmp_path)
    monkeypatch.undo()
    assert (tmp_path / ".ready").exists()
    fill_text(tmp_path / "calls.csv", "outcome", OUTCOMES[0])
    publish(cheaper(), tmp_path, pending={"calls.csv": [], "calls.xlsx": []})
    assert not (tmp_path / ".ready").exists()
    publish(small_scan(), tmp_path / "other")
    settled = list(csv.DictReader(io.StringIO((tmp_path / "calls.csv").read_text(), newline="")))
    assert settled[0]["outcome"] == ""  # on record, so that the new list may stand


def test_folder_that_is_a_file(tmp_path):
    (tmp_path / "maps").write_text("a file")
    with pytest.raises(BookError, match="maps: the files cannot be written"):
        publish(small_scan(), tmp_path / "maps")


def test_list_that_is_on_record_is_replaced(tmp_path):
    publish(small_scan(), tmp_path)
    fill_sheet(tmp_path / "calls.xlsx", "outcome", OUTCOMES[0])
    publish(cheaper(), tmp_path, pending={"calls.xlsx": [], "calls.csv": []})
    assert b"4289.91" in (tmp_path / "calls.csv").read_bytes()


def test_row_that_is_not_on_record_is_named(tmp_path):
    publish(small_scan(), tmp_path)
    fill_sheet(tmp_path / "calls.xlsx", "outcome", OUTCOMES[0])
    before = contents(tmp_path)
    with pytest.raises(
        BookError, match=r"calls.xlsx: row 5 has something .* not recorded yet.*Record the list"
    ):
        publish(cheaper(), tmp_path, pending={"calls.xlsx": [5, 7]})
    assert contents(tmp_path) == before


@pytest.mark.parametrize("mark", ["~$calls.xlsx", ".~lock.calls.xlsx#", ".~lock.calls.csv#"])
def test_list_that_is_open_in_another_program_is_never_replaced(tmp_path, mark):
    publish(small_scan(), tmp_path)
    (tmp_path / mark).touch()
    before = contents(tmp_path)
    with pytest.raises(BookError, match="is open in another program: save and close it there"):
        publish(cheaper(), tmp_path, pending={})
    assert contents(tmp_path) == before


def test_list_saved_while_the_scan_is_written_is_never_replaced(tmp_path):
    """A large book is written for minutes; somebody may save the list meanwhile."""
    publish(small_scan(), tmp_path)

    def parts():
        fill_text(tmp_path / "calls.csv", "outcome", OUTCOMES[0])
        yield from cheaper().parts

    before = contents(tmp_path)
    with pytest.raises(BookError, match=r"calls.csv was saved while the scan ran.*Record the list"):
        publish(replace(cheaper(), parts=parts()), tmp_path)
    assert contents(tmp_path).keys() == before.keys()
    assert OUTCOMES[0].encode() in (tmp_path / "calls.csv").read_bytes()
    assert {
        name: content for name, content in contents(tmp_path).items() if name != "calls.csv"
    } == {name: content for name, content in before.items() if name != "calls.csv"}
