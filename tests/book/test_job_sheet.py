"""Sheets of jobs: one row a task, what belongs to the job in its first row."""

from __future__ import annotations

import math
from datetime import date
from functools import partial
from pathlib import Path

import pandas as pd
import pytest

from scanner.book.filled_sheet import read_filled, sheet_kind
from scanner.book.job_sheet import check_jobs
from scanner.sheets.filled import JOB_SHEET
from tests.calls.desk import square, stored_of

TODAY = date(2027, 5, 20)
CLIENTS = pd.DataFrame({"client_id": ["A", "007"], "name": ["Ada", "Bo"]}, dtype="str")
STORED = stored_of(A_curb_1=square(), A_house_1=None, **{"007_curb_1": square()})
TEMPLATE = Path(__file__).parents[2] / "shared" / "templates" / "jobs.csv"


def read(tmp_path, *lines):
    path = tmp_path / "jobs.csv"
    path.write_text("\n".join([",".join(JOB_SHEET.names), *lines]) + "\n")
    check = partial(check_jobs, clients=CLIENTS, stored=STORED, today=TODAY)
    return read_filled(path, "jobs", check)


def test_job_with_its_tasks(tmp_path):
    told, actuals, problems = read(
        tmp_path,
        "12,A,A-curb-1 A-house-1,full planting,hand,2027-05-12,\"$4,200.50\",4300,gate,set edging,5.5,",
        ",,,,,,,,,plants,,820",
        "13,007,007-curb-1,,,,900,,,,,",
    )  # fmt: skip
    job = told.iloc[0]
    assert (job["job_id"], job["client_id"], job["bed_ids"]) == ("12", "A", "A-curb-1 A-house-1")
    assert (job["finish"], job["built_on"], job["note"]) == ("planted", "2027-05-12", "gate")
    assert (job["sold_cents"], job["invoiced_cents"]) == (420_050.0, 430_000.0)
    assert actuals["job_id"].tolist() == ["12", "12"]
    assert actuals["task"].tolist() == ["set edging", "plants"]
    assert actuals["actual_hours"].iloc[0] == 5.5
    assert actuals["actual_cents"].iloc[1] == 82_000.0
    assert math.isnan(actuals["actual_hours"].iloc[1])
    assert (told.iloc[1]["client_id"], told.iloc[1]["finish"]) == ("007", "")
    assert len(problems) == 0


def test_job_without_a_number_goes_by_its_first_bed_and_the_bed_names_the_client(tmp_path):
    told, actuals, _ = read(
        tmp_path, ",,\"A-curb-1, A-house-1\",,,5/12/2027,4200,,,set edging,5.5,", ",,,,,,,,,plants,,8"
    )  # fmt: skip
    assert told[["job_id", "client_id"]].to_numpy().tolist() == [["A-curb-1", "A"]]
    assert told["built_on"].item() == "2027-05-12"
    assert actuals["job_id"].tolist() == ["A-curb-1"] * 2


def test_rows_of_a_job_may_stand_apart(tmp_path):
    told, actuals, _ = read(
        tmp_path, "1,A,A-curb-1,,,,10,,,x,1,", "2,007,007-curb-1,,,,20,,,x,2,", "1,,,,,,,,,y,3,"
    )
    assert told["job_id"].tolist() == ["1", "2"]
    assert actuals[actuals["job_id"] == "1"]["task"].tolist() == ["x", "y"]


@pytest.mark.parametrize(
    ("line", "problem"),
    [
        ("1,A,,,,,10,,,x,1,", "no bed is named"),
        ("1,A,A-curb-9,,,,10,,,x,1,", "bed A-curb-9 is in no scan on record"),
        ("1,A,A-curb-1 007-curb-1,,,,10,,,x,1,", "its beds belong to 007 and A"),
        ("1,A,007-curb-1,,,,10,,,x,1,", "its beds belong to 007, not to A"),
        ("1,Q,A-curb-1,,,,10,,,x,1,", "client_id 'Q' is not in the client list"),
        ("1,A,A-curb-1,,,soon,10,,,x,1,", "built_on is 'soon', which is no day"),
        ("1,A,A-curb-1,,,2027-05-21,10,,,x,1,", "built_on 2027-05-21 is after today"),
        (
            "1,A,A-curb-1,paint,,,10,,,x,1,",
            "finish 'paint' is none of mulch, accent, planted, gravel",
        ),
    ],
)
def test_faulty_job_is_listed_and_the_rest_kept(tmp_path, line, problem):
    told, actuals, problems = read(tmp_path, line, "2,007,007-curb-1,,,,20,,,x,2,")
    assert told["job_id"].tolist() == ["2"]
    assert actuals["job_id"].tolist() == ["2"]
    assert problems["feature"].tolist() == ["row 2"]
    assert problems["problem"].item().startswith(f"job '1': {problem}")


def test_faulty_number_is_listed_and_taken_as_blank(tmp_path):
    told, actuals, problems = read(tmp_path, "1,A,A-curb-1,,,,10,,,x,a lot,")
    assert len(told) == 1
    assert actuals["actual_hours"].isna().all()
    assert problems["problem"].item().startswith("actual_hours: 'a lot' came")


def test_template_is_a_sheet_of_jobs():
    assert sheet_kind(TEMPLATE) == "jobs"
    header = TEMPLATE.read_text(encoding="utf-8").splitlines()[0].split(",")
    assert header == [*JOB_SHEET.names]


def test_sheet_without_a_job_is_nothing(tmp_path):
    jobs, tasks, problems = read(tmp_path)
    assert (len(jobs), len(tasks), len(problems)) == (0, 0, 0)
    assert "sold_cents" in jobs


def test_day_that_may_be_either_is_not_taken(tmp_path):
    jobs, _, problems = read(
        tmp_path, "1,A,A-curb-1,,,03.05.2027,10,,,,,", "2,007,007-curb-1,,,13.05.2027,20,,,,,"
    )
    assert jobs.empty
    assert (
        problems["problem"].str.contains("'13.05.2027' in row 3 has its day before its month").all()
    )
    assert len(problems) == 2
