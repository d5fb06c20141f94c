"""GeoJSON: read by ourselves, so that one bad feature spoils no other and ids stay as written."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import shapely
from pyproj import CRS
from pyproj.exceptions import CRSError

from scanner.book.layers.raw import RawFile, RawLayer
from scanner.errors import SiteError
from scanner.sheets.problems import fault, note, shown

WGS84 = CRS.from_epsg(4326)


def open_geojson(path: Path, file: str) -> RawFile:
    """
    Open a GeoJSON file.

    Parameters
    ----------
    path
        The file.
    file
        Its name in problems.

    Returns
    -------
    raw
        One layer; a feature whose shape cannot be read has None there.

    Raises
    ------
    SiteError
        If the file is no GeoJSON at all.
    """
    document = _load(path, file)
    features = _list_features(document, file)
    crs, problems = _find_crs(document.get("crs"), file)
    is_whole = [isinstance(feature, dict) for feature in features]
    fields = pd.DataFrame(
        [
            _properties(feature) if whole else {}
            for feature, whole in zip(features, is_whole, strict=True)
        ],
        index=range(len(features)),
        dtype=object,
    )
    texts = [
        json.dumps(feature.get("geometry")) if whole and feature.get("geometry") else None
        for feature, whole in zip(features, is_whole, strict=True)
    ]
    shapes = shapely.from_geojson(np.array(texts, dtype=object), on_invalid="ignore")
    broken = [
        fault(
            file,
            f"feature {at + 1}",
            "the shape cannot be read (a ring that is not closed or has too few points, or no number); it is left out",
            "draw the feature again",
        )
        for at, (text, shape) in enumerate(zip(texts, shapes, strict=True))
        if text is not None and shape is None
    ]
    # a shape that is told of here is not told of again as missing
    is_told = np.array([text is not None for text in texts], dtype=bool) & shapely.is_missing(
        shapes
    )
    layer = RawLayer("", fields, shapes, crs, is_told)
    return RawFile([layer], [*problems, *broken])


def _load(path: Path, file: str) -> dict[str, Any]:
    raw = path.read_bytes()
    if not raw.strip():
        message = f"{file} is empty"
        raise SiteError(message)
    try:
        document = json.loads(raw.decode("utf-8-sig"))
    except UnicodeDecodeError as err:
        message = (
            f"{file}: the letters are not saved as UTF-8\nexport it again with the encoding UTF-8"
        )
        raise SiteError(message) from err
    except (json.JSONDecodeError, RecursionError) as err:
        message = f"{file} is no GeoJSON, whatever its name says; it was not opened further"
        raise SiteError(message) from err
    if not isinstance(document, dict):
        message = f"{file} is no GeoJSON: a FeatureCollection is allowed"
        raise SiteError(message)
    return document


def _list_features(document: dict[str, Any], file: str) -> list[Any]:
    kind = document.get("type")
    if kind == "Feature":
        return [document]
    features = document.get("features")
    if kind != "FeatureCollection" or not isinstance(features, list):
        message = f"{file} is no GeoJSON: its type is {shown(kind)}, a FeatureCollection is allowed"
        raise SiteError(message)
    return features


def _properties(feature: dict[str, Any]) -> dict[str, Any]:
    properties = feature.get("properties")
    return properties if isinstance(properties, dict) else {}


def _find_crs(declared: Any, file: str) -> tuple[CRS | None, list[Any]]:  # noqa: ANN401
    """Find the reference system: RFC 7946 has only WGS 84, older files name one."""
    if declared is None:
        return WGS84, []
    name = declared.get("properties", {}).get("name") if isinstance(declared, dict) else None
    try:
        crs = CRS.from_user_input(name)
    except CRSError:
        problem = f"the coordinate system that the file names, {shown(name)}, is not known"
        remedy = "export the file again as GeoJSON in WGS 84 longitude and latitude"
        return None, [note(file, "", problem, remedy)]
    # axes always come as east, north in a file, whatever the authority's order
    is_degrees = crs.is_geographic and crs.equals(WGS84, ignore_axis_order=True)
    return (WGS84 if is_degrees else crs), []
