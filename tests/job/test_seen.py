"""What crews saw moves quantities, method, range and offer."""

from __future__ import annotations

import pytest

from scanner.job.quantities import know_lots, take_off
from tests.answers import answers
from tests.job.job_cases import (
    bed,
    clients,
    firm_rates,
    offer,
    offer_beds,
    price_table,
    rate,
    rate_book,
)

RATES = rate_book(gentle_slope_percent=10).model_copy(update={"range_slope_share": rate(0, 0, 0.2)})
FRONT = {"along": "house", "face": "front"}


def heads(*rows, told=(), sprinklers="no"):
    table = offer_beds(*rows)
    people = clients("C1", sprinklers=sprinklers)
    lots = know_lots(table, people, rates=RATES, answers=answers(*told))
    taken = take_off(table, lots, rates=RATES)
    return dict(zip(zip(taken["offer_id"], taken["bed_id"], strict=True), taken["head_count"], strict=True))  # fmt: skip


def price(*rows, told=(), sprinklers="no", rates=RATES):
    table = offer_beds(*rows)
    return price_table(table, rates=rates, sprinklers=sprinklers, seen=answers(*told))[1]


def offers(*rows, told=()):
    return offer(*rows, rates=RATES, seen=answers(*told))


def test_heads_by_rate_until_somebody_counts():
    # 60 ft at 8 heads per 100 ft
    assert heads(bed(), sprinklers="yes") == {("C1-curb-1", "C1-curb-1"): pytest.approx(4.8)}


def test_heads_counted_are_shared_out_by_edge():
    # 9 heads along 60 + 30 ft of edge; the beds together have the same edges
    one, two = bed(), bed("C1-house-1", length=30, **FRONT)
    together = [one | {"offer_id": "C1+2"}, two | {"offer_id": "C1+2"}]
    told = [("C1", "heads along edge", "9")]
    for sprinklers in ("yes", "no", "unknown"):
        assert heads(one, two, *together, told=told, sprinklers=sprinklers) == {
            ("C1-curb-1", "C1-curb-1"): pytest.approx(6),
            ("C1-house-1", "C1-house-1"): pytest.approx(3),
            ("C1+2", "C1-curb-1"): pytest.approx(6),
            ("C1+2", "C1-house-1"): pytest.approx(3),
        }


def test_heads_counted_along_some_beds_are_theirs():
    # 2 heads along the 30 ft house bed: as dense along the curb, 4 on 60 ft; a bed that is gone leaves all edges
    one, two = bed(), bed("C1-house-1", length=30, **FRONT)
    curb, house = ("C1-curb-1", "C1-curb-1"), ("C1-house-1", "C1-house-1")
    told = [("C1", "heads along edge", "2 along C1-house-1")]
    assert heads(one, two, told=told) == {curb: pytest.approx(4), house: pytest.approx(2)}
    gone = [("C1", "heads along edge", "3 along C1-house-9")]
    assert heads(one, two, told=gone) == {curb: pytest.approx(2), house: pytest.approx(1)}


def test_no_head_counted_is_none_and_is_known():
    told = [("C1", "heads along edge", "0")]
    assert set(heads(bed(), told=told, sprinklers="yes").values()) == {0.0}
    known = price(bed(), told=told, sprinklers="unknown")
    assert not known["unknowns"].str.contains("sprinklers not known").any()
    unknown = price(bed(), sprinklers="unknown")
    assert unknown["unknowns"].str.contains("sprinklers not known").all()


def test_a_wide_gate_lets_the_loader_in():
    # 1,200 ft² behind the house: with a barrow the loader pays from 1,030 ft² on and needs 48 in
    gates_in = {"unseen": None, "47": "47", "48": "48", "60": "60"}
    backs = [bed(f"{one}-house-1", along="house", face="back", length=300) for one in gates_in]
    told = [(one, "gate width in", gate_in) for one, gate_in in gates_in.items() if gate_in]
    chosen = price(*backs, told=told).groupby("client_id")["method"].agg(set)
    assert chosen.to_dict() == {
        "unseen": {"sod cutter"}, "47": {"sod cutter"}, "48": {"loader"}, "60": {"loader"},
    }  # fmt: skip


def test_a_narrow_gate_keeps_no_loader_from_the_curb():
    told = [("C1", "gate width in", "30")]
    assert set(price(bed(length=600), told=told)["method"]) == {"cutter and loader"}


def test_slope_widens_the_range():
    # By hand: mulch price 1,605.35, drawn −25 / +40 %; steeper than 10 % may cost 20 % more
    firm = firm_rates().model_copy(update={"range_slope_share": rate(0, 0, 0.2)})
    slopes = {"unseen": None, "flat": "0", "gentle": "10", "steep": "15"}
    told = [(one, "slope percent", slope) for one, slope in slopes.items() if slope]
    prices = price(*(bed(f"{one}-curb-1") for one in slopes), told=told, rates=firm)
    mulch = prices[prices["finish"] == "mulch"].set_index("client_id").loc[[*slopes]]
    assert mulch["price_cents"].tolist() == [160_535] * 4
    assert mulch["price_low_cents"].tolist() == [120_000] * 4
    assert mulch["price_high_cents"].tolist() == [225_000, 225_000, 225_000, 260_000]
    said = [[word for word in words.split("; ") if "slope" in word] for words in mulch["unknowns"]]
    assert said == [["slope not seen"], [], [], ["a slope of 15 %"]]


def test_over_25_percent_is_referred():
    told = [(f"C{slope}", "slope percent", slope) for slope in ("25", "26")]
    made = offers(bed("C25-curb-1"), bed("C26-curb-1"), told=told)
    assert made["needs_designer"].tolist() == [False, True]
    is_referred = made["offer"].str.startswith("refer to a landscape designer")
    assert is_referred.tolist() == [False, True]


UNSEEN_WALL = {"lawn_source": "inferred", "edge_source": "surveyed", **FRONT}


WALL, DRIVE = ("house", UNSEEN_WALL), ("curb", {"is_opening_guessed": True})
SEEN = {
    "wall": (WALL, "", False),
    "wall_seen": (WALL, "turf to house", True),
    "wall_curb_seen": (WALL, "turf to curb", False),
    "drive": (DRIVE, "", False),
    "drive_seen": (DRIVE, "turf to curb", True),
    "drive_wall_seen": (DRIVE, "turf to house", False),
}


def test_a_bed_counts_as_confirmed_once_a_crew_has_seen_it():
    rows = [bed(f"{name}-{along}-1", **known) for name, ((along, known), _, _) in SEEN.items()]
    told = [(name, question, "yes") for name, (_, question, _) in SEEN.items() if question]
    made = offers(*rows, told=told).set_index("client_id")
    # what was seen on one lot says nothing of another
    assert made["is_confirmed"].to_dict() == {name: one[2] for name, one in SEEN.items()}
    unseen = {row["client_id"]: row["bed_id"] for row in rows if not SEEN[row["client_id"]][2]}
    assert made["unseen_bed_ids"].to_dict() == {name: unseen.get(name, "") for name in SEEN}
