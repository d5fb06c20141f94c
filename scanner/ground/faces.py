"""
House faces: which walls look at a street, and which are offered.

A wall is front where its outward normal lies within 60° of the direction from its middle to
the nearest street point and no other outline lies between. Walls that look the opposite way
are back, the rest side. Faces are judged on the house simplified by half a foot, so that a
stray point changes nothing; true walls inherit the face of the run that they are part of.
"""

from __future__ import annotations

from typing import Protocol

import numpy as np
import shapely

from scanner.ground.kinds import ANY, FRONT, HOUSE, LINE, PITCHED, REAR, SIDE
from scanner.plane.segments import Segs, neighbors, runs
from scanner.plane.vectors import cross, norm
from scanner.schema.documents import LocalRules

FACE_COSINE = 0.5
"""Cosine of the 60° that a front wall may be turned from the street."""

DETAIL_FT = 0.5
"""Detail of a house that no face is judged by."""

ROUNDING = 1e-9
"""A wall turned by 60° to the last digit is front."""

FACES = {"front": FRONT, "side": SIDE, "back": REAR, "any": ANY}
"""Bit of each face; ``any`` is every wall where no street is known."""


class Around(Protocol):
    """What lies round lots as far as their fronts look."""

    def nearest_street(self, xy: np.ndarray, lot: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """
        Find the street point nearest to each point, and how far it is.

        Infinite where no street is known.
        """

    def is_blocked(self, a: np.ndarray, b: np.ndarray, lot: np.ndarray) -> np.ndarray:
        """Tell between which points, in their lot's frame [ft], another outline stands."""


def face_walls(layers: Segs, around: Around, *, rules: LocalRules) -> Segs:
    """Give the walls of houses the bit of their face, those that are offered `PITCHED`."""
    wall = np.flatnonzero(((layers.bits & HOUSE) > 0) & ((layers.bits & LINE) == 0))
    wall = wall[_is_outside(layers.take(wall))]
    if not len(wall):
        return layers
    wall = wall[_begin_at_corners(layers.take(wall))]
    walls = layers.take(wall)
    run = _straight_runs(walls)
    first = np.flatnonzero(np.diff(run, prepend=-1))
    last = np.append(first[1:], len(run)) - 1
    plain = walls.take(first)._replace(b=walls.b[last])
    face = _look(plain, around)
    for bit in (FRONT, SIDE, REAR):
        face = np.where(_in_jogs(face == bit, plain, rules.jog_ft), bit, face)
    offered = sum(FACES[name] for name in (*rules.house_faces, "any"))
    face = np.where(face & offered, face | PITCHED, face)
    bits = layers.bits.copy()
    bits[wall] |= face[run].astype(bits.dtype)
    return layers._replace(bits=bits)


def _is_outside(walls: Segs) -> np.ndarray:
    """Tell which walls belong to the outer ring of their house: a court has no face."""
    a, b = walls.a, walls.b
    turn = cross(a, b)
    return (np.bincount(walls.ring, turn) > 0)[walls.ring] if len(turn) else np.zeros(0, bool)


def _begin_at_corners(walls: Segs) -> np.ndarray:
    """Let each ring begin at its corner farthest from its middle: none begins in mid-wall."""
    first, last = runs(walls.ring)
    size = last - first + 1
    owner = np.repeat(np.arange(len(first)), size)
    center = np.stack([np.bincount(owner, axis) / size for axis in walls.a.T], axis=1)
    far_ft = norm(walls.a - center[owner])
    head = np.lexsort((far_ft, owner))[last]
    return first[owner] + (np.arange(len(owner)) - 2 * first[owner] + head[owner]) % size[owner]


def _straight_runs(walls: Segs) -> np.ndarray:
    """Number the walls by the wall of the simplified house that each is part of."""
    first, last = runs(walls.ring)
    owner = np.repeat(np.arange(len(first)), last - first + 1)
    plain = shapely.simplify(shapely.linearrings(walls.a, indices=owner), DETAIL_FT)
    xy, ring = shapely.get_coordinates(plain, return_index=True)
    kept = np.column_stack([ring, xy])
    own = np.column_stack([owner, walls.a])
    # The simplified house keeps some of the true corners, to the last digit.
    _, key = np.unique(np.concatenate([kept, own]), axis=0, return_inverse=True)
    is_corner = np.isin(key[len(kept) :], key[: len(kept)])
    is_corner[first] = True
    return np.cumsum(is_corner) - 1


def _look(walls: Segs, around: Around) -> np.ndarray:
    """Name the face of each wall by what its middle sees."""
    middle = (walls.a + walls.b) / 2
    target, distance_ft = around.nearest_street(middle, walls.lot)
    known = np.flatnonzero(np.isfinite(distance_ft))
    away, step = (target - middle)[known], (walls.b - walls.a)[known]
    outward = cross(away, step)
    size = norm(away) * norm(step)
    cosine = outward / np.maximum(size, ROUNDING)
    is_front = cosine >= FACE_COSINE - ROUNDING
    is_hidden = is_front.copy()
    ask = known[is_front]
    is_hidden[is_front] = around.is_blocked(middle[ask], target[ask], walls.lot[ask])
    looks_back = (cosine <= -FACE_COSINE + ROUNDING) | is_hidden
    face = np.full(len(middle), ANY)
    face[known] = np.select([is_front & ~is_hidden, looks_back], [FRONT, REAR], SIDE)
    return face


def _in_jogs(is_face: np.ndarray, walls: Segs, jog_ft: float) -> np.ndarray:
    """Tell which walls are of a face or of a short run of others between two walls of it."""
    before, _ = neighbors(walls.ring)
    first, last = runs(walls.ring)
    owner = np.repeat(np.arange(len(first)), last - first + 1)
    run = np.cumsum(is_face != is_face[before])
    # Walls before a ring's first break go on from its last one.
    begins = np.concatenate([[0], run[last]])[:-1]
    run = np.where(run == begins[owner], run[last][owner], run)
    _, run = np.unique(np.column_stack([owner, run]), axis=0, return_inverse=True)
    length_ft = np.bincount(run, walls.length_ft)[run]
    has_face = np.bincount(owner, is_face)[owner] > 0
    return is_face | (has_face & (length_ft < jog_ft))
