"""Site features from any number of drawn files: read, checked, placed."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Set
from hashlib import file_digest
from itertools import groupby
from pathlib import Path

import numpy as np
import pandas as pd
from geopandas import GeoDataFrame
from numpy.typing import NDArray

from scanner.book.layers.attributes import name_fields, read_attributes, unknown_kinds
from scanner.book.layers.formats import FORMAT_WORDS, FORMATS, stream_layers
from scanner.book.layers.one_layer import RawLayer
from scanner.book.layers.placing import settle_features
from scanner.book.layers.shapes import check_shapes, list_shape_problems, locate_shapes
from scanner.errors import SiteError
from scanner.schema.tables import FEATURES, check_table
from scanner.sheets.problems import Problem, fault, list_problems
from scanner.store.ceilings import MAX_FAULTS
from scanner.store.folder import Store, passing_store
from scanner.store.kept import find_land, keep_land
from scanner.store.land import Land, LandWriter
from scanner.store.prints import print_of, program_print

_LOOSE_PARTS = (".shx", ".dbf", ".prj", ".cpg", ".qmd", ".qpj", ".sbn", ".sbx")
"""What lies beside a Shapefile that is not zipped: one fault for the .shp is enough."""


def read_sites(
    folder: Path, clients: pd.DataFrame, *, left_out: Collection[str] = ()
) -> tuple[GeoDataFrame, pd.DataFrame]:
    """Read all files of site features in a folder: table `FEATURES`, one outline a client, houses, outbuildings, lawns and beds placed on theirs."""
    with passing_store() as store:
        land, problems = read_land(folder, clients, store, left_out=left_out)
        return check_table(land.take(land.as_read()).reset_index(drop=True), FEATURES), problems


def read_land(
    folder: Path, clients: pd.DataFrame, store: Store, *, left_out: Collection[str] = ()
) -> tuple[Land, pd.DataFrame]:
    """Read all files of site features into a store, feature by feature: the features by place, and `PROBLEMS`.

    Files that an earlier scan has read there, for the same clients, are not read again.
    """
    paths = {f"{folder.name}/{path.name}": path for path in _list_files(folder)}
    shapes = store.folder / "shapes"
    mark = _mark(paths, clients, left_out)
    if kept := find_land(store.kept, mark, shapes):
        return kept
    land, problems = _read_land(paths, clients, shapes, left_out)
    if store.has_room:
        keep_land(land, problems, mark)
    return land, problems


def _mark(paths: Mapping[str, Path], clients: pd.DataFrame, left_out: Collection[str]) -> str:
    ids = "\n".join(sorted(clients["client_id"]))
    texts = list[str | bytes]()
    for file, path in paths.items():
        with path.open("rb") as stream:
            texts += [file, file_digest(stream, "blake2b").digest()]
    return print_of(program_print(), ids, "\n".join(sorted(left_out)), *texts)


def _read_land(
    paths: Mapping[str, Path], clients: pd.DataFrame, shapes: Path, left_out: Collection[str]
) -> tuple[Land, pd.DataFrame]:
    writer = LandWriter(shapes, paths)
    problems = list[Problem]()
    ids = frozenset(clients["client_id"])
    for file, path in paths.items():
        if file in left_out:
            continue
        try:
            told = [*_read_file(path, file, ids, writer)]
        except SiteError as err:
            writer.take_back(file)
            told = [_tell(file, "", err)]
        problems += told
    land, settled = settle_features(writer.close())
    return land, list_problems([*problems, *settled])


def _list_files(folder: Path) -> list[Path]:
    if not folder.is_dir():
        return []
    files = (
        path for path in folder.iterdir() if path.is_file() and not path.name.startswith((".", "~"))
    )
    wanted = (path for path in files if path.suffix.lower() not in (*_LOOSE_PARTS, ".txt", ".md"))
    return sorted(wanted, key=lambda path: path.name)


def _read_file(path: Path, file: str, ids: Set[str], writer: LandWriter) -> Iterator[Problem]:
    if path.suffix.lower() not in FORMATS:
        message = f"{file} has an ending that is not known"
        if path.suffix.lower() == ".shp":
            message = f"{file} is one of several files that a Shapefile consists of\nzip the .shp, .shx, .dbf and .prj into one"
        raise SiteError(message)
    start, faults = 1, 0
    for name, batches in groupby(stream_layers(path, file), key=lambda layer: layer.name):
        mute, spoke, count = list[Problem](), False, 0
        for layer in batches:
            yield from layer.problems
            texts = name_fields(layer.fields)
            try:
                found, shapes, told = _check_features(layer, texts, file, (ids, start))
            except SiteError as err:
                found, told = texts[:0], [_tell(file, f"layer {name}" if name else "", err)]
            start, count = start + len(texts), count + len(texts)
            faults += len(texts) - len(found)
            if faults > MAX_FAULTS:
                message = f"{file} has more than {MAX_FAULTS:,} faulty features, as {told[0]['feature']}: {told[0]['problem']}"
                raise SiteError(message)
            if len(found):
                writer.add(found, shapes)
            if spoke or (texts["kind"] != "").any() or not len(texts):
                spoke = spoke or bool(len(texts))
                yield from told
            else:
                mute += told
        # a layer without any kind is one fault, not one a feature
        yield from mute if spoke else unknown_kinds(count, file, name)
    if start == 1:
        yield fault(file, "", "the file holds no feature", "draw something in it, or take it out")


def _check_features(
    layer: RawLayer, texts: pd.DataFrame, file: str, known: tuple[Set[str], int]
) -> tuple[pd.DataFrame, NDArray[np.object_], list[Problem]]:
    """Check a batch: words and shapes for a `LandWriter`; ``known`` are the ids of the client list and the first feature's number."""
    ids, start = known
    suffix = f" (layer {layer.name})" if layer.name else ""

    def where(at: int) -> dict[str, str]:
        feature = f"feature {start + at}{suffix}"
        return {"file": file, "feature": feature, "client_id": texts["client_id"].iloc[at]}

    shapes, located = locate_shapes(layer, file)
    attributes, is_faulty, problems = read_attributes(texts, where, ids)
    is_told = is_faulty.to_numpy() | layer.is_told
    kinds = np.where(is_faulty, "", attributes["kind"].to_numpy(object))
    shapes, reasons, changes = check_shapes(shapes, kinds)
    reasons[is_told], changes[is_told] = "", np.nan
    problems += [*located, *list_shape_problems(reasons, changes, where)]
    is_good = (reasons == "") & ~is_told
    features = attributes.assign(number=np.arange(start, start + len(texts)), file=file)
    return features[is_good], shapes[is_good], problems


def _tell(file: str, feature: str, err: SiteError) -> Problem:
    # A second line of an error is the remedy
    problem, _, remedy = str(err).partition("\n")
    usual = f"export it again as one of {FORMAT_WORDS}, or take it out of the folder"
    return fault(file, feature, problem.removeprefix(file).lstrip("/: "), remedy or usual)
