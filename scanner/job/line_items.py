"""Every number in a price as a row: quantity, unit, rate, amount, and the rates behind it."""

from __future__ import annotations

import numpy as np
import pandas as pd

from scanner.errors import SchemaError
from scanner.job.cost_sheet import make_cost_sheet
from scanner.job.counting import FloatArray, IntArray
from scanner.job.prices import full_price_cents, take
from scanner.job.quantities import amounts_of
from scanner.job.tasks import Task, unit_hours, unit_usd
from scanner.plane.segments import join
from scanner.schema.documents import RateBook
from scanner.schema.tables import LINE_ITEMS, check_table, empty_table
from scanner.units import CENTS_PER_USD

OVERHEAD = "overhead and profit: cost × margin ÷ (1 − margin), so that the margin is its share of the price"
MINIMUM = "minimum job, what the price falls short of it"
TAX = "sales tax, on top of the price"


def itemize(prices: pd.DataFrame, quantities: pd.DataFrame, *, rates: RateBook) -> pd.DataFrame:
    """
    Write prices out line by line: table `LINE_ITEMS`, in the order of `prices`.

    Each bed in the order of the work, then what the beds share, overhead and profit, minimum job,
    sales tax last. Without the sales tax, the amounts of an offer and finish sum to its price to
    the cent. `RateError` if set-up alone fills the crew's day.
    """
    if prices.empty:
        return empty_table(LINE_ITEMS)
    offer_ids = pd.Index(prices["offer_id"].unique())
    codes = offer_ids.get_indexer(pd.Index(quantities["offer_id"]))
    order = np.argsort(codes, kind="stable")[np.count_nonzero(codes < 0) :]
    job, at = join(offer_ids.get_indexer(pd.Index(prices["offer_id"])), codes[order])
    row, starts = order[at], np.searchsorted(job, np.arange(len(prices)))
    if np.bincount(job, minlength=len(prices)).min() == 0:
        message = "a price has no quantities that it could be made of"
        raise SchemaError(message)
    sheet = make_cost_sheet(
        take(amounts_of(quantities), row), starts,
        prices["method"].to_numpy(object), prices["finish"].to_numpy(object), rates=rates,
    )  # fmt: skip
    bed_rows = _task_rows(sheet.bed_tasks, sheet.bed_quantities, sheet.bed_cents, rates)
    job_rows = _task_rows(sheet.job_tasks, sheet.job_quantities, sheet.job_cents, rates)
    bed_ids, of_bed = quantities["bed_id"].to_numpy(object)[row], bed_rows["row"].to_numpy()
    parts = [
        bed_rows.assign(row=job[of_bed], bed_id=bed_ids[of_bed], section=of_bed),
        *(
            rows.assign(bed_id="", section=len(row) + n)
            for n, rows in enumerate([job_rows, *_price_rows(prices, rates)])
        ),
    ]
    items = pd.concat(parts, ignore_index=True)
    items = items.sort_values(["row", "section", "place"], kind="stable", ignore_index=True)
    of_price = {name: prices[name].to_numpy()[items["row"]] for name in ("offer_id", "finish")}
    return check_table(items.assign(**of_price)[[*LINE_ITEMS.columns]], LINE_ITEMS)


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
    })  # fmt: skip


def _words(words: list[str]) -> np.ndarray:
    return np.array(words, dtype=object)


def _price_rows(prices: pd.DataFrame, rates: RateBook) -> list[pd.DataFrame]:
    margin = rates.gross_margin_share.value
    direct_cents, price_cents, tax_cents = (
        prices[name].to_numpy() for name in ("direct_cost_cents", "price_cents", "sales_tax_cents")
    )
    full_cents = full_price_cents(direct_cents, rates)
    shortfall_cents = price_cents - full_cents
    rows = {
        OVERHEAD: ("gross_margin_share", direct_cents / CENTS_PER_USD, margin / (1.0 - margin), full_cents - direct_cents),
        MINIMUM: ("minimum_job_usd", 1.0, shortfall_cents / CENTS_PER_USD, shortfall_cents),
        TAX: ("sales_tax_share", price_cents / CENTS_PER_USD, rates.sales_tax_share.value, tax_cents),
    }  # fmt: skip
    listed = [
        pd.DataFrame({
            "row": np.arange(len(prices)),
            "place": 0,
            "task": task,
            "quantity": quantity,
            "unit": "job" if task == MINIMUM else "USD",
            "rate_usd": rate_usd,
            "amount_cents": cents,
            "labor_hours": 0.0,
            "rate_key": key,
        })
        for task, (key, quantity, rate_usd, cents) in rows.items()
    ]  # fmt: skip
    return [rows[(rows["task"] != MINIMUM) | (rows["amount_cents"] > 0)] for rows in listed]
