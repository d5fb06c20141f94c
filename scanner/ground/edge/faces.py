"""
House faces: which walls look at a street, and which are pitched.

A wall is front where its outward normal lies within 60° of the direction from its
middle to the nearest street point and no other outline lies between. Walls that look
the opposite way are back, the rest side.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import shapely

from scanner.ground.lot.sites import Sites, foreign_ft
from scanner.ground.plane.shapes import TOUCH_FT, parts_of, split_segments
from scanner.schema.documents import LocalRules

FACE_COSINE = 0.5
"""Cosine of the 60° that a front wall may be turned from the street."""

ANY_FACE = "any"
"""Face of every wall where no street is known."""

FAR_FT = 5280.0
"""No street is looked for farther off than this."""


def find_walls(sites: Sites, *, rules: LocalRules) -> pd.DataFrame:
    """
    Find the walls of each site's house and the face that each belongs to.

    Parameters
    ----------
    sites
        Sites of one plane.
    rules
        ``front_reach_ft``, ``jog_ft``.

    Returns
    -------
    walls
        One row a wall: ``site``, ``ring``, ``face``, ``length_ft``, ``geometry``, rings in
        order and each counter-clockwise.
    """
    houses, rows = parts_of(sites.house)
    shells = shapely.get_exterior_ring(houses)
    shells = np.where(shapely.is_ccw(shells), shells, shapely.reverse(shells))
    starts, ends, ring = split_segments(shells)
    walls = pd.DataFrame({"site": rows[ring], "ring": ring})
    walls["length_ft"] = np.hypot(*(ends - starts).T)
    walls["geometry"] = shapely.linestrings(np.stack([starts, ends], axis=1))
    face = _look(sites, walls, starts, ends, rules.front_reach_ft)
    for name in ("front", "side", "back"):
        face = _take_jogs(walls, face, name, rules.jog_ft)
    return walls.assign(face=face)


def _look(
    sites: Sites, walls: pd.DataFrame, starts: np.ndarray, ends: np.ndarray, reach_ft: float
) -> np.ndarray:
    """Name the face of each wall by what its middle sees."""
    face = np.full(len(walls), ANY_FACE, dtype=object)
    middle = (starts + ends) / 2
    at, street = sites.town.street_tree.query_nearest(
        shapely.points(middle), max_distance=FAR_FT, all_matches=False
    )
    sights = shapely.shortest_line(shapely.points(middle[at]), sites.town.streets[street])
    target = shapely.get_point(sights, 1)
    rows = walls["site"].to_numpy()[at]
    known = shapely.distance(target, sites.outline[rows]) <= reach_ft
    at, sights, target, rows = at[known], sights[known], target[known], rows[known]
    along = (ends - starts)[at]
    normal = np.column_stack([along[:, 1], -along[:, 0]]) / np.hypot(*along.T)[:, None]
    away = shapely.get_coordinates(target) - middle[at]
    cosine = np.einsum("ij,ij->i", away, normal) / np.maximum(np.hypot(*away.T), TOUCH_FT)
    is_blocked = foreign_ft(sites, sights, rows) > TOUCH_FT
    is_front = cosine >= FACE_COSINE - 1e-9
    looks_back = (cosine <= -FACE_COSINE + 1e-9) | (is_front & is_blocked)
    face[at] = np.select([is_front & ~is_blocked, looks_back], ["front", "back"], "side")
    return face


def _take_jogs(walls: pd.DataFrame, face: np.ndarray, name: str, jog_ft: float) -> np.ndarray:
    """Give a short run of other walls between two walls of a face to that face."""
    ring = walls["ring"].to_numpy()
    if not len(ring):
        return face
    count = np.bincount(ring)
    last = np.cumsum(count) - 1
    before = np.arange(len(ring)) - 1
    first = (last - count + 1)[count > 0]
    before[first] = last[count > 0]
    is_face = face == name
    breaks = is_face != is_face[before]
    run = np.cumsum(breaks)
    # Walls before a ring's first break go on from its last one.
    runs_before = np.concatenate([[0], run[last]])[:-1]
    run = np.where(run == runs_before[ring], run[last][ring], run)
    _, run = np.unique(np.column_stack([ring, run]), axis=0, return_inverse=True)
    length_ft = np.bincount(run, weights=walls["length_ft"].to_numpy())[run]
    has_face = np.bincount(ring, weights=is_face)[ring] > 0
    return np.where(~is_face & has_face & (length_ft < jog_ft), name, face)
