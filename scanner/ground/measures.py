"""
Measures of beds: areas, lines and widths, whole columns at once.

The same measures hold for a bed by itself and for beds that lie together in an offer.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import shapely

from scanner.ground.contacts import contacts_of, length_ft, own_edges
from scanner.ground.edges import is_centerline, name_faces
from scanner.ground.faces import FACES
from scanner.ground.kinds import EDGE, LINE, PITCHED, SHUT, TRIMMED
from scanner.ground.rays import look_across, turf_width_ft
from scanner.plane.grid import LEAST_EDGE_FT, LEAST_FT
from scanner.plane.segments import Segs


def measure_shapes(beds: pd.DataFrame, border: Segs, outline: np.ndarray) -> pd.DataFrame:
    """
    Measure what does not hang on limits of some beds of one kind.

    Parameters
    ----------
    beds
        Columns ``lot`` (a row of `outline`), ``along`` (all the same), ``core`` and ``absorbed``,
        and ``shape``, both together [ft].
    border
        The labelled border that they lie on [ft].
    outline
        Outlines [ft], one a lot.

    Returns
    -------
    beds
        The same rows with the measures of table `BEDS` but those of limits and of the turf that
        is left.
    """
    count, core, absorbed = len(beds), beds["core"].to_numpy(), beds["absorbed"].to_numpy()
    lot, bit = beds["lot"].to_numpy(), EDGE[str(beds["along"].iloc[0])]
    shapes = beds["shape"].to_numpy()
    touching = contacts_of(shapes, lot, border, len(outline))
    edge_ft = length_ft(touching, bit, count)
    edge = own_edges(touching, bit, count)
    # What a bed absorbs may lie along its edge too: the edge is that of the band.
    grown = np.flatnonzero(~shapely.is_empty(absorbed))
    if len(grown):
        before = contacts_of(core[grown], lot[grown], border, len(outline))
        edge_ft[grown] = length_ft(before, bit, len(grown))
        edge[grown] = own_edges(before, bit, len(grown))
    area_ft2 = shapely.area(shapes)
    inside_ft2 = shapely.area(shapely.intersection(shapes, outline[lot]))
    return beds.assign(
        edge=edge,
        edge_ft=edge_ft,
        edge_source=_sources(touching, bit, edge_ft),
        face=_faces(touching, count) if beds["along"].iloc[0] == "house" else "",
        area_ft2=area_ft2,
        mean_depth_ft=area_ft2 / np.maximum(edge_ft, LEAST_FT),
        bed_line_ft=np.bincount(touching.of, touching.length_ft, count)
        - length_ft(touching, SHUT, count),
        trim_ft=length_ft(touching, TRIMMED, count),
        absorbed_ft2=np.maximum(area_ft2 - shapely.area(core), 0.0),
        right_of_way_ft2=np.maximum(area_ft2 - inside_ft2, 0.0),
        turf_left_width_ft=turf_width_ft(look_across(touching, border, len(outline)), count),
    )


def _sources(touching: Segs, bit: int, edge_ft: np.ndarray) -> np.ndarray:
    """Tell how the larger part of each bed's edge is known."""
    on = touching.take((touching.bits & bit) > 0)
    halves = edge_ft / 2
    drawn_ft = length_ft(on, LINE, len(edge_ft))
    lies_center = is_centerline(on.bits) & ((on.bits & LINE) == 0)
    center_ft = np.bincount(on.of[lies_center], on.length_ft[lies_center], len(edge_ft))
    some = edge_ft > 0
    return np.select(
        [some & (drawn_ft >= halves), some & (center_ft > halves)],
        ["drawn", "centerline"],
        "surveyed",
    ).astype(object)


def _faces(touching: Segs, count: int) -> np.ndarray:
    """Name the house faces that each bed takes in."""
    bits = np.zeros(count, np.int32)
    offered = touching.take((touching.bits & PITCHED) > 0)
    for bit in FACES.values():
        bits |= np.where(length_ft(offered, bit, count) >= LEAST_EDGE_FT, bit, 0).astype(np.int32)
    return name_faces(bits)
