"""Layers of a file, one by one and in batches, as the reader of vector files gives them."""

from __future__ import annotations

import warnings
from collections.abc import Collection, Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np
import pandas as pd
import pyogrio
from pyogrio.errors import DataLayerError, DataSourceError
from pyproj import CRS
from pyproj.exceptions import ProjError
from shapely.errors import ShapelyError

from scanner.book.layers.raw import RawLayer
from scanner.errors import SiteError
from scanner.store.ceilings import MAX_CELLS, MAX_COLUMNS, MAX_LAYERS

BATCH_FEATURES = 50_000
OFFLINE = {
    "GML_DOWNLOAD_SCHEMA": "NO",
    "GML_SKIP_RESOLVE_ELEMS": "ALL",
    "CPL_VSIL_CURL_ALLOWED_EXTENSIONS": ".none",
}
"""What keeps the reader from following an address in a file."""

pyogrio.set_gdal_config_options(OFFLINE)

READER_ERRORS = (
    DataSourceError, DataLayerError, ShapelyError, ProjError, IndexError, ValueError,
)  # fmt: skip


def read_layers(path: Path, file: str, drivers: Collection[str]) -> Iterator[RawLayer]:
    """Read all layers of a file, if the reader says that it is of one of some kinds."""
    names = list_layers(path, file)
    for name in names:
        yield from read_layer(path, name, file, drivers, called="" if len(names) == 1 else name)


def list_layers(target: Path | str, file: str) -> list[str]:
    """List the layers of a file by name."""
    with _reading(file):
        names = [str(name) for name in pyogrio.list_layers(target)[:, 0]]
    refuse_many_layers(len(names), file)
    return names


def read_layer(
    target: Path | str, name: str, file: str, drivers: Collection[str], *, called: str
) -> Iterator[RawLayer]:
    """Read one layer in batches, if the reader says that it is of one of some kinds of files."""
    with _reading(file):
        info = pyogrio.read_info(target, layer=name)
        if info["driver"] not in drivers:
            message = f"{file} is of the kind {info['driver']}, which is not read here; it was not opened further"
            raise SiteError(message)
        column_count = len(info["fields"])
        if column_count > MAX_COLUMNS:
            message = f"{file} has {column_count:,} columns, more than {MAX_COLUMNS:,}\nexport only those that are needed"
            raise SiteError(message)
        crs = CRS(info["crs"]) if info["crs"] else None
        most = min(BATCH_FEATURES, MAX_CELLS // max(1, column_count))
        start, count = 0, most
        while count == most:
            fields = pyogrio.read_dataframe(
                target, layer=name, force_2d=True, on_invalid="ignore", use_arrow=False,
                skip_features=start, max_features=most,
            )  # fmt: skip
            count = len(fields)
            shapes = np.full(count, None, dtype=object)
            if "geometry" in fields:
                shapes = np.asarray(fields["geometry"].array, dtype=object)
                fields = pd.DataFrame(fields.drop(columns="geometry"))
            yield RawLayer(called, fields.reset_index(drop=True), shapes, crs)
            start += count


@contextmanager
def _reading(file: str) -> Iterator[None]:
    """Turn what the reader raises into a sentence; what it warns of we check ourselves."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            yield
    except READER_ERRORS as err:
        message = (
            f"{file} cannot be read as a layer, it may be damaged\nexport it again, or take it out"
        )
        raise SiteError(message) from err


def refuse_many_layers(count: int, file: str) -> None:
    """Refuse a file of too many layers."""
    if count > MAX_LAYERS:
        message = f"{file} holds {count:,} layers, more than {MAX_LAYERS}\nexport only those that are needed"
        raise SiteError(message)
