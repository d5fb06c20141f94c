"""What each offer costs and sells for, in each of the four finishes."""

from __future__ import annotations

import numpy as np
import pandas as pd

from scanner.errors import SchemaError
from scanner.job.cost_sheet import CostSheet, make_cost_sheet
from scanner.job.counting import Amounts, IntArray, whole_cents
from scanner.job.method import choose_method
from scanner.job.quantities import amounts_of, kept
from scanner.job.ranges import add_range, assess_knowledge
from scanner.plane.segments import join
from scanner.schema.documents import FINISHES, RateBook
from scanner.schema.tables import PRICES, check_table, empty_table
from scanner.units import CENTS_PER_USD, cents_from_usd


def price_offers(
    offer_beds: pd.DataFrame, quantities: pd.DataFrame, lots: pd.DataFrame, *, rates: RateBook
) -> pd.DataFrame:
    """
    Price every offer in every finish.

    Parameters
    ----------
    offer_beds
        Table `OFFER_BEDS` [ft, ft²]; skipped beds are left out.
    quantities
        Table `QUANTITIES` of the kept beds, in the same order.
    lots
        What `know_lots` gathered of the same lots.
    rates
        The rate book.

    Returns
    -------
    prices
        Table `PRICES`, a row an offer and finish, in the order of `offer_beds`; a planted
        finish that gets no plant is left out.

    Raises
    ------
    SchemaError
        If a bed has no quantities.
    RateError
        If set-up alone fills the crew's day.

    Notes
    -----
    Price = direct cost / (1 - gross margin), at least the minimum job. Overhead is paid
    out of the margin. In a mapped wildfire area the offer leads with gravel.
    """
    beds = kept(offer_beds)
    names = ["offer_id", "bed_id"]
    if not beds[names].equals(quantities[names]):
        message = "table quantities breaks its schema: not one row a bed offered, in their order"
        raise SchemaError(message)
    if beds.empty:
        return empty_table(PRICES)
    codes, offer_ids = pd.factorize(beds["offer_id"])
    order = np.argsort(codes, kind="stable")
    amounts = take(amounts_of(quantities), order)
    starts = np.searchsorted(codes[order], np.arange(len(offer_ids)))
    methods = choose_method(amounts, starts, rates=rates)
    known = assess_knowledge(beds, codes, lots)
    leads = _lead_finishes(amounts, starts, known["is_wildfire"].to_numpy(), rates)
    offer, place = np.nonzero(_fits(amounts, starts))
    finishes = np.array(FINISHES, dtype=object)[place]
    job, row = join(offer, codes[order])
    sheet = make_cost_sheet(
        take(amounts, row), np.searchsorted(job, np.arange(len(offer))),
        methods[offer], finishes, rates=rates,
    )  # fmt: skip
    priced = _price(sheet, rates).assign(
        offer_id=offer_ids[offer],
        client_id=beds["client_id"].to_numpy()[order[starts[offer]]],
        finish=finishes,
        is_lead=finishes == leads[offer],
        method=methods[offer],
    )
    ranged = add_range(priced, sheet, known.iloc[offer], rates=rates)
    return check_table(ranged[[*PRICES.columns]], PRICES)


def price_leads(
    amounts: Amounts, starts: IntArray, is_wildfire: np.ndarray, *, rates: RateBook
) -> pd.DataFrame:
    """
    Price sets of beds in the finish that each leads with: what a choice between them asks.

    Beds of a set stand together in `amounts`, its first one at `starts`; `is_wildfire`: one a bed.
    Gives money, hours and counts of table `PRICES`, one row a set.
    """
    methods = choose_method(amounts, starts, rates=rates)
    leads = _lead_finishes(amounts, starts, np.logical_or.reduceat(is_wildfire, starts), rates)
    return _price(make_cost_sheet(amounts, starts, methods, leads, rates=rates), rates)


def take(amounts: Amounts, rows: IntArray) -> Amounts:
    """Take some rows of all quantities."""
    return {name: own[rows] for name, own in amounts.items()}


def full_price_cents(direct_cents: IntArray, rates: RateBook) -> IntArray:
    """Price what leaves the gross margin over its direct cost [cents], whatever the minimum job."""
    return whole_cents(direct_cents / CENTS_PER_USD / (1.0 - rates.gross_margin_share.value))


def _fits(amounts: Amounts, starts: IntArray) -> np.ndarray:
    """Tell which finishes each offer can have: none is called planted that gets no plant."""
    plants = {"accent": amounts["accent_count"], "planted": amounts["plant_count"]}
    return np.column_stack([
        np.add.reduceat(plants[finish], starts) > 0 if finish in plants else starts >= 0
        for finish in FINISHES
    ])  # fmt: skip


def _lead_finishes(
    amounts: Amounts, starts: IntArray, is_wildfire: np.ndarray, rates: RateBook
) -> np.ndarray:
    """Gravel where mulch carries fire, else the book's lead finish, mulch where no plant fits."""
    wanted = _fits(amounts, starts)[:, FINISHES.index(rates.lead_finish)]
    leads = np.where(wanted, rates.lead_finish, "mulch").astype(object)
    leads[is_wildfire] = "gravel"
    return leads


def _price(sheet: CostSheet, rates: RateBook) -> pd.DataFrame:
    direct_cents = sheet.direct_cents
    price_cents = np.maximum(
        full_price_cents(direct_cents, rates), cents_from_usd(rates.minimum_job_usd.value)
    )
    tax_cents = whole_cents(price_cents / CENTS_PER_USD * rates.sales_tax_share.value)
    return pd.DataFrame({
        "labor_hours": sheet.labor_hours,
        "crew_days": sheet.labor_hours / rates.crew_day_hours,
        "haul_loads": sheet.count("load_count"),
        "plant_count": sheet.count("plant_count", "accent_count"),
        "direct_cost_cents": direct_cents,
        "price_cents": price_cents,
        "sales_tax_cents": tax_cents,
        "gross_profit_cents": price_cents - direct_cents,
    })  # fmt: skip
