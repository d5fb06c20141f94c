"""What the pages draw and say of a block: its lots, its shapes in degrees, its notes."""

from __future__ import annotations

from collections.abc import Sized

import numpy as np
import pandas as pd
import shapely
from geopandas import GeoDataFrame

from scanner.ground.kinds import (
    BED,
    DRIVE,
    EASEMENT,
    HOUSE,
    LINE,
    PATIO,
    SHED,
    SIDEWALK,
    STREET,
    WALK,
    WATER,
    WILDFIRE,
    Parts,
    shift,
)
from scanner.ground.survey import Survey
from scanner.plane import frame as frames
from scanner.plane.grid import boxes_meet, meet
from scanner.schema.documents import LocalRules
from scanner.schema.tables import BEDS, EDGES, LOTS, SHAPES, check_table

LAYER_BITS = {
    "street": STREET, "sidewalk": SIDEWALK, "drive": DRIVE, "walk": WALK, "patio": PATIO,
    "house": HOUSE, "outbuilding": SHED, "old_bed": BED, "water": WATER, "easement": EASEMENT,
    "wildfire_area": WILDFIRE,
}  # fmt: skip
"""Bits of the parts that a page draws, by layer of the plan."""

LOST_SHARE = 0.05
"""Drawn lawn that loses more than this share to built ground is worth a note."""

DRAW_THE_STREET = "add the street, its centerline with its width, or draw the curb as an edge"

CAUSES = {
    "undrawn": (
        "no lawn is drawn, and the lot is over {infer_max_ft2:,.0f} ft² or its open ground far "
        "over the mowed area: not all of it can be turf",
        "draw the lawn",
    ),
    "lost": (
        f"more than {LOST_SHARE:.0%} of the drawn lawn lies on built, planted or wet ground",
        "look whether lawn and buildings are drawn in the right place",
    ),
    "no street": (
        "no street or curb is known within {front_reach_ft:g} ft: no curb bed was looked for, and "
        "every house wall was taken for a front",
        DRAW_THE_STREET,
    ),
    "no curb": (
        "no street or curb is known beside the lot: no curb bed was looked for",
        DRAW_THE_STREET,
    ),
    "no turf": (
        "no turf is left on the lot after buildings, hardscape and beds",
        "look whether the outline is right, or draw the lawn",
    ),
}
"""What a lot may leave unanswered, with the remedy; a client gets the first that holds."""

AROUND_FT = 12.0
"""Hardscape is drawn this far beyond the box of an outline and its strip."""


def list_lots(survey: Survey) -> pd.DataFrame:
    """List the lots of a block: table `LOTS` [ft]."""
    lots, lawn = survey.lots, survey.lawn
    table = pd.DataFrame({"client_id": lots.client_id}).assign(
        frame=survey.block.frame,
        outline=shift(lots.outline, lots.origin),
        strip=shift(lots.strip, lots.origin),
        lawn=shift(lawn.ground, lots.origin),
        lawn_source=lawn.source,
        lawn_ft2=shapely.area(lawn.ground),
    )
    return check_table(table, LOTS)


def list_lot_edges(survey: Survey) -> pd.DataFrame:
    """List the edges of a block: table `EDGES` [ft]."""
    edges = survey.edges
    lot = edges["lot"].to_numpy()
    lines = shift(edges["geometry"].to_numpy(object), survey.lots.origin[lot])
    owners = survey.lots.client_id[lot]
    return check_table(edges.assign(client_id=owners, geometry=lines).drop(columns="lot"), EDGES)


def list_beds(survey: Survey) -> pd.DataFrame:
    """List the beds of a block: table `BEDS` [ft], with ``lot``, ``core`` and ``absorbed``."""
    return check_table(survey.beds, BEDS)


def list_shapes(survey: Survey, beds: pd.DataFrame) -> GeoDataFrame:
    """List what the pages draw of a block, of the beds that count: table `SHAPES`, degrees."""
    lots, block = survey.lots, survey.block
    owners = lots.client_id
    own = [
        _rows(layer, owners, "", shift(shapes, lots.origin))
        for layer, shapes in (
            ("outline", lots.outline),
            ("strip", lots.strip),
            ("lawn", survey.lawn.ground),
        )
    ]
    window = _surroundings(survey)
    openings = Parts(survey.ground.openings, np.full(len(owners), DRIVE), np.arange(len(owners)))
    parts = [
        _layer_rows(layer, given.of(bits), survey, window)
        for given in (survey.parts, block.limits, openings)
        for layer, bits in LAYER_BITS.items()
    ]
    edges, points = survey.edges, block.points
    xy, lot = points[["x_ft", "y_ft"]].to_numpy(float), points["lot"].to_numpy()
    near = np.flatnonzero(((xy >= window[lot, :2]) & (xy <= window[lot, 2:])).all(axis=1))
    points, xy, lot = points.iloc[near], xy[near], lot[near]
    drawn = beds[(beds["frame"] == block.frame) & beds["client_id"].isin(owners)]
    at = edges["lot"].to_numpy()
    lines = shift(edges["geometry"].to_numpy(object), lots.origin[at])
    tables = [
        *own,
        *parts,
        _rows("edge", owners[at], edges["along"], lines),
        _rows("bed", drawn["client_id"], drawn["bed_id"], drawn["geometry"]),
        _rows(points["kind"], owners[lot], points["what"], shapely.points(xy + lots.origin[lot])),
    ]
    shapes = pd.concat(tables, ignore_index=True)
    some = np.flatnonzero(~shapely.is_empty(shapes["geometry"].to_numpy()))
    shapes = shapes.iloc[some].reset_index(drop=True)
    degrees = frames.to_degrees(shapes["geometry"].to_numpy(), block.frame)
    columns = shapes.drop(columns="geometry")
    return check_table(GeoDataFrame(columns, geometry=degrees, crs=frames.WGS84), SHAPES)


def list_notes(survey: Survey, *, rules: LocalRules) -> pd.DataFrame:
    """List what a client's lot leaves unanswered, one note a client, first cause first: table `PROBLEMS`."""
    lots, lawn = survey.lots, survey.lawn
    has_street = np.bincount(survey.parts.of(STREET).lot, minlength=len(lots.outline)) > 0
    applies = {
        "undrawn": lawn.is_undrawn,
        "lost": lawn.lost_share > LOST_SHARE,
        "no street": ~survey.block.around.is_known(),
        "no curb": ~has_street,
        "no turf": shapely.is_empty(lawn.ground),
    }
    causes = np.array([applies[name] for name in CAUSES])
    some = np.flatnonzero(causes.any(axis=0))
    words = [list(CAUSES.values())[at] for at in np.argmax(causes, axis=0)[some]]
    return pd.DataFrame(
        {
            "file": "",
            "feature": "",
            "client_id": lots.client_id[some],
            "severity": "note",
            "problem": [problem.format(**rules.model_dump()) for problem, _ in words],
            "remedy": [remedy for _, remedy in words],
        }
    )


def _surroundings(survey: Survey) -> np.ndarray:
    """Give the box round each lot within which hardscape is drawn, in its frame."""
    outline, strip = shapely.bounds(survey.lots.outline), shapely.bounds(survey.lots.strip)
    low = np.fmin(outline[:, :2], strip[:, :2]) - AROUND_FT
    return np.column_stack([low, np.fmax(outline[:, 2:], strip[:, 2:]) + AROUND_FT])


def _layer_rows(layer: str, parts: Parts, survey: Survey, window: np.ndarray) -> pd.DataFrame:
    """Give the parts of a layer, those cut that reach far beyond their lot."""
    parts = parts.take((parts.bits & LINE) == 0)
    box, near = shapely.bounds(parts.shape), window[parts.lot]
    meets = boxes_meet(box, near)
    parts, box, near = parts.take(meets), box[meets], near[meets]
    beyond = np.flatnonzero(((box[:, :2] < near[:, :2]) | (box[:, 2:] > near[:, 2:])).any(axis=1))
    is_whole = layer in ("house", "outbuilding")
    shapes = parts.shape.copy()
    if not is_whole:
        shapes[beyond] = meet(shapes[beyond], shapely.box(*near[beyond].T))
    lots = survey.lots
    return _rows(layer, lots.client_id[parts.lot], "", shift(shapes, lots.origin[parts.lot]))


def _rows(layer: object, owners: object, ref: object, shapes: Sized) -> pd.DataFrame:
    count = len(shapes)
    return pd.DataFrame(
        {
            "layer": np.broadcast_to(np.asarray(layer, object), count),
            "client_id": np.asarray(owners, object),
            "ref": np.broadcast_to(np.asarray(ref, object), count),
            "geometry": np.asarray(shapes, object),
        }
    )
