"""What a client pays a year for mowing: the measure of what a bed may cost."""

from __future__ import annotations

import numpy as np
import pandas as pd

from scanner.schema.documents import RateBook
from scanner.units import CENTS_PER_USD

KNOWN_COUNT = 3
"""A median stands in for an unknown fee where at least so many are known (judgement)."""

OWN, OF_ROUTE, OF_BOOK, TYPICAL = "own", "median of the route", "median of the book", "typical"

WORDS = {OF_ROUTE: OF_ROUTE, OF_BOOK: OF_BOOK, TYPICAL: "typical one of the rate book"}
"""What stands in for a fee that is not known, in words."""


def annual_fees(clients: pd.DataFrame, *, rates: RateBook) -> pd.DataFrame:
    """Tell each client's annual fee, or what stands in for it.

    By client id: ``fee_usd`` [USD], above 0, and ``fee_source``: the client's own, the median of
    the route or of the book where three fees are known there, else the rate book's. ``clients``:
    table `CLIENTS`, the whole list: ``client_id``, ``annual_usd`` [USD], ``route``.
    """
    clients = clients.set_index("client_id")
    own = clients["annual_usd"].astype(float)
    own = own.where(own > 0)
    by_route = own.groupby(clients["route"])
    of_route = by_route.transform("median").where(by_route.transform("count") >= KNOWN_COUNT)
    of_route = of_route.where(clients["route"] != "")
    of_book = own.median() if own.count() >= KNOWN_COUNT else np.nan
    source = np.select(
        [own.notna(), of_route.notna(), np.full(len(own), not np.isnan(of_book))],
        [OWN, OF_ROUTE, OF_BOOK], TYPICAL,
    )  # fmt: skip
    fee = own.fillna(of_route).fillna(of_book).fillna(rates.typical_annual_usd.value)
    return pd.DataFrame({"fee_usd": fee, "fee_source": source}, index=clients.index)


def fee_words(fees: pd.DataFrame) -> str:
    """Say of how many clients the annual fee is known, what stands in for it, and how far fees go.

    >>> fee_words(pd.DataFrame({"fee_usd": [1400.0, 1e6, 1500.0], "fee_source": [OWN, OWN, TYPICAL]}))
    'Known of 2 of 3 clients, from $1,400 to $1,000,000; for 1 the typical one of the rate book, $1,500.'
    """
    own = fees.loc[fees["fee_source"] == OWN, "fee_usd"]
    known = f"Known of {len(own):,} of {len(fees):,} clients"
    span = f", from ${own.min():,.0f} to ${own.max():,.0f}" if len(own) else ""
    others = [
        f"for {len(rest):,} the {WORDS[str(source)]}"
        + (f", ${rest.iloc[0]:,.0f}" if source == TYPICAL else "")
        for source, rest in fees.groupby("fee_source", sort=True)["fee_usd"]
        if source != OWN
    ]
    return "; ".join([known + span, *others]) + "."


def listed_years(listed: pd.DataFrame, fees: pd.DataFrame) -> pd.Series[float]:
    """Set what the last scan offered against a year's mowing.

    Price over annual fee by client id, of clients with a price on record.
    """
    told = listed[listed["price_cents"] > 0].set_index("client_id")["price_cents"]
    return (told / CENTS_PER_USD / fees["fee_usd"].reindex(told.index)).dropna()
