"""The assembled site features as a GeoJSON file."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd
import shapely

from scanner.book.county.pieces import Shapes
from scanner.book.layers.attributes import COLUMNS
from scanner.plane.frame import to_degrees

DEGREE_DIGITS = 9
"""Decimals of a degree: a tenth of a millimeter."""

_AREA = 2


def features_geojson(features: pd.DataFrame, frame: str) -> bytes:
    """Write site features as RFC 7946 GeoJSON, one a line: the same bytes each time, rings valid after rounding."""
    shapes = round_shapes(to_degrees(features["geometry"].to_numpy(object), frame))
    is_kept = ~shapely.is_empty(shapes)
    rows = features.loc[is_kept, list(COLUMNS)].to_dict("records")
    lines = [
        f'{{"type":"Feature","properties":{_json(_known(row))},"geometry":{_json(shapely.geometry.mapping(shape))}}}'
        for row, shape in zip(rows, shapes[is_kept], strict=True)
    ]
    body = ",\n".join(lines)
    return f'{{"type":"FeatureCollection","features":[\n{body}\n]}}\n'.encode()


def round_shapes(shapes: Shapes) -> Shapes:
    """Round shapes [degrees] to what the file holds, still valid and by the right-hand rule.

    >>> sliver = shapely.box(0, 0, 1e-3, 1e-11)
    >>> bool(shapely.is_empty(round_shapes(np.array([sliver], object))[0]))
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


def _round(shapes: Shapes) -> Shapes:
    rounded = shapely.transform(shapes, lambda degrees: np.round(degrees, DEGREE_DIGITS))
    return np.asarray(rounded, object)


def _known(row: Mapping[Any, Any]) -> dict[str, Any]:
    """Keep what is known: no blanks, no missing numbers; a whole number stays whole."""
    known = {str(name): value for name, value in row.items() if value != "" and value == value}  # noqa: PLR0124  # NaN isn't
    return {
        name: int(value) if isinstance(value, float) and value.is_integer() else value
        for name, value in known.items()
    }


def _json(value: object) -> str:
    return json.dumps(value, ensure_ascii=False, separators=(",", ":"))
