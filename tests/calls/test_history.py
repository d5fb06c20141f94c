"""Rests, call-backs and do-not-call, from the log; days counted by hand."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import geopandas as gpd
import pytest

from scanner.calls.history import add_history, list_orphans, rest_days, tell_history
from scanner.calls.log import NO_SEASON
from scanner.calls.ranking import rank_calls
from scanner.calls.trials import list_seasons, list_trials
from scanner.schema.log_tables import OUTCOMES, SAID
from scanner.schema.tables import check_table
from tests.calls.desk import calls_of, rows_of, square, stored_of
from tests.small_scan import TODAY, small_learned, small_rates, small_scan


def log_of(*rows):
    calls = calls_of(*rows)
    return check_table(calls.assign(entry_id=range(1, len(calls) + 1), recorded_at=""), SAID)


def season_of(*rows, beds=None):
    return replace(
        NO_SEASON, calls=log_of(*rows), stored=NO_SEASON.stored if beds is None else rows_of(beds)
    )


def history_of(*rows):
    history = tell_history(log_of(*rows), rates=small_rates())
    assert len(history) == 1
    return history.iloc[0]


@pytest.mark.parametrize(
    ("outcome", "days", "free_on"),
    [
        # The standard rate book's starting values, counted on from 2 March 2027
        ("not reached", 3, "2027-03-05"),
        ("call back", 7, "2027-03-09"),
        ("visit", 14, "2027-03-16"),
        ("quoted", 10, "2027-03-12"),
        ("not now", 90, "2027-05-31"),
        ("no", 365, "2028-03-01"),
        ("sold", 180, "2027-08-29"),
        ("do not call", None, "9999-12-31"),
    ],
)
def test_rest_by_outcome(outcome, days, free_on):
    assert rest_days(outcome, small_rates()) == days
    assert history_of(("A", "2027-03-02", outcome))["free_on"] == free_on


def test_every_outcome_has_its_rest():
    rests = {outcome: rest_days(outcome, small_rates()) for outcome in OUTCOMES}
    assert {outcome for outcome, days in rests.items() if days is None} == {"do not call"}
    assert all(days > 0 for days in rests.values() if days is not None)


def test_day_that_was_named_stands_for_the_rest():
    told = history_of(("A", "2027-03-02", "not now", "", "", "2027-03-20"))
    assert (told["free_on"], told["due_on"]) == ("2027-03-20", "2027-03-20")


def test_call_back_without_a_day_is_due_after_its_rest():
    assert history_of(("A", "2027-03-02", "call back"))["due_on"] == "2027-03-09"


@pytest.mark.parametrize("outcome", ["visit", "quoted", "not now", "no", "sold", "not reached"])
def test_other_outcomes_without_a_day_promise_no_call(outcome):
    assert history_of(("A", "2027-03-02", outcome))["due_on"] == ""


@pytest.mark.parametrize(
    ("rows", "note"),
    [
        ([("A", "2027-03-02", "call back", "gate 47"), ("A", "2027-03-04", "not reached", "voicemail")],
         "voicemail; gate 47"),
        # A later talk is the last one; without a word in it the newest before stands, with its own day
        ([("A", "2027-03-02", "call back", "gate 47"), ("A", "2027-03-04", "visit", "dog")], "dog"),
        ([("A", "2027-03-01", "call back", "dog"), ("A", "2027-03-02", "call back", "gate 47"),
          ("A", "2027-03-04", "visit", "")], "gate 47 (Mar 2)"),
        ([("A", "2027-03-04", "visit", "")], ""),
    ],
)  # fmt: skip
def test_last_note(rows, note):
    assert history_of(*rows)["last_note"] == note


def test_a_note_is_no_call():
    """Nobody spoke to the client: words and days of a note stand, and the last call stays what it was."""
    talk = ("A", "2027-03-02", "visit", "gate 47", "measure", "2027-03-20")
    bare = history_of(talk, ("A", "2027-03-04", "note", "two dogs"))
    assert bare.tolist()[1:7] == ["2027-03-02", "visit", "two dogs; gate 47", "measure", "2027-03-20", "2027-03-20"]  # fmt: skip
    dated = history_of(talk, ("A", "2027-03-04", "note", "gate 47", "ring first", "2027-03-18"))
    assert dated[["last_note", "next_action", "due_on"]].tolist() == ["gate 47", "ring first", "2027-03-18"]  # fmt: skip
    alone = history_of(("A", "2027-03-04", "note", "two dogs"))
    assert alone.tolist()[1:] == ["", "", "two dogs", "", "", "", False]


def test_what_is_said_later_is_left_aside_and_do_not_call_holds():
    """Asked on March 5: a call and a note of later days are not known yet, a bar that is to come bars all the same."""
    season = season_of(
        ("A", "2027-03-05", "visit", "gate"), ("A", "2027-03-06", "no"), ("B", "2027-03-09", "do not call"),
    )  # fmt: skip
    season = replace(season, notes=log_of(("A", "2027-03-07", "note", "dog")))
    known = season.until(date(2027, 3, 5))
    assert known.calls[["client_id", "outcome"]].to_numpy().tolist() == [["A", "visit"]]
    assert known.later_count == 2
    # Trials and client-seasons are of what is known
    assert list_trials(known.calls, today=date(2027, 3, 5)).refused_count == 0
    assert list_seasons(known.calls, today=date(2027, 3, 5))["end"].tolist() == ["pending"]
    again = known.until(date(2027, 3, 5))
    told = tell_history(again.said, rates=small_rates()).set_index("client_id")
    assert told["is_barred"].to_dict() == {"A": False, "B": True}
    assert told.loc["A", ["last_outcome", "last_note"]].tolist() == ["visit", "gate"]


def test_a_note_takes_no_promise_back():
    back = ("A", "2027-03-02", "call back", "", "", "2027-03-10")
    tried = ("A", "2027-03-10", "not reached", "", "", "2027-03-15")
    told = history_of(back, tried, ("A", "2027-03-11", "note", "two dogs"))
    assert (told["due_on"], told["last_outcome"]) == ("2027-03-15", "not reached")


def test_try_that_reached_nobody_takes_nothing_back():
    # The refusal of March 2027 holds its year though somebody rang in vain in April
    told = history_of(("A", "2027-03-02", "no"), ("A", "2027-04-10", "not reached"))
    assert (told["free_on"], told["last_outcome"]) == ("2028-03-01", "not reached")


def test_try_in_vain_puts_the_promised_call_off_by_its_rest():
    told = history_of(
        ("A", "2027-03-02", "call back", "", "", "2027-03-10"), ("A", "2027-03-10", "not reached")
    )
    assert (told["due_on"], told["free_on"]) == ("2027-03-13", "2027-03-13")


def test_talk_takes_an_earlier_refusal_back():
    told = history_of(("A", "2027-03-02", "no"), ("A", "2027-04-10", "visit"))
    assert told["free_on"] == "2027-04-24"


def test_entries_count_by_the_day_of_the_call_and_not_of_typing():
    told = history_of(("A", "2027-03-05", "sold"), ("A", "2027-03-02", "call back"))
    assert (told["last_outcome"], told["due_on"]) == ("sold", "")


def test_do_not_call_holds_for_good_whatever_comes_after():
    told = history_of(
        ("A", "2019-03-02", "do not call"), ("A", "2027-03-02", "call back", "", "", "2027-03-03")
    )
    assert (told["is_barred"], told["last_outcome"], told["due_on"]) == (True, "do not call", "")


def test_do_not_call_from_the_log_bars_from_the_list():
    scan = small_scan()
    season = season_of(("C0002", "2020-01-01", "do not call"))
    clients = add_history(scan.clients, season, rates=scan.rates)
    calls = rank_calls(
        scan.offers,
        scan.beds,
        clients,
        learned=small_learned(),
        rates=scan.rates,
        today=date(2035, 1, 1),
    )
    call = calls.set_index("client_id").loc["C0002"]
    assert (call["rank"], call["left_out"]) == (0, "asked not to be called")
    assert call["last_outcome"] == "do not call"


@pytest.mark.parametrize(
    ("today", "reason"),
    [
        (date(2026, 5, 2), "not now on 2026-02-01, rests until 2026-05-02"),  # 90 days on
        (date(2026, 2, 16), "not now on 2026-02-01, rests until 2026-05-02"),
    ],
)
def test_rest_ends_on_its_day(today, reason):
    scan = small_scan()
    clients = add_history(
        scan.clients, season_of(("C0002", "2026-02-01", "not now")), rates=scan.rates
    )
    calls = rank_calls(
        scan.offers, scan.beds, clients, learned=small_learned(), rates=scan.rates, today=today
    )
    told = calls.set_index("client_id").loc["C0002", "left_out"]
    assert told == (reason if today < date(2026, 5, 2) else "")


# A contact in the client list that is later than the log counts too; the same one is told once
@pytest.mark.parametrize(
    ("logged", "left_out"),
    [
        (("2026-02-01", "not reached"), "last contact 2026-02-12, rests until 2026-02-19"),
        (("2026-02-12", "quoted"), "quoted on 2026-02-12, rests until 2026-02-22"),
    ],
)
def test_contact_in_the_client_list_beside_the_log(logged, left_out):
    scan = small_scan()
    clients = scan.clients.assign(last_contact="2026-02-12")
    told = add_history(clients, season_of(("C0002", *logged)), rates=scan.rates)
    calls = rank_calls(
        scan.offers, scan.beds, told, learned=small_learned(), rates=scan.rates, today=TODAY
    )
    assert calls.set_index("client_id").loc["C0002", "left_out"] == left_out


def test_a_neighbor_who_has_one_is_a_reason_and_a_sign():
    scan = small_scan()
    near = scan.clients["client_id"] == "C0003"
    clients = add_history(scan.clients, NO_SEASON, rates=scan.rates, is_near_built=near)
    learned = replace(small_learned(), signs={"neighbor_built": 2.0})
    calls = rank_calls(
        scan.offers, scan.beds, clients, learned=learned, rates=scan.rates, today=TODAY
    )
    calls = calls.set_index("client_id")
    ratio = calls["chance"] / scan.calls.set_index("client_id")["chance"]
    assert "a neighbor's bed was just built" in calls.loc["C0003", "reasons"]
    assert ratio["C0003"] == pytest.approx(2 * ratio["C0001"])
    assert "was just built" not in calls.loc["C0001", "reasons"]


def test_log_of_nobody_changes_no_client():
    scan = small_scan()
    clients = add_history(scan.clients, NO_SEASON, rates=scan.rates)
    assert clients[scan.clients.columns].equals(scan.clients)
    assert (clients["last_outcome"] == "").all()


def test_client_who_is_gone_and_bed_that_is_gone_are_listed():
    scan = small_scan()
    built = stored_of(C0001_curb_9=square())
    season = season_of(
        ("C0099", "2026-02-01", "visit"),
        ("C0099", "2026-02-02", "quoted"),
        ("C0001", "2026-02-01", "visit", "", "", "", "C0001-curb-1 C0001-curb-7"),
        ("C0001", "2026-02-02", "quoted", "", "", "", "C0001-curb-7 C0001-curb-9"),
        beds=gpd.GeoDataFrame(built.assign(built_on="2026-01-01")),
    )
    problems = list_orphans(season, scan.beds, scan.clients)
    assert problems["severity"].tolist() == ["note", "note"]
    assert problems["client_id"].tolist() == ["C0001", "C0099"]
    assert problems["problem"].tolist() == [
        "bed C0001-curb-7, with an outcome on record (quoted, 2026-02-02), matches nothing in this scan",
        "2 entries on record for a client who is not in the client list any more",
    ]


def test_only_clients_who_are_gone_are_on_record():
    scan = small_scan()
    season = season_of(("C0099", "2026-02-01", "visit", "", "", "", "C0099-curb-1"))
    problems = list_orphans(season, scan.beds, scan.clients)
    assert problems["problem"].tolist() == [
        "1 entry on record for a client who is not in the client list any more"
    ]


def test_nothing_on_record_is_no_orphan():
    scan = small_scan()
    assert len(list_orphans(NO_SEASON, scan.beds, scan.clients)) == 0
