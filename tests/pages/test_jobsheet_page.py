"""A crew's sheet: nothing overlaps on letter and A4, figures stand as they came, cautions are there."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from scanner.book.settings import read_rates, read_rules
from scanner.pages.crew_words import (
    CrewJob,
    JobSheet,
    list_at_curb,
    list_machines,
    list_materials,
    list_steps,
)
from scanner.pages.drawing.scene import LotPlan
from scanner.pages.jobsheet_page import draw_jobsheet
from scanner.pages.paper.look import PAPERS
from scanner.schema.documents import Company
from tests.pages.test_drawing import plan_of
from tests.paper_boxes import clashes
from tests.sites import mid_block, survey

RATES, RULES = read_rates(None)[0], read_rules(None)[0]

LEAST = {"hand_yd3": 2.2, "load_yd3": 2.8, "edging_ft": 64.0, "edging_order_ft": 64.0, "mulch_yd3": 2.2,
         "mulch_order_yd3": 2.5, "mulch_trip_count": 1.0, "load_count": 1.0, "day_count": 1.0}  # fmt: skip
MOST = LEAST | {
    "skim_yd3": 0.4, "cutter_ft2": 500.0, "cutter_day_count": 1.0, "loader_yd3": 3.0, "loader_day_count": 1.0,
    "barrow_yd3": 2.0, "head_count": 12.8, "compost_yd3": 2.0, "compost_order_yd3": 2.0, "till_ft2": 480.0,
    "tiller_day_count": 1.0, "fabric_ft2": 80.0, "fabric_order_ft2": 88.0, "gravel_yd3": 0.7, "gravel_order_ton": 1.1,
    "gravel_fetch_count": 1.0, "load_count": 5.0,
}  # fmt: skip


def work_of(amounts, **changes) -> CrewJob:
    usual = CrewJob(
        lengths=[("A", 59.6)], amounts=amounts, plants=["10 catmint, 3 gal"], is_at_street=True, has_hand_dig=False,
        rates=RATES, rules=RULES,
    )  # fmt: skip
    return replace(usual, **changes)


@pytest.fixture(scope="module")
def plan() -> LotPlan:
    drawn = plan_of(survey(mid_block()))
    return replace(drawn, beds=drawn.beds[drawn.beds["skip_reason"] == ""].reset_index(drop=True))


def sheet_of(plan: LotPlan, work: CrewJob, *, hour_count: int = 9, **changes) -> JobSheet:
    beds = plan.beds.to_dict("records")
    lengths = [("ABC"[at], bed["edge_ft"]) for at, bed in enumerate(beds)]
    usual = JobSheet(
        client={"client_id": "C1", "name": "Ada `Quill` <b> 🌱", "address": "1 Elm St, Quillbrook", "phone": "308-555-0101"},
        company=Company(phone="308-555-0100"), job_id="Q2027-014", finish="accent", days=[date(2027, 4, 13)], ticket="",
        dig_from=date(2027, 4, 12), dig_until=None, call_by=date(2027, 4, 8), labor_hours=hour_count * 1.2, crew_days=0.7,
        hours=[(f"task number {at}", 1.2) for at in range(hour_count)], beds=beds, plan=plan,
        work=replace(work, lengths=lengths), cautions=(), command="bed-scanner record book job Q2027-014",
    )  # fmt: skip
    return replace(usual, **changes)


def words_of(sheet: JobSheet, paper: str = "letter") -> str:
    drawn = draw_jobsheet(sheet, PAPERS[paper])
    assert clashes(drawn) == []
    return "\n".join(box.text for box in drawn.boxes).replace("\xa0", " ")


@pytest.mark.parametrize("paper", ["letter", "a4"])
@pytest.mark.parametrize(
    ("amounts", "hour_count"), [(LEAST, 4), (MOST, 12), (MOST, 21), (MOST, 36)]
)
def test_nothing_overlaps(plan, paper, amounts, hour_count):
    many = ["36 cranesbills, 1 gal", "47 moss phlox, 1 gal", "95 daylilies, 1 gal"]
    sheet = sheet_of(plan, work_of(amounts, plants=many, has_hand_dig=True), hour_count=hour_count)
    text = words_of(sheet, paper)
    assert text.count("1.2 h") == hour_count
    for at in range(hour_count):
        assert f"task number {at}" in text
    drawn = draw_jobsheet(sheet, PAPERS[paper])
    # all tasks that the rate book has are one leaf, in two columns of hours; more would go on on another
    assert drawn.page == (3 if hour_count == 36 else 2)
    assert ("goes on on a second leaf" in text) == (hour_count == 36)
    assert ("took (actual_hours)" in text) == (hour_count < 21)


def test_a_bed_of_gravel_speaks_of_no_mulch(plan):
    gravel = {name: amount for name, amount in MOST.items() if not name.startswith("mulch")}
    text = words_of(sheet_of(plan, work_of(gravel), finish="gravel"))
    assert "mulch" not in text.replace("no wood mulch", "")  # the caution of a wall
    assert [words in text for words in ("gravel used", "no gravel on stems or on lids")] == [True, True]  # fmt: skip


def test_a_usual_job_is_one_leaf(plan):
    assert draw_jobsheet(sheet_of(plan, work_of(LEAST)), PAPERS["letter"]).page == 2


def test_what_the_office_knows_stands_above_the_drawing_and_a_long_story_is_cut(plan):
    sheet = sheet_of(plan, work_of(LEAST), known=["shut the gate", "dog: yes"])
    drawn = draw_jobsheet(sheet, PAPERS["letter"])
    (told,) = (box for box in drawn.boxes if "Know before" in box.text)
    assert told.text.replace("\xa0", " ") == "Know before you go: shut the gate · dog: yes"
    (tools,) = (box for box in drawn.boxes if box.text == "Tools")
    assert told.bottom > tools.top + 200
    text = words_of(replace(sheet, known=["roses " * 400]))
    assert sum("roses roses" in line for line in text.splitlines()) == 3
    assert "… and more, which the office has" in text
    assert "Know before" not in words_of(sheet_of(plan, work_of(LEAST)))


def test_the_ticket_and_its_days_stand_in_bold(plan):
    told = words_of(
        sheet_of(plan, work_of(LEAST), ticket="27-0415", dig_until=date(2027, 5, 2), call_by=None)
    )
    assert "27-0415" in told
    assert "dig from April 12 to May 2, 2027" in told
    assert "none on record: call 811 by Thursday, April 8" in words_of(
        sheet_of(plan, work_of(LEAST))
    ).replace("\n", " ")


def test_the_stop_rule_names_the_office_and_days_are_counted(plan):
    days = [date(2027, 4, 15), date(2027, 4, 16), date(2027, 4, 19)]
    told = words_of(sheet_of(plan, work_of(LEAST), days=days))
    assert (
        "Painted or flagged line in the way: stop, dig by hand 24 in to each side, call the office 308-555-0100."
        in told
    )
    assert "day 1 Thu Apr 15, day 3 Mon Apr 19, 2027" in told


def test_a_job_measured_on_foot_lists_its_beds_and_cautions(plan):
    sheet = sheet_of(plan, work_of(LEAST), cautions=["Look where the meter is."])
    told = words_of(replace(sheet, plan=None))
    assert "Measured on foot, so nothing is drawn" in told
    assert "Look where the meter is." in told


def test_steps_follow_the_method_and_the_quantities():
    # 3,000 lb a wet cubic yard, 3 in deep: 3,000 x 3 / 324 = 27.8 lb a square foot
    steps = [*list_steps(work_of(LEAST))]
    assert steps[0].startswith("Cones out, vests on. Check that the marks are there")
    assert (
        steps[1]
        == "Lay out A from the sketch with string. Measure: 60 ft. More than 2 ft off: call the office."
    )
    assert "some 28 lb/ft²). Load it straight into the trailer." in steps[2]
    assert steps[4:] == [
        "Haul 1 load away.", "Set 64 ft of edging along the lawn, flush with it, stakes in.",
        "Plant 10 catmint, 3 gal, where the sketch shows them. Water in.",
        "Spread mulch 3 in deep, none on the stems. Sweep street and walks.",
    ]  # fmt: skip
    most = [*list_steps(work_of(MOST, is_at_street=False, has_hand_dig=True))]
    assert not most[0].startswith("Cones")
    assert "only who is trained runs it" in most[2]
    assert "By hand round what is numbered on the sketch." in most[4]
    assert most[5] == "Along the wall skim 1.5 in only, no trench: 12 in of gravel go there."
    assert "Haul 5 loads away. On the way back fetch 1.1 ton of gravel." in most


def test_what_is_loaded_follows_the_job():
    assert [*list_materials(work_of(LEAST))] == [
        "mulch 2.5 yd³ of what is delivered",
        "8 sticks of edging, 8 ft",
        "10 catmint, 3 gal",
    ]
    assert [*list_machines(work_of(LEAST))] == [
        "pick-up and trailer, empty",
        "no sod cutter, no loader",
    ]
    assert "sod cutter, rented" in [*list_machines(work_of(MOST))]
    assert "eye, ear and foot protection" in [*list_machines(work_of(MOST))]
    assert [*list_at_curb(work_of(LEAST))][:2] == [
        "3 cones, 18 in or taller",
        "vest for each, class 2",
    ]
    assert [*list_at_curb(work_of(LEAST, is_at_street=False))] == ["no bed at the street: no cones"]
