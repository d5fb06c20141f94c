"""
The features of a book by place: their words in memory, their shapes in one file on the disk.

A block of lots takes what lies in its windows, cut from what spans the city. In which order files
and features were read leaves no trace: they lie along a curve through the land, equals by content.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from scanner.schema.tables import ALONG, FEATURE_KINDS, FEATURES, FLAGS, UTILITIES, empty_table
from scanner.store.curve import along_curve
from scanner.store.parquet_tables import FILE_MODE, join_tables

WGS84 = "EPSG:4326"
_WORDS = {
    "kind": FEATURE_KINDS, "along": (*ALONG, ""), "what": (*UTILITIES, ""), "curbed": FLAGS, "parking": FLAGS,
    "drives_known": FLAGS,
}  # fmt: skip
ENDS = ["west", "south", "east", "north"]
CONTENT = [*_WORDS, "client_id", "pavement_ft", "dbh_in", "print"]
"""Columns that tell what a feature is, wherever it was read; of a block's land, `content` has their hash."""

_CHUNK = 4096
FT_PER_DEGREE = 362_700.0
"""Feet in a degree of latitude at the equator, where it is shortest; of longitude there more."""

CUT_VERTICES = 1000
"""A shape with more than this is cut to the windows that it is taken for."""

Rows = NDArray[np.intp]
Shapes = NDArray[np.object_]


@dataclass(frozen=True)
class Land:
    """The features of a book."""

    # columns of `FEATURES` but its shapes, `number` in its file in place of the id; `west south
    # east north` [degrees], `area` [square degrees] of outlines, `key` on the curve, `print` of its
    # content, `at` and `size` of its shape in the file [bytes]
    words: pd.DataFrame
    path: Path  # the file of shapes

    def shapes(self, rows: Rows) -> Shapes:
        """Read some shapes."""
        if not len(rows):
            return np.empty(0, dtype=object)
        whole = np.memmap(self.path, dtype=np.uint8, mode="r")
        at, size = (self.words[name].to_numpy()[rows].tolist() for name in ("at", "size"))
        pieces = [
            whole[start : start + length].tobytes() for start, length in zip(at, size, strict=True)
        ]
        return shapely.from_wkb(np.array(pieces, dtype=object))

    def take(self, rows: Rows) -> gpd.GeoDataFrame:
        """Give some features as a table `FEATURES`; its index tells the rows."""
        # Not the whole table's own way, which takes three times as long over a few rows
        columns: dict[str, Any] = {
            name: pd.array(self.words[name].array[rows], dtype=column.dtype)
            for name, column in FEATURES.columns.items() if name in self.words
        }  # fmt: skip
        ids = map("{}#{}".format, columns["file"], self.words["number"].array[rows])
        columns |= {"feature_id": pd.array([*ids], dtype="str"), "geometry": self.shapes(rows)}
        features = pd.DataFrame(columns, index=rows)
        return gpd.GeoDataFrame(features[[*FEATURES.columns]], geometry="geometry", crs=WGS84)

    def as_read(self, rows: Rows | None = None) -> Rows:
        """Put rows, or all, in the order in which they were read."""
        rows = np.arange(len(self.words)) if rows is None else rows
        some = self.words.iloc[rows]
        return rows[np.lexsort([some["number"], some["file"].cat.codes])]

    def part(self, windows: NDArray[np.float64]) -> Land:
        """Give the land round some windows, n rows of `ENDS` [degrees]."""
        return replace(self, words=self.words.iloc[self._around(windows)].reset_index(drop=True))

    @cached_property
    def _chunks(self) -> tuple[NDArray[np.float64], Rows, NDArray[np.float64], NDArray[np.float64]]:
        """Boxes, where each chunk of them begins, and the least and greatest ends of each chunk."""
        boxes = self.words[ENDS].to_numpy()
        starts = np.arange(0, len(boxes), _CHUNK)
        if not len(starts):
            return boxes, starts, boxes[:, :2], boxes[:, 2:]
        low = np.minimum.reduceat(boxes[:, :2], starts)
        return boxes, starts, low, np.maximum.reduceat(boxes[:, 2:], starts)

    def _around(self, windows: NDArray[np.float64]) -> Rows:
        """Find the features whose boxes meet the box round some windows."""
        boxes, starts, low, high = self._chunks
        if not len(starts) or not len(windows):
            return np.empty(0, dtype=np.intp)
        around = np.concatenate([windows[:, :2].min(axis=0), windows[:, 2:].max(axis=0)])
        chunks = np.flatnonzero(((low <= around[2:]) & (high >= around[:2])).all(axis=1))
        rows = (starts[chunks, None] + np.arange(_CHUNK)).ravel()
        rows = rows[rows < len(boxes)]
        mine = boxes[rows]
        return rows[((mine[:, :2] <= around[2:]) & (mine[:, 2:] >= around[:2])).all(axis=1)]

    def window(self, windows: NDArray[np.float64]) -> gpd.GeoDataFrame:
        """Give the features in some windows; what is far larger is cut to the box round them all."""
        if not len(rows := self._around(windows)):
            return no_features()
        rows = rows[meeting(self.words[ENDS].to_numpy()[rows], windows)]
        table = self.take(rows).reset_index(drop=True)
        shapes = table.geometry.to_numpy(copy=True)
        large = shapely.get_num_coordinates(shapes) > CUT_VERTICES
        if not large.any():
            return table
        box = shapely.box(*windows[:, :2].min(axis=0), *windows[:, 2:].max(axis=0))
        shapes[large] = shapely.intersection(shapes[large], box)
        table = table.assign(geometry=gpd.GeoSeries(shapes, crs=WGS84))
        return table[~shapely.is_empty(shapes)].reset_index(drop=True)

    def lots(self) -> pd.DataFrame:
        """Give the middle of each client's outline [degrees] and ``year_built``, by client id."""
        outlines = self.words[(self.words["kind"] == "property") & (self.words["client_id"] != "")]
        middles = outlines.assign(
            lon=outlines[["west", "east"]].mean(axis=1),
            lat=outlines[["south", "north"]].mean(axis=1),
        )
        return middles.groupby("client_id")[["lon", "lat", "year_built"]].mean()

    def owned(self, client_ids: NDArray[np.object_]) -> Land:
        """Say anew whose each feature is."""
        owners = pd.Series(client_ids, index=self.words.index, dtype="str")
        return replace(self, words=self.words.assign(client_id=owners))

    def without(self, rows: Rows) -> Land:
        """Leave some features out."""
        return replace(self, words=self.words.drop(self.words.index[rows]).reset_index(drop=True))

    def changed(self, before: gpd.GeoDataFrame, after: gpd.GeoDataFrame) -> Land:
        """Put in place what was made of features taken: words and shapes anew, or gone."""
        words = self.words.copy()
        rows = after.index.to_numpy()
        for name in ("client_id", "drives_known", "year_built"):
            words.loc[words.index[rows], name] = after[name].to_numpy()
        old = before.geometry.reindex(rows).to_numpy()
        is_new = np.array(
            [one is not other for one, other in zip(old, after.geometry, strict=True)], dtype=bool
        )
        put = _put(
            self.path, after.geometry.to_numpy()[is_new], after["kind"].to_numpy(object)[is_new]
        )
        words.loc[words.index[rows[is_new]], [*put.columns]] = put.to_numpy(object)
        land = replace(self, words=words)
        return land.without(before.index.difference(after.index).to_numpy())


class LandWriter:
    """Takes features in, table by table; a file that turns out damaged is taken back."""

    def __init__(self, path: Path, files: Collection[str]) -> None:
        path.unlink(missing_ok=True)
        path.touch(mode=FILE_MODE)
        self._path = path
        self._types = {name: pd.CategoricalDtype([*words]) for name, words in _WORDS.items()}
        self._types["file"] = pd.CategoricalDtype([*files])
        self._tables = list[pd.DataFrame]()
        self._waiting, self._waiting_count = list[tuple[pd.DataFrame, Shapes]](), 0

    def add(self, words: pd.DataFrame, shapes: Shapes) -> None:
        """Take features in: columns of `FEATURES` but their shapes, ``number`` in place of the id."""
        self._waiting.append((words, shapes))
        self._waiting_count += len(words)
        if self._waiting_count >= _CHUNK:
            self._put_away()

    def _put_away(self) -> None:
        # Many small files take as long as one
        if self._waiting:
            tables, shapes = zip(*self._waiting, strict=True)
            words = join_tables(tables)
            put = _put(self._path, np.concatenate(shapes), words["kind"].to_numpy(object))
            self._tables.append(words.astype(self._types).assign(**put))
            self._waiting, self._waiting_count = [], 0

    def take_back(self, file: str) -> None:
        """Forget what came from a file."""
        self._put_away()
        self._tables = [table[table["file"] != file] for table in self._tables]

    def close(self) -> Land:
        """Put the features in order."""
        if not (self._tables or self._waiting):
            self.add(*_bare(no_features()))
        self._put_away()
        words = join_tables(self._tables)
        order = np.lexsort([words["print"], words["kind"].cat.codes, words["key"]])
        return Land(words.iloc[order].reset_index(drop=True), self._path)


def store_features(features: gpd.GeoDataFrame, path: Path) -> Land:
    """Put a table `FEATURES` into a file by place."""
    writer = LandWriter(path, features["file"].unique())
    writer.add(*_bare(features))
    return writer.close()


def _bare(features: gpd.GeoDataFrame) -> tuple[pd.DataFrame, Shapes]:
    digits = features["feature_id"].astype("str").str.extract(r"#(\d+)$", expand=False)
    words = pd.DataFrame(features.drop(columns=["geometry", "feature_id"]))
    numbers = digits.fillna("0").astype("int64")
    return words.assign(number=numbers), features.geometry.to_numpy()


def meeting(boxes: NDArray[np.float64], windows: NDArray[np.float64]) -> Rows:
    """Tell which boxes meet any window, both n rows of `ENDS`."""
    tree = shapely.STRtree(shapely.box(*windows.T))
    return np.unique(tree.query(shapely.box(*boxes.T))[0])


def widen(boxes: NDArray[np.float64], reach_ft: float) -> NDArray[np.float64]:
    """Widen boxes [degrees] on all sides by at least a distance [ft]."""
    north = reach_ft / FT_PER_DEGREE
    middle = np.radians(np.abs(boxes[:, [1, 3]]).max(axis=1, initial=0.0) + north)
    east = north / np.cos(middle)
    return boxes + np.column_stack(
        [-east, np.full(len(boxes), -north), east, np.full(len(boxes), north)]
    )


@dataclass(frozen=True)
class Built:
    """Beds that were built, by place."""

    beds: pd.DataFrame
    boxes: NDArray[np.float64]

    @classmethod
    def of(cls, stored: pd.DataFrame) -> Built:
        """List those of table `STORED_BEDS` (``shape`` as WKB) that have a shape."""
        beds = stored[stored["built_on"] != ""]
        boxes = shapely.bounds(shapely.from_wkb(beds["shape"].to_numpy(object))).reshape(-1, 4)
        is_drawn = np.isfinite(boxes).all(axis=1)
        return cls(beds[is_drawn], boxes[is_drawn])

    def near(self, windows: NDArray[np.float64]) -> pd.DataFrame:
        """Give those that meet any window."""
        return self.beds.iloc[meeting(self.boxes, windows)] if len(windows) else self.beds[:0]


def no_features() -> gpd.GeoDataFrame:
    """Make a table `FEATURES` without rows."""
    return gpd.GeoDataFrame(empty_table(FEATURES), geometry="geometry", crs=WGS84)


def _put(path: Path, shapes: Shapes, kinds: Shapes) -> pd.DataFrame:
    """Write shapes behind the others; where each lies, in the file and on the land."""
    wkb = shapely.to_wkb(shapes)
    size = np.fromiter(map(len, wkb), dtype=np.int64, count=len(wkb))
    with path.open("ab") as stream:
        start = stream.tell()
        stream.write(b"".join(wkb))
    boxes = shapely.bounds(shapes).reshape(-1, 4)
    middle = (boxes[:, :2] + boxes[:, 2:]) / 2
    is_outline = kinds == "property"
    if is_outline.any():
        middle[is_outline] = shapely.get_coordinates(shapely.centroid(shapes[is_outline]))
    return pd.DataFrame(boxes, columns=ENDS).assign(
        area=np.where(is_outline, shapely.area(shapes), np.nan),
        key=along_curve(*middle.T),
        print=pd.util.hash_array(wkb),
        at=start + np.cumsum(size) - size,
        size=size,
    )
