"""The log's file: round trips, versions, copies, refusals."""

from __future__ import annotations

import sqlite3
from datetime import date, timedelta

import numpy as np
import pandas as pd
import pytest

from scanner.calls import log as log_package
from scanner.calls.entry_kinds import ANSWER, CALL, JOB, MEASUREMENT, QUOTE, REMARK, Counts
from scanner.calls.log import copies, file, open_log, read_entries, read_last_scan, read_season
from scanner.calls.log.steps import STEPS
from scanner.calls.today import list_offered
from scanner.errors import LogError, SchemaError
from scanner.schema.log_tables import LISTED, MEASUREMENTS, REMARKS
from scanner.schema.tables import check_table
from tests.calls.desk import (
    DAY,
    calls_of,
    job_of,
    keys_of,
    quote_of,
    quote_task_of,
    record,
    square,
    stored_of,
    stumble_over,
    task_of,
)
from tests.small_scan import small_scan

VISIT = ("A", "2027-03-02", "visit", "gate on the left", "measure", "2027-03-12", "A-curb-1")


def test_book_without_a_log_knows_nothing_and_gets_no_file(tmp_path):
    season = read_season(tmp_path)
    assert [len(t) for t in (season.calls, season.answers, season.beds, season.jobs)] == [0] * 4
    assert len(read_last_scan(tmp_path, LISTED)) == len(read_entries(tmp_path, CALL)) == 0
    assert list(tmp_path.iterdir()) == []


def test_call_comes_back_as_it_was_typed(tmp_path):
    record(tmp_path, VISIT)
    call = read_season(tmp_path).calls.iloc[0]
    assert tuple(call[name] for name in calls_of().columns if name != "price_cents") == VISIT
    assert call["entry_id"] == 1
    assert call["recorded_at"].endswith("Z")


def test_letters_of_all_kinds_come_back(tmp_path):
    note = "Zoë's 4′ strip: “=1+1”, 50 %, naïve\tline\nbreak ☃"
    record(tmp_path, (*VISIT[:3], note))
    assert read_season(tmp_path).calls["note"].tolist() == [note]


def test_same_rows_twice_change_nothing(tmp_path):
    assert record(tmp_path, VISIT) == Counts(added_count=1)
    assert record(tmp_path, VISIT, today=date(2027, 3, 9)) == Counts(known_count=1)
    assert keys_of(tmp_path) == [VISIT[:3]]


def test_changed_row_adds_an_entry_and_stays_one_call(tmp_path):
    record(tmp_path, VISIT)
    assert record(tmp_path, (*VISIT[:3], "gate is locked")) == Counts(changed_count=1)
    assert keys_of(tmp_path) == [VISIT[:3]]
    call = read_season(tmp_path).calls.iloc[0]
    # What the second left blank stays as the first had it
    assert (call["note"], call["next_date"], call["entry_id"]) == (
        "gate is locked",
        "2027-03-12",
        1,
    )
    assert len(read_entries(tmp_path, CALL)) == 2
    # What blanks say turns nothing back
    assert record(tmp_path, (*VISIT[:3], "", "measure")) == Counts(known_count=1)
    assert read_season(tmp_path).calls["note"].tolist() == ["gate is locked"]


def test_second_not_reached_on_another_day_is_a_second_call(tmp_path):
    record(tmp_path, ("A", "2027-03-01", "not reached"), ("A", "2027-03-02", "not reached"))
    assert len(keys_of(tmp_path)) == 2


def test_calls_of_tuesday_typed_after_wednesdays(tmp_path):
    record(tmp_path, ("A", "2027-03-03", "visit"), today=date(2027, 3, 3))
    record(tmp_path, ("B", "2027-03-02", "no"), today=date(2027, 3, 4))
    assert sorted(keys_of(tmp_path)) == [("A", "2027-03-03", "visit"), ("B", "2027-03-02", "no")]


def test_undo_adds_a_reversal_and_deletes_nothing(tmp_path):
    record(tmp_path, ("A", "2027-03-02", "visit"))
    record(tmp_path, ("B", "2027-03-02", "no"))
    with open_log(tmp_path, today=DAY) as log:
        assert log.undo() == ["call to B on 2027-03-02: no"]
    assert keys_of(tmp_path) == [("A", "2027-03-02", "visit")]
    with sqlite3.connect(tmp_path / "book.sqlite") as raw:
        assert raw.execute("SELECT count(*) FROM calls").fetchone() == (2,)
        kinds = raw.execute("SELECT kind, takes_back FROM entries ORDER BY 1, 2").fetchall()
    raw.close()
    assert kinds == [("call", None), ("call", None), ("reversal", 2)]


def test_undo_goes_back_step_by_step_and_then_says_so(tmp_path):
    record(tmp_path, VISIT)
    record(tmp_path, (*VISIT[:3], "other note"))
    with open_log(tmp_path, today=DAY) as log:
        log.undo()
        assert log.season().calls["note"].tolist() == ["gate on the left"]
        assert log.undo() == ["call to A on 2027-03-02: visit"]
        assert log.undo() == []
        assert len(log.season().calls) == 0
    # What was taken back may be recorded again
    assert record(tmp_path, VISIT) == Counts(added_count=1)


def test_answers_latest_day_counts_and_undo_brings_the_earlier_back(tmp_path):
    rows = [("A", "curbed", "yes", "2027-02-01"), ("A", "curbed", "no", "2027-02-20")]
    answers = pd.DataFrame(rows, columns=["client_id", "question", "answer", "seen_on"])
    with open_log(tmp_path, today=DAY) as log:
        assert log.record(ANSWER, answers.iloc[:1]) == Counts(added_count=1)
    with open_log(tmp_path, today=DAY) as log:
        assert log.record(ANSWER, answers.iloc[1:]) == Counts(added_count=1)
        assert log.record(ANSWER, answers.iloc[:1]) == Counts(known_count=1)
        assert log.season().answers["answer"].tolist() == ["no"]
        assert log.undo() == ["answer for A of 2027-02-20: curbed no"]
    assert read_season(tmp_path).answers["answer"].tolist() == ["yes"]


def test_unknown_question_is_our_bug(tmp_path):
    answers = pd.DataFrame({"client_id": ["A"], "question": "age", "answer": "4", "seen_on": "x"})
    with open_log(tmp_path, today=DAY) as log, pytest.raises(SchemaError, match="answers breaks"):
        log.record(ANSWER, answers)


def test_job_told_anew_replaces_and_builds_its_bed(tmp_path):
    with open_log(tmp_path, today=DAY) as log:
        log.store_beds(stored_of(A_curb_1=square(), A_curb_2=None))
        assert log.record(JOB, job_of(built_on=""), task_of()) == Counts(added_count=1)
        assert log.season().beds["built_on"].tolist() == ["", ""]
    with open_log(tmp_path, today=DAY) as log:
        assert log.record(JOB, job_of(), task_of(actual_hours=3.0)) == Counts(changed_count=1)
        assert log.record(JOB, job_of(), task_of(actual_hours=3.0)) == Counts(known_count=1)
    season = read_season(tmp_path)
    assert season.jobs["sold_cents"].tolist() == [150_000]
    assert season.job_tasks["actual_hours"].tolist() == [3.0]
    assert season.job_tasks["actual_cents"].isna().all()
    assert season.beds["built_on"].tolist() == ["2027-05-12", ""]
    with open_log(tmp_path, today=DAY) as log:
        assert log.undo() == ["job A-curb-1 of A (what number 1 says of it stands)"]
    season = read_season(tmp_path)
    assert season.job_tasks["actual_hours"].isna().all()
    assert season.beds["built_on"].tolist() == ["", ""]


def test_beds_keep_their_shape_to_the_last_bit(tmp_path):
    with open_log(tmp_path, today=DAY) as log:
        log.store_beds(stored_of(A_curb_1=square(-98.123456789012, 41.1), B_house_1=None))
    with open_log(tmp_path, today=DAY) as log:
        log.store_beds(stored_of(B_house_1=square()))
    beds = read_season(tmp_path).beds.set_index("bed_id")
    # What a later scan did not find stays
    assert beds.loc["A-curb-1", "geometry"].equals(square(-98.123456789012, 41.1))
    assert beds.loc["B-house-1", "geometry"].equals(square())


def test_list_of_the_last_scan_is_replaced_by_the_next(tmp_path):
    scan = small_scan()
    listed = list_offered(scan.calls, scan.offers, scan.beds, today=DAY)
    with open_log(tmp_path, today=DAY) as log:
        log.store_last_scan(LISTED, listed)
    pd.testing.assert_frame_equal(read_last_scan(tmp_path, LISTED), check_table(listed, LISTED))
    with open_log(tmp_path, today=DAY) as log:
        log.store_last_scan(LISTED, listed.iloc[:2])
    assert len(read_last_scan(tmp_path, LISTED)) == 2


def test_error_in_the_middle_leaves_the_log_as_it_was(tmp_path):
    record(tmp_path, VISIT)
    before = (tmp_path / "book.sqlite").read_bytes()
    with pytest.raises(KeyError, match="stumbled"):
        stumble_over(tmp_path, ("B", "2027-03-02", "sold"))
    assert (tmp_path / "book.sqlite").read_bytes() == before
    assert keys_of(tmp_path) == [VISIT[:3]]


def test_rollback_journal_and_not_a_write_ahead_log(tmp_path):
    record(tmp_path, VISIT)
    raw = sqlite3.connect(tmp_path / "book.sqlite")
    assert raw.execute("PRAGMA journal_mode").fetchone() == ("delete",)
    # Somebody's tool sets one: the next writer sets it back
    raw.execute("PRAGMA journal_mode = WAL")
    raw.close()
    record(tmp_path, ("B", "2027-03-02", "no"))
    raw = sqlite3.connect(tmp_path / "book.sqlite")
    assert raw.execute("PRAGMA journal_mode").fetchone() == ("delete",)
    raw.close()
    assert len(keys_of(tmp_path)) == 2


def write_old(folder, steps, monkeypatch):
    """Write the log as an earlier version did, with one call in it."""
    monkeypatch.setattr(file, "STEPS", steps)
    with open_log(folder, today=DAY):
        pass
    raw = sqlite3.connect(folder / "book.sqlite")
    raw.execute("INSERT INTO entries (kind, recorded_on) VALUES ('call', '2027-03-02')")
    raw.execute("INSERT INTO calls VALUES (1, ?, ?, ?, 'gate on the left', '', '', '')", VISIT[:3])
    raw.commit()
    raw.close()


def test_old_file_is_brought_up_to_date_and_a_copy_kept(tmp_path, monkeypatch):
    write_old(tmp_path, STEPS[:1], monkeypatch)
    assert len(read_last_scan(tmp_path, LISTED)) == 0
    old = (tmp_path / "book.sqlite").read_bytes()
    monkeypatch.setattr(file, "STEPS", STEPS)
    # Reading changes nothing; the first writing does
    assert keys_of(tmp_path) == [VISIT[:3]]
    assert (tmp_path / "book.sqlite").read_bytes() == old
    record(tmp_path, ("B", "2027-03-03", "no"), today=date(2027, 3, 3))
    copy = tmp_path / "copies" / "book-2027-03-03-version-1.sqlite"
    assert copy.read_bytes() == old
    assert len(keys_of(tmp_path)) == 2
    raw = sqlite3.connect(tmp_path / "book.sqlite")
    days = [(1, "2027-03-02"), *((version, "2027-03-03") for version in range(2, 11))]
    assert raw.execute("SELECT * FROM migrations").fetchall() == days
    assert raw.execute("SELECT value FROM meta").fetchall() == [("10",)]
    # What an old file had was recorded one by one, as far as it knows
    assert raw.execute("SELECT entry_id, batch FROM entries").fetchall() == [(1, 1), (2, 2)]
    assert raw.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
    raw.close()
    # A kind of entry that the old file did not know
    remark = pd.DataFrame([("A", "mood", "fine", "")], columns=[*REMARKS.columns])
    with open_log(tmp_path, today=DAY) as log:
        assert log.record(REMARK, remark) == Counts(added_count=1)
        assert log.record(REMARK, remark) == Counts(known_count=1)
    assert read_season(tmp_path).remarks.equals(remark)


def test_a_list_without_prices_is_read_as_one_that_knows_none(tmp_path, monkeypatch):
    write_old(tmp_path, STEPS[:3], monkeypatch)
    raw = sqlite3.connect(tmp_path / "book.sqlite")
    raw.execute(
        "INSERT INTO listed VALUES ('A-curb-1', 'A', '2027-03-01', 'a bed', 'A-curb-1', 'curb', 240, 1,"
        " 1000, 2000, 500, 0.1, 0.05, 0.2, 50, '', '')"
    )
    raw.commit()
    raw.close()
    listed = read_last_scan(tmp_path, LISTED)
    assert listed[["offer_id", "price_cents", "say"]].to_numpy().tolist() == [["A-curb-1", 0, ""]]
    monkeypatch.setattr(file, "STEPS", STEPS)
    record(tmp_path, ("B", "2027-03-03", "no"))
    assert read_last_scan(tmp_path, LISTED).equals(listed)


def test_a_log_of_version_6_is_read_and_takes_quotes(tmp_path, monkeypatch):
    write_old(tmp_path, STEPS[:6], monkeypatch)
    monkeypatch.setattr(file, "STEPS", STEPS)
    season = read_season(tmp_path)
    assert season.calls[["client_id", "note", "price_cents"]].to_numpy().tolist() == [
        ["A", "gate on the left", 0]
    ]
    assert [len(t) for t in (season.quotes, season.schedule, season.tickets, season.letters)] == [
        0
    ] * 4
    with open_log(tmp_path, today=DAY) as log:
        assert log.quote_ids() == []
        assert log.record(QUOTE, quote_of(), quote_task_of()) == Counts(added_count=1)
    assert read_season(tmp_path).quotes["quote_id"].tolist() == ["Q2027-001"]
    assert (tmp_path / "copies" / "book-2027-03-02-version-6.sqlite").exists()


def test_step_that_fails_leaves_the_old_file(tmp_path, monkeypatch):
    record(tmp_path, VISIT)
    before = (tmp_path / "book.sqlite").read_bytes()
    monkeypatch.setattr(file, "STEPS", (*STEPS, ("CREATE TABLE more (x)", "no such words")))
    with pytest.raises(LogError, match=r"cannot be used.*syntax error.*Nothing was recorded"):
        record(tmp_path, ("B", "2027-03-02", "no"))
    assert (tmp_path / "book.sqlite").read_bytes() == before


def test_newer_file_is_refused_and_not_touched(tmp_path, monkeypatch):
    monkeypatch.setattr(file, "STEPS", (*STEPS, ("CREATE TABLE later (x)",)))
    record(tmp_path, VISIT)
    monkeypatch.setattr(file, "STEPS", STEPS)
    before = {p: p.read_bytes() for p in tmp_path.rglob("*") if p.is_file()}
    for use in (lambda: record(tmp_path, VISIT), lambda: read_season(tmp_path)):
        with pytest.raises(
            LogError, match=r"written by a newer bed-scanner \(version 11 .* knows 10\)"
        ):
            use()
    assert {p: p.read_bytes() for p in tmp_path.rglob("*") if p.is_file()} == before


@pytest.mark.parametrize("where", [0, 100, 4096])  # head of the file, of its schema, a table
def test_damaged_file_is_refused_with_the_way_back(tmp_path, where):
    record(tmp_path, VISIT)
    record(tmp_path, ("B", "2027-03-03", "no"), today=date(2027, 3, 3))
    path = tmp_path / "book.sqlite"
    good = path.read_bytes()
    bad = good[:where] + b"\xff" * 3000 + good[where + 3000 :]
    path.write_bytes(bad)
    for use in (lambda: record(tmp_path, VISIT), lambda: read_season(tmp_path)):
        with pytest.raises(LogError, match=r"damaged.*way back: .*book-2027-03-03.sqlite"):
            use()
    assert path.read_bytes() == bad
    # The way back leads back: the copy, and the lists again
    path.write_bytes((tmp_path / "copies" / "book-2027-03-03.sqlite").read_bytes())
    record(tmp_path, VISIT, ("B", "2027-03-03", "no"), today=date(2027, 3, 4))
    assert len(keys_of(tmp_path)) == 2


@pytest.mark.parametrize(
    "statement",
    [
        "DELETE FROM meta WHERE name = 'schema_version'",
        "UPDATE calls SET called_on = 'yesterday'",
        "UPDATE calls SET called_on = 7",
        "UPDATE calls SET outcome = 'perhaps'",
        "UPDATE beds SET shape = x'0103'",
        "UPDATE beds SET shape = 'a square'",
        "UPDATE beds SET shape = 7",
        "DROP TABLE entries",
        "DROP TABLE beds",
    ],
)
def test_a_sound_database_with_rows_that_are_not_ours_is_told_with_the_dated_copy(
    tmp_path, statement
):
    """What quick_check finds nothing wrong with: no version, days that are none, shapes cut short."""
    record(tmp_path, VISIT)
    with open_log(tmp_path, today=date(2027, 3, 3)) as log:
        log.store_beds(stored_of(A_curb_1=square()))
    raw = sqlite3.connect(tmp_path / "book.sqlite")
    raw.execute("PRAGMA foreign_keys = OFF")
    assert raw.execute(statement).rowcount  # it changed something
    raw.commit()
    raw.close()
    with pytest.raises(LogError, match=r"(?s)book\.sqlite.*way back: .*book-2027-03-03\.sqlite"):
        len(read_season(tmp_path).beds)


def test_file_cut_short_is_damaged(tmp_path):
    record(tmp_path, VISIT)
    path = tmp_path / "book.sqlite"
    path.write_bytes(path.read_bytes()[:6000])
    with pytest.raises(LogError, match=r"damaged.*no copy yet"):
        read_season(tmp_path)


def test_foreign_file_is_refused_and_not_touched(tmp_path):
    raw = sqlite3.connect(tmp_path / "book.sqlite")
    raw.execute("CREATE TABLE shopping (what)")
    raw.close()
    before = (tmp_path / "book.sqlite").read_bytes()
    with pytest.raises(LogError, match="not a log of this program: move it away"):
        record(tmp_path, VISIT)
    assert (tmp_path / "book.sqlite").read_bytes() == before


def test_empty_file_is_a_new_log(tmp_path):
    (tmp_path / "book.sqlite").touch()
    assert len(read_season(tmp_path).calls) == 0
    record(tmp_path, VISIT)
    assert keys_of(tmp_path) == [VISIT[:3]]


def test_no_folder_is_a_sentence(tmp_path):
    with pytest.raises(LogError, match="there is no folder"):
        record(tmp_path / "nowhere", VISIT)


def test_one_copy_a_day_as_it_was_before_the_first_write(tmp_path):
    record(tmp_path, VISIT)
    before = (tmp_path / "book.sqlite").read_bytes()
    for outcome in ("no", "not now"):
        record(tmp_path, ("B", "2027-03-03", outcome), today=date(2027, 3, 3))
    kept = [path.name for path in (tmp_path / "copies").iterdir()]
    assert kept == ["book-2027-03-03.sqlite"]
    assert (tmp_path / "copies" / kept[0]).read_bytes() == before


def test_old_copies_thin_out_to_one_a_month(tmp_path):
    (tmp_path / "book.sqlite").write_bytes(b"x")
    days = [date(2027, 1, 1) + timedelta(days=n) for n in range(100)]
    for day in days:
        copies.keep(tmp_path / "book.sqlite", day.isoformat())
    copies.keep(tmp_path / "book.sqlite", "2027-01-05-version-1")
    kept = sorted(path.name for path in (tmp_path / "copies").iterdir())
    newest = [f"book-{day}.sqlite" for day in days[-30:]]
    # 100 days from New Year end on 10 April; 30 of them begin on 12 March
    first = ["book-2027-01-01.sqlite", "book-2027-01-05-version-1.sqlite",
             "book-2027-02-01.sqlite", "book-2027-03-01.sqlite"]  # fmt: skip
    assert kept == first + newest


def test_package_offers_what_its_readme_says():
    assert set(log_package.__all__) >= {"open_log", "read_season"}


def test_correcting_back_counts(tmp_path):
    """What is recorded last stands, though the same words stood there once before."""
    call = ("A", "2027-03-02", "call back", "", "")
    for next_date, counts in (
        ("2027-03-12", Counts(added_count=1)),
        ("2027-03-19", Counts(changed_count=1)),
        ("2027-03-12", Counts(changed_count=1)),
        ("2027-03-12", Counts(known_count=1)),
    ):
        assert record(tmp_path, (*call, next_date)) == counts
        assert read_season(tmp_path).calls["next_date"].tolist() == [next_date]


def test_measuring_corrected_back_counts(tmp_path):
    for length_ft in (40.0, 44.0, 40.0):
        edge = pd.DataFrame(
            [("A", "curb", length_ft, np.nan, 0.0, "", "2027-03-02", "")],
            columns=[*MEASUREMENTS.columns],
        )
        with open_log(tmp_path, today=DAY) as log:
            log.record(MEASUREMENT, edge)
        assert read_season(tmp_path).measurements["length_ft"].tolist() == [length_ft]


def test_an_old_slip_is_taken_back_by_its_number(tmp_path):
    record(tmp_path, ("A", "2027-03-01", "do not call"))
    record(tmp_path, ("B", "2027-03-01", "visit"))
    record(tmp_path, ("A", "2027-03-01", "do not call", "never again"))
    with open_log(tmp_path, today=DAY) as log:
        words = "call to A on 2027-03-01: do not call"
        assert log.undo(1) == [f"{words} (what number 3 says of it stands)"]
        assert log.undo(3) == [words]
        with pytest.raises(
            LogError, match="no entry has the number 3, or it was taken back already"
        ):
            log.undo(3)
        with pytest.raises(LogError, match="no entry has the number 4"):
            log.undo(4)  # a reversal
    assert keys_of(tmp_path) == [("B", "2027-03-01", "visit")]
