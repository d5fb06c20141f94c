"""
Quotes: open, won, lost or lapsed, and what each stands for in the rest of the log.

A quote is a talk that ended in *quoted*; a lost one ends in *not now* with what the client said. The
job sold is the quote: from the day it is won it stands among the jobs under its own number, until a
job of that number tells more.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any, Self

import numpy as np
import pandas as pd

from scanner.calls.sales import with_calls
from scanner.calls.trials import OPEN, QUOTE_DAYS
from scanner.schema.documents import RateBook, Season
from scanner.schema.log_tables import JOB_TASKS, JOBS, QUOTE_OUTCOMES
from scanner.units import CENTS_PER_USD, cents_from_usd

WON, LOST, LAPSED = QUOTE_OUTCOMES


def quote_states(quotes: pd.DataFrame, *, today: date) -> pd.Series[str]:
    """Tell where each quote stands: won and lost as told, lapsed when its price holds no longer, else open.

    A lapsed quote that nobody answered is counted as lost `QUOTE_DAYS` after it was written.

    >>> rows = [("", "2026-04-01"), ("", "2026-03-31"), ("won", "2026-03-01"), ("lapsed", "2026-05-01")]
    >>> told = pd.DataFrame(rows, columns=["outcome", "good_until"]).assign(quoted_on="2026-03-02")
    >>> quote_states(told, today=date(2026, 4, 1)).tolist()
    ['open', 'lapsed', 'won', 'lapsed']
    >>> quote_states(told, today=date(2026, 5, 2)).tolist()
    ['lost', 'lost', 'won', 'lost']
    """
    told, day = quotes["outcome"], pd.Timestamp(today)
    is_late = quotes["good_until"] < today.isoformat()
    age = (day - pd.to_datetime(quotes["quoted_on"], format="ISO8601")).dt.days
    states = told.mask(told.eq("") & is_late, LAPSED).replace("", OPEN)
    return states.mask(states.eq(LAPSED) & age.gt(QUOTE_DAYS), LOST).astype("str")


def next_quote_id(given: list[str], *, today: date) -> str:
    """Give the next number of a year's quotes.

    >>> next_quote_id(["Q2026-009", "Q2025-120"], today=date(2026, 3, 3)), next_quote_id([], today=date(2027, 1, 4))
    ('Q2026-010', 'Q2027-001')
    """
    start = f"Q{today.year}-"
    numbers = [int(name.removeprefix(start)) for name in given if name.startswith(start)]
    return f"{start}{max(numbers, default=0) + 1:03d}"


@dataclass(frozen=True)
class Payments:
    """What a client pays for a quote [cents]; each part is rounded once, half a cent up, and they add up."""

    price_cents: int
    tax_cents: int
    deposit_cents: int

    @classmethod
    def of(cls, price_cents: int, *, tax_share: float, deposit_share: float) -> Self:
        """Work them out.

        >>> Payments.of(123_000, tax_share=0.055, deposit_share=0.3)
        Payments(price_cents=123000, tax_cents=6765, deposit_cents=38930)
        >>> Payments.of(123_000, tax_share=0.055, deposit_share=0.3).rest_cents  # 1,297.65 less 389.30
        90835
        """
        tax_cents = _share_of(price_cents, tax_share)
        return cls(price_cents, tax_cents, _share_of(price_cents + tax_cents, deposit_share))

    @property
    def total_cents(self) -> int:
        """Price and tax."""
        return self.price_cents + self.tax_cents

    @property
    def rest_cents(self) -> int:
        """What is due when the work is done."""
        return self.total_cents - self.deposit_cents


def _share_of(cents: int, share: float) -> int:
    return cents_from_usd(Decimal(str(share)) * cents / CENTS_PER_USD)


def open_terms(season: Season, *, rates: RateBook, today: date) -> pd.DataFrame:
    """Tell what each client's latest quote that may still be won comes to.

    ``price_cents profit_cents crew_days`` by client. One whose price
    lapsed may be won until it counts as lost.
    """
    states = quote_states(season.quotes, today=today)
    own = season.quotes[states.isin((OPEN, LAPSED))].sort_values(["quoted_on", "quote_id"])
    own = own.drop_duplicates("client_id", keep="last").set_index("client_id")
    sums = season.quote_tasks.groupby("quote_id")[["estimated_cents", "estimated_hours"]].sum()
    sums = sums.reindex(own["quote_id"]).fillna(0.0).set_index(own.index)
    profit = (own["price_cents"] - sums["estimated_cents"]).round().astype("int64")
    days = sums["estimated_hours"] / rates.crew_day_hours
    return pd.DataFrame(
        {"price_cents": own["price_cents"], "profit_cents": profit, "crew_days": days}
    )


def count_quotes(calls: pd.DataFrame, quotes: pd.DataFrame) -> pd.DataFrame:
    """Count each quote as a call that ended in one, and a lost one as a call that ended in *not now*."""
    more = list[dict[str, Any]]()
    for quote in quotes.to_dict("records"):
        own = {
            str(name): quote[name] for name in ("entry_id", "client_id", "bed_ids", "recorded_at")
        }
        more.append(own | {
            "called_on": quote["quoted_on"], "outcome": "quoted", "price_cents": quote["price_cents"],
        })  # fmt: skip
        if quote["outcome"] == LOST:
            more.append(own | {"called_on": quote["ended_on"], "outcome": "not now", "note": quote["why"]})  # fmt: skip
    return with_calls(calls, more)


def jobs_won(jobs: pd.DataFrame, quotes: pd.DataFrame) -> pd.DataFrame:
    """List the quotes that were won as jobs, but for those that a job on record tells more of."""
    won = quotes[quotes["outcome"].eq(WON) & ~quotes["quote_id"].isin(jobs["job_id"])]
    won = won.rename(columns={"quote_id": "job_id", "price_cents": "sold_cents"})
    return won.assign(built_on="", invoiced_cents=0, note="")[[*JOBS.columns]]


def tasks_won(tasks: pd.DataFrame, quote_tasks: pd.DataFrame, won: pd.DataFrame) -> pd.DataFrame:
    """Put the estimate of each quote that was won beside the tasks of the jobs."""
    own = quote_tasks[quote_tasks["quote_id"].isin(won["job_id"])]
    own = own.rename(columns={"quote_id": "job_id"}).assign(
        actual_hours=np.nan, actual_cents=np.nan
    )
    return pd.concat([tasks[[*JOB_TASKS.columns]], own], ignore_index=True)
