"""The lots that a client without one may have: the three likeliest, for a person to choose from."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterable
from difflib import SequenceMatcher

import numpy as np
import pandas as pd
import shapely

from scanner.book.county.address_words import tidy_words
from scanner.book.county.addresses import Address, read_address
from scanner.book.county.indexing import ALIKE, Index, bare_id
from scanner.book.county.lots import Lots
from scanner.book.county.matching import Match
from scanner.plane.frame import to_feet

COUNT = 3
"""Lots named for each client."""

NEAR_FT = 500.0
"""A lot farther than this from the client's point is not likely (starting value, no source)."""

NEAR_NUMBERS = 10
"""House numbers that differ by no more than this may be one mistyped."""


def find_likely(
    clients: pd.DataFrame, matches: list[Match], lots: Lots, index: Index, *, frame: str
) -> list[tuple[int, ...]]:
    """Find at most `COUNT` lots for each client without one: those that fit, with a like id, with a like address, then the nearest; no other client's."""
    by_bare_id = _group((bare_id(text), lot) for lot, text in enumerate(lots.table["parcel_id"]))
    by_number, by_street = _group_addresses(index)
    by_first = _group((_first(number), lot) for number, at in by_number.items() for lot in at)
    near = _find_near(clients, lots, frame)
    is_barred = lots.table["is_right_of_way"].to_numpy(bool, copy=True)
    is_barred[[match.lots[0] for match in matches if match.way]] = True
    likely: list[tuple[int, ...]] = []
    cells = zip(clients["parcel_id"], clients["address"], matches, near, strict=True)
    for parcel_id, text, match, beside in cells:
        address = None if match.way else read_address(text, towns=index.towns)
        found = [
            *match.lots,
            *by_bare_id.get(bare_id(parcel_id) or "none", ()),
            *(_alike(address, by_number, by_street, index) if address else ()),
            *(() if match.way else _alike_words(text, by_first, index)),
            *beside,
        ]
        wanted = [lot for lot in dict.fromkeys(found) if not is_barred[lot]]
        likely.append(() if match.way else tuple(wanted[:COUNT]))
    return likely


def _alike(
    address: Address, by_number: dict[str, list[int]], by_street: dict[str, list[int]], index: Index
) -> list[int]:
    """Find lots of the same number on a like street, then of a near number on the same street."""
    found: list[tuple[float, int]] = []
    for lot in by_number.get(address.written, ()):
        other = index.addresses[lot]
        street = other.street if other else ""
        share = SequenceMatcher(None, address.street, street).ratio()
        if share >= ALIKE:
            found.append((1.0 - share, lot))
    number = _leading(address.written)
    for lot in by_street.get(address.street, ()):
        other = index.addresses[lot]
        gap = abs(_leading(other.written) - number) if other else NEAR_NUMBERS + 1
        if gap <= NEAR_NUMBERS:
            found.append((1.0 + gap, lot))
    return [lot for _, lot in sorted(found)]


def _alike_words(text: str, by_first: dict[str, list[int]], index: Index) -> list[int]:
    """Find lots for an address whatever can be read of it: a street that begins alike, the digits too."""
    number, _, rest = tidy_words(text.partition(",")[0]).partition(" ")
    found: list[tuple[bool, float, int]] = []
    for lot in by_first.get(_first(number), ()):
        other = index.addresses[lot]
        street = other.street if other else ""
        # whatever stands behind the street, or lacks there, is not held against it
        length = min(len(rest), len(street))
        share = SequenceMatcher(None, rest[:length], street[:length]).ratio()
        if rest and other and share >= ALIKE:
            found.append((number not in other.numbers, 1.0 - share, lot))
    return [lot for *_, lot in sorted(found)]


def _find_near(clients: pd.DataFrame, lots: Lots, frame: str) -> list[list[int]]:
    is_known = clients["lon"].notna().to_numpy()
    places = clients.loc[is_known, ["lon", "lat"]].to_numpy(float)
    points = to_feet(np.asarray(shapely.points(places), object).reshape(-1), frame)
    rows, at = lots.meet(points, NEAR_FT)
    away_ft = shapely.distance(points[rows], lots.shapes[at])
    order = np.lexsort((at, away_ft, rows))
    near: dict[int, list[int]] = defaultdict(list)
    clients_at = np.flatnonzero(is_known)
    for row, lot in zip(rows[order].tolist(), at[order].tolist(), strict=True):
        if len(near[int(clients_at[row])]) < COUNT + 2:
            near[int(clients_at[row])].append(lot)
    return [near.get(row, []) for row in range(len(clients))]


def _group_addresses(index: Index) -> tuple[dict[str, list[int]], dict[str, list[int]]]:
    known = [(lot, address) for lot, address in enumerate(index.addresses) if address]
    by_number = _group((number, lot) for lot, address in known for number in address.numbers)
    return by_number, _group((address.street, lot) for lot, address in known)


def _group(pairs: Iterable[tuple[str, int]]) -> dict[str, list[int]]:
    groups: dict[str, list[int]] = defaultdict(list)
    for key, lot in pairs:
        groups[key].append(lot)
    groups.pop("", None)
    return dict(groups)


def _leading(number: str) -> int:
    return int(_first(number) or 0)


def _first(number: str) -> str:
    """Take the digits that a house number begins with; blank where it begins otherwise."""
    digits = re.match(r"\d+", number)
    return digits[0] if digits else ""
