"""
Beds of earlier scans: matched to those of this one, part of the ground once they are built.

The log holds them in degrees; they meet a site's beds in the site's own plane.
"""

from __future__ import annotations

from datetime import date

import numpy as np
import pandas as pd
import shapely
from geopandas import GeoDataFrame

from scanner.plane import frame as frames
from scanner.plane.grid import EMPTY, mend
from scanner.schema.documents import LocalRules
from scanner.schema.log_tables import STORED_BEDS
from scanner.schema.tables import FEATURES, check_table

SAME_SHARE = 0.5
"""Share of the smaller of two shapes that they have in common when they are one bed."""

NEIGHBOR_FT = 300.0
"""A bed built within this distance of a lot is a neighbor's (our rule, no source)."""

NEAR_DEGREES = 0.01
"""More than `NEIGHBOR_FT` anywhere below 80 degrees of latitude."""


def plant_built(features: GeoDataFrame, stored: GeoDataFrame) -> GeoDataFrame:
    """Let the beds that were built and have a shape join the ground as a ``bed`` each [degrees]."""
    built = _with_shape(stored[stored["built_on"] != ""])
    if built.empty:
        return features
    planted = pd.DataFrame(
        {
            "feature_id": "built#" + built["bed_id"],
            "file": "",
            "kind": "bed",
            "client_id": built["client_id"],
            "along": "",
            "curbed": "",
            "parking": "",
            "pavement_ft": np.nan,
            "dbh_in": np.nan,
            "drives_known": "",
            "what": "",
            "geometry": built.geometry.to_numpy(),
        }
    )
    together = pd.concat([pd.DataFrame(features), planted], ignore_index=True)
    return check_table(GeoDataFrame(together, geometry="geometry", crs=frames.WGS84), FEATURES)


def match_stored_beds(
    beds: pd.DataFrame, stored: GeoDataFrame, *, frame: str, rules: LocalRules
) -> pd.DataFrame:
    """
    Give the beds of a plane the names that they had, and mark what is built already: by name.

    `frame`: the plane, blank where they were measured on foot; `stored`: table `STORED_BEDS`,
    degrees; what is left between a built bed and its edge, up to ``gap_ft``, is no bed.
    """
    stored = stored[stored["client_id"].isin(beds["client_id"].unique())]
    if stored.empty or beds.empty:
        return beds
    shapes = stored.geometry.to_numpy()
    before = pd.DataFrame(stored).reset_index(drop=True)
    in_feet = mend(frames.to_feet(shapes, frame)) if frame else _nowhere(len(before))
    before = before.assign(geometry=in_feet)
    new = beds if frame else pd.DataFrame(beds).assign(geometry=_nowhere(len(beds)))
    names = match_beds(new, before)
    built_ids = before.loc[before["built_on"] != "", "bed_id"]
    is_built = np.isin(names, built_ids) | _is_left_over(new, before, gap_ft=rules.gap_ft)
    reasons = beds["skip_reason"].mask(is_built & beds["skip_reason"].ne("denied"), "built")
    named = beds.assign(bed_id=names, skip_reason=reasons)
    return named.sort_values("bed_id", kind="stable", ignore_index=True)


def name_corrected(beds: pd.DataFrame, stored: pd.DataFrame) -> pd.DataFrame:
    """
    Give beds that a tape made shorter or longer the names that they had.

    What was stored of them after an earlier correction may have little of the drawn shapes: one
    whose name nobody knows has that of the stored bed of the same lot and kind which no other bed
    is, most alike in area.
    """
    is_lost = beds["edge_source"].eq("measured") & ~beds["bed_id"].isin(stored["bed_id"])
    is_free = ~stored["bed_id"].isin(beds["bed_id"]) & stored["built_on"].eq("")
    lost, free = pd.DataFrame(beds[is_lost]), pd.DataFrame(stored[is_free])
    if lost.empty or free.empty:
        return beds
    nowhere = free.assign(geometry=_nowhere(len(free)))
    pairs = _pairs_by_area(lost.assign(geometry=_nowhere(len(lost))), nowhere)
    names = dict[object, object]()
    for new, old in zip(pairs["new"], pairs["old"], strict=True):
        name = free["bed_id"].iloc[old]
        if lost["bed_id"].iloc[new] not in names and name not in names.values():
            names[lost["bed_id"].iloc[new]] = name
    return beds.assign(bed_id=beds["bed_id"].replace(names))


def remember_beds(beds: pd.DataFrame, *, today: date) -> GeoDataFrame:
    """
    Put the beds [ft] of a scan into the form in which the log keeps them: table `STORED_BEDS`, degrees.

    No shape where a bed was measured on foot.
    """
    shapes = _nowhere(len(beds))
    for frame in sorted(set(beds["frame"]) - {""}):
        is_here = (beds["frame"] == frame).to_numpy()
        shapes[is_here] = mend(frames.to_degrees(beds["geometry"].to_numpy()[is_here], frame))
    columns = pd.DataFrame(beds[["bed_id", "client_id", "along", "area_ft2"]]).assign(
        last_seen=today.isoformat(), built_on=""
    )
    return check_table(GeoDataFrame(columns, geometry=shapes, crs=frames.WGS84), STORED_BEDS)


def find_neighbors(
    clients: pd.DataFrame, features: GeoDataFrame, stored: GeoDataFrame
) -> pd.DataFrame:
    """
    Tell near whose lots somebody else's beds were built, and when: ``client_id``, ``built_on``.

    One row a client and bed of another within `NEIGHBOR_FT`, in the order of `clients`; whoever has
    no outline in `features` is looked for at ``lon``, ``lat``.
    """
    beds = stored[stored["built_on"] != ""]
    if beds.empty:
        return pd.DataFrame({"client_id": [], "built_on": []}, dtype="str")
    places = _places(clients, features)
    home = dict(zip(clients["client_id"], places, strict=True))
    owners, shapes = beds["client_id"].to_numpy(object), beds.geometry.to_numpy(copy=True)
    for at in np.flatnonzero(shapely.is_empty(shapes)):
        shapes[at] = home.get(owners[at], EMPTY)
    bed, place = _within_reach(shapes, places)
    near = pd.DataFrame({
        "client_id": clients["client_id"].to_numpy(object)[place],
        "built_on": beds["built_on"].to_numpy(object)[bed],
    }, dtype="str")  # fmt: skip
    is_other = near["client_id"].to_numpy(object) != owners[bed]
    return near.assign(place=place)[is_other].sort_values(["place", "built_on"], ignore_index=True)


def _within_reach(shapes: np.ndarray, places: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Pair shapes with the places within `NEIGHBOR_FT` of them, all in degrees; rows of both."""
    tree = shapely.STRtree(places)
    shape, place = tree.query(shapes, predicate="dwithin", distance=NEAR_DEGREES)
    is_near = np.zeros(len(shape), bool)
    planes = frames.name_frames(shapes[shape])
    for frame in set(planes.tolist()):
        rows = np.flatnonzero(planes == frame)
        one, two = (
            frames.to_feet(some, frame) for some in (shapes[shape[rows]], places[place[rows]])
        )
        is_near[rows] = shapely.distance(one, two) <= NEIGHBOR_FT
    return shape[is_near], place[is_near]


def _places(clients: pd.DataFrame, features: GeoDataFrame) -> np.ndarray:
    """Give each client's outlines, else the point of the client list, else nothing."""
    outlines = features[features["kind"] == "property"]
    by_client = pd.Series(outlines.geometry.to_numpy(), index=outlines["client_id"].to_numpy())
    united = by_client.groupby(level=0).agg(lambda shapes: shapely.union_all(shapes.to_numpy()))
    points = shapely.points(clients["lon"].to_numpy(float), clients["lat"].to_numpy(float))
    is_known = (clients["lon"].notna() & clients["lat"].notna()).to_numpy()
    points = np.where(is_known, points, EMPTY)
    return np.array(
        [united.get(client, point) for client, point in zip(clients["client_id"], points, strict=True)],
        dtype=object,
    )  # fmt: skip


def match_beds(beds: pd.DataFrame, stored: pd.DataFrame) -> np.ndarray:
    """
    Give beds the names of the stored beds that they are.

    Those of the same lot and kind that share half of the smaller shape [ft], one to one, largest
    share first; where one of the two has no shape, the one under whose name it was measured
    (``is_told``), else those whose areas are most alike. Other beds keep their number where it is
    free, else take the next free one: a name is never given to another bed.
    """
    pairs = pd.concat([_pairs_by_shape(beds, stored), _pairs_by_area(beds, stored)])
    names = beds["bed_id"].to_numpy(object).copy()
    named: set[int] = set()
    used: set[int] = set()
    for new, old in zip(pairs["new"], pairs["old"], strict=True):
        if new not in named and old not in used:
            names[new] = stored["bed_id"].iloc[old]
            named.add(new)
            used.add(old)
    return _free_names(names, named, set(stored["bed_id"]))


def _pairs_by_shape(beds: pd.DataFrame, stored: pd.DataFrame) -> pd.DataFrame:
    """Pair beds that share half of the smaller shape, largest share first."""
    # A ring that touches itself has no ground in common with anything
    one, two = mend(beds["geometry"].to_numpy()), stored["geometry"].to_numpy()
    new, old = shapely.STRtree(two).query(one, predicate="intersects")
    # A bed that was built is ground now: what lies there is another one
    same = _same_place(beds, stored, new, old) & (stored["built_on"].to_numpy()[old] == "")
    new, old = new[same], old[same]
    common_ft2 = shapely.area(shapely.intersection(one[new], two[old]))
    smaller_ft2 = np.minimum(shapely.area(one[new]), shapely.area(two[old]))
    pairs = pd.DataFrame({"new": new, "old": old, "common_ft2": common_ft2})
    pairs = pairs[(common_ft2 > 0.0) & (common_ft2 >= SAME_SHARE * smaller_ft2)]
    return pairs.sort_values(["common_ft2", "new", "old"], ascending=[False, True, True])


def _pairs_by_area(beds: pd.DataFrame, stored: pd.DataFrame) -> pd.DataFrame:
    """Pair beds of which one lies nowhere, the most alike in area first."""
    keys = ["client_id", "along"]
    one = beds[[*keys, "bed_id", "area_ft2"]].assign(
        new=range(len(beds)), is_empty=shapely.is_empty(beds["geometry"].to_numpy()),
        is_told=beds.get("is_told", False),
    )  # fmt: skip
    two = stored[[*keys, "bed_id", "area_ft2"]].assign(
        old=range(len(stored)), is_empty=shapely.is_empty(stored["geometry"].to_numpy())
    )
    pairs = pd.DataFrame(one).merge(pd.DataFrame(two), on=keys, suffixes=("", "_old"))
    pairs = pairs[pairs["is_empty"] | pairs["is_empty_old"]]
    areas_ft2 = pairs[["area_ft2", "area_ft2_old"]]
    share = areas_ft2.min(axis=1) / areas_ft2.max(axis=1)
    # Of beds alike the same number is the likelier one
    pairs = pairs.assign(share=share, other=pairs["bed_id"] != pairs["bed_id_old"])
    pairs["share"] = pairs["share"].mask(pairs["is_told"], np.where(pairs["other"], 0.0, np.inf))
    pairs = pairs[pairs["share"] >= SAME_SHARE]
    return pairs.sort_values(["share", "other", "new", "old"], ascending=[False, True, True, True])


def _same_place(
    beds: pd.DataFrame, stored: pd.DataFrame, new: np.ndarray, old: np.ndarray
) -> np.ndarray:
    same = np.ones(len(new), bool)
    for column in ("client_id", "along"):
        same &= beds[column].to_numpy()[new] == stored[column].to_numpy()[old]
    return same


def _free_names(names: np.ndarray, named: set[int], taken: set[str]) -> np.ndarray:
    """Give new beds a number that no stored bed has."""
    taken = set(taken)
    for at in range(len(names)):
        if at in named:
            continue
        stem, number = names[at].rsplit("-", 1)
        count = int(number)
        while f"{stem}-{count}" in taken:
            count += 1
        names[at] = f"{stem}-{count}"
        taken.add(names[at])
    return names


def _is_left_over(beds: pd.DataFrame, stored: pd.DataFrame, *, gap_ft: float) -> np.ndarray:
    """Tell which beds are only what is left between a built bed and its edge."""
    built = _with_shape(stored[stored["built_on"] != ""])
    shapes = beds["geometry"].to_numpy()
    around = shapely.buffer(built["geometry"].to_numpy(), gap_ft, join_style="mitre")
    new, old = shapely.STRtree(around).query(shapes, predicate="intersects")
    same = np.ones(len(new), bool)
    for column in ("client_id", "along"):
        same &= beds[column].to_numpy()[new] == built[column].to_numpy()[old]
    new, old = new[same], old[same]
    common_ft2 = shapely.area(shapely.intersection(shapes[new], around[old]))
    covered_ft2 = np.bincount(new, weights=common_ft2, minlength=len(beds))
    return (covered_ft2 > 0.0) & (covered_ft2 >= 0.5 * shapely.area(shapes))


def _nowhere(count: int) -> np.ndarray:
    return np.full(count, EMPTY, dtype=object)


def _with_shape(stored: pd.DataFrame) -> pd.DataFrame:
    return stored[~shapely.is_empty(stored["geometry"].to_numpy())]
