"""Layers of a file, one by one and in batches, as the reader of vector files gives them."""

from __future__ import annotations

import warnings
from collections.abc import Collection, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from itertools import groupby
from pathlib import Path

import numpy as np
import pandas as pd
import pyogrio
from numpy.typing import NDArray
from pyogrio.errors import DataLayerError, DataSourceError
from pyproj import CRS
from pyproj.exceptions import ProjError
from shapely.errors import ShapelyError

from scanner.errors import SiteError
from scanner.sheets.problems import Problem
from scanner.store.ceilings import MAX_CELLS, MAX_COLUMNS, MAX_LAYERS


@dataclass(frozen=True)
class RawLayer:
    """One layer of a file as it was read, or a batch of its features."""

    name: str  # blank where a file has one layer only
    fields: pd.DataFrame  # one row a feature, whatever columns the file has
    shapes: NDArray[np.object_]  # in the layer's own coordinates; None where there is none
    crs: CRS | None  # None where the file declares none
    problems: list[Problem] = field(default_factory=list)  # found while reading
    is_told: NDArray[np.bool_] | bool = False  # whether a problem row tells of the shape already


def join_batches(batches: Iterable[RawLayer]) -> list[RawLayer]:
    """Make whole layers of batches that follow one another."""
    layers = list[RawLayer]()
    for _, group in groupby(batches, key=lambda batch: batch.name):
        several = list(group)
        told = [np.broadcast_to(batch.is_told, len(batch.shapes)) for batch in several]
        layers.append(
            replace(
                several[0],
                fields=pd.concat([batch.fields for batch in several], ignore_index=True),
                shapes=np.concatenate([batch.shapes for batch in several]),
                problems=[problem for batch in several for problem in batch.problems],
                is_told=np.concatenate(told),
            )
        )
    return layers


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
