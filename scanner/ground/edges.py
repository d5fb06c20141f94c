"""
Edges: runs of the lawn's border on each kind of hardscape, in whole chains, lawn on the left.

An end is free where the lawn ends with nothing hard there, or where an offered face ends at a
corner; at any other end the chain runs on along its layer's border under the other hardscape,
at most the bed's depth.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import shapely

from scanner.ground.faces import FACES
from scanner.ground.kinds import (
    BACK,
    CENTERLINE,
    CURB,
    EDGE,
    HOUSE,
    LINE,
    PITCHED,
    ROAD,
    SURVEYED,
    TRIMMED,
    Parts,
)
from scanner.plane.grid import LEAST_FT, ON_FT
from scanner.plane.labels import Chains, chains
from scanner.plane.segments import Segs, join, near, neighbors
from scanner.plane.vectors import along_ft, cross, dot, norm

TURN_COSINE = 0.7
"""Round a sharper corner than this, some 45 degrees, a chain does not run on."""

TRY_FT, NEAR_FT = 0.25, 0.75
"""A tail must be covered this near to its end; a chain may end a few inches short of hardscape."""

DRAWN_FACE = "drawn"
"""Face of a house edge drawn as a line: offered whatever it faces."""


def list_edges(border: Segs, kinds: tuple[str, ...]) -> pd.DataFrame:
    """
    List the edges along each of `kinds`, one row a chain of the lawns' labelled border [ft].

    Gives ``lot``, ``along``, ``face``, ``edge_source``, ``edge_ft``, ``geometry``, lawn on the
    left.
    """
    tables = []
    for along in kinds:
        found = chains(border, EDGE[along])
        tables.append(
            pd.DataFrame(
                {
                    "lot": found.lot,
                    "along": along,
                    "face": name_faces(found.bits) if along == "house" else "",
                    "edge_source": np.select(
                        [(found.bits & LINE) > 0, is_centerline(found.bits)],
                        ["drawn", "centerline"],
                        "surveyed",
                    ).astype(object),
                    "edge_ft": found.length_ft,
                }
            ).assign(geometry=found.lines())
        )
    return pd.concat(tables, ignore_index=True)


def is_centerline(bits: np.ndarray) -> np.ndarray:
    """Tell which labels are known by their centerline only."""
    return ((bits & CENTERLINE) > 0) & ((bits & SURVEYED) == 0)


def name_faces(bits: np.ndarray) -> np.ndarray:
    """
    Name the house faces that labels take in, joined by a plus sign; `DRAWN_FACE` where there is none.

    >>> name_faces(np.array([FACES["side"] | FACES["front"], 0])).tolist()
    ['front+side', 'drawn']
    """
    every = sum(FACES.values())
    names = {
        int(mix): "+".join(sorted(name for name, bit in FACES.items() if mix & bit)) or DRAWN_FACE
        for mix in np.unique(bits & every)
    }
    return np.array([names[int(mix)] for mix in bits & every], dtype=object)


def extend_chains(
    found: Chains, layers: Segs, parts: Parts, *, bit: int, depth_ft: float
) -> Chains:
    """Carry chains of one kind on along their layer's border where other hardscape covers it, `depth_ft` at most."""
    is_open = np.flatnonzero(~found.closed)
    if not len(is_open):
        return found
    first, last = found.ends()
    chain, forward = np.tile(is_open, 2), np.repeat([True, False], len(is_open))
    tip = np.concatenate([last[is_open], first[is_open]])
    border = layers.take((layers.bits & bit) > 0)
    end, piece = _tips_on(tip, found.lot[chain], forward, border)
    chain, forward = chain[end], forward[end]
    tail, xy = _walk(tip[end], piece, forward, border, depth_ft)
    if not len(tail):
        return found
    own = HOUSE if bit == PITCHED else (CURB | ROAD if bit == CURB else bit)
    others = parts.take(((parts.bits & TRIMMED) > 0) & ((parts.bits & (own | LINE | BACK)) == 0))
    lines = shapely.linestrings(xy, indices=tail)
    reach_ft = _covered_ft(lines, found.lot[chain], others, depth_ft)
    return _joined(found, (tail, xy, lines), reach_ft, chain, forward)


def _tips_on(
    tip: np.ndarray, lot: np.ndarray, forward: np.ndarray, border: Segs
) -> tuple[np.ndarray, np.ndarray]:
    """Find the border piece on which each tip's tail begins: tips and pieces."""
    at = np.arange(len(tip))
    points = Segs(tip, tip, at, lot, at, at)
    i, j = near(points, border, 2 * ON_FT)
    step = border.b[j] - border.a[j]
    size = norm(step)
    away = tip[i] - border.a[j]
    off = np.abs(cross(step, away)) / size
    along = dot(away, step) / size
    # The lawn's border runs against the layer's.
    room = np.where(forward[i], along, size - along)
    fits = (off <= 2 * ON_FT) & (room > 2 * ON_FT) & (room < size + 2 * ON_FT)
    end, one = np.unique(i[fits], return_index=True)
    return end, j[fits][one]


def _walk(
    here: np.ndarray, piece: np.ndarray, forward: np.ndarray, border: Segs, depth_ft: float
) -> tuple[np.ndarray, np.ndarray]:
    """Walk along the layer's border from each tip; the tail that each point belongs to, and points."""
    before, after = neighbors(border.ring)
    left_ft, live, was = np.full(len(here), depth_ft), np.ones(len(here), bool), None
    who, points = [np.arange(len(here))], [here]
    while live.any():
        goal = np.where(forward[:, None], border.a[piece], border.b[piece])
        way = goal - here
        size = np.maximum(norm(way), 1e-9)
        way = way / size[:, None]
        if was is not None:
            # Round a corner of the house the bed would come out on the other side of a walk.
            live &= dot(way, was) > TURN_COSINE
        here = here + way * (np.minimum(left_ft, size) * live)[:, None]
        who.append(np.flatnonzero(live))
        points.append(here[live])
        left_ft, was = left_ft - size, way
        piece = np.where(forward, before[piece], after[piece])
        next_end = np.where(forward[:, None], border.b[piece], border.a[piece])
        # Else a wall that is not offered stands between.
        live &= (left_ft > LEAST_FT) & (norm(next_end - goal) < ON_FT)
    tail, xy = np.concatenate(who), np.concatenate(points)
    order = np.argsort(tail, kind="stable")
    return tail[order], xy[order]


def _covered_ft(lines: np.ndarray, lot: np.ndarray, others: Parts, depth_ft: float) -> np.ndarray:
    """Measure how far along each tail other hardscape covers it, in thirds of the depth."""
    tries = np.array([TRY_FT, NEAR_FT, depth_ft / 3, 2 * depth_ft / 3, depth_ft])
    spots = np.minimum(tries[None, :], shapely.length(lines)[:, None])
    point = shapely.line_interpolate_point(np.repeat(lines, len(tries)), spots.ravel())
    i, j = join(np.repeat(lot, len(tries)), others.lot)
    xy, box = shapely.get_coordinates(point), shapely.bounds(others.shape).reshape(-1, 4)
    inside = (xy[i] >= box[j, :2] - ON_FT).all(1) & (xy[i] <= box[j, 2:] + ON_FT).all(1)
    i, j = i[inside], j[inside]
    hit = np.zeros(len(point), bool)
    hit[i[shapely.dwithin(point[i], others.shape[j], ON_FT)]] = True
    covered = hit.reshape(-1, len(tries))
    covered[:, 0] |= covered[:, 1]
    good = np.minimum.accumulate(covered, axis=1).sum(axis=1)
    return np.where(good > 0, spots[np.arange(len(good)), np.maximum(good - 1, 0)], 0.0)


def _joined(
    found: Chains,
    tails: tuple[np.ndarray, np.ndarray, np.ndarray],
    reach_ft: np.ndarray,
    chain: np.ndarray,
    forward: np.ndarray,
) -> Chains:
    """Put tails, as far as they reach, before and after their chains."""
    tail, xy, lines = tails
    along = along_ft(xy, tail)
    keep = (along > 0) & (along < reach_ft[tail] - LEAST_FT)
    tip = np.flatnonzero(reach_ft > 0)
    end = shapely.get_coordinates(shapely.line_interpolate_point(lines[tip], reach_ft[tip]))
    who, place_ft = np.concatenate([tail[keep], tip]), np.concatenate([along[keep], reach_ft[tip]])
    count = len(found.xy)
    place = np.where(forward[who], count + place_ft, -1.0 - place_ft)
    every = np.concatenate([np.arange(count), place])
    points = np.concatenate([found.xy, xy[keep], end])
    of = np.concatenate([found.chain, chain[who]])
    order = np.lexsort((every, of))
    return found._replace(xy=points[order], chain=of[order])
