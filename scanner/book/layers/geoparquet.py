"""GeoParquet: its columns, and shapes as well-known bytes, read a few thousand rows at a time."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq
import shapely
from pyproj import CRS
from pyproj.exceptions import CRSError

from scanner.book.layers.geojson_reader import WGS84
from scanner.book.layers.one_layer import RawLayer
from scanner.errors import SiteError
from scanner.store.ceilings import MAX_BATCH_BYTES, MAX_COLUMNS, MAX_FAULTS, MAX_FEATURES

_BATCH_ROWS = 4096
_ENCODING = "WKB"


def stream_geoparquet(path: Path, file: str) -> Iterator[RawLayer]:
    """Read a GeoParquet file in batches of one layer, without columns that hold tables of their own."""
    try:
        with pq.ParquetFile(path) as parquet:
            _refuse_huge(parquet.metadata, path.stat().st_size, file)
            name, about = _find_shapes(parquet, file)
            whole = parquet.schema_arrow
        names = [
            field.name
            for field in whole
            if not pa.types.is_nested(field.type) and not _is_bytes(field.type)
        ]
        schema = pa.schema([whole.field(one) for one in (*names, name)])
        crs = _crs(about, file)
        for table in _read_batches(path, schema, file):
            texts = table.column(name).to_numpy(zero_copy_only=False)
            shapes = shapely.from_wkb(np.asarray(texts, dtype=object), on_invalid="ignore")
            fields = table.select(names).to_pandas()
            yield RawLayer("", fields, np.asarray(shapes, dtype=object), crs)
    except (pa.ArrowException, shapely.errors.ShapelyError, OSError) as err:
        message = f"{file} is damaged: as a GeoParquet file it cannot be read"
        raise SiteError(message) from err


def _find_shapes(parquet: pq.ParquetFile, file: str) -> tuple[str, dict[str, Any]]:
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


def _refuse_huge(about: pq.FileMetaData, packed_bytes: int, file: str) -> None:
    """Refuse more rows than a file of this size can tell apart, and more columns than a layer has."""
    most_rows = min(MAX_FEATURES, max(MAX_FAULTS, packed_bytes))
    for count, most, what in (
        (about.num_rows, most_rows, "features"), (about.num_columns, MAX_COLUMNS, "columns"),
    ):  # fmt: skip
        if count > most:
            message = f"{file} says that it holds {count:,} {what}, more than {most:,}\nexport only those that are needed"
            raise SiteError(message)


def _read_batches(path: Path, schema: pa.Schema, file: str) -> Iterator[pa.Table]:
    """Yield at least one table, without rows where there are none; a text that stands once for many rows is not written out for too many."""
    texts = [one.name for one in schema if _is_bytes(one.type) or pa.types.is_string(one.type)]
    is_empty = True
    with pq.ParquetFile(path, read_dictionary=texts) as parquet:
        for batch in parquet.iter_batches(batch_size=_BATCH_ROWS, columns=schema.names):
            if (total_bytes := sum(map(_unpacked_bytes, batch.columns))) > MAX_BATCH_BYTES:
                message = (
                    f"{file}: {batch.num_rows:,} features of it unpack to {total_bytes:,} bytes, more than "
                    f"{MAX_BATCH_BYTES:,}\nexport only the columns that are needed"
                )
                raise SiteError(message)
            plain = [
                column.dictionary_decode() if pa.types.is_dictionary(column.type) else column
                for column in batch.columns
            ]
            is_empty = False
            yield pa.table(plain, names=batch.schema.names)
    if is_empty:
        yield schema.empty_table()


def _unpacked_bytes(column: pa.Array) -> int:
    """Tell what a column takes when each row has its own text [bytes]."""
    if not pa.types.is_dictionary(column.type):
        return int(column.nbytes)
    lengths = pc.binary_length(column.dictionary)
    return int(pc.sum(pc.cast(lengths.take(column.indices), pa.int64())).as_py() or 0)


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
