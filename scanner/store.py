"""
Lots in the order of a curve through the land: neighbors lie side by side in every table.

The order follows from where lots lie and what they are called alone, never from files or blocks.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import shapely
from geopandas import GeoDataFrame, GeoSeries

CELL_DEGREES = 0.5
"""Lots of one cell of longitude and latitude are measured on one plane; a block never spans two."""

BLOCK_LOTS = 400
"""Lots that are worked on at once: fewer cost more each, more take memory and gain nothing."""


def order_lots(outlines: GeoDataFrame) -> tuple[np.ndarray, np.ndarray]:
    """
    Put lots in the order of their cell, of a curve through it, and of their ids.

    Parameters
    ----------
    outlines
        Columns ``client_id`` and ``geometry`` [degrees], one row a client.

    Returns
    -------
    order, cell
        Rows in order, and the cell of each as an integer: neighbors in order share one.

    Examples
    --------
    >>> lots = GeoDataFrame({"client_id": ["B", "C", "A"]}, geometry=[shapely.Point(x, 1) for x in (7.1, 8, 7.1)])
    >>> order_lots(lots)[0].tolist()
    [2, 0, 1]
    """
    middle = shapely.centroid(outlines.geometry.to_numpy())
    at = shapely.get_coordinates(middle)
    cells, cell = np.unique(np.floor(at / CELL_DEGREES), axis=0, return_inverse=True)
    within = GeoSeries(shapely.points(at - cells[cell] * CELL_DEGREES))
    along = within.hilbert_distance(total_bounds=(0.0, 0.0, CELL_DEGREES, CELL_DEGREES))
    order = np.lexsort((outlines["client_id"].to_numpy(str), along.to_numpy(), cell))
    return order, cell[order]


def split_lots(outlines: GeoDataFrame) -> Iterator[np.ndarray]:
    """
    Split lots into blocks of neighbors, each in one cell.

    Parameters
    ----------
    outlines
        Columns ``client_id`` and ``geometry`` [degrees]; a client with several is where
        the first along the curve lies.

    Yields
    ------
    client_ids
        Up to `BLOCK_LOTS` clients in the order of the curve.
    """
    order, cell = order_lots(outlines)
    owners = outlines["client_id"].to_numpy(object)[order]
    first = np.sort(np.unique(owners.astype(str), return_index=True)[1])
    owners, cell = owners[first], cell[first]
    for ids in np.split(owners, np.flatnonzero(np.diff(cell)) + 1):
        for start in range(0, len(ids), BLOCK_LOTS):
            yield ids[start : start + BLOCK_LOTS]
