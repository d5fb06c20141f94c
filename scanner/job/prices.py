"""What each offer costs and sells for, in each of the four finishes."""

from __future__ import annotations

import numpy as np
import pandas as pd

from scanner.job.cost_sheet import CostSheet, make_cost_sheet
from scanner.job.counting import IntArray, whole_cents
from scanner.job.method import GATE_COLUMN, choose_method
from scanner.job.quantities import kept
from scanner.job.ranges import add_range, assess_knowledge
from scanner.schema.answers import numbers_by_client
from scanner.schema.documents import FINISHES, RateBook
from scanner.schema.log_tables import ANSWERS
from scanner.schema.tables import (
    CLIENTS,
    OFFER_BEDS,
    PRICES,
    QUANTITIES,
    check_table,
    empty_table,
)
from scanner.units import CENTS_PER_USD, cents_from_usd


def price_offers(
    offer_beds: pd.DataFrame,
    quantities: pd.DataFrame,
    clients: pd.DataFrame,
    *,
    rates: RateBook,
    answers: pd.DataFrame | None = None,
) -> pd.DataFrame:
    """
    Price every offer in every finish.

    Parameters
    ----------
    offer_beds
        Table `OFFER_BEDS` [ft, ft²]; skipped beds are left out.
    quantities
        Table `QUANTITIES` of the same beds.
    clients
        Table `CLIENTS`: whether sprinklers are known.
    rates
        The rate book.
    answers
        Table `ANSWERS`: gates, slopes and sprinkler heads that crews saw. None: no crew
        has looked yet.

    Returns
    -------
    prices
        Table `PRICES`, a row an offer and finish, in the order of `offer_beds`; a planted
        finish that gets no plant is left out.

    Raises
    ------
    SchemaError
        If a table breaks its schema.
    RateError
        If set-up alone fills the crew's day.

    Notes
    -----
    Price = direct cost / (1 - gross margin), at least the minimum job. Overhead is paid
    out of the margin. In a mapped wildfire area the offer leads with gravel.

    Examples
    --------
    >>> from scanner.schema.documents import Rate
    >>> one = Rate(value=1, low=1, high=1, source="an example")
    >>> rates = RateBook.model_construct(**dict.fromkeys(RateBook.model_fields, one))
    >>> beds, quantities = empty_table(OFFER_BEDS), empty_table(QUANTITIES)
    >>> prices = price_offers(beds, quantities, empty_table(CLIENTS), rates=rates)
    >>> len(prices), prices.columns[0]
    (0, 'offer_id')
    """
    answers = empty_table(ANSWERS) if answers is None else answers
    quantities, clients = check_table(quantities, QUANTITIES), check_table(clients, CLIENTS)
    offer_beds, quantities = join_quantities(
        check_table(offer_beds, OFFER_BEDS), quantities, answers
    )
    if offer_beds.empty:
        return empty_table(PRICES)
    codes, offer_ids = pd.factorize(offer_beds["offer_id"])
    methods = pd.Series(choose_method(offer_beds, codes, rates=rates), index=offer_ids)
    sheets = [
        make_cost_sheet(offer_beds, quantities, methods, finish=finish, rates=rates)
        for finish in FINISHES
    ]
    knowledge = assess_knowledge(offer_beds, sheets[0].offer_codes, clients, answers)
    offers = offer_beds.drop_duplicates("offer_id")[["offer_id", "client_id"]].assign(
        method=methods.to_numpy(), is_wildfire=knowledge["is_wildfire"].to_numpy()
    ).reset_index(drop=True)  # fmt: skip
    fits = _planted_finishes(sheets)
    lead = _lead_finish(offers["is_wildfire"], fits, rates)
    priced = [
        _price_finish(offers, sheet, lead == sheet.finish, rates)
        .pipe(add_range, sheet, knowledge, rates=rates)
        for sheet in sheets
    ]  # fmt: skip
    return check_table(_by_offer(priced, fits), PRICES)


def join_quantities(
    offer_beds: pd.DataFrame, quantities: pd.DataFrame, answers: pd.DataFrame | None = None
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """
    Keep the beds that are offered, their quantities in the same order.

    Parameters
    ----------
    offer_beds
        Table `OFFER_BEDS`.
    quantities
        Table `QUANTITIES` of these beds, others too.
    answers
        Table `ANSWERS`: gates that crews saw. None: no crew has looked yet.

    Returns
    -------
    offer_beds
        The kept rows, and the width of the client's gate [in] in `GATE_COLUMN`.
    quantities
        As many rows, in their order.

    Raises
    ------
    SchemaError
        If a bed has no quantities: it would be priced at nothing.
    """
    beds = kept(offer_beds)
    gates_in = numbers_by_client(
        empty_table(ANSWERS) if answers is None else answers, "gate width in"
    )
    beds = beds.assign(**{GATE_COLUMN: beds["client_id"].map(gates_in).astype(float)})
    keys = ["offer_id", "bed_id"]
    joined = beds[keys].merge(quantities, on=keys, how="left", validate="one_to_one")
    return beds, check_table(joined, QUANTITIES)


def full_price_cents(direct_cents: IntArray, rates: RateBook) -> IntArray:
    """
    Price what leaves the gross margin over its direct cost, whatever the minimum job.

    Parameters
    ----------
    direct_cents
        Direct cost [cents].
    rates
        The gross margin.

    Returns
    -------
    price_cents
        Direct cost over one less the margin [cents].
    """
    return whole_cents(direct_cents / CENTS_PER_USD / (1.0 - rates.gross_margin_share.value))


def _planted_finishes(sheets: list[CostSheet]) -> list[np.ndarray]:
    """Tell of each finish which offers it can be made for: none is called planted that gets no plant."""
    return [
        (sheet.plant_counts > 0) | (sheet.finish not in ("accent", "planted")) for sheet in sheets
    ]


def _lead_finish(
    is_wildfire: pd.Series[bool], fits: list[np.ndarray], rates: RateBook
) -> np.ndarray:
    """Gravel where mulch carries fire, else the book's lead finish, mulch where no plant fits."""
    wanted = fits[FINISHES.index(rates.lead_finish)]
    return np.where(is_wildfire, "gravel", np.where(wanted, rates.lead_finish, "mulch"))


def _add_gates(offer_beds: pd.DataFrame, answers: pd.DataFrame) -> pd.DataFrame:
    gates_in = numbers_by_client(answers, "gate width in")
    return offer_beds.assign(**{GATE_COLUMN: offer_beds["client_id"].map(gates_in).astype(float)})


def _price_finish(
    offers: pd.DataFrame, sheet: CostSheet, is_lead: np.ndarray, rates: RateBook
) -> pd.DataFrame:
    direct_cents = sheet.direct_cents
    price_cents = np.maximum(
        full_price_cents(direct_cents, rates), cents_from_usd(rates.minimum_job_usd.value)
    )
    crew_day_hours = rates.crew_count.value * rates.day_hours.value
    tax_cents = whole_cents(price_cents / CENTS_PER_USD * rates.sales_tax_share.value)
    return offers.assign(
        finish=sheet.finish,
        is_lead=is_lead,
        labor_hours=sheet.labor_hours,
        crew_days=sheet.labor_hours / crew_day_hours,
        haul_loads=sheet.load_counts,
        plant_count=sheet.plant_counts,
        direct_cost_cents=direct_cents,
        price_cents=price_cents,
        sales_tax_cents=tax_cents,
        gross_profit_cents=price_cents - direct_cents,
    )


def _by_offer(priced: list[pd.DataFrame], fits: list[np.ndarray]) -> pd.DataFrame:
    """Put the finishes of each offer together, without those that get no plant."""
    numbered = [
        rows.assign(offer=np.arange(len(rows)))[fit] for rows, fit in zip(priced, fits, strict=True)
    ]
    prices = pd.concat(numbered).sort_values("offer", kind="stable", ignore_index=True)
    return prices[[*PRICES.columns]]
