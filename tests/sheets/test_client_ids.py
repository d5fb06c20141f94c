"""Ids that a spreadsheet turned into numbers."""

from __future__ import annotations

import pandas as pd
import pytest

from scanner.sheets.client_ids import match_ids

CLIENTS = pd.DataFrame({
    "client_id": ["007", "C0042", "12", "0012"], "name": ["Ada Quill", "Bo Tansy", "Cy", "Di"],
}, dtype="str")  # fmt: skip


@pytest.mark.parametrize(
    ("typed", "names", "found"),
    [
        (["7"], [""], ["007"]),
        (["7.0"], [""], ["007"]),
        ([" 007 "], [""], ["007"]),
        (["c0042"], [""], ["C0042"]),
        # 12 may be 12 or 0012: the name tells, or another id that kept its zeros
        (["12"], [""], [""]),
        (["12"], ["di"], ["0012"]),
        (["12", "007"], ["", ""], ["12", "007"]),
        (["0012"], [""], ["0012"]),
        (["12"], ["Eve"], [""]),
        (["42"], [""], [""]),
    ],
)
def test_ids_that_a_spreadsheet_turned_into_numbers(typed, names, found):
    ids, reasons = match_ids(
        pd.Series(typed, dtype="str"), CLIENTS, names=pd.Series(names, dtype="str")
    )
    assert ids.tolist() == found
    assert [not reason for reason in reasons] == [bool(client_id) for client_id in found]


def test_id_that_fits_two_clients_names_both():
    _, reasons = match_ids(pd.Series(["12"], dtype="str"), CLIENTS)
    assert (
        reasons.item()
        == "client_id '12' may stand for 12 or 0012: a spreadsheet drops leading zeros"
    )
