"""
Measures of beds, read off the labels of their borders: areas, lines, how wide the turf stays.

A stretch without any label runs through the lawn; one on an open lot line has `RIM` alone. Rays
are normal to bed lines: seen from a straight stretch of one, a piece of border covers a run of
its rays, so stretches are paired with pieces, not rays, and the rest is arithmetic.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import pandas as pd
import shapely

from scanner.ground.edges import is_centerline, name_faces
from scanner.ground.faces import FACES
from scanner.ground.kinds import EDGE, LINE, PITCHED, SHUT, TRIMMED
from scanner.plane.grid import LEAST_EDGE_FT, LEAST_FT, ON_FT
from scanner.plane.labels import chains, join_stretches, label
from scanner.plane.segments import Segs, cut_rings, near, spread
from scanner.plane.vectors import cross, dot

RIM = 1 << 30
"""Label of what lies on the lawn's border."""


def contacts_of(shapes: np.ndarray, lot: np.ndarray, border: Segs) -> Segs:
    """Label the borders of pieces [ft] with what they lie on; those on the lawn's border have `RIM` and its bits."""
    return label(cut_rings(shapes, lot), border._replace(bits=border.bits | RIM))


def length_ft(touching: Segs, bits: int | np.ndarray, count: int) -> np.ndarray:
    """Measure how far each piece's border lies on any of some bits, one for all or one a piece [ft]."""
    on = (touching.bits & _by_stretch(bits, touching)) > 0
    return np.bincount(touching.of[on], touching.length_ft[on], count)


def _by_stretch(bits: int | np.ndarray, touching: Segs) -> int | np.ndarray:
    return bits[touching.of] if isinstance(bits, np.ndarray) else bits


def own_edges(touching: Segs, bits: int | np.ndarray, count: int) -> np.ndarray:
    """Draw the edge that each piece lies along, lawn on the left [ft]; `bits`: one for all, or one a piece."""
    found = chains(touching._replace(lot=touching.of), _by_stretch(bits, touching))
    edges = np.full(count, shapely.LineString(), dtype=object)
    lines = found.lines()
    rows, first, many = np.unique(found.lot, return_index=True, return_counts=True)
    edges[rows] = lines[first]
    several = np.isin(found.lot, rows[many > 1])
    if several.any():
        rows, at = np.unique(found.lot[several], return_inverse=True)
        edges[rows] = shapely.multilinestrings(lines[several], indices=at)
    return edges


RAY_FT = 60.0
"""Turf wider than this is wide."""

SPACING_FT = 1.0
"""Rays off a bed line stand about this far apart."""

LEAST_LINE_FT = 10.0
"""A shorter bed line says nothing of the turf's width."""

NARROW_SHARE = 0.1
"""Share of the rays that are shorter than what is called the width."""


class Rays(NamedTuple):
    """Rays off bed lines."""

    piece: np.ndarray  # piece of ground that each leaves
    # how far it runs before it meets a border of the lawn or of its own piece, as far as asked at
    # most
    wide_ft: np.ndarray
    line_ft: np.ndarray  # length of the connected bed line that it leaves


class _Feet(NamedTuple):
    """Straight stretches that rays leave: the first foot along each, their spacing and number."""

    segs: Segs
    first_ft: np.ndarray
    spacing_ft: np.ndarray
    many: np.ndarray


def look_across(touching: Segs, border: Segs, *, far_ft: float = RAY_FT) -> Rays:
    """
    Measure the turf off each piece's bed line: rays normal to it, about a foot apart, `far_ft` long at most.

    `border`: the lawns' [ft], that of beds beside too. Rays stand in the order of the stretches.
    """
    is_line = np.flatnonzero((touching.bits & SHUT) == 0)
    if not len(is_line):
        return Rays(np.zeros(0, int), np.zeros(0), np.zeros(0))
    at, chain, _ = join_stretches(touching, is_line)
    size = touching.length_ft[at]
    total = np.bincount(chain, size)
    spacing = (total / np.maximum(np.ceil(total / SPACING_FT), 1.0))[chain]
    begins = np.cumsum(size) - size
    begins -= begins[np.searchsorted(chain, chain)]
    skip = np.ceil(begins / spacing - 0.5)
    many = (np.ceil((begins + size) / spacing - 0.5) - skip).astype(int)
    # Off an open lot line there is no lawn to look across; a short chord may hold no ray.
    stand = np.flatnonzero((touching.bits[at] == 0) & (many > 0))
    first_ft = (skip + 0.5) * spacing - begins
    feet = _Feet(touching.take(at[stand]), first_ft[stand], spacing[stand], many[stand])
    own = touching.take(touching.bits == 0)
    by_piece = feet._replace(segs=feet.segs._replace(lot=feet.segs.of))
    wide_ft = np.minimum(
        _shortest(feet, border, far_ft),
        _shortest(by_piece, own._replace(lot=own.of), far_ft),
    )
    line_ft = np.repeat(total[chain[stand]], feet.many)
    return Rays(np.repeat(feet.segs.of, feet.many), wide_ft, line_ft)


def _shortest(feet: _Feet, border: Segs, far_ft: float) -> np.ndarray:
    """Measure how far each ray runs before it meets a border of its lot."""
    segs, many = feet.segs, feet.many
    step = (segs.b - segs.a) / segs.length_ft[:, None]
    first = np.cumsum(many) - many
    wide_ft = np.full(int(many.sum()), far_ft)
    # From corner to corner of what the rays sweep, seen from above: few pieces lie in it.
    right = np.column_stack([step[:, 1], -step[:, 0]]) * far_ft
    low, high = np.minimum(segs.a, segs.b), np.maximum(segs.a, segs.b)
    swept = segs._replace(a=np.minimum(low, low + right), b=np.maximum(high, high + right))
    i, j = near(swept, border, 0.0)
    ends, along = (border.a[j] - segs.a[i], border.b[j] - segs.a[i]), step[i]
    # Feet along, and off to the right, where the turf is.
    (x0, y0), (x1, y1) = ((dot(end, along), cross(end, along)) for end in ends)
    spacing, start = feet.spacing_ft[i], feet.first_ft[i]
    low = np.maximum(np.ceil((np.minimum(x0, x1) - start) / spacing), 0).astype(int)
    high = np.floor((np.maximum(x0, x1) - start) / spacing)
    high = np.minimum(high, many[i] - 1).astype(int)
    hit = (high >= low) & (np.maximum(y0, y1) > ON_FT) & (np.minimum(y0, y1) < far_ft)
    hit = np.flatnonzero(hit & (x0 != x1))
    row, ray = spread(low[hit], (high - low)[hit] + 1)
    at = hit[row]
    x = start[at] + ray * spacing[at]
    y = y0[at] + (y1 - y0)[at] * (x - x0[at]) / (x1 - x0)[at]
    ahead = y > ON_FT
    np.minimum.at(wide_ft, (first[i[at]] + ray)[ahead], y[ahead])
    return wide_ft


def turf_width_ft(rays: Rays, pieces: int) -> np.ndarray:
    """Call a low share of the rays off bed lines of `LEAST_LINE_FT` the width of the turf [ft]; NaN: no such line."""
    far = rays.line_ft >= LEAST_LINE_FT - ON_FT
    piece, wide_ft = rays.piece[far], rays.wide_ft[far]
    order = np.lexsort((wide_ft, piece))
    wide_ft = wide_ft[order]
    many = np.bincount(piece, minlength=pieces)
    width_ft = np.full(pieces, np.nan)
    some = many > 0
    last = (np.cumsum(many) - 1)[some]
    at = last - (many[some] - 1) * (1 - NARROW_SHARE)
    low = np.floor(at).astype(int)
    high = np.minimum(low + 1, last)
    width_ft[some] = wide_ft[low] + (wide_ft[high] - wide_ft[low]) * (at - low)
    return width_ft


def count_short(rays: Rays, pieces: int, width_ft: float) -> np.ndarray:
    """Count the rays of each piece that are shorter than a width [ft]."""
    return np.bincount(rays.piece[rays.wide_ft < width_ft], minlength=pieces)


def measure_lines(touching: Segs, rays: Rays, count: int) -> pd.DataFrame:
    """Measure what beds beside change: ``bed_line_ft``, ``trim_ft``, ``turf_left_width_ft``, one row a bed."""
    around_ft = np.bincount(touching.of, touching.length_ft, count)
    return pd.DataFrame({
        "bed_line_ft": around_ft - length_ft(touching, SHUT, count),
        "trim_ft": length_ft(touching, TRIMMED, count),
        "turf_left_width_ft": turf_width_ft(rays, count),
    })  # fmt: skip


def measure_shapes(beds: pd.DataFrame, border: Segs, outline: np.ndarray) -> pd.DataFrame:
    """
    Measure what does not hang on limits of some beds, nor on the turf that is left.

    `beds` has ``lot`` (a row of `outline`), ``along``, ``core`` and ``absorbed``, and ``shape``,
    both together [ft].
    """
    count, core, absorbed = len(beds), beds["core"].to_numpy(), beds["absorbed"].to_numpy()
    lot, along, shapes = beds["lot"].to_numpy(), beds["along"].to_numpy(), beds["shape"].to_numpy()
    bits = np.array([EDGE[kind] for kind in along], np.int32)
    touching = contacts_of(shapes, lot, border)
    edge_ft = length_ft(touching, bits, count)
    edge = own_edges(touching, bits, count)
    # What a bed absorbs may lie along its edge too: the edge is that of the band.
    grown = np.flatnonzero(~shapely.is_empty(absorbed))
    if len(grown):
        before = contacts_of(core[grown], lot[grown], border)
        edge_ft[grown] = length_ft(before, bits[grown], len(grown))
        edge[grown] = own_edges(before, bits[grown], len(grown))
    area_ft2 = shapely.area(shapes)
    inside_ft2 = area_ft2.copy()
    out = np.flatnonzero(~shapely.covers(outline[lot], shapes))
    inside_ft2[out] = shapely.area(shapely.intersection(shapes[out], outline[lot[out]]))
    lines = measure_lines(touching, look_across(touching, border), count)
    return beds.assign(
        edge=edge,
        edge_ft=edge_ft,
        edge_source=_sources(touching, bits, edge_ft),
        face=np.where(along == "house", _faces(touching, count), "").astype(object),
        area_ft2=area_ft2,
        mean_depth_ft=area_ft2 / np.maximum(edge_ft, LEAST_FT),
        absorbed_ft2=np.maximum(area_ft2 - shapely.area(core), 0.0),
        right_of_way_ft2=np.maximum(area_ft2 - inside_ft2, 0.0),
        **{str(name): lines[name].to_numpy() for name in lines},
    )


def _sources(touching: Segs, bits: np.ndarray, edge_ft: np.ndarray) -> np.ndarray:
    """Tell how the larger part of each bed's edge is known."""
    on = touching.take((touching.bits & bits[touching.of]) > 0)
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
