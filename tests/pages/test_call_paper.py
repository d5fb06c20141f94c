from __future__ import annotations

import io
import re
from dataclasses import replace
from functools import partial

import pandas as pd
import pytest
from openpyxl import load_workbook

from scanner.book.filled_sheet import check_calls, read_added, read_filled, sheet_kind
from scanner.pages.call_list import call_rows, left_out_rows
from scanner.pages.call_sheet import calls_xlsx, short_say
from scanner.schema.log_tables import OUTCOMES
from scanner.sheets.call_paper import TICKS
from scanner.sheets.lists import CALL_LIST
from scanner.sheets.paper import HEADING_PT
from scanner.sheets.reader import read_sheet
from scanner.sheets.writer import LINE_PT, PAD_PT
from tests.small_scan import FORMULA_NAME, TODAY, small_scan

HEADINGS = [
    "#", "Client", "Phone", "What to say", "If asked", "Route", "Last said", "Called on", "Answer", "Note", "Next",
]  # fmt: skip
PT_PER_LETTER, PT_PER_IN, LETTER_PT, A4_PT = 5.25, 72, (792, 612), (842, 595)
CALLED, ANSWER, NOTE, NEXT = 8, 9, 10, 11


def write(scan, rows=None):
    file = io.BytesIO()
    calls_xlsx(file, scan, rows or call_rows(scan), left_out_rows(scan))
    return file


@pytest.fixture(scope="module")
def sheet():
    return load_workbook(write(small_scan()), rich_text=True)["Calls"]


def row_of(sheet, client_id):
    return next(
        cells[0].row
        for cells in sheet.iter_rows(min_row=2)
        if str(cells[1].value).endswith(client_id)
    )


def test_eleven_plain_columns(sheet):
    assert [cell.value for cell in sheet[1]] == HEADINGS
    client = sheet.cell(row_of(sheet, "C0001"), 2)
    assert str(client.value).split("\n") == ["Ada Quill", "100 Prairie Lane", "C0001"]
    assert client.value[0].font.b  # the name is bold


def test_one_page_wide_on_letter_and_on_a4(sheet):
    assert sheet.page_setup.orientation == "landscape"
    assert (sheet.sheet_properties.pageSetUpPr.fitToPage, sheet.page_setup.fitToHeight) == (True, 0)
    widths_pt = sum(
        sheet.column_dimensions[letter].width * PT_PER_LETTER for letter in "ABCDEFGHIJK"
    )
    margins_pt = (sheet.page_margins.left + sheet.page_margins.right) * PT_PER_IN
    for wide_pt, _ in (LETTER_PT, A4_PT):
        assert widths_pt + margins_pt <= wide_pt + 0.5


def test_eight_usual_rows_fill_a_page(sheet):
    usual_pt = min(sheet.row_dimensions[row].height for row in range(2, sheet.max_row + 1))
    margins_pt = (sheet.page_margins.top + sheet.page_margins.bottom) * PT_PER_IN
    for _, high_pt in (LETTER_PT, A4_PT):
        room_pt = high_pt - margins_pt - HEADING_PT
        assert room_pt // usual_pt == 8
        # A row of seven lines, or the heading above who is under way, moves no client to the next page
        assert 7 * usual_pt + 7 * LINE_PT + PAD_PT <= room_pt
        assert 8 * usual_pt + HEADING_PT <= room_pt


def test_every_page_has_headings_company_day_and_number(sheet):
    assert sheet.print_title_rows == "$1:$1"
    head, foot = sheet.oddHeader, sheet.oddFooter
    assert head.left.text.endswith(
        "\nMeadow Example Lawn Care · list of February 16, 2026 · best call first"
    )
    assert head.right.text.startswith("Caller")
    assert foot.right.text == "Page &P of &N"


def test_a_long_company_name_takes_no_page_its_head():
    scan = small_scan()
    company = scan.rules.company.model_copy(update={"name": "Meadow & Example Lawn Care " * 12})
    rules = scan.rules.model_copy(update={"company": company})
    head = load_workbook(write(replace(scan, rules=rules)))["Calls"].oddHeader
    assert "Meadow && Example" in head.left.text
    assert head.left.text.endswith("best call first")
    assert head.right.text.startswith("Caller")


def test_a_row_is_as_high_as_its_text():
    scan = small_scan()
    rows = [row | {"last_note": "gate code 12, dog, " * 12} for row in call_rows(scan)]
    long = load_workbook(write(scan, rows))["Calls"]
    # 228 letters at some 5 points each, in a column of 70 points: 17 lines or more, of 11 points each
    assert long.row_dimensions[2].height > 17 * 10.9


def test_answers_are_ticks_on_paper_and_all_eight_in_the_drop_down(sheet):
    assert TICKS.split("\n") == ["☐ not reached", "☐ call back", "☐ visit", "☐ not now", "☐ no"]
    assert {sheet.cell(row, ANSWER).value for row in range(2, sheet.max_row + 1)} == {TICKS}
    checks = {str(check.sqref)[0]: check for check in sheet.data_validations.dataValidation}
    assert checks["I"].formula1 == f'"{",".join(OUTCOMES)}"'
    assert checks["H"].type == "date"


def under_way(scan):
    """Bo Tansy was quoted twelve days before today and has asked about the date."""
    row = {"client_id": "C0002", "stage": "quote open", "day": "2026-02-04", "words": "quoted on Feb 4, open for 12 days; Q2026-001: C0002-curb-1, $1,650",
           "last_contact": "2026-02-04", "last_outcome": "quoted", "last_note": "asks for May",
           "due_action": "Call and ask", "due_date": ""}  # fmt: skip
    is_left = scan.calls["client_id"] == "C0002"
    calls = scan.calls.assign(left_out=scan.calls["left_out"].mask(is_left, "under way: quoted"))
    return replace(scan, calls=calls, under_way=pd.DataFrame([row]))


def test_who_is_under_way_follows_the_ranked_rows_without_a_number(tmp_path):
    scan = under_way(small_scan())
    path = tmp_path / "calls.xlsx"
    path.write_bytes(write(scan).getvalue())
    workbook = load_workbook(path)
    sheet = workbook["Calls"]
    numbers = [sheet.cell(row, 1).value for row in range(2, sheet.max_row + 1)]
    assert numbers[-2:] == [None, None]
    assert [sheet.cell(sheet.max_row - 1, place).value for place in (2, 4)] == ["Under way", None]
    row = row_of(sheet, "C0002")
    assert row == sheet.max_row
    assert str(sheet.cell(row, 4).value).split("\n") == [
        "Quoted on Feb 4, open for 12 days; Q2026-001: C0002-curb-1, $1,650.", "Call and ask",
    ]  # fmt: skip
    assert sheet.cell(row, 7).value == "Feb 4, quoted: asks for May"
    assert str(sheet.cell(row, ANSWER).value).split("\n")[3] == "☐ sold"
    unanswered, problems = read_filled(
        path, "calls", partial(check_calls, clients=scan.clients, today=TODAY)
    )
    assert (len(unanswered), len(problems)) == (0, 0)
    for place, text in ((CALLED, "2/16"), (ANSWER, "x sold\n☐ no")):
        sheet.cell(row, place).value = text
    workbook.save(path)
    calls, problems = read_filled(
        path, "calls", partial(check_calls, clients=scan.clients, today=TODAY)
    )
    assert problems.empty
    assert calls[["client_id", "called_on", "outcome"]].to_numpy().tolist() == [
        ["C0002", "2026-02-16", "sold"]
    ]


def test_a_client_with_nothing_but_an_id_has_a_row():
    scan = small_scan()
    rows = [row | {"name": "", "address": ""} for row in call_rows(scan)]
    assert load_workbook(write(scan, rows))["Calls"]["B2"].value == "C0009"


def test_the_offices_own_columns_come_back_beside_the_page(tmp_path):
    """Eleven columns fill the page's width; what the office added stands behind them, is read, and is not printed."""
    scan = small_scan()
    own = scan.own.assign(Gate="12#", answer="ours")
    path = tmp_path / "calls.xlsx"
    path.write_bytes(write(replace(scan, own=own)).getvalue())
    sheet = load_workbook(path)["Calls"]
    assert [cell.value for cell in sheet[1]] == [
        *HEADINGS,
        "Gate",
    ]  # the sheet has an Answer of its own
    assert sheet.print_area.startswith("'Calls'!$A$1:$K$")
    sheet.cell(row_of(sheet, "C0001"), 12).value = "14#"
    sheet.parent.save(path)
    added, strange = read_added(path, scan.clients)
    gates = added[(added["heading"] == "Gate") & (added["client_id"] == "C0001")]["text"]
    assert strange == []
    assert sorted(gates) == ["12#", "14#"]  # Figures has it as it was


def test_finishes_if_asked_are_the_others_rounded_up_to_ten_dollars(sheet):
    scan = small_scan()
    row = next(row for row in call_rows(scan) if row["client_id"] == "C0001")
    told = str(sheet.cell(row_of(sheet, "C0001"), 5).value).split("\n")
    assert len(told) == 3
    for line in told:
        price = int(re.sub(r"[^\d]", "", line))
        assert price % 10 == 0
        assert any(
            0 <= price - row[f"price_{finish}_usd"] < 10
            for finish in ("mulch", "accent", "planted", "gravel")
        )


def test_what_is_said_stays_in_the_row():
    usual = "We could put a bed along 44 ft of your curb, mulch and 7 low plants, about $1,820 ($1,350 to $2,600 until we measure)."
    more = " With 25 ft at the house front, all in one job, about $3,250."
    assert short_say(usual + " No more trimming there.") == usual + " No more trimming there."
    # five lines of some 30 letters: the trimming goes first, then the larger job
    assert short_say(usual + " No more trimming there." + more) == usual
    short = "We could put a bed along 9 ft of the walk, mulch, about $640 ($500 to $900)."
    assert short_say(short + " No more trimming there." + more) == short + more


def test_last_words_and_what_is_due_stand_on_the_sheet():
    scan = small_scan()
    calls = scan.calls.assign(
        last_outcome="call back",
        last_note="gate code 12#",
        due_action="ring",
        due_date="2026-02-20",
        last_contact="2026-02-02",
    )
    workbook = load_workbook(write(replace(scan, calls=calls)))
    assert workbook["Calls"]["G2"].value == "Due Feb 20: ring\nFeb 2, call back: gate code 12#"


def fill(path, changes, *, name="Calls"):
    path.write_bytes(write(small_scan()).getvalue())
    workbook = load_workbook(path)
    sheet = workbook[name]
    for client_id, cells in changes.items():
        row = row_of(sheet, client_id)
        for column, value in cells.items():
            sheet.cell(row, column).value = value
    workbook.save(path)
    return path


def test_what_is_filled_in_on_the_paper_sheet_is_read(tmp_path):
    path = fill(tmp_path / "calls.xlsx", {
        "C0001": {CALLED: "2026-02-16", ANSWER: "visit", NOTE: "gate 12#", NEXT: "2/20 measure both"},
        "C0002": {CALLED: "2026-02-16", ANSWER: TICKS.replace("☐ no\n", "☒ no\n").replace("☐ not now", "x not now")},
        "C0009": {CALLED: "2026-02-15", ANSWER: "do not call", NEXT: "tell the crew"},
    })  # fmt: skip
    assert sheet_kind(path) == "calls"
    scan = small_scan()
    calls, problems = read_filled(
        path, "calls", partial(check_calls, clients=scan.clients, today=TODAY)
    )
    assert problems.empty
    rows = calls.set_index("client_id")[
        ["called_on", "outcome", "note", "next_action", "next_date"]
    ]
    assert {client_id: tuple(row) for client_id, row in zip(rows.index, rows.to_numpy(), strict=True)} == {
        "C0009": ("2026-02-15", "do not call", "", "tell the crew", ""),
        "C0001": ("2026-02-16", "visit", "gate 12#", "measure both", "2026-02-20"),
        "C0002": ("2026-02-16", "not now", "", "", ""),
    }  # fmt: skip


def test_both_sheets_filled_in_are_both_read(tmp_path):
    path = fill(tmp_path / "calls.xlsx", {"C0001": {CALLED: "2026-02-16", ANSWER: "no"}})
    workbook = load_workbook(path)
    figures = workbook["Figures"]
    heads = {cell.value: cell.column for cell in figures[1]}
    row = next(cells[0].row for cells in figures.iter_rows(min_row=2) if cells[1].value == "C0002")
    figures.cell(row, heads["called_on"]).value = "2026-02-16"
    figures.cell(row, heads["outcome"]).value = "call back"
    copy = workbook.copy_worksheet(workbook["Calls"])
    copy.title = "March"
    copy.cell(row_of(copy, "C0003"), CALLED).value = "2026-02-16"
    copy.cell(row_of(copy, "C0003"), ANSWER).value = "visit"
    workbook.save(path)
    calls, problems = read_filled(
        path, "calls", partial(check_calls, clients=small_scan().clients, today=TODAY)
    )
    assert problems.empty
    told = {*calls[["client_id", "outcome"]].itertuples(index=False, name=None)}
    assert told == {("C0001", "no"), ("C0002", "call back"), ("C0003", "visit")}


def test_a_sheet_as_printed_holds_nothing_and_gives_names_and_ids_back(tmp_path):
    rows, problems = read_sheet(fill(tmp_path / "calls.xlsx", {}), CALL_LIST)
    assert not problems
    assert not rows[[*CALL_LIST.filled_in]].to_numpy().any()
    listed = {row["client_id"]: row["name"] for row in call_rows(small_scan())}
    paper = rows[: len(listed)]
    assert dict(zip(paper["client_id"], paper["name"], strict=True)) == listed
    assert FORMULA_NAME in set(paper["name"])
