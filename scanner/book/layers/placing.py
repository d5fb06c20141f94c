"""Which lot a feature lies on: one outline a client, and what lies on it."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pandas as pd
import shapely
from geopandas import GeoDataFrame
from numpy.typing import NDArray

from scanner.book.layers.better import ASSEMBLED_FILE, THINGS, prefer_drawn
from scanner.sheets.problems import Problem, fault, note
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
    ids = words["client_id"].to_numpy(object)
    owner, owners = pd.factorize(np.where(ids == "", words.index, ids))
    ends = np.tile([np.inf, np.inf, -np.inf, -np.inf], (len(owners), 1))
    np.minimum.at(ends[:, :2], owner, words[ENDS[:2]].to_numpy())
    np.maximum.at(ends[:, 2:], owner, words[ENDS[2:]].to_numpy())
    boxes, area = shapely.box(*ends.T), np.bincount(owner, words["area"])
    one, two = shapely.STRtree(boxes).query(boxes)
    one, two = one[one < two], two[one < two]
    shared = shapely.area(shapely.intersection(boxes[one], boxes[two]))
    is_near = shared > DOUBLE_SHARE * np.maximum(area[one], area[two])
    doubtful = [*one[is_near], *two[is_near], *np.flatnonzero(np.bincount(owner) > 1)]
    return words.index.to_numpy()[np.isin(owner, doubtful)]


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


Flags = NDArray[np.bool_]

DOUBLE_SHARE = 0.9
"""Outlines that cover each other by more than this share are one lot drawn twice."""

MOST_SHARE = 0.5
"""A feature belongs to the outline that holds more than this share of it."""

_ROUNDING_SHARE = 1e-6
"""Half and half stays so whatever the last digits of a share."""

PLACED_KINDS = ("house", "outbuilding", "lawn", "bed")
"""Kinds that belong to one lot; the rest serves every site within reach."""


def join_outlines(features: GeoDataFrame) -> tuple[GeoDataFrame, list[Problem]]:
    """Make one outline of all that are drawn for one client, and leave out doubles.

    An outline that covers an earlier client's by more than `DOUBLE_SHARE` goes, with everything that
    carries its client's id.
    """
    joined, join_problems = _join_parts(features)
    kept, double_problems = _leave_out_doubles(joined)
    return kept, [*join_problems, *double_problems]


def note_nobody(files: pd.Series[str]) -> list[Problem]:
    """Note how many outlines of nobody each file holds; neighbors that the program wrote are meant to be so."""
    counts = files[~files.str.endswith(f"/{ASSEMBLED_FILE}")].value_counts().sort_index()
    return [
        note(
            str(file),
            "",
            f"outlines without client_id: {count:,}; they serve as neighbors only",
            "write the client_id to each outline of a client",
        )
        for file, count in counts.items()
    ]


def place_features(features: GeoDataFrame) -> GeoDataFrame:
    """Give houses, outbuildings, lawns and beds the client whose outline holds more than half of them.

    Shares of area are the same in degrees as in feet, so no plane is needed.
    """
    is_outline = (features["kind"] == "property") & (features["client_id"] != "")
    is_homeless = features["kind"].isin(PLACED_KINDS) & (features["client_id"] == "")
    if not is_outline.any() or not is_homeless.any():
        return features
    outlines, homeless = features[is_outline], features[is_homeless]
    lots, shapes = outlines.geometry.to_numpy(), homeless.geometry.to_numpy()
    shape_at, lot_at = shapely.STRtree(lots).query(shapes, predicate="intersects")
    shares = _shares(shapes[shape_at], lots[lot_at])
    is_most = shares > MOST_SHARE + _ROUNDING_SHARE
    ids = pd.Series(
        outlines["client_id"].to_numpy()[lot_at[is_most]],
        index=homeless.index[shape_at[is_most]],
        dtype="str",
    )
    # two overlapping outlines may both hold most of it: the first drawn gets it
    ids = ids[~ids.index.duplicated()]
    return features.assign(client_id=ids.reindex(features.index).fillna(features["client_id"]))


def _shares(shapes: NDArray[np.object_], lots: NDArray[np.object_]) -> NDArray[np.float64]:
    shapely.prepare(lots)
    shares = np.ones(len(shapes))
    is_cut = ~shapely.covers(lots, shapes)
    shares[is_cut] = shapely.area(shapely.intersection(lots[is_cut], shapes[is_cut]))
    shares[is_cut] /= shapely.area(shapes[is_cut])
    return shares


def _join_parts(features: GeoDataFrame) -> tuple[GeoDataFrame, list[Problem]]:
    outlines = features[(features["kind"] == "property") & (features["client_id"] != "")]
    several = outlines[outlines["client_id"].duplicated(keep=False)]
    if several.empty:
        return features, []
    shapes = features.geometry.to_numpy().copy()
    dropped: list[int] = []
    problems = []
    for client_id, parts in several.groupby("client_id", sort=True):
        first, *others = features.index.get_indexer(parts.index).tolist()
        shapes[first] = shapely.union_all(parts.geometry.to_numpy())
        dropped += others
        problem = f"{len(parts)} outlines are drawn for this client; they are taken as one lot"
        remedy = "nothing to do if the lot has several parts; else delete the outline that is wrong"
        file, feature = split_id(parts["feature_id"].iloc[1])
        problems.append(note(file, feature, problem, remedy, client_id=str(client_id)))
    joined = GeoDataFrame(features.assign(geometry=shapes), geometry="geometry", crs=features.crs)
    return joined.drop(features.index[dropped]), problems


def _leave_out_doubles(features: GeoDataFrame) -> tuple[GeoDataFrame, list[Problem]]:
    outlines = features[features["kind"] == "property"]
    # outlines of nobody come last, so that a client's own is the one kept
    outlines = outlines.loc[outlines["client_id"].eq("").sort_values(kind="stable").index]
    problems = []
    lost = set[int]()
    for earlier, later in same_ground(outlines.geometry.to_numpy(), DOUBLE_SHARE):
        if earlier in lost or later in lost:
            continue
        lost.add(later)
        row, first = outlines.iloc[later], outlines.iloc[earlier]
        if not row["client_id"]:
            continue
        file, feature = split_id(row["feature_id"])
        problem = (
            f"the outline is the same ground as that of {first['client_id']} (they cover each other by more than "
            f"{DOUBLE_SHARE:.0%}); it is left out, with all that is drawn for {row['client_id']}"
        )
        remedy = "delete the outline that is wrong; if both are one client, keep one row in the client list"
        problems.append(fault(file, feature, problem, remedy, client_id=row["client_id"]))
    dropped = outlines.index[[*lost]]
    lost_ids = set(outlines.loc[dropped, "client_id"]) - {""}
    is_kept = ~features.index.isin(dropped) & ~features["client_id"].isin(lost_ids)
    return features[is_kept], problems


def same_ground(
    shapes: NDArray[np.object_],
    share: float,
    is_likely: Callable[[Rows, Rows], Flags] | None = None,
) -> list[tuple[int, int]]:
    """Find pairs of areas, earlier and later, that share more than a share of the larger one's ground."""
    later, earlier = shapely.STRtree(shapes).query(shapes)
    area = shapely.area(shapes)
    least, most = (pick(area[later], area[earlier]) for pick in (np.minimum, np.maximum))
    is_pair = (earlier < later) & (least > share * most)
    if is_likely:
        is_pair &= is_likely(earlier, later)
    later, earlier, most = later[is_pair], earlier[is_pair], most[is_pair]
    # neighbors only touch: sizes and boxes sort nearly all of them out
    boxes = shapely.box(*shapely.bounds(shapes).T)
    is_near = shapely.area(shapely.intersection(boxes[later], boxes[earlier])) > share * most
    later, earlier, most = later[is_near], earlier[is_near], most[is_near]
    is_same = shapely.area(shapely.intersection(shapes[later], shapes[earlier])) > share * most
    return sorted(zip(earlier[is_same].tolist(), later[is_same].tolist(), strict=True))


def split_id(feature_id: str) -> tuple[str, str]:
    """Take a feature's id apart into its file and its place there.

    >>> split_id("sites/lots.geojson#3")
    ('sites/lots.geojson', 'feature 3')
    """
    file, _, number = feature_id.rpartition("#")
    return file, f"feature {number}"
