"""Whole columns as text, for tables with many rows: what `cells` does for one value."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import TypeAlias

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

from scanner.sheets.cells import FACTOR_DIGITS, MEASURE_DIGITS, RUNS, guard

Text: TypeAlias = pa.StringArray
"""A column of text; null: not known."""

_NEEDS_QUOTES = '[",\r\n]'
_NEEDS_ESCAPES = r'["\\\x00-\x1f]'


def scaled(values: pd.Series, *, digits: int = MEASURE_DIGITS) -> np.ndarray:
    """Round numbers to whole steps of that many decimals; what has no end counts as 0."""
    numbers = values.to_numpy(dtype=float, na_value=np.nan)
    return np.rint(np.where(np.isfinite(numbers), numbers, 0.0) * 10.0**digits).astype(np.int64)


def decimals(values: pd.Series, *, digits: int = MEASURE_DIGITS) -> Text:
    """Write numbers with that many decimals.

    >>> decimals(pd.Series([52.004, -0.0001, float("nan")])).to_pylist()
    ['52.00', '0.00', None]
    """
    return _with_point(scaled(values, digits=digits), values, digits)


def usd(amounts_cents: pd.Series) -> Text:
    """Write cents as dollars with two decimals.

    >>> usd(pd.Series([162750, -500])).to_pylist()
    ['1627.50', '-5.00']
    """
    return _with_point(scaled(amounts_cents, digits=0), amounts_cents, 2)


def factors(values: pd.Series, *, least_digits: int = 0) -> Text:
    """Write quantities or rates with as many decimals as their product needs, no more.

    >>> factors(pd.Series([2.2222222222, 64.0, 100.0])).to_pylist()
    ['2.222222', '64', '100']
    >>> factors(pd.Series([0.165, 28.0]), least_digits=2).to_pylist()
    ['0.165', '28.00']
    """
    written = decimals(values, digits=FACTOR_DIGITS)
    needed = rf"(\.\d{{{least_digits}}}\d*?)0+$"
    return pc.utf8_rtrim(pc.replace_substring_regex(written, needed, r"\1"), ".")


def texts(values: pd.Series) -> Text:
    """Take texts or whole numbers as they are."""
    taken = pa.array(values, from_pandas=True).cast(pa.string())
    # Tables that were joined keep their texts in pieces
    return taken.combine_chunks() if isinstance(taken, pa.ChunkedArray) else taken


def json_texts(values: pd.Series) -> Text:
    """Write texts as JSON; null where there is none."""
    column = texts(values)
    if pc.any(pc.match_substring_regex(column, _NEEDS_ESCAPES)).as_py():
        written = [
            None if text is None else json.dumps(text, ensure_ascii=False)
            for text in column.to_pylist()
        ]
        return pa.array(written, pa.string())
    return pc.binary_join_element_wise('"', column, '"', "")


def guarded(values: pd.Series) -> Text:
    """Make texts safe to stand in a spreadsheet's cells."""
    column = texts(values)
    if pc.any(pc.match_substring_regex(column, f"^{RUNS}")).as_py():
        return pa.array(
            [None if text is None else guard(text) for text in column.to_pylist()], pa.string()
        )
    return column


def csv_rows(columns: Mapping[str, Text]) -> bytes:
    r"""Write columns as lines of RFC 4180 text in UTF-8, without their names.

    >>> csv_rows({"name": guarded(pd.Series(["=x", "a, b"])), "usd": usd(pd.Series([-500, 1]))})
    b'\'=x,-5.00\r\n"a, b",0.01\r\n'
    """
    cells = [_quoted(column) for column in columns.values()]
    lines = pc.binary_join_element_wise(*cells, ",")
    return "".join(f"{line}\r\n" for line in lines.to_pylist()).encode()


def _quoted(column: Text) -> Text:
    filled = pc.fill_null(column, "")
    needs_quotes = pc.match_substring_regex(filled, _NEEDS_QUOTES)
    if not pc.any(needs_quotes).as_py():
        return filled
    doubled = pc.replace_substring(filled, '"', '""')
    return pc.if_else(needs_quotes, pc.binary_join_element_wise('"', doubled, '"', ""), filled)


def _with_point(whole: np.ndarray, values: pd.Series, digits: int) -> Text:
    """Put the point into whole numbers, through the 128-bit integers of decimals."""
    halves = np.column_stack([whole, whole >> 63])
    numbers = pa.Array.from_buffers(
        pa.decimal128(38, digits), len(whole), [None, pa.py_buffer(halves.tobytes())]
    )
    is_known = np.isfinite(values.to_numpy(dtype=float, na_value=np.nan))
    return pc.if_else(pa.array(is_known), numbers.cast(pa.string()), None)
