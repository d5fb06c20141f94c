"""
Names of beds: ``client-along-n``, and the same name again in the next scan.

Beds along a street count from left to right as seen from the street, rings round a house
clockwise from the corner nearest the street. A bed that shares half of the smaller shape
with one on record takes that one's name, so that notes and outcomes stay with it.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import shapely

from scanner.ground.lot.sites import Sites
from scanner.ground.plane.shapes import parts_of

SAME_SHARE = 0.5
"""Share of the smaller of two shapes that they have in common when they are one bed."""

ASIDE_SHARE = 0.02
"""A foot farther from the street counts as this much farther along it."""

CORNER_SLACK_FT = 1.0
"""Corners this much farther from the street than the nearest count as near as it."""


def name_beds(clients: np.ndarray, along: np.ndarray, number: np.ndarray) -> np.ndarray:
    """
    Name beds by client, kind and number.

    Parameters
    ----------
    clients
        Client of each bed.
    along
        What each runs along.
    number
        As `number_beds` gives it.

    Returns
    -------
    bed_id
        Names; a blank in a client's id becomes a line, for lists of beds part at blanks.

    Examples
    --------
    >>> name_beds(np.array(["C 42"]), np.array(["curb"]), np.array([1])).tolist()
    ['C_42-curb-1']
    """
    owners = ["_".join(client.split()) for client in clients]
    names = [f"{own}-{kind}-{n}" for own, kind, n in zip(owners, along, number, strict=True)]
    return np.array(names, dtype=object)


def number_beds(beds: pd.DataFrame, sites: Sites) -> np.ndarray:
    """
    Number the beds of each site and kind.

    Parameters
    ----------
    beds
        Columns ``site``, ``along``, ``core`` [ft].
    sites
        Sites of one plane.

    Returns
    -------
    number
        1, 2, … within each site and kind, aligned with `beds`.
    """
    site, along = beds["site"].to_numpy(), beds["along"].to_numpy()
    centers = shapely.centroid(beds["core"].to_numpy())
    place = np.where(
        along == "house", _round_house(sites, centers, site), _round_lot(sites, centers, site)
    )
    kind = np.unique(along.astype(str), return_inverse=True)[1]
    order = np.lexsort((place, kind, site))
    group = np.unique(np.column_stack([site, kind])[order], axis=0, return_inverse=True)[1]
    if not len(order):
        return np.zeros(0, int)
    size = np.bincount(group)
    first = np.cumsum(size) - size
    sorted_place = place[order]
    before = np.concatenate([[0.0], sorted_place[:-1]])
    before[first] = sorted_place[first + size - 1] - 1.0
    gap = sorted_place - before
    # Along a street the widest gap lies round the back: counting starts after it.
    gap[along[order] == "house"] = 0.0
    widest = pd.Series(gap).groupby(group).transform("max").to_numpy()
    at = np.arange(len(order)) - first[group]
    start = pd.Series(np.where(gap >= widest - 1e-9, at, len(at))).groupby(group).transform("min")
    number = np.empty(len(order), int)
    number[order] = (at - start.to_numpy()) % size[group] + 1
    return number


def _round_lot(sites: Sites, centers: np.ndarray, site: np.ndarray) -> np.ndarray:
    """Place points along their outline, counter-clockwise, as a share of it."""
    rings = _largest_rings(sites.outline, clockwise=False)[site]
    at_ft = shapely.line_locate_point(rings, centers)
    # Of two beds side by side, as on both sides of a sidewalk, the street's comes first.
    at_ft = at_ft + ASIDE_SHARE * _street_ft(sites, centers)
    return at_ft / np.maximum(shapely.length(rings), 1.0)


def _street_ft(sites: Sites, points: np.ndarray) -> np.ndarray:
    """Measure how far points are from the nearest street; 0 where none is known."""
    street_ft = np.zeros(len(points))
    if len(points) and len(sites.town.streets):
        at, street = sites.town.street_tree.query_nearest(points, all_matches=False)
        street_ft[at] = shapely.distance(points[at], sites.town.streets[street])
    return street_ft


def _round_house(sites: Sites, centers: np.ndarray, site: np.ndarray) -> np.ndarray:
    """Place points round their house, clockwise from the corner nearest the street."""
    rings = _largest_rings(sites.house, clockwise=True)
    start_ft = _street_corner_ft(sites, rings)
    length_ft = np.maximum(shapely.length(rings), 1.0)
    at_ft = shapely.line_locate_point(rings[site], centers)
    return np.nan_to_num(((at_ft - start_ft[site]) % length_ft[site]) / length_ft[site])


def _largest_rings(shapes: np.ndarray, *, clockwise: bool) -> np.ndarray:
    """Take the outer ring of the largest part of each shape, turned one way."""
    parts, rows = parts_of(shapes)
    order = np.lexsort((-shapely.area(parts), rows))
    row, first = np.unique(rows[order], return_index=True)
    ring = shapely.get_exterior_ring(parts[order][first])
    rings = np.full(len(shapes), shapely.LineString(), dtype=object)
    rings[row] = np.where(shapely.is_ccw(ring) == clockwise, shapely.reverse(ring), ring)
    return rings


def _street_corner_ft(sites: Sites, rings: np.ndarray) -> np.ndarray:
    """Find how far along each ring the corner nearest the street stands, the first of equals."""
    start_ft = np.zeros(len(rings))
    points, row = shapely.get_coordinates(rings, return_index=True)
    if not len(row) or not len(sites.town.streets):
        return start_ft
    corners = shapely.points(points)
    distance_ft = _street_ft(sites, corners)
    nearest = pd.Series(distance_ft).groupby(row).transform("min").to_numpy()
    is_near = distance_ft <= nearest + CORNER_SLACK_FT
    # The first vertex stands again at the end of its ring, so each has one before it.
    before_near = np.concatenate([[False], is_near[:-1]]) & np.concatenate(
        [[False], row[1:] == row[:-1]]
    )
    opens = np.flatnonzero(is_near & ~before_near)
    last = pd.Series(opens).groupby(row[opens]).max()
    start_ft[last.index] = shapely.line_locate_point(
        rings[last.index.to_numpy()], corners[last.to_numpy()]
    )
    return start_ft


def match_beds(beds: pd.DataFrame, stored: pd.DataFrame) -> np.ndarray:
    """
    Give beds the names of the stored beds that they are.

    Parameters
    ----------
    beds
        Columns ``bed_id``, ``client_id``, ``along``, ``area_ft2`` and ``geometry`` [ft], as
        newly numbered; no shape where a bed was measured on foot.
    stored
        The same columns and ``built_on``, from earlier scans, in the same plane.

    Returns
    -------
    bed_id
        Names aligned with `beds`: those of the stored beds of the same lot and kind that
        share half of the smaller shape, one to one, largest share first; where one of the
        two has no shape, those whose areas are most alike. Other beds keep their number
        where it is free, else take the next free one: a name is never given to another bed.
    """
    pairs = pd.concat([_pairs_by_shape(beds, stored), _pairs_by_area(beds, stored)])
    names = beds["bed_id"].to_numpy(object).copy()
    named: set[int] = set()
    used: set[int] = set()
    for new, old in zip(pairs["new"], pairs["old"], strict=True):
        if new not in named and old not in used:
            names[new] = stored["bed_id"].iloc[old]
            named.add(new)
            used.add(old)
    return _free_names(names, named, set(stored["bed_id"]))


def _pairs_by_shape(beds: pd.DataFrame, stored: pd.DataFrame) -> pd.DataFrame:
    """Pair beds that share half of the smaller shape, largest share first."""
    one, two = beds["geometry"].to_numpy(), stored["geometry"].to_numpy()
    new, old = shapely.STRtree(two).query(one, predicate="intersects")
    # A bed that was built is ground now: what lies there is another one
    same = _same_place(beds, stored, new, old) & (stored["built_on"].to_numpy()[old] == "")
    new, old = new[same], old[same]
    common_ft2 = shapely.area(shapely.intersection(one[new], two[old]))
    smaller_ft2 = np.minimum(shapely.area(one[new]), shapely.area(two[old]))
    pairs = pd.DataFrame({"new": new, "old": old, "common_ft2": common_ft2})
    pairs = pairs[(common_ft2 > 0.0) & (common_ft2 >= SAME_SHARE * smaller_ft2)]
    return pairs.sort_values(["common_ft2", "new", "old"], ascending=[False, True, True])


def _pairs_by_area(beds: pd.DataFrame, stored: pd.DataFrame) -> pd.DataFrame:
    """Pair beds of which one lies nowhere, the most alike in area first."""
    keys = ["client_id", "along"]
    one = beds[[*keys, "bed_id", "area_ft2"]].assign(
        new=range(len(beds)), is_empty=shapely.is_empty(beds["geometry"].to_numpy())
    )
    two = stored[[*keys, "bed_id", "area_ft2"]].assign(
        old=range(len(stored)), is_empty=shapely.is_empty(stored["geometry"].to_numpy())
    )
    pairs = pd.DataFrame(one).merge(pd.DataFrame(two), on=keys, suffixes=("", "_old"))
    pairs = pairs[pairs["is_empty"] | pairs["is_empty_old"]]
    areas_ft2 = pairs[["area_ft2", "area_ft2_old"]]
    share = areas_ft2.min(axis=1) / areas_ft2.max(axis=1)
    # Of beds alike the same number is the likelier one
    pairs = pairs.assign(share=share, other=pairs["bed_id"] != pairs["bed_id_old"])
    pairs = pairs[pairs["share"] >= SAME_SHARE]
    return pairs.sort_values(["share", "other", "new", "old"], ascending=[False, True, True, True])


def _same_place(
    beds: pd.DataFrame, stored: pd.DataFrame, new: np.ndarray, old: np.ndarray
) -> np.ndarray:
    same = np.ones(len(new), bool)
    for column in ("client_id", "along"):
        same &= beds[column].to_numpy()[new] == stored[column].to_numpy()[old]
    return same


def _free_names(names: np.ndarray, named: set[int], taken: set[str]) -> np.ndarray:
    """Give new beds a number that no stored bed has."""
    taken = set(taken)
    for at in range(len(names)):
        if at in named:
            continue
        stem, number = names[at].rsplit("-", 1)
        count = int(number)
        while f"{stem}-{count}" in taken:
            count += 1
        names[at] = f"{stem}-{count}"
        taken.add(names[at])
    return names
