"""What the clients' sites need of the layers, as site features, whose each building is; the rest of the county stays out."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from scanner.book.county.layer_kinds import CENTERLINE, HOUSE, PROPERTY, SIDEWALK, STREET
from scanner.book.county.layers import LayerFeatures
from scanner.book.county.lots import Lots
from scanner.book.county.matching import SAME_GROUND_SHARE
from scanner.book.county.pieces import Rows, Shapes, boxes_round, cut_large
from scanner.book.county.streets import Streets
from scanner.book.layers.attributes import COLUMNS
from scanner.plane.grid import only_ground
from scanner.schema.book_tables import FEATURES
from scanner.schema.documents import LocalRules
from scanner.schema.feature_kinds import FEATURE_KINDS

AROUND_FT = 60.0
"""Ground beyond frontage and bed depth that a scan looks at, with some to spare."""

SLACK_SHARE = 0.03
"""A scan's plane is turned against this one by a degree or two, and its boxes with it."""


@dataclass(frozen=True)
class Owned:
    """Lots that are clients'."""

    client_id: np.ndarray  # the clients
    lots: Rows  # their lots, aligned


def gather_features(
    layers: list[LayerFeatures],
    lots: Lots,
    owned: Owned,
    streets: Streets,
    sidewalks: tuple[Shapes, NDArray[np.float64]],
    *,
    rules: LocalRules,
) -> pd.DataFrame:
    """Gather what a scan needs to see round the clients' lots: columns of `FEATURES` [ft], by kind, clients in their order."""
    outlines = lots.shapes[owned.lots]
    reach_ft = rules.frontage_max_ft + rules.bed_depth_ft + AROUND_FT
    near, far = _boxes(outlines, reach_ft), _boxes(outlines, rules.front_reach_ft + AROUND_FT)
    walked, walked_at = cut_large(sidewalks[0], near)
    has_drives = any(things.kind.name == "drive" for things in layers)
    tables = [
        _rows(
            "property",
            outlines,
            client_id=owned.client_id,
            drives_known="yes" * has_drives,
            year_built=lots.table["year_built"].to_numpy()[owned.lots],
        ),
        _rows("property", lots.shapes[find_neighbors(lots, owned, reach_ft=rules.frontage_max_ft)]),
        _buildings([things for things in layers if things.kind is HOUSE], lots, owned, near),
        _cut_streets(streets, far),
        _rows(SIDEWALK.name, walked, pavement_ft=sidewalks[1][walked_at]),
    ]
    for things in layers:
        if things.kind in (PROPERTY, HOUSE, STREET, CENTERLINE, SIDEWALK):
            continue
        shapes, rows = cut_large(things.shapes, near)
        tables.append(
            _rows(things.kind.name, shapes, dbh_in=things.said["dbh_in"].to_numpy()[rows])
        )
    filled = [table for table in tables if len(table)] or tables[:1]
    features = pd.concat(filled, ignore_index=True).reindex(columns=[*COLUMNS, "geometry"])
    texts = [name for name in COLUMNS if FEATURES.columns[name].dtype == "str"]
    features = features.assign(**features[texts].astype(object).fillna(""))
    rank = features["kind"].map({kind: at for at, kind in enumerate(FEATURE_KINDS)})
    return features.loc[rank.sort_values(kind="stable").index].reset_index(drop=True)


def find_neighbors(lots: Lots, owned: Owned, *, reach_ft: float) -> Rows:
    """Find the lots that bound clients' lots and frontage: no client's, no right-of-way, no ground that a client has."""
    rows, at = lots.meet(lots.shapes[owned.lots], reach_ft)
    is_lot = ~lots.table["is_right_of_way"].to_numpy(bool)
    if lots.has_ids:
        is_lot &= (lots.table["parcel_id"] != "").to_numpy()
    is_other = is_lot[at] & ~np.isin(at, owned.lots)
    rows, at = rows[is_other], at[is_other]
    theirs, mine = lots.shapes[at], lots.shapes[owned.lots[rows]]
    least_ft2 = np.minimum(shapely.area(theirs), shapely.area(mine))
    is_stacked = (
        shapely.area(shapely.intersection(theirs, mine)) > (1 - SAME_GROUND_SHARE) * least_ft2
    )
    return np.setdiff1d(at, at[is_stacked])


def count_without_curb(lots: Lots, owned: Owned, streets: Streets, *, rules: LocalRules) -> int:
    """Count the clients' lots that have no curb within the frontage."""
    table = streets.table[streets.table["curbed"] != "no"]
    shapes = table["geometry"].to_numpy(object).copy()
    is_line = (table["kind"] == CENTERLINE.name).to_numpy()
    shapes[is_line] = shapely.buffer(
        shapes[is_line], table["pavement_ft"].to_numpy(float)[is_line] / 2, cap_style="flat"
    )
    outlines = lots.shapes[owned.lots]
    pieces, _ = cut_large(shapes, _boxes(outlines, rules.frontage_max_ft))
    found = shapely.STRtree(pieces).query(
        outlines, predicate="dwithin", distance=rules.frontage_max_ft
    )[0]
    return len(outlines) - len(np.unique(found))


def _buildings(
    layers: list[LayerFeatures], lots: Lots, owned: Owned, near: shapely.STRtree
) -> pd.DataFrame:
    shapes = np.concatenate([np.array([], object), *(things.shapes for things in layers)])
    is_near = np.unique(near.query(shapes, predicate="intersects")[0])
    parts = give_buildings(shapes[is_near], lots, owned.lots)
    client_at = np.full(len(lots) + 1, -1)
    client_at[owned.lots] = np.arange(len(owned.lots))
    at = client_at[parts["lot"].to_numpy(int)]
    ids = np.where(at >= 0, np.append(owned.client_id, "")[at], "")
    table = _rows("house", parts["geometry"].to_numpy(object), client_id=ids).assign(
        kind=np.where(at >= 0, parts["kind"].to_numpy(), "house")
    )
    # clients in their order, then the neighbors'
    return table.loc[np.argsort(np.where(at >= 0, at, len(lots)), kind="stable")]


def _cut_streets(streets: Streets, far: shapely.STRtree) -> pd.DataFrame:
    table = streets.table
    shapes, rows = cut_large(table["geometry"].to_numpy(object), far)
    return table.iloc[rows].assign(geometry=list(shapes))


def _rows(kind: str, shapes: Shapes, **said: object) -> pd.DataFrame:
    return pd.DataFrame({"kind": kind, "geometry": list(shapes), **said}).astype(
        {"geometry": object}
    )


def _boxes(outlines: Shapes, reach_ft: float) -> shapely.STRtree:
    west, south, east, north = shapely.bounds(outlines).reshape(-1, 4).T
    slack_ft = SLACK_SHARE * np.maximum(east - west, north - south)
    return shapely.STRtree(boxes_round(outlines, reach_ft + slack_ft))


PART_SHARE = 0.2
PART_FT2 = 250.0
"""A lot that has a fifth of a building and this much of it has a part of its own: a row house."""

HOUSE_SHARE = 0.6
"""A building with this share of the largest on its lot is a house too, a smaller one is none."""

_LEAST_FT2 = 1.0


def give_buildings(buildings: Shapes, lots: Lots, owned: Rows) -> pd.DataFrame:
    """Give each building to its lot, cut at the line where several lots have a part of it: ``lot`` (-1: nobody's), ``kind``, ``geometry`` [ft].

    Surveyed layers are off by feet, so a building belongs to the lot with most of it and stays
    whole though its eaves reach over the line. What a client's lot and another one claim is the client's.
    """
    rows, at, shared_ft2 = lots.shared_ft2(buildings)
    area_ft2 = shapely.area(buildings)
    share = shared_ft2 / np.maximum(area_ft2[rows], _LEAST_FT2)
    is_part = (share >= PART_SHARE) & (shared_ft2 >= PART_FT2)
    best = _best(rows, share, np.isin(at, owned), len(buildings))
    is_home = np.zeros(len(rows), dtype=bool)
    is_home[best[best >= 0]] = share[best[best >= 0]] >= PART_SHARE
    is_shared = np.bincount(rows, weights=is_part, minlength=len(buildings)) > 1
    whole = is_home & ~is_shared[rows]
    cut = is_part & is_shared[rows]
    parts = pd.DataFrame(
        {"building": rows[whole], "lot": at[whole], "geometry": buildings[rows[whole]]}
    )
    pieces = pd.DataFrame(_cut(buildings, lots, rows[cut], at[cut], is_home[cut]))
    nobody = np.setdiff1d(np.arange(len(buildings)), rows[whole | cut])
    others = pd.DataFrame({"building": nobody, "lot": -1, "geometry": buildings[nobody]})
    filled = [table for table in (parts, pieces, others) if len(table)] or [parts]
    table = _clear(pd.concat(filled, ignore_index=True), owned)
    return name_houses(table.sort_values(["building", "lot"], kind="stable", ignore_index=True))


def name_houses(parts: pd.DataFrame) -> pd.DataFrame:
    """Tell houses from outbuildings by their size beside the largest on the lot.

    >>> boxes = [shapely.box(0, 0, 40, 30), shapely.box(50, 0, 70, 20), shapely.box(0, 50, 36, 70)]
    >>> name_houses(pd.DataFrame({"lot": 7, "geometry": boxes}))["kind"].tolist()
    ['house', 'outbuilding', 'house']
    """
    area_ft2 = pd.Series(shapely.area(parts["geometry"].to_numpy(object)), index=parts.index)
    largest_ft2 = area_ft2.groupby(parts["lot"]).transform("max")
    is_house = (area_ft2 >= HOUSE_SHARE * largest_ft2) | (parts["lot"] < 0)
    return parts.assign(kind=np.where(is_house, "house", "outbuilding"))


def _best(rows: Rows, share: NDArray[np.float64], is_owned: NDArray[np.bool_], count: int) -> Rows:
    """Find, for each building, the pair that has most of it; a client's of two alike."""
    order = np.lexsort((np.arange(len(rows)), ~is_owned, -np.round(share, 6), rows))
    best = np.full(count, -1)
    first = order[np.unique(rows[order], return_index=True)[1]] if len(rows) else order
    best[rows[first]] = first
    return best


def _cut(
    buildings: Shapes, lots: Lots, rows: Rows, at: Rows, is_home: NDArray[np.bool_]
) -> dict[str, object]:
    """Cut buildings at the line; what lies on no lot that has a part stays with the largest part."""
    pieces = only_ground(shapely.intersection(buildings[rows], lots.shapes[at]))
    for building in np.unique(rows):
        of = np.flatnonzero(rows == building)
        rest = shapely.difference(buildings[building], shapely.union_all(lots.shapes[at[of]]))
        home = of[is_home[of]][:1]
        pieces[home] = only_ground(shapely.union(pieces[home], rest))
    return {"building": rows, "lot": at, "geometry": pieces}


def _clear(table: pd.DataFrame, owned: Rows) -> pd.DataFrame:
    """Take clients' parts out of what others claim: stacked lots share their ground."""
    is_owned = table["lot"].isin(owned)
    mine = (
        table[is_owned]
        .groupby("building")["geometry"]
        .agg(lambda parts: shapely.union_all(parts.to_numpy(object)))
    )
    taken = table["building"].map(mine)
    shapes = table["geometry"].to_numpy(object).copy()
    at = np.flatnonzero(~is_owned.to_numpy() & taken.notna().to_numpy())
    shapes[at] = only_ground(shapely.difference(shapes[at], taken.to_numpy(object)[at]))
    return table.assign(geometry=shapes)[shapely.area(shapes) >= _LEAST_FT2]
