"""Shapes of beds as the log keeps them, looked at without the geometry that a scan loads."""

from __future__ import annotations

import struct

import numpy as np

_AREA, _AREAS = 3, 6
"""Polygon and multipolygon in well-known binary."""


def check_area(shape: bytes) -> None:
    """Raise where well-known binary of an area, little-endian as this program writes it, is none; geometry need not be loaded for that."""
    _, kind, parts = struct.unpack_from("<BII", shape)
    at = 9
    for _ in range(parts if kind == _AREAS else 1):
        if kind == _AREAS:
            _, _, rings = struct.unpack_from("<BII", shape, at)
            at += 9
        else:
            rings = parts
        for _ in range(rings):
            (count,) = struct.unpack_from("<I", shape, at)
            ring = np.frombuffer(shape, "<f8", 2 * count, at + 4).reshape(-1, 2)
            at += 4 + ring.nbytes
            if len(ring) < 4 or not np.isfinite(ring).all() or (ring[0] != ring[-1]).any():  # noqa: PLR2004
                raise ValueError(shape)
    if kind not in (_AREA, _AREAS) or at != len(shape):
        raise ValueError(shape)
