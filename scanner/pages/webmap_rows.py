"""
What the map page lists: ranked rows and the clients left out.

Nothing is computed here but places in the list; every number comes from the scan.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd

from scanner.pages.call_list import finish_prices, upgrade_words
from scanner.pages.said import SAID, last_words, next_words, own_cautions
from scanner.schema.documents import Scan
from scanner.sheets.days import day_number

LEFT_OUT, SKIPPED = 3, 4
"""Bands of beds that no call offers: their client is left out, or they are skipped."""

TOLD = ("client_id", "name", "address", "phone", "route", "mow_day")
"""What the page says of a client."""

OF_OFFER = (
    "offer_id", "offer", "say", "finish", "bed_ids", "price_cents", "upgrade_bed_ids", "upgrade_price_cents",
    "upgrade_saving_cents", "cautions",
)  # fmt: skip
OF_CALL = (
    "client_id", "offer_id", "rank", "band", "expected_profit_cents", "due_date", "next", "last",
)  # fmt: skip
"""What the list says of an offer and of its call."""


def rank_band(ranks: pd.Series) -> pd.Series:
    """Sort ranks (1 is called first) into bands: 0 first tenth, 1 first third, 2 the rest, 3 left out (rank 0)."""
    last = int(ranks.max()) if len(ranks) else 0
    bands = np.select(
        [ranks < 1, ranks <= math.ceil(last / 10), ranks <= math.ceil(last / 3)],
        [LEFT_OUT, 0, 1],
        2,
    )
    return pd.Series(bands, index=ranks.index, dtype=int)


def add_bands(scan: Scan) -> Scan:
    """Add to the calls of a whole scan the ``band`` of each rank, what is ``next`` and what was said ``last``."""
    told: list[dict[Any, Any]] = scan.calls[[*SAID]].to_dict("records")
    calls = scan.calls.assign(
        band=rank_band(scan.calls["rank"]),
        next=[next_words(call, scan.today) for call in told],
        last=[last_words(call, scan.today) for call in told],
    )
    return replace(scan, calls=calls)


def page_rows(scan: Scan) -> pd.DataFrame:
    """Lay out the ranked list, one row an offer that is to be made, by rank.

    `TOLD`, `OF_OFFER`, `OF_CALL`, ``stop``, the price in each finish that can be built, ``dial``
    (the number as a phone dials it), ``place`` (route, day, stop), ``more`` (what the upgrade adds)
    and ``mind``.
    """
    calls = scan.calls[scan.calls["rank"] > 0].sort_values(["rank", "offer_id"])[[*OF_CALL]]
    offers = scan.offers[[*OF_OFFER]].join(
        finish_prices(scan, pd.Index(calls["offer_id"])), on="offer_id"
    )
    rows = calls.merge(offers, on="offer_id").merge(scan.clients[[*TOLD, "stop"]], on="client_id")
    return rows.assign(
        dial=rows["phone"].map(dial),
        place=_places(rows),
        more=upgrade_words(rows, scan.beds),
        mind=rows["cautions"].map(own_cautions),
    )


def page_under_way(scan: Scan) -> pd.DataFrame:
    """Lay out who is under way: `TOLD`, ``stage words next last dial place``."""
    rows = scan.under_way.merge(scan.clients[[*TOLD, "stop"]], on="client_id")
    told: list[dict[Any, Any]] = rows.to_dict("records")
    return rows.assign(
        dial=rows["phone"].map(dial),
        place=_places(rows),
        next=[next_words(row, scan.today) for row in told],
        last=[last_words(row, scan.today) for row in told],
    )


def page_left_out(scan: Scan) -> pd.DataFrame:
    """List the clients not on the call list with ``why``, those with an offer first, then by name."""
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
    """Turn a phone number into what a phone dials: digits, a leading plus; blank for fewer than seven."""
    number = re.split(r"[a-zA-Z,;#]", phone, maxsplit=1)[0].strip()
    digits = "".join(re.findall("[0-9]", number))
    fewest = 7
    return "" if len(digits) < fewest else "+" * number.startswith("+") + digits


def _places(rows: pd.DataFrame) -> list[str]:
    stops = rows["stop"].map(lambda stop: "" if pd.isna(stop) else f"stop {stop:g}")
    return [
        ", ".join(filter(None, told))
        for told in zip(rows["route"], rows["mow_day"].str[:3], stops, strict=True)
    ]


def _natural(text: str) -> list[tuple[int, str]]:
    """Key that puts Route 9 before Route 10."""
    return [(int(part) if part.isdigit() else -1, part) for part in re.split(r"(\d+)", text)]
