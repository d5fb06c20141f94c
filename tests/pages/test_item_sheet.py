from __future__ import annotations

import csv
import io
from decimal import Decimal

from scanner.pages.item_sheet import line_items_csv, problems_csv, rates_csv
from scanner.schema.documents import Rate
from tests.small_scan import small_scan

# The columns that the files promise, in their order
ITEM_COLUMNS = [
    "offer_id",
    "bed_id",
    "finish",
    "task",
    "quantity",
    "unit",
    "rate_usd",
    "amount_usd",
    "rate_key",
]
PROBLEM_COLUMNS = ["file", "feature", "client_id", "severity", "problem", "remedy"]


def read(content):
    return list(csv.DictReader(io.StringIO(b"".join(content).decode(), newline="")))


def test_columns_in_the_order_of_the_design():
    assert list(read(line_items_csv(small_scan(), small_scan().parts))[0]) == ITEM_COLUMNS
    assert list(read([problems_csv(small_scan())])[0]) == PROBLEM_COLUMNS


def test_every_price_on_the_list_can_be_followed():
    scan = small_scan()
    items = read(line_items_csv(scan, scan.parts))
    listed = scan.calls[scan.calls["left_out"] == ""]
    assert {item["offer_id"] for item in items} == set(listed["offer_id"])
    for item in items:
        assert round(Decimal(item["quantity"]) * Decimal(item["rate_usd"]), 2) == Decimal(
            item["amount_usd"]
        )
    lead = scan.table("prices").query("offer_id == 'C0002+2' and finish == 'planted'").iloc[0]
    amounts = [Decimal(item["amount_usd"]) for item in items if item["offer_id"] == "C0002+2"]
    assert sum(amounts) * 100 == int(lead["direct_cost_cents"])


def test_left_out_offers_have_no_line_items():
    # The fifth client must not be called, the sixth is past due
    clients = {
        item["offer_id"][:5] for item in read(line_items_csv(small_scan(), small_scan().parts))
    }
    assert not clients & {"C0005", "C0006"}


def test_every_rate_stands_once_with_unit_and_source():
    rates = small_scan().rates
    rows = read([rates_csv(rates)])
    assert list(rows[0]) == ["rate_key", "value", "low", "high", "unit", "source"]
    figures = {key for key, rate in rates if isinstance(rate, Rate)}
    assert sorted(row["rate_key"] for row in rows) == sorted(figures)
    mulch = next(row for row in rows if row["rate_key"] == "mulch_usd_per_yd3")
    assert (mulch["value"], mulch["unit"]) == ("38", "USD per yd3")
    assert all(row["source"] and row["unit"] for row in rows)


def test_problems_are_told_whole():
    fault, note = read([problems_csv(small_scan())])
    assert (fault["severity"], fault["client_id"]) == ("fault", "C0010")
    assert fault["remedy"] == "draw the lot or measure its edges"
    assert note["severity"] == "note"
