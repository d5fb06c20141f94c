"""Jobs that were sold: in the history and the chances like calls, their beds not offered."""

from __future__ import annotations

from datetime import date

import pandas as pd
import pytest

from scanner.calls.entry_kinds import JOB, VISIT
from scanner.calls.history import tell_history
from scanner.calls.log import open_log, read_season
from scanner.calls.sales import drop_sold, set_sold_aside
from scanner.calls.trials import list_trials
from tests.calls.calls_on_record import job_tasks, jobs
from tests.calls.desk import record
from tests.job.job_cases import rate_book

SOLD_ON = date(2027, 6, 1)


def sell(folder, *, built_on="", today=SOLD_ON, beds="A-curb-1", job_id="J1"):
    changes = {"client_id": "A", "bed_ids": beds, "built_on": built_on}
    with open_log(folder, today=today) as log:
        log.record(JOB, jobs((job_id, 9000, 8000, 12000, changes)), job_tasks())


def sales(folder):
    calls = read_season(folder).calls
    calls = calls[calls["outcome"] == "sold"].sort_values("called_on")
    return list(calls[["client_id", "called_on", "bed_ids"]].itertuples(index=False, name=None))


def test_a_job_counts_as_a_call_that_ended_in_its_sale(tmp_path):
    sell(tmp_path)
    assert sales(tmp_path) == [("A", "2027-06-01", "A-curb-1")]
    calls = read_season(tmp_path).calls
    # 1 June + 180 days: 29 left of June, 31, 31, 30, 31 to the end of October: 152, 28 of November
    (told,) = tell_history(calls, rates=rate_book(rest_sold_days=180)).to_dict("records")
    assert (told["last_outcome"], told["free_on"]) == ("sold", "2027-11-28")
    assert list_trials(calls, today=date(2027, 6, 2)).quotes["end"].tolist() == ["sold"]


def test_told_again_it_stays_on_the_day_it_was_sold(tmp_path):
    sell(tmp_path)
    sell(tmp_path, built_on="2027-07-10", today=date(2027, 7, 12))
    assert sales(tmp_path) == [("A", "2027-06-01", "A-curb-1")]


def test_told_after_it_was_built_it_was_sold_by_then(tmp_path):
    sell(tmp_path, built_on="2027-05-12")
    assert sales(tmp_path) == [("A", "2027-05-12", "A-curb-1")]


@pytest.mark.parametrize(
    ("called_on", "sale_count"),
    # 3 March is 28 + 30 + 31 + 1 = 90 days before 1 June
    [("2027-06-01", 1), ("2027-03-03", 1), ("2027-03-02", 2)],
)
def test_a_call_that_ended_in_the_sale_is_not_doubled(tmp_path, called_on, sale_count):
    record(tmp_path, ("A", called_on, "sold"), today=SOLD_ON)
    sell(tmp_path)
    assert len(sales(tmp_path)) == sale_count
    trials = list_trials(read_season(tmp_path).calls, today=SOLD_ON)
    assert trials.quotes["end"].tolist() == ["sold"] * sale_count


def test_two_jobs_of_a_day_are_one_sale(tmp_path):
    sell(tmp_path)
    sell(tmp_path, beds="A-house-1", job_id="J2")
    assert sales(tmp_path) == [("A", "2027-06-01", "A-curb-1 A-house-1")]


def test_taken_back_it_was_never_sold(tmp_path):
    sell(tmp_path)
    with open_log(tmp_path, today=SOLD_ON) as log:
        assert log.undo() == ["job J1 of A"]
    assert sales(tmp_path) == []


def test_a_visit_after_the_sale_is_no_news(tmp_path):
    sell(tmp_path)
    visit = pd.DataFrame(
        [("A", "2027-06-09", "Kim", "")],
        columns=["client_id", "visited_on", "visited_by", "note"],
    )
    with open_log(tmp_path, today=date(2027, 6, 9)) as log:
        log.record(VISIT, visit)
    assert read_season(tmp_path).calls["outcome"].tolist() == ["sold"]


def test_a_bed_that_waits_to_be_built_is_not_offered():
    beds = pd.DataFrame({
        "bed_id": ["A-curb-1", "A-curb-2", "A-house-1", "B-curb-1"],
        "skip_reason": ["", "", "too short", ""],
    })  # fmt: skip
    told = jobs(
        ("J1", 9000, 8000, 12000, {"bed_ids": "A-curb-1 A-house-1", "built_on": ""}),
        ("J2", 9000, 8000, 12000, {"bed_ids": "B-curb-1"}),
    )
    # B's is built: whether it lies there still is for the ground to say
    assert set_sold_aside(beds, told)["skip_reason"].tolist() == ["sold", "", "too short", ""]


def test_an_older_list_offers_nothing_that_was_sold_since():
    listed = pd.DataFrame({
        "offer_id": ["1", "2", "3"], "bed_ids": ["A-house-1 A-curb-1", "A-curb-12", "B-curb-1"],
    })  # fmt: skip
    told = jobs(
        ("J1", 9000, 8000, 12000, {"bed_ids": "A-curb-1", "built_on": ""}),
        ("J2", 9000, 8000, 12000, {"bed_ids": "B-curb-1"}),
    )
    assert drop_sold(listed, told)["offer_id"].tolist() == ["2"]
    assert drop_sold(listed.iloc[:0], told).empty
