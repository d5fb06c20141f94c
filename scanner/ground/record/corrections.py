"""
Drawn beds corrected by what was measured on foot.

The tape knows how long an edge is, the drawing what lies round it: the beds along a measured edge
are scaled along it, and all that was drawn round them stays.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import shapely

from scanner.plane.vectors import dot, norm
from scanner.schema.documents import LocalRules
from scanner.schema.tables import BEDS, MEASURED, check_table

APART_SHARE = 0.15
"""Lengths that differ by more than this are worth a look (our rule, no source)."""

LEAST_SHARE = 0.01
"""A bed is drawn this long at least: one of no length has no shape."""

SLACK_FT = 0.01
"""12 ft drawn as 11.9999 ft is 12 ft."""

LEAST_DRAWN_FT = 1.0
"""Less of an edge is not drawn."""

KEYS = ["client_id", "part"]
"""What a measured length is told of: a lot's bed, or all that else runs along a kind of edge there."""

EDGES = [*KEYS, "edge_ft"]
SHAPES = ("geometry", "plantable", "low_ground", "edge")
SCALED = (
    "area_ft2", "absorbed_ft2", "right_of_way_ft2", "low_plant_ft2", "plant_free_ft2", "hand_dig_ft2",
)  # fmt: skip
MEASURABLE = ("", "too shallow", "too short", "too small")
"""Reasons that a measurement may change; the others hold whatever the length."""


def correct_beds(
    beds: pd.DataFrame, measured: pd.DataFrame, *, before: pd.DataFrame, rules: LocalRules
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """
    Correct the beds of drawn lots by edges measured there; those ``before`` of lots where some were built since.

    Gives table `BEDS` with ``share`` and ``room_ft``: how `scale_beds` changed each; and the rows
    of `measured` along edges that nobody drew.
    """
    measured = check_table(measured, MEASURED)
    if not measured["client_id"].isin(beds["client_id"]).any():
        return beds.assign(room_ft=np.nan, share=np.nan), measured
    beds, before = _in_parts(beds, measured), _in_parts(before, measured)
    alone = measured["bed_id"]
    measured = measured.assign(part=alone.where(alone != "", measured["along"]))
    others = beds[~beds["client_id"].isin(before["client_id"])]
    drawn_ft = _drawn_ft(pd.concat([others[EDGES], before[EDGES]]), KEYS)
    told = measured[_among(measured, drawn_ft)]
    told = told.assign(edge_ft=(told["length_ft"] - told["openings_ft"]).clip(lower=0.0))
    told = told.groupby(KEYS).agg(edge_ft=("edge_ft", "sum"), room_ft=("room_ft", "min"))
    told["share"] = told["edge_ft"] / drawn_ft.reindex(told.index)
    told["drawn_ft"] = drawn_ft.reindex(told.index)
    beds = beds.merge(told.reset_index(), how="left", on=KEYS, suffixes=("", "_told"))
    beds["cautions"] = _tell_apart(beds)
    # a bed that is drawn no more is none beside others of its kind
    rest = measured[~_among(measured, _drawn_ft(beds, ["client_id", "along"]))]
    beds = beds.drop(columns=["edge_ft_told", "drawn_ft", "part"])
    return check_table(scale_beds(beds, rules=rules), BEDS), rest.drop(columns="part").reset_index(
        drop=True
    )


def _in_parts(beds: pd.DataFrame, measured: pd.DataFrame) -> pd.DataFrame:
    """Tell apart the beds that were measured by themselves and the others of each kind."""
    is_alone = beds["bed_id"].isin(measured["bed_id"])
    return beds.assign(part=beds["bed_id"].where(is_alone, beds["along"]))


def _drawn_ft(beds: pd.DataFrame, keys: list[str]) -> pd.Series[float]:
    length_ft = beds.groupby(keys)["edge_ft"].sum()
    return length_ft[length_ft >= LEAST_DRAWN_FT]


def _among(measured: pd.DataFrame, drawn_ft: pd.Series[float]) -> np.ndarray:
    return pd.MultiIndex.from_frame(measured[[*drawn_ft.index.names]]).isin(drawn_ft.index)


def _tell_apart(beds: pd.DataFrame) -> np.ndarray:
    """Add to cautions that what was measured and what is drawn differ much."""
    cautions = beds["cautions"].to_numpy(object, copy=True)
    apart = np.flatnonzero(np.abs(beds["share"].to_numpy(float) - 1.0) > APART_SHARE)
    lengths_ft = beds[["edge_ft_told", "drawn_ft"]].to_numpy(float)
    for at in apart.tolist():
        measured_ft, drawn_ft = lengths_ft[at]
        told = (
            f"measured {measured_ft:.0f} ft where {drawn_ft:.0f} ft are drawn: look which is right"
        )
        cautions[at] = f"{cautions[at]}; {told}" if cautions[at] else told
    return cautions


def scale_beds(beds: pd.DataFrame, *, rules: LocalRules) -> pd.DataFrame:
    """
    Scale beds along their edge to what was measured, room capping their depth.

    ``share``: measured over drawn length, NaN where nothing was measured; ``room_ft``: NaN where
    enough. area = drawn area × share × (room over depth, where that is less than one).
    """
    at = np.flatnonzero(beds["share"].notna())
    if not len(at):
        return beds
    some = beds.iloc[at]
    share = np.maximum(some["share"].to_numpy(float), LEAST_SHARE)
    edge_ft, area_ft2 = some["edge_ft"].to_numpy(), some["area_ft2"].to_numpy()
    depth_ft = area_ft2 / np.maximum(edge_ft, SLACK_FT)
    deep = np.fmin(some["room_ft"].to_numpy(float) / np.maximum(depth_ft, SLACK_FT), 1.0)
    changes = {name: some[name] * share * deep for name in SCALED}
    changes |= {
        # as it was typed: 45.5, not a hair less
        "edge_ft": np.round(edge_ft * share, 9),
        "mean_depth_ft": depth_ft * deep,
        "wall_strip_ft2": np.minimum(some["wall_strip_ft2"] * share, changes["area_ft2"]),
        "bed_line_ft": _line_ft(some["bed_line_ft"], edge_ft, share, deep),
        "trim_ft": _line_ft(some["trim_ft"], edge_ft, share, deep),
        "turf_left_ft2": (some["turf_left_ft2"] + area_ft2 - changes["area_ft2"]).clip(lower=0.0),
        "edge_source": "measured",
        **_drawn(some, share, deep),
    }
    changed = some.assign(**changes)
    changed = changed.assign(skip_reason=_why_now(changed, rules))
    return pd.concat([beds.drop(index=beds.index[at]), changed]).loc[beds.index]


def _line_ft(
    line_ft: pd.Series, edge_ft: np.ndarray, share: np.ndarray, deep: np.ndarray
) -> np.ndarray:
    """Scale lines round a bed: what runs along the edge by the share, what runs across by the depth."""
    sides = np.floor(line_ft.to_numpy() / np.maximum(edge_ft, SLACK_FT) + 0.5)
    along_ft = np.minimum(sides * edge_ft, line_ft.to_numpy())
    return along_ft * share + (line_ft.to_numpy() - along_ft) * deep


def _drawn(beds: pd.DataFrame, share: np.ndarray, deep: np.ndarray) -> dict[str, np.ndarray]:
    """Scale the shapes of beds along their edge and across it, about the middle of the edge."""
    edges = beds["edge"].to_numpy()
    middle = np.nan_to_num(shapely.get_coordinates(shapely.centroid(edges)))
    first, last = _tips(edges)
    along = last - first
    size = norm(along)
    along = np.where(
        size[:, None] > SLACK_FT, along / np.maximum(size, SLACK_FT)[:, None], [1.0, 0.0]
    )
    across = np.column_stack([-along[:, 1], along[:, 0]])

    def scale(shapes: np.ndarray, deep: np.ndarray) -> np.ndarray:
        xy, row = shapely.get_coordinates(shapes, return_index=True)
        step = xy - middle[row]
        step += along[row] * (dot(step, along[row]) * (share - 1.0)[row])[:, None]
        step += across[row] * (dot(step, across[row]) * (deep - 1.0)[row])[:, None]
        return shapely.set_coordinates(shapes.copy(), middle[row] + step)

    shallow = {name: scale(beds[name].to_numpy(), deep) for name in SHAPES[:-1]}
    return {**shallow, "edge": scale(edges, np.ones(len(edges)))}


def _tips(edges: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Give both ends of edges, of several pieces the first end and the last; 0, 0 where none."""
    xy, row = shapely.get_coordinates(edges, return_index=True)
    tips = np.zeros((2, len(edges), 2))
    tips[0][row[::-1]] = xy[::-1]
    tips[1][row] = xy
    return tips[0], tips[1]


def _why_now(beds: pd.DataFrame, rules: LocalRules) -> np.ndarray:
    """Judge sizes anew; a reason that has nothing to do with them stays."""
    was = beds["skip_reason"].to_numpy(object)
    is_shallow = beds["mean_depth_ft"].to_numpy() < rules.min_depth_ft - SLACK_FT
    is_short = beds["edge_ft"].to_numpy() < rules.min_edge_ft - SLACK_FT
    is_small = beds["area_ft2"].to_numpy() < rules.min_bed_ft2 - SLACK_FT
    judged = np.select(
        [was == "too shallow", is_shallow, is_short, is_small],
        ["too shallow", "too shallow", "too short", "too small"],
        "",
    )
    return np.where(np.isin(was, MEASURABLE), judged, was).astype(object)


def name_measured(beds: pd.DataFrame, measured: pd.DataFrame, stored: pd.DataFrame) -> pd.DataFrame:
    """Give beds that nobody knows the names under which beds of their lot and kind were measured, in the order of beds; those of built beds to none.

    What is stored of a bed that was measured much shorter may have little of its drawn shape.
    """
    known = stored.loc[stored["built_on"] == "", "bed_id"]
    lost = measured[measured["bed_id"].isin(known) & ~measured["bed_id"].isin(beds["bed_id"])]
    new = beds[~beds["bed_id"].isin(stored["bed_id"])]
    keys = ["client_id", "along"]
    one, two = (
        pd.DataFrame(some[[*keys, "bed_id"]]).assign(at=some.groupby(keys).cumcount())
        for some in (new, lost)
    )
    pairs = one.merge(two, on=[*keys, "at"], suffixes=("", "_lost"))
    names = dict(zip(pairs["bed_id"], pairs["bed_id_lost"], strict=True))
    return beds.assign(bed_id=beds["bed_id"].replace(names)) if names else beds
