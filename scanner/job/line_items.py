"""Every number in a price as a row: quantity, unit, rate, amount, and where it comes from."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from scanner.job.cost_sheet import CostSheet
from scanner.job.counting import FloatArray, IntArray
from scanner.job.tasks import Task, unit_hours, unit_usd
from scanner.schema.documents import RateBook
from scanner.schema.tables import LINE_ITEMS
from scanner.units import CENTS_PER_USD

OVERHEAD = "overhead and profit: cost × margin ÷ (1 − margin), so that the margin is its share of the price"
MINIMUM = "minimum job, what the price falls short of it"
TAX = "sales tax, on top of the price"


def list_items(
    sheet: CostSheet,
    prices: pd.DataFrame,
    *,
    bed_ids: pd.Series[str],
    rates: RateBook,
) -> pd.DataFrame:
    """
    Write a cost sheet and its prices out as rows.

    Parameters
    ----------
    sheet
        Quantities and money of one finish.
    prices
        One row an offer, in the sheet's order: `offer_id`, `direct_cost_cents`,
        `margin_cents`, `shortfall_cents`, `price_cents`, `sales_tax_cents`.
    bed_ids
        Beds in the sheet's order.
    rates
        The rate book.

    Returns
    -------
    items
        Columns of `LINE_ITEMS` and `offer`, `section` and `place` to sort by: beds
        first, then what they share, overhead and profit, minimum job, sales tax last.
    """
    parts = [
        _task_rows(sheet.bed_tasks, sheet.bed_quantities, sheet.bed_cents, rates).pipe(
            lambda rows: rows.assign(
                offer=sheet.offer_codes[rows["row"]],
                bed_id=bed_ids.to_numpy()[rows["row"]],
                section=rows["row"],
            )
        ),
        _task_rows(sheet.job_tasks, sheet.job_quantities, sheet.job_cents, rates).pipe(
            lambda rows: rows.assign(offer=rows["row"], bed_id="", section=len(bed_ids))
        ),
        *(rows.assign(section=len(bed_ids) + 1 + n) for n, rows in enumerate(_price_rows(prices, rates))),
    ]  # fmt: skip
    items = pd.concat(parts, ignore_index=True)
    offer_ids = prices["offer_id"].to_numpy()
    return items.assign(offer_id=offer_ids[items["offer"]], finish=sheet.finish)


def sort_items(items: Sequence[pd.DataFrame]) -> pd.DataFrame:
    """
    Put the rows of all finishes together: by offer, then finish, then as listed.

    Parameters
    ----------
    items
        What `list_items` gave, finish by finish.

    Returns
    -------
    line_items
        The columns of `LINE_ITEMS`.
    """
    together = pd.concat(
        [rows.assign(finish_place=place) for place, rows in enumerate(items)], ignore_index=True
    )
    ordered = together.sort_values(
        ["offer", "finish_place", "section", "place"], kind="stable", ignore_index=True
    )
    return ordered[[*LINE_ITEMS.columns]]


def _task_rows(
    tasks: tuple[Task, ...], quantities: FloatArray, cents: IntArray, rates: RateBook
) -> pd.DataFrame:
    row, place = np.nonzero(quantities)
    hours = np.array([unit_hours(task, rates) for task in tasks])
    usd = np.array([unit_usd(task, rates) for task in tasks])
    return pd.DataFrame({
        "row": row,
        "place": place,
        "task": _words([task.task for task in tasks])[place],
        "quantity": quantities[row, place],
        "unit": _words([task.unit for task in tasks])[place],
        "rate_usd": usd[place],
        "amount_cents": cents[row, place],
        "labor_hours": quantities[row, place] * hours[place],
        "rate_key": _words([task.rate_key for task in tasks])[place],
        "rate_source": _words([task.rate_source(rates) for task in tasks])[place],
    })  # fmt: skip


def _words(words: list[str]) -> np.ndarray:
    return np.array(words, dtype=object)


def _price_rows(prices: pd.DataFrame, rates: RateBook) -> list[pd.DataFrame]:
    margin = rates.gross_margin_share.value
    direct_usd = prices["direct_cost_cents"] / CENTS_PER_USD
    shortfall_usd = prices["shortfall_cents"] / CENTS_PER_USD
    price_usd = prices["price_cents"] / CENTS_PER_USD
    rows = {
        OVERHEAD: ("gross_margin_share", direct_usd, margin / (1.0 - margin), "margin_cents"),
        MINIMUM: ("minimum_job_usd", 1.0, shortfall_usd, "shortfall_cents"),
        TAX: ("sales_tax_share", price_usd, rates.sales_tax_share.value, "sales_tax_cents"),
    }
    listed = [
        pd.DataFrame({
            "offer": np.arange(len(prices)),
            "place": 0,
            "bed_id": "",
            "task": task,
            "quantity": quantity,
            "unit": "job" if task == MINIMUM else "USD",
            "rate_usd": rate_usd,
            "amount_cents": prices[cents].to_numpy(),
            "labor_hours": 0.0,
            "rate_key": key,
            "rate_source": getattr(rates, key).source,
        }, index=prices.index)
        for task, (key, quantity, rate_usd, cents) in rows.items()
    ]  # fmt: skip
    return [rows[(rows["task"] != MINIMUM) | (rows["amount_cents"] > 0)] for rows in listed]
