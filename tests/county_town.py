"""A tiny invented county in state-plane feet, to assemble books from: lots in a row along a street."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import geopandas as gpd
import pandas as pd
import shapely

from scanner.book.assemble import Assembly, assemble_sites
from scanner.book.county.layer_kinds import County, Pick
from scanner.book.county.sources import Source

CRS = "EPSG:26852"  # NAD83 / Nebraska (ftUS)
EAST, NORTH = 2_200_000.0, 450_000.0
LOT_FT, DEPTH_FT = 80.0, 120.0


def box(west: float, south: float, east: float, north: float) -> shapely.Polygon:
    return shapely.box(EAST + west, NORTH + south, EAST + east, NORTH + north)


def lot(at: int) -> shapely.Polygon:
    """The lot at a place in the row; its front is y = 0, the curb y = -10."""
    return box(at * LOT_FT, 0, (at + 1) * LOT_FT, DEPTH_FT)


def house(at: int) -> shapely.Polygon:
    return box(at * LOT_FT + 20, 35, at * LOT_FT + 60, 65)


def point(x: float, y: float) -> tuple[float, float]:
    """Longitude and latitude of a place in the county."""
    spot = gpd.GeoSeries([shapely.Point(EAST + x, NORTH + y)], crs=CRS).to_crs("EPSG:4326").iloc[0]
    return round(spot.x, 7), round(spot.y, 7)


def parcels(*rows: tuple[str | None, str | None, shapely.Geometry | None]) -> gpd.GeoDataFrame:
    columns = {"PIN": [row[0] for row in rows], "SITUS": [row[1] for row in rows]}
    return gpd.GeoDataFrame(columns, geometry=[row[2] for row in rows], crs=CRS)


def row_of_lots(count: int = 4) -> gpd.GeoDataFrame:
    """Lots 10-001, 10-002 … at 101, 103 … Clover Street."""
    return parcels(
        *((f"10-{at + 1:03d}", f"{101 + 2 * at} CLOVER ST", lot(at)) for at in range(count))
    )


def shapes(
    *geometry: shapely.Geometry | None, crs: str | None = CRS, **columns: list
) -> gpd.GeoDataFrame:
    return gpd.GeoDataFrame(columns, geometry=list(geometry), crs=crs)


def write_book(folder: Path, *clients: dict[str, object]) -> Path:
    """Write a client list; what a client doesn't say is left blank."""
    folder.mkdir(exist_ok=True)
    names = ["client_id", "name", "address", "parcel_id", "lon", "lat"]
    with (folder / "clients.csv").open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, names, restval="")
        writer.writeheader()
        writer.writerows({"name": "Somebody", **client} for client in clients)
    return folder


def write_layers(folder: Path, **layers: gpd.GeoDataFrame) -> dict[str, tuple[Source, ...]]:
    """Write each layer into a file of its own, features in order; the names are kinds."""
    sources = {}
    for name, layer in layers.items():
        path = folder / f"{name}.fgb"
        layer.to_file(path, driver="FlatGeobuf", SPATIAL_INDEX="NO")
        sources[name] = (Source(path),)
    return sources


def assemble(
    folder: Path,
    layers: dict[str, gpd.GeoDataFrame],
    *picks: Pick,
    matches: Path | None = None,
    **options: object,
) -> Assembly:
    """Assemble a book from layers in memory, by kind."""
    sources = write_layers(folder, **layers)
    county = County(sources, parcel_id="PIN", parcel_address="SITUS", picks=picks)
    county = County(**{**county.__dict__, **options})
    return assemble_sites(folder, county, matches_file=matches)


def features_of(assembly: Assembly) -> gpd.GeoDataFrame:
    """Read what was assembled, back in the county's feet."""
    document = json.loads(assembly.sites_file.read_text(encoding="utf-8"))
    rows = [feature["properties"] for feature in document["features"]]
    geometry = [shapely.geometry.shape(feature["geometry"]) for feature in document["features"]]
    columns = [
        "kind",
        "client_id",
        "along",
        "curbed",
        "parking",
        "pavement_ft",
        "dbh_in",
        "drives_known",
        "year_built",
    ]
    table = pd.DataFrame(rows, columns=columns).fillna({"client_id": ""})
    return gpd.GeoDataFrame(table, geometry=geometry, crs="EPSG:4326").to_crs(CRS)


def unmatched_rows(folder: Path) -> dict[str, dict[str, str]]:
    """Read unmatched.csv by client; no file is no row."""
    path = folder / "unmatched.csv"
    if not path.is_file():
        return {}
    with path.open(encoding="utf-8-sig", newline="") as file:
        return {row["client_id"]: row for row in csv.DictReader(file)}
