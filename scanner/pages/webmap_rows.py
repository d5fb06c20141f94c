"""
What the map page lists: ranked rows and the clients left out.

Nothing is computed here but places in the list; every number comes from the scan.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from dataclasses import replace

import numpy as np
import pandas as pd

from scanner.schema.documents import Scan
from scanner.sheets.days import day_number

LEFT_OUT, SKIPPED = 3, 4
"""Bands of beds that no call offers: their client is left out, or they are skipped."""

TOLD = ("client_id", "name", "address", "phone", "route", "mow_day")
"""What the page says of a client."""

ROW_COLUMNS = (
    "client_id", "offer_id", "rank", "band", "name", "address", "phone", "dial", "offer", "phase",
    "price_low_cents", "price_high_cents", "crew_days", "place", "reasons",
)  # fmt: skip
"""What the page lists of an offer."""


def rank_band(ranks: pd.Series) -> pd.Series:
    """
    Sort ranks into three bands: first tenth, first third, the rest.

    Parameters
    ----------
    ranks
        Places in the call list [count], 1 is called first, 0 is left out.

    Returns
    -------
    bands
        0 first tenth, 1 first third, 2 the rest, 3 left out; same index.

    Examples
    --------
    >>> rank_band(pd.Series([1, 2, 3, 4, 10, 0])).tolist()
    [0, 1, 1, 1, 2, 3]
    >>> rank_band(pd.Series([], dtype=int)).tolist()
    []
    """
    last = int(ranks.max()) if len(ranks) else 0
    bands = np.select(
        [ranks < 1, ranks <= math.ceil(last / 10), ranks <= math.ceil(last / 3)],
        [LEFT_OUT, 0, 1],
        2,
    )
    return pd.Series(bands, index=ranks.index, dtype=int)


def add_bands(scan: Scan) -> Scan:
    """Add to the calls of a whole scan the ``band`` that each one's rank is in."""
    return replace(scan, calls=scan.calls.assign(band=rank_band(scan.calls["rank"])))


def page_rows(scan: Scan) -> pd.DataFrame:
    """
    Lay out the ranked list, one row an offer that is to be made.

    Parameters
    ----------
    scan
        Calls with their bands, offers and clients.

    Returns
    -------
    rows
        `ROW_COLUMNS`: columns of `CALLS`, `OFFERS` and `CLIENTS`, ``dial`` (the number as a
        phone dials it) and ``place`` (route and mowing day); by rank.
    """
    calls = scan.calls[scan.calls["rank"] > 0].sort_values(["rank", "offer_id"])
    shown = {
        name: scan.offers[name] for name in ROW_COLUMNS if name in scan.offers and name not in calls
    }
    offers = pd.DataFrame({"offer_id": scan.offers["offer_id"], **shown})
    calls = calls[["client_id", *(name for name in ROW_COLUMNS[1:] if name in calls)]]
    rows = calls.merge(offers, on="offer_id").merge(_told(scan.clients), on="client_id")
    return rows.assign(dial=rows["phone"].map(dial), place=_places(rows))[list(ROW_COLUMNS)]


def page_left_out(scan: Scan) -> pd.DataFrame:
    """
    List the clients that are not on the call list, each with the reason.

    Parameters
    ----------
    scan
        Calls, clients, beds and problems.

    Returns
    -------
    left_out
        ``client_id``, ``name``, ``address``, ``why`` and ``has_offer``, those with an
        offer first, then by name.
    """
    out = scan.left_out.merge(scan.clients[["client_id", "name", "address"]], on="client_id")
    return out.rename(columns={"reason": "why"})[
        ["client_id", "name", "address", "why", "has_offer"]
    ]


def sort_routes(routes: Iterable[str]) -> list[str]:
    """Put routes in the order of their names, 9 before 10; blanks are left out.

    >>> sort_routes({"Route 10", "", "Route 9"})
    ['Route 9', 'Route 10']
    """
    return sorted(filter(None, routes), key=lambda route: (_natural(route), route))


def sort_days(days: Iterable[str]) -> list[str]:
    """Put mowing days in the order of the week, other words after; blanks are left out.

    >>> sort_days({"Tue", "monday", "any", ""})
    ['monday', 'Tue', 'any']
    """
    return sorted(filter(None, days), key=lambda day: (day_number(day), day))


def dial(phone: str) -> str:
    """
    Turn a phone number into what a phone dials.

    Parameters
    ----------
    phone
        As written in the book; an extension is left out.

    Returns
    -------
    number
        Digits with a leading plus where there is one; blank for fewer than seven digits.

    Examples
    --------
    >>> dial("(308) 555-0142 ext. 7"), dial("+1 308 555 0142"), dial("ask Ann"), dial("")
    ('3085550142', '+13085550142', '', '')
    """
    number = re.split(r"[a-zA-Z,;#]", phone, maxsplit=1)[0].strip()
    digits = "".join(re.findall("[0-9]", number))
    fewest = 7
    return "" if len(digits) < fewest else "+" * number.startswith("+") + digits


def _told(clients: pd.DataFrame) -> pd.DataFrame:
    return clients[list(TOLD)]


def _places(rows: pd.DataFrame) -> list[str]:
    pairs = zip(rows["route"], rows["mow_day"], strict=True)
    return [" · ".join(filter(None, pair)) for pair in pairs]


def _natural(text: str) -> list[tuple[int, str]]:
    """Key that puts Route 9 before Route 10."""
    return [(int(part) if part.isdigit() else -1, part) for part in re.split(r"(\d+)", text)]
