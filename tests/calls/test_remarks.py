"""What the office adds to its lists: by client, until the client list itself says otherwise."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pandas as pd
import pytest

from scanner.calls.log.reading import NO_SEASON
from scanner.calls.remarks import find_remarks, known_of, list_printed, own_columns, with_remarks
from scanner.schema.log_tables import CALL_LOG, PRINTED, REMARKS, VISITS
from scanner.schema.tables import empty_table
from tests.calls.calls_on_record import jobs

CLIENT_LIST = pd.DataFrame(
    {"client_id": ["A", "B"], "phone": ["402-555-0101", ""], "gate": ["12#", ""]}, dtype="str"
)
NONE = empty_table(REMARKS)


def found(*cells, remarks=NONE, printed=(), clients=CLIENT_LIST):
    table = pd.DataFrame(cells, columns=["client_id", "heading", "text"], dtype="str")
    known = pd.DataFrame([*printed], columns=[*PRINTED.columns], dtype="str")
    news, old = find_remarks(table, clients, remarks, known)
    return [tuple(row) for row in news.to_numpy()], [tuple(row) for row in old.to_numpy()]


@pytest.mark.parametrize(
    ("cell", "news"),
    [
        (("A", "phone", "402-555-0101"), []),  # as printed
        (("A", "phone", "(402) 555 0101"), []),  # as a spreadsheet writes it
        (
            ("A", "phone", "402-555-0101, his wife 0102"),
            [("A", "phone", "402-555-0101, his wife 0102", "402-555-0101")],
        ),
        (("B", "phone", "402-555-0102"), [("B", "phone", "402-555-0102", "")]),
        (("A", "phone", ""), []),  # a blank takes nothing back
        (("A", "gate", "13#"), [("A", "gate", "13#", "12#")]),
        (("A", "mood", "fine"), [("A", "mood", "fine", "")]),
    ],
)
def test_what_is_news(cell, news):
    assert found(cell) == (news, [])


def test_what_a_list_has_shown_once_is_an_old_list():
    cell = ("A", "phone", "402-555-0100")
    assert found(cell, printed=[cell]) == ([], [cell])


def test_two_sheets_of_one_list_of_which_one_is_put_right():
    cells = [("A", "phone", "402-555-0111"), ("A", "phone", "402-555-0101")]
    news = [("A", "phone", "402-555-0111", "402-555-0101")]
    remarks = pd.DataFrame(news, columns=[*REMARKS.columns])
    printed = [("A", "phone", "402-555-0101")]
    assert found(*cells, printed=printed) == (news, [])
    assert found(*cells, printed=printed, remarks=remarks) == ([], [])


def test_a_number_put_right_is_shown_until_the_client_list_says_another():
    remarks = pd.DataFrame(
        [("A", "phone", "402-555-0111", "402-555-0101")], columns=[*REMARKS.columns]
    )
    right = with_remarks(CLIENT_LIST, remarks)
    assert right["phone"].tolist() == ["402-555-0111", ""]
    assert found(("A", "phone", "402-555-0111"), remarks=remarks) == ([], [])
    shown = list_printed(right)
    assert ("A", "phone", "402-555-0111") in {*shown.itertuples(index=False, name=None)}
    newer = CLIENT_LIST.assign(phone=["402-555-0999", ""])
    assert with_remarks(newer, remarks)["phone"].tolist() == ["402-555-0999", ""]
    old = ("A", "phone", "402-555-0111")
    assert found(old, clients=newer, remarks=remarks, printed=shown.to_numpy().tolist()) == (
        [],
        [old],
    )


def test_columns_of_the_client_list_and_of_the_office_stand_side_by_side():
    remarks = pd.DataFrame(
        [("A", "gate", "13#", "12#"), ("B", "mood", "fine", ""), ("gone", "mood", "sad", "")],
        columns=[*REMARKS.columns],
    )
    right = with_remarks(CLIENT_LIST, remarks)
    assert own_columns(right, remarks).to_dict("index") == {
        "A": {"gate": "13#", "mood": ""}, "B": {"gate": "", "mood": "fine"},
    }  # fmt: skip


def test_who_goes_to_a_lot_knows_dog_gate_and_wishes_of_that_client_alone():
    clients = CLIENT_LIST.assign(notes=["shut the gate", ""])[
        ["client_id", "phone", "notes", "gate"]
    ]
    calls = pd.DataFrame(
        [(1, "A", "2027-02-01", "call back", "hates junipers"), (2, "A", "2027-03-02", "call back", "wants roses"),
         (3, "B", "2027-03-05", "no", "moving away"), (5, "A", "2027-03-11", "sold", "job Q2027-001"), (6, "A", "2027-03-12", "not reached", "")],
        columns=["entry_id", "client_id", "called_on", "outcome", "note"],
    ).reindex(columns=[*CALL_LOG.columns])  # fmt: skip
    visits = pd.DataFrame(
        [(4, "A", "2027-03-09", "Kim", "two steps", "t")], columns=[*VISITS.columns]
    )
    remarks = pd.DataFrame(
        [("A", "dog", "yes", ""), ("A", "phone", "402-555-0111", "402-555-0101"), ("B", "dog", "no", "")],
        columns=[*REMARKS.columns],
    )  # fmt: skip
    season = replace(
        NO_SEASON,
        calls=calls,
        visits=visits,
        remarks=remarks,
        jobs=jobs(("Q2027-001", 1500, 1200, 1800)),
    )
    today = date(2027, 3, 16)
    assert known_of(clients, season, "A", today=today) == [
        "shut the gate", "gate: 12#", "dog: yes", "Mar 2: wants roses", "Mar 9: two steps",
    ]  # fmt: skip
    assert known_of(clients, season, "B", today=today) == ["dog: no", "Mar 5: moving away"]
    assert known_of(clients, NO_SEASON, "B", today=today) == []
