"""
Calling law as cautions: hours, and the clock of an established business relationship.

Our reading of the rules, never advice: a company's counsel has the first word, and some
states are stricter. What they say is shown beside a call, it hides none; only a request
not to be called does that.

References
----------
.. [1] 16 CFR 310.4(c) and 47 CFR 64.1200(c)(1): 8 in the morning to 9 in the evening at
   the called party's place.
.. [2] 16 CFR 310.2 and 47 CFR 64.1200(f): 18 months from the last purchase, 3 months from
   an inquiry.
.. [3] 47 CFR 64.1200(d) and (f): a request not to be called ends it at once (from memory).
"""

from __future__ import annotations

import calendar
from datetime import date, time

import pandas as pd

from scanner.schema.documents import Season

FIRST_TIME, LAST_TIME = time(8, 0), time(21, 0)
"""Calling hours at the called party's place [1]_."""

PURCHASE_MONTHS, INQUIRY_MONTHS = 18, 3
"""How long a purchase and an inquiry last [2]_."""

INQUIRIES = ("call back", "visit", "quoted")
"""Outcomes in which the client asked for something: an inquiry, as we read it."""

PURCHASE_COLUMN = "last_service"
"""Column of the client list that names the day of the last paid service, where it has one."""

COUNSEL = (
    "Your counsel's word goes first; this is our reading, and some states are stricter.",
    "Call between 8 in the morning and 9 in the evening at the client's place"
    " (16 CFR 310.4(c), 47 CFR 64.1200(c)(1)).",
    "Numbers on the national do-not-call list may be called as clients for 18 months from the last purchase, "
    "for 3 months from an inquiry (16 CFR 310.2, 47 CFR 64.1200(f)); a request not to be called ends that at once.",
)  # fmt: skip


def add_months(day: date, months: int) -> date:
    """Count months on, to the end of a shorter month at most.

    >>> str(add_months(date(2024, 1, 15), 18)), str(add_months(date(2025, 1, 31), 3))
    ('2025-07-15', '2025-04-30')
    """
    years, month = divmod(day.month - 1 + months, 12)
    year, month = day.year + years, month + 1
    return date(year, month, min(day.day, calendar.monthrange(year, month)[1]))


def is_calling_time(local: time) -> bool:
    """Tell whether a sales call is allowed at a time of day.

    >>> [is_calling_time(time(*at)) for at in ((20, 59), (21, 1), (7, 59))]
    [True, False, False]
    """
    return FIRST_TIME <= local <= LAST_TIME


def word_relationships(clients: pd.DataFrame, season: Season, *, today: date) -> pd.Series[str]:
    """Say how long each client may be called as one, as far as the book knows."""
    ids = clients["client_id"]
    calls, jobs = season.calls, season.jobs
    bought = [
        ids.map(jobs[jobs["built_on"] != ""].groupby("client_id")["built_on"].max()),
        ids.map(calls[calls["outcome"] == "sold"].groupby("client_id")["called_on"].max()),
    ]
    if PURCHASE_COLUMN in clients:
        bought.append(clients[PURCHASE_COLUMN].astype("str"))
    asked = ids.map(calls[calls["outcome"].isin(INQUIRIES)].groupby("client_id")["called_on"].max())
    purchases = [_latest(days) for days in zip(*bought, strict=True)]
    inquiries = [_latest((day,)) for day in asked]
    words = [_word(*pair, today) for pair in zip(purchases, inquiries, strict=True)]
    return pd.Series(words, index=clients.index, dtype="str")


def _latest(texts: tuple[object, ...]) -> date | None:
    days = []
    for text in texts:
        try:
            days.append(date.fromisoformat(str(text)))
        except ValueError:
            continue
    return max(days, default=None)


def _word(purchase: date | None, inquiry: date | None, today: date) -> str:
    ends = []
    if purchase:
        ends.append(
            (
                add_months(purchase, PURCHASE_MONTHS),
                f"18 months from the last purchase on {purchase}",
            )
        )
    if inquiry:
        ends.append(
            (add_months(inquiry, INQUIRY_MONTHS), f"3 months from the inquiry on {inquiry}")
        )
    if not ends:
        return ""
    end, why = max(ends)
    if end >= today:
        return f"may be called as a client through {end} ({why})"
    if purchase is None:
        return f"the inquiry lapsed on {end} ({why}): the last paid service decides, which the book does not name"
    return f"no established relationship since {end} ({why}): look into the national do-not-call list first"
