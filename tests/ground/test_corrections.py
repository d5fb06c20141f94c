"""Case 19: what was measured on a drawn lot corrects its beds, and all that lies round them stays."""

from __future__ import annotations

from datetime import date

import numpy as np
import pandas as pd
import pytest
import shapely
from shapely import Point, box

from scanner.ground.drawn.lot_tables import list_beds
from scanner.ground.record.corrections import correct_beds
from scanner.ground.record.stored import match_stored_beds, name_corrected, remember_beds
from scanner.schema.tables import MEASURED, check_table
from tests.answers import answers
from tests.ground.forms import FORMS, in_all_forms
from tests.sites import (
    Drawing,
    corner_lot,
    front_walk,
    mid_block,
    narrow_front,
    rules_of_cases,
    survey,
)


def measured(*rows):
    """Table `MEASURED` of (client, along, length, room, openings) and, if told, bed and day."""
    columns = ["client_id", "along", "length_ft", "room_ft", "openings_ft", "bed_id", "measured_on"]
    filled = [(*row, "", "")[:7] if len(row) < 7 else row for row in rows]
    table = pd.DataFrame(filled, columns=columns).astype(
        {"room_ft": float, "openings_ft": float, "length_ft": float}
    )
    return check_table(table.assign(note="", row=range(2, len(rows) + 2)), MEASURED)


def corrected(drawing, *rows):
    return correct(list_beds(survey(drawing)), measured(*rows))


def correct(beds, told, before=None):
    before = beds[:0] if before is None else before
    return correct_beds(beds, told, before=before, rules=rules_of_cases())


def test_case_19_measured_on_a_drawn_lot():
    # curb measured 54, drawn 10 + 50: nine tenths of either
    drawn = survey(mid_block()).beds.set_index("bed_id")
    beds, rest = corrected(mid_block(), ("A", "curb", 54, np.nan, 0))
    assert rest.empty
    beds = beds.set_index("bed_id")
    short, long = beds.loc["A-curb-1"], beds.loc["A-curb-2"]
    assert (short["edge_ft"], short["skip_reason"]) == (pytest.approx(9, abs=0.1), "too short")
    assert (long["edge_ft"], long["area_ft2"]) == pytest.approx((45, 180), abs=0.1)
    # along the curb 45, one open end of 4; the drive at the other
    assert (long["bed_line_ft"], long["trim_ft"]) == pytest.approx((49, 49), abs=0.1)
    assert shapely.area(long["geometry"]) == pytest.approx(180, abs=0.1)
    assert long["edge_source"] == "measured"
    assert long["cautions"] == drawn.loc["A-curb-2", "cautions"]
    # what the bed no longer covers stays turf, and the house bed is as it was
    assert long["turf_left_ft2"] == pytest.approx(
        drawn.loc["A-curb-2", "turf_left_ft2"] + 20, abs=0.1
    )
    assert beds.loc["A-house-1", "area_ft2"] == drawn.loc["A-house-1", "area_ft2"]


def test_case_19_a_water_meter_and_a_sight_triangle_stay():
    drawing = mid_block().add("utility", Point(50, -8), "", what="water_meter")
    beds, _ = corrected(drawing, ("A", "curb", 54, np.nan, 0))
    long = beds.set_index("bed_id").loc["A-curb-2"]
    assert long["plant_free_ft2"] > 0
    assert long["low_plant_ft2"] > 0
    assert "water meter" in long["cautions"]
    assert "sight triangle" in long["cautions"]
    assert long["plantable"].area == pytest.approx(180 - long["plant_free_ft2"], abs=0.1)


def test_case_19_in_all_forms():
    rows = [(name, "curb", 54, np.nan, 0) for name in FORMS]
    beds, _ = correct(list_beds(survey(in_all_forms(mid_block()))), measured(*rows))
    curbs = beds[beds["along"] == "curb"]
    for name in FORMS:
        mine = curbs[curbs["client_id"] == name].sort_values("edge_ft")
        assert mine["edge_ft"].tolist() == pytest.approx([9, 45], abs=0.1)
        assert shapely.area(mine["geometry"].to_numpy()).tolist() == pytest.approx(
            [36, 180], abs=0.1
        )


def test_a_piece_too_short_becomes_a_bed_where_the_tape_says_so():
    # 10 + 50 drawn, 75 measured: 12.5 + 62.5
    beds, _ = corrected(mid_block(), ("A", "curb", 75, np.nan, 0))
    assert beds.loc[beds["along"] == "curb", "skip_reason"].tolist() == ["", ""]


def test_case_5_each_bed_by_its_own_length():
    # 28 + 28 drawn; A measured 25 and B 31: 100 and 124 ft², not twice the mean of 112
    beds, rest = corrected(
        front_walk(), ("A", "curb", 25, np.nan, 0, "A-curb-1", ""), ("A", "curb", 31, np.nan, 0, "A-curb-2", "")
    )  # fmt: skip
    assert rest.empty
    assert beds["edge_ft"].tolist() == pytest.approx([25, 31], abs=0.01)
    assert beds["area_ft2"].tolist() == pytest.approx([100, 124], abs=0.1)
    assert shapely.area(beds["geometry"].to_numpy()).tolist() == pytest.approx([100, 124], abs=0.1)


def test_a_bed_that_was_not_measured_stays_as_drawn_beside_one_that_was():
    beds, _ = corrected(front_walk(), ("A", "curb", 25, 3, 0, "A-curb-1", ""))
    assert beds["area_ft2"].tolist() == pytest.approx([75, 112], abs=0.1)
    assert beds["edge_source"].tolist() == ["measured", "surveyed"]
    # what is told of all others of its kind is laid on them alone
    beds, _ = corrected(
        front_walk(), ("A", "curb", 25, np.nan, 0, "A-curb-1", ""), ("A", "curb", 14, np.nan, 0)
    )
    assert beds["edge_ft"].tolist() == pytest.approx([25, 14], abs=0.01)


def test_a_measured_bed_that_is_drawn_no_more_is_not_laid_on_another():
    beds, rest = corrected(front_walk(), ("A", "curb", 40, np.nan, 0, "A-curb-9", ""))
    assert beds["edge_ft"].tolist() == pytest.approx([28, 28], abs=0.01)
    assert rest.empty


def test_more_than_fifteen_percent_apart_is_said():
    near, _ = corrected(mid_block(), ("A", "curb", 54, np.nan, 0))
    far, _ = corrected(mid_block(), ("A", "curb", 100, np.nan, 50))
    assert not near["cautions"].str.contains("are drawn").any()
    told = far.loc[far["along"] == "curb", "cautions"]
    assert told.str.endswith("measured 50 ft where 60 ft are drawn: look which is right").all()


def test_room_caps_the_depth():
    beds, _ = corrected(front_walk(), ("A", "curb", 56, 3, 0))
    assert beds["edge_ft"].tolist() == pytest.approx([28, 28], abs=0.1)
    assert beds["area_ft2"].tolist() == pytest.approx([84, 84], abs=0.1)
    assert beds["mean_depth_ft"].tolist() == pytest.approx([3, 3], abs=0.01)
    shallow, _ = corrected(front_walk(), ("A", "curb", 56, 1.5, 0))
    assert set(shallow["skip_reason"]) == {"too shallow"}


def test_turf_that_a_bed_takes_in_is_scaled_with_it():
    # case 6 with 7 ft of room takes in 150 of 350 ft²; 45 of its 50 ft were measured
    beds, _ = corrected(narrow_front(7), ("A", "curb", 45, np.nan, 0))
    curb = beds.set_index("bed_id").loc["A-curb-1"]
    assert (curb["area_ft2"], curb["absorbed_ft2"]) == pytest.approx((315, 135), abs=0.2)


def test_edges_that_nobody_drew_stand_for_themselves():
    beds, rest = corrected(
        mid_block(), ("A", "sidewalk", 40, np.nan, 0), ("A", "curb", 60, np.nan, 0), ("B", "curb", 50, np.nan, 0)
    )  # fmt: skip
    assert rest[["client_id", "along"]].to_numpy().tolist() == [["A", "sidewalk"], ["B", "curb"]]
    assert set(beds["along"]) == {"curb", "house"}


def test_a_denied_bed_stays_denied():
    found = survey(mid_block(), answers=answers(("A", "turf to curb", "no")))
    beds, _ = correct(list_beds(found), measured(("A", "curb", 90, np.nan, 0)))
    assert set(beds.loc[beds["along"] == "curb", "skip_reason"]) == {"denied"}


def test_a_lot_without_measurements_is_as_it_was():
    drawing = Drawing().add("property", box(0, 0, 60, 100)).add("street", box(-99, -40, 200, 0), "")
    found = survey(drawing)
    beds, rest = correct(list_beds(found), measured())
    assert rest.empty
    assert beds[["bed_id", "area_ft2", "edge_source"]].equals(
        found.beds[["bed_id", "area_ft2", "edge_source"]]
    )


def test_a_measured_bed_keeps_its_name_from_scan_to_scan():
    # round a corner 189 ft are drawn and 40 measured: what is left has little ground in common with what is drawn
    found = survey(corner_lot())
    tape = measured(("A", "curb", 40, np.nan, 0))
    names = []
    stored = remember_beds(list_beds(found), today=date(2027, 2, 1))
    for _ in range(3):
        seen = match_stored_beds(
            list_beds(found),
            stored,
            frame=list_beds(found)["frame"].iloc[0],
            rules=rules_of_cases(),
        )
        beds, _ = correct(seen, tape)
        beds = name_corrected(beds, stored)
        names.append(dict(zip(beds["bed_id"], beds["edge_ft"].round(1), strict=True)))
        now = remember_beds(beds, today=date(2027, 3, 1))
        stored = pd.concat([stored[~stored["bed_id"].isin(now["bed_id"])], now], ignore_index=True)
    assert names[0]["A-curb-1"] == pytest.approx(40, abs=0.1)
    assert names[0] == names[1] == names[2]


def test_a_corrected_bed_takes_no_name_that_another_has():
    beds, _ = corrected(mid_block(), ("A", "curb", 54, np.nan, 0))
    stored = remember_beds(beds, today=date(2027, 2, 1))
    lost = beds.assign(bed_id=beds["bed_id"].replace({"A-curb-2": "A-curb-9"}))
    assert name_corrected(lost, stored)["bed_id"].tolist() == beds["bed_id"].tolist()
    built = stored.assign(built_on="2027-02-02")
    assert name_corrected(lost, built)["bed_id"].tolist() == lost["bed_id"].tolist()
    assert name_corrected(beds, stored) is beds
