"""
The floor: the same bare bands as the analyst's, by arrays of shapes alone, in two processes.

Nothing is checked, joined to clients or named: what is left is reading the layers and the
geometry itself, a call of the geometry library for a thousand lots at once. Prints the square
feet by kind.

    python tests/benchmarks/floor.py BOOK
"""

from __future__ import annotations

import sys
from dataclasses import dataclass
from multiprocessing import get_context
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pyogrio
import pyproj
import shapely

DEPTH_FT, STRIP_FT, CELL_FT = 4.0, 12.0, 1_000.0
EDGES = {"street": "curb", "house": "house", "sidewalk": "sidewalk"}
BUILT = (*EDGES, "outbuilding", "drive", "walk", "patio", "bed", "water")
BLOCK = 1_000


@dataclass(frozen=True)
class Ground:
    """Lawns, all that is built with its kind, in feet, and where what is built lies."""

    lawns: np.ndarray
    built: np.ndarray
    sides: np.ndarray
    tree: shapely.STRtree

    def band_areas(self, block: np.ndarray) -> list[float]:
        """Add up the bands of some lots [ft2], one sum a kind of edge."""
        lawns = self.lawns[block]
        reach = shapely.box(*(shapely.bounds(lawns) + np.repeat([-DEPTH_FT, DEPTH_FT], 2)).T)
        lot, part = self.tree.query(reach)
        rank = np.arange(len(lot)) - np.searchsorted(lot, lot)
        for turn in range(rank.max(initial=-1) + 1):
            now = rank == turn
            lawns[lot[now]] = shapely.difference(lawns[lot[now]], self.built[part[now]])
        return [self.sum_bands(lawns, lot, part, side) for side in EDGES]

    def sum_bands(self, lawns: np.ndarray, lot: np.ndarray, part: np.ndarray, side: str) -> float:
        """Cut the strips along the edges of a kind by the lawns and add them up [ft2]."""
        is_kind = self.sides[part] == side
        edge, at = np.unique(part[is_kind], return_inverse=True)
        lot, strips = lot[is_kind], shapely.buffer(self.built[edge], DEPTH_FT)[at]
        starts = np.flatnonzero(np.diff(lot, prepend=-1))
        united = [shapely.union_all(those) for those in np.split(strips, starts[1:])]
        return float(shapely.area(shapely.intersection(lawns[lot[starts]], united)).sum())


def main(book: Path) -> None:
    """Read a book, share its lots out to two processes, add up."""
    ground = read_ground(book / "sites")
    middles = shapely.get_coordinates(shapely.centroid(ground.lawns))
    order = np.lexsort(np.floor(middles / CELL_FT).T)
    blocks = np.array_split(order, -(-len(order) // BLOCK))
    # Forked, so that both processes see the ground without a copy
    with get_context("fork").Pool(2) as pool:
        areas = np.sum([*pool.imap_unordered(ground.band_areas, blocks)], axis=0)
    for along, area in zip(EDGES.values(), areas, strict=True):
        print(f"{along:<10}{area:>14,.0f}")


def read_ground(sites: Path) -> Ground:
    """Read every layer; lawns are as drawn, and where none is the lot with the strip before it."""
    tables = [read_layer(path) for path in sorted(sites.iterdir())]
    kinds, owners = (
        np.concatenate([table[name].to_numpy(zero_copy_only=False) for table in tables])
        for name in ("kind", "client_id")
    )
    shapes = to_feet(np.concatenate([shapely.from_wkb(table["geometry"]) for table in tables]))
    is_street = (kinds == "street") & (shapely.get_type_id(shapes) == shapely.GeometryType.POLYGON)
    is_built = np.isin(kinds, BUILT) & ~is_street
    streets = cut(shapes[is_street])
    is_plain = (kinds == "property") & ~np.isin(owners, owners[kinds == "lawn"])
    plain = shapely.buffer(shapes[is_plain], STRIP_FT, join_style="mitre")
    built = np.concatenate([shapes[is_built], streets])
    sides = np.concatenate([kinds[is_built], np.full(len(streets), "street")])
    lawns = np.concatenate([shapes[kinds == "lawn"], plain])
    return Ground(lawns, built, sides, shapely.STRtree(built))


def read_layer(path: Path) -> pa.Table:
    """Read kind, owner and shape of a layer's features."""
    if path.suffix == ".parquet":
        table = pq.read_table(path)
    else:
        table = pyogrio.read_arrow(path)[1].rename_columns({"wkb_geometry": "geometry"})
    if "client_id" not in table.column_names:
        table = table.append_column("client_id", pa.nulls(len(table), pa.string()))
    return table.select(["kind", "client_id", "geometry"])


def to_feet(shapes: np.ndarray) -> np.ndarray:
    """Project degrees."""
    lon, lat = shapely.total_bounds(shapes).reshape(2, 2).mean(axis=0)
    plane = f"+proj=laea +lat_0={lat} +lon_0={lon} +units=ft"
    project = pyproj.Transformer.from_crs("OGC:CRS84", plane, always_xy=True).transform
    return shapely.transform(shapes, lambda xy: np.column_stack(project(*xy.T)))


def cut(streets: np.ndarray) -> np.ndarray:
    """Cut pavements that span a city to a grid: rows first, then cells."""
    left, low, right, high = shapely.total_bounds(streets)
    rows = [shapely.box(left, y, right, y + CELL_FT) for y in np.arange(low, high, CELL_FT)]
    columns = [shapely.box(x, low, x + CELL_FT, high) for x in np.arange(left, right, CELL_FT)]
    for cells in (rows, columns):
        street, cell = shapely.STRtree(cells).query(streets, predicate="intersects")
        pieces = shapely.intersection(streets[street], np.array(cells)[cell])
        streets = shapely.get_parts(pieces)
    return streets[shapely.get_type_id(streets) == shapely.GeometryType.POLYGON]


if __name__ == "__main__":
    main(Path(sys.argv[1]))
