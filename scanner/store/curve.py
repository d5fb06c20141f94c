"""
Lots in the order of a curve through the land: neighbors lie side by side in every table.

The order follows from where lots lie and what they are called alone, never from files or blocks.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence

import numpy as np
import pandas as pd
from numpy.typing import NDArray

CELL_DEGREES = 0.5
"""Lots of one cell of longitude and latitude are measured on one plane; a block never spans two."""

BLOCK_LOTS = 400
"""Lots that are worked on at once: fewer cost more each, more take memory and gain nothing."""

_LEVEL = 16
_CELL_BITS = np.uint64(2 * _LEVEL)
_CELLS_AROUND = int(360 / CELL_DEGREES)


def along_curve(lon: NDArray[np.float64], lat: NDArray[np.float64]) -> NDArray[np.uint64]:
    """Give places [degrees] their order: cell by cell, along a Hilbert curve within each.

    The cell stands in the upper half of the number.

    >>> keys = along_curve(np.array([7.1, 7.1001, 7.4, 8.0]), np.array([1.1, 1.1, 1.1, 1.1]))
    >>> np.argsort(keys).tolist(), (np.diff(cells_of(keys)) != 0).tolist()
    ([0, 1, 2, 3], [False, False, True])
    """
    x, y = lon / CELL_DEGREES, lat / CELL_DEGREES
    column, row = np.floor(x), np.floor(y)
    cell = (row + _CELLS_AROUND) * 2 * _CELLS_AROUND + column + _CELLS_AROUND
    steps = 1 << _LEVEL
    within = _hilbert(
        *(np.minimum((part * steps).astype(np.int64), steps - 1) for part in (x - column, y - row))
    )
    return (cell.astype(np.uint64) << _CELL_BITS) | within.astype(np.uint64)


def cells_of(keys: NDArray[np.uint64]) -> NDArray[np.int64]:
    """Tell the cell of each place on the curve, as a number."""
    return (keys >> _CELL_BITS).astype(np.int64)


def split_lots(
    client_ids: NDArray[np.object_], keys: NDArray[np.uint64], block_lots: int = BLOCK_LOTS
) -> Iterator[NDArray[np.object_]]:
    """Split lots into blocks of neighbors, each in one cell.

    Clients in the order of the curve, equals in that of their ids. ``client_ids``: one a lot; of a
    client that stands there twice the first place on the curve counts.
    """
    lots = pd.DataFrame({"key": keys, "client_id": client_ids.astype(object)})
    lots = lots.sort_values(["key", "client_id"]).drop_duplicates("client_id")
    for _, ids in lots.groupby(cells_of(lots["key"].to_numpy()), sort=True)["client_id"]:
        for start in range(0, len(ids), block_lots):
            yield ids.to_numpy(object)[start : start + block_lots]


def number_blocks(blocks: Sequence[NDArray[np.object_]]) -> pd.Series[int]:
    """Tell the block of each client, by id."""
    numbers = np.repeat(np.arange(len(blocks)), [len(ids) for ids in blocks])
    ids = np.concatenate([*blocks, np.array([], dtype=object)])
    return pd.Series(numbers, index=pd.Index(ids, dtype="str"), dtype="int64")


def deal(table: pd.DataFrame, numbers: pd.Series[int]) -> Callable[[int], pd.DataFrame]:
    """Deal the rows of a table out to blocks, by their client.

    >>> numbers = number_blocks([np.array(["A"], object), np.array(["B"], object)])
    >>> rows_of = deal(pd.DataFrame({"client_id": ["B", "C", "A", "B"], "row": range(4)}), numbers)
    >>> rows_of(1)["row"].tolist(), len(rows_of(2))
    ([0, 3], 0)
    """
    number = table["client_id"].map(numbers).astype(float).to_numpy()
    order = np.argsort(number, kind="stable")
    sorted_number = number[order]
    return lambda at: table.iloc[order[slice(*np.searchsorted(sorted_number, [at, at + 1]))]]


def _hilbert(x: NDArray[np.int64], y: NDArray[np.int64]) -> NDArray[np.int64]:
    """Walk the curve down, square by square [1]_.

    .. [1] D. Hilbert, Über die stetige Abbildung einer Linie auf ein Flächenstück (1891).
    """
    along = np.zeros(len(x), dtype=np.int64)
    for level in range(_LEVEL - 1, -1, -1):
        right, upper = (x >> level) & 1, (y >> level) & 1
        along += ((3 * right) ^ upper) << (2 * level)
        turns = upper == 0
        flips = turns & (right == 1)
        x, y = np.where(flips, (1 << _LEVEL) - 1 - x, x), np.where(flips, (1 << _LEVEL) - 1 - y, y)
        x, y = np.where(turns, y, x), np.where(turns, x, y)
    return along
