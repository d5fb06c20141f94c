"""
Absorbed turf: what a new bed leaves too narrow for a mower joins the bed.

R = (T₁ − O(T₁)) ∩ O(T₀), with T₀ the turf before, T₁ after and O the opening at mower
width. A piece joins where it is worth a mention, lies along the bed and is hemmed in.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import shapely

from scanner.ground.plane.offsets import offset_ground
from scanner.ground.plane.shapes import (
    Indexed,
    contact_ft,
    gather_rows,
    ground_of,
    parts_of,
    union_of,
    union_rows,
)
from scanner.ground.plane.widths import open_ground

LEAST_PIECE_FT2 = 5.0
"""A smaller left-over is mowed or trimmed somehow."""

RIM_FT = 0.25
"""Ground narrower than this behind a bed is no turf (starting value, no source)."""

HAIR_FT = 0.001
"""Half the width of a hair that an overlay leaves."""

LEAST_CONTACT_FT = 3.0
"""A left-over that meets the bed along less than this is no part of it."""

TIE_FT = 0.1
"""Contacts that differ by less than this are equally long."""

HEMMED_SHARE = 0.5
"""Share of the border off the bed that lies on hardscape, wall, fence or another bed."""


def absorb_turf(
    turf: np.ndarray, cores: Indexed, hard: np.ndarray, barred: np.ndarray, *, mower_ft: float
) -> np.ndarray:
    """
    Give each bed the turf that it leaves too narrow to mow.

    Parameters
    ----------
    turf
        Turf before any bed [ft], n rows.
    cores
        Beds before they absorb, and the row of each; in each row the bed that takes ground
        first comes first.
    hard
        Hardscape, walls, fences and old beds [ft], n rows.
    barred
        Ground that may not be absorbed [ft], n rows.
    mower_ft
        Width that a mower needs.

    Returns
    -------
    absorbed
        Polygons [ft], one a bed, empty where a bed absorbs nothing.
    """
    beds, owners = cores
    rows, at = np.unique(owners, return_inverse=True)
    taken = union_rows(beds, at, len(rows))
    before, after = turf[rows], ground_of(shapely.difference(turf[rows], taken))
    lost = shapely.difference(after, open_ground(after, mower_ft))
    lost = shapely.intersection(lost, open_ground(before, mower_ft))
    # An opening leaves hairs along straight borders: they are no part of what is left over.
    whole, whole_at = parts_of(ground_of(shapely.difference(lost, barred[rows])))
    parts, at_whole = parts_of(_without_hairs(whole))
    large = _is_rim(parts) | (shapely.area(parts) >= LEAST_PIECE_FT2)
    parts, part_at = parts[large], whole_at[at_whole[large]]
    bed = _host(parts, part_at, beds, at)
    hosted = bed >= 0
    parts, part_at, bed = parts[hosted], part_at[hosted], bed[hosted]
    hemmed = _is_hemmed(parts, beds[bed], union_of(taken, hard[rows])[part_at])
    return ground_of(gather_rows(parts[hemmed], bed[hemmed], len(beds)))


def _without_hairs(parts: np.ndarray) -> np.ndarray:
    """Drop what has length and no width."""
    grown = offset_ground(offset_ground(parts, -HAIR_FT), 2 * HAIR_FT)
    return ground_of(shapely.intersection(parts, grown))


def _is_rim(parts: np.ndarray) -> np.ndarray:
    """Tell which left-overs are an inch or two wide at most: nobody's turf, however small."""
    mean_width_ft = 2 * shapely.area(parts) / np.maximum(shapely.length(parts), HAIR_FT)
    return shapely.is_empty(open_ground(parts, RIM_FT)) & (mean_width_ft > 2 * HAIR_FT)


def _host(parts: np.ndarray, part_at: np.ndarray, beds: np.ndarray, at: np.ndarray) -> np.ndarray:
    """Find the bed of longest contact for each left-over, the earlier one on a tie; -1: none."""
    pairs = pd.DataFrame({"at": part_at, "part": np.arange(len(parts))}).merge(
        pd.DataFrame({"at": at, "bed": np.arange(len(beds))}), on="at"
    )
    length_ft = contact_ft(parts[pairs["part"]], beds[pairs["bed"]])
    pairs = pairs.assign(contact_ft=length_ft)[length_ft >= LEAST_CONTACT_FT]
    longest_ft = pairs.groupby("part")["contact_ft"].transform("max")
    # Equal contacts differ by rounding: the bed that comes first takes the ground.
    best = pairs[pairs["contact_ft"] >= longest_ft - TIE_FT].groupby("part")["bed"].min()
    return best.reindex(range(len(parts)), fill_value=-1).to_numpy()


def _is_hemmed(parts: np.ndarray, hosts: np.ndarray, around: np.ndarray) -> np.ndarray:
    """Tell whether half of each left-over's border off its bed lies on something."""
    on_bed_ft = contact_ft(parts, hosts)
    off_bed_ft = shapely.length(shapely.boundary(parts)) - on_bed_ft
    return contact_ft(parts, around) - on_bed_ft >= HEMMED_SHARE * off_bed_ft - 0.05
