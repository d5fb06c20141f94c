"""Jobs drawn up: the estimate of the scan beside what was told; amounts by hand from the small scan."""

from __future__ import annotations

import math
from dataclasses import replace

import pandas as pd
import pytest

from scanner.calls.jobs import draw_up_jobs
from scanner.calls.log import NO_SEASON
from tests.small_scan import TASKS, small_line_items, small_scan, with_tables

NAN = math.nan
ALL_TASKS = (
    *dict.fromkeys(task for tasks in TASKS.values() for task, *_ in tasks),
    "mobilization",
    "mulch with waste",
)


def told_of(**changes):
    job = {
        "job_id": "C0002-curb-1", "client_id": "C0002", "bed_ids": "C0002-curb-1 C0002-house-1",
        "finish": "", "method": "", "built_on": "", "note": "", "sold_cents": 500_000.0,
        "invoiced_cents": NAN,
    }  # fmt: skip
    return pd.DataFrame([job | changes])


def actuals_of(*rows):
    columns = ["job_id", "task", "actual_hours", "actual_cents"]
    return pd.DataFrame([("C0002-curb-1", *row) for row in rows], columns=columns)


def itemized():
    """The small scan with every price written out, as a job is drawn up from: it may be sold in any finish."""
    scan = small_scan()
    return with_tables(scan, line_items=small_line_items(scan.table("beds")))


def draw(told, actuals=None, season=NO_SEASON, *, scan=itemized):
    actuals = actuals_of() if actuals is None else actuals
    return draw_up_jobs(told, actuals, season, found=scan(), tasks=ALL_TASKS)


def no_scan():
    return None


def test_estimate_is_that_of_the_offer_of_these_beds():
    jobs, tasks, problems = draw(told_of())
    # 50 ft and 30 ft, 4 ft deep: 320 ft²; strip 2 $, mulch 1 $, plants 4 $ a ft², mobilization 120 $:
    # direct cost 2,360 $, over 0.55 4,290.91 $; range -25 % and +40 % outward to 50 $
    job = jobs.iloc[0]
    assert (job["finish"], job["method"], job["area_ft2"]) == ("planted", "hand", 320.0)
    assert (job["quick_low_cents"], job["quick_high_cents"]) == (320_000, 605_000)
    assert (job["sold_cents"], job["invoiced_cents"], job["built_on"]) == (500_000, 0, "")
    told = tasks.set_index("task")[["quantity", "estimated_cents"]]
    assert told.loc["strip and haul the sod"].tolist() == [320.0, 64_000]
    assert told.loc["plants"].tolist() == [320.0, 128_000]
    assert told.loc["mobilization"].tolist() == [1.0, 12_000]
    assert int(tasks["estimated_cents"].sum()) == 236_000
    hours = tasks.set_index("task")["estimated_hours"]
    assert hours["strip and haul the sod"] == pytest.approx(320 * 0.03)
    assert math.isnan(hours["mobilization"])
    assert tasks[["actual_hours", "actual_cents"]].isna().all(axis=None)
    assert len(problems) == 0


def test_one_bed_of_two_has_its_own_price():
    jobs, tasks, _ = draw(told_of(bed_ids="C0002-house-1", finish="mulch"))
    # 120 ft² at 3 $ and 120 $: 480 $, over 0.55 872.73 $; 654.55 down to 650, 1,221.82 up to 1,250
    assert (jobs["quick_low_cents"].item(), jobs["quick_high_cents"].item()) == (65_000, 125_000)
    assert int(tasks["estimated_cents"].sum()) == 48_000


def test_bed_that_was_skipped_has_no_price_but_its_area():
    jobs, tasks, problems = draw(told_of(client_id="C0003", bed_ids="C0003-sidewalk-2"))
    assert (jobs["area_ft2"].item(), jobs["quick_high_cents"].item()) == (40.0, 0)
    assert len(tasks) == 0
    (note,) = problems.to_dict("records")
    assert note["severity"] == "note"
    assert note["problem"] == (
        "bed C0003-sidewalk-2 is too short and not offered: the job is recorded without an estimate for it"
    )


@pytest.mark.parametrize("gone", ["C0002-curb-7", "C0002-house-1-x"])
def test_bed_that_the_scan_does_not_find_is_refused(gone):
    told = told_of(bed_ids=f"C0002-curb-1 {gone}", file="jobs.csv", feature="row 5")
    jobs, tasks, problems = draw(told)
    assert (len(jobs), len(tasks)) == (0, 0)
    (fault,) = problems.to_dict("records")
    assert (fault["file"], fault["feature"], fault["severity"]) == ("jobs.csv", "row 5", "fault")
    assert fault["problem"] == (
        f"job 'C0002-curb-1': bed {gone} is not in the last scan; it is left out"
    )


@pytest.mark.parametrize(
    ("built_on", "words"),
    [("", "is sold already in job J1"), ("2027-05-12", "was built on 2027-05-12 in job J1")],
)
def test_bed_of_another_job_is_refused(built_on, words):
    before, tasks, _ = draw(told_of(job_id="J1", built_on=built_on))
    season = replace(NO_SEASON, jobs=before, job_tasks=tasks)
    jobs, _, problems = draw(told_of(bed_ids="C0002-house-1"), season=season)
    assert len(jobs) == 0
    assert f"bed C0002-house-1 {words}; it is left out" in problems["problem"].item()


def test_a_job_on_record_gets_no_bed_of_another_and_what_changes_in_it_is_said():
    first, tasks, _ = draw(told_of(job_id="J1", bed_ids="C0002-curb-1"))
    other, _, _ = draw(told_of(job_id="J2", bed_ids="C0002-house-1"))
    season = replace(NO_SEASON, jobs=pd.concat([first, other]), job_tasks=tasks)
    jobs, _, problems = draw(
        told_of(job_id="J1", bed_ids="C0002-curb-1 C0002-house-1"), season=season
    )
    assert len(jobs) == 0
    assert "bed C0002-house-1 is sold already in job J2" in problems["problem"].item()
    jobs, _, problems = draw(
        told_of(job_id="J1", bed_ids="C0002-curb-1", finish="mulch", sold_cents=510_000.0),
        season=season,
    )
    assert jobs["sold_cents"].item() == 510_000
    was = f"${first['sold_cents'].item() / 100:,.0f}"
    assert problems["problem"].tolist() == [
        f"finish {first['finish'].item()} so far, mulch from now on",
        f"sold for {was} so far, $5,100 from now on",
    ]
    assert problems["severity"].tolist() == ["note", "note"]


def test_bed_of_two_jobs_of_a_sheet_is_the_first_ones():
    told = pd.concat([told_of(job_id="J1"), told_of(job_id="J2", bed_ids="C0002-house-1")])
    jobs, _, problems = draw(told)
    assert jobs["job_id"].tolist() == ["J1"]
    assert "bed C0002-house-1 is sold already in job J1" in problems["problem"].item()


@pytest.mark.parametrize(
    ("sold_usd", "is_far"),
    # The quick price is $3,200 to $6,050: a third of the one is $1,066.67, thrice the other $18,150
    [(12, True), (1066, True), (1067, False), (5000, False), (18150, False), (18151, True)],
)
def test_price_far_outside_the_quick_price_is_asked_about_and_recorded(sold_usd, is_far):
    jobs, tasks, problems = draw(told_of(sold_cents=sold_usd * 100.0))
    assert jobs["sold_cents"].item() == sold_usd * 100
    assert problems["severity"].tolist() == ["note"] * is_far
    if is_far:
        words = f"sold_usd ${sold_usd:,} is far outside the quick price, $3,200 to $6,050; it is recorded"
        assert problems["problem"].item() == words
    # The same sheet again asks no more; another strange price does
    season = replace(NO_SEASON, jobs=jobs, job_tasks=tasks)
    assert draw(told_of(sold_cents=sold_usd * 100.0), season=season)[2].empty
    changed, far = draw(told_of(sold_cents=1_100.0), season=season)[2].to_dict("records")
    assert changed["problem"] == f"sold for ${sold_usd:,} so far, $11 from now on"
    assert far["problem"].startswith("sold_usd $11 is far outside the quick price")


def test_actuals_stand_beside_the_estimate():
    actuals = actuals_of(
        ("Plants", 9.5, NAN), ("plants", 0.5, 125_000.0), ("gravel", 1.0, NAN), ("haul", 8.0, NAN)
    )
    _, tasks, problems = draw(told_of(), actuals)
    told = tasks.set_index("task")
    assert told.loc["plants", ["actual_hours", "actual_cents"]].tolist() == [10.0, 125_000.0]
    # A few letters will do; a task that was not estimated gets a row with nothing estimated
    assert told.loc["strip and haul the sod", "actual_hours"] == 8.0
    assert told.loc["gravel", ["quantity", "estimated_cents", "actual_hours"]].tolist() == [0, 0, 1]
    assert len(problems) == 0


@pytest.mark.parametrize(
    ("typed", "listed"), [("paint", "'strip and haul the sod', 'mulch'"), ("mulch w", None)]
)
def test_task_that_is_none_is_listed(typed, listed):
    jobs, _, problems = draw(told_of(), actuals_of((typed, 1.0, NAN)))
    assert len(jobs) == 1
    if listed:
        assert problems["severity"].tolist() == ["fault"]
        problem = problems["problem"].item()
        assert f"task '{typed}' is none or several of: {listed}" in problem
        # A job of full planting has no gravel to lay
        assert "'plants'" in problem
        assert "'gravel'" not in problem
    else:
        assert len(problems) == 0


def test_new_job_needs_its_price():
    jobs, tasks, problems = draw(told_of(sold_cents=NAN))
    assert (len(jobs), len(tasks)) == (0, 0)
    assert problems["problem"].item() == "sold_usd is missing; it is left out"


def test_job_on_record_keeps_its_estimate_and_takes_what_is_new():
    jobs, tasks, _ = draw(told_of(), actuals_of(("plants", 9.0, NAN)))
    season = replace(NO_SEASON, jobs=jobs, job_tasks=tasks.assign(estimated_cents=1))
    told = told_of(sold_cents=NAN, invoiced_cents=510_000.0, built_on="2027-05-12", note="gate")
    # Its estimate is kept, so no lot need be looked at
    jobs, tasks, problems = draw(told, actuals_of(("mulch", 2.0, NAN)), season, scan=no_scan)
    job = jobs.iloc[0]
    assert (job["sold_cents"], job["invoiced_cents"]) == (500_000, 510_000)
    assert (job["built_on"], job["note"], job["finish"]) == ("2027-05-12", "gate", "planted")
    hours = tasks.set_index("task")["actual_hours"]
    assert (hours["plants"], hours["mulch"]) == (9.0, 2.0)
    assert (tasks["estimated_cents"] == 1).all()
    assert len(problems) == 0


def test_new_job_is_drawn_up_from_a_scan():
    with pytest.raises(ValueError, match="job C0002-curb-1 is new: it is drawn up from a scan"):
        draw(told_of(), scan=no_scan)


def test_nothing_told():
    jobs, tasks, problems = draw(told_of().iloc[:0])
    assert (len(jobs), len(tasks), len(problems)) == (0, 0, 0)
