"""
GeoJSON: read by ourselves, so that one bad feature spoils no other and ids stay as written.

Feature by feature, since parsed whole a file takes five times its size in memory.
"""

from __future__ import annotations

import codecs
import json
from collections.abc import Iterator
from json.decoder import JSONDecoder
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import shapely
from pyproj import CRS
from pyproj.exceptions import CRSError

from scanner.book.layers.raw import RawLayer
from scanner.errors import SiteError
from scanner.sheets.problems import Problem, fault, note, shown

WGS84 = CRS.from_epsg(4326)

BATCH_FEATURES = 5_000
CHUNK_BYTES = 4_000_000

_END_BYTES = 1_000_000
_SPACE = " \t\n\r"
_DECODER = JSONDecoder()

_Feature = tuple[Any, str]
"""A feature and its text."""


def stream_geojson(path: Path, file: str) -> Iterator[RawLayer]:
    """Read a GeoJSON file in batches of features, a shape that cannot be read as None; that it is none may come out at its end only."""
    try:
        yield from _stream(path, file)
    except UnicodeDecodeError as err:
        message = (
            f"{file}: the letters are not saved as UTF-8\nexport it again with the encoding UTF-8"
        )
        raise SiteError(message) from err
    except (json.JSONDecodeError, RecursionError) as err:
        message = f"{file} is no GeoJSON, whatever its name says; it was not opened further"
        raise SiteError(message) from err


def _stream(path: Path, file: str) -> Iterator[RawLayer]:
    late = _Members(path).read_all().members.get("crs") if _names_crs_late(path) else None
    document, count, named = _Members(path), 0, late
    members = document.members
    for features in document.batches():
        named = members.get("crs", late)
        crs, problems = _find_crs(named, file)
        yield _make_layer(features, crs, problems, (file, count))
        count += len(features)
    kind = members.get("type")
    if kind == "Feature" and not document.has_features:
        crs, problems = _find_crs(members.get("crs"), file)
        yield _make_layer([(members, json.dumps(members))], crs, problems, (file, 0))
    elif not document.is_object:
        message = f"{file} is no GeoJSON: a FeatureCollection is allowed"
        raise SiteError(message)
    elif kind != "FeatureCollection" or not document.has_features:
        message = f"{file} is no GeoJSON: its type is {shown(kind)}, a FeatureCollection is allowed"
        raise SiteError(message)
    elif members.get("crs") != named:
        message = (
            f"{file} names its coordinate system behind its features\nexport it again in WGS 84"
        )
        raise SiteError(message)


def _names_crs_late(path: Path) -> bool:
    """Tell whether a coordinate system may be named behind the features."""
    with path.open("rb") as stream:
        is_early = b'"crs"' in stream.read(_END_BYTES)
        stream.seek(max(0, path.stat().st_size - _END_BYTES))
        return (not is_early and b'"crs"' in stream.read()) or (
            is_early and stream.tell() <= _END_BYTES
        )


class _Members:
    """The members of a JSON object, read bit by bit; features come in batches of texts."""

    def __init__(self, path: Path) -> None:
        self.members = dict[str, Any]()
        self.has_features = self.is_object = False
        self._text, self._at, self._is_over = "", 0, False
        self._chunks = self._read(path)

    def read_all(self) -> _Members:
        """Pass over the features, for what stands behind them."""
        for _ in self.batches():
            pass
        return self

    def batches(self) -> Iterator[list[_Feature]]:
        """Yield features; of the members those are known that stand before them."""
        self.is_object = self._skip() == "{"
        if not self.is_object:
            self._value()
        while self.is_object and self._expect("{,}") != "}":
            # an object without members ends where the first one would begin
            if self._skip() == "}":
                continue
            name = str(self._value()[0])
            self._expect(":")
            if self._skip() == "[" and name == "features":
                self.has_features = True
                yield from self._features()
            else:
                self.members[name] = self._value()[0]
        if self._skip():
            self._fail("more than one document")

    def _features(self) -> Iterator[list[_Feature]]:
        features = list[_Feature]()
        while self._expect("[,]") != "]":
            if self._skip() == "]":
                continue
            features.append(self._value())
            if len(features) == BATCH_FEATURES:
                yield features
                features = []
        yield features

    def _expect(self, letters: str) -> str:
        """Step over one of some letters."""
        found = self._skip()
        if not found or found not in letters:
            self._fail(f"none of {letters}")
        self._at += 1
        return found

    def _value(self) -> tuple[Any, str]:
        """Read one value and its text, however long, where white space was passed over."""
        while True:
            try:
                value, end = _DECODER.raw_decode(self._text, self._at)
            except json.JSONDecodeError:
                if self._is_over:
                    raise
            else:
                # A number at the very end of what was read may go on
                if end < len(self._text) or self._is_over:
                    text, self._at = self._text[self._at : end], end
                    return value, text
            self._more()

    def _skip(self) -> str:
        """Pass over white space; the letter that follows, blank at the end."""
        while True:
            letter = self._text[self._at : self._at + 1]
            if letter and letter in _SPACE:
                self._at += 1
            elif letter or self._is_over:
                return letter
            else:
                self._more()

    def _more(self) -> None:
        chunk = next(self._chunks, None)
        self._is_over = chunk is None
        # Doubling keeps a value of many chunks from being read over and over
        while chunk is not None and len(chunk) < len(self._text) - self._at:
            following = next(self._chunks, None)
            if following is None:
                break
            chunk += following
        self._text, self._at = self._text[self._at :] + (chunk or ""), 0

    def _fail(self, why: str) -> None:
        raise json.JSONDecodeError(why, self._text, self._at)

    @staticmethod
    def _read(path: Path) -> Iterator[str]:
        decoder = codecs.getincrementaldecoder("utf-8-sig")()
        with path.open("rb") as stream:
            while chunk := stream.read(CHUNK_BYTES):
                yield decoder.decode(chunk)
        yield decoder.decode(b"", final=True)


def _make_layer(
    read: list[_Feature], crs: CRS | None, problems: list[Problem], place: tuple[str, int]
) -> RawLayer:
    """Make a layer of features; ``place`` is the file and how many came before."""
    features = [value if isinstance(value, dict) else {} for value, _ in read]
    texts = np.array([text for _, text in read], dtype=object)
    said = [feature.get("properties") for feature in features]
    fields = pd.DataFrame(
        [properties if isinstance(properties, dict) else {} for properties in said],
        index=range(len(features)),
        dtype=object,
    )
    has_shape = np.array([bool(feature.get("geometry")) for feature in features], dtype=bool)
    shapes = np.full(len(texts), None, dtype=object)
    shapes[has_shape] = shapely.from_geojson(texts[has_shape], on_invalid="ignore")
    # words beside the shape may be what could not be read
    lost = np.flatnonzero(has_shape & shapely.is_missing(shapes))
    alone = [json.dumps(features[at]["geometry"]) for at in lost.tolist()]
    shapes[lost] = shapely.from_geojson(np.array(alone, dtype=object), on_invalid="ignore")
    is_broken = has_shape & shapely.is_missing(shapes)
    file, before = place
    broken = [
        fault(
            file,
            f"feature {before + at + 1}",
            "the shape cannot be read (a ring that is not closed or has too few points, or no number); it is left out",
            "draw the feature again",
        )
        for at in np.flatnonzero(is_broken).tolist()
    ]
    # a shape that is told of as broken is not told of again as missing
    return RawLayer("", fields, shapes, crs, [*problems, *broken], is_broken)


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
