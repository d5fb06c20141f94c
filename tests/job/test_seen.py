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


def test_no_head_counted_is_none_and_is_known():
    told = [("C1", "heads along edge", "0")]
    assert set(heads(bed(), told=told, sprinklers="yes").values()) == {0.0}
    known = price(bed(), told=told, sprinklers="unknown")
    assert not known["unknowns"].str.contains("sprinklers not known").any()
    unknown = price(bed(), sprinklers="unknown")
    assert unknown["unknowns"].str.contains("sprinklers not known").all()


@pytest.mark.parametrize(
    ("gate_in", "chosen"),
    [(None, "sod cutter"), ("47", "sod cutter"), ("48", "loader"), ("60", "loader")],
)
def test_a_wide_gate_lets_the_loader_in(gate_in, chosen):
    # 1,200 ft² behind the house: with a barrow the loader pays from 1,030 ft² on and needs 48 in
    back = bed("C1-house-1", along="house", face="back", length=300)
    told = [("C1", "gate width in", gate_in)] if gate_in else []
    assert set(price(back, told=told)["method"]) == {chosen}


def test_a_narrow_gate_keeps_no_loader_from_the_curb():
    told = [("C1", "gate width in", "30")]
    assert set(price(bed(length=600), told=told)["method"]) == {"cutter and loader"}


# By hand: mulch price 1,605.35, drawn −25 / +40 %; steeper than 10 % may cost 20 % more
@pytest.mark.parametrize(
    ("slope", "low_usd", "high_usd", "says"),
    [
        (None, 1200, 2250, "slope not seen"),
        ("0", 1200, 2250, ""),
        ("10", 1200, 2250, ""),
        ("15", 1200, 2600, "a slope of 15 %"),
    ],
)
def test_slope_widens_the_range(slope, low_usd, high_usd, says):
    firm = firm_rates().model_copy(update={"range_slope_share": rate(0, 0, 0.2)})
    told = [("C1", "slope percent", slope)] if slope else []
    prices = price(bed(), told=told, rates=firm).set_index("finish")
    assert prices.loc["mulch", "price_low_cents"] == low_usd * 100
    assert prices.loc["mulch", "price_high_cents"] == high_usd * 100
    assert prices.loc["mulch", "price_cents"] == 160_535
    slopes = [word for word in prices.loc["mulch", "unknowns"].split("; ") if "slope" in word]
    assert slopes == ([says] if says else [])


@pytest.mark.parametrize(("slope", "refers"), [("25", False), ("26", True)])
def test_over_25_percent_is_referred(slope, refers):
    made = offers(bed(), told=[("C1", "slope percent", slope)])
    assert made["needs_designer"].tolist() == [refers]
    assert made["offer"].iloc[0].startswith("refer to a landscape designer") == refers


UNSEEN_WALL = {"lawn_source": "inferred", "edge_source": "surveyed", **FRONT}


@pytest.mark.parametrize(
    ("row", "told", "is_confirmed"),
    [
        (bed("C1-house-1", **UNSEEN_WALL), (), False),
        (bed("C1-house-1", **UNSEEN_WALL), [("C1", "turf to house", "yes")], True),
        (bed("C1-house-1", **UNSEEN_WALL), [("C1", "turf to curb", "yes")], False),
        (bed("C1-house-1", **UNSEEN_WALL), [("C2", "turf to house", "yes")], False),
        (bed(is_opening_guessed=True), (), False),
        (bed(is_opening_guessed=True), [("C1", "turf to curb", "yes")], True),
        (bed(is_opening_guessed=True), [("C1", "turf to house", "yes")], False),
    ],
)
def test_a_bed_counts_as_confirmed_once_a_crew_has_seen_it(row, told, is_confirmed):
    made = offers(row, told=told)
    assert made["is_confirmed"].tolist() == [is_confirmed]
    assert made["unseen_bed_ids"].tolist() == ["" if is_confirmed else row["bed_id"]]
