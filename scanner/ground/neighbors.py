"""
Neighbors: outlines that are not a lot's own, where they bound its strip or hide its street.

Whoever puts a whole parcel layer into a book has more in it than neighbors' lots: the
right-of-way itself, and the client's own lot once more, drawn a little otherwise. Neither
may stand between a lot and its street, so what is in doubt is no neighbor.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
import shapely

from scanner.ground.kinds import STREET, Lots, Parts, bits_of, shift

RIGHT_OF_WAY_FT = 5.0
"""A street that comes this far into an outline of nobody shows it for right-of-way: lot lines
are off by less (starting value, no source)."""

SAME_SHARE = 0.5
"""An outline of nobody that has this share of its ground, or of a client's, in common with a
client's is that client's lot."""


@dataclass(frozen=True)
class Neighbors:
    """
    Outlines that may stand before lots.

    Attributes
    ----------
    lots
        The lots.
    shapes, owner
        Outlines in the plane [ft] and whose they are, blank: nobody's who is a client.
    tree
        Spatial index over `shapes`.
    doubtful
        Pairs that are none, sorted: lot × number of outlines + outline.
    """

    lots: Lots
    shapes: np.ndarray
    owner: np.ndarray
    tree: shapely.STRtree
    doubtful: np.ndarray

    def inside_ft(self, lines: np.ndarray, lot: np.ndarray) -> np.ndarray:
        """
        Measure how far lines run inside other outlines.

        Parameters
        ----------
        lines, lot
            Lines in the plane [ft], and the lot of each.

        Returns
        -------
        length_ft
            Length inside them [ft].
        """
        at, other = self._foreign(self.tree.query(lines, predicate="intersects"), lot)
        inside_ft = shapely.length(shapely.intersection(lines[at], self.shapes[other]))
        return np.bincount(at, inside_ft, len(lines))

    def near(self, boxes: np.ndarray) -> Parts:
        """
        Give the other outlines that meet each lot's box.

        Parameters
        ----------
        boxes
            Boxes in each lot's frame [ft]: west, south, east, north.

        Returns
        -------
        outlines
            Parts without bits.
        """
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

    Parameters
    ----------
    table
        Table `FEATURES` without geometry.
    shapes
        Their shapes in the plane [ft].
    lots
        Some lots.
    windows
        What each lot looks at [ft]: doubt hangs on nothing beyond.

    Returns
    -------
    neighbors
        All outlines, and which are none for which lot.
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
    """Pair windows with shapes that meet them."""
    return shapely.STRtree(shapes).query(windows, predicate="intersects")
