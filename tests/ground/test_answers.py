"""What crews saw, laid over what the layers say."""

from __future__ import annotations

import pandas as pd
import pytest
from shapely import box

from scanner.ground.record.answers import BED_SENTENCE, note_answers
from scanner.ground.record.on_foot import size_measured
from scanner.schema.tables import MEASURED, check_table
from tests.answers import answers
from tests.sites import (
    Drawing,
    beds_of,
    clients_of,
    mid_block,
    narrow_front,
    rules_of_cases,
    street_south,
    survey,
)


def survey_seen(drawing, *told, **rules):
    return survey(drawing, rules_of_cases(**rules), answers=answers(*told))


def plain_front(**street):
    """80 ft of curb, no drive drawn."""
    return (
        Drawing()
        .add("property", box(0, 0, 80, 100))
        .add("street", street_south(0), "", **street)
        .add("house", box(20, 50, 60, 80))
    )


def test_a_denied_edge_makes_no_bed_and_says_so():
    # Worked case 1: curb pieces 10 and 50 ft, house front 30 ft
    found = survey_seen(mid_block(), ("A", "turf to curb", "no"))
    assert set(beds_of(found, "curb")["skip_reason"]) == {"denied"}
    assert beds_of(found, "house")["skip_reason"].tolist() == [""]
    notes = note_answers(found.beds, clients_of(mid_block()), answers(("A", "turf to curb", "no")))
    assert notes["severity"].tolist() == ["note"]
    assert notes["problem"].tolist() == [
        "the crew saw on 2027-02-10 that no turf runs up to the curb, so what was found there is "
        "denied (2 pieces)"
    ]


def test_a_denied_house_leaves_the_curb():
    found = survey_seen(mid_block(), ("A", "turf to house", "no"))
    assert set(beds_of(found, "house")["skip_reason"]) == {"denied"}
    kept = beds_of(found, "curb").query("skip_reason == ''")
    assert kept["area_ft2"].tolist() == pytest.approx([200], abs=0.1)


def test_a_denied_bed_absorbs_nothing():
    # Worked case 6 at 7 ft: the curb bed would take 200 + 150 ft²
    found = survey_seen(narrow_front(7), ("A", "turf to curb", "no"))
    (bed,) = beds_of(found, "curb").to_dict("records")
    assert bed["skip_reason"] == "denied"
    assert bed["absorbed_ft2"] == 0
    assert bed["area_ft2"] == pytest.approx(200, abs=0.1)


def test_a_yes_denies_nothing():
    found = survey_seen(mid_block(), ("A", "turf to curb", "yes"), ("B", "turf to curb", "no"))
    assert "denied" not in set(found.beds["skip_reason"])


@pytest.mark.parametrize(("told_ft", "edge_ft"), [(None, 56), ("12", 68), ("0", 80), ("30", 50)])
def test_drive_width_stands_in_for_the_guess(told_ft, edge_ft):
    # 80 ft of curb less the opening, 24 ft by default
    told = [("A", "drive width ft", told_ft)] if told_ft else []
    found = survey_seen(plain_front(), *told, default_opening_ft=24.0)
    (bed,) = beds_of(found, "curb").query("skip_reason == ''").to_dict("records")
    assert bed["edge_ft"] == pytest.approx(edge_ft, abs=0.1)
    assert bed["is_opening_guessed"] == (told_ft != "0")


def test_drive_width_counts_where_the_default_is_none():
    found = survey_seen(plain_front(), ("A", "drive width ft", "20"))
    (bed,) = beds_of(found, "curb").query("skip_reason == ''").to_dict("records")
    assert bed["area_ft2"] == pytest.approx(60 * 4, abs=0.1)


def test_drive_width_leaves_a_drawn_drive_alone():
    found = survey_seen(mid_block(), ("A", "drive width ft", "40"))
    kept = beds_of(found, "curb").query("skip_reason == ''")
    assert kept["edge_ft"].tolist() == pytest.approx([50], abs=0.1)


def test_an_uncurbed_street_makes_no_curb_edge():
    told = ("A", "curbed", "no")
    found = survey_seen(plain_front(), told)
    assert beds_of(found, "curb").empty
    assert "curb" not in set(found.edges["along"])
    # The street still tells which wall is the front: 40 ft, 4 ft deep
    assert beds_of(found, "house")["area_ft2"].tolist() == pytest.approx([160], abs=0.1)
    notes = note_answers(found.beds, clients_of(plain_front()), answers(told))
    assert "no curb bed was looked for" in notes["problem"].iloc[0]


def test_only_the_client_who_was_asked_about_loses_the_curb():
    drawing = plain_front().add("property", box(80, 0, 160, 100), "B")
    found = survey_seen(drawing, ("A", "curbed", "no"))
    assert beds_of(found, "curb", "A").empty
    kept = beds_of(found, "curb", "B").query("skip_reason == ''")
    assert kept["edge_ft"].tolist() == pytest.approx([80], abs=0.1)


def test_a_curb_that_a_crew_found_counts():
    drawing = plain_front(curbed="no")
    assert beds_of(survey_seen(drawing), "curb").empty
    found = survey_seen(drawing, ("A", "curbed", "yes"))
    assert beds_of(found, "curb")["area_ft2"].tolist() == pytest.approx([320], abs=0.1)


def test_a_bed_that_nobody_drew_is_a_caution():
    found = survey_seen(mid_block(), ("A", "has bed", "yes"))
    assert found.beds["cautions"].str.contains(BED_SENTENCE).all()
    found = survey_seen(mid_block(), ("A", "has bed", "no"))
    assert not found.beds["cautions"].str.contains(BED_SENTENCE).any()


def test_answers_hold_for_edges_measured_on_foot():
    measured = pd.DataFrame(
        {"client_id": "A", "along": ["curb", "house"], "length_ft": 60.0, "room_ft": 20.0,
         "openings_ft": 0.0, "bed_id": "", "measured_on": "", "note": "", "row": [2, 3]}
    )  # fmt: skip
    told = answers(("A", "turf to curb", "no"), ("A", "has bed", "yes"))
    beds = size_measured(check_table(measured, MEASURED), rules=rules_of_cases(), answers=told)
    assert beds["skip_reason"].tolist() == ["denied", ""]
    assert beds["cautions"].str.endswith(BED_SENTENCE).all()


def test_nothing_is_noted_without_an_answer():
    found = survey_seen(mid_block())
    assert note_answers(found.beds, clients_of(mid_block()), answers()).empty
