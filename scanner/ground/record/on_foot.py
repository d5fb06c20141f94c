"""
What was measured on foot where nothing is drawn: a bed along each edge.

Such a bed lies in no plane: a rectangle with its edge on the x axis stands in for its shape, so
that quantities, plants and prices go the same way as for any other bed.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
import shapely

from scanner.ground.names import name_beds
from scanner.ground.record.answers import add_cautions, deny
from scanner.ground.setting.cautions import WALL_SENTENCE
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
    numbered = name_beds(
        measured["client_id"].to_numpy(), measured["along"].to_numpy(), number.to_numpy()
    )
    is_told = measured["bed_id"] != ""
    is_wall = (measured["along"] == "house").to_numpy()
    wall = WALL_SENTENCE.format(**rules.setbacks.model_dump())
    beds = _sizes(measured, is_wall, rules).assign(
        client_id=measured["client_id"],
        along=measured["along"],
        bed_id=measured["bed_id"].where(is_told, numbered),
        is_told=is_told,
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
