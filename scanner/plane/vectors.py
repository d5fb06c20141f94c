"""Arithmetic of vectors, n × 2, row by row: sums and norms along an axis of two take numpy five to twenty times as long."""

from __future__ import annotations

import numpy as np


def dot(one: np.ndarray, two: np.ndarray) -> np.ndarray:
    """Multiply vectors: one's length times what the other goes along it."""
    return np.asarray(one[:, 0] * two[:, 0] + one[:, 1] * two[:, 1])


def cross(one: np.ndarray, two: np.ndarray) -> np.ndarray:
    """Multiply vectors crosswise: positive where `two` points to the left of `one`."""
    return np.asarray(one[:, 0] * two[:, 1] - one[:, 1] * two[:, 0])


def norm(vectors: np.ndarray) -> np.ndarray:
    """Measure vectors."""
    return np.sqrt(dot(vectors, vectors))


def along_ft(points: np.ndarray, key: np.ndarray) -> np.ndarray:
    """Measure how far along its line, the points of one key, each stands from the first [ft]."""
    step_ft = norm(np.diff(points, axis=0, prepend=points[:1]))
    total_ft = np.cumsum(step_ft)
    first = np.flatnonzero(np.diff(key, prepend=-1))
    return total_ft - np.repeat(total_ft[first], np.diff(first, append=len(key)))


def pick(table: np.ndarray, keep: np.ndarray) -> np.ndarray:
    """Take rows of an array: by number, or where a boolean a row says so."""
    return table.compress(keep, axis=0) if keep.dtype == bool else table.take(keep, axis=0)
