from __future__ import annotations

import csv
import io
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scanner.sheets.cells import csv_bytes, factor, guard, json_value, unguard

# What starts a formula in a spreadsheet: OWASP, "CSV injection"
STARTS = ("=", "+", "-", "@", "\t", "\r")
texts = st.text(
    alphabet=st.one_of(st.sampled_from("=+-@\t\r'\n,\"a"), st.characters(codec="utf-8"))
)


@pytest.mark.parametrize("start", STARTS)
def test_no_cell_starts_a_formula(start):
    assert guard(f"{start}1+1") == f"'{start}1+1"


@given(texts)
def test_guard_and_back(text):
    assert unguard(guard(text)) == text
    assert not guard(text).startswith(STARTS)


@given(st.lists(st.tuples(texts, texts), max_size=5))
def test_csv_and_back(rows):
    written = csv_bytes(["one", "two"], rows).decode()
    _, *read = csv.reader(io.StringIO(written, newline=""))
    assert [tuple(unguard(cell) for cell in row) for row in read] == rows


def test_negative_money_is_a_number_and_stays_one():
    assert csv_bytes(["gross_profit_usd"], [[Decimal("-5.00")]]) == b"gross_profit_usd\r\n-5.00\r\n"


def test_quantity_times_rate_gives_the_amount_to_the_cent():
    # Worked case 12: 2.2222... yd3 at $38 and 10 % waste is 41.80 a yd3
    product = factor(2.2222222222222) * factor(41.8, least_digits=2)
    assert round(product, 2) == Decimal("92.89")


def test_json_refuses_what_json_cannot_hold():
    with pytest.raises(ValueError, match="not JSON compliant"):
        json_value(float("nan"))
