"""Quotes in the log: what each stands for while it is open, won, lost or lapsed."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pandas as pd
import pytest

from scanner.book.settings import read_rates
from scanner.calls.dig_days import last_day_to_cancel
from scanner.calls.entry_kinds import JOB, QUOTE, Counts
from scanner.calls.history import tell_history
from scanner.calls.learning import learn_stages
from scanner.calls.log import NO_SEASON, forget_client, open_log, read_season
from scanner.calls.quotes import next_quote_id
from scanner.calls.sales import drop_sold, set_sold_aside
from scanner.calls.trials import list_trials
from tests.calls.calls_on_record import calls
from tests.calls.desk import DAY, job_of, quote_of, quote_task_of, record, task_of

RATES = read_rates(None)[0]
WON = {"outcome": "won", "ended_on": "2027-03-10"}


def write_quote(folder, *, today=DAY, **changes):
    with open_log(folder, today=today) as log:
        row = quote_of(**changes)
        return log.record(QUOTE, row, quote_task_of(row["quote_id"].item()))


def undo(folder, number=None):
    with open_log(folder, today=DAY) as log:
        return log.undo(number)


def trial_of(folder, today):
    trials = list_trials(read_season(folder).calls, today=today)
    return trials.quotes[["end", "open_days", "price_cents"]].to_numpy().tolist()


def test_a_quote_is_a_talk_with_its_price(tmp_path):
    assert write_quote(tmp_path) == Counts(added_count=1)
    assert write_quote(tmp_path) == Counts(known_count=1)
    season = read_season(tmp_path)
    told = season.calls[["called_on", "outcome", "price_cents"]].to_numpy().tolist()
    assert told == [["2027-03-02", "quoted", 150_000]]
    assert list_trials(season.calls, today=DAY).agreed_count == 1
    # March 2 + 60 days is May 1
    assert trial_of(tmp_path, date(2027, 5, 1)) == [["open", 60, 150_000]]
    assert trial_of(tmp_path, date(2027, 5, 2)) == [["lost", 60, 150_000]]


def test_a_quote_that_was_said_and_written_is_one(tmp_path):
    record(tmp_path, ("A", "2027-03-01", "quoted"))
    write_quote(tmp_path)
    write_quote(tmp_path, **WON)
    assert trial_of(tmp_path, date(2027, 3, 11)) == [["sold", 9, 150_000]]


def test_a_lost_quote_rests_as_not_now(tmp_path):
    write_quote(tmp_path)
    write_quote(tmp_path, outcome="lost", ended_on="2027-03-20", why="too dear")
    assert trial_of(tmp_path, date(2027, 3, 21)) == [["lost", 18, 150_000]]
    (told,) = tell_history(read_season(tmp_path).calls, rates=RATES).to_dict("records")
    # 90 days after March 20: 11 of March, 30, 31 and 18 of June
    assert (told["last_outcome"], told["last_note"]) == ("not now", "too dear")
    assert told["free_on"] == "2027-06-18"


def test_a_quote_that_was_won_is_the_job_sold(tmp_path):
    write_quote(tmp_path)
    write_quote(tmp_path, **WON)
    season = read_season(tmp_path)
    job = season.jobs.iloc[0]
    assert (job["job_id"], job["sold_cents"], job["built_on"]) == ("Q2027-001", 150_000, "")
    assert season.job_tasks[["job_id", "task", "estimated_hours"]].to_numpy().tolist() == [
        ["Q2027-001", "set edging", 2.32]
    ]
    sold = season.calls[season.calls["outcome"] == "sold"]
    assert sold[["called_on", "price_cents", "note"]].to_numpy().tolist() == [
        ["2027-03-10", 150_000, "job Q2027-001"]
    ]
    beds = pd.DataFrame({"bed_id": ["A-curb-1", "A-curb-2"], "skip_reason": ["", ""]})
    assert set_sold_aside(beds, season.jobs)["skip_reason"].tolist() == ["sold", ""]
    listed = pd.DataFrame({"offer_id": ["1"], "bed_ids": ["A-curb-1"]})
    assert drop_sold(listed, season.jobs).empty


def test_what_was_quoted_and_sold_later_is_not_known_yet(tmp_path):
    """Quoted on March 2, won on the 10th, built on May 12: asked between these days."""
    write_quote(tmp_path)
    write_quote(tmp_path, **WON)

    def known(day):
        season = read_season(tmp_path).until(day)
        return season.quotes["outcome"].tolist(), season.jobs["job_id"].tolist()

    assert known(date(2027, 3, 1)) == ([], [])
    assert known(date(2027, 3, 9)) == ([""], [])
    assert known(date(2027, 3, 10)) == (["won"], ["Q2027-001"])
    with open_log(tmp_path, today=date(2027, 5, 14)) as log:
        log.record(JOB, job_of("Q2027-001"), task_of("Q2027-001", actual_hours=3.0))
    # the bed is in the ground, whenever it is asked
    assert known(date(2027, 3, 9)) == (["won"], ["Q2027-001"])


def test_its_job_tells_more_and_each_step_is_taken_back(tmp_path):
    write_quote(tmp_path)
    write_quote(tmp_path, **WON)
    with open_log(tmp_path, today=date(2027, 5, 14)) as log:
        log.record(JOB, job_of("Q2027-001"), task_of("Q2027-001", actual_hours=3.0))
    season = read_season(tmp_path)
    assert season.jobs["built_on"].tolist() == ["2027-05-12"]
    assert season.job_tasks["actual_hours"].tolist() == [3.0]
    # Sold on the day the quote was won, not on that of the job's first entry
    assert season.calls.loc[season.calls["outcome"] == "sold", "called_on"].tolist() == [
        "2027-03-10"
    ]
    assert undo(tmp_path) == ["job Q2027-001 of A"]
    assert read_season(tmp_path).jobs["built_on"].tolist() == [""]
    assert undo(tmp_path) == ["quote Q2027-001 to A won (what number 1 says of it stands)"]
    season = read_season(tmp_path)
    assert (len(season.jobs), season.quotes["outcome"].tolist()) == (0, [""])
    assert undo(tmp_path) == ["quote Q2027-001 to A"]
    season = read_season(tmp_path)
    assert len(season.quotes) == len(season.calls) == 0
    with open_log(tmp_path, today=DAY) as log:
        assert log.quote_ids() == ["Q2027-001"]  # its number is not given again


def test_a_number_is_not_given_again_when_its_client_is_forgotten(tmp_path):
    for number in ("Q2026-1000", "Q2026-999", "Q2027-001"):
        write_quote(tmp_path, quote_id=number)
    with open_log(tmp_path, today=DAY) as log:
        log.keep_last_quotes()
    assert forget_client(tmp_path, "A")[0] > 0
    with open_log(tmp_path, today=DAY) as log:
        assert log.quote_ids() == ["Q2026-1000", "Q2027-001"]
        log.keep_last_quotes()  # whoever is forgotten next
        assert next_quote_id(log.quote_ids(), today=DAY) == "Q2027-002"


def test_the_curve_learns_from_the_price_of_the_quote():
    """A lost quote at three years' mowing speaks against high prices, one of half a year against all."""
    fees = pd.DataFrame({"fee_usd": [1_000.0]}, index=["A"])
    on_list = pd.DataFrame({"client_id": ["A"], "price_cents": [100_000]})

    def chance_at_one_year(price_usd):
        told = calls(("A", "2027-03-02", "quoted", "", price_usd), ("A", "2027-03-09", "no"))
        season = replace(NO_SEASON, calls=told, listed=on_list)
        stages = learn_stages(season, fees, rates=RATES, today=date(2027, 3, 10))
        return stages.mean_buyers(1.0)

    dear, listed, cheap = (chance_at_one_year(usd) for usd in (3_000, 0, 500))
    assert cheap < listed < dear
    assert chance_at_one_year(1_000) == pytest.approx(listed)


@pytest.mark.parametrize(
    ("sold_on", "last"),
    [
        # 16 CFR 429.0(f): every day but Sundays and federal holidays; days counted on a calendar
        ("2026-03-02", "2026-03-05"),  # Monday
        ("2026-03-06", "2026-03-10"),  # Friday: Saturday counts, Sunday does not
        ("2026-07-01", "2026-07-07"),  # July 4 is a Saturday that offices keep on the 3rd: 2, 6, 7
        ("2027-07-02", "2027-07-07"),  # July 4 is a Sunday that offices keep on the 5th: 3, 6, 7
        ("2026-11-25", "2026-11-30"),  # Thanksgiving: 27, 28, 30
        ("2026-10-09", "2026-10-14"),  # Columbus Day, October 12: 10, 13, 14
        ("2026-12-30", "2027-01-04"),  # 31, New Year's Day, 2, 4
    ],
)
def test_days_to_cancel(sold_on, last):
    assert last_day_to_cancel(date.fromisoformat(sold_on)).isoformat() == last
