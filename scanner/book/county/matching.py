"""
Which lot is which client's: by parcel id, else by address, else by where it lies.

A wrong match is far worse than none. Whatever contradicts itself, or fits two lots, is
left to a person, with the likeliest lots beside it.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
import shapely

from scanner.book.county.addresses import Address, read_address
from scanner.book.county.indexing import Index, bare_id, find_equal, is_alike
from scanner.book.county.lots import Lots, is_placeholder_id, plain_id
from scanner.book.county.pieces import Rows, Shapes
from scanner.book.layers.placing import same_ground
from scanner.plane.frame import to_feet
from scanner.sheets.problems import shown

LINE_FT = 3.0
"""A point this near to another lot may as well lie there: maps and phones are no better."""

FAR_FT = 26_400.0
"""Five miles: a lot farther from the client's point is in another town (starting value, no source)."""

SAME_GROUND_SHARE = 0.9
"""Lots that cover each other by this share are one ground; a scan takes it once."""

WAYS = ("choice", "parcel id", "address", "place")


@dataclass(frozen=True)
class Match:
    """What came of one client."""

    way: str = ""  # how its lot was found, one of `WAYS`; blank where it was not
    # its lot; where it was not found, those that it may be, if any fit at all
    lots: tuple[int, ...] = ()
    reason: str = ""  # why it was not found, in words
    is_ambiguous: bool = False  # whether several lots fit


def match_clients(
    clients: pd.DataFrame,
    lots: Lots,
    index: Index,
    *,
    frame: str,
    pavement: Shapes,
    choices: Mapping[str, int],
) -> list[Match]:
    """Find the lot of each client, in their order; no ground is found twice."""
    points = to_feet(shapely.points(clients[["lon", "lat"]].to_numpy(float)), frame)
    points[clients["lon"].isna().to_numpy()] = shapely.Point()
    spots = _find_spots(points, lots, pavement)
    matches = []
    cells = (clients[name].tolist() for name in ("client_id", "parcel_id", "address"))
    for client_id, parcel_id, text, spot in zip(*cells, spots, strict=True):
        if client_id in choices:
            matches.append(Match("choice", (choices[client_id],)))
            continue
        matches.append(_match(parcel_id, text, spot, lots, index))
    return _take_once(_refuse_far(matches, points, lots), clients, lots)


@dataclass(frozen=True)
class _Spot:
    """Lots that a client's point lies in, lots within `LINE_FT` of it, or why it says nothing."""

    holding: tuple[int, ...] = ()
    beside: tuple[int, ...] = ()
    reason: str = ""


def _match(parcel_id: str, text: str, spot: _Spot, lots: Lots, index: Index) -> Match:
    """Go by id, else by address, else by place; what contradicts itself goes nowhere."""
    address = read_address(text, towns=index.towns)
    by_id, by_address = _by_id(parcel_id, lots, index), _by_address(address, lots, index)
    if not text.strip():
        by_address = Match(reason="it has no address")
    if by_id.way:
        others = by_address.lots if by_address.way else by_id.lots
        reason = "parcel_id and address name two different lots"
        differ = Match("", (*by_id.lots, *others), reason, is_ambiguous=True)
        return by_id if others == by_id.lots else differ
    # an id that stands for no lot is a fault of the list: nothing else is tried
    if by_id.reason and _is_dead(parcel_id, lots, index):
        return by_id
    if by_address.way:
        return by_address
    if by_address.is_ambiguous:
        # of several lots at the address, the one that the point lies in
        is_one = len(spot.holding) == 1 and spot.holding[0] in by_address.lots
        return Match("place", spot.holding) if is_one else by_address
    place = _by_place(spot, parcel_id, address, lots, index)
    if place.lots:
        return place
    said = [found.reason for found in (by_id, by_address, place) if found.reason]
    return Match(reason="; ".join(said))


def _by_place(
    spot: _Spot, parcel_id: str, address: Address | None, lots: Lots, index: Index
) -> Match:
    """Take the lot that the point lies in; one next to a line needs an address or id that agrees."""
    if spot.reason:
        return Match(reason=spot.reason)
    lot = spot.holding[0]
    there = index.addresses[lot]
    is_same_number = bool(there and address and set(there.numbers) & set(address.numbers))
    if len(spot.beside) > 1:
        is_one = len(spot.holding) == 1
        is_told = bool(
            is_same_number and there and address and is_alike(there.street, address.street)
        ) or bare_id(parcel_id) == (bare_id(lots.table["parcel_id"].iloc[lot]) or "none")
        if is_one and is_told:
            return Match("place", spot.holding)
        words = "a lot, but next to its line" if is_one else "several lots"
        return Match("", spot.beside, f"its lon and lat lie in {words}", is_ambiguous=True)
    if there and address and not is_same_number:
        reason = f"the lot at its lon and lat is {there.written} {there.street}"
        return Match("", spot.holding, reason)
    return Match("place", spot.holding)


def _is_dead(parcel_id: str, lots: Lots, index: Index) -> bool:
    key = plain_id(parcel_id)
    return is_placeholder_id(parcel_id) or key in lots.no_lot_ids or key in index.by_id


def _by_id(parcel_id: str, lots: Lots, index: Index) -> Match:
    if not parcel_id.strip() or not lots.has_ids:
        return Match()
    key = plain_id(parcel_id)
    if is_placeholder_id(parcel_id):
        return Match(reason=f"parcel_id {shown(parcel_id)} stands for no lot")
    if key in lots.no_lot_ids:
        return Match(
            reason=f"parcel_id {shown(parcel_id)} stands for no lot: {lots.no_lot_ids[key]}"
        )
    lot = index.by_id.get(key)
    if lot is None:
        return Match(reason=f"no parcel has the id {shown(parcel_id)}")
    if lots.table["is_right_of_way"].iloc[lot]:
        return Match(
            reason=f"parcel_id {shown(parcel_id)} is right-of-way or ground between lots, no lot"
        )
    return Match("parcel id", (lot,))


def _by_address(address: Address | None, lots: Lots, index: Index) -> Match:
    if address is None:
        return Match(reason="its address cannot be read as number and street")
    found = find_equal(address, index)
    fitting = tuple(lot for lot in found if not lots.table["is_right_of_way"].iloc[lot])
    if len(fitting) == 1:
        return Match("address", fitting)
    if fitting:
        return Match("", fitting, f"{len(fitting):,} parcels have its address", is_ambiguous=True)
    if not index.by_address:
        return Match(reason="the column of the parcels' addresses was not named, or holds none")
    return Match(reason="no parcel has its address")


def _find_spots(points: Shapes, lots: Lots, pavement: Shapes) -> list[_Spot]:
    on_street = np.zeros(len(points), dtype=bool)
    on_street[shapely.STRtree(pavement).query(points, predicate="intersects")[0]] = True
    inside, near = _lots_by_point(points, lots, 0.0), _lots_by_point(points, lots, LINE_FT)
    is_lot = ~lots.table["is_right_of_way"].to_numpy(bool)
    if lots.has_ids:
        is_lot &= (lots.table["parcel_id"] != "").to_numpy()
    spots = []
    for at, point in enumerate(points):
        holding = tuple(lot for lot in inside.get(at, ()) if is_lot[lot])
        beside = tuple(lot for lot in near.get(at, ()) if is_lot[lot])
        if shapely.is_empty(point):
            spots.append(_Spot(reason="it has no lon and lat that can be used"))
        elif on_street[at]:
            spots.append(_Spot(reason="its lon and lat lie in the street"))
        elif not holding:
            spots.append(_Spot(reason="its lon and lat lie in no lot"))
        else:
            spots.append(_Spot(holding, beside))
    return spots


def _lots_by_point(points: Shapes, lots: Lots, reach_ft: float) -> dict[int, list[int]]:
    found: dict[int, list[int]] = defaultdict(list)
    for at, lot in zip(*(rows.tolist() for rows in lots.meet(points, reach_ft)), strict=True):
        found[at].append(lot)
    return found


def _refuse_far(matches: list[Match], points: Shapes, lots: Lots) -> list[Match]:
    """Take back what lies in another town than the client's point does."""
    checked = []
    for match, point in zip(matches, points, strict=True):
        is_known = match.way in ("parcel id", "address") and not shapely.is_empty(point)
        if is_known and shapely.distance(point, lots.shapes[match.lots[0]]) > FAR_FT:
            reason = (
                f"the lot that its {match.way} names lies more than 5 miles from its lon and lat"
            )
            checked.append(Match("", match.lots, reason))
        else:
            checked.append(match)
    return checked


def _take_once(matches: list[Match], clients: pd.DataFrame, lots: Lots) -> list[Match]:
    """Give each ground to one client, the first in the list; a choice takes no lot that was found for another."""
    order = sorted(range(len(matches)), key=lambda at: (matches[at].way == "choice", at))
    holders = np.array([at for at in order if matches[at].way], dtype=int)
    taken = np.array([matches[at].lots[0] for at in holders], dtype=int)
    owner = _find_owners(holders, lots.shapes[taken])
    ids = clients["client_id"].tolist()
    return [
        Match("", match.lots, f"its lot is the lot of {ids[owner[at]]} already")
        if at in owner
        else match
        for at, match in enumerate(matches)
    ]


def _find_owners(holders: Rows, shapes: Shapes) -> dict[int, int]:
    """Name, for each client whose ground an earlier one has, the earlier one."""
    owner: dict[int, int] = {}
    for first, second in same_ground(shapes, SAME_GROUND_SHARE):
        if int(holders[first]) not in owner:
            owner.setdefault(int(holders[second]), int(holders[first]))
    return owner
