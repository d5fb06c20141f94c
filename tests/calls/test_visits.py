"""Visits and measurings in the log: kept once, told anew, taken back, counted as contact."""

from __future__ import annotations

from datetime import date

import pandas as pd
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from scanner.calls.entry_kinds import CALL, MEASUREMENT, VISIT, fold, judge
from scanner.calls.log import open_log, read_season
from scanner.calls.sales import override_measured
from scanner.calls.trials import list_seasons
from scanner.schema.log_tables import MEASUREMENTS
from scanner.schema.tables import MEASURED, check_table, empty_table
from tests.calls.desk import DAY, calls_of, record

LATER = date(2027, 3, 20)


def visits_of(*rows):
    """(client, day) or (client, day, who went, note)."""
    filled = [(*row, *[""] * (4 - len(row))) for row in rows]
    return pd.DataFrame(filled, columns=["client_id", "visited_on", "visited_by", "note"])


def edges_of(*rows):
    """(client, along, length, day) and, if told, room."""
    table = pd.DataFrame(
        [
            {"client_id": row[0], "along": row[1], "length_ft": float(row[2]), "openings_ft": 0.0,
             "room_ft": float(row[4]) if len(row) > 4 else float("nan"),
             "bed_id": "", "measured_on": row[3], "note": ""}
            for row in rows
        ]
    )  # fmt: skip
    return check_table(table, MEASUREMENTS) if rows else empty_table(MEASUREMENTS)


def go(folder, visits, edges=(), today=LATER):
    with open_log(folder, today=today) as log:
        return log.record(VISIT, visits_of(*visits)) + log.record(MEASUREMENT, edges_of(*edges))


def lengths(folder):
    found = read_season(folder).measurements
    return list(found[["client_id", "along", "length_ft"]].itertuples(index=False, name=None))


def undo(folder):
    with open_log(folder, today=LATER) as log:
        return log.undo()


def test_visit_and_its_edges_come_back(tmp_path):
    counts = go(
        tmp_path, [("A", "2027-03-12", "Kim", "gate")], [("A", "curb", 42.5, "2027-03-12", 6)]
    )
    assert (counts.added_count, counts.changed_count, counts.known_count) == (2, 0, 0)
    season = read_season(tmp_path)
    assert season.visits[["client_id", "visited_on", "visited_by", "note"]].to_numpy().tolist() == [
        ["A", "2027-03-12", "Kim", "gate"]
    ]
    assert season.measurements[["length_ft", "room_ft", "openings_ft"]].to_numpy().tolist() == [
        [42.5, 6.0, 0.0]
    ]


def test_same_visit_twice_changes_nothing_and_blanks_take_nothing_back(tmp_path):
    edges = [("A", "curb", 42.5, "2027-03-12"), ("A", "curb", 18, "2027-03-12")]
    go(tmp_path, [("A", "2027-03-12", "Kim", "gate")], edges)
    counts = go(tmp_path, [("A", "2027-03-12")], edges)
    assert (counts.added_count, counts.changed_count, counts.known_count) == (0, 0, 2)
    counts = go(tmp_path, [("A", "2027-03-12", "", "gate left")])
    assert counts.changed_count == 1
    assert read_season(tmp_path).visits[["visited_by", "note"]].to_numpy().tolist() == [
        ["Kim", "gate left"]
    ]


def test_kind_of_edge_measured_anew_counts_as_a_whole(tmp_path):
    go(tmp_path, [("A", "2027-03-12")],
       [("A", "curb", 42.5, "2027-03-12"), ("A", "curb", 18, "2027-03-12"), ("A", "house", 30, "2027-03-12")])  # fmt: skip
    go(tmp_path, [("A", "2027-03-19")], [("A", "curb", 61, "2027-03-19")])
    assert lengths(tmp_path) == [("A", "curb", 61.0), ("A", "house", 30.0)]
    # One that is typed late does not beat a later day's
    go(tmp_path, [("A", "2027-03-14")], [("A", "curb", 99, "2027-03-14")])
    assert lengths(tmp_path)[0] == ("A", "curb", 61.0)
    # A slip in the sheet put right on the same day: the one recorded last
    go(tmp_path, [], [("A", "curb", 16, "2027-03-19")])
    assert lengths(tmp_path)[0] == ("A", "curb", 16.0)


def test_undo_takes_back_what_was_recorded_together(tmp_path):
    go(tmp_path, [("A", "2027-03-12")], [("A", "curb", 42.5, "2027-03-12")])
    go(tmp_path, [("B", "2027-03-12")], [("B", "curb", 20, "2027-03-12"), ("B", "house", 30, "2027-03-12")])  # fmt: skip
    with open_log(tmp_path, today=LATER) as log:
        assert log.undo(4) == ["measurement of B on 2027-03-12: curb"]
    # what was left of B's visit goes in one, then A's
    assert undo(tmp_path) == [
        "visit to B on 2027-03-12", "measurement of B on 2027-03-12: house",
    ]  # fmt: skip
    assert lengths(tmp_path) == [("A", "curb", 42.5)]
    assert undo(tmp_path) == ["visit to A on 2027-03-12", "measurement of A on 2027-03-12: curb"]
    assert read_season(tmp_path).visits.empty
    assert undo(tmp_path) == []


def test_visit_counts_as_a_call_that_ended_in_one(tmp_path):
    record(tmp_path, ("A", "2027-03-01", "call back"), ("B", "2027-03-01", "sold"))
    go(tmp_path, [("A", "2027-03-12", "Kim", "gate"), ("B", "2027-03-12"), ("C", "2027-03-12")])
    calls = read_season(tmp_path).calls
    told = calls[["client_id", "called_on", "outcome"]].to_numpy().tolist()
    # B was sold before: measuring for the job is no news of the selling
    assert told == [
        ["A", "2027-03-01", "call back"],
        ["B", "2027-03-01", "sold"],
        ["A", "2027-03-12", "visit"],
        ["C", "2027-03-12", "visit"],
    ]
    ends = list_seasons(calls, today=date(2028, 1, 2)).set_index("client_id")["end"]
    assert ends.to_dict() == {"A": "not sold", "B": "sold", "C": "not sold"}


def test_promise_for_a_day_after_the_visit_stands(tmp_path):
    with open_log(tmp_path, today=LATER) as log:
        log.record(
            CALL,
            calls_of(
                ("A", "2027-03-01", "call back", "", "bring photos", "2027-03-15"),
                ("B", "2027-03-01", "call back", "", "", "2027-03-10"),
            ),
        )
    go(tmp_path, [("A", "2027-03-12"), ("B", "2027-03-12")])
    visits = read_season(tmp_path).calls.query("outcome == 'visit'").set_index("client_id")
    assert visits.loc["A", ["next_action", "next_date"]].tolist() == ["bring photos", "2027-03-15"]
    # That of B was kept by the visit
    assert visits.loc["B", "next_date"] == ""


def test_visit_on_record_as_a_call_is_not_counted_twice(tmp_path):
    record(tmp_path, ("A", DAY.isoformat(), "visit", "agreed"))
    go(tmp_path, [("A", DAY.isoformat(), "Kim", "went at once")])
    assert read_season(tmp_path).calls["note"].tolist() == ["agreed"]


def test_measured_on_a_visit_beats_the_file():
    file = pd.DataFrame(
        {"client_id": ["A", "A", "B"], "along": ["curb", "house", "curb"], "length_ft": [60.0, 30.0, 50.0],
         "room_ft": float("nan"), "openings_ft": 0.0, "bed_id": "", "measured_on": "", "note": "",
         "row": [2, 3, 4]}
    )  # fmt: skip
    file = check_table(file, MEASURED)
    both = override_measured(
        file, edges_of(("A", "curb", 44, "2027-03-12"), ("A", "curb", 12, "2027-03-12"))
    )
    assert both[["client_id", "along", "length_ft", "row"]].to_numpy().tolist() == [
        ["A", "house", 30.0, 3], ["B", "curb", 50.0, 4],
        ["A", "curb", 44.0, 0], ["A", "curb", 12.0, 0],
    ]  # fmt: skip
    assert override_measured(file, edges_of()) is file


def test_error_in_the_middle_leaves_the_log_as_it_was(tmp_path):
    go(tmp_path, [("A", "2027-03-12")])

    def stumble():
        with open_log(tmp_path, today=LATER) as log:
            log.record(VISIT, visits_of(("B", "2027-03-12")))
            log.record(MEASUREMENT, edges_of(("B", "curb", 9, "2027-03-12")))
            raise KeyError

    with pytest.raises(KeyError):
        stumble()
    assert read_season(tmp_path).visits["client_id"].tolist() == ["A"]


@settings(deadline=None)
@given(
    st.lists(
        st.tuples(st.sampled_from("AB"), st.sampled_from(["2027-03-01", "2027-03-02"]),
                  st.sampled_from(["", "Kim"]), st.sampled_from(["", "x", "y"])),
        max_size=8,
    )
)  # fmt: skip
@example([
    ("A", "2027-03-02", "Kim", ""), ("A", "2027-03-02", "", "y"),
    ("A", "2027-03-02", "Kim", "y"), ("A", "2027-03-02", "Kim", "x"),
])  # fmt: skip
def test_what_was_recorded_is_known_when_it_is_read_again(rows):
    visits = visits_of(*rows)
    verdicts = judge(VISIT, visits, visits.iloc[:0])
    kept = visits[verdicts != "known"]
    assert judge(VISIT, visits, kept).eq("known").all()
    assert int((verdicts == "added").sum()) == len({row[:2] for row in rows})


def test_no_edges_fold_to_none():
    assert fold(MEASUREMENT, edges_of().assign(entry_id=[])).empty
