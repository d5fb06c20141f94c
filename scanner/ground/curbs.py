"""The street of each lot in one piece, and what of its border is a curb."""

from __future__ import annotations

import numpy as np
import shapely

from scanner.ground.join_parts import close_seams
from scanner.ground.kinds import LINE, STREET, Lots, Parts
from scanner.plane.grid import snap, unite


def streets_of(parts: Parts, count: int) -> np.ndarray:
    """
    Unite the street of each lot, whatever it is known from.

    Parameters
    ----------
    parts
        Parts of some lots.
    count
        Number of lots.

    Returns
    -------
    streets
        Polygons [ft], one a lot, empty where none is known.
    """
    paved = parts.take(((parts.bits & STREET) > 0) & ((parts.bits & LINE) == 0))
    streets = unite(paved.shape, paved.lot, count)
    several = np.flatnonzero(np.bincount(paved.lot, minlength=count) > 1)
    # Pieces that touch on the grid leave slits: one street has one curb to walk along.
    streets[several] = snap(close_seams(streets[several]))
    return streets


def is_window_edge(a: np.ndarray, b: np.ndarray, window: np.ndarray) -> np.ndarray:
    """
    Tell which pieces of a border only stand where a shape was cut to its window.

    Parameters
    ----------
    a, b
        Both ends of each piece [ft].
    window
        Its lot's window: west, south, east, north.

    Returns
    -------
    is_edge
        Boolean array.
    """
    both = np.concatenate([a, a], axis=1), np.concatenate([b, b], axis=1)
    return ((both[0] == window) & (both[1] == window)).any(axis=1)


def windows_of(lots: Lots, reach_ft: float) -> np.ndarray:
    """
    Give the box of each lot within which its layers are complete, whole feet.

    Parameters
    ----------
    lots
        Some lots.
    reach_ft
        How far round the outline.

    Returns
    -------
    windows
        West, south, east, north [ft], one row a lot.
    """
    west, south, east, north = shapely.bounds(lots.outline).T
    low = np.floor(np.column_stack([west, south])) - reach_ft
    return np.column_stack([low, np.ceil(np.column_stack([east, north])) + reach_ft])
