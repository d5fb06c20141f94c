"""Call lists as they come back: spreadsheet habits lived with, faulty rows listed."""

from __future__ import annotations

from datetime import date, datetime
from functools import partial

import openpyxl
import pandas as pd
import pytest

from scanner.book.filled_sheet import (
    MEANT,
    check_calls,
    plain_outcome,
    read_added,
    read_filled,
    sheet_kind,
)
from scanner.errors import BookError
from scanner.schema.log_tables import OUTCOMES

TODAY = date(2027, 3, 5)
CLIENTS = pd.DataFrame({
    "client_id": ["007", "C0042", "12", "0012"], "name": ["Ada Quill", "Bo Tansy", "Cy", "Di"],
}, dtype="str")  # fmt: skip
HEADER = [
    "rank",
    "client_id",
    "name",
    "bed_ids",
    "called_on",
    "outcome",
    "note",
    "next_action",
    "next_date",
]


def sheet(path, *rows, header=HEADER, title="Calls"):
    workbook = openpyxl.Workbook()
    workbook.active.title = title
    for row in (header, *rows):
        workbook.active.append(row)
    workbook.save(path)
    return path


def text(
    path, *lines, header="client_id,name,bed_ids,called_on,outcome,note,next_action,next_date"
):
    path.write_text("\n".join([header, *lines]) + "\n", encoding="utf-8")
    return path


def read(path):
    return read_filled(path, "calls", partial(check_calls, clients=CLIENTS, today=TODAY))


def test_rows_that_were_filled_in_come_back(tmp_path):
    path = sheet(
        tmp_path / "calls.xlsx",
        [1, "C0042", "Bo Tansy", "C0042-curb-1", datetime.fromisoformat("2027-03-02"), "visit", "gate", "measure", date(2027, 3, 12)],
        [2, "007", "Ada Quill", "007-curb-1", None, None, None, None, None],
    )  # fmt: skip
    calls, problems = read(path)
    assert calls.to_dict("records") == [{
        "client_id": "C0042", "called_on": "2027-03-02", "outcome": "visit", "note": "gate",
        "next_action": "measure", "next_date": "2027-03-12", "bed_ids": "C0042-curb-1",
        "price_cents": 0,
    }]  # fmt: skip
    assert len(problems) == 0


def test_days_decide_the_order_and_the_rows_keep_their_number(tmp_path):
    path = text(tmp_path / "a.csv", "C0042,,,2027-03-03,visit,,,", "007,,,2027-03-01,no,,,")
    calls, _ = read(path)
    assert calls["client_id"].to_dict() == {3: "007", 2: "C0042"}


def test_habits_of_spreadsheets(tmp_path):
    """Another order and more columns, rows deleted, the sheet renamed and moved, ids and days as numbers."""
    workbook = openpyxl.Workbook()
    workbook.active.title = "Notes of the team"
    workbook.active.append(["who", "what"])
    tuesday = workbook.create_sheet("Tuesday")
    tuesday.append(["Outcome", "my column", "CALLED ON", "client_id", "name", "note"])
    tuesday.append(["Not reached", 1, 46447, 7, "Ada Quill", None])
    tuesday.append([None, 2, None, "C0042", None, None])
    tuesday.append(["call-back", 3, "3/2/2027", "c0042", None, "'=later"])
    workbook.save(tmp_path / "mine.xlsx")
    calls, problems = read(tmp_path / "mine.xlsx")
    assert calls[["client_id", "called_on", "outcome", "note"]].to_numpy().tolist() == [
        ["007", "2027-03-01", "not reached", ""],
        ["C0042", "2027-03-02", "call back", "=later"],
    ]
    assert len(problems) == 0


@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
def test_text_of_other_countries(tmp_path, delimiter):
    row = delimiter.join(["C0042", "", "", "2027-03-02", "visit", "Zoë", "", ""])
    header = "client_id,name,bed_ids,called_on,outcome,note,next_action,next_date".replace(
        ",", delimiter
    )
    path = tmp_path / "calls.csv"
    path.write_bytes(f"{header}\r\n{row}\r\n".encode("utf-8-sig"))
    assert read(path)[0]["note"].tolist() == ["Zoë"]


@pytest.mark.parametrize(
    ("line", "problem", "remedy"),
    [
        ("C0099,,,2027-03-02,visit,,,", "client_id 'C0099' is not in the client list", "put the id right"),
        (",,,2027-03-02,visit,,,", "client_id is blank", "put the id right"),
        ("C0042,,,2027-03-02,maybe,,,", "outcome 'maybe' is none of not reached, call back", "write one"),
        ("C0042,,,2027-03-02,,,,", "called_on is filled in, and neither an outcome nor a note", "kept as a note"),
        ("C0042,,,,note,,,", "there is no word in the note", "write what is to be kept"),
        ("C0042,,,soon,,likes roses,,", "called_on is 'soon', which is no day", "year-month-day"),
        ("C0042,,,,,,,3/1", "next_date 2027-03-01 is before the call on 2027-03-05", "put one"),
        ("C0042,,,,visit,,,", "called_on is blank, which is no day", "year-month-day"),
        ("C0042,,,3/32/2027,visit,,,", "called_on is '3/32/2027', which is no day", "year-month-day"),
        ("C0042,,,2027-03-06,visit,,,", "called_on 2027-03-06 is after today, 2027-03-05", "clock is wrong"),
        ("C0042,,,2024-12-31,visit,,,", "called_on 2024-12-31 is more than 2 years from today, 2027-03-05", "year right"),
        ("C0042,,,2027-03-02,visit,,,3/9/62", "next_date 2062-03-09 is more than 2 years from today", "year right"),
        ("C0042,,,2027-03-02,visit,,,soon", "next_date is 'soon', which is no day", "year-month-day"),
        ("C0042,,,2027-03-02,visit,,,2027-03-01", "next_date 2027-03-01 is before the call on", "put one"),
    ],
)  # fmt: skip
def test_faulty_row_is_listed_and_the_rest_kept(tmp_path, line, problem, remedy):
    path = text(tmp_path / "calls.csv", "007,,,2027-03-05,sold,,,2027-03-05", line)
    calls, problems = read(path)
    assert calls["client_id"].tolist() == ["007"]
    told = problems.iloc[0]
    assert (told["file"], told["feature"], told["severity"]) == ("calls.csv", "row 3", "fault")
    assert told["problem"].startswith(problem)
    assert told["problem"].endswith("the row is left out")
    assert remedy in told["remedy"]
    assert len(problems) == 1


@pytest.mark.parametrize(
    ("cells", "told"),
    [
        # what is told: day, note, next action, next date; today is March 5
        ("C0042,,,,,likes roses,,", ["2027-03-05", "likes roses", "", ""]),
        ("C0042,,,,,,,3/19", ["2027-03-05", "", "", "2027-03-19"]),
        ("C0042,,,,,,measure,", ["2027-03-05", "", "measure", ""]),
        ("C0042,,,3/2,Note,likes roses,,", ["2027-03-02", "likes roses", "", ""]),
    ],
)
def test_a_row_without_an_answer_is_a_note(tmp_path, cells, told):
    calls, problems = read(text(tmp_path / "calls.csv", cells))
    assert calls["outcome"].tolist() == ["note"]
    assert calls[["called_on", "note", "next_action", "next_date"]].iloc[0].tolist() == told
    assert problems.empty


def test_a_day_without_an_answer_is_asked_about_and_kept_as_a_note(tmp_path):
    calls, problems = read(text(tmp_path / "calls.csv", "007,,,2027-03-02,,likes roses,,"))
    assert calls[["called_on", "outcome"]].to_numpy().tolist() == [["2027-03-02", "note"]]
    assert problems[["feature", "severity"]].to_numpy().tolist() == [["row 2", "note"]]
    assert "no answer stands beside the day" in problems["problem"].item()


def test_a_note_without_its_day_is_known_by_its_words(tmp_path):
    """Read again in April, a list of March notes nothing anew; other words are of April."""
    path = text(tmp_path / "calls.csv", "C0042,,,,,likes roses,,", "007,,,,,likes roses,,")
    said = pd.DataFrame(
        [("C0042", "2027-03-01", "note", "likes roses", "", ""), ("007", "2027-03-01", "no", "likes roses", "", "")],
        columns=["client_id", "called_on", "outcome", "note", "next_action", "next_date"],
    )  # fmt: skip
    check = partial(check_calls, clients=CLIENTS, today=TODAY, on_record=said)
    calls, _ = read_filled(path, "calls", check)
    assert calls.set_index("client_id")["called_on"].to_dict() == {
        "C0042": "2027-03-01", "007": "2027-03-05",
    }  # fmt: skip


def test_list_that_nobody_filled_in_is_nothing(tmp_path):
    calls, problems = read(text(tmp_path / "calls.csv"))
    assert (len(calls), len(problems)) == (0, 0)


@pytest.mark.parametrize("outcome", OUTCOMES)
def test_outcomes_however_typed(outcome):
    for typed in (outcome, outcome.upper(), outcome.replace(" ", "-"), f" {outcome.title()} "):
        assert plain_outcome(typed) == outcome


@pytest.mark.parametrize(
    ("typed", "outcome"),
    [("Voicemail", "not reached"), ("left message", "not reached"), ("no answer", "not reached"),
     ("callback", "call back"), ("not interested", "no"), ("DNC", "do not call")],
)  # fmt: skip
def test_outcomes_that_people_write_have_one_meaning(typed, outcome):
    assert plain_outcome(typed) == outcome


@pytest.mark.parametrize("typed", ["maybe", "yes", "later", "quote", "answer"])
def test_outcomes_that_may_mean_two_things_mean_none(typed):
    assert plain_outcome(typed) not in OUTCOMES


def test_other_words_stand_for_one_outcome_each():
    words = [word for typed in MEANT.values() for word in typed]
    assert len(words) == len(set(words))
    assert set(MEANT) == set(OUTCOMES)
    assert not set(words) & set(OUTCOMES)


def test_both_of_two_copies_are_read_and_a_fault_names_its_sheet(tmp_path):
    path = sheet(tmp_path / "calls.xlsx", [1, "C0042", "", "", "2027-03-01", "no", "", "", ""])
    workbook = openpyxl.load_workbook(path)
    march = workbook.copy_worksheet(workbook["Calls"])
    march.title = "March"
    march["B2"], march["F2"] = "007", "left message"
    march.append([2, "C0042", "", "", "soon", "sold", "", "", ""])
    workbook.save(path)
    calls, problems = read(path)
    assert calls[["client_id", "outcome"]].to_numpy().tolist() == [["C0042", "no"], ["007", "not reached"]]  # fmt: skip
    assert problems["feature"].tolist() == ["sheet March, row 3"]


def test_list_with_headings_of_somebodys_own(tmp_path):
    path = text(tmp_path / "a.csv", "C0042,9-Mar-26,visit,gate", header="Client ID,Date called,Result,Notes:")  # fmt: skip
    calls, problems = read(path)
    assert problems.empty
    assert calls.loc[2, ["called_on", "outcome", "note"]].tolist() == ["2026-03-09", "visit", "gate"]  # fmt: skip


@pytest.mark.parametrize(
    ("header", "kind"),
    [
        ("client_id,called_on,outcome", "calls"),
        ("Outcome,extra,Client_ID,Called On", "calls"),
        ("job_id,bed_ids,built_on,task,actual_hours", "jobs"),
        ("client_id,seen_on,turf to curb", "checklist"),
        ("client_id,curbed", "checklist"),
    ],
)
def test_sheet_is_known_by_its_columns(tmp_path, header, kind):
    assert sheet_kind(text(tmp_path / "a.csv", "x", header=header)) == kind


def test_sheet_is_known_wherever_it_stands_in_the_workbook(tmp_path):
    path = sheet(tmp_path / "a.xlsx", header=["who", "what"])
    workbook = openpyxl.load_workbook(path)
    workbook.create_sheet("B").append(["client_id", "called_on", "outcome"])
    workbook.save(path)
    assert sheet_kind(path) == "calls"


def test_strange_sheet_is_a_sentence(tmp_path):
    with pytest.raises(BookError, match=r"a.csv: this is no call list .* nothing was recorded"):
        sheet_kind(text(tmp_path / "a.csv", "x", header="who,what"))


def test_a_day_that_cannot_be_month_first_puts_its_column_in_doubt(tmp_path):
    """25.02.2026 is February 25; so 05.03.2026 is hardly May 3, nor is what a spreadsheet made a date of surely one."""
    path = text(
        tmp_path / "a.csv",
        "007,,,25.02.2026,no,,,", "C0042,,,05.03.2026,no,,,", "0012,,,2026-03-01,no,,,",
    )  # fmt: skip
    calls, problems = read(path)
    assert calls.empty
    assert problems["feature"].tolist() == ["row 2", "row 3", "row 4"]
    assert (
        problems["problem"].str.contains("'25.02.2026' in row 2 has its day before its month").all()
    )
    assert problems["remedy"].eq("write the whole column year-month-day, as 2027-03-14").all()


@pytest.mark.parametrize(
    ("called_on", "next_date", "days"),
    [
        # today is March 5, 2027: a call was on the nearest such day, what comes next lies up to 300 days on
        ("3/2", "3/12", ("2027-03-02", "2027-03-12")),
        ("Mar 2", "12/10", ("2027-03-02", "2027-12-10")),  # 283 days on
        ("12/10", "1/4", ("2026-12-10", "2027-01-04")),  # 85 days ago
        ("9/5", "", ("2026-09-05", "")),  # 181 days ago; the next one is 184 days off
    ],
)
def test_days_without_a_year_are_the_nearest(tmp_path, called_on, next_date, days):
    path = text(tmp_path / "a.csv", f"007,,,{called_on},visit,,,{next_date}")
    calls, problems = read(path)
    assert problems.empty
    assert calls[["called_on", "next_date"]].to_numpy().tolist() == [[*days]]


@pytest.mark.parametrize(
    ("called_on", "next_date", "problem"),
    [
        ("3/6", "", "called_on 2027-03-06 is after today, 2027-03-05"),
        ("9/1", "", "called_on 2027-09-01 is after today, 2027-03-05"),  # 180 days on, 185 back
        ("3/2", "3/1", "next_date 2027-03-01 is before the call on 2027-03-02"),
        ("3/2", "1/4", "next_date 2027-01-04 is before the call on 2027-03-02"),  # the next is 308 days on
        ("25/2", "", "called_on is '25/2'; '25/2' in row 2 has its day before its month"),
    ],
)  # fmt: skip
def test_a_day_without_a_year_that_cannot_be_is_refused(tmp_path, called_on, next_date, problem):
    calls, problems = read(text(tmp_path / "a.csv", f"007,,,{called_on},visit,,,{next_date}"))
    assert calls.empty
    assert problems["problem"].iloc[0].startswith(problem)


def test_a_row_whose_name_is_another_clients_is_left_out(tmp_path):
    """One column was sorted alone: the wrong client would never be called again."""
    path = text(
        tmp_path / "a.csv",
        "007,Bo Tansy,,2026-03-01,do not call,,,",
        "12,Cy Nobody,,2026-03-01,no,,,",
    )
    calls, problems = read(path)
    assert calls["client_id"].tolist() == ["12"]  # a name that is nobody's is a slip of the pen
    assert problems["problem"].tolist() == [
        "client_id is 007, but the name 'Bo Tansy' is C0042's; the row is left out"
    ]


# The columns of the two versions before: without what to say, finishes and last notes, with what the chance rested on
BEFORE = [
    "rank", "client_id", "name", "address", "phone", "route", "mow_day", "stop", "offer",
    "bed_ids", "bed_count", "edge_ft", "area_ft2", "crew_days", "price_usd", "price_low_usd",
    "price_high_usd", "gross_profit_usd", "chance", "chance_low", "chance_high",
    "expected_profit_usd", "profit_per_crew_day_usd", "profit_per_selling_hour_usd", "confirmed",
    "reasons", "cautions", "last_contact", "last_outcome", "called_on", "outcome", "note",
    "next_action", "next_date", "change", "chance_calls",
]  # fmt: skip


def test_a_list_of_the_version_before_is_read_like_a_new_one(tmp_path):
    """It lay on the office's desk: filled in, with a column of the office's own, and words beside beds to be seen."""
    row = dict.fromkeys([*BEFORE, "postcard"], "")
    row |= {
        "client_id": "C0042", "name": "Bo Tansy", "phone": "402-555-0142", "chance_calls": 120, "called_on": "3/2/27",
        "outcome": "left message", "note": "gate 47", "postcard": "sent",
    }  # fmt: skip
    path = sheet(tmp_path / "calls.xlsx", [*row.values()], header=[*row])
    workbook = openpyxl.load_workbook(path)
    unseen = workbook.create_sheet("To be seen")
    unseen.append(["route", "client_id", "name", "bed_id", "to_look_at", "seen by"])
    unseen.append(
        ["East", "007", "Ada Quill", "007-house-1", "does turf run up to the house front?", "Kim"]
    )
    workbook.create_sheet("About").append(["What this is", "Whom to call"])
    workbook.save(path)
    calls, problems = read(path)
    assert calls[["client_id", "called_on", "outcome", "note"]].to_numpy().tolist() == [
        ["C0042", "2027-03-02", "not reached", "gate 47"]
    ]
    assert problems.empty
    cells, strange = read_added(path, CLIENTS)
    assert sorted(map(tuple, cells[cells["text"] != ""].to_numpy().tolist())) == [
        ("007", "seen by", "Kim"), ("C0042", "phone", "402-555-0142"), ("C0042", "postcard", "sent"),
    ]  # fmt: skip
    assert strange == []
