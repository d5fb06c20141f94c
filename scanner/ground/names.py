"""
Names of beds: ``client-along-n``.

Beds along a street count from left to right as seen from the street, rings round a house
clockwise from the corner nearest the street.
"""

from __future__ import annotations

import numpy as np
import shapely

from scanner.ground.gather import Block
from scanner.ground.kinds import HOUSE, LINE

ASIDE_SHARE = 0.02
"""A foot farther from the street counts as this much farther along it."""

CORNER_SLACK_FT = 1.0
"""Corners this much farther from the street than the nearest count as near as it."""


def name_beds(clients: np.ndarray, along: np.ndarray, number: np.ndarray) -> np.ndarray:
    """
    Name beds by client, kind and number; a blank in a client's id becomes a line, for lists of beds part at blanks.

    >>> name_beds(np.array(["C 42"]), np.array(["curb"]), np.array([1])).tolist()
    ['C_42-curb-1']
    """
    owners = ["_".join(client.split()) for client in clients]
    names = [f"{own}-{kind}-{n}" for own, kind, n in zip(owners, along, number, strict=True)]
    return np.array(names, dtype=object)


def number_beds(cores: np.ndarray, lot: np.ndarray, along: np.ndarray, block: Block) -> np.ndarray:
    """Number the beds of each lot and kind from 1, by their ground before they absorb turf [ft]."""
    if not len(cores):
        return np.zeros(0, int)
    centers = shapely.centroid(cores)
    place = _round_lot(block, centers, lot)
    is_house = along == "house"
    place[is_house] = _round_house(block, centers[is_house], lot[is_house])
    kind = np.unique(along.astype(str), return_inverse=True)[1]
    # Beds at the same place differ by their size: never the first in some order.
    order = np.lexsort((shapely.area(cores), place, kind, lot))
    group = np.unique(np.column_stack([lot, kind])[order], axis=0, return_inverse=True)[1]
    size = np.bincount(group)
    first = np.cumsum(size) - size
    sorted_place = place[order]
    before = np.concatenate([[0.0], sorted_place[:-1]])
    before[first] = sorted_place[first + size - 1] - 1.0
    gap = sorted_place - before
    # Along a street the widest gap lies round the back: counting starts after it.
    gap[along[order] == "house"] = 0.0
    widest = np.maximum.reduceat(gap, first)[group]
    at = np.arange(len(order)) - first[group]
    start = np.minimum.reduceat(np.where(gap >= widest - 1e-9, at, len(at)), first)[group]
    number = np.empty(len(order), int)
    number[order] = (at - start) % size[group] + 1
    return number


def _round_lot(block: Block, centers: np.ndarray, lot: np.ndarray) -> np.ndarray:
    """Place points along their outline, counter-clockwise, as a share of it."""
    rings = _largest_rings(block.lots.outline, np.arange(block.count), block.count, clockwise=False)
    xy = shapely.get_coordinates(centers)
    street, street_ft = block.around.nearest_street(xy, lot)
    # As near to two sides, as in a corner, a bed lies on the one before the street.
    ahead = np.nan_to_num(ASIDE_SHARE * (street - xy))
    at_ft = shapely.line_locate_point(rings[lot], shapely.points(xy + ahead))
    # Of two beds side by side, as on both sides of a sidewalk, the street's comes first.
    aside_ft = ASIDE_SHARE * np.where(np.isinf(street_ft), 0.0, street_ft)
    return (at_ft + aside_ft) / np.maximum(shapely.length(rings[lot]), 1.0)


def _round_house(block: Block, centers: np.ndarray, lot: np.ndarray) -> np.ndarray:
    """Place points round their house, clockwise from the corner nearest the street."""
    houses = block.parts.of(HOUSE)
    houses = houses.take((houses.bits & LINE) == 0)
    rings = _largest_rings(houses.shape, houses.lot, block.count, clockwise=True)
    start_ft = _street_corner_ft(block, rings)
    length_ft = np.maximum(shapely.length(rings), 1.0)
    at_ft = shapely.line_locate_point(rings[lot], centers)
    return np.nan_to_num(((at_ft - start_ft[lot]) % length_ft[lot]) / length_ft[lot])


def _largest_rings(
    shapes: np.ndarray, lot: np.ndarray, count: int, *, clockwise: bool
) -> np.ndarray:
    """Take the outer ring of the largest polygon of each lot, turned one way."""
    parts, row = shapely.get_parts(shapes, return_index=True)
    order = np.lexsort((-shapely.area(parts), lot[row]))
    lots, first = np.unique(lot[row][order], return_index=True)
    ring = shapely.get_exterior_ring(parts[order][first])
    rings = np.full(count, shapely.LineString(), dtype=object)
    rings[lots] = np.where(shapely.is_ccw(ring) == clockwise, shapely.reverse(ring), ring)
    return rings


def _street_corner_ft(block: Block, rings: np.ndarray) -> np.ndarray:
    """Find how far along each ring the corner nearest the street stands, the first of equals."""
    start_ft = np.zeros(len(rings))
    points, lot = shapely.get_coordinates(rings, return_index=True)
    if not len(lot):
        return start_ft
    street_ft = block.around.nearest_street(points, lot)[1]
    first = np.flatnonzero(np.diff(lot, prepend=-1))
    nearest = np.repeat(np.minimum.reduceat(street_ft, first), np.diff(first, append=len(lot)))
    with np.errstate(invalid="ignore"):
        is_near = np.isfinite(street_ft) & (street_ft <= nearest + CORNER_SLACK_FT)
    # The first vertex stands again at the end of its ring, so each has one before it.
    same = np.concatenate([[False], lot[1:] == lot[:-1]])
    opens = np.flatnonzero(is_near & ~(np.concatenate([[False], is_near[:-1]]) & same))
    last = {int(lot[at]): at for at in opens}
    rows = np.array([*last], int)
    corners = shapely.points(points[np.array([*last.values()], int)])
    start_ft[rows] = shapely.line_locate_point(rings[rows], corners)
    return start_ft
