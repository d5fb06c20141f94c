"""
GeoJSON: read by ourselves, so that one bad feature spoils no other and ids stay as written.

Feature by feature, since parsed whole a file takes five times its size in memory.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import shapely
from pyproj import CRS
from pyproj.exceptions import CRSError

from scanner.book.layers.json_members import Feature, Members, TooLargeError
from scanner.book.layers.one_layer import RawLayer
from scanner.errors import SiteError
from scanner.sheets.problems import Problem, fault, note, shown
from scanner.store.ceilings import MAX_BRACKETS, MAX_COLUMNS, MAX_FEATURE_LETTERS, MAX_FEATURES

WGS84 = CRS.from_epsg(4326)


_END_BYTES = 1_000_000


def stream_geojson(path: Path, file: str) -> Iterator[RawLayer]:
    """Read a GeoJSON file in batches of features, a shape that cannot be read as None; that it is none may come out at its end only."""
    try:
        yield from _stream(path, file)
    except UnicodeDecodeError as err:
        message = (
            f"{file}: the letters are not saved as UTF-8\nexport it again with the encoding UTF-8"
        )
        raise SiteError(message) from err
    except TooLargeError as err:
        message = (
            f"{file} has a feature of more than {MAX_FEATURE_LETTERS:,} letters or {MAX_BRACKETS:,} points\n"
            "divide it, or leave it out"
        )
        raise SiteError(message) from err
    except (json.JSONDecodeError, RecursionError) as err:
        message = f"{file} is no GeoJSON, whatever its name says; it was not opened further"
        raise SiteError(message) from err


def _stream(path: Path, file: str) -> Iterator[RawLayer]:
    late = Members(path).read_all().members.get("crs") if _names_crs_late(path) else None
    document, count, named = Members(path), 0, late
    members, columns = document.members, set[str]()
    for features in document.batches():
        named = members.get("crs", late)
        crs, problems = _find_crs(named, file)
        columns.update(*(_said(value) for value, _ in features))
        if len(columns) > MAX_COLUMNS:
            _refuse(file, f"more than {MAX_COLUMNS:,} different properties")
        yield _make_layer(features, crs, problems, (file, count))
        count += len(features)
        if count > MAX_FEATURES:
            _refuse(file, f"more than {MAX_FEATURES:,} features")
    kind = members.get("type")
    if kind == "Feature" and not document.has_features:
        crs, problems = _find_crs(members.get("crs"), file)
        yield _make_layer([(members, json.dumps(members))], crs, problems, (file, 0))
    elif not document.is_object:
        message = f"{file} is no GeoJSON: a FeatureCollection is allowed"
        raise SiteError(message)
    elif kind != "FeatureCollection" or not document.has_features:
        message = f"{file} is no GeoJSON: its type is {shown(kind)}, a FeatureCollection is allowed"
        raise SiteError(message)
    elif members.get("crs") != named:
        message = (
            f"{file} names its coordinate system behind its features\nexport it again in WGS 84"
        )
        raise SiteError(message)


def _refuse(file: str, what: str) -> None:
    message = f"{file} holds {what}\nexport only the features and the properties that are needed"
    raise SiteError(message)


def _said(feature: Any) -> dict[str, Any]:  # noqa: ANN401  # whatever JSON holds
    said = feature.get("properties") if isinstance(feature, dict) else None
    return said if isinstance(said, dict) else {}


def _names_crs_late(path: Path) -> bool:
    """Tell whether a coordinate system may be named behind the features."""
    with path.open("rb") as stream:
        is_early = b'"crs"' in stream.read(_END_BYTES)
        stream.seek(max(0, path.stat().st_size - _END_BYTES))
        return (not is_early and b'"crs"' in stream.read()) or (
            is_early and stream.tell() <= _END_BYTES
        )


def _make_layer(
    read: list[Feature], crs: CRS | None, problems: list[Problem], place: tuple[str, int]
) -> RawLayer:
    """Make a layer of features; ``place`` is the file and how many came before."""
    features = [value if isinstance(value, dict) else {} for value, _ in read]
    texts = np.array([text for _, text in read], dtype=object)
    said = [_said(feature) for feature in features]
    fields = pd.DataFrame(said, index=range(len(features)), dtype=object)
    has_shape = np.array([bool(feature.get("geometry")) for feature in features], dtype=bool)
    shapes = np.full(len(texts), None, dtype=object)
    with np.errstate(over="ignore"):
        shapes[has_shape] = shapely.from_geojson(texts[has_shape], on_invalid="ignore")
    # words beside the shape may be what could not be read
    lost = np.flatnonzero(has_shape & shapely.is_missing(shapes))
    alone = [json.dumps(features[at]["geometry"]) for at in lost.tolist()]
    shapes[lost] = shapely.from_geojson(np.array(alone, dtype=object), on_invalid="ignore")
    is_broken = has_shape & shapely.is_missing(shapes)
    file, before = place
    broken = [
        fault(
            file,
            f"feature {before + at + 1}",
            "the shape cannot be read (a ring that is not closed or has too few points, or no number); it is left out",
            "draw the feature again",
        )
        for at in np.flatnonzero(is_broken).tolist()
    ]
    # a shape that is told of as broken is not told of again as missing
    return RawLayer("", fields, shapes, crs, [*problems, *broken], is_broken)


def _find_crs(declared: Any, file: str) -> tuple[CRS | None, list[Any]]:  # noqa: ANN401
    """Find the reference system: RFC 7946 has only WGS 84, older files name one."""
    if declared is None:
        return WGS84, []
    name = _said(declared).get("name")
    crs = _crs_named(name if isinstance(name, str) else "")
    if crs is None:
        problem = f"the coordinate system that the file names, {shown(name)}, is not known"
        remedy = "export the file again as GeoJSON in WGS 84 longitude and latitude"
        return None, [note(file, "", problem, remedy)]
    # axes always come as east, north in a file, whatever the authority's order
    is_degrees = crs.is_geographic and crs.equals(WGS84, ignore_axis_order=True)
    return (WGS84 if is_degrees else crs), []


@lru_cache
def _crs_named(name: str) -> CRS | None:
    # To find that nobody knows a name takes a fifth of a second, and each batch of features asks
    try:
        return CRS.from_user_input(name)
    except CRSError:
        return None
