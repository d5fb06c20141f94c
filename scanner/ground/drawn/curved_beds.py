"""Beds with curved lines, where a book wants them: their shapes and what is measured on them."""

from __future__ import annotations

import numpy as np
import pandas as pd
import shapely

from scanner.ground.drawn.curved_line import (
    LEAST_LINE_FT,
    LEAST_WAVE_FT,
    ON_EDGE_FT,
    Curved,
    curve_line,
)
from scanner.ground.kinds import shift
from scanner.ground.survey import Survey, limit_beds, place_beds
from scanner.schema.documents import LocalRules

KEPT = ("", "sold")
"""Beds that are built as drawn: offered or sold."""
BESIDE_FT = 1.0
"""Ground that a bed gains so near to ground without plants gets none either, where limits are not drawn to scale."""


def curve_beds(beds: pd.DataFrame, survey: Survey | None, *, rules: LocalRules) -> pd.DataFrame:
    """
    Curve the lines of beds, where the book wants them curved; beds of an offer lie together.

    A bed that stays straight says so among its cautions; one measured on foot (no `survey`) stays
    as it is. bed_line_ft gains what the lawn side gains, and what its open ends do. The turf left
    beside stays as wide as the mower, even where a bed across from it curves too.
    """
    if rules.bed_line != "curved" or survey is None:
        return beds
    is_drawn = (beds["frame"] != "") & beds["skip_reason"].isin(KEPT)
    has_lawn = beds["bed_line_ft"] >= np.maximum(beds["edge_ft"] / 2, LEAST_LINE_FT)
    rows = np.flatnonzero(is_drawn & has_lawn)
    owners = pd.Series(range(len(survey.lots.client_id)), index=survey.lots.client_id)
    lot = owners.reindex(beds["client_id"]).fillna(-1).to_numpy(int)
    origin = survey.lots.origin[lot]
    shapes, edges = (shift(beds[name].to_numpy(), -origin) for name in ("geometry", "edge"))
    offer = beds["offer_id" if "offer_id" in beds else "bed_id"].to_numpy()
    room_ft = (beds["turf_left_width_ft"].fillna(0.0).to_numpy() - rules.mower_ft) / 2
    is_scaled = (beds["edge_source"] == "measured").to_numpy()
    tables, straight = [beds.iloc[:0]], list[int]()
    for row in rows.tolist():
        beside = shapes[(offer == offer[row]) & (np.arange(len(beds)) != row)]
        lawn = survey.lawn.ground[lot[row]]
        # Where a tape found more than is drawn, a bed sticks out of its lawn, and so may its curve
        out = shapely.difference(shapes[row], shapely.buffer(lawn, ON_EDGE_FT))
        out = shapely.buffer(out, 2 * BESIDE_FT)
        turf = shapely.difference(shapely.union(lawn, out), shapely.union_all(beside))
        curved = curve_line(shapes[row], edges[row], turf, rules=rules, room_ft=room_ft[row])
        if curved is None:
            straight.append(row)
        else:
            bed = beds.iloc[[row]].assign(lot=lot[row], shape=curved.shape)
            limited = _limit_as_drawn if is_scaled[row] else _limit
            tables.append(_measure(limited(bed, shapes[row], survey), bed, shapes[row], curved))
    told = beds.iloc[straight]
    told = told.assign(cautions=told["cautions"] + f"; {rules.straight_words}")
    tables.append(told)
    changed = pd.concat([table[[*beds.columns]] for table in tables])
    return pd.concat([beds.drop(index=changed.index), changed]).loc[beds.index]


def _limit(bed: pd.DataFrame, _straight: shapely.Geometry, survey: Survey) -> pd.DataFrame:
    """Measure what limits take of a bed, and of it lies off the lot."""
    lot, shape = bed["lot"].iloc[0], bed["shape"].iloc[0]
    origin = survey.lots.origin[[lot]]
    inside = shapely.intersection(shape, survey.lots.outline[lot])
    limited = limit_beds(bed.assign(edge=shift(bed["edge"].to_numpy(), -origin)), survey)
    return place_beds(
        limited.assign(right_of_way_ft2=max(shape.area - inside.area, 0.0)), survey.lots
    )


def _limit_as_drawn(bed: pd.DataFrame, straight: shapely.Geometry, survey: Survey) -> pd.DataFrame:
    """Take the limits of a bed that was scaled to what was measured: the lot's own lie as drawn, no more beside it."""
    origin = survey.lots.origin[[bed["lot"].iloc[0]]]
    shape, (plantable,) = bed["shape"].iloc[0], shift(bed["plantable"].to_numpy(), -origin)
    new = shapely.difference(shape, straight)
    barred = shapely.buffer(shapely.difference(straight, plantable), BESIDE_FT)
    grown = shapely.union(shapely.intersection(plantable, shape), shapely.difference(new, barred))
    placed = [shift(np.array([some]), origin) for some in (shape, grown)]
    low = shapely.intersection(bed["low_ground"].to_numpy(), placed[0])
    return bed.assign(geometry=placed[0], plantable=placed[1], low_ground=low)


def _measure(
    limited: pd.DataFrame, before: pd.DataFrame, straight: shapely.Geometry, curved: Curved
) -> pd.DataFrame:
    """Measure a curved bed by what it was before."""
    area_ft2, depth_ft = before["area_ft2"], before["mean_depth_ft"]
    share = curved.shape.area / straight.area
    ends_ft = (before["bed_line_ft"] - (curved.line.length - curved.line_ft)).clip(lower=0.0)
    open_ends, drives = (
        (of_ends_ft / depth_ft.clip(lower=LEAST_WAVE_FT)).clip(upper=2.0)
        for of_ends_ft in (ends_ft, (before["trim_ft"] - before["edge_ft"]).clip(lower=0.0))
    )
    return limited.assign(
        area_ft2=area_ft2 * share,
        mean_depth_ft=depth_ft * share,
        turf_left_ft2=(before["turf_left_ft2"] - area_ft2 * (share - 1)).clip(lower=0.0),
        bed_line_ft=before["bed_line_ft"] + curved.line_ft + open_ends * curved.end_ft,
        trim_ft=before["trim_ft"] + drives.clip(upper=2.0 - open_ends) * curved.end_ft,
    )
