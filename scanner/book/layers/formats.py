"""Files of site features, told by what they hold and not by what they are called."""

from __future__ import annotations

import shutil
import tempfile
import zipfile
import zlib
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path, PurePosixPath

import pyogrio

from scanner.book.layers.geojson_reader import stream_geojson
from scanner.book.layers.geoparquet import stream_geoparquet
from scanner.book.layers.one_layer import RawLayer, read_layers, refuse_many_layers
from scanner.errors import SiteError
from scanner.store.ceilings import (
    MAX_KML_BYTES,
    MAX_LAYER_BYTES,
    MAX_LAYERS,
    MAX_RATIO,
    most_unpacked,
)
from scanner.store.markup import MarkupError, look_through
from scanner.store.strange_database import MARK, strange_in

_HEAD_BYTES = 4096
_SHAPEFILE_PARTS = (".shp", ".shx", ".dbf", ".prj", ".cpg")
_SHAPEFILE_START = b"\x00\x00\x27\x0a"
_GEOPACKAGE_MARK = slice(68, 70)
"""Where an SQLite file says what it is used for; a GeoPackage has GP there (GPKG, GP10, GP11)."""

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


def _open_flatgeobuf(path: Path, file: str) -> Iterator[RawLayer]:
    yield from read_layers(path, file, ("FlatGeobuf",))


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
    except (
        zipfile.BadZipFile,
        zlib.error,
        NotImplementedError,
        RuntimeError,
        EOFError,
        OSError,
    ) as err:
        message = (
            f"{file} is no zip that can be unpacked\nzip the Shapefile anew, without a password"
        )
        raise SiteError(message) from err


def _refuse_bomb(members: list[zipfile.ZipInfo], packed_bytes: int, file: str) -> None:
    unpacked_bytes = sum(member.file_size for member in members)
    most = most_unpacked(packed_bytes, MAX_RATIO, MAX_LAYER_BYTES)
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
    stems = sorted(stem for stem, found in parts.items() if ".shp" in found)
    refuse_many_layers(len(stems), "it")
    for number, stem in enumerate(stems):
        for suffix, member in parts[stem].items():
            place = folder / f"{number}{suffix}"
            with archive.open(member) as part, place.open("wb") as copy:
                shutil.copyfileobj(part, copy)
            if suffix == ".shp" and not _begins_with(place, _SHAPEFILE_START):
                message = f"{stem}.shp in it is no Shapefile, whatever its name says"
                raise SiteError(message)
        shapefiles.append((f"{stem}.shp", folder / f"{number}.shp"))
    return shapefiles


def _begins_with(path: Path, mark: bytes) -> bool:
    with path.open("rb") as stream:
        return stream.read(len(mark)) == mark


def _read_shapefile(path: Path, file: str, name: str) -> Iterator[RawLayer]:
    if not path.with_suffix(".dbf").exists():
        message = f"{file}: its .dbf is missing, so no feature has a kind\nzip the .shp, .shx, .dbf and .prj into one"
        raise SiteError(message)
    # without .shx the reader gives up unless it may build the index again, in our own folder
    pyogrio.set_gdal_config_options({"SHAPE_RESTORE_SHX": "YES"})
    try:
        for layer in read_layers(path, file, ("ESRI Shapefile",)):
            yield replace(layer, name=name)
    finally:
        pyogrio.set_gdal_config_options({"SHAPE_RESTORE_SHX": None})


def _open_kml(path: Path, file: str) -> Iterator[RawLayer]:
    if (size := path.stat().st_size) > MAX_KML_BYTES:
        message = f"{file} is {size:,} bytes, more than {MAX_KML_BYTES:,}\nexport it as GeoJSON or GeoPackage"
        raise SiteError(message)
    look_at_markup(path, file)
    yield from read_layers(path, file, ("KML", "LIBKML"))


def look_at_markup(path: Path, file: str) -> None:
    """Refuse XML that leads elsewhere or is made to take a reader's memory."""
    try:
        with path.open("rb") as stream:
            look_through(stream, {("", "Folder"): (MAX_LAYERS, "folders")})
    except MarkupError as err:
        message = f"{file} {err}; it was not opened\nexport it again"
        raise SiteError(message) from err


def look_at_database(path: Path, file: str) -> None:
    """Refuse a database that does more than hold rows."""
    if strange := strange_in(path):
        message = (
            f"{file} {strange}; it was not opened further\nexport its layers again as plain tables"
        )
        raise SiteError(message)


def _open_geopackage(path: Path, file: str) -> Iterator[RawLayer]:
    look_at_database(path, file)
    yield from read_layers(path, file, ("GPKG",))


def _is_geopackage(head: bytes) -> bool:
    return head.startswith(MARK) and head[_GEOPACKAGE_MARK] == b"GP"


_OPENERS: dict[
    str, tuple[Callable[[Path, str], Iterator[RawLayer]], Callable[[bytes], bool], str]
] = {
    ".geojson": (stream_geojson, lambda _: True, "GeoJSON"),  # its own reader looks at all of it
    ".json": (stream_geojson, lambda _: True, "GeoJSON"),
    ".gpkg": (_open_geopackage, _is_geopackage, "GeoPackage"),
    ".zip": (_open_zip, lambda head: head.startswith(b"PK"), "zip"),
    ".kml": (_open_kml, lambda head: b"<kml" in head.lower(), "KML"),
    ".fgb": (_open_flatgeobuf, lambda head: head.startswith(b"fgb\x03"), "FlatGeobuf"),
    ".parquet": (stream_geoparquet, lambda head: head.startswith(b"PAR1"), "GeoParquet"),
}
