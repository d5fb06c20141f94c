"""The lawn of each lot: drawn or inferred, less all that is built, planted and wet."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from scanner.ground.kinds import LINE, SHUT, Lots, Parts
from scanner.plane.grid import EMPTY, ON_FT, minus, put_on_grid
from scanner.plane.offsets import close_ground
from scanner.plane.spikes import despike
from scanner.schema.documents import LocalRules

ROUNDING = 1e-6
"""An acre drawn to the foot is an acre, whatever a projection makes of its last digit."""

MOWED_SHARE = 1.5
"""An inferred lawn larger than this many times the mowed area is not believed."""


@dataclass(frozen=True)
class Lawn:
    """
    The lawn of each lot, n of them.

    Attributes
    ----------
    ground
        Turf [ft], empty where none is known.
    source
        ``drawn``, ``inferred`` or blank.
    lost_share
        Share of the drawn lawn that lay on built ground.
    is_undrawn
        Nothing could be inferred: the lawn has to be drawn.
    """

    ground: np.ndarray
    source: np.ndarray
    lost_share: np.ndarray
    is_undrawn: np.ndarray


def find_lawn(lots: Lots, parts: Parts, *, rules: LocalRules) -> Lawn:
    """
    Find the turf of each lot, gaps to hardscape still open.

    Parameters
    ----------
    lots
        Lots of a block, with their strips; ``mowed_ft2`` tells when an inferred lawn is not
        believed.
    parts
        What is built, planted and wet.
    rules
        ``infer_max_ft2``.

    Returns
    -------
    lawn
        One row a lot.
    """
    is_drawn = ~shapely.is_empty(lots.turf)
    base = np.where(is_drawn, lots.turf, lots.outline)
    add = np.flatnonzero(~is_drawn & ~shapely.is_empty(lots.strip))
    base[add] = _joined(base[add], lots.strip[add])
    too_large = ~is_drawn & (shapely.area(lots.outline) > rules.infer_max_ft2 * (1 + ROUNDING))
    base[too_large] = EMPTY
    base_ft2 = shapely.area(base)
    ground = despike(put_on_grid(_take_out(base, parts)))
    mowed_ft2 = np.where(np.isnan(lots.mowed_ft2), np.inf, lots.mowed_ft2)
    is_undrawn = too_large | (~is_drawn & (shapely.area(ground) > MOWED_SHARE * mowed_ft2))
    ground[is_undrawn] = EMPTY
    source = np.where(is_drawn, "drawn", "inferred").astype(object)
    source[shapely.is_empty(ground)] = ""
    lost_ft2 = np.where(is_drawn, base_ft2 - shapely.area(ground), 0.0)
    lost_share = lost_ft2 / np.where(base_ft2 > 0, base_ft2, 1.0)
    return Lawn(ground, source, lost_share, is_undrawn)


def _joined(outlines: np.ndarray, strips: np.ndarray) -> np.ndarray:
    """Unite outlines with their strips; pieces that rounding or a bend set apart have a slit."""
    whole = shapely.union(outlines, strips)
    slit = (shapely.get_num_geometries(whole) > 1) | (shapely.get_num_geometries(strips) > 1)
    slit |= shapely.get_num_interior_rings(whole) > 0
    whole[slit] = close_ground(whole[slit], 4 * ON_FT)
    return whole


def _take_out(base: np.ndarray, parts: Parts) -> np.ndarray:
    """Take one part after the other out of each lot's ground: half the work of uniting them."""
    takes = np.flatnonzero(((parts.bits & SHUT) > 0) & ((parts.bits & LINE) == 0))
    takes = takes[shapely.intersects(parts.shape[takes], base[parts.lot[takes]])]
    base, lot = base.copy(), parts.lot[takes]
    turn = np.arange(len(lot)) - np.searchsorted(lot, lot)
    for k in range(int(turn.max(initial=-1)) + 1):
        at = takes[turn == k]
        base[parts.lot[at]] = minus(base[parts.lot[at]], parts.shape[at])
    return base
