"""Free crew-days, week by week: what is read, what is left out, what is moved to its Monday."""

from __future__ import annotations

import pytest

from scanner.book.capacity import read_capacity

HEAD = "week,crew,free_crew_days\n"


def test_weeks_and_crews_are_read_in_order(tmp_path):
    (tmp_path / "capacity.csv").write_text(
        f"{HEAD}2027-04-12,B,2\n4/5/2027,A,1.5\n2027-04-12,A,0\n"
    )
    free, problems = read_capacity(tmp_path)
    assert free.to_numpy().tolist() == [
        ["2027-04-05", "A", 1.5], ["2027-04-12", "A", 0.0], ["2027-04-12", "B", 2.0],
    ]  # fmt: skip
    assert problems.empty


@pytest.mark.parametrize(
    ("row", "word"),
    [
        ("soon,A,2", "no day"), ("2027-04-05,A,-1", "from 0"), ("2027-04-05,A,two", "from 0"),
        ("2027-04-05,A,", "from 0"), ("2027-04-14,B,3", "stand there twice"),
    ],
)  # fmt: skip
def test_a_row_that_cannot_be_used_is_left_out_and_told(tmp_path, row, word):
    (tmp_path / "capacity.csv").write_text(f"{HEAD}2027-04-12,B,2\n{row}\n")
    free, problems = read_capacity(tmp_path)
    assert len(free) == 1
    assert problems["severity"].tolist() == ["fault"]
    assert word in problems["problem"].iloc[0]
    assert problems["feature"].tolist() == ["row 3"]


def test_a_file_that_is_no_such_table_is_a_fault_and_none_is_none(tmp_path):
    assert [len(table) for table in read_capacity(tmp_path)] == [0, 0]
    (tmp_path / "capacity.csv").write_text("month,days\nApril,12\n")
    free, problems = read_capacity(tmp_path)
    assert free.empty
    assert "no column week" in problems["problem"].iloc[0]
