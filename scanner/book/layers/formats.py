"""Files of site features, told by what they hold and not by what they are called."""

from __future__ import annotations

import tempfile
import warnings
import zipfile
from collections.abc import Callable, Collection, Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path, PurePosixPath

import numpy as np
import pandas as pd
import pyogrio
from pyogrio.errors import DataLayerError, DataSourceError
from pyproj import CRS
from pyproj.exceptions import ProjError
from shapely.errors import ShapelyError

from scanner.book.layers.geojson_reader import stream_geojson
from scanner.book.layers.geoparquet import stream_geoparquet
from scanner.book.layers.raw import RawLayer
from scanner.errors import SiteError

MAX_UNPACKED_BYTES = 2_000_000_000
MAX_UNPACKED_RATIO = 200
"""A zip that unpacks to more bytes than this, or to more than this many times its size, is refused."""

_SMALL_BYTES = 10_000_000
"""Below this nobody is harmed, whatever the ratio."""

_HEAD_BYTES = 4096
BATCH_FEATURES = 50_000
_SHAPEFILE_PARTS = (".shp", ".shx", ".dbf", ".prj", ".cpg")
_SHAPEFILE_START = b"\x00\x00\x27\x0a"
_GEOPACKAGE_MARK = slice(68, 70)
"""Where an SQLite file says what it is used for; a GeoPackage has GP there (GPKG, GP10, GP11)."""

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

FORMATS = (".geojson", ".json", ".gpkg", ".zip", ".kml", ".fgb", ".parquet")
FORMAT_WORDS = (
    "GeoJSON (.geojson), GeoPackage (.gpkg), zipped Shapefile (.zip), KML (.kml), FlatGeobuf (.fgb), "
    "GeoParquet (.parquet)"
)


def stream_layers(path: Path, file: str) -> Iterator[RawLayer]:
    """Read one file of site features in batches, layer by layer; what is wrong with it may come out at its end only.

    The content decides: a file that is not what its name says is refused before any reader opens
    it, since a reader might follow what it describes to other files.
    """
    try:
        with path.open("rb") as stream:
            head = stream.read(_HEAD_BYTES)
    except OSError as err:
        message = f"{file} cannot be opened ({err.strerror})\nmake it readable, or close the program that holds it"
        raise SiteError(message) from err
    if not head.strip():
        message = f"{file} is empty"
        raise SiteError(message)
    opened, is_so, what = _OPENERS[path.suffix.lower()]
    if not is_so(head):
        message = f"{file} is no {what}, whatever its name says; it was not opened"
        raise SiteError(message)
    yield from opened(path, file)


def _open_with(*drivers: str) -> Callable[[Path, str], Iterator[RawLayer]]:
    def opened(path: Path, file: str) -> Iterator[RawLayer]:
        return _read_layers(path, file, drivers)

    return opened


def _open_zip(path: Path, file: str) -> Iterator[RawLayer]:
    try:
        with zipfile.ZipFile(path) as archive, tempfile.TemporaryDirectory() as folder:
            members = [member for member in archive.infolist() if not member.is_dir()]
            _refuse_bomb(members, path.stat().st_size, file)
            shapefiles = _unpack(archive, members, Path(folder))
            if not shapefiles:
                message = f"{file} holds no Shapefile: no .shp in it"
                raise SiteError(message)
            for name, shapefile in shapefiles:
                called = name if len(shapefiles) > 1 else ""
                yield from _read_shapefile(shapefile, f"{file}/{name}", called)
    except (zipfile.BadZipFile, NotImplementedError, RuntimeError, EOFError, OSError) as err:
        message = (
            f"{file} is no zip that can be unpacked\nzip the Shapefile anew, without a password"
        )
        raise SiteError(message) from err


def _refuse_bomb(members: list[zipfile.ZipInfo], packed_bytes: int, file: str) -> None:
    unpacked_bytes = sum(member.file_size for member in members)
    most = min(MAX_UNPACKED_BYTES, max(_SMALL_BYTES, MAX_UNPACKED_RATIO * packed_bytes))
    if unpacked_bytes > most:
        message = (
            f"{file} is {packed_bytes:,} bytes and unpacks to {unpacked_bytes:,}; "
            f"{most:,} is allowed, so it was not unpacked\nzip the layers anew, only those that are needed"
        )
        raise SiteError(message)


def _unpack(
    archive: zipfile.ZipFile, members: list[zipfile.ZipInfo], folder: Path
) -> list[tuple[str, Path]]:
    """Unpack each shapefile's parts under names of our own, so that no path leads astray."""
    parts: dict[str, dict[str, zipfile.ZipInfo]] = {}
    for member in members:
        inner = PurePosixPath(member.filename.replace("\\", "/"))
        if inner.suffix.lower() in _SHAPEFILE_PARTS and not inner.name.startswith("."):
            parts.setdefault(str(inner.with_suffix("")), {})[inner.suffix.lower()] = member
    shapefiles = []
    for number, stem in enumerate(sorted(stem for stem, found in parts.items() if ".shp" in found)):
        for suffix, member in parts[stem].items():
            part = archive.read(member)
            if suffix == ".shp" and not part.startswith(_SHAPEFILE_START):
                message = f"{stem}.shp in it is no Shapefile, whatever its name says"
                raise SiteError(message)
            (folder / f"{number}{suffix}").write_bytes(part)
        shapefiles.append((f"{stem}.shp", folder / f"{number}.shp"))
    return shapefiles


def _read_shapefile(path: Path, file: str, name: str) -> Iterator[RawLayer]:
    if not path.with_suffix(".dbf").exists():
        message = f"{file}: its .dbf is missing, so no feature has a kind\nzip the .shp, .shx, .dbf and .prj into one"
        raise SiteError(message)
    # without .shx the reader gives up unless it may build the index again, in our own folder
    pyogrio.set_gdal_config_options({"SHAPE_RESTORE_SHX": "YES"})
    try:
        for layer in _read_layers(path, file, ("ESRI Shapefile",)):
            yield replace(layer, name=name)
    finally:
        pyogrio.set_gdal_config_options({"SHAPE_RESTORE_SHX": None})


def _read_layers(path: Path, file: str, drivers: Collection[str]) -> Iterator[RawLayer]:
    names = list_layers(path, file)
    for name in names:
        yield from read_layer(path, name, file, drivers, called="" if len(names) == 1 else name)


def list_layers(target: Path | str, file: str) -> list[str]:
    """List the layers of a file by name."""
    with _reading(file):
        return [str(name) for name in pyogrio.list_layers(target)[:, 0]]


def read_layer(
    target: Path | str, name: str, file: str, drivers: Collection[str], *, called: str
) -> Iterator[RawLayer]:
    """Read one layer in batches, if the reader says that it is of one of some kinds of files."""
    with _reading(file):
        info = pyogrio.read_info(target, layer=name)
        if info["driver"] not in drivers:
            message = f"{file} is of the kind {info['driver']}, which is not read here; it was not opened further"
            raise SiteError(message)
        crs = CRS(info["crs"]) if info["crs"] else None
        start, count = 0, BATCH_FEATURES
        while count == BATCH_FEATURES:
            fields = pyogrio.read_dataframe(
                target, layer=name, force_2d=True, on_invalid="ignore", use_arrow=False,
                skip_features=start, max_features=BATCH_FEATURES,
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


def _open_kml(path: Path, file: str) -> Iterator[RawLayer]:
    text = path.read_bytes().lower()
    # a document type may define names that blow up or lead to other files; KML needs none
    if b"<!doctype" in text or b"<!entity" in text:
        message = (
            f"{file} defines a document type of its own, which KML does not need; it was not opened"
        )
        raise SiteError(message)
    yield from _read_layers(path, file, ("KML", "LIBKML"))


def _is_geopackage(head: bytes) -> bool:
    return head.startswith(b"SQLite format 3\0") and head[_GEOPACKAGE_MARK] == b"GP"


_OPENERS: dict[
    str, tuple[Callable[[Path, str], Iterator[RawLayer]], Callable[[bytes], bool], str]
] = {
    ".geojson": (stream_geojson, lambda _: True, "GeoJSON"),  # its own reader looks at all of it
    ".json": (stream_geojson, lambda _: True, "GeoJSON"),
    ".gpkg": (_open_with("GPKG"), _is_geopackage, "GeoPackage"),
    ".zip": (_open_zip, lambda head: head.startswith(b"PK"), "zip"),
    ".kml": (_open_kml, lambda head: b"<kml" in head.lower(), "KML"),
    ".fgb": (_open_with("FlatGeobuf"), lambda head: head.startswith(b"fgb\x03"), "FlatGeobuf"),
    ".parquet": (stream_geoparquet, lambda head: head.startswith(b"PAR1"), "GeoParquet"),
}
