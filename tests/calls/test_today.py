"""Today's list: due call-backs first, then by rank; the others with why not."""

from __future__ import annotations

from datetime import date

import pandas as pd
import pytest

from scanner.calls.history import add_history
from scanner.calls.today import TODAY_COLUMNS, choose_calls, list_gone, list_offered, list_today
from scanner.schema.log_tables import LISTED
from scanner.schema.tables import empty_table
from tests.calls.test_history import log_of, season_of
from tests.small_scan import TODAY, small_scan


def list_of(*rows, today=TODAY, listed=None, clients=None):
    scan = small_scan()
    offered = list_offered(scan.calls, scan.offers, scan.beds, today=TODAY)
    clients = scan.clients if clients is None else clients
    callees = add_history(clients, season_of(*rows), rates=scan.rates)
    offered = offered if listed is None else listed
    return list_today(offered, scan.left_out, callees, rates=scan.rates, today=today)


def test_without_calls_it_is_the_order_of_the_scan():
    scan, calls = small_scan(), list_of()
    ranked = scan.calls[scan.calls["rank"] > 0]
    to_call = calls[calls["left_out"] == ""]
    assert to_call["client_id"].tolist() == ranked["client_id"].tolist()
    assert to_call["place"].tolist() == ranked["rank"].tolist()
    assert calls.columns.tolist() == [*TODAY_COLUMNS]


def test_every_client_stands_there_once_called_or_with_a_reason():
    calls = list_of()
    assert sorted(calls["client_id"]) == sorted(small_scan().clients["client_id"])
    reasons = calls[calls["left_out"] != ""].set_index("client_id")["left_out"]
    # The same words as on the map and in the lists
    left_out = small_scan().left_out
    assert reasons.to_dict() == dict(zip(left_out["client_id"], left_out["reason"], strict=True))
    assert len(reasons) == 4
    assert (calls.loc[calls["left_out"] != "", "place"] == 0).all()


def test_due_call_backs_first_the_longest_due_before_the_others():
    calls = list_of(
        ("C0009", "2026-02-01", "call back", "", "send the sketch", "2026-02-16"),
        ("C0004", "2026-02-01", "call back", "", "", "2026-02-10"),
        ("C0001", "2026-02-01", "call back", "", "", "2026-02-17"),
    )
    to_call = calls[calls["left_out"] == ""]
    # The others by rank; C0001 is before C0002 there, but tomorrow's call-back is not due
    assert to_call["client_id"].tolist() == ["C0004", "C0009", "C0008", "C0003", "C0002"]
    assert to_call["due_on"].tolist() == ["2026-02-10", "2026-02-16", "", "", ""]
    assert to_call["next_action"].tolist()[1] == "send the sketch"
    left_out = calls.set_index("client_id")["left_out"]
    assert left_out["C0001"] == "call back on 2026-02-01, rests until 2026-02-17"


def test_promised_call_without_an_offer_stands_on_the_list():
    calls = list_of(("C0007", "2026-02-01", "call back", "", "", "2026-02-10"))
    first = calls.iloc[0]
    assert (first["client_id"], first["offer"], first["left_out"]) == ("C0007", "", "")
    assert pd.isna(first["price_low_cents"])


def test_client_who_owes_money_is_left_out_even_when_promised():
    calls = list_of(("C0006", "2026-02-01", "call back", "", "", "2026-02-10"))
    call = calls.set_index("client_id").loc["C0006"]
    assert (call["place"], call["due_on"]) == (0, "")


def test_do_not_call_since_the_scan_is_respected():
    calls = list_of(("C0002", "2026-02-16", "do not call"))
    assert calls.set_index("client_id").loc["C0002", "left_out"] == "asked not to be called"


def test_client_list_changed_since_the_scan_is_respected():
    clients = small_scan().clients
    clients = clients.assign(
        past_due=clients["past_due"].mask(clients["client_id"] == "C0002", "yes")
    )
    calls = list_of(clients=clients[clients["client_id"] != "C0001"])
    assert "past due" in calls.set_index("client_id").loc["C0002", "left_out"]
    assert "C0001" not in calls["client_id"].tolist()


@pytest.mark.parametrize(
    ("wanted", "client_ids"),
    [
        ({"route": "north"}, ["C0009", "C0003", "C0001", "C0002"]),
        ({"route": " South "}, ["C0004"]),
        ({"day": "Mon"}, ["C0001", "C0002"]),
        ({"day": "tuesday", "route": "North"}, ["C0003"]),
        ({"kind": "house"}, ["C0009", "C0002"]),
        ({"kind": "sidewalk"}, ["C0003"]),
        ({"kind": "fence"}, []),
        ({"route": "West"}, []),
        ({"is_due_only": True}, []),
    ],
)
def test_some_of_them(wanted, client_ids):
    chosen = choose_calls(list_of(), **wanted)
    assert chosen.loc[chosen["left_out"] == "", "client_id"].tolist() == client_ids


@pytest.mark.parametrize("wanted", ["Tuesday", "tue", "Tues."])
def test_a_day_however_it_is_written(wanted):
    calls = list_of().assign(mow_day="Tue")
    assert len(choose_calls(calls, day=wanted)) == len(calls)
    assert choose_calls(calls, day="Thursday").empty


def test_only_what_is_due():
    calls = list_of(("C0009", "2026-02-01", "call back", "", "", "2026-02-16"))
    assert choose_calls(calls, is_due_only=True)["client_id"].tolist() == ["C0009"]


def test_no_scan_on_record_is_an_empty_list_with_reasons():
    calls = list_of(listed=empty_table(LISTED))
    assert (calls["left_out"] != "").all()
    assert len(calls) == 10


def test_promised_and_gone_from_the_client_list():
    scan = small_scan()
    calls = log_of(
        ("C0099", "2026-02-01", "call back", "", "", "2026-02-10"),
        ("C0098", "2026-02-01", "visit"),
        ("C0097", "2026-02-01", "do not call"),
        ("C0001", "2026-02-01", "call back", "", "", "2026-02-10"),
    )
    gone = list_gone(calls, scan.clients, rates=scan.rates, today=TODAY)
    assert gone["client_id"].tolist() == ["C0099"]
    assert gone["left_out"].tolist() == ["not in the client list any more"]
    assert gone.columns.tolist() == [*TODAY_COLUMNS]


def test_clock_that_went_backwards_hides_no_call_that_is_promised():
    rows = [("C0009", "2026-02-01", "call back", "", "", "2026-02-10")]
    assert list_of(*rows, today=date(2026, 2, 9)).set_index("client_id").loc["C0009", "place"] == 0
    assert list_of(*rows, today=date(2026, 2, 10)).iloc[0]["client_id"] == "C0009"
