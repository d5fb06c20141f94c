"""Whether longitudes and latitudes can be where a lawn lies."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

MAX_LON = 180.0
MAX_LAT = 90.0
_LAWN_LAT_LEAST = -56.0
"""No town lies farther south than Cape Horn, 56° S (from memory, no source)."""

_NEAR_DEGREES = 2.0
_FAR_DEGREES = 10.0
_MANY = 3

SWAPPED = "longitude and latitude are swapped"


def find_misplaced(lon: NDArray[np.float64], lat: NDArray[np.float64]) -> NDArray[np.str_]:
    """Find places that no lawn can have: what is wrong, in words, blank where nothing is.

    A place is taken for swapped where the latitude is beyond the poles or farther south than any
    town while the two exchanged make sense; or where most places given lie together, this one far
    off, and exchanged it lies among them.

    >>> import numpy as np
    >>> find_misplaced(np.array([-95.1, 40.0, 0.0]), np.array([40.0, -95.1, 0.0])).tolist()
    ['', 'longitude and latitude are swapped', '0, 0 is in the ocean']
    """
    is_zero = (lon == 0) & (lat == 0)
    is_possible = (np.abs(lon) <= MAX_LON) & (np.abs(lat) <= MAX_LAT)
    is_town = is_possible & (lat >= _LAWN_LAT_LEAST) & ~is_zero
    is_town_swapped = (np.abs(lat) <= MAX_LON) & (np.abs(lon) <= MAX_LAT) & (lon >= _LAWN_LAT_LEAST)
    is_swapped = (~is_town & is_town_swapped & ~is_zero) | _find_strays(lon, lat, is_town)
    is_known = ~np.isnan(lon) & ~np.isnan(lat)
    reasons = np.where(is_possible, "", "no degrees of longitude and latitude")
    reasons = np.where(is_possible & ~is_town, "no town lies so far south", reasons)
    reasons = np.where(is_swapped, SWAPPED, reasons)
    reasons = np.where(is_zero, "0, 0 is in the ocean", reasons)
    return np.where(is_known, reasons, "")


def _find_strays(
    lon: NDArray[np.float64], lat: NDArray[np.float64], is_town: NDArray[np.bool_]
) -> NDArray[np.bool_]:
    if is_town.sum() < _MANY:
        return np.zeros(len(lon), dtype=bool)
    lon_mid, lat_mid = np.median(lon[is_town]), np.median(lat[is_town])
    off = np.maximum(np.abs(lon - lon_mid), np.abs(lat - lat_mid))
    off_swapped = np.maximum(np.abs(lat - lon_mid), np.abs(lon - lat_mid))
    return (off > _FAR_DEGREES) & (off_swapped < _NEAR_DEGREES)
