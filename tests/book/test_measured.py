"""Edges measured on foot."""

from __future__ import annotations

import pandas as pd
import pytest

from scanner.book.measured import read_measured

CLIENTS = pd.DataFrame({"client_id": ["A"], "name": ["Ada"]}, dtype="str")
HEADER = "client_id,along,length_ft,room_ft,openings_ft,note\n"


def read(tmp_path, text):
    path = tmp_path / "measured.csv"
    path.write_text(text)
    return read_measured(path, CLIENTS)


def test_good_rows(tmp_path):
    measured, problems = read(tmp_path, HEADER + "A,Curb,70,,18,drive\nA,house,40,6.5,,\n")
    assert problems.empty
    assert measured["along"].tolist() == ["curb", "house"]
    assert measured["openings_ft"].tolist() == [18.0, 0.0]
    assert measured["room_ft"].isna().tolist() == [True, False]
    assert measured["row"].tolist() == [2, 3]


@pytest.mark.parametrize(
    ("row", "reason"),
    [
        ("B,curb,70,,,", "not in the client list"),
        (",curb,70,,,", "not in the client list"),
        ("A,kerb,70,,,", "'kerb'"),
        ("A,curb,sixty,,,", "'sixty'"),
        ("A,curb,,,,", "length_ft is blank"),
        ("A,curb,0,,,", "'0'"),
        ("A,curb,5001,,,", "no lot has"),
        ("A,curb,70,-3,,", "'-3'"),
        ("A,curb,70,0,,", "no lawn"),
        ("A,curb,70,,many,", "'many'"),
        ("A,curb,20,,20,", "not less than"),
    ],
)
def test_faulty_row_is_left_out_and_told(tmp_path, row, reason):
    measured, problems = read(tmp_path, f"{HEADER}A,curb,5000,,,\n{row}\n")
    assert measured["row"].tolist() == [2]
    assert problems["feature"].tolist() == ["row 3"]
    assert reason in problems.loc[0, "problem"]
    assert problems.loc[0, "remedy"]


def test_lengths_and_ids_as_people_write_them(tmp_path):
    path = tmp_path / "measured.csv"
    path.write_text(HEADER + "7,curb,24' 6\",20 ft,,\n7,house,40',,3 feet,\n", encoding="utf-8")
    clients = pd.DataFrame({"client_id": ["007"], "name": ["Ada"]}, dtype="str")
    measured, problems = read_measured(path, clients)
    assert problems.empty
    assert measured["client_id"].tolist() == ["007", "007"]
    # 24 ft and 6 in
    assert measured["length_ft"].tolist() == [24.5, 40.0]
    assert measured["openings_ft"].tolist() == [0.0, 3.0]


def test_file_in_which_every_row_is_faulty(tmp_path):
    measured, problems = read(tmp_path, HEADER + "A,kerb,70,,,\nA,curb,far,,,\n")
    assert measured.empty
    assert problems["feature"].tolist() == ["row 2", "row 3"]


def test_no_file_is_no_fault(tmp_path):
    measured, problems = read_measured(tmp_path / "measured.csv", CLIENTS)
    assert measured.empty
    assert "length_ft" in measured
    assert problems.empty


def test_empty_file_is_a_fault(tmp_path):
    measured, problems = read(tmp_path, "")
    assert measured.empty
    assert problems["severity"].tolist() == ["fault"]
    assert "is empty" in problems.loc[0, "problem"]


def test_a_length_far_over_the_frontage_is_asked_about_and_used(tmp_path):
    path = tmp_path / "measured.csv"
    path.write_text(
        HEADER + "A,curb,700,,,\nA,curb,180,,,\nA,house,700,,,\nB,curb,700,,,\n", encoding="utf-8"
    )
    clients = pd.DataFrame(
        {"client_id": ["A", "B"], "name": "", "frontage_ft": [60.0, float("nan")]}
    )
    measured, problems = read_measured(path, clients)
    assert len(measured) == 4
    assert problems["feature"].tolist() == ["row 2"]
    assert problems["severity"].tolist() == ["note"]
    assert "more than 3 times the frontage of 60 ft" in problems["problem"].iloc[0]
