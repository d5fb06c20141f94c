"""
Labels: a border cut where what it lies on changes, and runs of it joined to chains.

Computed once for a lawn, they answer all that is asked of its border: edges, contacts, bed
line, trimming, what hems a strip of turf, how far it is across.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import shapely

from scanner.plane.grid import LEAST_EDGE_FT, ON_FT
from scanner.plane.segments import Segs, Stretches, join, lies_on, runs

WHOLE_SHARE = 0.9
"""A stretch that covers more of its piece counts however short the piece is."""


class Chains(NamedTuple):
    """Runs of border stretches, ground on the left."""

    xy: np.ndarray  # points in order [ft], m × 2
    chain: np.ndarray  # chain that each point belongs to, in order
    lot: np.ndarray  # lot of each chain
    closed: np.ndarray  # whether each is a ring
    length_ft: np.ndarray  # length of each
    bits: np.ndarray  # all that each lies on, somewhere

    def lines(self) -> np.ndarray:
        """Draw the chains: one line each [ft]."""
        if not len(self.xy):
            return np.zeros(0, object)
        return shapely.linestrings(self.xy, indices=self.chain)

    def ends(self) -> tuple[np.ndarray, np.ndarray]:
        """Give the first and the last point of each chain [ft], n × 2 each."""
        first, last = runs(self.chain)
        return self.xy[first], self.xy[last]


NO_CHAINS = Chains(
    np.zeros((0, 2)), np.zeros(0, int), np.zeros(0, int), np.zeros(0, bool), np.zeros(0),
    np.zeros(0, np.int32),
)  # fmt: skip


def label(border: Segs, layers: Segs) -> Segs:
    """
    Cut a border [ft] where what it lies on changes: its stretches in order.

    `layers`: pieces of what it may lie on, sorted by lot, with bits. A stretch has those of all
    that it lies on, none at a lot line.

    >>> from scanner.plane.segments import cut_rings
    >>> boxes = cut_rings(shapely.box([0, 4], [0, 1], [4, 8], [3, 9]), np.array([0, 0]), [0, 8])
    >>> found = label(boxes.take(boxes.of == 0), boxes.take(boxes.of == 1))
    >>> found.length_ft.tolist(), found.bits.tolist()
    ([1.0, 2.0, 4.0, 3.0, 4.0], [0, 8, 0, 0, 0])
    """
    size = border.length_ft
    on = _snapped(lies_on(border, layers, beyond_ft=0.0), size)
    pieces = np.arange(len(size))
    seg = np.concatenate([pieces, pieces, on.i, on.i])
    t = np.concatenate([np.zeros(len(size)), np.ones(len(size)), on.t0, on.t1])
    order = np.lexsort((t, seg))
    seg, t = seg[order], t[order]
    whole = (seg[1:] == seg[:-1]) & ((t[1:] - t[:-1]) * size[seg[:-1]] > 1e-6)  # noqa: PLR2004
    seg, begin, end = seg[:-1][whole], t[:-1][whole], t[1:][whole]
    s, k = join(seg, on.i)
    middle = (begin + end)[s] / 2
    covers = (on.t0[k] <= middle) & (middle <= on.t1[k])
    bits = np.zeros(len(seg), np.int32)
    np.bitwise_or.at(bits, s[covers], layers.bits[on.j[k[covers]]])
    a, step = border.a[seg], (border.b - border.a)[seg]
    return Segs(
        a + step * begin[:, None], a + step * end[:, None],
        border.of[seg], border.lot[seg], border.ring[seg], bits,
    )  # fmt: skip


def _snapped(on: Stretches, size: np.ndarray) -> Stretches:
    """Let stretches end at the border's own corners where these are near, drop what is none."""
    # A chain that stops a hair short of its corner ends in the wrong cap.
    length = size[on.i]
    t0 = np.where(on.t0 * length < 2 * ON_FT, 0.0, on.t0)
    t1 = np.where((1 - on.t1) * length < 2 * ON_FT, 1.0, on.t1)
    real = ((t1 - t0) * length > 2 * ON_FT) | (t1 - t0 > WHOLE_SHARE)
    return Stretches(on.i, on.j, t0, t1).take(real)


def chains(border: Segs, bits: int | np.ndarray) -> Chains:
    """
    Join the stretches that lie on some layers to whole chains, round the start of a ring too.

    `bits`: any of them; one for all stretches, or one a stretch. Chains of `LEAST_EDGE_FT` and
    more, lots in order.
    """
    at = np.flatnonzero(border.bits & bits)
    if not len(at):
        return NO_CHAINS
    at, chain, closed = join_stretches(border, at)
    size = border.length_ft[at]
    length_ft = np.bincount(chain, size, len(closed))
    keep = (length_ft[chain] >= LEAST_EDGE_FT) & (closed[chain] | ~_is_stub(chain, size))
    length_ft = np.bincount(chain[keep], size[keep], len(closed))
    at, chain = at[keep], chain[keep]
    kept, chain = np.unique(chain, return_inverse=True)
    if not len(kept):
        return NO_CHAINS
    order = np.lexsort((np.arange(len(at)), chain, border.lot[at]))
    at, chain = at[order], chain[order]
    number = np.cumsum(np.diff(chain, prepend=-1) != 0) - 1
    first, last = runs(number)
    xy = np.insert(border.a[at], last + 1, border.b[at[last]], axis=0)
    of = np.insert(number, last + 1, number[last])
    every = np.bitwise_or.reduceat(border.bits[at], first)
    own = kept[chain[first]]
    return Chains(xy, of, border.lot[at[first]], closed[own], length_ft[own], every)


def _is_stub(chain: np.ndarray, size: np.ndarray) -> np.ndarray:
    """Tell which stretches lie before the first or after the last long one of their chain."""
    # A stub round a corner, of a few grid steps, would turn a square end by 90 degrees.
    place, long = np.arange(len(chain)), size > 2 * ON_FT
    count = int(chain.max()) + 1
    first, last = np.full(count, len(chain)), np.full(count, -1)
    np.minimum.at(first, chain[long], place[long])
    np.maximum.at(last, chain[long], place[long])
    return (place < first[chain]) | (place > last[chain])


def join_stretches(border: Segs, at: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """
    Number the runs that some stretches of a border make, round the start of a ring too.

    `at`: rows that count, in order, one at least. Gives them in the order of their runs, the run of
    each, and whether each run is a ring.
    """
    ring = border.ring[at]
    first, last = runs(border.ring)
    begin, end = np.zeros(border.ring.max() + 1, int), np.zeros(border.ring.max() + 1, int)
    begin[border.ring[first]], end[border.ring[first]] = first, last
    chain = np.cumsum((np.diff(at, prepend=-9) != 1) | (np.diff(ring, prepend=-1) != 0)) - 1
    head, tail = np.flatnonzero(at == begin[ring]), np.flatnonzero(at == end[ring])
    both = np.intersect1d(ring[head], ring[tail])  # the run goes on where the ring begins
    head, tail = head[np.isin(ring[head], both)], tail[np.isin(ring[tail], both)]
    closed = np.zeros(chain[-1] + 1, bool)
    closed[chain[head[chain[head] == chain[tail]]]] = True
    onto = np.arange(len(closed))
    onto[chain[head]] = chain[tail]
    place = at + (onto[chain] != chain) * len(border.ring)
    chain = onto[chain]
    order = np.lexsort((place, chain))
    return at[order], chain[order], closed
