"""Which lot a feature lies on: one outline a client, and what lies on it."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pandas as pd
import shapely
from geopandas import GeoDataFrame
from numpy.typing import NDArray

from scanner.book.layers.better import ASSEMBLED_FILE
from scanner.sheets.problems import Problem, fault, note

Rows = NDArray[np.intp]
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
