"""The plain lists: what each price is made of, at which rates, and what was wrong or worth saying."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

import pandas as pd

from scanner.schema.documents import Part, Rate, RateBook, Scan
from scanner.schema.rate_book import unit_of
from scanner.sheets.cells import csv_bytes, factor
from scanner.sheets.lists import ITEM_LIST, PROBLEM_LIST, RATE_LIST
from scanner.sheets.text_columns import Text, csv_rows, factors, guarded, usd


def line_items_csv(scan: Scan, parts: Iterable[Part]) -> Iterator[bytes]:
    """Write `line_items.csv`: the offers on the call list in the finish offered; a piece a part."""
    listed = pd.Index(scan.calls.loc[scan.calls["left_out"] == "", "offer_id"])
    yield csv_bytes(ITEM_LIST.names, [])
    for part in parts:
        items = part["line_items"]
        is_listed = listed.get_indexer(pd.Index(items["offer_id"])) >= 0
        yield csv_rows(item_columns(items[is_listed]))
    yield b""


def item_columns(items: pd.DataFrame) -> dict[str, Text]:
    """Write the columns of table `LINE_ITEMS` out: quantity times rate is the amount to the cent."""
    written = {
        "quantity": factors(items["quantity"]),
        "rate_usd": factors(items["rate_usd"], least_digits=2),
        "amount_usd": usd(items["amount_cents"]),
    }
    return {
        name: written[name] if name in written else guarded(items[name]) for name in ITEM_LIST.names
    }


def rates_csv(rates: RateBook) -> bytes:
    """Write `rates.csv`: each figure of the rate book once, with its unit and its source."""
    figures = {key: rate for key, rate in rates if isinstance(rate, Rate)}
    rows = (
        (key, factor(rate.value), factor(rate.low), factor(rate.high), unit_of(key), rate.source)
        for key, rate in figures.items()
    )
    return csv_bytes(RATE_LIST.names, rows)


def problems_csv(scan: Scan) -> bytes:
    """Write `problems.csv`: what was left out and why, and what is worth knowing."""
    columns = {name: guarded(scan.problems[name]) for name in PROBLEM_LIST.names}
    return csv_bytes(PROBLEM_LIST.names, []) + csv_rows(columns)
