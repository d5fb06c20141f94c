"""
Which lot stands on which map page: one page, or a page a route beyond `map_max_beds` beds.

A route with more beds than that is cut into several pages along its lots.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import Decimal

import numpy as np
import pandas as pd

from scanner.pages.webmap_rows import sort_routes
from scanner.schema.documents import Scan
from scanner.sheets.text_columns import scaled

INDEX = "map.html"
FOLDER = "map"
NO_ROUTE = "No route"


@dataclass(frozen=True)
class MapPage:
    """One page of the map."""

    name: str  # path of its file, below the folder of the outputs
    title: str  # its route, with its number where the route has several pages; blank: all lots


def lay_out_pages(scan: Scan) -> tuple[pd.Series[int], list[MapPage]]:
    """Give each client the number of his page, and the pages in their order."""
    if len(scan.beds) <= scan.rules.map_max_beds:
        return pd.Series(0, index=scan.clients["client_id"]), [MapPage(INDEX, "")]
    route, part = _places(scan)
    numbers, pages, used = dict[tuple[str, int], int](), list[MapPage](), set[str]()
    last = part.groupby(route).max()
    part_count = dict(zip(last.index.astype(str), last + 1, strict=True))
    for name in [*sort_routes(part_count), *([""] if "" in part_count else [])]:
        for number in range(part_count[name]):
            numbers[name, number] = len(pages)
            words = f", page {number + 1} of {part_count[name]}" if part_count[name] > 1 else ""
            pages.append(MapPage(_file_name(name, used), (name or NO_ROUTE) + words))
    codes = [numbers[key] for key in zip(route, part, strict=True)]
    return pd.Series(codes, index=route.index), pages


def total_pages(scan: Scan, numbers: pd.Series[int]) -> pd.DataFrame:
    """Total what stands on each page, as `summarize` does for the book; ``first`` is the best rank."""
    count = int(numbers.max()) + 1 if len(numbers) else 1
    beds, calls = scan.beds, scan.calls
    of_bed, of_call = (
        numbers.reindex(table["client_id"]).to_numpy(dtype=int) for table in (beds, calls)
    )
    is_found, is_listed = (
        (beds["skip_reason"] == "").to_numpy(),
        (calls["left_out"] == "").to_numpy(),
    )
    listed, of_listed = calls[is_listed], of_call[is_listed]
    price_cents = scan.offers.set_index("offer_id")["price_cents"].reindex(listed["offer_id"])

    def summed(pages: np.ndarray, values: np.ndarray | None = None) -> np.ndarray:
        return np.rint(np.bincount(pages, values, minlength=count)).astype(np.int64)

    first = pd.Series(listed["rank"].to_numpy()).groupby(of_listed).min()
    return pd.DataFrame({
        "beds": summed(of_bed[is_found]),
        "skipped": summed(of_bed[~is_found]),
        "area_ft2": _hundredths(summed(of_bed[is_found], scaled(beds["area_ft2"])[is_found])),
        "offers": summed(of_listed),
        "left_out": summed(of_call[~is_listed & ~calls["client_id"].isin(scan.under_way["client_id"])]),
        "price_usd": _hundredths(summed(of_listed, price_cents.to_numpy())),
        "expected_profit_usd": _hundredths(summed(of_listed, listed["expected_profit_cents"].to_numpy())),
        "first": first.reindex(range(count)).fillna(0).astype(int),
    })  # fmt: skip


def _hundredths(whole: np.ndarray) -> list[Decimal]:
    return [Decimal(int(one)).scaleb(-2) for one in whole]


def _places(scan: Scan) -> tuple[pd.Series[str], pd.Series[int]]:
    """By client, his route and how many full pages of it lie before him, along the lots."""
    bed_count = scan.beds.groupby("client_id", sort=False).size()
    along = pd.Index([*bed_count.index, *scan.clients["client_id"]]).unique()
    clients = scan.clients.set_index("client_id").loc[along]
    before = bed_count.reindex(along).fillna(0)
    before = before.groupby(clients["route"]).cumsum() - before
    return clients["route"], (before // scan.rules.map_max_beds).astype(int)


def _file_name(route: str, used: set[str]) -> str:
    """Make a name that every disk takes, another one for each page."""
    plain = re.sub(r"[^a-z0-9]+", "-", (route or NO_ROUTE).casefold()).strip("-") or "route"
    plain = f"route-{plain}" if re.fullmatch("con|prn|aux|nul|(com|lpt)[0-9]", plain) else plain
    name, number = plain, 1
    while name in used:
        number += 1
        name = f"{plain}-{number}"
    used.add(name)
    return f"{FOLDER}/{name}.html"
