"""The plain lists: what each price is made of, and what was wrong or worth saying."""

from __future__ import annotations

from collections.abc import Iterable

from scanner.schema.documents import Scan
from scanner.sheets.cells import csv_bytes, factor, usd

ITEM_COLUMNS = (
    "offer_id", "bed_id", "finish", "task", "quantity", "unit", "rate_usd", "amount_usd", "rate_key",
    "rate_source",
)  # fmt: skip
PROBLEM_COLUMNS = ("file", "feature", "client_id", "severity", "problem", "remedy")


def line_items_csv(scan: Scan) -> bytes:
    """
    Write `line_items.csv`: one row a task or material of each offer and finish.

    Parameters
    ----------
    scan
        Its table `LINE_ITEMS`.

    Returns
    -------
    content
        The file's bytes; quantity times rate is the amount to the cent.
    """
    items = scan.table("line_items")
    columns: dict[str, Iterable[object]] = {
        **{name: items[name] for name in ITEM_COLUMNS if name in items},
        "quantity": [factor(quantity) for quantity in items["quantity"]],
        "rate_usd": [factor(rate, least_digits=2) for rate in items["rate_usd"]],
        "amount_usd": [usd(amount) for amount in items["amount_cents"]],
    }
    return csv_bytes(ITEM_COLUMNS, zip(*(columns[name] for name in ITEM_COLUMNS), strict=True))


def problems_csv(scan: Scan) -> bytes:
    """
    Write `problems.csv`: what was left out and why, and what is worth knowing.

    Parameters
    ----------
    scan
        Its table `PROBLEMS`.

    Returns
    -------
    content
        The file's bytes.
    """
    rows = scan.problems[list(PROBLEM_COLUMNS)].itertuples(index=False)
    return csv_bytes(PROBLEM_COLUMNS, rows)
