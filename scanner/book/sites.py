"""Site features from any number of drawn files: read, checked, placed."""

from __future__ import annotations

from collections.abc import Collection
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
from geopandas import GeoDataFrame

from scanner.book.layers.attributes import name_fields, read_attributes, unknown_kinds
from scanner.book.layers.better import prefer_drawn
from scanner.book.layers.formats import FORMAT_WORDS, FORMATS, open_layers
from scanner.book.layers.placing import join_outlines, place_features
from scanner.book.layers.raw import RawLayer
from scanner.book.layers.shapes import check_shapes, list_shape_problems, locate_shapes
from scanner.errors import SiteError
from scanner.schema.tables import FEATURES, check_table
from scanner.sheets.problems import Problem, fault, list_problems

_LOOSE_PARTS = (".shx", ".dbf", ".prj", ".cpg", ".qmd", ".qpj", ".sbn", ".sbx")
"""What lies beside a Shapefile that is not zipped: one fault for the .shp is enough."""

WGS84 = "EPSG:4326"


def read_sites(
    folder: Path, clients: pd.DataFrame, *, left_out: Collection[str] = ()
) -> tuple[GeoDataFrame, pd.DataFrame]:
    """
    Read all files of site features in a folder; faulty features are listed and left out.

    features: Table `FEATURES`, WGS 84 longitude and latitude, one outline a client, houses,
    outbuildings, lawns and beds placed on theirs.

    Examples
    --------
    >>> clients = pd.DataFrame({"client_id": ["A"]}, dtype="str")
    >>> features, problems = read_sites(Path("no such folder"), clients)
    >>> len(features), len(problems)
    (0, 0)
    """
    tables: list[GeoDataFrame] = []
    problems: list[Problem] = []
    for path in _list_files(folder):
        file = f"{folder.name}/{path.name}"
        if file in left_out:
            continue
        try:
            found, file_problems = _read_file(path, file, clients["client_id"])
        except SiteError as err:
            problems.append(_tell(file, "", err))
            continue
        tables.append(found)
        problems += file_problems
    if not tables:
        return _no_features(), list_problems(problems)
    features = GeoDataFrame(pd.concat(tables, ignore_index=True), crs=WGS84)
    features, better_problems = prefer_drawn(features)
    features, outline_problems = join_outlines(features)
    features = place_features(features)
    problems += [*better_problems, *outline_problems]
    return check_table(features.reset_index(drop=True), FEATURES), list_problems(problems)


def _list_files(folder: Path) -> list[Path]:
    if not folder.is_dir():
        return []
    files = (
        path for path in folder.iterdir() if path.is_file() and not path.name.startswith((".", "~"))
    )
    wanted = (path for path in files if path.suffix.lower() not in (*_LOOSE_PARTS, ".txt", ".md"))
    return sorted(wanted, key=lambda path: path.name)


def _read_file(path: Path, file: str, ids: pd.Series[str]) -> tuple[GeoDataFrame, list[Problem]]:
    if path.suffix.lower() not in FORMATS:
        message = f"{file} has an ending that is not known"
        if path.suffix.lower() == ".shp":
            message = f"{file} is one of several files that a Shapefile consists of\nzip the .shp, .shx, .dbf and .prj into one"
        raise SiteError(message)
    raw = open_layers(path, file)
    problems = list(raw.problems)
    tables = [_no_features()]
    start = 1
    for layer in raw.layers:
        try:
            found, layer_problems = _read_layer(layer, file, ids, start)
        except SiteError as err:
            problems.append(_tell(file, f"layer {layer.name}" if layer.name else "", err))
        else:
            tables.append(found)
            problems += layer_problems
        start += len(layer.fields)
    if start == 1:
        problems.append(
            fault(file, "", "the file holds no feature", "draw something in it, or take it out")
        )
    features = [table for table in tables if len(table)] or tables[:1]
    return GeoDataFrame(pd.concat(features, ignore_index=True), crs=WGS84), problems


def _read_layer(
    layer: RawLayer, file: str, ids: pd.Series[str], start: int
) -> tuple[GeoDataFrame, list[Problem]]:
    texts = name_fields(layer.fields)
    if no_kinds := unknown_kinds(texts, file, layer.name):
        return _no_features(), no_kinds
    suffix = f" (layer {layer.name})" if layer.name else ""
    places = [
        {"file": file, "feature": f"feature {number}{suffix}", "client_id": client_id}
        for number, client_id in enumerate(texts["client_id"], start)
    ]
    shapes, located = locate_shapes(layer, file)
    attributes, reasons, cell_problems = read_attributes(texts, places.__getitem__, ids)
    shapes, shape_reasons, changes = check_shapes(
        shapes, attributes["kind"].where(reasons == "", "").to_numpy(dtype=object)
    )
    is_told = np.zeros(len(texts), dtype=bool) if layer.is_told is None else layer.is_told
    shape_reasons = np.where((reasons == "") & ~is_told, shape_reasons, "")
    told = [
        fault(**places[at], problem=reason.partition("\n")[0], remedy=reason.partition("\n")[2])
        for at, reason in enumerate(reasons)
        if reason
    ]
    problems = [*located, *cell_problems, *told]
    problems += list_shape_problems(shape_reasons, np.where(reasons == "", changes, np.nan), places)
    is_good = (reasons == "") & (shape_reasons == "") & ~is_told
    features = attributes.assign(
        feature_id=[f"{file}#{number}" for number in range(start, start + len(texts))], file=file
    )
    table = GeoDataFrame(features, geometry=gpd.GeoSeries(shapes, crs=WGS84, index=features.index))
    return table.loc[is_good, list(FEATURES.columns)], problems


def _tell(file: str, feature: str, err: SiteError) -> Problem:
    """Turn an error into a problem row; a second line of it is the remedy."""
    problem, _, remedy = str(err).partition("\n")
    usual = f"export it again as one of {FORMAT_WORDS}, or take it out of the folder"
    return fault(file, feature, problem.removeprefix(file).lstrip("/: "), remedy or usual)


def _no_features() -> GeoDataFrame:
    columns = {name: pd.Series(dtype=object) for name in FEATURES.columns if name != "geometry"}
    shapes = gpd.GeoSeries(np.array([], dtype=object), crs=WGS84)
    return check_table(GeoDataFrame(columns, geometry=shapes), FEATURES)
