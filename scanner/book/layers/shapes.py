"""Shapes of site features: brought to longitude and latitude, checked, mended where that is safe."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray
from pyproj import CRS, Transformer
from pyproj.exceptions import ProjError

from scanner.book.layers.geojson_reader import WGS84
from scanner.book.layers.one_layer import RawLayer
from scanner.book.places import MAX_LAT, MAX_LON, SWAPPED, find_misplaced
from scanner.errors import SiteError
from scanner.plane.grid import only_ground
from scanner.schema.feature_kinds import SITE_KINDS
from scanner.sheets.problems import Problem, Where, fault, note
from scanner.store.ceilings import MAX_CROSSINGS, SIMPLE_POINTS

REPAIR_SHARE = 0.01
"""A self-crossing ring is mended where that changes its area by at most this share."""

_SAMPLE = 500
"""So many stretches of an outline tell how often all meet."""

ACROSS = "it lies on both sides of the 180th meridian, where nothing can be measured"

_REMEDIES = {
    SWAPPED: "exchange the two: longitude first, then latitude",
    ACROSS: "measure the lot's edges on foot (measured.csv); give a street as one feature a side",
}

_POLYGONS = (shapely.GeometryType.POLYGON, shapely.GeometryType.MULTIPOLYGON)
_LINES = (shapely.GeometryType.LINESTRING, shapely.GeometryType.MULTILINESTRING)
_POINTS = (shapely.GeometryType.POINT, shapely.GeometryType.MULTIPOINT)
_TYPES = {"an area": _POLYGONS, "a line": _LINES, "a point": _POINTS}

Shapes = NDArray[np.object_]
Reasons = NDArray[np.object_]


def locate_shapes(layer: RawLayer, file: str) -> tuple[Shapes, list[Problem]]:
    """Bring a layer's shapes to WGS 84 longitude and latitude, flat; a note where degrees are taken for want of a coordinate system."""
    # most layers are flat, and flattening copies every shape
    is_flat = not shapely.has_z(layer.shapes).any()
    shapes = layer.shapes if is_flat else shapely.force_2d(layer.shapes)
    if layer.crs is not None and not layer.crs.equals(WGS84, ignore_axis_order=True):
        return _reproject(shapes, layer.crs, file), []
    points = shapely.get_coordinates(shapes[~shapely.is_missing(shapes)])
    is_possible = (np.abs(points) <= MAX_LON).all(axis=1)
    is_possible &= np.abs(points).min(axis=1, initial=np.inf) <= MAX_LAT
    if len(points) and not is_possible.any():
        x, y = points[0]
        message = (
            f"{file} declares no coordinate system that fits, and its coordinates (the first is "
            f"{x:,.1f}, {y:,.1f}) can't be degrees of longitude and latitude\n"
            "export it again in WGS 84 longitude and latitude, or with its coordinate system (.prj)"
        )
        raise SiteError(message)
    if layer.crs is None:
        problem = "no coordinate system is declared; the coordinates are taken as WGS 84 longitude and latitude"
        return shapes, [
            note(
                file,
                layer.name,
                problem,
                "export again with the coordinate system (.prj) if that is wrong",
            )
        ]
    return shapes, []


def check_shapes(
    shapes: Shapes, kinds: NDArray[np.object_]
) -> tuple[Shapes, Reasons, NDArray[np.float64]]:
    """Check shapes against their kinds, and mend rings where that changes an area by at most `REPAIR_SHARE`.

    The shapes; in words what keeps one out; the share by which mending changed one, NaN where nothing was mended.

    >>> import numpy as np, shapely
    >>> bow = shapely.from_wkt("POLYGON ((9 9, 10 10, 10 9, 9 10, 9 9))")
    >>> check_shapes(np.array([bow, None]), np.array(["lawn", "lawn"], dtype=object))[1].tolist()
    ['its outline crosses itself, and mending it would change its area by more than 100 %', 'it has no shape']
    """
    reasons: Reasons = np.full(len(shapes), "", dtype=object)
    is_gone = shapely.is_missing(shapes) | shapely.is_empty(shapes)
    reasons[is_gone] = "it has no shape"
    types = shapely.get_type_id(shapes)
    for kind in np.unique(kinds[kinds != ""].astype(str)):
        wanted = wanted_type(kind)
        is_wrong = (kinds == kind) & ~is_gone & ~np.isin(types, _TYPES[wanted])
        for at in np.flatnonzero(is_wrong).tolist():
            reasons[at] = f"{kind} came as {_type_words(types[at])}; it is drawn as {wanted}"
    misplaced = _find_misplaced(shapes)
    reasons = np.where((reasons == "") & (misplaced != ""), misplaced, reasons)
    return _mend(shapes, reasons)


def wanted_type(kind: str) -> str:
    """Tell what a kind of feature is drawn as.

    >>> wanted_type("house"), wanted_type("edge"), wanted_type("tree")
    ('an area', 'a line', 'a point')
    """
    drawn_as = SITE_KINDS[kind].drawn_as if kind in SITE_KINDS else "area"
    return f"an {drawn_as}" if drawn_as == "area" else f"a {drawn_as}"


def _type_words(type_id: int) -> str:
    words = [words for words, ids in _TYPES.items() if type_id in ids]
    return words[0] if words else "a mixture of shapes"


def share_words(share: float) -> str:
    """Say a share of an area, however small or large.

    >>> share_words(3e-7), share_words(0.0042), share_words(float("inf"))
    ('less than 0.01 %', '0.42 %', 'more than 100 %')
    """
    if share < 1e-4:  # noqa: PLR2004  # as the words say
        return "less than 0.01 %"
    return f"{100 * share:.2f} %" if share <= 1 else "more than 100 %"


def list_shape_problems(
    reasons: Reasons, changes: NDArray[np.float64], where: Where
) -> list[Problem]:
    """Put into problem rows what `check_shapes` found."""
    left_out = [
        fault(**where(at), problem=f"{reasons[at]}; it is left out", remedy=_remedy(reasons[at]))
        for at in np.flatnonzero(reasons != "").tolist()
    ]
    repaired = [
        note(
            **where(at),
            problem=f"its outline crossed itself; mending it changed its area by {share_words(changes[at])}",
            remedy="look at it on the map; draw it again if it is wrong",
        )
        for at in np.flatnonzero(np.isfinite(changes)).tolist()
    ]
    return [*left_out, *repaired]


def _reproject(shapes: Shapes, crs: CRS, file: str) -> Shapes:
    try:
        transformer = Transformer.from_crs(crs, WGS84, always_xy=True)
        return shapely.transform(
            shapes, lambda xy: np.column_stack(transformer.transform(xy[:, 0], xy[:, 1]))
        )
    except ProjError as err:
        message = f"{file}: its coordinate system cannot be turned into longitude and latitude\nexport it again in WGS 84"
        raise SiteError(message) from err


def _find_misplaced(shapes: Shapes) -> Reasons:
    bounds = shapely.bounds(shapes)
    middle_lon = (bounds[:, 0] + bounds[:, 2]) / 2
    middle_lat = (bounds[:, 1] + bounds[:, 3]) / 2
    reasons = find_misplaced(middle_lon, middle_lat).astype(object)
    is_known = np.isfinite(bounds).all(axis=1)
    is_off = np.abs(bounds[:, [0, 2]]).max(axis=1) > MAX_LON
    is_off |= np.abs(bounds[:, [1, 3]]).max(axis=1) > MAX_LAT
    reasons[is_known & is_off & (reasons == "")] = "no degrees of longitude and latitude"
    # Cut or not, it would be as wide as the earth on any plane
    reasons[is_known & (bounds[:, 2] - bounds[:, 0] > MAX_LON)] = ACROSS
    touched, at = shapely.get_coordinates(shapes, return_index=True)
    reasons[np.unique(at[(touched == 0).all(axis=1)])] = "a point of it lies at 0, 0, in the ocean"
    return reasons


def _mend(shapes: Shapes, reasons: Reasons) -> tuple[Shapes, Reasons, NDArray[np.float64]]:
    changes = np.full(len(shapes), np.nan)
    is_broken = (reasons == "") & ~shapely.is_valid(shapes)
    is_polygon = np.isin(shapely.get_type_id(shapes), _POLYGONS)
    reasons[is_broken & ~is_polygon] = "its line has no length"
    is_broken &= is_polygon
    for row in np.flatnonzero(
        is_broken & (shapely.get_num_coordinates(shapes) > SIMPLE_POINTS)
    ).tolist():
        if _is_tangled(shapes[row]):
            reasons[row], is_broken[row] = "its outline crosses itself over and over", False
    at = np.flatnonzero(is_broken)
    if not len(at):
        return shapes, reasons, changes
    drawn_area = shapely.area(shapes[at])
    # spikes leave lines behind, and a collection may hold a multipolygon
    repaired = only_ground(shapely.make_valid(shapes[at]))
    with np.errstate(divide="ignore", invalid="ignore"):
        share = np.nan_to_num(np.abs(shapely.area(repaired) / drawn_area - 1), nan=np.inf)
    is_safe = share <= REPAIR_SHARE
    changes[at[is_safe]] = share[is_safe]
    for row in np.flatnonzero(~is_safe).tolist():
        reasons[at[row]] = (
            f"its outline crosses itself, and mending it would change its area by {share_words(share[row])}"
        )
    result = shapes.copy()
    result[at[is_safe]] = repaired[is_safe]
    return result, reasons, changes


def _is_tangled(shape: shapely.Geometry) -> bool:
    """Tell by some of an outline's stretches whether they meet so often that mending it takes a machine's memory."""
    points = shapely.get_coordinates(shape)
    stretches = shapely.linestrings(np.stack([points[:-1], points[1:]], axis=1))
    count = len(stretches)
    some = stretches[:: count // min(_SAMPLE, max(1, MAX_CROSSINGS // count)) + 1]
    # each meets itself and the two beside it
    met = len(shapely.STRtree(stretches).query(some)[0]) - 3 * len(some)
    return met * count > 2 * MAX_CROSSINGS * len(some)


def _remedy(reason: str) -> str:
    if reason in _REMEDIES:
        return _REMEDIES[reason]
    if "0, 0" in reason:
        return "put the feature where it belongs, or delete it"
    if "no shape" in reason or "no length" in reason:
        return "draw it, or delete the feature"
    if "drawn as" in reason:
        return "draw it so, or put its kind right"
    if "crosses" in reason:
        return "draw its outline again without crossing"
    return "export the file again in WGS 84 longitude and latitude"
