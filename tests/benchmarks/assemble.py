"""
Benchmark of ``assemble``: an invented county, its layers cut once against cut lot by lot.

13,000 parcels, more than 80,000 other features and one street polygon of more than 120,000
vertices against 5,000 clients. Prints seconds and peak memory, and, in the same run, how many
times longer the plain way would take that cuts the street polygon anew for every lot. Seconds
of one machine mean nothing on another; the ratio does. Ends with exit code 1 over 60 s or 2 GiB.

    python tests/benchmarks/assemble.py
"""

from __future__ import annotations

import resource
import sys
import tempfile
import time
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from scanner.book.assemble import assemble_sites
from scanner.book.county.layer_kinds import County
from scanner.book.county.pieces import boxes_round, cut_large
from scanner.book.county.sources import Source

CRS = "EPSG:26852"  # Nebraska state plane, US survey feet
WEST, SOUTH = 2_200_000.0, 450_000.0
COLUMNS, ROWS = 130, 100
LOT_FT, DEPTH_FT, STREET_FT = 75.0, 120.0, 60.0
CLIENTS = 5_000
NAIVE_LOTS = 10
WIGGLE_FT = 4.0
MOST_SECONDS, MOST_GIB = 60.0, 2.0


def main() -> int:
    """Make the county, assemble it, cut some lots the plain way, say how long each took."""
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        layers, clients = make_county()
        count = sum(len(layer) for name, layer in layers.items() if name != "parcels")
        vertices = int(shapely.get_num_coordinates(layers["streets"].geometry.to_numpy()).sum())
        print(
            f"{len(layers['parcels']):,} parcels, {count:,} other features, {vertices:,} street vertices, {CLIENTS:,} clients"
        )
        for name, layer in layers.items():
            layer.to_file(folder / f"{name}.gpkg", driver="GPKG")
        clients.to_csv(folder / "clients.csv", index=False)
        before_gib = peak_gib()
        begun = time.perf_counter()
        assembly = assemble_sites(folder, county_of(folder, layers))
        seconds = time.perf_counter() - begun
        print(
            f"assemble: {seconds:.1f} s, peak {peak_gib():.2f} GiB ({before_gib:.2f} GiB of it to make the county)"
        )
        print(
            f"matched {assembly.counts['matched']:,}, without a curb {assembly.counts['without_curb']:,}"
        )
    tell_ratio(layers)
    return int(seconds > MOST_SECONDS or peak_gib() > MOST_GIB)


def make_county() -> tuple[dict[str, gpd.GeoDataFrame], pd.DataFrame]:
    """Lay out a grid of lots with what stands on them, and a street polygon round all blocks."""
    chance = np.random.default_rng(20260225)
    x, y = (part.ravel() for part in np.meshgrid(np.arange(COLUMNS), np.arange(ROWS)))
    west = WEST + x * LOT_FT + (x // 10) * STREET_FT
    south = SOUTH + y * DEPTH_FT + (y // 2) * STREET_FT
    parcels = shapely.box(west, south, west + LOT_FT, south + DEPTH_FT)
    front = np.where(y % 2 == 0, south, south + DEPTH_FT)
    inward = np.where(y % 2 == 0, 1.0, -1.0)
    ids = np.array([f"{a + 1:03d}-{b + 1:03d}" for a, b in zip(x, y, strict=True)])
    addresses = np.array(
        [f"{100 + 2 * a + b % 2} STREET {b // 2 + 1} RD" for a, b in zip(x, y, strict=True)]
    )
    table = {"PIN": np.where(chance.random(len(ids)) < 0.1, "", ids), "SITUS": addresses}
    boxes = {
        "houses": (15.0, 60.0, 30.0, 62.0), "drives": (62.0, 72.0, -10.0, 34.0),
        "walks": (36.0, 40.0, -10.0, 30.0), "patios": (20.0, 40.0, 62.0, 74.0),
        "sidewalks": (0.0, LOT_FT, -7.0, -2.0),
    }  # fmt: skip
    layers = {"parcels": frame(parcels, **table)}
    for name, (left, right, near, far) in boxes.items():
        ends = np.sort([front + inward * near, front + inward * far], axis=0)
        layers[name] = frame(shapely.box(west + left, ends[0], west + right, ends[1]))
    spots = chance.uniform(4, 70, (20_000, 2))
    at = chance.integers(0, len(ids), 20_000)
    layers["trees"] = frame(shapely.points(west[at] + spots[:, 0], south[at] + spots[:, 1]))
    street = street_polygon(parcels, chance)
    layers["streets"] = frame([street])
    # the right-of-way of the whole town as one parcel, as counties have it
    way = frame([street], PIN=["ROW"], SITUS=[""])
    layers["parcels"] = pd.concat([layers["parcels"], way], ignore_index=True)
    chosen = np.sort(chance.choice(len(ids), CLIENTS, replace=False))
    return layers, list_clients(chosen, ids, addresses)


def street_polygon(parcels: np.ndarray, chance: np.random.Generator) -> shapely.Polygon:
    """Draw one street polygon for the whole town: its hull less the blocks, curbs drawn fine."""
    blocks = shapely.union_all(shapely.buffer(parcels, 0.01, join_style="mitre"))
    curbs = shapely.buffer(blocks, 10.0, join_style="mitre")
    town = shapely.box(*shapely.bounds(curbs)).buffer(STREET_FT, join_style="mitre")
    rings = [
        shapely.polygons(bend(shapely.get_coordinates(shapely.segmentize(ring, 11.2)), chance))
        for ring in shapely.get_exterior_ring(shapely.get_parts(curbs))
    ]
    return town.difference(shapely.union_all(rings))


def bend(points: np.ndarray, chance: np.random.Generator) -> np.ndarray:
    """Move the points of a curb by inches, as surveyed curbs are never straight."""
    moved = points + chance.uniform(-0.05, 0.05, points.shape)
    moved[-1] = moved[0]
    return moved


def list_clients(chosen: np.ndarray, ids: np.ndarray, addresses: np.ndarray) -> pd.DataFrame:
    """List clients, half with an id, half with an address as people write it."""
    has_id = np.arange(len(chosen)) % 2 == 0
    written = [text.title().replace(" Rd", " Road") + ", Quillbrook" for text in addresses[chosen]]
    return pd.DataFrame({
        "client_id": [f"C{at:05d}" for at in range(len(chosen))],
        "address": written, "parcel_id": np.where(has_id, ids[chosen], ""),
    })  # fmt: skip


def frame(shapes: object, **columns: object) -> gpd.GeoDataFrame:
    """Make a layer in state-plane feet."""
    return gpd.GeoDataFrame(columns or None, geometry=np.asarray(shapes, object), crs=CRS)


def county_of(folder: Path, layers: dict[str, gpd.GeoDataFrame]) -> County:
    """Name the layers as the command line does."""
    kinds = {
        "parcels": "property", "houses": "house", "streets": "street", "sidewalks": "sidewalk",
        "drives": "drive", "walks": "walk", "patios": "patio", "trees": "tree",
    }  # fmt: skip
    sources = {kinds[name]: (Source(folder / f"{name}.gpkg"),) for name in layers}
    return County(sources, parcel_id="PIN", parcel_address="SITUS")


def tell_ratio(layers: dict[str, gpd.GeoDataFrame]) -> None:
    """Cut the street polygon for some lots one by one and for all clients at once; compare."""
    street = layers["streets"].geometry.to_numpy()
    lots = layers["parcels"].geometry.to_numpy()
    boxes = boxes_round(lots[np.linspace(0, len(lots) - 1, CLIENTS).astype(int)], 360.0)
    begun = time.perf_counter()
    cut_large(street, shapely.STRtree(boxes))
    once_seconds = time.perf_counter() - begun
    begun = time.perf_counter()
    for box in boxes[:: CLIENTS // NAIVE_LOTS][:NAIVE_LOTS]:
        shapely.intersection(street[0], box)
    one_seconds = (time.perf_counter() - begun) / NAIVE_LOTS
    print(f"street polygon cut once: {once_seconds:.2f} s; lot by lot: {one_seconds:.3f} s each, "
          f"{one_seconds * CLIENTS / once_seconds:,.0f} times as long for all clients")  # fmt: skip


def peak_gib() -> float:
    """Give the most memory that this process has held."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024**2


if __name__ == "__main__":
    sys.exit(main())
