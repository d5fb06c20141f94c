"""
What was measured on foot: beds of edges without any drawing, and drawn beds corrected by it.

Without a drawing a bed lies in no plane: a rectangle with its edge on the x axis stands in for
its shape, so that quantities, plants and prices go the same way as for any other bed. On a drawn
lot the tape knows how long an edge is, the drawing what lies round it: the beds along a measured
edge are scaled along it, and all that was drawn round them stays.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
import shapely

from scanner.ground.answers import add_cautions, deny
from scanner.ground.cautions import WALL_SENTENCE
from scanner.ground.names import name_beds
from scanner.schema.documents import LocalRules
from scanner.schema.log_tables import ANSWERS
from scanner.schema.tables import BEDS, MEASURED, check_table, empty_table
from scanner.units import IN_PER_FT

STREET_SENTENCE = (
    "measured on foot: look for hydrants, meters, trees and sight lines; ask the city whether the "
    "right-of-way needs a permit"
)
"""What nobody has drawn has to be looked at."""

UNKNOWN: dict[str, Any] = {
    "frame": "",
    "lawn_source": "",
    "right_of_way_ft2": 0.0,
    "low_plant_ft2": 0.0,
    "plant_free_ft2": 0.0,
    "turf_left_ft2": np.nan,
    "hand_dig_ft2": 0.0,
    "is_wildfire": False,
    "is_opening_guessed": False,
}
"""What a tape does not tell."""


def size_measured(
    measured: pd.DataFrame, *, rules: LocalRules, answers: pd.DataFrame | None = None
) -> pd.DataFrame:
    """
    Size a bed along each measured edge: table `BEDS`, one row an edge of a kind that is offered, ``frame`` blank.

    edge = length − openings; depth = room where the rest of it is too narrow for a mower,
    else the bed's depth; area = edge × depth; bed line = edge + two depths, or two depths
    where all the room is taken.
    """
    measured = check_table(measured, MEASURED)
    measured = measured[measured["along"].isin(rules.offer_kinds)].reset_index(drop=True)
    number = measured.groupby(["client_id", "along"]).cumcount() + 1
    is_wall = (measured["along"] == "house").to_numpy()
    wall = WALL_SENTENCE.format(**rules.setbacks.model_dump())
    beds = _sizes(measured, is_wall, rules).assign(
        client_id=measured["client_id"],
        along=measured["along"],
        bed_id=name_beds(
            measured["client_id"].to_numpy(), measured["along"].to_numpy(), number.to_numpy()
        ),
        face=np.where(is_wall, "front", ""),
        edge_source="measured",
        cautions=[
            f"{wall if at_wall else STREET_SENTENCE}; {rules.locating}" for at_wall in is_wall
        ],
        **UNKNOWN,
    )
    answers = empty_table(ANSWERS) if answers is None else answers
    return check_table(_shapes(add_cautions(deny(beds, answers), answers)), BEDS)


def _sizes(measured: pd.DataFrame, is_wall: np.ndarray, rules: LocalRules) -> pd.DataFrame:
    edge_ft = (measured["length_ft"] - measured["openings_ft"]).clip(lower=0.0).to_numpy(float)
    room_ft = measured["room_ft"].fillna(np.inf).to_numpy(float)
    takes_all = room_ft - rules.bed_depth_ft < rules.mower_ft
    depth_ft = np.where(takes_all, room_ft, rules.bed_depth_ft)
    wall_ft = np.where(is_wall, rules.setbacks.wall_clear_in / IN_PER_FT, 0.0)
    return pd.DataFrame(
        {
            "skip_reason": _why_skipped(edge_ft, depth_ft, rules),
            "edge_ft": edge_ft,
            "area_ft2": edge_ft * depth_ft,
            "mean_depth_ft": depth_ft,
            "bed_line_ft": np.where(takes_all, 0.0, edge_ft) + 2 * depth_ft,
            "absorbed_ft2": edge_ft * np.maximum(depth_ft - rules.bed_depth_ft, 0.0),
            "trim_ft": edge_ft,
            "turf_left_width_ft": np.where(np.isinf(room_ft), np.nan, room_ft - depth_ft),
            "wall_strip_ft2": edge_ft * np.minimum(wall_ft, depth_ft),
        }
    )


def _shapes(beds: pd.DataFrame) -> pd.DataFrame:
    """Give each bed a rectangle with its edge on the x axis and the lawn above."""
    edge_ft, depth_ft = beds["edge_ft"].to_numpy(), beds["mean_depth_ft"].to_numpy()
    wall_ft = beds["wall_strip_ft2"].to_numpy() / np.maximum(edge_ft, 1e-9)
    ends = np.zeros((len(beds), 2, 2))
    ends[:, 1, 0] = edge_ft
    return beds.assign(
        geometry=shapely.box(0.0, 0.0, edge_ft, depth_ft),
        plantable=shapely.box(0.0, wall_ft, edge_ft, depth_ft),
        low_ground=shapely.Polygon(),
        edge=shapely.linestrings(ends),
    )


def _why_skipped(edge_ft: np.ndarray, depth_ft: np.ndarray, rules: LocalRules) -> np.ndarray:
    """Name the first rule that each bed fails."""
    is_shallow = depth_ft < rules.min_depth_ft
    is_short = edge_ft < rules.min_edge_ft
    is_small = edge_ft * depth_ft < rules.min_bed_ft2
    return np.select(
        [is_shallow, is_short, is_small], ["too shallow", "too short", "too small"], ""
    ).astype(object)


APART_SHARE = 0.15
"""Lengths that differ by more than this are worth a look (our rule, no source)."""

LEAST_SHARE = 0.01
"""A bed is drawn this long at least: one of no length has no shape."""

SLACK_FT = 0.01
"""12 ft drawn as 11.9999 ft is 12 ft."""

KEYS = ["client_id", "along"]
SHAPES = ("geometry", "plantable", "low_ground", "edge")
SCALED = (
    "area_ft2", "absorbed_ft2", "right_of_way_ft2", "low_plant_ft2", "plant_free_ft2", "hand_dig_ft2",
)  # fmt: skip
MEASURABLE = ("", "too shallow", "too short", "too small")
"""Reasons that a measurement may change; the others hold whatever the length."""


def correct_beds(
    beds: pd.DataFrame, measured: pd.DataFrame, *, rules: LocalRules
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """
    Correct the beds of drawn lots by edges measured there.

    Gives table `BEDS` with ``share`` and ``room_ft``: how `scale_beds` changed each; and the rows
    of `measured` along edges that nobody drew.
    """
    measured = check_table(measured, MEASURED)
    drawn_ft = beds.groupby(KEYS)["edge_ft"].sum()
    drawn_ft = drawn_ft[drawn_ft >= 1.0]
    is_drawn = pd.MultiIndex.from_frame(measured[KEYS]).isin(drawn_ft.index)
    told = measured[is_drawn]
    told = told.assign(edge_ft=(told["length_ft"] - told["openings_ft"]).clip(lower=0.0))
    told = told.groupby(KEYS).agg(edge_ft=("edge_ft", "sum"), room_ft=("room_ft", "min"))
    told["share"] = told["edge_ft"] / drawn_ft.reindex(told.index)
    told["drawn_ft"] = drawn_ft.reindex(told.index)
    beds = beds.merge(told.reset_index(), how="left", on=KEYS, suffixes=("", "_told"))
    beds["cautions"] = _tell_apart(beds)
    beds = beds.drop(columns=["edge_ft_told", "drawn_ft"])
    return check_table(scale_beds(beds, rules=rules), BEDS), measured[~is_drawn].reset_index(
        drop=True
    )


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
        "edge_ft": edge_ft * share,
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
    size = np.hypot(*along.T)
    along = np.where(
        size[:, None] > SLACK_FT, along / np.maximum(size, SLACK_FT)[:, None], [1.0, 0.0]
    )
    across = np.column_stack([-along[:, 1], along[:, 0]])

    def scale(shapes: np.ndarray, deep: np.ndarray) -> np.ndarray:
        xy, row = shapely.get_coordinates(shapes, return_index=True)
        step = xy - middle[row]
        step += along[row] * (((step * along[row]).sum(axis=1)) * (share - 1.0)[row])[:, None]
        step += across[row] * (((step * across[row]).sum(axis=1)) * (deep - 1.0)[row])[:, None]
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
