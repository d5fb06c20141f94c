"""Whole columns are written as single values are."""

from __future__ import annotations

import csv
import io
import json
import math

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from scanner.sheets import cells
from scanner.sheets import text_columns as columns

texts = st.text(
    alphabet=st.one_of(
        st.sampled_from("=+-@\t\r'\n,\"\\a\u2028<"),
        st.characters(codec="utf-8", exclude_characters="\0"),
    )
)


def text_column(values):
    return pd.Series(values, dtype="str")


@given(st.lists(texts, max_size=6))
def test_guarded_as_single_cells_are(values):
    assert columns.guarded(text_column(values)).to_pylist() == [cells.guard(one) for one in values]


@given(st.lists(st.tuples(texts, texts), max_size=6))
def test_csv_and_back(rows):
    one, two = (text_column([row[n] for row in rows]) for n in (0, 1))
    written = columns.csv_rows({"one": columns.guarded(one), "two": columns.guarded(two)}).decode()
    read = [tuple(map(cells.unguard, row)) for row in csv.reader(io.StringIO(written, newline=""))]
    assert read == rows


@given(st.lists(texts, max_size=6))
def test_json_and_back(values):
    written = columns.json_texts(text_column(values)).to_pylist()
    assert [json.loads(one) for one in written] == values


@given(st.lists(st.integers(-(10**12), 10**12), max_size=6))
def test_money_to_the_cent(amounts):
    written = columns.usd(pd.Series(amounts, dtype="int64")).to_pylist()
    assert written == [str(cells.usd(amount)) for amount in amounts]


@given(st.lists(st.floats(-1e6, 1e6), max_size=6), st.integers(0, 3))
def test_decimals_are_the_nearest(values, digits):
    for value, written in zip(
        values,
        columns.decimals(pd.Series(values, dtype=float), digits=digits).to_pylist(),
        strict=True,
    ):
        assert abs(float(written) - value) <= 0.5 * 10.0**-digits + 1e-9
        assert len(written.partition(".")[2]) == digits
        assert written.lstrip("-") == written or float(written) < 0  # no minus before nothing


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
def test_what_is_no_number_is_not_known(value):
    assert columns.decimals(pd.Series([value, 1.0])).to_pylist() == [None, "1.00"]
    assert columns.csv_rows({"a": columns.decimals(pd.Series([value, 1.0]))}) == b"\r\n1.00\r\n"


@given(st.lists(st.floats(0, 1e5), max_size=6))
def test_factors_as_single_cells_have_them(values):
    written = columns.factors(pd.Series(values, dtype=float), least_digits=2).to_pylist()
    for one, value in zip(written, values, strict=True):
        assert float(one) == pytest.approx(float(cells.factor(value)), abs=1.01e-6)
        assert len(one.partition(".")[2]) >= 2
        assert not one.partition(".")[2][2:].endswith("0")


def test_joined_tables_keep_their_texts():
    joined = pd.concat([text_column(["a"]), text_column(["=b"])], ignore_index=True)
    assert columns.guarded(joined).to_pylist() == ["a", "'=b"]
