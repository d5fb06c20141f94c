"""Spreadsheets as they are written: every text comes back, no row costs memory."""

from __future__ import annotations

import io
import tracemalloc
from datetime import date

from hypothesis import example, given
from hypothesis import strategies as st
from openpyxl import load_workbook

from scanner.sheets.description import Column, Sheet
from scanner.sheets.reader import read_sheet
from scanner.sheets.writer import Page, write_workbook
from tests.each import examples

DAY = date(2027, 3, 5)
SHEET = Sheet("Ours", (Column("client_id"), Column("note", is_filled_in=True)))


def write(rows, file=None):
    file = file or io.BytesIO()
    write_workbook(file, [Page(SHEET, rows)], ("About", []), title="B & Co", author="B", day=DAY)
    return file


def note_of(file):
    return load_workbook(file)["Ours"]["B2"].value


TEXT = st.text(
    alphabet=st.one_of(st.sampled_from("=+-@'<>r/&_x0 "), st.characters(categories=["L", "P"]))
)


@examples(10)
@given(st.lists(TEXT, min_size=10, max_size=20))
@example(["'=1+1", "''-", "_x0041_", "'tis"])
def test_every_text_comes_back(tmp_path_factory, texts):
    path = tmp_path_factory.mktemp("sheet") / "ours.xlsx"
    path.write_bytes(write([{"client_id": "007", "note": text} for text in texts]).getvalue())
    rows, _ = read_sheet(path, SHEET)
    told = rows[["client_id", "note"]].to_numpy().tolist()
    assert told == [["007", text.strip()] for text in texts]


def test_markup_of_the_library_is_text():
    assert note_of(write([{"client_id": "A", "note": "<r><t>x</t></r>"}])) == "<r><t>x</t></r> "


def test_what_rows_have_beside_stands_behind():
    sheet = load_workbook(write([{"client_id": "A", "note": "", "gate code": "4711"}]))["Ours"]
    assert [cell.value for cell in sheet[1]] == ["client_id", "note", "gate code"]
    assert sheet["C2"].value == "4711"


def test_ampersand_in_the_name_of_a_book_starts_no_code():
    assert load_workbook(write([]))["Ours"].oddHeader.left.text == "Ours: B && Co"


def test_rows_cost_no_memory():
    """Ten times the rows take no more: each goes to the disk before the next."""

    def peak(count):
        tracemalloc.start()
        write({"client_id": f"C{number}", "note": f"note {number}"} for number in range(count))
        most = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        return most

    peak(10)
    # 2,000 rows of two cells packed are some 25 KB; kept as cells they would be 1.2 MB
    assert peak(2_000) < peak(200) + 300_000


def test_every_workbook_of_a_process_looks_like_its_first():
    # The library writes into the look that it is handed; the fonts of the second said more
    first, *others = (write([{"note": "gate"}]).getvalue() for _ in range(3))
    assert others == [first, first]
