"""
What an analyst would write with plain geopandas: the bare bands of a book's lots.

Lawns less all that is built, 4 ft along curbs, walls and sidewalks, cut by the lawns: no gaps
closed, no ends squared, no setbacks, no openings, no prices. Prints the square feet by kind.

    python tests/benchmarks/analyst.py BOOK
"""

from __future__ import annotations

import sys
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
from shapely.geometry import box

DEPTH_FT, STRIP_FT, CELL_FT = 4.0, 12.0, 1_000.0
EDGES = {"street": "curb", "house": "house", "sidewalk": "sidewalk"}
BUILT = ("house", "outbuilding", "street", "sidewalk", "drive", "walk", "patio", "bed", "water")


def main(book: Path) -> None:
    """Work out the bands of a book."""
    features = read_features(book / "sites")
    polygons = features[features.geom_type.isin(["Polygon", "MultiPolygon"])]
    streets = cut(polygons[polygons["kind"] == "street"])
    built = pd.concat(
        [polygons[polygons["kind"].isin(BUILT) & (polygons["kind"] != "street")], streets]
    )
    lawns = gpd.overlay(find_lawns(features), built[["geometry"]], how="difference")
    edges = built[built["kind"].isin(EDGES)]
    edges = edges.assign(along=edges["kind"].map(EDGES), geometry=edges.buffer(DEPTH_FT))
    bands = gpd.overlay(lawns, edges[["along", "geometry"]]).dissolve(["client_id", "along"])
    print(bands.area.groupby("along").agg(["count", "sum"]).round().to_string())


def read_features(sites: Path) -> gpd.GeoDataFrame:
    """Read every layer, in feet."""
    layers = [
        gpd.read_parquet(path) if path.suffix == ".parquet" else gpd.read_file(path)
        for path in sorted(sites.iterdir())
    ]
    features = pd.concat(layers, ignore_index=True)
    lon, lat = features.total_bounds.reshape(2, 2).mean(axis=0)
    return features.to_crs(f"+proj=laea +lat_0={lat} +lon_0={lon} +units=ft")


def find_lawns(features: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Take lawns as drawn, and where none is the lot with the strip before it."""
    drawn = features[features["kind"] == "lawn"]
    lots = features[(features["kind"] == "property") & features["client_id"].notna()]
    plain = lots[~lots["client_id"].isin(drawn["client_id"])]
    plain = plain.set_geometry(plain.buffer(STRIP_FT, join_style="mitre"))
    return pd.concat([drawn, plain])[["client_id", "geometry"]]


def cut(streets: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Cut pavements that span a city to a grid: rows first, then cells."""
    left, low, right, high = streets.total_bounds
    rows = [box(left, y, right, y + CELL_FT) for y in np.arange(low, high, CELL_FT)]
    columns = [box(x, low, x + CELL_FT, high) for x in np.arange(left, right, CELL_FT)]
    for cells in (rows, columns):
        streets = gpd.overlay(streets, gpd.GeoDataFrame(geometry=cells, crs=streets.crs))
    return streets


if __name__ == "__main__":
    main(Path(sys.argv[1]))
