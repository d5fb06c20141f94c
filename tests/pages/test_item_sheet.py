from __future__ import annotations

import csv
import io
from decimal import Decimal

from scanner.pages.item_sheet import line_items_csv, problems_csv
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
    "rate_source",
]
PROBLEM_COLUMNS = ["file", "feature", "client_id", "severity", "problem", "remedy"]


def read(content):
    return list(csv.DictReader(io.StringIO(content.decode(), newline="")))


def test_columns_in_the_order_of_the_design():
    assert list(read(line_items_csv(small_scan()))[0]) == ITEM_COLUMNS
    assert list(read(problems_csv(small_scan()))[0]) == PROBLEM_COLUMNS


def test_every_price_can_be_followed():
    scan = small_scan()
    items = read(line_items_csv(scan))
    assert len(items) == len(scan.table("line_items"))
    for item in items:
        assert round(Decimal(item["quantity"]) * Decimal(item["rate_usd"]), 2) == Decimal(
            item["amount_usd"]
        )
    lead = scan.table("prices").query("offer_id == 'C0002+2' and finish == 'planted'").iloc[0]
    amounts = [
        Decimal(i["amount_usd"])
        for i in items
        if (i["offer_id"], i["finish"]) == ("C0002+2", "planted")
    ]
    assert sum(amounts) * 100 == int(lead["direct_cost_cents"])


def test_problems_are_told_whole():
    fault, note = read(problems_csv(small_scan()))
    assert (fault["severity"], fault["client_id"]) == ("fault", "C0010")
    assert fault["remedy"] == "draw the lot or measure its edges"
    assert note["severity"] == "note"
