"""Clients near each other who could have the same bed: one price for the street."""

from __future__ import annotations

import numpy as np
import pandas as pd
from scipy.spatial import KDTree

from scanner.calls.seasons import along_of
from scanner.calls.texts import say_each
from scanner.plane.frame import in_space

ALIKE_FT = 1000.0
"""Neighbors live this near, lot to lot, middle to middle (our rule, no source)."""

ALIKE_TIMES = 1.15
"""The longer bed is at most so many times as long, the dearer as dear (our rule, no source)."""


def count_alike(offers: pd.DataFrame, clients: pd.DataFrame) -> pd.Series[int]:
    """
    Count for each offer the others nearby that are about the same.

    Alike: along the same things, in the same finish, within `ALIKE_TIMES` in length and price, of
    clients (row by row) whose lots' middles, ``lon lat`` [degrees], lie within `ALIKE_FT`.
    """
    counts = pd.Series(0, index=offers.index)
    space_ft = in_space(clients["lon"].to_numpy(float), clients["lat"].to_numpy(float))
    steps = np.log(offers[["edge_ft", "price_cents"]].to_numpy(float).clip(min=1e-9))
    # in these units each axis of a pair that is alike is at most 1 apart
    places = np.column_stack([space_ft / ALIKE_FT, steps / np.log(ALIKE_TIMES)])
    kinds = offers["bed_ids"].map(along_of) + " " + offers["finish"]
    is_somewhere = pd.Series(np.isfinite(places).all(axis=1), index=offers.index)
    for _, rows in kinds[is_somewhere].groupby(kinds):
        at = offers.index.get_indexer(rows.index)
        own = places[at]
        tree = KDTree(own)
        pairs = tree.query_pairs(1.0 + 1e-9, p=np.inf, output_type="ndarray")
        apart = np.linalg.norm(own[pairs[:, 0], :3] - own[pairs[:, 1], :3], axis=1)
        counts.iloc[at] += np.bincount(pairs[apart <= 1.0].ravel(), minlength=len(at))
    return counts


def alike_reasons(counts: pd.Series[int]) -> pd.Series[str]:
    """Say how many neighbors could have the same bed.

    >>> alike_reasons(pd.Series([0, 1, 9])).tolist()
    ['', 'a neighbor could have the same bed: one price for both', '9 neighbors could have the same bed: one price for the street']
    """
    words = ("", "a neighbor could have the same bed: one price for both")
    many = "{} neighbors could have the same bed: one price for the street".format
    return say_each(counts, lambda count: words[count] if count < len(words) else many(count))
