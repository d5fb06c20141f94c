"""The assembled site features as a GeoJSON file."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

import pandas as pd
import shapely

from scanner.book.layers.attributes import COLUMNS
from scanner.plane.frame import round_degrees, to_degrees


def features_geojson(features: pd.DataFrame, frame: str) -> bytes:
    """Write site features as RFC 7946 GeoJSON, one a line: the same bytes each time, rings valid after rounding."""
    shapes = round_degrees(to_degrees(features["geometry"].to_numpy(object), frame))
    is_kept = ~shapely.is_empty(shapes)
    rows = features.loc[is_kept, list(COLUMNS)].to_dict("records")
    lines = [
        f'{{"type":"Feature","properties":{_json(_known(row))},"geometry":{_json(shapely.geometry.mapping(shape))}}}'
        for row, shape in zip(rows, shapes[is_kept], strict=True)
    ]
    body = ",\n".join(lines)
    return f'{{"type":"FeatureCollection","features":[\n{body}\n]}}\n'.encode()


def _known(row: Mapping[Any, Any]) -> dict[str, Any]:
    """Keep what is known: no blanks, no missing numbers; a whole number stays whole."""
    known = {str(name): value for name, value in row.items() if value != "" and value == value}  # noqa: PLR0124  # NaN isn't
    return {
        name: int(value) if isinstance(value, float) and value.is_integer() else value
        for name, value in known.items()
    }


def _json(value: object) -> str:
    return json.dumps(value, ensure_ascii=False, separators=(",", ":"))
