"""
The ground room's own story: a block of lots, from features to measured beds.

Everything here is arrays aligned by lot or by bed; the stages are the other modules'.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
import shapely
from geopandas import GeoDataFrame

from scanner.ground.beds import ALONG_DRIVES, Ground, cut_beds
from scanner.ground.drives import guess_openings, stand_drives
from scanner.ground.edges import list_edges
from scanner.ground.faces import face_walls
from scanner.ground.gather import Block, gather
from scanner.ground.kinds import CURB, Lots, Parts, shift
from scanner.ground.lawn import Lawn, close_gaps, find_lawn
from scanner.ground.lines import lay_lines
from scanner.ground.measures import measure_shapes
from scanner.ground.names import name_beds, number_beds
from scanner.ground.record.answers import add_cautions, look_up, settle_curbs
from scanner.ground.record.stored import match_stored_beds
from scanner.ground.seams import streets_of
from scanner.ground.setting.cautions import word_cautions
from scanner.ground.setting.limits import Limits, find_limits
from scanner.ground.setting.strips import find_strips
from scanner.plane.grid import LEAST_FT, boxes_meet, mend
from scanner.plane.labels import chains, label
from scanner.plane.segments import Segs, cut_rings, join_segs
from scanner.plane.shared_corners import share_corners
from scanner.schema.documents import LocalRules
from scanner.schema.log_tables import ANSWERS
from scanner.schema.tables import BEDS, empty_table

IN_PLANE = ("geometry", "plantable", "edge", "low_ground")
"""Columns of table `BEDS` with shapes, which lie in the plane; all else lies in the lot's frame."""


@dataclass(frozen=True)
class Survey:
    """A block of lots looked at."""

    block: Block  # what was gathered
    # lots, parts, lawn, limits: the lots with their strips, what stands on them, their turf and
    # limits
    lots: Lots
    parts: Parts
    lawn: Lawn
    limits: Limits
    ground: Ground  # what beds are cut from
    is_guessed: np.ndarray  # by lot, whether the place of its drive at the curb is a guess
    edges: pd.DataFrame  # edges as `list_edges` gives them
    # table `BEDS` with ``lot``, ``core``, ``absorbed`` and ``shape``, these in the lot's frame
    beds: pd.DataFrame


def survey_block(
    features: GeoDataFrame,
    client_ids: np.ndarray,
    clients: pd.DataFrame,
    *,
    rules: LocalRules,
    stored: GeoDataFrame | None = None,
    answers: pd.DataFrame | None = None,
) -> Survey:
    """
    Find and measure the beds of a block of lots, skipped ones too.

    `features`: degrees, of what lies within ``front_reach_ft`` of each lot, or more; `client_ids`:
    those with an outline there, all of one plane, in order; `stored`: beds of earlier scans, which
    keep their names; None: there are none; `answers`: None: no crew has looked yet.
    """
    answers = empty_table(ANSWERS) if answers is None else answers
    block = gather(features, client_ids, clients, rules=rules)
    seen = look_up(block.lots.client_id, answers)
    parts = lay_lines(block.lots, settle_curbs(block.parts, seen), rules=rules)
    strips = find_strips(block, parts, rules=rules)
    block, parts = block.asked(), parts.take(parts.lot < block.count)
    seen = look_up(block.lots.client_id, answers)
    lots = block.lots._replace(strip=strips[: block.count])
    streets = streets_of(parts, block.count)
    parts, is_mouth_guessed = stand_drives(lots, parts, streets, rules=rules)
    lawn, border, layers = _lay_out(block, lots, parts, rules)
    curbs = chains(border, CURB)
    openings = guess_openings(curbs, lots, parts, rules=rules, seen_ft=seen.opening_ft)
    limits = find_limits(block, lots, parts, streets, curbs, rules=rules)
    ground = Ground(lawn.ground, border, layers, parts, limits.removed, openings)
    survey = Survey(
        block, lots, parts, lawn, limits, ground,
        is_guessed=is_mouth_guessed | ~shapely.is_empty(openings),
        edges=list_edges(border, rules.kind_order),
        beds=cut_beds(ground, rules=rules, denied=seen.denied),
    )  # fmt: skip
    if len(survey.beds):
        beds = _measured(survey, rules=rules)
        if stored is not None:
            beds = match_stored_beds(beds, stored, frame=block.frame, rules=rules)
        survey = replace(survey, beds=add_cautions(beds, answers))
    else:
        survey = replace(
            survey,
            beds=empty_table(BEDS).assign(
                lot=np.zeros(0, int), core=None, absorbed=None, shape=None
            ),
        )
    return survey


def _share_corners(lots: Lots, parts: Parts) -> tuple[Lots, Parts]:
    """Let what touches share its corners: outlines, strips, lawns as drawn and what stands there."""
    every = np.arange(len(lots.outline))
    lot = np.concatenate([every, every, every, parts.lot])
    order = np.argsort(lot, kind="stable")
    shapes = np.concatenate([lots.outline, lots.strip, lots.turf, parts.shape])
    shapes[order] = share_corners(shapes[order], lot[order], lots.box)
    outline, strip, turf, stood = np.split(shapes, np.cumsum([len(every)] * 3))
    return lots._replace(outline=outline, strip=strip, turf=turf), parts._replace(shape=stood)


def _lay_out(block: Block, lots: Lots, parts: Parts, rules: LocalRules) -> tuple[Lawn, Segs, Segs]:
    """Find the lawn and label its border; the pieces of what stands round it too."""
    count = len(lots.outline)
    lots, parts = _share_corners(lots, parts)
    lawn = find_lawn(lots, parts, rules=rules)
    layers = cut_rings(parts.shape, parts.lot, parts.bits)
    layers = face_walls(layers, block.around, rules=rules)
    box = shapely.bounds(lawn.ground)[layers.lot]
    close = layers.take(boxes_meet(layers.box, box, rules.gap_ft + 1.0))
    border = label(cut_rings(lawn.ground, np.arange(count)), close)
    ground, at = close_gaps(
        lawn.ground, lots, parts, (border, close), neighbors=block.around.neighbors, rules=rules
    )
    lawn = replace(lawn, ground=ground)
    closed = label(cut_rings(ground[at], at), close)
    return lawn, join_segs(border.take(~np.isin(border.lot, at)), closed), layers


def _measured(survey: Survey, *, rules: LocalRules) -> pd.DataFrame:
    """Measure, name and caution the beds of a survey."""
    beds, lots = survey.beds, survey.lots
    tables = [
        measure_shapes(group, survey.ground.border_of(str(group["along"].iloc[0])), lots.outline)
        for _, group in beds.groupby(beds["along"].isin(ALONG_DRIVES))
    ]
    beds = limit_beds(pd.concat(tables), survey).sort_index()
    lot, along = beds["lot"].to_numpy(), beds["along"].to_numpy()
    number = number_beds(beds["core"].to_numpy(), lot, along, survey.block)
    turf_left_ft2 = shapely.area(survey.lawn.ground)[lot] - beds["area_ft2"].to_numpy()
    beds = beds.assign(
        bed_id=name_beds(lots.client_id[lot], along, number),
        client_id=lots.client_id[lot],
        frame=survey.block.frame,
        lawn_source=survey.lawn.source[lot],
        is_opening_guessed=survey.is_guessed[lot] & np.isin(along, ALONG_DRIVES),
        turf_left_ft2=np.where(turf_left_ft2 > LEAST_FT, turf_left_ft2, 0.0),
    )
    is_known = survey.block.around.is_known()
    beds["cautions"] = word_cautions(beds, survey.limits, is_known=is_known, rules=rules)
    return place_beds(beds, lots).sort_values("bed_id", kind="stable", ignore_index=True)


def limit_beds(beds: pd.DataFrame, survey: Survey) -> pd.DataFrame:
    """Measure what limits take of beds: ``geometry`` and the measures of limits, in the lot's frame [ft]."""
    shapes = beds["shape"].to_numpy()
    limited = survey.limits.measure(shapes, beds["lot"].to_numpy())
    columns = {str(name): limited[name].to_numpy() for name in limited}
    return beds.assign(geometry=shapes, **columns)


def place_beds(beds: pd.DataFrame, lots: Lots) -> pd.DataFrame:
    """Move beds, the columns `IN_PLANE`, from their lots' frames into the plane [ft]."""
    origin = lots.origin[beds["lot"].to_numpy()]
    # Far from the origin digits are fewer: a hair may cross itself there.
    return beds.assign(**{name: mend(shift(beds[name].to_numpy(), origin)) for name in IN_PLANE})
