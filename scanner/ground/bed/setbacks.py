"""
Setbacks: ground taken out of beds, and ground kept but limited.

*Removed*: easements and the clear ground round pad-mounted transformers. *Limited*:
circles without plants, sight triangles with low plants, root zones dug by hand, the
strip at a wall, the step-out along a curb with parking, mapped wildfire areas.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
import shapely

from scanner.ground.bed.sights import find_corners, find_drive_sights
from scanner.ground.lot.sites import Sites
from scanner.ground.plane.shapes import ground_of, union_of, union_rows
from scanner.schema.documents import LocalRules
from scanner.units import IN_PER_FT

CLEAR_OF = {
    "hydrant": "hydrant_ft",
    "mailbox": "mailbox_ft",
    "tree": "trunk_ft",
    "gas_meter": "gas_meter_ft",
    "electric_meter": "electric_meter_ft",
    "water_meter": "water_meter_ft",
    "pole": "pole_ft",
}
"""Rule that states the plant-free radius round each thing."""


@dataclass(frozen=True)
class Setbacks:
    """
    Ground with limits, one polygon a site [ft].

    Attributes
    ----------
    removed
        Taken out of beds, never absorbed back.
    plant_free
        No plants, hand digging only.
    low
        Sight triangles: low plants only.
    roots
        Root zones: hand digging only.
    wall
        Strip at walls: no planting, no organic mulch, no trench.
    step_out
        Strip along a curb with parking: no plants.
    wildfire
        Mapped high-hazard ground.
    circles
        Points to keep clear of with their circle: ``site``, ``what``, ``geometry``.
    """

    removed: np.ndarray
    plant_free: np.ndarray
    low: np.ndarray
    roots: np.ndarray
    wall: np.ndarray
    step_out: np.ndarray
    wildfire: np.ndarray
    circles: pd.DataFrame


def find_setbacks(sites: Sites, curb_chains: np.ndarray, *, rules: LocalRules) -> Setbacks:
    """
    Find the limits on each site.

    Parameters
    ----------
    sites
        Sites of one plane.
    curb_chains
        Curb edges [ft], one multi-line a site.
    rules
        Distances and their sources.

    Returns
    -------
    setbacks
        One row a site.
    """
    distances = rules.setbacks
    what = np.where(sites.things["kind"] == "utility", sites.things["what"], sites.things["kind"])
    circles = sites.things.assign(what=what)
    radius_ft = np.array([getattr(distances, CLEAR_OF.get(name, ""), 0.0) for name in what], float)
    is_box = what == "transformer"
    radius_ft[is_box] = distances.transformer_ft
    circles["geometry"] = shapely.buffer(circles["geometry"].to_numpy(), radius_ft, quad_segs=64)
    trees = sites.things[what == "tree"]
    zone_ft = trees["dbh_in"].fillna(0.0).to_numpy(float) * distances.root_zone_ft_per_in
    zones = shapely.buffer(trees["geometry"].to_numpy(), zone_ft, quad_segs=32)
    walls = union_of(sites.house, sites.outbuilding, sites.neighbor)
    parked = shapely.intersection(curb_chains, shapely.buffer(sites.parking, rules.gap_ft))
    return Setbacks(
        removed=ground_of(union_of(sites.easement, _unite(circles[is_box], len(sites)))),
        plant_free=_unite(circles[~is_box], len(sites)),
        low=ground_of(
            union_of(find_corners(sites, rules=rules), find_drive_sights(sites, rules=rules))
        ),
        roots=ground_of(union_rows(zones, trees["site"].to_numpy(), len(sites))),
        wall=shapely.buffer(walls, distances.wall_clear_in / IN_PER_FT, join_style="mitre"),
        step_out=shapely.buffer(parked, distances.step_out_in / IN_PER_FT, cap_style="flat"),
        wildfire=sites.wildfire,
        circles=circles,
    )


def _unite(circles: pd.DataFrame, count: int) -> np.ndarray:
    return ground_of(union_rows(circles["geometry"].to_numpy(), circles["site"].to_numpy(), count))
