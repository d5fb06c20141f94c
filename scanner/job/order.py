"""Beds of a client in the order in which an offer takes them up."""

from __future__ import annotations

import pandas as pd

from scanner.job.quantities import kept
from scanner.schema.tables import BED_ORDER, BEDS, PRICES, check_table


def order_beds(prices: pd.DataFrame, beds: pd.DataFrame) -> pd.DataFrame:
    """
    Put the beds of each client in order of gross profit.

    Parameters
    ----------
    prices
        Table `PRICES` that holds the offers of one bed; others are ignored.
    beds
        Table `BEDS`; skipped beds are left out.

    Returns
    -------
    order
        Table `BED_ORDER`, by client, the bed with the highest gross profit in its lead
        finish first; equal profits by `bed_id`.

    Raises
    ------
    SchemaError
        If a table breaks its schema.

    Examples
    --------
    >>> from scanner.schema.tables import empty_table
    >>> order_beds(empty_table(PRICES), empty_table(BEDS)).columns.tolist()
    ['client_id', 'bed_id', 'place']
    """
    prices, beds = check_table(prices, PRICES), kept(check_table(beds, BEDS))
    leads = prices.loc[prices["is_lead"], ["offer_id", "gross_profit_cents"]]
    order = (
        beds[["client_id", "bed_id"]]
        .merge(leads, left_on="bed_id", right_on="offer_id", validate="one_to_one")
        .sort_values(
            ["client_id", "gross_profit_cents", "bed_id"],
            ascending=[True, False, True],
            ignore_index=True,
        )
    )
    order = order.assign(place=order.groupby("client_id").cumcount() + 1)
    return check_table(order[[*BED_ORDER.columns]], BED_ORDER)
