"""
What earlier scans left beside a book, by lot: found again while all that it was made from stays.

Each lot rests under prints of what it was made from, the program included. Whatever cannot be
read any more is as if it were not there.
"""

from __future__ import annotations

import os
import shutil
from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from pathlib import Path

import numpy as np
import pandas as pd
import pyarrow as pa
from numpy.typing import NDArray

from scanner.store.land import Land
from scanner.store.parquet_tables import (
    AnyTable,
    join_arrow,
    make_private,
    read_arrow,
    read_table,
    write_table,
)
from scanner.store.prints import print_of, seal_of

PRINTS = ("rules", "ground", "names", "rates", "offer", "block")
KEYS = "keys"
"""Table of a part: `client_id` and `PRINTS` of its lots; written last, so that it stands for the rest."""

UNREADABLE = (OSError, pa.ArrowException, KeyError)


NOTHING = print_of(b"")
"""Print of no rows."""


def hash_rows(table: pd.DataFrame) -> NDArray[np.uint64]:
    """Hash each row of a table, whatever its place."""
    return np.asarray(pd.util.hash_pandas_object(table, index=False), dtype=np.uint64)


Hashed = tuple[NDArray[np.object_], NDArray[np.uint64]]
"""Whose each row of a table is, and its hash."""


def hash_owned(table: pd.DataFrame) -> Hashed:
    """Hash each row of a table that has a ``client_id``."""
    return table["client_id"].to_numpy(object), hash_rows(table)


def print_rows(tables: Sequence[Hashed], client_ids: NDArray[np.object_]) -> NDArray[np.object_]:
    """Print, for each client, his rows in some tables, in whatever order they stand."""
    owners = pd.Index(np.concatenate([owners for owners, _ in tables]))
    owner = pd.Index(client_ids).get_indexer(owners)
    hashes = np.concatenate([own for _, own in tables])
    order = np.lexsort((hashes, owner))
    ends = np.searchsorted(owner[order], np.arange(len(client_ids) + 1))
    rows_of = np.split(hashes[order], ends)[1:-1]
    return np.array([print_of(own.tobytes()) for own in rows_of], dtype=object)


def list_kept(folders: Iterable[Path]) -> pd.DataFrame:
    """List the lots that earlier scans left, newest scan first.

    `KEYS`, with the ``folder`` of their part and how many ``lots`` that has.
    """
    columns = {name: pd.Series(dtype="str") for name in ("client_id", *PRINTS, "folder")}
    tables = [pd.DataFrame({**columns, "lots": pd.Series(dtype="int64")})]
    for folder in folders:
        for path in sorted(folder.glob(f"*/{KEYS}.parquet")):
            try:
                lots = read_table(path)
                tables.append(lots.assign(folder=str(path.parent), lots=len(lots)))
            except UNREADABLE:
                continue
    return pd.concat(tables, ignore_index=True).drop_duplicates("client_id", ignore_index=True)


def read_kept(
    kept: pd.DataFrame, names: Collection[str]
) -> tuple[dict[str, pa.Table], NDArray[np.object_]]:
    """Read tables of some lots that were listed, and tell whose; nothing of nobody where there are none, or a part is gone."""
    found = defaultdict[str, list[pa.Table]](list)
    try:
        for folder, lots in kept.groupby("folder"):
            place = Path(str(folder))
            part = {name: read_arrow(place / f"{name}.parquet") for name in names}
            if any("client_id" not in table.column_names for table in part.values()):
                part["offer_beds"] = read_arrow(place / "offer_beds.parquet")
            for name in names:
                is_asked = owners_of(name, part).isin(lots["client_id"])
                found[name].append(part[name].filter(pa.array(is_asked)))
    except UNREADABLE:
        return {}, kept["client_id"].to_numpy(object)[:0]
    tables = {name: join_arrow(rows) for name, rows in found.items()}
    return tables, kept["client_id"].to_numpy(object)


def owners_of(name: str, tables: Mapping[str, AnyTable]) -> pd.Series:
    """Tell whose each row of a part's table is."""
    table = tables[name]
    if "client_id" in (table if isinstance(table, pd.DataFrame) else table.column_names):
        return _column(table, "client_id")
    offers = {at: _column(tables["offer_beds"], at) for at in ("offer_id", "client_id")}
    of_offer = pd.DataFrame(offers).drop_duplicates("offer_id").set_index("offer_id")["client_id"]
    return _column(table, "offer_id").map(of_offer)


def _column(table: AnyTable, name: str) -> pd.Series:
    return table[name] if isinstance(table, pd.DataFrame) else table[name].to_pandas()


def link_part(source: Path, target: Path, names: Iterable[str]) -> None:
    """Let the tables of a part that has not changed stand in another folder, too."""
    make_private(target)
    for name in names:
        link(source / f"{name}.parquet", target / f"{name}.parquet")


def link(source: Path, target: Path) -> None:
    """Let a file stand in a second place, too; on a disk without links, a copy."""
    try:
        os.link(source, target)
    except (OSError, NotImplementedError):
        shutil.copy2(source, target)


LAND, LAND_PROBLEMS = "land.parquet", "land_problems.parquet"


def keep_land(land: Land, problems: pd.DataFrame, mark: str) -> None:
    """Leave features, and what was wrong with them, for later scans beside their shapes."""
    write_table(problems, land.path.with_name(LAND_PROBLEMS))
    mark = print_of(mark, seal_of(land.path))
    write_table(land.words.assign(mark=mark), land.path.with_name(LAND))


def find_land(folders: Iterable[Path], mark: str, path: Path) -> tuple[Land, pd.DataFrame] | None:
    """Find features that were read from the same files; they come beside ``path``, their shapes."""
    for folder in folders:
        try:
            words = read_table(folder / LAND)
            whole = print_of(mark, seal_of(folder / path.name))
            if len(words) and (words.pop("mark") == whole).all():
                for name in (path.name, LAND, LAND_PROBLEMS):
                    link(folder / name, path.with_name(name))
                return Land(words, path), read_table(path.with_name(LAND_PROBLEMS))
        except UNREADABLE:
            continue
    return None
