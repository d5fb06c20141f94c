"""GeoParquet: its columns, and shapes as well-known bytes, read a few thousand rows at a time."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import shapely
from pyproj import CRS
from pyproj.exceptions import CRSError

from scanner.book.layers.geojson_reader import WGS84
from scanner.book.layers.raw import RawLayer
from scanner.errors import SiteError

MAX_BYTES = 20_000_000_000
"""A table that takes more than this is refused: well packed, a small file may hold any number of rows."""

_BATCH_ROWS = 4096
_ENCODING = "WKB"


def stream_geoparquet(path: Path, file: str) -> Iterator[RawLayer]:
    """Read a GeoParquet file in batches of one layer, without columns that hold tables of their own."""
    try:
        with pq.ParquetFile(path) as parquet:
            name, about = _find_shapes(parquet, file)
            crs = _crs(about, file)
            names = [
                field.name
                for field in parquet.schema_arrow
                if not pa.types.is_nested(field.type) and not _is_bytes(field.type)
            ]
            for table in _read_batches(parquet, [*names, name], file):
                texts = table.column(name).to_numpy(zero_copy_only=False)
                shapes = shapely.from_wkb(np.asarray(texts, dtype=object), on_invalid="ignore")
                fields = table.select(names).to_pandas()
                yield RawLayer("", fields, np.asarray(shapes, dtype=object), crs)
    except (pa.ArrowException, shapely.errors.ShapelyError, OSError) as err:
        message = f"{file} is damaged: as a GeoParquet file it cannot be read"
        raise SiteError(message) from err


def _find_shapes(parquet: pq.ParquetFile, file: str) -> tuple[str, dict[str, Any]]:
    """Find the column of shapes, and what the file says of it."""
    try:
        told = json.loads((parquet.metadata.metadata or {})[b"geo"])
        name = told["primary_column"]
        about = dict(told["columns"][name])
    except (KeyError, TypeError, ValueError) as err:
        message = f"{file} is a Parquet file that does not say which column holds shapes, so it is no GeoParquet"
        raise SiteError(message) from err
    is_there = name in parquet.schema_arrow.names
    if (
        about.get("encoding") != _ENCODING
        or not is_there
        or not _is_bytes(parquet.schema_arrow.field(name).type)
    ):
        message = f"{file} keeps its shapes in another form than {_ENCODING}\nexport it again as GeoParquet with {_ENCODING} shapes"
        raise SiteError(message)
    return name, about


def _read_batches(parquet: pq.ParquetFile, names: list[str], file: str) -> Iterator[pa.Table]:
    """Yield at least one table, without rows where there are none."""
    total_bytes = 0
    for batch in parquet.iter_batches(batch_size=_BATCH_ROWS, columns=names):
        total_bytes += batch.nbytes
        if total_bytes > MAX_BYTES:
            message = f"{file} unpacks to more than {MAX_BYTES:,} bytes, so it was not read\nexport only the features that are needed"
            raise SiteError(message)
        yield pa.Table.from_batches([batch])
    if not total_bytes:
        yield pa.schema([parquet.schema_arrow.field(name) for name in names]).empty_table()


def _is_bytes(kind: pa.DataType) -> bool:
    return bool(pa.types.is_binary(kind) or pa.types.is_large_binary(kind))


def _crs(about: dict[str, Any], file: str) -> CRS | None:
    """Read the coordinate system: none named is longitude and latitude, an empty one not known."""
    if "crs" not in about:
        return WGS84
    if about["crs"] is None:
        return None
    try:
        return CRS.from_user_input(about["crs"])
    except CRSError as err:
        message = f"{file} names a coordinate system that is not known\nexport it again in WGS 84 longitude and latitude"
        raise SiteError(message) from err
