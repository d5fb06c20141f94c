"""
Flat arrays of straight pieces: which stretch of one border lies on another.

Pieces are directed, ground on the left, and sorted by lot; every search for pairs is a join
within a lot. Contacts and lengths along borders are clipped intervals here, never overlays.
"""

from __future__ import annotations

from typing import NamedTuple, Self

import numpy as np
import shapely

from scanner.plane.grid import ON_FT
from scanner.plane.vectors import cross, dot, norm, pick

CROSSING_SHARE = 0.6
"""An interval on which the offset changes by more of the tolerance is a crossing, no contact."""

WIDTHS_FT = (2.0, 16.0)
"""Bounds of classes of how far pieces reach from west to east: none is looked for as if it were as wide as the widest."""

LOT_FT = 1e6
"""No lot with all that lies round it is half as wide."""

LEAN = 0.002
"""Borders that lean to each other by less than this, a quarter inch in 10 ft, do not cross."""


class Segs(NamedTuple):
    """Straight pieces of borders."""

    # a, b: where each begins and ends [ft], n × 2
    a: np.ndarray
    b: np.ndarray
    of: np.ndarray  # row of the shape that it is a piece of
    lot: np.ndarray  # lot that it lies on, in order
    ring: np.ndarray  # ring that it is a piece of; pieces of a ring stand together in its order
    bits: np.ndarray  # what it is or lies on

    def take(self, keep: np.ndarray) -> Self:
        """Take some of the pieces: rows, or a boolean a row."""
        return self._replace(**{name: pick(part, keep) for name, part in self._asdict().items()})

    @property
    def length_ft(self) -> np.ndarray:
        """Measure each piece [ft]."""
        return norm(self.b - self.a)

    @property
    def box(self) -> np.ndarray:
        """Give the box of each piece: west, south, east, north [ft], n × 4."""
        return np.column_stack([np.minimum(self.a, self.b), np.maximum(self.a, self.b)])


class Stretches(NamedTuple):
    """Stretches of pieces: those of one border that lie on another, or are left bare."""

    # i, j: piece, and the piece that it lies on
    i: np.ndarray
    j: np.ndarray
    # t0, t1: from and to, shares of piece `i`
    t0: np.ndarray
    t1: np.ndarray

    def take(self, keep: np.ndarray) -> Self:
        """Take some of the stretches: rows, or a boolean a row."""
        return self._replace(**{name: pick(part, keep) for name, part in self._asdict().items()})


def cut_rings(shapes: np.ndarray, lot: np.ndarray, bits: np.ndarray | int = 0) -> Segs:
    """
    Cut polygons and lines [ft], sorted by lot, into straight pieces in order, the ground of polygons on the left.

    `bits`: what each is.

    >>> segs = cut_rings(np.array([shapely.box(0, 0, 4, 3)]), np.array([7]))
    >>> segs.length_ft.tolist(), segs.lot.tolist()
    ([3.0, 4.0, 3.0, 4.0], [7, 7, 7, 7])
    """
    parts, of = shapely.get_parts(shapely.orient_polygons(shapes), return_index=True)
    rings, at = shapely.get_rings(parts, return_index=True)
    lines = np.flatnonzero(shapely.get_type_id(parts) == int(shapely.GeometryType.LINESTRING))
    if len(lines):
        rings, at = np.concatenate([rings, parts[lines]]), np.concatenate([at, lines])
        order = np.argsort(at, kind="stable")
        rings, at = rings[order], at[order]
    xy, ring = shapely.get_coordinates(rings, return_index=True)
    same = (ring[1:] == ring[:-1]) & ((xy[1:, 0] != xy[:-1, 0]) | (xy[1:, 1] != xy[:-1, 1]))
    ring = ring[:-1][same]
    of = of[at[ring]]
    all_bits = np.broadcast_to(np.asarray(bits, np.int32), len(shapes))
    return Segs(xy[:-1][same], xy[1:][same], of, np.asarray(lot)[of], ring, all_bits[of])


def join_segs(one: Segs, two: Segs) -> Segs:
    """Put pieces [ft] of different rings together, sorted by lot; of a lot's pieces those of `one` come first."""
    two = two._replace(ring=two.ring + int(one.ring.max(initial=-1)) + 1)
    both = Segs(*(np.concatenate(pair) for pair in zip(one, two, strict=True)))
    return both.take(np.argsort(both.lot, kind="stable"))


def runs(key: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """
    Find the first and last row of each run of equal keys.

    >>> [rows.tolist() for rows in runs(np.array([4, 4, 9]))]
    [[0, 2], [1, 2]]
    """
    first = np.flatnonzero(np.diff(key, prepend=-1))
    return first, np.append(first[1:], len(key)) - 1 if len(first) else first


def neighbors(key: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """
    Give the rows before and after each within its run of equal keys, round its seam.

    >>> [rows.tolist() for rows in neighbors(np.array([4, 4, 4]))]
    [[2, 0, 1], [1, 2, 0]]
    """
    before, after = np.arange(len(key)) - 1, np.arange(len(key)) + 1
    first, last = runs(key)
    before[first], after[last] = last, first
    return before, after


def join(one: np.ndarray, two: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """
    Pair all rows that have the same key, a whole number, `two` sorted: rows of both, in the order of `one`.

    >>> [rows.tolist() for rows in join(np.array([1, 0]), np.array([0, 1, 1]))]
    [[0, 0, 1], [1, 2, 0]]
    """
    many = np.bincount(two, minlength=int(one.max(initial=-1)) + 1)
    return spread((np.cumsum(many) - many)[one], many[one])


def spread(first: np.ndarray, many: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """List so many whole numbers from each first one on: row and number."""
    row = np.repeat(np.arange(len(many)), many)
    return row, np.arange(len(row)) + np.repeat(first - np.cumsum(many) + many, many)


def near(p: Segs, q: Segs, reach_ft: float) -> tuple[np.ndarray, np.ndarray]:
    """Pair pieces of the same lot whose boxes come within reach [ft]: rows, in the order of `p`."""
    i, j = _beside_east(p, q, reach_ft)
    for axis in (0, 1):
        low, high = _span(p, axis)
        other_low, other_high = _span(q, axis)
        keep = (other_low[j] <= high[i] + reach_ft) & (other_high[j] >= low[i] - reach_ft)
        i, j = i[keep], j[keep]
    # Runs in the order of `p`, one after the other: a stable sort merges them at once.
    order = np.argsort(i, kind="stable")
    return i[order], j[order]


def _beside_east(p: Segs, q: Segs, reach_ft: float) -> tuple[np.ndarray, np.ndarray]:
    """Pair pieces of the same lot that come within reach from west to east."""
    (low, high), (other_low, other_high) = _span(p, 0), _span(q, 0)
    wide = np.digitize(other_high - other_low, WIDTHS_FT)
    pairs = []
    key = q.lot * LOT_FT + np.maximum(other_low, -LOT_FT / 2)
    for width in range(len(WIDTHS_FT) + 1):
        # Those that begin too far west end too far west: sorted, those left stand together.
        some = np.flatnonzero(wide == width)
        some = some[np.argsort(key[some], kind="stable")]
        before_ft = reach_ft + (other_high - other_low)[some].max(initial=0.0)
        first = np.searchsorted(
            key[some], p.lot * LOT_FT + np.maximum(low - before_ft, -LOT_FT / 2)
        )
        last = np.searchsorted(
            key[some], p.lot * LOT_FT + np.minimum(high + reach_ft, LOT_FT / 2), "right"
        )
        i, at = spread(first, np.maximum(last - first, 0))
        pairs.append((i, some[at]))
    i, j = np.concatenate(pairs, axis=1)
    return i, j


def _span(segs: Segs, axis: int) -> tuple[np.ndarray, np.ndarray]:
    a, b = segs.a[:, axis], segs.b[:, axis]
    return np.minimum(a, b), np.maximum(a, b)


def beside(p: Segs, q: Segs) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """
    Give the ends of pieces as seen along others, row by row.

    Feet along `q` from its beginning and off to its left, each n × 2 for both ends of `p`; lengths
    of `q`.
    """
    step = q.b - q.a
    size = norm(step)
    step /= size[:, None]
    ends = p.a - q.a, p.b - q.a
    along = np.column_stack([dot(end, step) for end in ends])
    off = np.column_stack([cross(step, end) for end in ends])
    return along, off, size


def lies_on(p: Segs, q: Segs, *, reach_ft: float = ON_FT, beyond_ft: float = ON_FT) -> Stretches:
    """
    Find which stretches of some pieces [ft] lie on others, not just cross them, in the order of `p`.

    `q` is sorted by lot. `reach_ft`: how far off a stretch may lie; `beyond_ft`: how far beyond the
    ends of a piece of `q`.

    >>> boxes = cut_rings(shapely.box([0, 4], [0, 1], [4, 8], [3, 9]), np.array([0, 0]))
    >>> stretches = lies_on(boxes.take(boxes.of == 0), boxes.take(boxes.of == 1), beyond_ft=0)
    >>> stretches.t0.round(3).tolist(), stretches.t1.round(3).tolist()
    ([0.333], [1.0])
    """
    i, j = near(p, q, reach_ft)
    along, off, size = beside(p.take(i), q.take(j))
    a0, a1 = _within(off, -reach_ft, reach_ft)
    b0, b1 = _within(along, -beyond_ft, size + beyond_ft)
    t0, t1 = np.maximum(np.maximum(a0, b0), 0.0), np.minimum(np.minimum(a1, b1), 1.0)
    lead_ft, ahead_ft = np.abs(off[:, 1] - off[:, 0]), np.abs(along[:, 1] - along[:, 0])
    crosses = (lead_ft * (t1 - t0) > CROSSING_SHARE * reach_ft) & (lead_ft > LEAN * ahead_ft)
    keep = (t1 > t0) & ~crosses
    return Stretches(i[keep], j[keep], t0[keep], t1[keep])


def _within(
    ends: np.ndarray, low: np.ndarray | float, high: np.ndarray | float
) -> tuple[np.ndarray, np.ndarray]:
    """Tell where what goes evenly from one value to another lies between two bounds."""
    begin, end = ends.T
    with np.errstate(divide="ignore", invalid="ignore"):
        t0, t1 = (low - begin) / (end - begin), (high - begin) / (end - begin)
    t0, t1 = np.minimum(t0, t1), np.maximum(t0, t1)
    level = np.abs(end - begin) < 1e-12  # noqa: PLR2004 - what divides by less is noise
    inside = (begin >= low) & (begin <= high)
    return (
        np.where(level, np.where(inside, 0.0, 2.0), t0),
        np.where(level, np.where(inside, 1.0, -1.0), t1),
    )


def gaps(count: int, covered: Stretches) -> Stretches:
    """
    Find what stretches leave bare of `count` pieces, in their order; `j` is `i`.

    >>> one = np.array([0])
    >>> bare = gaps(2, Stretches(one, one, np.array([0.25]), np.array([0.5])))
    >>> bare.i.tolist(), bare.t0.tolist(), bare.t1.tolist()
    ([0, 0, 1], [0.0, 0.5, 0.0], [0.25, 1.0, 1.0])
    """
    i = np.concatenate([covered.i, np.arange(count)])
    t0 = np.concatenate([covered.t0, np.ones(count)])
    t1 = np.concatenate([covered.t1, np.ones(count)])
    order = np.lexsort((t0, i))
    i, t0, t1 = i[order], t0[order], t1[order]
    reached = np.maximum.accumulate(t1 + 2 * i)  # shares stay below 2, so pieces do not mix
    before = np.concatenate([[0.0], reached[:-1]])[: len(i)] - 2 * i
    before = np.maximum(before, 0.0)
    free = t0 > before + 1e-9
    return Stretches(i[free], i[free], before[free], t0[free])


def length_on_ft(segs: Segs, covered: Stretches, count: int) -> np.ndarray:
    """Measure what stretches cover of the shapes that pieces belong to, each stretch once [ft]."""
    bare = gaps(len(segs.of), covered)
    size = segs.length_ft
    bare_ft = np.bincount(segs.of[bare.i], (bare.t1 - bare.t0) * size[bare.i], count)
    return np.maximum(np.bincount(segs.of, size, count) - bare_ft, 0.0)
