"""
The lawn of each lot: drawn or inferred, less all that is built, gaps to hardscape closed.

Layers never share vertices. Ground narrower than ``gap_ft`` between lawn and hardscape joins
the lawn, by closing both together with mitred joins, so that square corners stay square. Only
lots are touched where a bare stretch of border looks at something hard a little way off.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from scanner.ground.kinds import BED, HARD, LINE, OTHER, SHUT, WATER, Lots, Parts, take_from
from scanner.ground.setting.around import Neighbors
from scanner.plane.grid import (
    EMPTY,
    LEAST_EDGE_FT,
    ON_FT,
    STEP_FT,
    around,
    boxes_meet,
    ground_parts,
    meet,
    minus,
    on_grid,
    only_ground,
    put_on_grid,
    snap,
    unite,
)
from scanner.plane.labels import chains
from scanner.plane.offsets import close_ground
from scanner.plane.segments import Segs, beside, cut_rings, join, length_on_ft, lies_on, near
from scanner.plane.spikes import despike
from scanner.schema.documents import LocalRules

ROUNDING = 1e-6
"""An acre drawn to the foot is an acre, whatever a projection makes of its last digit."""

MOWED_SHARE = 1.5
"""An inferred lawn larger than this many times the mowed area is not believed."""


@dataclass(frozen=True)
class Lawn:
    """The lawn of each lot, n of them."""

    ground: np.ndarray  # turf [ft], empty where none is known
    source: np.ndarray  # ``drawn``, ``inferred`` or blank
    lost_share: np.ndarray  # share of the drawn lawn that lay on built ground
    is_undrawn: np.ndarray  # nothing could be inferred: the lawn has to be drawn


def find_lawn(lots: Lots, parts: Parts, *, rules: LocalRules) -> Lawn:
    """
    Find the turf of each lot, gaps to hardscape still open.

    ``mowed_ft2`` of `lots` tells when an inferred lawn is not believed.
    """
    is_drawn = ~shapely.is_empty(lots.turf)
    base = np.where(is_drawn, lots.turf, lots.outline)
    add = np.flatnonzero(~is_drawn & ~shapely.is_empty(lots.strip))
    base[add] = _joined(base[add], lots.strip[add])
    too_large = ~is_drawn & (shapely.area(lots.outline) > rules.infer_max_ft2 * (1 + ROUNDING))
    base[too_large] = EMPTY
    base_ft2 = shapely.area(base)
    built = parts.take(((parts.bits & SHUT) > 0) & ((parts.bits & LINE) == 0))
    ground = despike(put_on_grid(take_from(base, np.arange(len(base)), built)))
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


CLOSES = HARD | BED | WATER
"""What a lawn is closed against; old beds and water end it as hardscape does."""

SIDE_BY_SIDE_FT = 0.5
"""Two borders face each other along at least this much, or half of a shorter piece."""

LEAN = 0.7
"""Borders that lean to each other by more than this, some 35 degrees, do not face each other."""

AROUND_FT = 5.0
"""Hardscape farther off the lawn than this closes no gap."""

LEAST_FT2 = 0.01
"""A smaller crack between pieces of hardscape is a bend's rounding."""

MANY_VERTICES = 32
"""A shape with more vertices than this is cut to the lawn's window."""


def close_gaps(
    ground: np.ndarray,
    lots: Lots,
    parts: Parts,
    pieces: tuple[Segs, Segs],
    *,
    neighbors: Neighbors,
    rules: LocalRules,
) -> tuple[np.ndarray, np.ndarray]:
    """
    Add the narrow ground between lawn and hardscape to the lawn.

    `ground`: turf [ft], one a lot; `pieces`: its labelled border, and the pieces of `parts` near
    it; `neighbors`: other outlines, on whose ground nothing is closed. Gives the turf, and the lots
    where it changed.
    """
    border, layers = pieces
    hard = layers.take((layers.bits & CLOSES) > 0)
    bare = border.take(border.bits == 0)
    reach = np.array([-1.0, -1.0, 1.0, 1.0]) * 2 * rules.gap_ft
    foreign = neighbors.near(shapely.bounds(lots.outline) + reach)
    i, j = _facing(bare, hard, rules.gap_ft)
    at = np.unique(bare.lot[i[_is_own(bare.take(i), hard.take(j), lots, foreign, rules.gap_ft)]])
    if not len(at):
        return ground, at
    lawn, built = ground[at], _built_near(ground, parts, at)
    shut = _bridge(shapely.geometrycollections(np.stack([lawn, built], axis=1)), rules.gap_ft)
    # A crack between two pieces of hardscape is nobody's turf; a bend's rounding is no crack.
    bridged = _bridge(built, rules.gap_ft)
    cracked = np.flatnonzero(shapely.area(bridged) - shapely.area(built) > LEAST_FT2)
    cracks, row = ground_parts(minus(bridged[cracked], built[cracked]), LEAST_FT2)
    barred = parts.of(OTHER).add(cracks, 0, at[cracked[row]]).add(foreign.shape, 0, foreign.lot)
    barred = barred.take(np.isin(barred.lot, at))
    new, row = ground_parts(minus(minus(shut, lawn), built))
    # Hairs along common borders are as wide as rounding makes them.
    real = shapely.area(new) > STEP_FT / 2 * shapely.length(new)
    new, row, bound = _bound(new[real], row[real], at, lots, hard, rules.gap_ft)
    new, part = ground_parts(take_from(meet(new, bound), at[row], barred))
    joins = _joining(new, row[part], lawn, built)
    grown, new = _gathered(new[joins], row[part[joins]])
    closed = ground.copy()
    at = at[grown]
    # On the grid, so that no slit stays between the two.
    closed[at] = despike(snap(on_grid(shapely.union, lawn[grown], new)))
    return closed, at


def _gathered(pieces: np.ndarray, key: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Gather pieces that lie apart by key: keys in order, and a shape of each."""
    order = np.argsort(key, kind="stable")
    keys, at = np.unique(key[order], return_inverse=True)
    return keys, shapely.multipolygons(pieces[order], indices=at) if len(at) else pieces


def _built_near(ground: np.ndarray, parts: Parts, at: np.ndarray) -> np.ndarray:
    """Unite what closes gaps near the lawn of some lots."""
    built = parts.take(((parts.bits & CLOSES) > 0) & ((parts.bits & LINE) == 0))
    row = np.minimum(np.searchsorted(at, built.lot), len(at) - 1)
    window = around(ground[at], AROUND_FT)
    meets = boxes_meet(shapely.bounds(built.shape), shapely.bounds(window)[row])
    meets &= at[row] == built.lot
    shape, row = built.shape[meets], row[meets]
    large = np.flatnonzero(shapely.get_num_coordinates(shape) > MANY_VERTICES)
    shape[large] = meet(shape[large], window[row[large]])
    return unite(shape, row, len(at))


def _bridge(shapes: np.ndarray, gap_ft: float) -> np.ndarray:
    """Fill what is narrower than a gap; what a mitre cuts off at a narrow horn is no matter."""
    wide = shapely.buffer(shapes, gap_ft / 2, join_style="mitre")
    return only_ground(shapely.buffer(wide, -gap_ft / 2, join_style="mitre"))


def _facing(bare: Segs, hard: Segs, gap_ft: float) -> tuple[np.ndarray, np.ndarray]:
    """Pair bare pieces with something hard that they look at within the gap."""
    i, j = near(bare, hard, gap_ft)
    along, off, size = beside(bare.take(i), hard.take(j))
    is_line = (hard.bits[j] & LINE) > 0
    # Ground lies on the left of both: borders that face each other run against each other.
    ahead, lead = along[:, 1] - along[:, 0], off[:, 1] - off[:, 0]
    low, high = np.maximum(along.min(axis=1), 0.0), np.minimum(along.max(axis=1), size)
    least_ft = np.minimum(SIDE_BY_SIDE_FT, np.minimum(np.abs(ahead), size) / 2)
    faces = (is_line | ((ahead < 0) & (off.sum(axis=1) < 0))) & (high - low > least_ft)
    far = np.abs(off)
    faces &= (far.max(axis=1) > ON_FT) & (far.min(axis=1) <= gap_ft)
    faces &= np.abs(lead) < LEAN * np.abs(ahead)
    return i[faces], j[faces]


def _is_own(bare: Segs, hard: Segs, lots: Lots, foreign: Parts, gap_ft: float) -> np.ndarray:
    """Tell between which pairs lies ground that the lot may grow on."""
    along, off, size = beside(bare, hard)
    ahead = (hard.b - hard.a) / size[:, None]
    middle_ft = (np.maximum(along.min(axis=1), 0.0) + np.minimum(along.max(axis=1), size)) / 2
    aside = np.column_stack([-ahead[:, 1], ahead[:, 0]]) * off.mean(axis=1)[:, None] / 2
    point = shapely.points(hard.a + ahead * middle_ft[:, None] + aside)
    lot = bare.lot
    i, j = join(lot, foreign.lot)
    is_foreign = np.zeros(len(lot), bool)
    is_foreign[i[shapely.intersects(foreign.shape[j], point[i])]] = True
    is_near = shapely.dwithin(point, lots.outline[lot], gap_ft) & ~is_foreign
    return is_near | shapely.intersects(point, lots.strip[lot])


def _bound(
    new: np.ndarray, row: np.ndarray, at: np.ndarray, lots: Lots, hard: Segs, gap_ft: float
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """
    Gather new pieces by the ground that each may take: shapes, rows of `at`, and that ground.

    That is outline or strip, for a piece that lies in neither alone both together, the outline
    pushed out square where it faces hardscape.
    """
    outline, strip = lots.outline[at[row]], lots.strip[at[row]]
    in_strip = shapely.covers(strip, new) & ~shapely.dwithin(outline, new, ON_FT)
    inside = shapely.covers(outline, new) & ~shapely.dwithin(strip, new, ON_FT)
    place = np.select([in_strip, inside], [0, 1], 2)
    keys, new = _gathered(new, 3 * row + place)
    row, place = keys // 3, keys % 3
    bound = np.where(place == 0, lots.strip[at[row]], lots.outline[at[row]])
    across = np.flatnonzero(place == 2)  # noqa: PLR2004
    lot = at[row[across]]
    sides = cut_rings(lots.outline[lot], lot)
    bits = np.zeros(len(sides.of), np.int32)
    bits[_facing(sides, hard, gap_ft)[0]] = 1
    fronts = chains(sides._replace(bits=bits), 1)
    # Square at its ends: what lies beyond a slanted lot line is not the lot's.
    pushed = shapely.buffer(fronts.lines(), gap_ft, cap_style="flat", join_style="mitre")
    shapes = np.concatenate([lots.outline[lot], lots.strip[lot], pushed])
    own = np.concatenate([np.tile(np.arange(len(lot)), 2), np.searchsorted(lot, fronts.lot)])
    bound[across] = unite(shapes, own, len(lot))
    return new, row, bound


def _joining(new: np.ndarray, row: np.ndarray, lawn: np.ndarray, built: np.ndarray) -> np.ndarray:
    """Tell which new pieces touch both lawn and hardscape."""
    segs = cut_rings(new, row)
    joins = np.ones(len(new), bool)
    for other in (lawn, built):
        on = lies_on(segs, cut_rings(other, np.arange(len(other))))
        joins &= length_on_ft(segs, on, len(new)) > LEAST_EDGE_FT
    return joins
