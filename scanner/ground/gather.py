"""
A block of lots with what lies in reach of each, as flat arrays in each lot's own frame.

What a lot gets hangs on its own window alone: not on the other lots of the block, nor on
the order of features and files.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import NamedTuple, Self

import numpy as np
import pandas as pd
import shapely
from geopandas import GeoDataFrame

from scanner.ground.kinds import (
    EASEMENT,
    HOUSE,
    LINE,
    OTHER,
    PARKING,
    SHED,
    SIDEWALK,
    STREET,
    WILDFIRE,
    Lots,
    Parts,
    bits_of,
    shift,
)
from scanner.ground.seams import divide_large, join_parts, pave, windows_of
from scanner.ground.setting.around import Around, look_around
from scanner.plane.frame import name_frames, to_feet
from scanner.plane.grid import boxes_meet, meet, only_ground, snap, unite
from scanner.schema.documents import LocalRules

AROUND_FT = 40.0
"""Ground beyond frontage and bed depth that is looked at: corners, drives next door."""

NEAR_FT = 4.0
"""Drives and buildings this far beyond frontage and sight triangle are looked at."""

FEET_PER_DEGREE = 362_000.0
"""A degree of latitude is nowhere shorter."""

MANY_VERTICES = 32
"""A shape with more vertices than this is cut to a lot's window: pairs grow with their square."""

POINTS = ("tree", "hydrant", "mailbox", "utility")
LIMITS = EASEMENT | WILDFIRE | PARKING


@dataclass(frozen=True)
class Block:
    """Lots looked at, and after them lots nearby, whose frontage strips may claim the same ground."""

    frame: str  # plane that all lie in
    lots: Lots  # the lots; the first `count` were asked for
    parts: Parts  # what lies in the window of each, what touches joined
    limits: Parts  # easements, wildfire areas and streets along which cars park
    # things to keep clear of: ``lot``, ``kind``, ``what``, ``dbh_in``, ``x_ft``, ``y_ft``
    points: pd.DataFrame
    around: Around  # streets and other outlines within the reach of fronts
    count: int  # lots asked for

    def asked(self) -> Self:
        """Leave the lots out that nobody asked for."""
        n = self.count
        return replace(
            self,
            lots=Lots(*(column[:n] for column in self.lots)),
            parts=self.parts.take(self.parts.lot < n),
            limits=self.limits.take(self.limits.lot < n),
            points=self.points[self.points["lot"] < n].reset_index(drop=True),
            around=self.around.of_lots(n),
        )


def gather(
    features: GeoDataFrame, client_ids: np.ndarray, clients: pd.DataFrame, *, rules: LocalRules
) -> Block:
    """
    Gather what lies in reach of some lots, all of one plane, in the order of `client_ids`.

    `features`: table `FEATURES`, degrees, of what lies within ``front_reach_ft`` of each lot, or
    more; `clients`: ``mowed_ft2``.
    """
    frame, table, drawn = _bring(features, client_ids, rules)
    shapes = snap(drawn)
    is_outline = (table["kind"] == "property").to_numpy()
    outlines, owner = shapes[is_outline], table["client_id"].to_numpy(str)[is_outline]
    names = np.concatenate([client_ids, _near_owners(outlines, owner, client_ids, rules)])
    lots = _lots(table[is_outline], outlines, names.astype(str), clients, rules)
    around = look_around(table, drawn, shapes, lots, reach_ft=rules.front_reach_ft)
    table, shapes = table[~is_outline].reset_index(drop=True), shapes[~is_outline]
    window = windows_of(lots, rules.frontage_max_ft + rules.bed_depth_ft + AROUND_FT)
    near = windows_of(lots, rules.frontage_max_ft + rules.setbacks.drive_triangle_ft + NEAR_FT)
    found = _reach(table, shapes, lots, window, near)
    parts = Parts(found.shape, found.bits, found.lot).take(found.bits > 0)
    return Block(
        frame=frame,
        lots=lots._replace(turf=_turf(found.take(found.kind == "lawn"), lots)),
        parts=join_parts(parts.take((parts.bits & LIMITS) == 0), gap_ft=rules.gap_ft),
        limits=parts.of(LIMITS).add(*_parked(found)),
        points=_points(found.take(np.isin(found.kind, POINTS)), table),
        around=around,
        count=len(client_ids),
    )


def _bring(
    features: GeoDataFrame, client_ids: np.ndarray, rules: LocalRules
) -> tuple[str, pd.DataFrame, np.ndarray]:
    shapes = features.geometry.to_numpy()
    own = ((features["kind"] == "property") & features["client_id"].isin(client_ids)).to_numpy()
    # A client whose outlines lie in two cells is measured in the first.
    frame = str(min(name_frames(shapes[own])))
    box = shapely.bounds(shapes[own])
    north = (rules.front_reach_ft + 2 * AROUND_FT) / FEET_PER_DEGREE
    east = north / np.cos(np.radians(np.clip(np.abs(box[:, [1, 3]]).max(), 0, 85)))
    box += np.array([-east, -north, east, north])
    at = shapely.STRtree(shapely.box(*box.T)).query(shapes)[0]
    served = divide_large(features.iloc[np.unique(at)].reset_index(drop=True), box)
    feet = to_feet(served.geometry.to_numpy(), frame)
    feet = pave(feet, served["kind"].to_numpy(), served["pavement_ft"].to_numpy(float))
    return frame, pd.DataFrame(served.drop(columns="geometry")), feet


def _near_owners(
    outlines: np.ndarray, owner: np.ndarray, client_ids: np.ndarray, rules: LocalRules
) -> np.ndarray:
    """Name the clients whose strips may meet those of some clients."""
    asked = np.isin(owner, client_ids.astype(str))
    others = np.flatnonzero(~asked & (owner != ""))
    reach_ft = 2 * rules.frontage_max_ft + 1.0
    tree = shapely.STRtree(outlines[asked])
    return np.unique(
        owner[others[tree.query(outlines[others], predicate="dwithin", distance=reach_ft)[0]]]
    )


def _lots(
    table: pd.DataFrame,
    outlines: np.ndarray,
    names: np.ndarray,
    clients: pd.DataFrame,
    rules: LocalRules,
) -> Lots:
    """Make one outline a client, each in its own frame."""
    order = np.argsort(names, kind="stable")
    owner = table["client_id"].to_numpy(str)
    place = np.clip(np.searchsorted(names, owner, sorter=order), 0, len(names) - 1)
    row = order[place]
    mine = names[row] == owner
    outline = unite(outlines[mine], row[mine], len(names))
    several = np.flatnonzero(np.bincount(row[mine], minlength=len(names)) > 1)
    outline[several] = snap(outline[several])
    origin = np.floor(shapely.bounds(outline)[:, :2])
    said = table["drives_known"].to_numpy(str)[mine]
    is_yes, is_no = (
        np.bincount(row[mine], said == word, minlength=len(names)) > 0 for word in ("yes", "no")
    )
    mowed_ft2 = clients.set_index("client_id")["mowed_ft2"].reindex(names).to_numpy(float)
    none = unite(outline[:0], np.zeros(0, int), len(names))
    return Lots(
        client_id=names.astype(object),
        origin=origin,
        outline=shift(outline, -origin),
        turf=none,
        strip=none.copy(),
        mowed_ft2=mowed_ft2,
        is_drives_known=is_yes | (~is_no & (rules.drives_known == "yes")),
    )


class _Found(NamedTuple):
    """Features in lots' windows, sorted by lot and then by content: row of the table, shape in the lot's frame."""

    row: np.ndarray
    shape: np.ndarray
    bits: np.ndarray
    kind: np.ndarray
    lot: np.ndarray
    is_own: np.ndarray
    is_parked: np.ndarray

    def take(self, keep: np.ndarray) -> Self:
        return type(self)(*(column[keep] for column in self))


def _reach(
    table: pd.DataFrame, shapes: np.ndarray, lots: Lots, window: np.ndarray, near: np.ndarray
) -> _Found:
    """List the features in each lot's window, those of many vertices cut to it."""
    origin = np.tile(lots.origin, 2)
    lot, at = shapely.STRtree(shapes).query(shapely.box(*(window + origin).T))
    bits, kind, owner = (
        bits_of(table),
        table["kind"].to_numpy(object),
        table["client_id"].to_numpy(object),
    )
    is_own, is_nobody = owner[at] == lots.client_id[lot], owner[at] == ""
    box = shapely.bounds(shapes)[at] - origin[lot]
    # Streets and sidewalks count in all of the window, the rest near the lot; lines and lawns are one's own.
    close = boxes_meet(box, near[lot]) | ((bits[at] & (STREET | SIDEWALK)) > 0)
    theirs = np.isin(kind, ("edge", "lawn"))[at] & ~is_own & ~is_nobody
    keep = close & ~theirs
    lot, at, is_own, box = lot[keep], at[keep], is_own[keep], box[keep]
    placed = shift(shapes[at], -lots.origin[lot])
    out = (box[:, :2] < window[lot, :2]).any(axis=1) | (box[:, 2:] > window[lot, 2:]).any(axis=1)
    cut = np.flatnonzero(out & (shapely.get_num_coordinates(placed) > MANY_VERTICES))
    placed[cut] = snap(shapely.intersection(placed[cut], shapely.box(*window[lot[cut]].T)))
    bits = bits[at]
    is_building = ((bits & (HOUSE | SHED)) > 0) & ((bits & LINE) == 0)
    bits = np.where(is_building & ~is_own, OTHER, bits)
    is_parked = (table["parking"] == "yes").to_numpy()[at] & ((bits & STREET) > 0)
    found = _Found(at, placed, bits, kind[at], lot, is_own, is_parked)
    found = found.take(~shapely.is_empty(placed))
    return found.take(_by_content(found))


def _by_content(found: _Found) -> np.ndarray:
    """Sort by lot, then by what a shape is: the order of features and files must not count."""
    shape = found.shape
    kind = np.unique(found.kind.astype(str), return_inverse=True)[1]
    keys = [found.lot, kind, *shapely.bounds(shape).T, shapely.area(shape), shapely.length(shape)]
    order = np.lexsort(keys[::-1])
    sorted_keys = np.column_stack(keys)[order]
    if (sorted_keys[1:] == sorted_keys[:-1]).all(axis=1).any():
        text = np.unique(shapely.to_wkb(shape, hex=True).astype(str), return_inverse=True)[1]
        order = np.lexsort([text, *keys[::-1]])
    return order


def _parked(found: _Found) -> tuple[np.ndarray, int, np.ndarray]:
    return found.shape[found.is_parked], PARKING, found.lot[found.is_parked]


def _turf(found: _Found, lots: Lots) -> np.ndarray:
    """Unite the lawns drawn of each lot; one that is nobody's in particular within the outline."""
    lot, placed = found.lot, found.shape.copy()
    shared = np.flatnonzero(~found.is_own)
    placed[shared] = meet(placed[shared], lots.outline[lot[shared]])
    turf = unite(placed, lot, len(lots.outline))
    several = np.unique(np.concatenate([lot[shared], lot[1:][lot[1:] == lot[:-1]]]))
    turf[several] = snap(turf[several])
    return only_ground(turf)


def _points(found: _Found, table: pd.DataFrame) -> pd.DataFrame:
    xy, row = shapely.get_coordinates(found.shape, return_index=True)
    points = table[["kind", "what", "dbh_in"]].iloc[found.row[row]].reset_index(drop=True)
    return points.assign(lot=found.lot[row], x_ft=xy[:, 0], y_ft=xy[:, 1])
