"""What lots see round them: the nearest street, and other lots that stand between."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Self

import numpy as np
import pandas as pd
import shapely

from scanner.ground.kinds import STREET, Lots, Parts, bits_of, shift
from scanner.plane.grid import ON_FT
from scanner.plane.segments import Segs, cut_rings, join
from scanner.plane.vectors import norm

TIE_FT = 1e-6
"""Distances that differ by less are equal: rounding."""


@dataclass(frozen=True)
class Around:
    """Streets and outlines round some lots."""

    origin: np.ndarray  # origin of each lot in the plane [ft]
    known: np.ndarray  # whether each lot has a street within reach
    # borders of the streets and drawn curbs in reach of each lot's front, in its frame, as they
    # were drawn: which point of a bend is nearest hangs on less than a step of the grid
    borders: Segs
    neighbors: Neighbors  # other outlines

    def of_lots(self, count: int) -> Self:
        """Keep what the first lots see."""
        borders = self.borders.take(self.borders.lot < count)
        return type(self)(self.origin[:count], self.known[:count], borders, self.neighbors)

    def nearest_street(self, xy: np.ndarray, lot: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """
        Find the street point nearest to each point, and how far it is.

        Infinite where no street is known.
        """
        return nearest_on(xy, lot, self.borders)[:2]

    def is_known(self) -> np.ndarray:
        """Tell which lots have a street in reach of their fronts."""
        return self.known

    def is_blocked(self, a: np.ndarray, b: np.ndarray, lot: np.ndarray) -> np.ndarray:
        """Tell between which points, in their lot's frame [ft], another outline stands."""
        ends = np.stack([a, b], axis=1) + self.origin[lot][:, None]
        return self.neighbors.inside_ft(shapely.linestrings(ends), lot) > ON_FT


def look_around(
    table: pd.DataFrame, drawn: np.ndarray, shapes: np.ndarray, lots: Lots, *, reach_ft: float
) -> Around:
    """
    Find the streets that lots' fronts may face, and the outlines that may stand before them.

    `drawn`, `shapes`: those of `table` in the plane [ft], as drawn and on the grid; `reach_ft`: how
    far off a street tells a front.
    """
    bits = bits_of(table)
    street = np.flatnonzero((bits & STREET) > 0)
    segs = cut_rings(drawn[street], np.zeros(len(street), int), bits[street])
    tree = shapely.STRtree(shapely.linestrings(np.stack([segs.a, segs.b], axis=1)))
    box = shapely.bounds(lots.outline) + np.tile(lots.origin, 2)
    middle, half_ft = (box[:, :2] + box[:, 2:]) / 2, norm(box[:, 2:] - box[:, :2]) / 2
    at, nearest_ft = tree.query_nearest(
        shapely.points(middle), all_matches=False, return_distance=True
    )
    far_ft = np.full(len(box), np.inf)
    far_ft[at[0]] = nearest_ft
    known = _is_known(tree, lots, far_ft + half_ft <= reach_ft, reach_ft)
    # Every point of a lot has a street within that of its middle and half a diagonal.
    look_ft = np.where(known, far_ft + half_ft + ON_FT, 0.0)[:, None]
    look = np.column_stack([box[:, :2] - look_ft, box[:, 2:] + look_ft])
    rows = np.flatnonzero(known)
    lot, at = tree.query(shapely.box(*look[rows].T))
    order = np.lexsort((at, lot))
    borders = segs.take(at[order])
    lot = rows[lot[order]]
    origin = lots.origin[lot]
    borders = borders._replace(a=borders.a - origin, b=borders.b - origin, lot=lot)
    window = box + reach_ft * np.array([-1.0, -1.0, 1.0, 1.0])
    neighbors = find_neighbors(table, shapes, lots, shapely.box(*window.T))
    return Around(lots.origin, known, borders, neighbors)


def _is_known(
    tree: shapely.STRtree, lots: Lots, is_sure: np.ndarray, reach_ft: float
) -> np.ndarray:
    """Tell which lots have a street within reach of their outline."""
    doubtful = np.flatnonzero(~is_sure)
    outlines = shift(lots.outline[doubtful], lots.origin[doubtful])
    known = is_sure.copy()
    known[doubtful[tree.query(outlines, predicate="dwithin", distance=reach_ft)[0]]] = True
    return known


def nearest_on(
    xy: np.ndarray, lot: np.ndarray, borders: Segs
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """
    Find the nearest point on borders of the same lot for each of m points [ft].

    `borders`: pieces sorted by lot. Gives the point, how far it is (infinite: none), and the piece
    that it lies on, -1 where none.
    """
    target, distance_ft = np.full((len(xy), 2), np.nan), np.full(len(xy), np.inf)
    piece = np.full(len(xy), -1)
    i, j = join(lot, borders.lot)
    if not len(i):
        return target, distance_ft, piece
    # Millions of pairs: plain columns, and no root before the nearest is known.
    step_x, step_y = (borders.b - borders.a).T.copy()
    size2 = step_x * step_x + step_y * step_y
    a_x, a_y = borders.a.T.copy()
    off_x, off_y = xy[:, 0].copy()[i] - a_x[j], xy[:, 1].copy()[i] - a_y[j]
    step_x, step_y = step_x[j], step_y[j]
    share = np.clip((off_x * step_x + off_y * step_y) / size2[j], 0.0, 1.0)
    off_x -= share * step_x
    off_y -= share * step_y
    apart2 = off_x * off_x + off_y * off_y
    first = np.flatnonzero(np.diff(i, prepend=-1))
    least_ft = np.sqrt(np.minimum.reduceat(apart2, first))
    near = np.flatnonzero(
        apart2 <= np.repeat((least_ft + TIE_FT) ** 2, np.diff(first, append=len(i)))
    )
    rows, pieces = i[near], j[near]
    foot = xy[rows] - np.column_stack([off_x[near], off_y[near]])
    # Of points equally near, the one that lies lowest in the plane: never the first in some order.
    order = np.lexsort((pieces, foot[:, 1], foot[:, 0], rows))
    order = order[np.diff(rows[order], prepend=-1) != 0]
    rows = rows[order]
    target[rows], piece[rows] = foot[order], pieces[order]
    distance_ft[rows] = np.sqrt(apart2[near[order]])
    return target, distance_ft, piece


RIGHT_OF_WAY_FT = 5.0
"""A street that comes this far into an outline of nobody shows it for right-of-way: lot lines
are off by less (starting value, no source)."""

SAME_SHARE = 0.5
"""An outline of nobody that has this share of its ground, or of a client's, in common with a
client's is that client's lot."""


@dataclass(frozen=True)
class Neighbors:
    """Outlines that may stand before lots."""

    lots: Lots  # the lots
    # shapes, owner: outlines in the plane [ft] and whose they are, blank: nobody's who is a client
    shapes: np.ndarray
    owner: np.ndarray
    tree: shapely.STRtree  # spatial index over `shapes`
    doubtful: np.ndarray  # pairs that are none, sorted: lot × number of outlines + outline

    def inside_ft(self, lines: np.ndarray, lot: np.ndarray) -> np.ndarray:
        """Measure how far lines in the plane run inside outlines of other lots [ft]."""
        at, other = self._foreign(self.tree.query(lines, predicate="intersects"), lot)
        inside_ft = shapely.length(shapely.intersection(lines[at], self.shapes[other]))
        return np.bincount(at, inside_ft, len(lines))

    def near(self, boxes: np.ndarray) -> Parts:
        """Give the other outlines that meet each lot's box, in its frame [ft]: parts without bits."""
        origin = self.lots.origin[: len(boxes)]
        places = shapely.box(*(boxes + np.tile(origin, 2)).T)
        rows = np.arange(len(boxes))
        lot, other = self._foreign(self.tree.query(places, predicate="intersects"), rows)
        order = np.lexsort((*shapely.bounds(self.shapes[other]).T, lot))
        lot, other = lot[order], other[order]
        return Parts(shift(self.shapes[other], -origin[lot]), np.zeros(len(lot), np.int32), lot)

    def _foreign(self, pairs: np.ndarray, lot: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Leave out a lot's own outline and what is in doubt."""
        at, other = pairs
        is_own = self.owner[other] == self.lots.client_id[lot[at]]
        is_doubtful = np.isin(lot[at] * len(self.shapes) + other, self.doubtful)
        keep = ~is_own & ~is_doubtful
        return at[keep], other[keep]


def find_neighbors(
    table: pd.DataFrame, shapes: np.ndarray, lots: Lots, windows: np.ndarray
) -> Neighbors:
    """
    Find the outlines that may stand before some lots.

    `windows`: what each lot looks at [ft]: doubt hangs on nothing beyond. Gives all outlines, and
    which are none for which lot.
    """
    is_outline = (table["kind"] == "property").to_numpy()
    outlines, owner = shapes[is_outline], table["client_id"].to_numpy(object)[is_outline]
    nobody = np.flatnonzero(owner == "")
    streets = shapes[(bits_of(table) & STREET) > 0]
    one = _holding_street(outlines, nobody, streets, windows)
    two = _drawn_again(outlines, nobody, np.flatnonzero(owner != ""), windows)
    lot, other = np.concatenate([one, two], axis=1)
    doubtful = np.unique(lot * len(outlines) + other)
    return Neighbors(lots, outlines, owner, shapely.STRtree(outlines), doubtful)


def _holding_street(
    outlines: np.ndarray, nobody: np.ndarray, streets: np.ndarray, windows: np.ndarray
) -> np.ndarray:
    """Pair lots with outlines of nobody that a street comes deep into within their window."""
    street, other = shapely.STRtree(outlines[nobody]).query(streets, predicate="intersects")
    near, at = np.unique(other, return_inverse=True)
    inner = shapely.buffer(outlines[nobody[near]], -RIGHT_OF_WAY_FT, join_style="mitre")
    deep = shapely.intersects(inner[at], streets[street])
    common = shapely.intersection(inner[at[deep]], streets[street[deep]])
    lot, hit = _in_windows(common, windows)
    return np.stack([lot, nobody[other[deep][hit]]])


def _drawn_again(
    outlines: np.ndarray, nobody: np.ndarray, owned: np.ndarray, windows: np.ndarray
) -> np.ndarray:
    """Pair lots with outlines of nobody that are some client's lot in their window once more."""
    mine, other = shapely.STRtree(outlines[nobody]).query(outlines[owned], predicate="intersects")
    shared_ft2 = shapely.area(shapely.intersection(outlines[owned[mine]], outlines[nobody[other]]))
    areas_ft2 = shapely.area(outlines)
    least_ft2 = np.minimum(areas_ft2[owned[mine]], areas_ft2[nobody[other]])
    same = shared_ft2 > SAME_SHARE * least_ft2
    lot, hit = _in_windows(outlines[owned[mine[same]]], windows)
    return np.stack([lot, nobody[other[same][hit]]])


def _in_windows(shapes: np.ndarray, windows: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    return shapely.STRtree(shapes).query(windows, predicate="intersects")
