"""What people do to a sheet before it comes back: titles, copies, headings and separators of their own."""

from __future__ import annotations

import re
import zipfile

import openpyxl
import pytest

from scanner.errors import BookError
from scanner.sheets import grids, workbooks
from scanner.sheets.description import NUMBER, Column, Sheet
from scanner.sheets.lists import CALL_LIST
from scanner.sheets.problems import row_words
from scanner.sheets.reader import open_elsewhere, read_sheet

NEEDED = Sheet(
    "Ours", (Column("client_id"), Column("note", also=("notes",))), needs=("client_id", "note")
)
KEPT = Sheet("Kept", (Column("client_id"), Column("annual_usd", NUMBER)))


def text(path, content):
    path.write_text(content, encoding="utf-8")
    return path


def book(path, **sheets):
    workbook = openpyxl.Workbook()
    workbook.remove(workbook.active)
    for title, rows in sheets.items():
        sheet = workbook.create_sheet(title)
        for row in rows:
            sheet.append(row)
    workbook.save(path)
    return path


def cells(path, sheet=NEEDED):
    rows, problems = read_sheet(path, sheet)
    assert problems == []
    return {row_words(label): tuple(row) for label, row in zip(rows.index, rows.to_numpy(), strict=True)}  # fmt: skip


@pytest.mark.parametrize(
    "content",
    [
        "client_id,note\n007,gate\n",
        "Calls of March,,\n\nclient_id,note\n007,gate\n",
        "sep=;\nclient_id;note\n007;gate\n",
        "Calls, of March, all of them\nclient_id;note\n007;gate\n",
        "Note:;Client-ID\ngate;007\n",
        "NOTES\tClient ID\ngate\t007\n",
    ],
)
def test_headings_are_found_under_titles_and_whatever_parts_them(tmp_path, content):
    rows = cells(text(tmp_path / "a.csv", content))
    assert [*rows.values()] == [("007", "gate")]


def test_rows_keep_the_number_that_the_spreadsheet_shows(tmp_path):
    path = text(tmp_path / "a.csv", "A title,\n,\nclient_id,note\n007,gate\n,\n008,dog\n")
    assert cells(path) == {"row 4": ("007", "gate"), "row 6": ("008", "dog")}


def test_a_title_above_a_list_without_needed_columns(tmp_path):
    path = text(tmp_path / "a.csv", "Our clients\nclient_id,annual_usd\n007,1200\n")
    assert cells(path, KEPT) == {"row 3": ("007", "1200")}


def test_a_copied_sheet_is_read_with_the_first(tmp_path):
    rows = [["client_id", "note"], ["007", "gate"]]
    path = book(
        tmp_path / "a.xlsx", Calls=rows, Other=[["who"], ["x"]], March=[*rows, ["008", "dog"]]
    )
    assert cells(path) == {
        "row 2": ("007", "gate"),
        "sheet March, row 2": ("007", "gate"),
        "sheet March, row 3": ("008", "dog"),
    }


def test_a_heading_of_somebodys_own_gives_way_to_ours(tmp_path):
    rows, _ = read_sheet(text(tmp_path / "a.csv", "client_id,notes,note\n007,old,new\n"), NEEDED)
    assert rows.loc[2, ["note", "notes"]].tolist() == ["new", "old"]


def test_two_headings_that_may_be_ours_are_neither(tmp_path):
    sheet = Sheet("Ours", (Column("client_id"), Column("note", also=("notes", "comment"))))
    rows, _ = read_sheet(text(tmp_path / "a.csv", "client_id,notes,comment\n007,a,b\n"), sheet)
    assert rows.loc[2, ["note", "notes", "comment"]].tolist() == ["", "a", "b"]


def test_a_column_that_is_missing_is_named_with_those_that_are_there(tmp_path):
    path = text(tmp_path / "a.csv", "client_id,phone\n007,1\n")
    with pytest.raises(
        BookError, match=r"a.csv has no column called_on and no column outcome; .* client_id, phone"
    ):
        read_sheet(path, CALL_LIST)


@pytest.mark.parametrize("name", ["a.xlsx", "a.csv"])
def test_a_file_beyond_the_bound_is_refused_unopened(tmp_path, monkeypatch, name):
    path = book(tmp_path / "a.xlsx", Calls=[["client_id", "note"], ["007", "gate"]])
    path = path if name == path.name else text(tmp_path / name, "client_id,note\n" + "007,gate\n" * 200)  # fmt: skip
    for module in (grids, workbooks):
        monkeypatch.setattr(module, "MAX_SHEET_BYTES", 1_000)
    with pytest.raises(BookError, match=r"a\..* bytes, more than 1,000: copy the cells"):
        read_sheet(path, NEEDED)


def test_a_workbook_that_says_it_is_smaller_than_it_is_is_read_whole(tmp_path):
    """A program may write that its sheet is one cell wide; a reader that streams believes it."""
    path = book(tmp_path / "a.xlsx", Calls=[["client_id", "note"], ["007", "gate"]])
    with zipfile.ZipFile(path) as packed:
        parts = {name: packed.read(name) for name in packed.namelist()}
    name = "xl/worksheets/sheet1.xml"
    assert b'<dimension ref="A1:B2"' in parts[name]
    parts[name] = parts[name].replace(b'<dimension ref="A1:B2"', b'<dimension ref="A1"')
    with zipfile.ZipFile(path, "w") as packed:
        for part, content in parts.items():
            packed.writestr(part, content)
    assert cells(path) == {"row 2": ("007", "gate")}


def test_a_workbook_without_a_sheet_is_refused(tmp_path):
    path = book(tmp_path / "a.xlsx", Calls=[["client_id", "note"]])
    with zipfile.ZipFile(path) as packed:
        parts = {name: packed.read(name) for name in packed.namelist()}
    parts["xl/workbook.xml"] = re.sub(rb"<sheet [^>]*>", b"", parts["xl/workbook.xml"])
    with zipfile.ZipFile(path, "w") as packed:
        for part, content in parts.items():
            packed.writestr(part, content)
    with pytest.raises(BookError, match="is not a spreadsheet that can be opened"):
        read_sheet(path, NEEDED)


@pytest.mark.parametrize("mark", ["~$calls.xlsx", ".~lock.calls.xlsx#"])
def test_sheet_that_is_open_elsewhere(tmp_path, mark):
    path = tmp_path / "calls.xlsx"
    assert open_elsewhere(path) == ""
    (tmp_path / mark).touch()
    assert open_elsewhere(path) == mark
