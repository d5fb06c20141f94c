"""Sheets as LibreOffice saves them; the elements and attributes are those of OASIS OpenDocument 1.3, part 3."""

from __future__ import annotations

import pytest

from scanner.errors import BookError
from scanner.sheets.grids import has_comments
from scanner.sheets.lists import CALL_LIST
from scanner.sheets.open_documents import read_open_document
from scanner.sheets.reader import read_sheet
from tests.open_documents import document, row, told


def cells(tmp_path, *rows, **more):
    path = tmp_path / "calls.ods"
    path.write_bytes(document(*rows, **more))
    (_, first), *_ = read_open_document(path)
    return first


@pytest.mark.parametrize(
    ("cell", "text"),
    [
        # An id formatted 000 is a number that is shown as 007 (19.385 office:value)
        (told("007", 'office:value-type="float" office:value="7"'), "007"),
        (told("1,250.5", 'office:value-type="float" office:value="1250.5"'), "1250.5"),
        (told("3", 'office:value-type="float" office:value="2.75"'), "2.75"),
        (told("$1,400.00", 'office:value-type="currency" office:value="1400"'), "1400"),
        (told("13%", 'office:value-type="percentage" office:value="0.125"'), "12.5%"),
        (told("03/09/26", 'office:value-type="date" office:date-value="2026-03-09"'), "2026-03-09"),
        (told("x", 'office:value-type="date" office:date-value="2026-03-09T00:00:00"'), "2026-03-09"),
        (told("TRUE", 'office:value-type="boolean" office:boolean-value="true"'), "yes"),
        (told("8:30", 'office:value-type="time" office:time-value="PT08H30M00S"'), "8:30"),
        (told("NA"), "NA"),
        ("<table:table-cell><text:p>two<text:s text:c='3'/>words</text:p><text:p>more</text:p></table:table-cell>",
         "two   words\nmore"),
        ("<table:table-cell><office:annotation><text:p>a comment</text:p></office:annotation><text:p>gate</text:p></table:table-cell>",
         "gate"),
    ],
)  # fmt: skip
def test_a_cell_reads_as_it_is_shown(tmp_path, cell, text):
    assert cells(tmp_path, row(cell)) == [[text]]


def test_what_comes_more_than_once_is_there_as_often(tmp_path):
    blank = '<table:table-cell table:number-columns-repeated="2"/>'
    twice = (
        '<table:table-cell table:number-columns-repeated="2"><text:p>x</text:p></table:table-cell>'
    )
    merged = "<table:covered-table-cell/>"
    end = '<table:table-cell table:number-columns-repeated="16384"/>'
    rows = cells(tmp_path, row("a", blank, twice, merged, "b", end), row(end, times=2), row("c", times=2), row(end, times=1_048_571))  # fmt: skip
    assert rows == [["a", "", "", "x", "x", "", "b"], [], [], ["c"], ["c"]]


def test_what_was_deleted_under_tracked_changes_is_no_row(tmp_path):
    change = "<table:tracked-changes><table:cell-content-change><table:previous><table:change-track-table-cell><text:p>old</text:p></table:change-track-table-cell></table:previous></table:cell-content-change></table:tracked-changes>"
    assert cells(tmp_path, row("new"), after=change) == [["new"]]


def test_a_call_list_comes_back(tmp_path):
    path = tmp_path / "calls.ods"
    day = told("9 Mar", 'office:value-type="date" office:date-value="2026-03-09"')
    number = told("007", 'office:value-type="float" office:value="7"')
    path.write_bytes(document(row("Calls of March"), row("client_id", "called_on", "outcome", "note"), row(number, day, "visit", "gate")))  # fmt: skip
    rows, problems = read_sheet(path, CALL_LIST)
    assert problems == []
    told_of = rows[["client_id", "called_on", "outcome", "note"]]
    assert told_of.to_numpy().tolist() == [["007", "2026-03-09", "visit", "gate"]]
    assert not has_comments(path)


def test_a_comment_is_told_of(tmp_path):
    path = tmp_path / "calls.ods"
    path.write_bytes(
        document(row("<table:table-cell><office:annotation/><text:p>x</text:p></table:table-cell>"))
    )
    assert has_comments(path)


@pytest.mark.parametrize(
    "content", [b"PK", b"no zip", document()[:-30], document(row(told("x", 'office:value-type="float" office:value="x"')))]
)  # fmt: skip
def test_what_is_damaged_is_said(tmp_path, content):
    path = tmp_path / "calls.ods"
    path.write_bytes(content)
    with pytest.raises(BookError, match=r"calls\.ods is not a spreadsheet that can be opened"):
        read_open_document(path)
