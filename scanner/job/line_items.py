"""Every number in a price as a row: quantity, unit, rate, amount, and the rates behind it."""

from __future__ import annotations

import numpy as np
import pandas as pd

from scanner.job.cost_sheet import make_cost_sheet
from scanner.job.counting import FloatArray, IntArray
from scanner.job.prices import full_price_cents, join_quantities
from scanner.job.tasks import Task, unit_hours, unit_usd
from scanner.schema.documents import FINISHES, Finish, RateBook
from scanner.schema.tables import (
    LINE_ITEMS,
    check_table,
    empty_table,
)
from scanner.units import CENTS_PER_USD

OVERHEAD = "overhead and profit: cost × margin ÷ (1 − margin), so that the margin is its share of the price"
MINIMUM = "minimum job, what the price falls short of it"
TAX = "sales tax, on top of the price"


def itemize(
    prices: pd.DataFrame,
    offer_beds: pd.DataFrame,
    quantities: pd.DataFrame,
    *,
    rates: RateBook,
    answers: pd.DataFrame | None = None,
) -> pd.DataFrame:
    """
    Write prices out line by line.

    Parameters
    ----------
    prices
        Table `PRICES`: the offers and finishes that are asked for.
    offer_beds
        Table `OFFER_BEDS` [ft, ft²]: the beds of these offers, others too.
    quantities
        Table `QUANTITIES` of the same beds.
    rates
        The rate book that the prices were made with.
    answers
        Table `ANSWERS`: gates that crews saw. None: no crew has looked yet.

    Returns
    -------
    line_items
        Table `LINE_ITEMS`, in the order of `prices`: each bed in the order of the work, then
        what the beds share, overhead and profit, minimum job, sales tax last. Without the
        sales tax, the amounts of an offer and finish sum to its price to the cent.

    Raises
    ------
    SchemaError
        If a bed has no quantities.
    RateError
        If set-up alone fills the crew's day.

    Examples
    --------
    >>> from scanner.schema.tables import OFFER_BEDS, PRICES, QUANTITIES
    >>> nothing = [empty_table(schema) for schema in (PRICES, OFFER_BEDS, QUANTITIES)]
    >>> len(itemize(*nothing, rates=RateBook.model_construct()))
    0
    """
    prices = prices.assign(place_of_price=np.arange(len(prices)))
    parts = [
        _finish_items(finish, of_finish, offer_beds, quantities, rates, answers)
        for finish in FINISHES
        if len(of_finish := prices[prices["finish"] == finish])
    ]
    if not parts:
        return empty_table(LINE_ITEMS)
    items = pd.concat(parts, ignore_index=True)
    ordered = items.sort_values(
        ["place_of_price", "section", "place"], kind="stable", ignore_index=True
    )
    return check_table(ordered[[*LINE_ITEMS.columns]], LINE_ITEMS)


def _finish_items(
    finish: Finish,
    prices: pd.DataFrame,
    offer_beds: pd.DataFrame,
    quantities: pd.DataFrame,
    rates: RateBook,
    answers: pd.DataFrame | None,
) -> pd.DataFrame:
    """Write the prices of one finish out, with what the rows are to be sorted by."""
    is_asked = offer_beds["offer_id"].isin(prices["offer_id"])
    beds, quantities = join_quantities(offer_beds[is_asked], quantities, answers)
    sheet = make_cost_sheet(
        beds, quantities, prices.set_index("offer_id")["method"],
        finish=finish, rates=rates,
    )  # fmt: skip
    bed_rows = _task_rows(sheet.bed_tasks, sheet.bed_quantities, sheet.bed_cents, rates)
    of_bed = bed_rows["row"].to_numpy()
    job_rows = _task_rows(sheet.job_tasks, sheet.job_quantities, sheet.job_cents, rates)
    parts = [
        bed_rows.assign(
            offer=sheet.offer_codes[of_bed], bed_id=beds["bed_id"].to_numpy()[of_bed], section=of_bed
        ),
        job_rows.assign(offer=job_rows["row"], bed_id="", section=len(beds)),
        *(rows.assign(section=len(beds) + 1 + n) for n, rows in enumerate(_price_rows(prices, rates))),
    ]  # fmt: skip
    items = pd.concat(parts, ignore_index=True)
    of_offer = prices[["offer_id", "finish", "place_of_price"]].iloc[items["offer"]]
    return items.assign(**{str(name): of_offer[name].to_numpy() for name in of_offer})


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
            "offer": np.arange(len(prices)),
            "place": 0,
            "bed_id": "",
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
