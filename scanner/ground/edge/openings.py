"""
Drives that nobody drew: the guessed opening, and the flare of a drive at the curb.

A lot with a curb and no drive has one all the same. The last ``default_opening_ft`` of
its longest curb chain, on the right as seen from the street, is left out as if a drive
stood there; the guess is told in a caution.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import shapely
from shapely.ops import substring

from scanner.ground.edge.edges import border_chains, border_lines
from scanner.ground.lot.lawn import Lawn
from scanner.ground.lot.sites import Sites
from scanner.ground.plane.shapes import gather_rows, ground_of, parts_of, union_of, union_rows
from scanner.ground.plane.widths import close_seams, drop_slivers, smooth_rings
from scanner.schema.documents import LocalRules

DRIVE_END_FT = 3.0
"""Corners of a drive this much farther from the curb than its nearest belong to its end."""

LEAST_DRIVE_FT2 = 20.0
"""Less drive than this on a lot is a neighbour's edge, no drive."""


def guess_openings(
    sites: Sites,
    lawn: Lawn,
    walls: pd.DataFrame,
    *,
    rules: LocalRules,
    seen_ft: np.ndarray | None = None,
) -> np.ndarray:
    """
    Guess where the drive stands on lots that have a curb and no drive drawn.

    Parameters
    ----------
    sites
        Sites of one plane.
    lawn
        Their turf.
    walls
        As `find_walls` gives them.
    rules
        ``default_opening_ft``, frontage, bed depth [ft].
    seen_ft
        Width of the drive as crews measured it, one a site [ft]; NaN: not measured, the
        default holds.

    Returns
    -------
    openings
        Polygons [ft], one a site, empty where a drive is drawn or no curb is known.
    """
    openings = np.full(len(sites), shapely.Polygon(), dtype=object)
    opening_ft = np.full(len(sites), rules.default_opening_ft)
    if seen_ft is not None:
        opening_ft = np.where(np.isnan(seen_ft), opening_ft, seen_ft)
    if not (opening_ft > 0).any():
        return openings
    mine = union_of(sites.outline, lawn.strip)
    has_drive = shapely.area(shapely.intersection(mine, sites.drive)) >= LEAST_DRIVE_FT2
    turf = np.where(has_drive | (opening_ft <= 0), shapely.Polygon(), lawn.ground)
    chains, rows = border_chains(turf, border_lines(sites, walls, "curb", rules))
    order = np.lexsort((-shapely.length(chains), rows))
    site, first = np.unique(rows[order], return_index=True)
    deep_ft = rules.frontage_max_ft + rules.bed_depth_ft
    for row, chain in zip(site, chains[order][first], strict=True):
        # The lawn is on the chain's left: its end is on the right as seen from the street.
        last = substring(chain, max(chain.length - opening_ft[row], 0.0), chain.length)
        openings[row] = last.buffer(deep_ft, cap_style="flat", single_sided=True)
    return openings


def reach_curb(sites: Sites, lawn: Lawn, *, apart_ft: tuple[float, float]) -> np.ndarray:
    """
    Run drives on to the curb where they are drawn to stop short of it.

    Parameters
    ----------
    sites, lawn
        Sites of one plane and their turf.
    apart_ft
        Drives that end farther from the curb than the first and at most the second [ft].

    Returns
    -------
    mouths
        Polygons [ft] between the drives' ends and the curb, one a site.
    """
    drives, rows = parts_of(sites.drive)
    street = sites.street[rows]
    short_ft = shapely.distance(drives, street)
    short = (short_ft > apart_ft[0]) & (short_ft <= apart_ft[1])
    short &= shapely.intersects(drives, lawn.strip[rows]) | shapely.intersects(
        drives, sites.outline[rows]
    )
    mouths = np.full(int(short.sum()), shapely.Polygon(), dtype=object)
    # A few drives of a block: the corners of each that look at the curb, with their feet on it.
    for at, (drive, curb) in enumerate(zip(drives[short], street[short], strict=True)):
        corners = shapely.points(shapely.get_coordinates(drive))
        near = corners[shapely.distance(corners, curb) <= short_ft[short][at] + DRIVE_END_FT]
        feet = shapely.get_point(shapely.shortest_line(near, curb), 1)
        mouths[at] = shapely.convex_hull(shapely.union_all([*near, *feet]))
    return ground_of(union_rows(mouths, rows[short], len(sites)))


def stand_drives(sites: Sites, lawn: Lawn, openings: np.ndarray) -> tuple[Sites, Lawn]:
    """
    Let drives that nobody drew stand: they take turf and bound edges like drawn ones.

    Parameters
    ----------
    sites, lawn
        Sites of one plane and their turf.
    openings
        As `guess_openings` or `flare_drives` give them.

    Returns
    -------
    sites, lawn
        The same with the openings in ``drive`` and out of the turf.
    """
    drive = close_seams(ground_of(union_of(sites.drive, openings)))
    stood = replace(sites, drive=smooth_rings(drive))
    turf = drop_slivers(shapely.difference(lawn.ground, openings))
    return stood, replace(lawn, ground=turf)


def flare_drives(sites: Sites, lawn: Lawn, walls: pd.DataFrame, *, rules: LocalRules) -> np.ndarray:
    """
    Widen drives near the curb where the flare is not drawn.

    Parameters
    ----------
    sites, lawn
        Sites of one plane and their turf.
    walls
        As `find_walls` gives them.
    rules
        ``drive_flare_ft``, ``bed_depth_ft``.

    Returns
    -------
    flares
        Polygons [ft] beside the drives over a bed's depth from the curb, one a site.
    """
    flares = np.full(len(sites), shapely.Polygon(), dtype=object)
    if rules.drive_flare_ft <= 0:
        return flares
    near = shapely.intersection(sites.drive, shapely.buffer(lawn.ground, rules.gap_ft))
    wide = shapely.buffer(near, rules.drive_flare_ft, join_style="mitre")
    chains, rows = border_chains(lawn.ground, border_lines(sites, walls, "curb", rules))
    reach = shapely.buffer(
        gather_rows(chains, rows, len(sites)), rules.bed_depth_ft, cap_style="flat"
    )
    return ground_of(shapely.intersection(wide, reach))
