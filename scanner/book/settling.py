"""
Features settled by place: the better drawing of two, one outline a client, houses on their lots.

Each rule looks at whole tables of features; here it is given those alone that it may change.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pandas as pd
import shapely
from geopandas import GeoDataFrame
from numpy.typing import NDArray

from scanner.book.layers.better import ASSEMBLED_FILE, THINGS, prefer_drawn
from scanner.book.layers.placing import (
    DOUBLE_SHARE,
    PLACED_KINDS,
    join_outlines,
    note_nobody,
    place_features,
)
from scanner.sheets.problems import Problem
from scanner.store.land import ENDS, Land, Rows

PLACED_AT_ONCE = 20_000

Rule = Callable[[GeoDataFrame], tuple[GeoDataFrame, list[Problem]]]


def settle_features(land: Land) -> tuple[Land, list[Problem]]:
    """Leave out what is drawn twice, join each client's outlines, give buildings their client."""
    land, better = _apply(prefer_drawn, land, _rivals(land))
    land, joined = _apply(join_outlines, land, _doubtful_outlines(land))
    gone = {problem["client_id"] for problem in joined if problem["severity"] == "fault"}
    land = land.without(np.flatnonzero(land.words["client_id"].isin(gone)))
    words = land.words
    nobody = words[(words["kind"] == "property") & (words["client_id"] == "")]
    return _place(land), [*better, *joined, *note_nobody(nobody["file"].astype("str"))]


def _apply(rule: Rule, land: Land, rows: Rows) -> tuple[Land, list[Problem]]:
    """Let a rule change some features, given in the order in which they were read."""
    if not len(rows):
        return land, []
    before = land.take(land.as_read(rows))
    after, problems = rule(before)
    return land.changed(before, after), problems


def _rivals(land: Land) -> Rows:
    """Find what was assembled and drawn both, or lies so that it may have been."""
    words = land.words
    is_thing = words["kind"].isin(THINGS).to_numpy()
    is_made = words["file"].astype("str").str.endswith(f"/{ASSEMBLED_FILE}").to_numpy()
    if not is_made.any():
        return np.empty(0, dtype=np.intp)
    drawn, made = np.flatnonzero(is_thing & ~is_made), np.flatnonzero(is_thing & is_made)
    tree, boxes = shapely.STRtree(_boxes(words.iloc[drawn])), _boxes(words.iloc[made])
    under = made[np.unique(tree.query(boxes, predicate="intersects")[0])]
    ids = words["client_id"].to_numpy(object)
    is_lot = (words["kind"] == "property").to_numpy() & (ids != "")
    twice = is_lot & np.isin(ids, ids[is_lot & ~is_made].astype(str))
    return np.union1d(np.concatenate([drawn, under]) if len(made) else made, np.flatnonzero(twice))


def _doubtful_outlines(land: Land) -> Rows:
    """Find outlines of which a client has several, and those that may be one lot drawn twice."""
    words = land.words[land.words["kind"] == "property"]
    owner = words["client_id"].mask(words["client_id"] == "", "#" + words.index.astype("str"))
    groups = words.groupby(owner.to_numpy(), sort=False)
    whole = groups.agg(
        {"west": "min", "south": "min", "east": "max", "north": "max", "area": "sum"}
    )
    boxes, area = _boxes(whole), whole["area"].to_numpy()
    one, two = shapely.STRtree(boxes).query(boxes)
    one, two = one[one < two], two[one < two]
    shared = shapely.area(shapely.intersection(boxes[one], boxes[two]))
    is_near = shared > DOUBLE_SHARE * np.maximum(area[one], area[two])
    doubtful = {
        *whole.index[one[is_near]],
        *whole.index[two[is_near]],
        *whole.index[groups.size() > 1],
    }
    return words.index[owner.isin(doubtful)].to_numpy()


def _place(land: Land) -> Land:
    words = land.words
    is_outline = ((words["kind"] == "property") & (words["client_id"] != "")).to_numpy()
    is_homeless = (words["kind"].isin(PLACED_KINDS) & (words["client_id"] == "")).to_numpy()
    lots, homeless = np.flatnonzero(is_outline), np.flatnonzero(is_homeless)
    if not len(lots) or not len(homeless):
        return land
    tree, ids = (
        shapely.STRtree(_boxes(words.iloc[lots])),
        words["client_id"].to_numpy(object, copy=True),
    )
    for some in np.array_split(homeless, -(-len(homeless) // PLACED_AT_ONCE)):
        near = lots[np.unique(tree.query(_boxes(words.iloc[some]))[1])]
        placed = place_features(land.take(land.as_read(np.union1d(some, near))))
        ids[placed.index] = placed["client_id"]
    return land.owned(ids)


def _boxes(words: pd.DataFrame) -> NDArray[np.object_]:
    return np.asarray(shapely.box(*words[ENDS].to_numpy().T), dtype=object)
