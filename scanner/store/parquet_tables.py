"""
Tables on disk, as Parquet with shapes as WKB: what comes back equals what was put away.

They are working files, never a book's own: whoever deletes them loses nothing but time.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TypeAlias

import geopandas as gpd
import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
import shapely

from scanner.schema.documents import PART_TABLES

FILE_MODE, FOLDER_MODE = 0o600, 0o700
"""Names, addresses and phone numbers are nobody else's on a shared machine."""

Tables = dict[str, pd.DataFrame]

AnyTable: TypeAlias = pd.DataFrame | pa.Table

_SHAPES, _CRS = b"shapes", b"crs"


@dataclass(frozen=True)
class StoredTables(Mapping[str, pd.DataFrame]):
    """`PART_TABLES` in one folder, each read when it is asked for."""

    folder: Path  # where they lie, one file a table

    def __getitem__(self, name: str) -> pd.DataFrame:
        if name not in PART_TABLES:
            raise KeyError(name)
        return read_table(self.folder / f"{name}.parquet")

    def __iter__(self) -> Iterator[str]:
        return iter(PART_TABLES)

    def __len__(self) -> int:
        return len(PART_TABLES)


def make_private(folder: Path) -> Path:
    """Make a folder that only its owner may look into."""
    folder.mkdir(mode=FOLDER_MODE, parents=True, exist_ok=True)
    return folder


def write_tables(tables: Mapping[str, AnyTable], folder: Path) -> None:
    """Put tables away in a folder of their own."""
    make_private(folder)
    for name, table in tables.items():
        write_table(table, folder / f"{name}.parquet")


def join_tables(tables: Sequence[pd.DataFrame]) -> pd.DataFrame:
    """Put tables of one kind, at least one, below each other; those without rows add nothing."""
    filled = [table for table in tables if len(table)] or tables[:1]
    return pd.concat(filled, ignore_index=True)


def join_arrow(tables: Sequence[pa.Table]) -> pa.Table:
    """Put arrow tables of one kind, at least one, below each other; those without rows tell nothing of types."""
    filled = [table for table in tables if len(table)] or [*tables[:1]]
    return pa.concat_tables(filled, promote_options="default")


def write_table(table: AnyTable, path: Path) -> None:
    """Put a table away; columns of shapes become WKB."""
    path.touch(mode=FILE_MODE)
    arrow = table if isinstance(table, pa.Table) else as_arrow(table)
    # A small table is written in a third of the time that the tightest packing takes, and read in half
    pq.write_table(arrow, path, compression="lz4", use_dictionary=False, write_page_checksum=True)


def read_table(path: Path, columns: Collection[str] | None = None) -> pd.DataFrame:
    """Read a table that `write_table` put away, or some of its columns."""
    return from_arrow(read_arrow(path, columns))


def read_arrow(path: Path, columns: Collection[str] | None = None) -> pa.Table:
    """Read a table as it was put away, shapes as WKB: what is handed on needs no more."""
    some = None if columns is None else [*columns]
    # Not `read_table`, which sets a whole data set up for one file: 2 ms a table.
    with pq.ParquetFile(path, page_checksum_verification=True) as file:
        return file.read(columns=some)


def as_arrow(table: pd.DataFrame) -> pa.Table:
    """Turn a table into arrow, columns of shapes into WKB."""
    names = [str(name) for name, dtype in table.dtypes.items() if dtype == "geometry"]
    # Not the library's own way from a whole table, which takes three times as long over a few rows
    columns = {
        str(name): pa.array(shapely.to_wkb(np.asarray(column, dtype=object)), pa.binary())
        if name in names else pa.array(column, from_pandas=True)
        for name, column in table.items()
    }  # fmt: skip
    crs = getattr(table, "crs", None) if isinstance(table, gpd.GeoDataFrame) else None
    more = {_SHAPES: "|".join(names).encode(), _CRS: b"EPSG:4326" if crs else b""}
    return pa.table(columns, metadata=more)


def from_arrow(arrow: pa.Table) -> pd.DataFrame:
    """Turn arrow back into the table that `as_arrow` was given."""
    told = arrow.schema.metadata or {}
    names = [
        name for name in told.get(_SHAPES, b"").decode().split("|") if name in arrow.column_names
    ]
    plain = arrow.drop_columns(names).to_pandas()
    if not names:
        return plain
    crs = told.get(_CRS, b"").decode() or None
    shapes = {
        name: gpd.GeoSeries(shapely.from_wkb(arrow[name].to_numpy()), index=plain.index, crs=crs)
        for name in names
    }
    table = plain.assign(**shapes)[arrow.column_names]
    return gpd.GeoDataFrame(table, geometry="geometry") if "geometry" in names else table
