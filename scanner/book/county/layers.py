"""The layers of a county: read, picked, checked and brought onto one plane."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from pyproj.exceptions import ProjError

from scanner.book.county.layer_columns import find_column, list_names, read_said, read_texts
from scanner.book.county.layer_kinds import KINDS, PROPERTY, County, Pick
from scanner.book.county.pieces import Shapes
from scanner.book.county.sources import Source, read_source
from scanner.book.layers.one_layer import RawLayer
from scanner.book.layers.shapes import check_shapes, locate_shapes, share_words
from scanner.errors import SiteError
from scanner.plane.frame import name_frames, to_feet
from scanner.schema.feature_kinds import FeatureKind
from scanner.sheets.problems import Problem, fault, note

_REMEDY = "nothing to do unless a client's lot needs it; else mend it in a copy of the layer"
_NEAR_FT = 5280.0
"""A layer may lie beside the parcels, though no farther off than a mile."""

_DIMENSIONS = {"points": 0, "lines": 1, "areas": 2}


@dataclass(frozen=True)
class LayerFeatures:
    """The usable features of one layer."""

    kind: FeatureKind  # kind of layer
    source: Source  # where they came from
    fields: pd.DataFrame  # columns as the file has them, one row a feature
    said: pd.DataFrame  # columns of `CELLS`, as a layer of its kind says them
    numbers: NDArray[np.intp]  # place of each feature in the file, 1 is the first
    shapes: Shapes  # on the plane [ft]; degrees until a plane is laid
    is_line: bool  # whether they are lines where areas are usual

    def __len__(self) -> int:
        return len(self.shapes)

    def place(self, at: int) -> dict[str, str]:
        """Name a feature for a problem row."""
        return {"file": self.source.name, "feature": f"feature {self.numbers[at]}"}


def read_layers(county: County) -> tuple[list[LayerFeatures], str, list[Problem]]:
    """Read all layers of a county, parcels first, onto one plane: usable features by layer, its name, what was left out or mended."""
    layers: list[LayerFeatures] = []
    problems: list[Problem] = []
    for kind in KINDS:
        for source in county.sources.get(kind.name, ()):
            picks = [pick for pick in county.picks if pick.kind == kind.name]
            column = county.year_built if kind is PROPERTY else ""
            things, found = _read_layer(source, kind, picks, year_column=column)
            layers.append(things)
            problems += found
    # the usual parcel's plane: one stray far off moves nothing
    west, south, east, north = np.nanmedian(shapely.bounds(layers[0].shapes), axis=0)
    frame = str(name_frames(shapely.points([(west + east) / 2], [(south + north) / 2]))[0])
    moved = [replace(things, shapes=to_feet(things.shapes, frame)) for things in layers]
    _refuse_elsewhere(moved)
    return moved, frame, problems


def _read_layer(
    source: Source, kind: FeatureKind, picks: list[Pick], *, year_column: str
) -> tuple[LayerFeatures, list[Problem]]:
    layer = read_source(source)
    at = _pick(layer, picks, source)
    drawn_as = _drawn_as(layer.shapes[at], kind, source)
    is_told = np.broadcast_to(layer.is_told, len(layer.shapes))[at]
    shapes = _locate(
        RawLayer(layer.name, layer.fields.iloc[at], layer.shapes[at], layer.crs), source
    )
    is_gone = shapely.is_missing(shapes) | shapely.is_empty(shapes)
    is_stray = ~is_gone & (shapely.get_dimensions(shapes) != _DIMENSIONS[drawn_as])
    shapes, reasons, changes = check_shapes(shapes, np.full(len(at), "", object))
    reasons = np.where(
        is_stray, f"{kind.option} are drawn as {drawn_as}, and this is none", reasons
    )
    places = [
        {"file": source.name, "feature": f"feature {number + 1}", "client_id": ""} for number in at
    ]
    told = np.flatnonzero((reasons != "") & ~is_told).tolist()
    problems = [*layer.problems, *_note_mended(changes, at, source)] + [
        fault(**places[row], problem=f"{reasons[row]}; it is left out", remedy=_REMEDY)
        for row in told
    ]
    is_good = (reasons == "") & ~is_told
    if not is_good.any():
        message = f"{source.name} holds not one usable feature of {len(at):,}: {_first(reasons)}"
        raise SiteError(message)
    fields, numbers = layer.fields.iloc[at[is_good]].reset_index(drop=True), at[is_good] + 1
    good = [place for place, is_so in zip(places, is_good, strict=True) if is_so]
    if year_column:
        # counties write 0 for a lot without a house
        years = read_texts(find_column(fields, year_column, source.name)).replace("0", "")
        fields = fields.drop(columns="year_built", errors="ignore").assign(year_built=years)
    said, unread = read_said(kind.name, fields, good.__getitem__, source.name)
    is_line = drawn_as == "lines"
    things = LayerFeatures(kind, source, fields, said, numbers, shapes[is_good], is_line)
    return things, [*problems, *unread]


def _pick(layer: RawLayer, picks: list[Pick], source: Source) -> NDArray[np.intp]:
    """Find the features that are wanted: any value named of a column, in all columns named."""
    is_wanted = np.ones(len(layer.fields), dtype=bool)
    for column in dict.fromkeys(pick.column for pick in picks):
        there = read_texts(find_column(layer.fields, column, source.name))
        values = [pick.value for pick in picks if pick.column == column]
        is_wanted &= there.str.casefold().isin([value.casefold() for value in values]).to_numpy()
        if not is_wanted.any():
            message = (
                f"{source.name} has no feature with {' or '.join(values)} in its column '{column}'; "
                f"the values that are there: {list_names(sorted(set(there) - {''}))}"
            )
            raise SiteError(message)
    return np.flatnonzero(is_wanted)


def _drawn_as(shapes: Shapes, kind: FeatureKind, source: Source) -> str:
    """Tell what most of a layer is drawn as; one that is wholly of another type is refused."""
    dimensions = shapely.get_dimensions(shapes[~shapely.is_missing(shapes)])
    counts = {name: int((dimensions == size).sum()) for name, size in _DIMENSIONS.items()}
    best = max(kind.shapes, key=lambda name: (counts[name], -kind.shapes.index(name)))
    if counts[best]:
        return best
    came = max(counts, key=lambda name: (counts[name], name))
    wanted = " or ".join(kind.shapes)
    message = f"{source.name} holds {came if counts[came] else 'no shapes'}, and {kind.option} are drawn as {wanted}: name the layer that holds them so"
    raise SiteError(message)


def _locate(layer: RawLayer, source: Source) -> Shapes:
    try:
        shapes, _ = locate_shapes(layer, source.name)
        points = shapely.get_coordinates(shapes[~shapely.is_missing(shapes)])
        is_lost = not np.isfinite(points).all(axis=1).any() if len(points) else False
    except SiteError as err:
        raise SiteError(": ".join(str(err).split("\n"))) from err
    except ProjError:
        is_lost = True
    if is_lost:
        message = f"{source.name}: its coordinates do not lie where its coordinate system holds: export it again in WGS 84"
        raise SiteError(message)
    return np.asarray(shapes, object)


def _note_mended(
    changes: NDArray[np.float64], at: NDArray[np.intp], source: Source
) -> list[Problem]:
    is_mended = np.isfinite(changes)
    if not is_mended.any():
        return []
    problem = (
        f"{is_mended.sum():,} outlines crossed themselves and were mended, each area changed by "
        f"{share_words(changes[is_mended].max())} or less (features {list_names((at[is_mended] + 1).tolist())})"
    )
    return [note(source.name, "", problem, "nothing to do, unless a lot looks wrong on the map")]


def _refuse_elsewhere(layers: list[LayerFeatures]) -> None:
    """Refuse a layer that lies nowhere near the parcels: its coordinate system is a wrong one."""
    parcels = np.concatenate([things.shapes for things in layers if things.kind is PROPERTY])
    west, south, east, north = shapely.total_bounds(parcels)
    ground = shapely.box(west, south, east, north).buffer(_NEAR_FT)
    for things in layers:
        if not shapely.intersects(shapely.box(*shapely.total_bounds(things.shapes)), ground):
            message = (
                f"{things.source.name} lies nowhere near the parcels: one of the two declares a wrong coordinate "
                "system, or is of another county"
            )
            raise SiteError(message)


def _first(reasons: NDArray[np.object_]) -> str:
    return next((str(reason) for reason in reasons if reason), "none can be read")
