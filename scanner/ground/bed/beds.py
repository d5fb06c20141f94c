"""
Beds: bands opened, cut into pieces, each kept or marked with why it is not.

Kinds take ground in order. Each kind is judged as if it alone were built; the ground of
earlier bands and of what they absorbed is left out of its own.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd
import shapely

from scanner.ground.bed.absorb import absorb_turf
from scanner.ground.bed.bands import LEAST_TOUCH_FT, collect_chains, draw_band, touch_ft
from scanner.ground.bed.normals import edge_before_ft
from scanner.ground.bed.setbacks import Setbacks
from scanner.ground.lot.lawn import Lawn
from scanner.ground.lot.sites import Sites
from scanner.ground.plane.shapes import (
    NO_POLYGON,
    TOUCH_FT,
    ground_of,
    parts_of,
    union_of,
    union_rows,
)
from scanner.ground.plane.widths import open_ground
from scanner.schema.documents import LocalRules

LEAST_PIECE_FT2 = 0.5
"""A smaller scrap of a band is rounding, no piece."""


NOTHING_DENIED: Mapping[str, np.ndarray] = {}


def cut_beds(
    sites: Sites,
    lawn: Lawn,
    edges: pd.DataFrame,
    setbacks: Setbacks,
    *,
    rules: LocalRules,
    denied: Mapping[str, np.ndarray] = NOTHING_DENIED,
) -> pd.DataFrame:
    """
    Cut the beds of each site, kind by kind.

    Parameters
    ----------
    sites, lawn
        Sites of one plane and their turf.
    edges
        As `find_edges` gives them.
    setbacks
        Their limits.
    rules
        Kinds, depth, least sizes, mower [ft].
    denied
        By kind, whether a crew denied that edge, one a site.

    Returns
    -------
    beds
        One row a piece, skipped ones too: ``site``, ``along``, ``skip_reason``, ``edge_ft``,
        ``core`` (before absorbing) and ``absorbed`` [ft].
    """
    taken = np.full(len(sites), NO_POLYGON, dtype=object)
    tables = [_no_beds()]
    last = max(rules.kind_order.index(along) for along in rules.offer_kinds)
    for along in rules.kind_order[: last + 1]:
        chains = collect_chains(edges, along, "geometry", len(sites))
        reach = collect_chains(edges, along, "reach", len(sites))
        free = ground_of(shapely.difference(lawn.ground, taken))
        band = draw_band(free, chains, reach, depth_ft=rules.bed_depth_ft)
        if along in rules.offer_kinds:
            beds = _cut_kind(band, chains, lawn, setbacks, rules).assign(along=along)
            if along in denied:
                is_denied = denied[along][beds["site"].to_numpy()]
                beds["skip_reason"] = beds["skip_reason"].mask(is_denied, "denied")
            beds = _absorb(beds, lawn, union_of(setbacks.removed, taken), sites, rules)
            taken = union_of(taken, _unite(beds, "absorbed", len(sites)))
            tables.append(beds)
        taken = union_of(taken, band)
    return pd.concat(tables, ignore_index=True)


def _no_beds() -> pd.DataFrame:
    return pd.DataFrame(
        {
            "site": np.zeros(0, int),
            "core": np.zeros(0, object),
            "edge_ft": np.zeros(0),
            "skip_reason": np.zeros(0, object),
            "along": np.zeros(0, object),
            "absorbed": np.zeros(0, object),
        }
    )


def _cut_kind(
    band: np.ndarray, chains: np.ndarray, lawn: Lawn, setbacks: Setbacks, rules: LocalRules
) -> pd.DataFrame:
    """Cut one kind's bands into pieces and say of each why it makes no bed."""
    cleared = ground_of(shapely.difference(band, setbacks.removed))
    opened = open_ground(cleared, rules.min_depth_ft)
    pieces, rows = parts_of(opened)
    large = shapely.area(pieces) >= LEAST_PIECE_FT2
    beds = pd.DataFrame({"site": rows[large]}).assign(core=pieces[large])
    reach_ft = rules.bed_depth_ft + rules.gap_ft
    beds["edge_ft"] = edge_before_ft(beds, chains, lawn.ground, reach_ft=reach_ft)
    beds["skip_reason"] = _why_skipped(beds, chains, rules)
    scraps = _lost_pieces(band, cleared, opened)
    scraps["edge_ft"] = edge_before_ft(scraps, chains, lawn.ground, reach_ft=reach_ft)
    return pd.concat([beds, scraps], ignore_index=True)


def _why_skipped(beds: pd.DataFrame, chains: np.ndarray, rules: LocalRules) -> np.ndarray:
    """Name the first rule that each piece fails."""
    cores = beds["core"].to_numpy()
    is_cut_off = touch_ft(cores, chains[beds["site"].to_numpy()]) < LEAST_TOUCH_FT
    # A tenth of an inch of slack: 12 ft drawn as 11.9999 ft is 12 ft.
    is_short = beds["edge_ft"].to_numpy() < rules.min_edge_ft - 2 * TOUCH_FT
    is_small = shapely.area(cores) < rules.min_bed_ft2 - 2 * TOUCH_FT
    return np.select(
        [is_cut_off, is_short, is_small], ["cut off", "too short", "too small"], ""
    ).astype(object)


def _lost_pieces(band: np.ndarray, cleared: np.ndarray, opened: np.ndarray) -> pd.DataFrame:
    """Give the pieces of bands of which nothing is left, by setbacks or for want of depth."""
    pieces, rows = parts_of(band)
    large = shapely.area(pieces) >= LEAST_PIECE_FT2
    pieces, rows = pieces[large], rows[large]
    clear_ft2 = shapely.area(shapely.intersection(pieces, cleared[rows]))
    open_ft2 = shapely.area(shapely.intersection(pieces, opened[rows]))
    lost = open_ft2 < LEAST_PIECE_FT2
    reason = np.where(clear_ft2 < LEAST_PIECE_FT2, "cut off", "too shallow")
    scraps = pd.DataFrame({"site": rows[lost], "skip_reason": reason[lost].astype(object)})
    return scraps.assign(core=pieces[lost])


def _absorb(
    beds: pd.DataFrame, lawn: Lawn, barred: np.ndarray, sites: Sites, rules: LocalRules
) -> pd.DataFrame:
    """Let the kept beds of one kind absorb what they leave too narrow to mow."""
    kept = (beds["skip_reason"] == "").to_numpy()
    absorbed = np.full(len(beds), NO_POLYGON, dtype=object)
    around = union_of(sites.hard, sites.old_bed)
    cores = (beds["core"].to_numpy()[kept], beds["site"].to_numpy()[kept])
    absorbed[kept] = absorb_turf(lawn.ground, cores, around, barred, mower_ft=rules.mower_ft)
    return beds.assign(absorbed=absorbed)


def _unite(beds: pd.DataFrame, column: str, count: int) -> np.ndarray:
    parts, at = parts_of(beds[column].to_numpy())
    return ground_of(union_rows(parts, beds["site"].to_numpy()[at], count))
