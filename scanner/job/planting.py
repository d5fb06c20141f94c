"""
Where the plants stand: a staggered grid that follows the edge.

Rows are lines parallel to the edge, 0.866 of a spacing apart; on a straight edge they
are the rows of an equilateral grid, along a curve they bend with it. The first row
stands half a spacing into the plantable ground, and no plant stands nearer than that
to its border. Everything hangs on the edge itself, seen with the bed on its left, so
that turning, moving or reversing a lot changes no count.
"""

from __future__ import annotations

from hashlib import blake2b
from math import sqrt

import numpy as np
import pandas as pd
import shapely

from scanner.job.accents import (
    BORDER_FT,
    STRAIGHT,
    EdgeParts,
    Shapes,
    edge_parts,
    far_ft,
    offset_lines,
    place_accents,
)
from scanner.job.counting import IntArray
from scanner.schema.documents import RateBook
from scanner.schema.tables import OFFER_BEDS, PLANT_COUNTS, PLANTS, check_table, empty_table
from scanner.units import IN_PER_FT

ROW_SHARE = sqrt(3) / 2
"""Rows of an equilateral grid over its spacing: 0.866 (trade values, section 2)."""

WALLED = ("house", "fence")
"""Beds along these are seen from the lawn, others from the edge."""

PLANTINGS = ("accent", "planted")
"""The few shrubs of an accent, the grid of a full planting."""


def place_plants(offer_beds: pd.DataFrame, *, rates: RateBook) -> pd.DataFrame:
    """
    Place the plants of each bed: the few shrubs of an accent and the grid of a full planting.

    Parameters
    ----------
    offer_beds
        Table `OFFER_BEDS`, n rows, local frame [ft]; skipped beds are left out.
    rates
        Plant spacing [in], spacing of an accent's shrubs [ft].

    Returns
    -------
    plants
        Table `PLANTS`, one row a plant: accents first, in the order of `offer_beds`, then
        row by row from the edge.
    """
    check_table(offer_beds, OFFER_BEDS)
    beds = offer_beds[offer_beds["skip_reason"] == ""].reset_index(drop=True)
    grounds, edges = (np.asarray(beds[name], dtype=object) for name in ("plantable", "edge"))
    spots = zip(PLANTINGS, _lay_out(grounds, edges, rates), strict=True)
    plants = pd.concat([own.assign(planting=name) for name, own in spots], ignore_index=True)
    if plants.empty:
        return empty_table(PLANTS)
    names = {name: beds[name].to_numpy()[plants["ground"]] for name in ("offer_id", "bed_id")}
    points = shapely.points(plants[["x_ft", "y_ft"]].to_numpy())
    borders = shapely.boundary(np.asarray(beds["geometry"], dtype=object))
    plants = plants.assign(
        **names,
        is_low=_is_low(beds, plants),
        is_front=_is_front(beds, plants, shapely.distance(edges[plants["ground"]], points), rates),
        room_ft=shapely.distance(borders[plants["ground"]], points),
    )
    return check_table(plants[[*PLANTS.columns]], PLANTS)


COUNTS = ("accent_count", "plant_count")


class PlantCounts:
    """
    Counts the plants of beds; ground that lies in many sets of beds is laid out once.

    ``known``: table `PLANT_COUNTS`, what was counted before; other spacings are passed over.
    """

    def __init__(self, rates: RateBook, known: pd.DataFrame | None = None) -> None:
        self._rates = rates
        spacings = rates.plant_spacing_in.value, rates.accent_spacing_ft.value
        self._spacing = " ".join(map(repr, spacings))
        known = empty_table(PLANT_COUNTS) if known is None else known
        self._tables = [known[known["spacing"] == self._spacing]]
        counts = zip(*(self._tables[0][name] for name in COUNTS), strict=True)
        self._known = dict(zip(self._tables[0]["ground"], counts, strict=True))

    def table(self) -> pd.DataFrame:
        """List what is known now: table `PLANT_COUNTS`."""
        return check_table(pd.concat(self._tables, ignore_index=True), PLANT_COUNTS)

    def count(self, beds: pd.DataFrame) -> tuple[IntArray, IntArray]:
        """Count an accent's shrubs and a full planting's plants on each bed of table `OFFER_BEDS`."""
        grounds, edges = (np.asarray(beds[name], dtype=object) for name in ("plantable", "edge"))
        keys = [*map(_print, shapely.to_wkb(grounds), shapely.to_wkb(edges))]
        new = {key: row for row, key in enumerate(keys) if key not in self._known}
        if new:
            rows = [*new.values()]
            counts = [
                np.bincount(spots["ground"].to_numpy(np.int64), minlength=len(rows)).tolist()
                for spots in _lay_out(grounds[rows], edges[rows], self._rates)
            ]
            self._known |= zip(new, zip(*counts, strict=True), strict=True)
            told = beds[["client_id"]].iloc[rows].assign(ground=[*new], spacing=self._spacing)
            self._tables.append(told.assign(**dict(zip(COUNTS, counts, strict=True))))
        counted = np.array([self._known[key] for key in keys], dtype=np.int64).reshape(-1, 2)
        return counted[:, 0], counted[:, 1]


def _print(ground: bytes, edge: bytes) -> str:
    return blake2b(len(ground).to_bytes(8, "big") + ground + edge, digest_size=16).hexdigest()


def _lay_out(grounds: Shapes, edges: Shapes, rates: RateBook) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Lay out the shrubs of an accent and the grid of a full planting."""
    stretches = edge_parts(grounds, edges)
    return (
        place_accents(grounds, stretches, rates=rates),
        _lay_grid(grounds, stretches, rates.plant_spacing_in.value / IN_PER_FT),
    )


def _lay_grid(grounds: Shapes, stretches: EdgeParts, spacing_ft: float) -> pd.DataFrame:
    _, parts, owners = stretches
    spots, points = _step_along(_draw_rows(parts, owners, grounds, spacing_ft), spacing_ft)
    ground, part, depth_ft = (spots[name].to_numpy() for name in ("ground", "part", "depth_ft"))
    borders = shapely.boundary(grounds)
    fits = shapely.contains_properly(grounds[ground], points)
    fits &= shapely.distance(borders[ground], points) >= spacing_ft / 2 - 2 * BORDER_FT
    # near another stretch of the edge its own rows rule
    turns = (shapely.get_num_coordinates(parts) > STRAIGHT) | (np.bincount(owners)[owners] > 1)
    at = np.flatnonzero(fits & turns[part])
    whole_edges = _together(parts, owners, len(grounds))[ground[at]]
    fits[at] = shapely.distance(whole_edges, points[at]) >= depth_ft[at] - 2 * BORDER_FT
    return spots[fits].sort_values(["ground", "part", "place", "step"], kind="stable")


def _draw_rows(parts: Shapes, owners: IntArray, grounds: Shapes, spacing_ft: float) -> pd.DataFrame:
    # Where plants may stand at all: a corner too narrow for one must not shift the rows.
    inner = shapely.buffer(grounds, BORDER_FT - spacing_ft / 2)
    first_ft = shapely.distance(parts, inner[owners]) + BORDER_FT
    room_ft = np.where(np.isnan(first_ft), -1.0, far_ft(parts, inner[owners]) - first_ft)
    row_ft = ROW_SHARE * spacing_ft
    counts = np.floor((room_ft + 2 * BORDER_FT) / row_ft).astype(np.int64) + 1
    part = np.repeat(np.arange(len(parts)), counts)
    place = np.arange(len(part)) - np.repeat(np.cumsum(counts) - counts, counts)
    depth_ft = first_ft[part] + row_ft * place
    lines = offset_lines(parts, part, depth_ft)
    rows = pd.DataFrame(
        {"part": part, "ground": owners[part], "place": place, "depth_ft": depth_ft, "line": lines}
    )
    rows = rows[~shapely.is_empty(lines)]
    return _anchor(rows, inner)


def _anchor(rows: pd.DataFrame, inner_grounds: Shapes) -> pd.DataFrame:
    """Let the first row that fits begin where it enters; the others stagger from there."""
    lines = np.asarray(rows["line"], dtype=object)
    fitting = shapely.intersection(lines, inner_grounds[rows["ground"]])
    corners, owners = shapely.get_coordinates(fitting, return_index=True)
    part, place = rows["part"].to_numpy(), rows["place"].to_numpy()
    at_ft = shapely.line_locate_point(lines[owners], shapely.points(corners))
    order = np.lexsort((at_ft, place[owners], part[owners]))
    entered, first = np.unique(part[owners[order]], return_index=True)
    owner, at_ft = owners[order[first]], at_ft[order[first]]
    # the slack that let the row in is taken back, so that a square end keeps its full distance
    entries = shapely.line_interpolate_point(lines[owner], at_ft + BORDER_FT)
    is_entered = np.isin(part, entered)
    at = np.searchsorted(entered, part[is_entered])
    start_ft = shapely.line_locate_point(lines[is_entered], entries[at])
    return rows[is_entered].assign(first_place=place[owner[at]], start_ft=start_ft)


def _step_along(rows: pd.DataFrame, spacing_ft: float) -> tuple[pd.DataFrame, Shapes]:
    """Every spacing along each row, every other row half a spacing on: as a table and as points."""
    lines = np.asarray(rows["line"], dtype=object)
    is_between = ((rows["place"] - rows["first_place"]) % 2 == 1).to_numpy()
    start_ft = rows["start_ft"].to_numpy() + np.where(is_between, spacing_ft / 2, 0.0)
    back = np.floor(start_ft / spacing_ft + BORDER_FT).astype(np.int64)
    on = np.floor((shapely.length(lines) - start_ft) / spacing_ft + BORDER_FT).astype(np.int64)
    counts = np.maximum(back + on + 1, 0)
    row = np.repeat(np.arange(len(rows)), counts)
    step = np.arange(len(row)) - np.repeat(np.cumsum(counts) - counts, counts) - back[row]
    points = shapely.line_interpolate_point(lines[row], start_ft[row] + step * spacing_ft)
    corners = shapely.get_coordinates(points)
    spots = pd.DataFrame({
        "ground": rows["ground"].to_numpy()[row],
        "part": rows["part"].to_numpy()[row],
        "place": rows["place"].to_numpy()[row],
        "step": step,
        "depth_ft": rows["depth_ft"].to_numpy()[row],
        "x_ft": corners[:, 0],
        "y_ft": corners[:, 1],
    })  # fmt: skip
    return spots, points


def _together(parts: Shapes, owners: IntArray, count: int) -> Shapes:
    whole = np.full(count, shapely.MultiLineString(), dtype=object)
    if len(parts):
        shapely.multilinestrings(parts, indices=owners, out=whole)
    return whole


def _is_low(offer_beds: pd.DataFrame, plants: pd.DataFrame) -> np.ndarray:
    if "low_ground" not in offer_beds:
        return np.zeros(len(plants), dtype=bool)
    low_grounds = np.asarray(offer_beds["low_ground"], dtype=object)[plants["ground"]]
    inside: np.ndarray = shapely.intersects_xy(
        low_grounds, plants["x_ft"].to_numpy(), plants["y_ft"].to_numpy()
    )
    return inside


def _is_front(
    offer_beds: pd.DataFrame, plants: pd.DataFrame, off_ft: np.ndarray, rates: RateBook
) -> np.ndarray:
    """Tell which plants stand in the row that people look over: at a wall the outermost, else the one at the edge."""
    is_wall = offer_beds["along"].isin(WALLED).to_numpy()[plants["ground"]]
    inward_ft = pd.Series(np.where(is_wall, -off_ft, off_ft))
    by_bed = inward_ft.groupby([plants["ground"].to_numpy(), plants["planting"].to_numpy()])
    half_row_ft = ROW_SHARE * rates.plant_spacing_in.value / IN_PER_FT / 2
    near_ft = by_bed.transform("min")
    is_front = (inward_ft <= near_ft + half_row_ft) & (
        by_bed.transform("max") > near_ft + half_row_ft
    )
    front: np.ndarray = is_front.to_numpy() & (plants["planting"] == "planted").to_numpy()
    return front
