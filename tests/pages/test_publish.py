from __future__ import annotations

import csv
import io
import os
from dataclasses import replace
from pathlib import Path
from weakref import WeakSet

import pytest
from openpyxl import load_workbook

from scanner.errors import BookError, SchemaError
from scanner.pages import publish as publish_module
from scanner.pages.publish import publish
from scanner.pages.publish.earlier import read_earlier
from scanner.schema.log_tables import OUTCOMES
from scanner.store import replacing
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
    """A part that tells whether somebody still holds it."""

    __hash__ = object.__hash__


def test_a_part_is_let_go_before_the_next_but_one_is_read(tmp_path, monkeypatch):
    held, counts, read = WeakSet(), [], publish_module._read

    def lend(parts):
        for part in read(parts):
            lent = Lent(part)
            held.add(lent)
            counts.append(len(held))
            yield lent

    monkeypatch.setattr(publish_module, "_read", lend)
    publish(in_parts(small_scan(), 1), tmp_path)
    assert len(counts) > 3
    assert max(counts) == 2


def test_marks_of_a_change_are_the_same_in_a_second_run(tmp_path):
    publish(small_scan(), tmp_path)
    publish(cheaper(), tmp_path)
    first = contents(tmp_path)
    assert b"price was $4290.91" in first["calls.csv"]
    publish(cheaper(), tmp_path)
    assert contents(tmp_path) == first


def put_beside(folder, name, content):
    """Check that a list stayed as it was, and give the new one beside it."""
    assert (folder / name).read_bytes() == content
    stem, _, kind = name.partition(".")
    return (folder / f"{stem}-2026-02-16.{kind}").read_bytes()


@pytest.mark.parametrize(
    ("column", "value"),
    [("outcome", OUTCOMES[0]), ("note", "likes roses"), ("called_on", "2026-03-02")],
)
def test_filled_spreadsheet_is_never_replaced(tmp_path, column, value):
    publish(small_scan(), tmp_path)
    fill_sheet(tmp_path / "calls.xlsx", column, value)
    filled = (tmp_path / "calls.xlsx").read_bytes()
    files = publish(cheaper(), tmp_path)
    publish(cheaper(), tmp_path / "other")
    beside = put_beside(tmp_path, "calls.xlsx", filled)
    assert sheet_rows(beside) == sheet_rows(
        (tmp_path / "other" / "calls.xlsx").read_bytes(), but="change"
    )
    assert [path.name for path in files] == sorted(
        {*FILES, "calls-2026-02-16.xlsx"} - {"calls.xlsx"}
    )
    assert b"4289.91" in (tmp_path / "calls.csv").read_bytes()


@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
def test_filled_text_list_is_never_replaced(tmp_path, delimiter):
    publish(small_scan(), tmp_path)
    fill_text(tmp_path / "calls.csv", "next_action", "send a sketch", delimiter=delimiter)
    filled = (tmp_path / "calls.csv").read_bytes()
    publish(cheaper(), tmp_path)
    assert b"4289.91" in put_beside(tmp_path, "calls.csv", filled)


def test_new_lists_beside_a_kept_one_replace_each_other_until_they_are_filled_in(tmp_path):
    publish(small_scan(), tmp_path)
    fill_text(tmp_path / "calls.csv", "note", "gate code")
    for scan in (small_scan(), cheaper()):
        publish(scan, tmp_path)
    beside = tmp_path / "calls-2026-02-16.csv"
    assert b"4289.91" in beside.read_bytes()
    fill_text(beside, "note", "dog")
    filled = beside.read_bytes()
    publish(small_scan(), tmp_path)
    assert beside.read_bytes() == filled
    assert b"4290.91" in (tmp_path / "calls-2026-02-16-2.csv").read_bytes()


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
    publish(small_scan(), tmp_path)
    assert put_beside(tmp_path, name, b"something of my own\n1\n")


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

    monkeypatch.setattr(replacing, "_RENAME", None)  # what locks files knows no exchange
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

    monkeypatch.setattr(replacing, "_RENAME", None)
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
    publish(cheaper(), tmp_path, why_kept=lambda _: "")
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
    publish(cheaper(), tmp_path, why_kept=lambda _: "")
    assert b"4289.91" in (tmp_path / "calls.csv").read_bytes()


@pytest.mark.parametrize("mark", ["~$calls.xlsx", ".~lock.calls.xlsx#", ".~lock.calls.csv#"])
def test_list_that_is_open_in_another_program_is_never_replaced(tmp_path, mark):
    publish(small_scan(), tmp_path)
    (tmp_path / mark).touch()
    name = "calls.csv" if "csv" in mark else "calls.xlsx"
    before = (tmp_path / name).read_bytes()
    publish(cheaper(), tmp_path)
    assert put_beside(tmp_path, name, before)


@pytest.mark.parametrize("saves", ["in place", "anew"])
def test_list_saved_while_the_scan_is_written_is_never_replaced(tmp_path, saves):
    """A large book is written for minutes; somebody may save the list meanwhile."""
    publish(small_scan(), tmp_path)
    listed = tmp_path / "calls.csv"

    def parts():
        content = listed.read_bytes().replace(b"\r\n", b" gate code 4711\r\n", 2)
        if saves == "anew":
            listed.unlink()
        listed.write_bytes(content)
        fill_text(listed, "outcome", OUTCOMES[0])
        yield from cheaper().parts

    publish(replace(cheaper(), parts=parts()), tmp_path)
    assert OUTCOMES[0].encode() in listed.read_bytes()
    assert b"4289.91" in (tmp_path / "calls-2026-02-16.csv").read_bytes()
    assert sorted(contents(tmp_path)) == sorted([*FILES, "calls-2026-02-16.csv"])
