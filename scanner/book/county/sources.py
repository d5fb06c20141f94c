"""One layer out of a county's file, whatever vector format it comes in."""

from __future__ import annotations

import re
import zipfile
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import shapely

from scanner.book.county.layer_columns import list_names
from scanner.book.layers.formats import look_at_database, look_at_markup, stream_layers
from scanner.book.layers.geojson_reader import WGS84
from scanner.book.layers.one_layer import RawLayer, join_batches, list_layers, read_layer
from scanner.errors import SiteError
from scanner.store.strange_database import MARK

MAX_DEGREES = 360.0
"""Coordinates beyond this are no degrees, whatever the file declares."""

_HEAD_BYTES = 4096
_REFERENCES = (
    b"<ogrvrt",
    b"<vrtdataset",
    b"<gdal_",
    b"<ogrwfs",
    b"gdal_streamed_alg",
    b"<!entity",
    b"gdal raster",
    b"gdal vector",
)
"""How files begin that describe other files or servers instead of holding features."""

_PLAIN_DRIVERS = frozenset({
    "ESRI Shapefile", "FlatGeobuf", "GML", "GPKG", "GeoJSON", "KML", "LIBKML", "MapInfo File", "OpenFileGDB", "Parquet",
    "SQLite",
})  # fmt: skip
"""Formats of the reader that hold their features themselves; each is tried in the tests."""

_EXPORT = "export it again from the county's site with its coordinate system (.prj)"


@dataclass(frozen=True)
class Source:
    """Where a layer lies."""

    path: Path  # file, or folder of a file geodatabase
    layer: str = ""  # layer in it; blank where it has one only

    @property
    def name(self) -> str:
        """Name the source in messages."""
        return f"{self.path.name}#{self.layer}" if self.layer else self.path.name


def read_source(source: Source) -> RawLayer:
    """Read one layer, with its shapes in their own coordinates; None where a single one cannot be read."""
    layer = _open(source)
    if not len(layer.fields):
        message = f"{source.name} holds no feature: name a layer that does, or leave it out"
        raise SiteError(message)
    if layer.crs is None:
        message = (
            f"{source.name} declares no coordinate system, so nobody knows where it lies: {_EXPORT}"
        )
        raise SiteError(message)
    _refuse_false_degrees(layer, source)
    return layer


def _open(source: Source) -> RawLayer:
    path, file = source.path, source.path.name
    if path.is_dir():
        return _read_with(source, str(path))
    with path.open("rb") as stream:
        head = stream.read(_HEAD_BYTES).lower()
    if not head.strip():
        message = f"{file} is empty: export it again from the county's site"
        raise SiteError(message)
    if any(mark in head for mark in _REFERENCES):
        message = (
            f"{file} leads to other files or servers instead of holding features; it was not opened"
        )
        raise SiteError(message)
    if head.startswith(MARK.lower()):
        look_at_database(path, file)
    elif head.lstrip(b"\xef\xbb\xbf\xff\xfe\0 \t\r\n").startswith(b"<"):
        look_at_markup(path, file)
    suffix = path.suffix.lower()
    if suffix == ".zip" and (folder := _geodatabase_in(path)):
        return _read_with(source, f"/vsizip/{path.resolve().as_posix()}/{folder}")
    if suffix in (".geojson", ".zip", ".parquet") or (
        suffix == ".json" and b"featurecollection" in head
    ):
        layers = {_own_name(layer): layer for layer in join_batches(stream_layers(path, file))}
        return layers[_choose([*layers], source)]
    return _read_with(source, str(path))


def _geodatabase_in(path: Path) -> str:
    try:
        with zipfile.ZipFile(path) as archive:
            found = {
                re.sub(r"(?i)(\.gdb)/.*", r"\1", name)
                for name in archive.namelist()
                if ".gdb/" in name.lower()
            }
    except zipfile.BadZipFile:
        return ""
    return min(found, default="")


def _read_with(source: Source, target: str) -> RawLayer:
    file = source.path.name
    notes = source.path.with_suffix(".gfs")
    is_theirs = notes.exists()
    try:
        name = _choose(list_layers(target, file), source)
        return join_batches(read_layer(target, name, file, _PLAIN_DRIVERS, called=name))[0]
    finally:
        if not is_theirs:  # the reader of GML leaves its notes beside the file
            notes.unlink(missing_ok=True)


def _own_name(layer: RawLayer) -> str:
    """Call a Shapefile in a zip by its own name, without folder and ending."""
    return layer.name.removesuffix(".shp").rpartition("/")[2]


def _choose(names: list[str], source: Source) -> str:
    """Choose the layer that is wanted: the one named, or the only one."""
    fitting = [name for name in names if source.layer in ("", name)]
    if len(fitting) == 1:
        return fitting[0]
    file = source.path.name
    if source.layer:
        message = (
            f"{file} has no layer '{source.layer}'; the layers that are there: {list_names(names)}"
        )
    else:
        message = f"{file} has several layers; name one, as {file}#{(names or ['parcels'])[0]}: {list_names(names)}"
    raise SiteError(message)


def _refuse_false_degrees(layer: RawLayer, source: Source) -> None:
    crs = layer.crs or WGS84
    points = shapely.get_coordinates(layer.shapes[~shapely.is_missing(layer.shapes)])
    if not crs.is_geographic or not len(points):
        return
    is_false = ~(np.abs(points) <= MAX_DEGREES).all(axis=1)
    if is_false.mean() > 0.5:  # noqa: PLR2004  # more than half: the layer, not a slip in a feature
        x, y = points[np.flatnonzero(is_false)[0]]
        message = (
            f"{source.name} says that its coordinates are degrees, and they can't be (one is {x:,.1f}, {y:,.1f}): "
            f"{_EXPORT}"
        )
        raise SiteError(message)
