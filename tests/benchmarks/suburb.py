"""
Make a book of invented suburbs, of any size.

The sample town (``sample_data/``) is furnished anew from a few seeds and laid out again and
again: ten by ten towns make a city, each city turned its own way. So lots have the sample's mix
of features and shapes, and what only cities have beside: one street polygon that spans the whole
city (more than 100,000 vertices from 40 towns on), and some lawns traced with 500 vertices.

    python tests/benchmarks/suburb.py maps/suburb --lots 20000 --format parquet

The same seed gives the same book. ``--gaps`` draws every lawn, a few inches short, and moves the
layers against each other, so that no two touch.
"""

from __future__ import annotations

import argparse
import json
import shutil
import sys
from collections import defaultdict
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cache
from itertools import count
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
import pyogrio
import shapely
from pyproj import Transformer
from shapely.affinity import translate
from shapely.geometry import box

SAMPLE_DATA = Path(__file__).parents[2] / "sample_data"
sys.path.insert(0, str(SAMPLE_DATA))

# The sample's makers are scripts, not a package
from make_sample import (  # noqa: E402
    NEIGHBOURS,
    PLANE,
    limit_things,
    lot_things,
    name_client,
    street_things,
)
from town_people import describe_clients, walk_lots  # noqa: E402
from town_plan import Lot, plan_lots  # noqa: E402
from town_streets import GRID_HALF_FT, GRID_Y, Streets, plan_streets  # noqa: E402
from town_yards import BUILT, Thing, draw_lawn, find_turf  # noqa: E402

SEED = 20261128
TOWN_CLIENTS = 120
TOWNS_ACROSS = 10  # of a city
TOWN_FT = (2_820.0, 2_100.0)
CITY_FT = 38_000.0  # from one city to the next, so that turned ones stay apart
AVENUE = box(-330.0, -1_050.0, -290.0, 1_050.0)  # joins the streets of the towns above one another
CROSSING = box(-330.0, -1_050.0, 2_530.0, -1_010.0)  # joins the avenues, along the southern towns
VERTEX_FT = 8.0  # curbs are drawn this fine
FURNISHINGS = 8  # towns that differ; more would only take longer to draw
FINE_EVERY, FINE_VERTICES, FINE_FT = 25, 500, 0.1
SHIFTS_FT = {"buildings": (0.2, 0.1), "streets": (-0.1, -0.2), "yards": (-0.15, 0.15)}
DIGITS = 8  # a millimetre
NUMBERS = ("dbh_in", "pavement_ft", "year_built")
DRIVERS = {"geojson": "GeoJSON", "fgb": "FlatGeobuf", "parquet": "Parquet"}
WRITING = {"geojson": {"COORDINATE_PRECISION": str(DIGITS), "RFC7946": "YES"}, "fgb": {}}
GEO = {"version": "1.0.0", "primary_column": "geometry",
       "columns": {"geometry": {"encoding": "WKB", "geometry_types": []}}}  # fmt: skip

ToDegrees = Callable[[np.ndarray], np.ndarray]


@dataclass(frozen=True)
class Town:
    """Features [ft] by layer, the pavement, people, and edges measured on foot."""

    layers: dict[str, gpd.GeoDataFrame]
    pavement: shapely.Polygon
    clients: pd.DataFrame
    measured: pd.DataFrame


@dataclass(frozen=True)
class City:
    """Features in degrees by layer, people, and edges measured on foot."""

    layers: dict[str, gpd.GeoDataFrame]
    clients: pd.DataFrame
    measured: pd.DataFrame


def main() -> None:
    """Make the book that the command line asks for."""
    parser = argparse.ArgumentParser(description="Make a book of invented suburbs.")
    parser.add_argument("folder", type=Path)
    parser.add_argument("--lots", type=int, default=1_000)
    parser.add_argument("--format", choices=DRIVERS, default="geojson", dest="file_format")
    parser.add_argument("--gaps", action="store_true", help="no two layers touch")
    parser.add_argument("--seed", type=int, default=SEED)
    make_suburb(**vars(parser.parse_args()))


def make_suburb(
    folder: Path, *, lots: int, file_format: str = "geojson", gaps: bool = False, seed: int = SEED
) -> None:
    """Write a book of so many clients; what is in the folder goes."""
    shutil.rmtree(folder, ignore_errors=True)
    (folder / "sites").mkdir(parents=True)
    for name in ("local.toml", "rates.toml"):
        shutil.copy(SAMPLE_DATA / "book" / name, folder / name)
    writers = dict[str, pq.ParquetWriter]()
    clients, measured = [], []
    for city in build_cities(lots, gaps=gaps, seed=seed):
        clients.append(city.clients)
        measured.append(city.measured)
        for name, layer in city.layers.items():
            if name not in writers:
                path = folder / "sites" / f"{name}.parquet"
                writers[name] = pq.ParquetWriter(path, arrow_schema(layer))
            writers[name].write_table(arrow_table(layer, writers[name].schema))
    for name, writer in writers.items():
        writer.close()
        if file_format != "parquet":
            convert(folder / "sites" / f"{name}.parquet", file_format)
    write_people(folder, pd.concat(clients), pd.concat(measured))


def build_cities(lots: int, *, gaps: bool, seed: int) -> Iterator[City]:
    """Build city after city until there are clients enough."""
    chance = np.random.default_rng([seed, 1])
    wanted = -(-lots // TOWN_CLIENTS)
    drawn = chance.integers(min(FURNISHINGS, wanted), size=wanted)
    places = spiral()
    for first in range(0, wanted, TOWNS_ACROSS**2):
        kinds = drawn[first : first + TOWNS_ACROSS**2]
        towns = [furnish_town(seed + int(kind), gaps=gaps) for kind in kinds]
        to_degrees = place_city(next(places), chance.uniform(0, 90))
        yield build_city(towns, to_degrees, first=first, lots=lots)


def spiral() -> Iterator[tuple[int, int]]:
    """Give places on a square grid, from the middle outward."""
    for ring in count():
        side = range(-ring, ring + 1)
        yield from ((x, y) for x in side for y in side if max(abs(x), abs(y)) == ring)


def place_city(place: tuple[int, int], turn_deg: float) -> ToDegrees:
    """Say how the feet of a city become degrees: turned, put in its place, projected, rounded."""
    c, s = np.cos(np.radians(turn_deg)), np.sin(np.radians(turn_deg))
    turn, middle = np.array([[c, s], [-s, c]]), np.array(TOWN_FT) * TOWNS_ACROSS / 2
    project = Transformer.from_crs(PLANE, "OGC:CRS84", always_xy=True).transform

    def to_degrees(xy: np.ndarray) -> np.ndarray:
        placed = (xy - middle) @ turn + np.array(place) * CITY_FT
        return np.round(np.column_stack(project(*placed.T)), DIGITS)

    return to_degrees


def build_city(towns: list[Town], to_degrees: ToDegrees, *, first: int, lots: int) -> City:
    """Lay the towns of a city out side by side, the last only as far as there are clients left."""
    parts, clients, measured = defaultdict(list), [], []
    for at, town in enumerate(towns):
        settled = settle(town, first + at, offset_ft(at)).head(lots - (first + at) * TOWN_CLIENTS)
        ids = dict(zip(town.clients["client_id"], settled["client_id"], strict=False))
        clients.append(settled)
        measured.append(give_owners(town.measured, ids))
        for name, layer in town.layers.items():
            moved = layer.set_geometry(layer.geometry.translate(*offset_ft(at)))
            parts[name].append(give_owners(moved, ids))
    parts["streets"].append(pave(towns))
    layers = {name: pd.concat(those, ignore_index=True) for name, those in parts.items()}
    people = pd.concat(clients, ignore_index=True)
    known = people["lon"].notna()
    people.loc[known, ["lon", "lat"]] = to_degrees(people.loc[known, ["lon", "lat"]].to_numpy())
    placed = {
        name: layer.set_geometry(shapely.transform(layer.geometry.to_numpy(), to_degrees))
        for name, layer in layers.items()
    }
    return City(placed, people, pd.concat(measured))


def offset_ft(at: int) -> np.ndarray:
    """Say where a town of a city lies [ft]."""
    return np.array([at % TOWNS_ACROSS, at // TOWNS_ACROSS]) * TOWN_FT


def settle(town: Town, number: int, offset: np.ndarray) -> pd.DataFrame:
    """Give people ids, addresses, phones and routes that no other town has, and their spots [ft]."""
    clients = town.clients
    at = number * TOWN_CLIENTS + np.arange(len(clients))
    spots = clients[["lon", "lat"]].replace("", np.nan).astype(float) + offset
    return clients.assign(
        client_id=[f"S{one:07d}" for one in at],
        address=clients["address"] + f" {number + 1}",
        parcel_id=[f"{one:08d}" for one in at],
        phone=[f"{300 + one // 10_000}-555-{one % 10_000:04d}" for one in at],
        route=clients["route"] + f" {number // TOWNS_ACROSS + 1}",
        **spots,
    )


def give_owners(table: pd.DataFrame, ids: dict[str, str]) -> pd.DataFrame:
    """Put in the clients' own ids; rows of people who are no clients go."""
    if "client_id" not in table:
        return table
    owners = table["client_id"].map(ids)
    return table.assign(client_id=owners)[owners.notna() | table["client_id"].isna()]


def pave(towns: list[Town]) -> gpd.GeoDataFrame:
    """Draw all that lies between the curbs of a city as one polygon."""
    shapes = [translate(CROSSING, *offset_ft(at)) for at in range(min(len(towns), TOWNS_ACROSS))]
    shapes += [translate(town.pavement, *offset_ft(at)) for at, town in enumerate(towns)]
    pavement = shapely.segmentize(shapely.union_all(shapes), VERTEX_FT)
    tags = {"kind": "street", "curbed": "yes", "parking": "yes"}
    return gpd.GeoDataFrame([tags], geometry=[pavement])


@cache
def furnish_town(seed: int, *, gaps: bool) -> Town:
    """Draw the sample town once more, its yards, lawns and people from another seed."""
    streets, chance = plan_streets(), np.random.default_rng(seed)
    lots = plan_lots(streets)
    grid, tract, *others = street_things(streets)
    things, rows = [*others, *limit_things(lots)], []
    for number, lot in enumerate(lots):
        client_id = None if number in NEIGHBOURS else name_client(len(rows))
        drawn, turf_ft2 = lot_things(lot, streets, number, client_id, seed=seed)
        if client_id and lot.area != "acre" and (gaps or number % FINE_EVERY == 7):
            drawn = [thing for thing in drawn if thing.file != "lawns"]
            lawns = trace_lawn(lot, streets, drawn, chance=None if gaps else chance)
            tags = {"kind": "lawn", "client_id": client_id}
            drawn += [Thing("lawns", tags, lawn) for lawn in lawns]
        things += drawn
        rows += [(client_id, lot, turf_ft2)] if client_id else []
    clients = describe_clients(rows, seed=seed, to_degrees=gpd.GeoSeries)  # they stay in feet here
    layers = sort_layers(things, shifts=SHIFTS_FT if gaps else {})
    pavement = shapely.union_all([grid.shape, tract.shape, AVENUE, *lead_west()])
    moved = translate(pavement, *SHIFTS_FT["streets"]) if gaps else pavement
    return Town(layers, moved, clients, walk_lots(clients))


def lead_west() -> list[shapely.Polygon]:
    """Lead the old grid's streets on to the avenue."""
    west = AVENUE.bounds[0]
    return [box(west, y - GRID_HALF_FT, -99.0, y + GRID_HALF_FT) for y in GRID_Y]


def trace_lawn(
    lot: Lot, streets: Streets, drawn: list[Thing], *, chance: np.random.Generator | None
) -> list[shapely.Polygon]:
    """Draw a lawn a few inches short or, by chance, point for point as a patient tracer would."""
    built = [thing.shape for thing in drawn if thing.tags["kind"] in BUILT]
    ground = shapely.union_all([*built, *streets.sidewalks, *streets.alleys])
    turf = find_turf(lot, streets, ground)
    if chance is None:
        return draw_lawn(turf, style="short")
    return [roughen(part, chance) for part in draw_lawn(turf, style="exact")]


def roughen(lawn: shapely.Polygon, chance: np.random.Generator) -> shapely.Polygon:
    """Give the border of a lawn 500 vertices, each about an inch from where it belongs."""
    fine = shapely.segmentize(lawn, lawn.length / FINE_VERTICES)
    points, rings = shapely.get_coordinates(fine), [fine.exterior, *fine.interiors]
    moved = points + chance.uniform(-FINE_FT, FINE_FT, points.shape)
    ends = np.cumsum([len(ring.coords) for ring in rings])
    moved[ends - 1] = moved[[0, *ends[:-1]]]
    rough = shapely.set_coordinates(shapely.transform(fine, lambda xy: xy), moved)
    return rough if rough.is_valid else fine


def sort_layers(
    things: list[Thing], *, shifts: dict[str, tuple[float, float]]
) -> dict[str, gpd.GeoDataFrame]:
    """Put the features of a town into their layers, some moved a little [ft]."""
    by_file = defaultdict(list)
    for thing in things:
        by_file[thing.file].append(thing)
    return {
        name: gpd.GeoDataFrame(
            pd.DataFrame([thing.tags for thing in those]),
            geometry=[translate(thing.shape, *shifts.get(name, (0, 0))) for thing in those],
        )
        for name, those in by_file.items()
    }


def arrow_schema(layer: gpd.GeoDataFrame) -> pa.Schema:
    """Say what a layer's columns hold, as GeoParquet wants it said; degrees are its default."""
    kinds = {name: pa.float64() if name in NUMBERS else pa.string() for name in layer}
    fields = [(name, kind) for name, kind in kinds.items() if name != "geometry"]
    schema = pa.schema([*fields, ("geometry", pa.binary())])
    return schema.with_metadata({"geo": json.dumps(GEO)})


def arrow_table(layer: gpd.GeoDataFrame, schema: pa.Schema) -> pa.Table:
    """Turn the layer of a city into a block of the file."""
    plain = pd.DataFrame(layer).assign(geometry=shapely.to_wkb(layer.geometry.to_numpy()))
    return pa.Table.from_pandas(plain, schema=schema, preserve_index=False)


def convert(path: Path, file_format: str) -> None:
    """Write a layer in another format instead, block by block."""
    source = pq.ParquetFile(path)
    pyogrio.write_arrow(
        pa.RecordBatchReader.from_batches(source.schema_arrow, source.iter_batches()),
        path.with_suffix(f".{file_format}"), driver=DRIVERS[file_format], geometry_name="geometry",
        geometry_type="Unknown", crs="OGC:CRS84", layer_options=WRITING[file_format],
    )  # fmt: skip
    path.unlink()


def write_people(folder: Path, clients: pd.DataFrame, measured: pd.DataFrame) -> None:
    """Write who the clients are, each with his place on his route, and what was measured on foot."""
    stops = clients.groupby("route").cumcount() + 1
    clients.assign(stop=stops).to_csv(folder / "clients.csv", index=False)
    measured.to_csv(folder / "measured.csv", index=False)


if __name__ == "__main__":
    main()
