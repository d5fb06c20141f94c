"""Estimate against actual, worked out by hand and against scipy."""

from __future__ import annotations

import math

import numpy as np
import pytest
import scipy
from hypothesis import given, settings
from hypothesis import strategies as st

from scanner.calls.calibration import (
    check_prices,
    compare_tasks,
    jeffreys_interval,
    propose_rates,
    ratio_of,
    sum_jobs,
)
from tests.calls.calls_on_record import job_tasks, jobs
from tests.job.job_cases import rate_book

RATES = rate_book()
DIG = "dig_hand_hours_per_yd3*labor_usd_per_hour"
EDGE = "set_edging_ft_per_hour*labor_usd_per_hour"
WATER = "water_in_minutes*labor_usd_per_hour"

STEPS = (0.0, 0.1, -0.1, 0.2, -0.2)
"""Logarithms of five ratios over 1.5: s² = 0.1 / 4, s = 0.158114."""

MEAN = 1.5150426
"""1.5 × (1 + 2 cosh 0.1 + 2 cosh 0.2) / 5 = 1.5 × 5.050142 / 5."""

REACH = 0.163829
"""Ratios 1.5, 1.657756, 1.357256, 1.832104, 1.228096: squares about the mean 0.228357, / 4 / 5, root 0.106854, × 1.533206."""

SPREAD = 1.274327
"""e^(1.533206 × 0.158114) = e^0.242421."""

T_4_90 = 1.533206
"""90 % point of Student's t with 4 degrees of freedom: 1.533 in any printed table."""


def five_jobs():
    return jobs(*((f"J{n}", 1600, 1200, 2300) for n in range(1, 6)))


def five_tasks(*, middle=1.5, key=DIG, task="dig"):
    """Ten hours estimated on each of five jobs; the actuals spread about a ratio."""
    # 10 h at 1.75 h/yd3 and at 25 ft/h
    quantity = 10 / 1.75 if key == DIG else 250.0
    return job_tasks(
        *(
            (f"J{n}", task, key, 10.0, 10.0 * middle * math.exp(step), 280, None, quantity)
            for n, step in enumerate(STEPS, start=1)
        )
    )


def test_ratio_interval_and_spread_by_hand():
    ratio = ratio_of(1.5 * np.exp(STEPS), np.ones(5))
    assert ratio.mean == pytest.approx(MEAN, rel=1e-6)
    assert (ratio.low, ratio.high) == pytest.approx((MEAN - REACH, MEAN + REACH), rel=1e-5)
    assert (ratio.job_low, ratio.job_high) == pytest.approx(
        (MEAN / SPREAD, MEAN * SPREAD), rel=1e-5
    )
    assert ratio.job_count == 5


def test_large_jobs_weigh_more():
    # 20 h of 10 and 1 h of 2: 21 / 12, not the mean of 2 and ½
    assert ratio_of(np.array([20.0, 1.0]), np.array([10.0, 2.0])).mean == pytest.approx(1.75)


@settings(max_examples=60, deadline=None)
@given(st.lists(st.floats(0.5, 20), min_size=2, max_size=30), st.sampled_from([0.5, 0.8, 0.95]))
def test_interval_of_jobs_of_one_size_is_students(ratios, level):
    ratio = ratio_of(np.array(ratios), np.ones(len(ratios)), level=level)
    if np.ptp(ratios) < 1e-6:
        return
    interval = scipy.stats.ttest_1samp(ratios, 0.0).confidence_interval(level)
    assert ratio.low == pytest.approx(max(interval.low, 0), abs=1e-9)
    assert ratio.high == pytest.approx(interval.high, abs=1e-9)


def test_interval_covers_the_truth_and_the_spread_holds_eight_of_ten_jobs():
    chance = np.random.default_rng(11)
    covered, inside = 0, []
    for _ in range(600):
        estimated = chance.uniform(4, 20, 12)
        ratio = ratio_of(estimated * chance.lognormal(-0.02, 0.2, 12), estimated)
        covered += ratio.low <= 1 <= ratio.high  # e^(-0.02 + 0.2² / 2) = 1
        inside.append(
            np.mean((one := chance.lognormal(-0.02, 0.2, 50)) < ratio.job_high)
            - np.mean(one < ratio.job_low)
        )
    assert 0.74 <= covered / 600 <= 0.84
    assert np.mean(inside) == pytest.approx(0.8, abs=0.03)


def test_what_tells_nothing_is_passed_over():
    ratio = ratio_of(np.array([2.0, np.nan, 3.0, 0.0]), np.array([1.0, 1.0, 0.0, 5.0]))
    assert (ratio.mean, ratio.job_count) == (2.0, 1)
    assert math.isnan(ratio.low)
    assert not ratio.excludes_one
    assert ratio_of(np.array([]), np.array([])).job_count == 0


def test_the_table_task_by_task():
    (row,) = compare_tasks(five_jobs(), five_tasks(), rates=RATES).to_dict("records")
    assert (row["task"], row["measure"], row["job_count"]) == ("dig", "hours", 5)
    assert row["estimated"] == pytest.approx(50)
    # 15 × (1 + 2 cosh 0.1 + 2 cosh 0.2) = 15 × 5.050142
    assert row["actual"] == pytest.approx(75.752, abs=0.001)
    assert row["ratio"] == pytest.approx(MEAN, rel=1e-6)
    assert (row["rate_key"], row["rate_now"]) == ("dig_hand_hours_per_yd3", 1.75)
    assert row["rate_suggested"] == pytest.approx(1.75 * MEAN, rel=1e-6)
    assert row["verdict"] == "change it"


def test_hours_per_unit_are_multiplied_and_a_pace_is_divided():
    (dig,) = propose_rates(five_jobs(), five_tasks(), rates=RATES).to_dict("records")
    # the ends are the spread: 8 of 10 jobs
    assert dig["value"] == pytest.approx(1.75 * MEAN, rel=1e-6)
    assert (dig["low"], dig["high"]) == pytest.approx((2.0806, 3.3787), abs=1e-3)
    (edge,) = propose_rates(five_jobs(), five_tasks(key=EDGE), rates=RATES).to_dict("records")
    assert edge["value"] == pytest.approx(25 / MEAN, rel=1e-6)
    assert (edge["low"], edge["high"]) == pytest.approx(
        (25 / MEAN / SPREAD, 25 / MEAN * SPREAD), rel=1e-5
    )


def five_alike(*row):
    """Five jobs of one task that all took the same."""
    return job_tasks(*((f"J{n}", *row) for n in range(1, 6)))


@pytest.mark.parametrize(
    ("key", "row", "was", "taken"),
    [
        # 50 ft at 25 ft/h: 2 h, took 4; 25 / 2. At 12.5 ft/h 50 ft are 4 h, as they took
        ("set_edging_ft_per_hour", ("edge", EDGE, 2.0, 4.0, 56, None, 50.0), 25, 12.5),
        # 100 plants at 0.75 min: 1.25 h, took 1.8735; 0.75 × 1.4988 = 1.1241 min. Written 1.124,
        # which makes 1.8733 h, a second short each time: to four digits it is the same rate
        ("water_in_minutes", ("water", WATER, 1.25, 1.8735, 35, None, 100.0), 0.75, 1.124),
        # 2.5 yd3 at $38: $95, cost $114; 38 × 1.2. At $45.60 2.5 yd3 are $114
        ("mulch_usd_per_yd3", ("mulch", "mulch_usd_per_yd3", None, None, 95, 114, 2.5), 38, 45.6),
    ],
)
def test_a_rate_that_was_taken_is_not_corrected_twice(key, row, was, taken):
    jobs_built, tasks = five_jobs(), five_alike(*row)
    assert getattr(RATES, key).value == was
    (proposal,) = propose_rates(jobs_built, tasks, rates=RATES).to_dict("records")
    assert (proposal["rate_key"], f"{proposal['value']:.4g}") == (key, f"{taken:.4g}")
    now = rate_book(**{key: taken})
    (told,) = compare_tasks(jobs_built, tasks, rates=now).to_dict("records")
    assert told["ratio"] == pytest.approx(1, abs=1e-4)
    assert (told["rate_now"], told["verdict"]) == (taken, "keep it")
    assert propose_rates(jobs_built, tasks, rates=now).empty


def test_of_several_rates_all_are_todays():
    # 20 plants at 0.1 × $9: $18 put by, $36 needed. The price doubled: 20 × 0.1 × 18 = $36, so
    # the share is right; at the old price it would be 0.1 × 2
    key = "plant_warranty_share*plant_1gal_usd"
    tasks = five_alike("plant warranty, plants", key, None, None, 18, 36, 20.0)
    (row,) = compare_tasks(five_jobs(), tasks, rates=rate_book(plant_1gal_usd=18)).to_dict(
        "records"
    )
    assert (row["estimated"], row["rate_suggested"]) == (
        pytest.approx(180),
        pytest.approx(math.nan, nan_ok=True),
    )
    assert row["verdict"] == "keep it"
    (old,) = propose_rates(five_jobs(), tasks, rates=RATES).to_dict("records")
    assert (old["rate_key"], old["value"]) == ("plant_warranty_share", pytest.approx(0.2))


def test_labour_counts_where_hours_are_told_as_dollars():
    # 50 ft at 25 ft/h are 2 h; at $28 $56, at $30 $60, which is what they cost
    tasks = five_alike("edge", EDGE, 2.0, None, 56, 60, 50.0)
    (row,) = compare_tasks(five_jobs(), tasks, rates=rate_book(labor_usd_per_hour=30)).to_dict(
        "records"
    )
    assert (row["measure"], row["estimated"], row["verdict"]) == ("cost", 300, "keep it")


def test_a_rate_within_its_interval_is_kept():
    # 1.05 × 1.01003 = 1.0605, less or more 0.7 × 0.163829 = 0.1147: 0.946 to 1.175 holds 1
    table = compare_tasks(five_jobs(), five_tasks(middle=1.05), rates=RATES)
    assert table["verdict"].tolist() == ["keep it"]
    assert table["rate_suggested"].isna().all()
    assert propose_rates(five_jobs(), five_tasks(middle=1.05), rates=RATES).empty


def test_four_jobs_suggest_nothing():
    tasks = five_tasks().iloc[:4]
    assert len(sum_jobs(five_jobs(), tasks, rates=RATES)) == 4
    table = compare_tasks(five_jobs(), tasks, rates=RATES)
    assert table["verdict"].tolist() == ["needs 5 jobs"]
    assert propose_rates(five_jobs(), tasks, rates=RATES).empty


def test_jobs_that_are_not_built_do_not_count():
    sold = five_jobs().assign(built_on=["", "2027-05-01", "2027-05-02", "2027-05-03", "2027-05-04"])
    assert len(sum_jobs(sold, five_tasks(), rates=RATES)) == 4


def test_tasks_that_share_a_rate_are_added_up_job_by_job():
    # Digging takes 2, skimming 1 of their estimates of 10 and 10 h: 30 / 20 each time
    parts = [
        (f"J{n}", task, DIG, 10.0, hours, 280, None)
        for n in range(1, 6) for task, hours in (("dig", 20.0), ("skim", 10.0))
    ]  # fmt: skip
    (row,) = propose_rates(five_jobs(), job_tasks(*parts), rates=RATES).to_dict("records")
    assert row["value"] == pytest.approx(1.75 * 1.5)
    table = compare_tasks(five_jobs(), job_tasks(*parts), rates=RATES).set_index("task")
    assert table["ratio"].to_dict() == {"dig": pytest.approx(2), "skim": pytest.approx(1)}


def test_materials_are_compared_in_dollars():
    parts = [(f"J{n}", "mulch", "mulch_usd_per_yd3", None, None, 95, 114) for n in range(1, 6)]
    (row,) = compare_tasks(five_jobs(), job_tasks(*parts), rates=RATES).to_dict("records")
    assert (row["measure"], row["estimated"], row["actual"]) == ("cost", 475, 570)
    assert row["rate_suggested"] == pytest.approx(38 * 1.2)


def test_a_task_that_was_not_estimated_has_no_ratio():
    parts = job_tasks(("J1", "move a mailbox", "", None, 2.0, 0, None))
    (row,) = compare_tasks(five_jobs(), parts, rates=RATES).to_dict("records")
    assert math.isnan(row["ratio"])
    assert (row["estimated"], row["actual"]) == (0, 2)
    assert row["verdict"] == "was not estimated"


def test_sold_price_against_the_quick_range():
    sold = jobs(("J1", 1200, 1200, 2300), ("J2", 2300, 1200, 2300), ("J3", 2301, 1200, 2300),
                ("J4", 900, 1200, 2300), ("J5", 0, 1200, 2300), ("J6", 1500, 0, 0))  # fmt: skip
    check = check_prices(sold)
    assert (check.inside_count, check.job_count) == (2, 4)
    assert (check.low, check.high) == jeffreys_interval(2, 4)
    # Jeffreys 80 %: Beta(2.5, 2.5) between its 10 and 90 % points
    assert (check.low, check.high) == pytest.approx(
        scipy.stats.beta.interval(0.8, 2.5, 2.5), abs=1e-12
    )


def test_what_a_job_made_or_lost_per_crew_hour():
    sold = jobs(
        ("J1", 1000, 800, 1500, {"invoiced_cents": 90_000}),
        ("J2", 1000, 800, 1500),
        ("J3", 100, 80, 150),
    )
    tasks = job_tasks(
        # 20 h at the estimate's 28 USD/h, mulch as estimated, a surprise at the labor rate
        ("J1", "dig", DIG, 10.0, 20.0, 280, None),
        ("J1", "mulch", "mulch_usd_per_yd3", None, None, 300, None),
        ("J1", "stumps", "", None, 5.0, 0, None),
        ("J2", "dig", DIG, 10.0, 20.0, 280, None),
        ("J3", "dig", DIG, 10.0, None, 280, None),  # nothing told: not judged
    )
    told = sum_jobs(sold, tasks, rates=RATES)
    # J1: 560 + 300 + 140 = 1,000 against an invoice of 900; 20 + 5 h are 12.5 of a crew of two: -100 / 12.5
    # J2: 560 against 1,000; 440 over 10 crew-hours. Nothing is told of J3
    columns = [
        "job_id",
        "estimated_hours",
        "took_hours",
        "untold_hours",
        "price_cents",
        "cost_cents",
        "made_cents",
        "made_per_crew_hour_cents",
    ]
    assert told[columns].to_numpy().tolist() == [
        ["J1", 10, 25, 0, 90_000, 100_000, -10_000, -800],
        ["J2", 10, 20, 0, 100_000, 56_000, 44_000, 4_400],
    ]


def test_hours_that_nobody_told_count_as_estimated_and_are_named():
    tasks = job_tasks(
        ("J1", "dig", DIG, 10.0, 20.0, 280, None), ("J1", "edge", DIG, 4.0, None, 112, None)
    )
    told = sum_jobs(jobs(("J1", 1000, 800, 1500)), tasks, rates=RATES)
    assert told[["estimated_hours", "took_hours", "untold_hours"]].to_numpy().tolist() == [
        [14, 24, 4]
    ]


def test_no_jobs():
    assert compare_tasks(jobs(), job_tasks(), rates=RATES).empty
    assert sum_jobs(jobs(), job_tasks(), rates=RATES).empty
    assert check_prices(jobs()).job_count == 0
