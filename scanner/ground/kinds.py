"""What ground can be, one bit a kind, and the arrays of lots and parts that the room works on."""

from __future__ import annotations

from typing import NamedTuple, Self

import numpy as np
import pandas as pd
import shapely

from scanner.plane.grid import boxes_meet, ground_parts, minus
from scanner.plane.segments import join

(
    CURB, SIDEWALK, DRIVE, WALK, PATIO, HOUSE, SHED, BED, WATER, OTHER, ROAD, PITCHED, LINE, FENCE,
    BACK, FRONT, SIDE, REAR, ANY, SURVEYED, CENTERLINE, GUESS, EASEMENT, WILDFIRE, PARKING,
) = (1 << bit for bit in range(25))  # fmt: skip
"""
ROAD: a street without a curb. SHED: an outbuilding. OTHER: other people's buildings. PITCHED: a wall of
a face that is offered; FRONT, SIDE, REAR, ANY: its face. LINE: an edge drawn as a line, with the bit of
what it runs along. BACK: what lies behind such a line. SURVEYED and CENTERLINE: how a street or sidewalk
is known. GUESS: a drive that nobody drew.
"""

STREET = CURB | ROAD
HARD = STREET | SIDEWALK | DRIVE | WALK | PATIO | HOUSE | SHED | FENCE | BACK
"""Hardscape, own walls and fences: what a lawn is closed against."""

TRIMMED = HARD | OTHER
"""What turf is trimmed along."""

SHUT = TRIMMED | BED | WATER
"""What takes ground from the lawn and needs no edging."""

EDGE = {
    "curb": CURB, "house": PITCHED, "sidewalk": SIDEWALK, "drive": DRIVE, "walk": WALK,
    "patio": PATIO, "fence": FENCE,
}  # fmt: skip
"""Bit of the border stretches that make each kind of edge."""


class Parts(NamedTuple):
    """One row a lot and feature in its reach, sorted by lot: its shape in the lot's frame [ft], its bits."""

    shape: np.ndarray
    bits: np.ndarray
    lot: np.ndarray

    def take(self, keep: np.ndarray) -> Self:
        """Keep some rows, in the order asked for."""
        return type(self)(*(column[keep] for column in self))

    def of(self, bits: int) -> Self:
        """Keep the parts that have any of some bits."""
        return self.take((self.bits & bits) > 0)

    def add(self, shape: np.ndarray, bits: int | np.ndarray, lot: np.ndarray) -> Self:
        """Put in further parts, each after those of its lot."""
        lots = np.concatenate([self.lot, lot]).astype(int)
        order = np.argsort(lots, kind="stable")
        return type(self)(
            np.concatenate([self.shape, shape])[order],
            np.concatenate([self.bits, np.broadcast_to(bits, len(lot))]).astype(np.int32)[order],
            lots[order],
        )


class Lots(NamedTuple):
    """
    Lots of a block, one row each, every lot in its own frame [ft].

    `origin` is the lot's corner in the plane, whole feet; `turf` the lawn as drawn, `strip` the
    frontage strip outside the outline, both empty where there is none; `mowed_ft2` NaN where not known.
    """

    client_id: np.ndarray
    origin: np.ndarray
    outline: np.ndarray
    turf: np.ndarray
    strip: np.ndarray
    mowed_ft2: np.ndarray
    is_drives_known: np.ndarray

    @property
    def box(self) -> np.ndarray:
        """Give the box of what may be mowed on each lot: west, south, east, north [ft], n × 4."""
        bounds = np.stack(
            [shapely.bounds(ground) for ground in (self.outline, self.turf, self.strip)]
        )
        low, high = np.fmin.reduce(bounds[:, :, :2]), np.fmax.reduce(bounds[:, :, 2:])
        return np.column_stack([low, high])


AREAS = {
    "sidewalk": SIDEWALK | SURVEYED, "drive": DRIVE, "walk": WALK, "patio": PATIO, "bed": BED,
    "water": WATER, "easement": EASEMENT, "wildfire_area": WILDFIRE, "house": HOUSE,
    "outbuilding": SHED, "street": CURB | SURVEYED, "street_centerline": CURB | CENTERLINE,
}  # fmt: skip
"""Bits of each kind that is an area, whoever it belongs to."""


def bits_of(features: pd.DataFrame) -> np.ndarray:
    """
    Give the bits of features, one number each; none for what is no part of the ground.

    >>> streets = pd.DataFrame({"kind": "street", "curbed": ["", "no"], "along": "", "pavement_ft": np.nan})
    >>> (bits_of(streets) == [CURB | SURVEYED, ROAD | SURVEYED]).tolist()
    [True, True]
    """
    kind = features["kind"].to_numpy(object)
    bits = np.array([AREAS.get(name, 0) for name in kind], np.int32)
    # A sidewalk of which somebody told the width is a line that was widened.
    widened = (kind == "sidewalk") & features["pavement_ft"].notna().to_numpy()
    bits[widened] = SIDEWALK | CENTERLINE
    without = ((bits & CURB) > 0) & (features["curbed"] == "no").to_numpy()
    bits[without] ^= CURB | ROAD
    lines = np.flatnonzero(kind == "edge")
    drawn = {**EDGE, "house": HOUSE}
    bits[lines] = [drawn[along] | LINE for along in features["along"].to_numpy(object)[lines]]
    return bits


def shift(shapes: np.ndarray, by_ft: np.ndarray) -> np.ndarray:
    """Move shapes [ft], each by its own whole feet east and north (n × 2), so that nothing is rounded."""
    points, row = shapely.get_coordinates(shapes, return_index=True)
    return shapely.set_coordinates(shapes.copy(), points + by_ft[row])


def pair_boxes(
    shapes: np.ndarray, lot: np.ndarray, parts: Parts, reach_ft: float = 0.0
) -> tuple[np.ndarray, np.ndarray]:
    """Pair shapes with parts of their lot whose boxes lie `reach_ft` apart at most: rows of both."""
    i, j = join(lot, parts.lot)
    meets = boxes_meet(shapely.bounds(shapes)[i], shapely.bounds(parts.shape)[j], reach_ft)
    return i[meets], j[meets]


def take_from(shapes: np.ndarray, lot: np.ndarray, taken: Parts) -> np.ndarray:
    """Take ground out of shapes [ft] of the same lot where the two meet, at once what lies apart."""
    i, j = pair_boxes(shapes, lot, taken)
    meets = shapely.intersects(shapes[i], taken.shape[j])
    i, j = i[meets], j[meets]
    left, box = shapes.copy(), shapely.bounds(taken.shape[j])
    rest = np.arange(len(i))
    # Half the work of uniting what is taken, and no hair between two parts to stumble over.
    while len(rest):
        one, two = join(i[rest], i[rest])
        is_before = (two < one) & boxes_meet(box[rest[one]], box[rest[two]])
        waits = np.bincount(one, is_before, len(rest)) > 0
        at = rest[~waits]
        parts, row = ground_parts(taken.shape[j[at]])
        rows, of = np.unique(i[at][row], return_inverse=True)
        left[rows] = minus(left[rows], shapely.multipolygons(parts, indices=of))
        rest = rest[waits]
    return left
