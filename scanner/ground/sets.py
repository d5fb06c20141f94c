"""
Beds as they lie together in an offer: turf that they leave too narrow is taken once.

Beds farther apart than two mowers leave each other as they are: only sets whose beds lie
nearer are drawn and measured anew.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import shapely

from scanner.ground.absorb import absorb_turf, join_absorbed
from scanner.ground.beds import ALONG_DRIVES, leaves_narrow
from scanner.ground.kinds import BED, DRIVE, GUESS, Parts
from scanner.ground.measures import (
    Rays,
    contacts_of,
    look_across,
    measure_lines,
    measure_shapes,
)
from scanner.ground.record.corrections import scale_beds
from scanner.ground.survey import Survey, limit_beds, place_beds
from scanner.plane.grid import LEAST_FT, boxes_meet
from scanner.plane.segments import Segs, cut_rings, join, join_segs
from scanner.schema.documents import LocalRules
from scanner.schema.tables import OFFER_BEDS, check_table

MOWERS_APART = 2.0
"""Beds so many mowers apart leave room between them for one at least, whatever each absorbs."""


LINES = ("bed_line_ft", "trim_ft", "turf_left_width_ft")
"""Measures that beds beside change where a bed keeps its ground."""


def single_bed_offers(beds: pd.DataFrame) -> pd.DataFrame:
    """Make an offer of each bed that is kept by itself, under its own id: table `OFFER_BEDS`."""
    kept = beds[beds["skip_reason"] == ""].reset_index(drop=True)
    alone = kept.assign(offer_id=kept["bed_id"])
    return check_table(alone.loc[:, [*OFFER_BEDS.columns]], OFFER_BEDS)


def combine_beds(
    sets: pd.DataFrame, beds: pd.DataFrame, survey: Survey | None, *, rules: LocalRules
) -> pd.DataFrame:
    """
    Lay the beds of each offer together: table `OFFER_BEDS`, one row an offer and bed.

    `sets`: ``offer_id client_id bed_id place``, any kept beds of one client; `survey`: the block
    that they lie in; None where all were measured on foot.
    """
    sets = sets.sort_values(["offer_id", "place"])
    rows = beds.iloc[pd.Index(beds["bed_id"]).get_indexer(sets["bed_id"])].reset_index(drop=True)
    rows = rows.assign(offer_id=sets["offer_id"].to_numpy(), place=sets["place"].to_numpy())
    if survey is not None and len(rows):
        near = np.isin(rows.index, np.concatenate(near_beds(rows, rules=rules, key="offer_id")))
        if near.any():
            rows = pd.concat([rows[~near], _redraw(rows[near], survey, rules)])
            rows = rows.sort_values(["offer_id", "place"], ignore_index=True)
        lawn_ft2 = pd.Series(shapely.area(survey.lawn.ground), index=survey.lots.client_id)
        rows = leave_turf(rows, lawn_ft2)
    return check_table(rows.loc[:, [*OFFER_BEDS.columns]], OFFER_BEDS)


def near_beds(
    beds: pd.DataFrame, *, rules: LocalRules, key: str = "client_id"
) -> tuple[np.ndarray, np.ndarray]:
    """Pair the beds of one `key` that change when they are laid together: rows within two mowers of each other."""
    at = np.flatnonzero(beds["frame"] != "")
    shapes, own = beds["geometry"].to_numpy()[at], pd.factorize(beds[key].iloc[at])[0]
    order = np.argsort(own, kind="stable")
    i, j = join(own, own[order])
    j = order[j]
    i, j = i[i < j], j[i < j]
    box, far_ft = shapely.bounds(shapes).reshape(-1, 4), MOWERS_APART * rules.mower_ft
    close = boxes_meet(box[i], box[j], far_ft)
    i, j = i[close], j[close]
    near = shapely.dwithin(shapes[i], shapes[j], far_ft)
    return at[i[near]], at[j[near]]


def leave_turf(rows: pd.DataFrame, lawn_ft2: pd.Series[float]) -> pd.DataFrame:
    """Take all beds of an offer out of the turf that each leaves [ft²]; `lawn_ft2`: by client id."""
    is_drawn = rows["frame"] != ""
    area_ft2 = rows["area_ft2"].where(is_drawn, 0.0).groupby(rows["offer_id"]).transform("sum")
    left_ft2 = (rows["client_id"].map(lawn_ft2).astype(float) - area_ft2).clip(lower=0.0)
    return rows.assign(turf_left_ft2=rows["turf_left_ft2"].mask(is_drawn, left_ft2))


def _redraw(rows: pd.DataFrame, survey: Survey, rules: LocalRules) -> pd.DataFrame:
    """Absorb and measure anew what lies together; of beds that keep their ground, the lines alone."""
    turn = rows["along"].map({along: at for at, along in enumerate(rules.kind_order)})
    rows = rows.assign(turn=turn).sort_values(["offer_id", "turn", "bed_id"], ignore_index=True)
    at = pd.Index(survey.beds["bed_id"]).get_indexer(rows["bed_id"])
    drawn = ("lot", "core", "absorbed", "shape")
    rows = rows.assign(**{name: survey.beds[name].to_numpy()[at] for name in drawn})
    offer = np.unique(rows["offer_id"].to_numpy(str), return_inverse=True)[1]
    border = join_segs(_border_of(rows, survey), _sides_beside(rows, offer))
    touching = contacts_of(rows["shape"].to_numpy(), np.arange(len(rows)), border)
    rays = look_across(touching, border)
    lines = measure_lines(touching, rays, len(rows))
    asked = np.isin(offer, offer[_may_grow(rows, offer, touching, rays, rules.mower_ft)])
    core, absorbed = rows["core"].to_numpy()[asked], rows["absorbed"].to_numpy().copy()
    absorbed[asked] = _absorb(core, rows["lot"].to_numpy()[asked], offer[asked], survey, rules)
    grown_ft2 = shapely.area(absorbed) - shapely.area(rows["absorbed"].to_numpy())
    is_new = np.abs(grown_ft2) > LEAST_FT
    if "share" in rows:  # where a length was measured on the lot, all is scaled anew
        is_new |= rows["share"].notna().to_numpy()
    shapes = rows["shape"].to_numpy().copy()
    shapes[is_new] = join_absorbed(rows["core"].to_numpy()[is_new], absorbed[is_new])
    rows = rows.assign(absorbed=absorbed, shape=shapes)
    again = np.flatnonzero(np.isin(offer, offer[is_new]))
    if not len(again):
        return rows.assign(**{name: lines[name] for name in LINES})
    some = rows.iloc[again].assign(lot=np.arange(len(again)))
    outline = survey.lots.outline[rows["lot"].to_numpy()[again]]
    beside = _sides_beside(rows.iloc[again], offer[again])
    border = join_segs(_border_of(rows.iloc[again], survey), beside)
    measured = measure_shapes(some, border, outline)
    lines.loc[again, [*LINES]] = measured[[*LINES]].to_numpy()
    kept = rows[~is_new].assign(**{name: lines.loc[~is_new, name] for name in LINES})
    anew = measured.assign(lot=rows["lot"].to_numpy()[again])[is_new[again]]
    anew = place_beds(limit_beds(anew, survey), survey.lots)
    return pd.concat([kept, scale_beds(anew, rules=rules) if "share" in anew else anew])


def _absorb(
    core: np.ndarray, lot: np.ndarray, offer: np.ndarray, survey: Survey, rules: LocalRules
) -> np.ndarray:
    """Give the beds of each offer what they leave too narrow to mow, to the first of them first."""
    ground = survey.ground
    offer = np.unique(offer, return_inverse=True)[1]
    lot_of = np.zeros(int(offer.max(initial=-1)) + 1, int)
    lot_of[offer] = lot
    barred = Parts(np.zeros(0, object), np.zeros(0, np.int32), np.zeros(0, int))
    for taken, bits in ((ground.removed, 0), (ground.openings, DRIVE)):
        at = np.flatnonzero(~shapely.is_empty(taken[lot_of]))
        barred = barred.add(taken[lot_of[at]], bits, at)
    border = _for_each(lot_of, ground.border)
    return absorb_turf(ground.turf[lot_of], (core, offer), border, barred, mower_ft=rules.mower_ft)


def _for_each(lot_of: np.ndarray, border: Segs) -> Segs:
    """Copy the pieces of each row's lot, keyed by row."""
    row, piece = join(lot_of, border.lot)
    return border.take(piece)._replace(lot=row)


def _border_of(rows: pd.DataFrame, survey: Survey) -> Segs:
    """Give the border that each of some beds lies on: the turf's, and those of guessed drives."""
    lot = rows["lot"].to_numpy()
    opening = survey.ground.openings[lot]
    is_cut = rows["along"].isin(ALONG_DRIVES).to_numpy() & ~shapely.is_empty(opening)
    at = np.flatnonzero(is_cut)
    sides = cut_rings(opening[at], at, DRIVE | GUESS)
    return join_segs(_for_each(lot, survey.ground.border), sides)


def _sides_beside(rows: pd.DataFrame, offer: np.ndarray) -> Segs:
    row, other = _beside(offer)
    return cut_rings(rows["shape"].to_numpy()[other], row, BED)


def _beside(offer: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    row, other = join(offer, offer)
    return row[row != other], other[row != other]


def _may_grow(
    rows: pd.DataFrame, offer: np.ndarray, touching: Segs, rays: Rays, mower_ft: float
) -> np.ndarray:
    """Tell which beds may take in other turf than alone: another stands across, or near what is narrow."""
    count, shapes = len(rows), rows["shape"].to_numpy()
    is_narrow = leaves_narrow(rays, count, mower_ft)
    is_narrow |= ~shapely.is_empty(rows["absorbed"].to_numpy())
    row, other = _beside(offer)
    row, other = row[is_narrow[row]], other[is_narrow[row]]
    near = shapely.dwithin(shapes[row], shapes[other], mower_ft)
    across = look_across(touching, _sides_beside(rows, offer))
    return (np.bincount(row, near, count) > 0) | leaves_narrow(across, count, mower_ft)
