"""``explain``: any price line by line, for a client named as people do."""

from __future__ import annotations

import csv
import io
import json
import re
from decimal import Decimal
from pathlib import Path

import pandas as pd
import pytest

from scanner.cli.who import find_client
from tests.cli.desk import type_in

pytestmark = pytest.mark.usefixtures("scanned_once")

CLIENTS = """client_id,name,address,phone,sprinklers
007,Ada Quill,7 Elm St,(308) 555-0107,no
C8,Bo Quill,8 Elm St,+1 308 555 0108,no
C9,Cy Tansy,9 Elm St,,no
"""
MEASURED = """client_id,along,length_ft,room_ft
007,curb,60,30
007,house,40,30
C8,curb,8,30
"""


@pytest.fixture(scope="module")
def book(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A book of lots that were measured on foot, so that a scan needs no drawing; nobody changes it."""
    folder = tmp_path_factory.mktemp("elm")
    (folder / "clients.csv").write_text(CLIENTS)
    (folder / "measured.csv").write_text(MEASURED)
    (folder / "rates.toml").write_text("sales_tax_share = 0.07\n")
    return folder


def lines_of(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text)))


def before_tax(lines: list[dict[str, str]]) -> Decimal:
    return sum(
        Decimal(line["amount_usd"]) for line in lines if not line["task"].startswith("sales tax")
    )


@pytest.mark.parametrize(
    "who", ["007", "7", "ada quill", "Quill, Ada", "555-0107", "1 308 555 0107"]
)
def test_amounts_add_up_to_the_price_said_to_the_cent(book: Path, who: str) -> None:
    asked = ("explain", str(book), who, "--today", "2026-03-02")
    told, listed = type_in(*asked), type_in(*asked, "--csv")
    assert (told.exit_code, listed.exit_code) == (0, 0)
    said = re.findall(
        r"^(\S+), [a-z ]+: \$([\d,.]+) before tax$.*?^  Price with tax +\$([\d,.]+)$", told.stdout, re.M | re.S,
    )  # fmt: skip
    assert said
    for offer_id, price, with_tax in said:
        lines = [line for line in lines_of(listed.stdout) if line["offer_id"] == offer_id]
        assert before_tax(lines) == Decimal(price.replace(",", ""))
        every = sum(Decimal(line["amount_usd"]) for line in lines)
        assert every == Decimal(with_tax.replace(",", ""))
        for line in lines:
            product = Decimal(line["quantity"]) * Decimal(line["rate_usd"])
            assert abs(product - Decimal(line["amount_usd"])) <= Decimal("0.005")
            assert line["source"]


def test_a_price_is_told_as_it_is_reckoned(book: Path) -> None:
    """Labor, materials, cost, margin, price: each sum is that of the lines above it."""
    asked = ("explain", str(book), "007", "--bed", "007-curb-1", "--finish", "mulch", "--today", "2026-03-02")  # fmt: skip
    told = type_in(*asked).stdout
    amounts = {
        words.strip(): Decimal(amount.replace(",", ""))
        for words, amount in re.findall(r"^  (\S.*?)  .*\$([\d,]+\.\d\d)$", told, re.M)
    }
    labor, materials, cost, price = (
        amounts[name]
        for name in (
            "Labor together",
            "Materials, machines, fees together",
            "Cost",
            "Price before tax",
        )
    )
    names = [*amounts]
    first = names[: names.index("Labor together")]
    more = names[
        names.index("Labor together") + 1 : names.index("Materials, machines, fees together")
    ]
    assert sum(amounts[name] for name in first) == labor
    assert sum(amounts[name] for name in more) == materials
    assert cost == labor + materials
    assert price == cost + amounts["Gross profit, 45% of the price"]
    assert amounts["Price with tax"] == price + amounts["Sales tax, 7 %"]
    # 60 by 4 ft of curb: what stands in the guide, 60 ft of the whole edge measured
    assert "007-curb-1: along the curb, 60.0 ft of edge, 240.0 ft², 4.0 ft deep" in told
    hours = {
        words.strip(): float(count)
        for words, count in re.findall(r"^  (\S.*?)  .* (\d+\.\d\d) +\$", told, re.M)
    }
    # 240 ft² x 3 in / 324 = 2.222 yd³, at 1.5 yd³ an hour
    assert hours["spread mulch"] == pytest.approx(2.222 / 1.5, abs=0.005)
    assert hours["Labor together"] == pytest.approx(sum(hours[name] for name in first), abs=0.05)


def test_a_bed_alone_in_another_finish(book: Path) -> None:
    result = type_in(
        "explain", str(book), "007", "--bed", "007-curb-1", "--finish", "mulch", "--csv"
    )
    lines = lines_of(result.stdout)
    assert {(line["offer_id"], line["finish"]) for line in lines} == {("007-curb-1", "mulch")}
    # 60 by 4 ft at 3 in of mulch: 240 x 3 / 324 yd3; a rate is what its figures make
    mulch = next(line for line in lines if line["task"] == "spread mulch")
    assert mulch["quantity"] == "2.222222"
    assert mulch["rate_key"] == "spread_mulch_yd3_per_hour*labor_usd_per_hour"
    assert Decimal(mulch["rate_usd"]) == round(Decimal(28) / Decimal("1.5"), 6)


def test_json_for_other_programs(book: Path) -> None:
    result = type_in("explain", str(book), "007", "--bed", "007-curb-1", "--json")
    lines = json.loads(result.stdout)
    assert {line["finish"] for line in lines} == {"accent"}
    assert all(isinstance(line["amount_usd"], float) for line in lines)


@pytest.mark.parametrize(
    ("words", "exit_code", "says"),
    [
        (("quill",), 1, "'quill' fits 2 clients, name one by its id: 007 (Ada Quill, 7 Elm St); C8 (Bo Quill"),
        (("Zora",), 1, "Cannot go on: 'Zora' is no id, name or phone number in the client list"),
        (("ada quil",), 1, "'ada quil' is no id, name or phone number in the client list; nearest to it: 007 (Ada Quill, 7 Elm St)"),
        (("007", "--bed", "C8-curb-1"), 2, "'C8-curb-1' is no bed of 007: 007-curb-1, 007-house-1"),
        (("C8", "--bed", "C8-curb-1"), 1, "C8-curb-1 has no price: it is too short"),
        (("C8",), 1, "C8 has no offer and so no price: C8-curb-1, it is too short"),
        (("C9",), 1, "C9 has no offer and so no price"),
    ],
)  # fmt: skip
def test_what_cannot_be_priced_is_a_sentence(
    book: Path, words: tuple[str, ...], exit_code: int, says: str
) -> None:
    result = type_in("explain", str(book), *words)
    assert result.exit_code == exit_code
    assert says in " ".join(re.sub(r"[│╭╮╰╯─]", " ", result.stderr).split())
    assert result.stdout == ""


def test_more_clients_that_fit_than_can_be_read() -> None:
    clients = pd.DataFrame(
        {"client_id": [f"C{n}" for n in range(20)], "name": "Ada Quill", "phone": "", "address": ""}
    )
    with pytest.raises(Exception, match=r"fits 20 clients, .* C0 .*; and 12 more"):
        find_client("ada", clients)


def test_chance_and_rank_are_written_out(book: Path) -> None:
    lines = type_in("explain", str(book), "007", "--today", "2027-03-02").stdout
    told = " ".join(lines.split())
    # 12 of 20 are reached, 1 of 3 agrees: the starting values, without a call on record
    assert "60.0% of such clients are reached (0 tries on record" in told
    assert "33.3% of these agree to a visit (0 talks on record" in told
    steps = re.search(
        r"([\d.]+)% of these buy at a price of ([\d.]+) years of mowing .*?: ([\d.]+)%\.", told
    )
    assert steps is not None
    buys, years, chance = map(float, steps.groups())
    assert chance == pytest.approx(0.6 / 3 * buys, abs=0.02)
    price = re.search(r"a few plants: \$([\d,.]+) before tax", told)
    assert price is not None
    assert years == pytest.approx(float(price[1].replace(",", "")) / 1500, abs=0.005)
    rank = re.search(
        r"gross profit of \$([\d,.]+) is \$([\d,.]+\d)(?:, and the larger job adds \$([\d,.]+\d))?: \$([\d,.]+\d)\.",
        told,
    )
    assert rank is not None
    profit, lead, added, whole = (float((text or "0").replace(",", "")) for text in rank.groups())
    assert lead == pytest.approx(profit * chance / 100, rel=2e-3)
    assert whole == pytest.approx(lead + added, abs=0.011)
    assert "The kind of bed and the signs of this client multiply that by " in told
    assert f"as the only call of one the chance is {chance:.2f}%" in told
