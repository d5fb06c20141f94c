"""
The plane of a lot: degrees become feet here and nowhere else.

A lot is measured on the Lambert azimuthal equal-area plane centred on its 0.5°
cell of longitude and latitude. Areas are exact on the ellipsoid, lengths right to
1 in 100,000 within a cell. Ground is taken at the ellipsoid: at 5,000 ft elevation
true lengths are 0.024 % more, which is said in the docs and not corrected.

References
----------
.. [1] J. P. Snyder, Map Projections: A Working Manual, USGS Professional Paper 1395
   (1987), chapter 24.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import pyproj
import shapely

CELL_DEGREES = 0.5
WGS84 = "EPSG:4326"
DEGREE_DIGITS = 9
"""Decimals of a degree in files: a tenth of a millimeter."""

_AREA = 2


def name_frames(shapes: np.ndarray) -> np.ndarray:
    """
    Name the plane that each shape [degrees] is measured on: longitude and latitude of the cell's center.

    >>> name_frames(shapely.points([[-98.6, 41.2], [0.0, -0.1]])).tolist()
    ['-98.75,41.25', '0.25,-0.25']
    """
    centers = shapely.centroid(shapes)
    lon = np.floor(shapely.get_x(centers) / CELL_DEGREES) * CELL_DEGREES + CELL_DEGREES / 2
    lat = np.floor(shapely.get_y(centers) / CELL_DEGREES) * CELL_DEGREES + CELL_DEGREES / 2
    return np.array([f"{x:.2f},{y:.2f}" for x, y in zip(lon, lat, strict=True)], dtype=object)


@lru_cache(maxsize=256)
def _projector(frame: str) -> pyproj.Transformer:
    lon, lat = frame.split(",")
    plane = pyproj.CRS.from_proj4(
        f"+proj=laea +lat_0={lat} +lon_0={lon} +datum=WGS84 +units=ft +no_defs"
    )
    return pyproj.Transformer.from_crs(WGS84, plane, always_xy=True)


def to_feet(shapes: np.ndarray, frame: str) -> np.ndarray:
    """
    Move shapes from WGS 84 longitude and latitude [degrees] to a local plane [ft], as `name_frames` names it.

    >>> east, north = to_feet(shapely.points([[-98.75, 41.25]]), "-98.75,41.25")[0].coords[0]
    >>> abs(round(east, 6)), abs(round(north, 6))
    (0.0, 0.0)
    """
    projector = _projector(frame)
    return shapely.transform(shapes, projector.transform, interleaved=False)


@lru_cache(maxsize=1)
def _space() -> pyproj.Transformer:
    space = pyproj.CRS.from_proj4("+proj=geocent +datum=WGS84 +units=ft +no_defs")
    return pyproj.Transformer.from_crs(WGS84, space, always_xy=True)


def in_space(lon: np.ndarray, lat: np.ndarray) -> np.ndarray:
    """
    Place points (WGS 84 [degrees], NaN where there is none) in space: three numbers each [ft].

    A straight line between any two is their distance: over a thousand feet it is shorter than the
    way along the ground by less than a millionth of a foot; no plane is needed, and no edge of one
    is in the way.

    >>> one, two = in_space(np.array([-98.5, -98.5]), np.array([41.0, 41.001]))
    >>> round(float(np.hypot.reduce(one - two)), 2)  # 0.001° of the meridian at 41°
    364.35
    """
    places = np.column_stack(_space().transform(lon, lat, np.zeros(len(lon))))
    return np.where(np.isfinite(places), places, np.nan)


def to_degrees(shapes: np.ndarray, frame: str) -> np.ndarray:
    """
    Move shapes from a local plane [ft] back to WGS 84 longitude and latitude [degrees].

    >>> to_degrees(shapely.points([[0.0, 0.0]]), "-98.75,41.25")[0].wkt
    'POINT (-98.75 41.25)'
    """
    projector = _projector(frame)

    def back(x_ft: np.ndarray, y_ft: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        # The projection's own inverse errs by 7e-9 degrees; one corrective step leaves 1e-14.
        near_x, near_y = projector.transform(*projector.transform(x_ft, y_ft, direction="INVERSE"))
        return projector.transform(2 * x_ft - near_x, 2 * y_ft - near_y, direction="INVERSE")

    return shapely.transform(shapes, back, interleaved=False)


def round_degrees(shapes: np.ndarray) -> np.ndarray:
    """
    Round shapes [degrees] to what files hold, still valid and by the right-hand rule.

    Plain rounding breaks about one ring in 3,000; only those are laid on the grid anew, which may
    drop a sliver thinner than the grid.

    >>> sliver = shapely.box(0, 0, 1e-3, 1e-11)
    >>> bool(shapely.is_empty(round_degrees(np.array([sliver], object))[0]))
    True
    """
    rounded = _round(shapes)
    is_area = shapely.get_dimensions(rounded) == _AREA
    is_broken = is_area & ~shapely.is_valid(rounded)
    mended = shapely.make_valid(shapes[is_broken], method="structure", keep_collapsed=False)
    rounded[is_broken] = _round(shapely.set_precision(mended, 10.0**-DEGREE_DIGITS))
    is_gone = is_area & ((shapely.get_dimensions(rounded) < _AREA) | (shapely.area(rounded) == 0))
    rounded[is_gone] = shapely.Polygon()
    return np.asarray(shapely.orient_polygons(rounded), object)


def _round(shapes: np.ndarray) -> np.ndarray:
    rounded = shapely.transform(shapes, lambda degrees: np.round(degrees, DEGREE_DIGITS))
    return np.asarray(rounded, object)
