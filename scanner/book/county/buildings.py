"""Whose a building is, and which building of a lot is the house."""

from __future__ import annotations

import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from scanner.book.county.lots import Lots
from scanner.book.county.pieces import Rows, Shapes
from scanner.plane.grid import only_ground

PART_SHARE = 0.2
PART_FT2 = 250.0
"""A lot that has a fifth of a building and this much of it has a part of its own: a row house."""

HOUSE_SHARE = 0.6
"""A building with this share of the largest on its lot is a house too, a smaller one is none."""

_LEAST_FT2 = 1.0


def give_buildings(buildings: Shapes, lots: Lots, owned: Rows) -> pd.DataFrame:
    """Give each building to its lot, cut at the line where several lots have a part of it: ``lot`` (-1: nobody's), ``kind``, ``geometry`` [ft].

    Surveyed layers are off by feet, so a building belongs to the lot with most of it and stays
    whole though its eaves reach over the line. What a client's lot and another one claim is the client's.
    """
    rows, at, shared_ft2 = lots.shared_ft2(buildings)
    area_ft2 = shapely.area(buildings)
    share = shared_ft2 / np.maximum(area_ft2[rows], _LEAST_FT2)
    is_part = (share >= PART_SHARE) & (shared_ft2 >= PART_FT2)
    best = _best(rows, share, np.isin(at, owned), len(buildings))
    is_home = np.zeros(len(rows), dtype=bool)
    is_home[best[best >= 0]] = share[best[best >= 0]] >= PART_SHARE
    is_shared = np.bincount(rows, weights=is_part, minlength=len(buildings)) > 1
    whole = is_home & ~is_shared[rows]
    cut = is_part & is_shared[rows]
    parts = pd.DataFrame(
        {"building": rows[whole], "lot": at[whole], "geometry": buildings[rows[whole]]}
    )
    pieces = pd.DataFrame(_cut(buildings, lots, rows[cut], at[cut], is_home[cut]))
    nobody = np.setdiff1d(np.arange(len(buildings)), rows[whole | cut])
    others = pd.DataFrame({"building": nobody, "lot": -1, "geometry": buildings[nobody]})
    filled = [table for table in (parts, pieces, others) if len(table)] or [parts]
    table = _clear(pd.concat(filled, ignore_index=True), owned)
    return name_houses(table.sort_values(["building", "lot"], kind="stable", ignore_index=True))


def name_houses(parts: pd.DataFrame) -> pd.DataFrame:
    """Tell houses from outbuildings by their size beside the largest on the lot.

    >>> boxes = [shapely.box(0, 0, 40, 30), shapely.box(50, 0, 70, 20), shapely.box(0, 50, 36, 70)]
    >>> name_houses(pd.DataFrame({"lot": 7, "geometry": boxes}))["kind"].tolist()
    ['house', 'outbuilding', 'house']
    """
    area_ft2 = pd.Series(shapely.area(parts["geometry"].to_numpy(object)), index=parts.index)
    largest_ft2 = area_ft2.groupby(parts["lot"]).transform("max")
    is_house = (area_ft2 >= HOUSE_SHARE * largest_ft2) | (parts["lot"] < 0)
    return parts.assign(kind=np.where(is_house, "house", "outbuilding"))


def _best(rows: Rows, share: NDArray[np.float64], is_owned: NDArray[np.bool_], count: int) -> Rows:
    """Find, for each building, the pair that has most of it; a client's of two alike."""
    order = np.lexsort((np.arange(len(rows)), ~is_owned, -np.round(share, 6), rows))
    best = np.full(count, -1)
    first = order[np.unique(rows[order], return_index=True)[1]] if len(rows) else order
    best[rows[first]] = first
    return best


def _cut(
    buildings: Shapes, lots: Lots, rows: Rows, at: Rows, is_home: NDArray[np.bool_]
) -> dict[str, object]:
    """Cut buildings at the line; what lies on no lot that has a part stays with the largest part."""
    pieces = only_ground(shapely.intersection(buildings[rows], lots.shapes[at]))
    for building in np.unique(rows):
        of = np.flatnonzero(rows == building)
        rest = shapely.difference(buildings[building], shapely.union_all(lots.shapes[at[of]]))
        home = of[is_home[of]][:1]
        pieces[home] = only_ground(shapely.union(pieces[home], rest))
    return {"building": rows, "lot": at, "geometry": pieces}


def _clear(table: pd.DataFrame, owned: Rows) -> pd.DataFrame:
    """Take clients' parts out of what others claim: stacked lots share their ground."""
    is_owned = table["lot"].isin(owned)
    mine = (
        table[is_owned]
        .groupby("building")["geometry"]
        .agg(lambda parts: shapely.union_all(parts.to_numpy(object)))
    )
    taken = table["building"].map(mine)
    shapes = table["geometry"].to_numpy(object).copy()
    at = np.flatnonzero(~is_owned.to_numpy() & taken.notna().to_numpy())
    shapes[at] = only_ground(shapely.difference(shapes[at], taken.to_numpy(object)[at]))
    return table.assign(geometry=shapes)[shapely.area(shapes) >= _LEAST_FT2]
