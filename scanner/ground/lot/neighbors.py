"""
Neighbours: outlines that belong to no client, where they bound a strip or hide a street.

Whoever puts a whole parcel layer into a book has more in it than neighbours' lots: the
right-of-way itself, and the client's own lot once more, drawn a little otherwise. Neither
may stand between a lot and its street, so what is in doubt is no neighbour.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import shapely

from scanner.ground.plane.shapes import parts_of

WAY_FT = 5.0
"""A street that comes this far into an outline of nobody shows it for right-of-way: lot lines
are off by less (starting value, no source)."""

SAME_SHARE = 0.5
"""An outline of nobody that has this share of its ground, or of a client's, in common with a
client's is that client's lot."""


def find_neighbors(
    features: pd.DataFrame, shapes: np.ndarray, *, owned: np.ndarray, streets: np.ndarray
) -> np.ndarray:
    """
    Find the outlines of lots that are nobody's who is a client.

    Parameters
    ----------
    features
        Table `FEATURES` without geometry, one row a piece.
    shapes
        Geometry array [ft], aligned with `features`.
    owned
        Clients' outlines [ft].
    streets
        Streets and curbs drawn as lines [ft].

    Returns
    -------
    neighbors
        Outlines [ft], in the order of `features`; a large one has several pieces.

    Examples
    --------
    >>> features = pd.DataFrame({"kind": "property", "client_id": "", "feature_id": ["a", "b"]})
    >>> lot, way = shapely.box(0, 0, 80, 120), shapely.box(-90, -60, 300, 0)
    >>> found = find_neighbors(
    ...     features, np.array([lot, way]), owned=np.array([], object),
    ...     streets=np.array([shapely.box(-90, -40, 300, -10)]))
    >>> found.tolist() == [lot]
    True
    """
    is_nobody = ((features["kind"] == "property") & (features["client_id"] == "")).to_numpy()
    name = features["feature_id"].to_numpy()[is_nobody]
    others = shapes[is_nobody]
    # a way that spans the town comes in pieces, not each of which has a street in it
    doubtful = name[_holds_street(others, streets) | _is_owned(others, owned)]
    return parts_of(others[~np.isin(name, doubtful)])[0]


def _holds_street(outlines: np.ndarray, streets: np.ndarray) -> np.ndarray:
    """Tell into which outlines a street comes deep."""
    at, street = shapely.STRtree(streets).query(outlines, predicate="intersects")
    near = np.unique(at)
    inner = np.full(len(outlines), shapely.Polygon(), dtype=object)
    inner[near] = shapely.buffer(outlines[near], -WAY_FT, join_style="mitre")
    return np.isin(np.arange(len(outlines)), at[shapely.intersects(inner[at], streets[street])])


def _is_owned(outlines: np.ndarray, owned: np.ndarray) -> np.ndarray:
    """Tell which outlines are a client's lot, drawn once more."""
    at, mine = shapely.STRtree(owned).query(outlines, predicate="intersects")
    shared_ft2 = shapely.area(shapely.intersection(outlines[at], owned[mine]))
    least_ft2 = np.minimum(shapely.area(outlines[at]), shapely.area(owned[mine]))
    return np.isin(np.arange(len(outlines)), at[shared_ft2 > SAME_SHARE * least_ft2])
