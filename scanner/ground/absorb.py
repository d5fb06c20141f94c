"""
Absorbed turf: what a new bed leaves too narrow for a mower joins the bed.

R = (T₁ − O(T₁)) ∩ O(T₀), with T₀ the turf before, T₁ after and O the opening at mower
width. A piece joins where it is worth a mention, lies along the bed and is hemmed in.
"""

from __future__ import annotations

import numpy as np
import shapely

from scanner.ground.kinds import OTHER, SHUT, WATER, Parts, take_from
from scanner.plane.grid import (
    EMPTY,
    LEAST_EDGE_FT,
    ON_FT,
    around,
    ground_parts,
    meet,
    minus,
    on_grid,
    unite,
)
from scanner.plane.offsets import open_ground, swept_ground
from scanner.plane.segments import Segs, Stretches, cut_rings, length_on_ft, lies_on
from scanner.plane.spikes import despike

LEAST_PIECE_FT2 = 5.0
"""A smaller left-over is mowed or trimmed somehow."""

LEAST_FT2 = 0.02
"""Less than this left over is a corner's rounding."""

RIM_FT = 0.25
"""Ground narrower than this behind a bed is no turf (starting value, no source)."""

HAIR_FT = ON_FT * 2 / 3
"""Overlap of a bed and what joins it."""

LEAST_CONTACT_FT = 3.0
"""A left-over that meets the bed along less than this is no part of it."""

HEMMED_SHARE = 0.5
"""Share of the border off the bed that lies on hardscape, wall, fence or another bed."""

AROUND = 3
"""What a bed makes unmowable lies within two mowers of it; one more for the openings' rims."""


def absorb_turf(
    turf: np.ndarray,
    cores: tuple[np.ndarray, np.ndarray],
    border: Segs,
    barred: Parts,
    *,
    mower_ft: float,
) -> np.ndarray:
    """
    Give each bed the turf [ft] that it leaves too narrow for a mower of `mower_ft`; empty where none.

    `turf`: before any bed, one a lot, `border` its labelled border; `cores`: beds before they
    absorb, lots in order, on each lot the bed that takes ground first first; `barred`: ground that
    may not be absorbed.
    """
    beds, owners = cores
    rows, at = np.unique(owners, return_inverse=True)
    own = unite(beds, at, len(rows))
    before = meet(turf[rows], around(own, AROUND * mower_ft))
    after = minus(before, own)
    # What is left of an opening before it is clipped has no border in common with the turf: faster, no hairs.
    lost = minus(after, swept_ground(after, mower_ft))
    some = np.flatnonzero(shapely.area(lost) > LEAST_FT2)
    lost, before, rows_lost = lost[some], before[some], rows[some]
    lost = meet(lost, swept_ground(before, mower_ft))
    lost = despike(_clip(take_from(lost, rows_lost, barred), around(own[some], 2 * mower_ft)))
    pieces, row = ground_parts(lost)
    row = some[row]
    large = (shapely.area(pieces) >= LEAST_PIECE_FT2) | _is_rim(pieces)
    pieces, row = pieces[large], row[large]
    absorbed = np.full(len(beds), EMPTY, dtype=object)
    if not len(pieces):
        return absorbed
    host = _host(pieces, row, (beds, at), border.take(np.isin(border.lot, rows)), rows)
    joins = np.flatnonzero(host >= 0)
    # Overlapped by a hair with its bed, so that no slit stays between the two.
    grown = meet(shapely.buffer(pieces[joins], HAIR_FT, join_style="mitre"), after[row[joins]])
    grown = take_from(grown, rows[row[joins]], barred)
    return unite(grown, host[joins], len(beds))


def _clip(shapes: np.ndarray, boxes: np.ndarray) -> np.ndarray:
    """Cut shapes to boxes, those that reach beyond."""
    beyond = np.flatnonzero(~shapely.covers(boxes, shapes))
    shapes[beyond] = meet(shapes[beyond], boxes[beyond])
    return shapes


def join_absorbed(cores: np.ndarray, absorbed: np.ndarray) -> np.ndarray:
    """Unite beds with what they absorb: polygons [ft], n rows; most of `absorbed` may be empty."""
    shapes = cores.copy()
    grown = np.flatnonzero(~shapely.is_empty(absorbed))
    shapes[grown] = despike(on_grid(shapely.union, cores[grown], absorbed[grown]))
    return shapes


def _is_rim(pieces: np.ndarray) -> np.ndarray:
    """Tell which left-overs are an inch or two wide at most: nobody's turf, however small."""
    mean_ft = 2 * shapely.area(pieces) / shapely.length(pieces)
    rim = mean_ft < RIM_FT
    rim[rim] = shapely.is_empty(open_ground(pieces[rim], RIM_FT))
    return rim


def _host(
    pieces: np.ndarray,
    row: np.ndarray,
    cores: tuple[np.ndarray, np.ndarray],
    border: Segs,
    lots: np.ndarray,
) -> np.ndarray:
    """Find the bed that each left-over joins: of longest contact, the earlier on a tie; -1: none."""
    beds, at = cores
    segs = cut_rings(pieces, row)
    total_ft = np.bincount(segs.of, segs.length_ft, len(pieces))
    sides = cut_rings(beds, at)
    on_beds = lies_on(segs, sides, reach_ft=3 * ON_FT)
    # A stretch lies on one bed of its own: keyed by piece and bed, contacts are measured at once.
    pair, key = np.unique(
        np.column_stack([segs.of[on_beds.i], sides.of[on_beds.j]]), axis=0, return_inverse=True
    )
    on_ft = _contact_ft(segs, on_beds, key, len(pair))
    host, best_ft = np.full(len(pieces), -1), np.zeros(len(pieces))
    for (piece, bed), ft in zip(pair.tolist(), on_ft.tolist(), strict=True):
        # Equal contacts differ by rounding: the bed that comes first takes the ground.
        if ft >= LEAST_CONTACT_FT and ft > best_ft[piece] + LEAST_EDGE_FT:
            host[piece], best_ft[piece] = bed, ft
    stops = border.take((border.bits & SHUT & ~(WATER | OTHER)) > 0)
    stops = stops._replace(lot=np.searchsorted(lots, stops.lot))
    on_stops = lies_on(segs, stops, reach_ft=3 * ON_FT)
    both = Stretches(*(np.concatenate(pair) for pair in zip(on_beds, on_stops, strict=True)))
    hemmed_ft = length_on_ft(segs, both, len(pieces)) - best_ft
    is_hemmed = hemmed_ft >= HEMMED_SHARE * (total_ft - best_ft) - LEAST_EDGE_FT / 2
    return np.where(is_hemmed, host, -1)


def _contact_ft(segs: Segs, on: Stretches, key: np.ndarray, count: int) -> np.ndarray:
    """Measure the stretches of each key [ft], what overlaps counted once."""
    order = np.lexsort((on.t0, on.i, key))
    i, t0, t1, key = on.i[order], on.t0[order], on.t1[order], key[order]
    place = np.cumsum((np.diff(i, prepend=-1) != 0) | (np.diff(key, prepend=-1) != 0))
    reached = np.maximum.accumulate(t1 + 2 * place) - 2 * place
    before = np.concatenate([[0.0], reached[:-1]])[: len(i)]
    before[np.flatnonzero(np.diff(place, prepend=-1))] = 0.0
    covered = np.maximum(t1 - np.maximum(t0, before), 0.0)
    return np.bincount(key, covered * segs.length_ft[i], count)
