"""What a plan of some lots is drawn from, in feet: the ground on and round them, and what is kept clear."""

from __future__ import annotations

import numpy as np
import pandas as pd
import shapely

from scanner.ground.drawn.lot_tables import LAYER_BITS
from scanner.ground.kinds import EASEMENT, LINE, OTHER, shift
from scanner.ground.setting.limits import AT_CORNER, FIRE, LOW, RAMP, ROOTS, STEP_OUT, WALL
from scanner.ground.survey import Survey
from scanner.schema.tables import PLAN_LAYERS, PLAN_SHAPES, check_table

LAYERS = {
    name: bits for name, bits in {**LAYER_BITS, "neighbor": OTHER}.items() if name in PLAN_LAYERS
}
LIMIT_BITS = {
    "drive": LOW,
    "ramp": RAMP,
    "roots": ROOTS,
    "step_out": STEP_OUT,
    "wall": WALL,
    "wildfire": FIRE,
}
"""Limits with their bits; low ground at a street corner has a bit more. Things have their circles."""


def list_plan_shapes(survey: Survey) -> pd.DataFrame:
    """List what plans of a block's lots are drawn from: table `PLAN_SHAPES`, in the plane [ft]."""
    lots, parts = survey.lots, survey.parts.take((survey.parts.bits & LINE) == 0)
    every = np.arange(len(lots.outline))
    openings = ~shapely.is_empty(survey.ground.openings)
    limits, circles = survey.limits.ground, survey.limits.circles
    is_corner = (limits.bits & AT_CORNER) > 0
    rows = [
        ("outline", "", lots.outline, every),
        ("drive", "guessed", survey.ground.openings[openings], every[openings]),
        ("kept_clear", "corner", limits.shape[is_corner], limits.lot[is_corner]),
        ("thing", circles["what"], circles["geometry"].to_numpy(object), circles["lot"].to_numpy()),
    ]
    named = [(layer, "", parts.of(bits)) for layer, bits in LAYERS.items()]
    named += [
        ("kept_clear", what, limits.take(~is_corner).of(bits)) for what, bits in LIMIT_BITS.items()
    ]
    named.append(("kept_clear", "barred", survey.block.limits.of(EASEMENT)))
    rows += [(layer, what, some.shape, some.lot) for layer, what, some in named]
    tables = [_rows(survey, *row) for row in rows]
    return check_table(pd.concat(tables, ignore_index=True), PLAN_SHAPES)


def _rows(
    survey: Survey, layer: str, what: object, shapes: np.ndarray, lot: np.ndarray
) -> pd.DataFrame:
    return pd.DataFrame({
        "client_id": survey.lots.client_id[lot],
        "layer": layer,
        "what": np.broadcast_to(np.asarray(what, object), len(lot)),
        "geometry": shift(shapes, survey.lots.origin[lot]),
    })  # fmt: skip
