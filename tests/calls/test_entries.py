"""What counts as the same entry, and what all entries together say."""

from __future__ import annotations

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scanner.calls.entry_kinds import ANSWER, CALL, JOB, KINDS, fold, judge, typed_columns
from scanner.calls.history import with_recorded
from scanner.calls.log.file import open_to_write
from scanner.schema.log_tables import ANSWERS, CALL_LOG, OUTCOMES
from tests.calls.desk import DAY, calls_of, job_of, task_of

NOTHING = calls_of()
JOBS_BEFORE = job_of().head(0)
NO_TASKS = task_of().head(0).assign(entry_id=0)
ONE = ("A", "2027-03-02", "visit", "gate", "measure", "2027-03-12")


@pytest.mark.parametrize(
    ("row", "verdict"),
    [
        (ONE, "known"),
        (ONE[:3], "known"),  # blanks take nothing back
        ((*ONE[:3], "gate"), "known"),
        ((*ONE[:3], "dog"), "changed"),
        ((*ONE[:4], "", "2027-03-13"), "changed"),
        (("B", *ONE[1:]), "added"),
        (("A", "2027-03-03", *ONE[2:]), "added"),
        (("A", "2027-03-02", "quoted"), "added"),
    ],
)
def test_call_is_known_by_client_day_and_outcome(row, verdict):
    assert judge(CALL, calls_of(row), calls_of(ONE)).tolist() == [verdict]


def test_other_beds_alone_are_no_change():
    # The list names the beds of its own scan; nobody typed them
    assert judge(CALL, calls_of((*ONE, "A-curb-2")), calls_of(ONE)).tolist() == ["known"]


def test_a_call_corrected_back_is_a_change():
    # 3/12, then 3/19, then 3/12 again: what stands counts, not what stood once
    days = [(*ONE[:3], "", "", f"2027-03-{day}") for day in (12, 19)]
    assert judge(CALL, calls_of(days[0]), calls_of(*days)).tolist() == ["changed"]
    assert judge(CALL, calls_of(*days, days[0]), NOTHING).tolist() == [
        "added",
        "changed",
        "changed",
    ]
    # A sheet with both, read once more, ends where it ended before
    assert judge(CALL, calls_of(*days), calls_of(*days)).tolist() == ["known", "known"]


def test_verdicts_keep_the_index_of_the_sheet():
    calls = calls_of(ONE, ("B", *ONE[1:])).set_axis([7, 3])
    assert judge(CALL, calls, NOTHING).to_dict() == {7: "added", 3: "added"}


def test_nothing_to_judge():
    assert judge(CALL, NOTHING, calls_of(ONE)).tolist() == []


def test_folded_call_shows_the_newest_that_is_not_blank():
    rows = [
        (1, *ONE[:3], "gate", "", "2027-03-12", "A-curb-1", "t1", 120_000),
        (2, "B", *ONE[1:3], "", "", "", "", "t2", 0),
        (3, *ONE[:3], "dog", "measure", "", "", "t3", 0),
    ]
    folded = fold(CALL, pd.DataFrame(rows, columns=[*CALL_LOG.columns]))
    assert folded.to_dict("records")[0] == dict(
        zip(CALL_LOG.columns, (1, *ONE[:3], "dog", "measure", "2027-03-12", "A-curb-1", "t1", 120_000), strict=True)
    )  # fmt: skip
    assert folded["client_id"].tolist() == ["A", "B"]


def test_latest_day_answers_and_of_one_day_the_last_recorded():
    rows = [
        ("A", "curbed", "no", "2027-02-03"),
        ("A", "curbed", "yes", "2027-02-01"),
        ("A", "has bed", "yes", "2027-02-03"),
        ("A", "has bed", "no", "2027-02-03"),
    ]
    folded = fold(ANSWER, pd.DataFrame(rows, columns=[*ANSWERS.columns]))
    assert folded[["question", "answer"]].to_numpy().tolist() == [
        ["curbed", "no"],
        ["has bed", "no"],
    ]


def test_job_on_record_as_it_stands():
    def verdict(job, task, *before):
        heads = pd.concat([JOBS_BEFORE, *before], ignore_index=True)
        parts = pd.concat([task_of().assign(entry_id=n) for n in range(len(heads))] or [NO_TASKS])
        job, task = job.assign(entry_id=9), task.assign(entry_id=9)
        return judge(JOB, job, heads.assign(entry_id=range(len(heads))), task, parts).tolist()

    assert verdict(job_of(), task_of()) == ["added"]
    assert verdict(job_of(), task_of(), job_of()) == ["known"]
    assert verdict(job_of(), task_of(actual_hours=2.0), job_of()) == ["changed"]
    assert verdict(job_of(note="late"), task_of(), job_of()) == ["changed"]
    # What a job was before does not stand any more
    assert verdict(job_of(), task_of(), job_of(), job_of(note="late")) == ["changed"]


def test_client_who_left_the_list_stays_known():
    clients = pd.DataFrame({"client_id": ["A"], "name": ["Ada"], "route": ["North"]})
    both = with_recorded(clients, calls_of(("B", *ONE[1:]), ONE, ("B", *ONE[1:])))
    assert both.to_numpy().tolist() == [["A", "Ada"], ["B", ""]]


@settings(deadline=None)
@given(
    st.lists(
        st.tuples(
            st.sampled_from("AB"), st.sampled_from(["2027-03-01", "2027-03-02"]),
            st.sampled_from(OUTCOMES[:3]), st.sampled_from(["", "x", "y"]),
        ),
        max_size=10,
    )
)  # fmt: skip
def test_what_was_recorded_is_known_when_it_is_read_again(rows):
    calls = calls_of(*rows)
    verdicts = judge(CALL, calls, NOTHING)
    kept = calls[verdicts != "known"]
    assert judge(CALL, calls, kept).eq("known").all()
    assert int((verdicts == "added").sum()) == len({row[:3] for row in rows})
    assert set(kept.columns) == set(CALL.columns)


@pytest.mark.parametrize("kind", KINDS.values(), ids=KINDS)
def test_a_kind_names_columns_of_its_table_and_of_the_file(kind, tmp_path):
    # A measuring's own table and that of its edges are one to the rest of the program
    parts = kind.parts if kind.schema.name == "measurements" else ()
    assert {*kind.columns, *parts} == {*typed_columns(kind.schema).columns}
    assert kind.day in ("entry_id", *kind.columns)
    assert kind.words.format(**dict.fromkeys(kind.columns, "x"))
    with open_to_write(tmp_path, today=DAY, wait_seconds=0) as store:
        for table, columns in ((kind.table, kind.columns), (kind.parts_table, kind.parts)):
            known = [row[1] for row in store.rows("SELECT * FROM pragma_table_info(?)", (table,))]
            assert {*columns} == {*known} - {"entry_id", "place"}
