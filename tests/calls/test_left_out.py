"""Who gets no call: everybody who is not on the list, once, with one reason."""

from __future__ import annotations

import pandas as pd
import pytest

from scanner.calls.left_out import NOTHING_FOUND, list_left_out
from scanner.schema.edge_kinds import ALONG, EDGE_KINDS
from scanner.schema.feature_kinds import FEATURE_KINDS
from scanner.schema.local_rules import AlongKind
from scanner.schema.log_tables import QUESTIONS
from tests.small_scan import small_scan

SCAN = small_scan()


def reasons(calls=SCAN.calls, beds=SCAN.beds, problems=SCAN.problems):
    left_out = list_left_out(calls, SCAN.clients, beds, problems, under_way=SCAN.under_way)
    return left_out.set_index("client_id")["reason"]


def test_everybody_is_called_or_left_out_with_a_reason():
    called = SCAN.calls.loc[SCAN.calls["left_out"] == "", "client_id"]
    assert sorted([*called, *SCAN.left_out["client_id"]]) == sorted(SCAN.clients["client_id"])
    assert SCAN.left_out["has_offer"].tolist() == [True, True, False, False]
    assert SCAN.left_out["reason"].tolist() == [
        "asked not to be called",
        "payment past due: settle that first",
        "no lawn touches a curb, house front or sidewalk (nothing to do)",
        "no outline for this client (draw the lot or measure its edges)",
    ]


def test_skipped_beds_are_the_reason_where_there_is_no_problem():
    found = reasons(SCAN.calls.head(0), problems=SCAN.problems.head(0))
    # The small scan's sidewalk bed of C0003 has 10 ft of edge, under the least of 12
    assert found["C0003"] == "the bed along the sidewalk is too short (10 ft)"
    assert found["C0010"] == NOTHING_FOUND
    # two walls that are as short are one reason
    twice = pd.concat([SCAN.beds, SCAN.beds.query("bed_id == 'C0003-sidewalk-2'")])
    again = reasons(SCAN.calls.head(0), beds=twice, problems=SCAN.problems.head(0))
    assert again["C0003"] == found["C0003"]


def test_an_offer_that_is_not_to_be_made_says_why_before_any_problem():
    problem = SCAN.problems.head(1).assign(client_id="C0005")
    assert reasons(problems=problem)["C0005"] == "asked not to be called"


def test_nothing_scanned_is_nobody_called():
    left_out = list_left_out(
        SCAN.calls.head(0),
        SCAN.clients,
        SCAN.beds.head(0),
        SCAN.problems.head(0),
        under_way=SCAN.under_way,
    )
    assert set(left_out["reason"]) == {NOTHING_FOUND}
    assert left_out["client_id"].tolist() == [
        client_id for _, client_id in sorted(zip(SCAN.clients["name"].str.casefold(), SCAN.clients["client_id"], strict=True))
    ]  # fmt: skip


@pytest.mark.parametrize("kind", EDGE_KINDS.values(), ids=ALONG)
def test_each_kind_of_edge_knows_its_layer_and_its_questions(kind):
    assert kind.layer in {*FEATURE_KINDS, ""}
    assert {kind.question, kind.condition} <= {*QUESTIONS, ""}
    assert kind.words.startswith("the ")
    assert not kind.is_denied_by_no or kind.question


def test_the_type_of_the_local_rules_spells_the_same_kinds():
    assert AlongKind.__args__ == ALONG
    assert isinstance(SCAN.beds["along"], pd.Series)
