"""
Where the plants stand: a staggered grid that follows the edge.

Rows are lines parallel to the edge, 0.866 of a spacing apart; on a straight edge they
are the rows of an equilateral grid, along a curve they bend with it. The first row
stands half a spacing into the plantable ground, and no plant stands nearer than that
to its border. Everything hangs on the edge itself, seen with the bed on its left, so
that turning, moving or reversing a lot changes no count.
"""

from __future__ import annotations

from math import sqrt

import numpy as np
import pandas as pd
import shapely

from scanner.job.accents import place_accents
from scanner.job.counting import IntArray
from scanner.job.edge_rows import BORDER_FT, Shapes, edge_parts, far_ft
from scanner.schema.documents import RateBook
from scanner.schema.tables import OFFER_BEDS, PLANTS, check_table, empty_table
from scanner.units import IN_PER_FT

ROW_SHARE = sqrt(3) / 2
"""Rows of an equilateral grid over its spacing: 0.866 (trade values, section 2)."""

PLANTINGS = (ACCENT, GRID) = ("accent", "planted")
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

    Raises
    ------
    SchemaError
        If `offer_beds` breaks its schema.

    Examples
    --------
    >>> from scanner.schema.documents import Rate
    >>> one = Rate(value=24, low=24, high=24, source="an example")
    >>> rates = RateBook.model_construct(plant_spacing_in=one, accent_spacing_ft=one)
    >>> place_plants(empty_table(OFFER_BEDS), rates=rates).columns.tolist()
    ['offer_id', 'bed_id', 'planting', 'x_ft', 'y_ft', 'is_low']
    """
    check_table(offer_beds, OFFER_BEDS)
    beds = offer_beds[offer_beds["skip_reason"] == ""].reset_index(drop=True)
    laid = {planting: _lay_out(beds, planting, rates) for planting in PLANTINGS}
    if all(spots.empty for _, spots in laid.values()):
        return empty_table(PLANTS)
    plants = pd.concat([
        _onto_beds(beds, codes, spots.assign(planting=planting))
        for planting, (codes, spots) in laid.items()
    ], ignore_index=True)  # fmt: skip
    return check_table(plants, PLANTS)


def count_plants(beds: pd.DataFrame, planting: str, *, rates: RateBook) -> IntArray:
    """
    Count the plants of each bed without keeping their places.

    Parameters
    ----------
    beds
        Rows of table `OFFER_BEDS`, n of them [ft].
    planting
        One of `PLANTINGS`.
    rates
        Plant spacing [in], spacing of an accent's shrubs [ft].

    Returns
    -------
    counts
        One a bed.
    """
    codes, spots = _lay_out(beds, planting, rates)
    counts = np.bincount(spots["ground"].to_numpy(np.int64), minlength=len(beds))
    return counts.astype(np.int64)[codes]


def _lay_out(beds: pd.DataFrame, planting: str, rates: RateBook) -> tuple[IntArray, pd.DataFrame]:
    """Lay each ground out once, though it lies in several offers; the ground of each bed."""
    grounds, edges = (np.asarray(beds[name], dtype=object) for name in ("plantable", "edge"))
    codes, firsts = _same_ground(grounds, edges)
    grounds, edges = grounds[firsts], edges[firsts]
    if planting == ACCENT:
        return codes, place_accents(grounds, edges, rates=rates)
    return codes, _lay_grid(grounds, edges, rates.plant_spacing_in.value / IN_PER_FT)


def _same_ground(grounds: Shapes, edges: Shapes) -> tuple[IntArray, IntArray]:
    keys = pd.DataFrame({"ground": shapely.to_wkb(grounds), "edge": shapely.to_wkb(edges)})
    codes = keys.groupby(["ground", "edge"], sort=False, dropna=False).ngroup().to_numpy()
    _, firsts = np.unique(codes, return_index=True)
    return codes.astype(np.int64), firsts.astype(np.int64)


def _lay_grid(grounds: Shapes, edges: Shapes, spacing_ft: float) -> pd.DataFrame:
    _, parts, owners = edge_parts(grounds, edges)
    rows = _draw_rows(parts, owners, grounds, spacing_ft)
    spots = _step_along(rows, spacing_ft)
    points = shapely.points(spots["x_ft"], spots["y_ft"])
    homes = grounds[spots["ground"]]
    whole_edges = _together(parts, owners, len(grounds))[spots["ground"]]
    fits = (
        shapely.contains_properly(homes, points)
        & (shapely.distance(shapely.boundary(homes), points) >= spacing_ft / 2 - 2 * BORDER_FT)
        # near another stretch of the edge its own rows rule
        & (shapely.distance(whole_edges, points) >= spots["depth_ft"] - 2 * BORDER_FT)
    )
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
    lines = shapely.offset_curve(parts[part], depth_ft, join_style="mitre", mitre_limit=2.0)
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
    entries = pd.DataFrame({
        "part": rows["part"].to_numpy()[owners],
        "first_place": rows["place"].to_numpy()[owners],
        "at_ft": shapely.line_locate_point(lines[owners], shapely.points(corners)),
        "owner": owners,
    })  # fmt: skip
    entries = entries.sort_values(["part", "first_place", "at_ft"]).drop_duplicates("part")
    # the slack that let the row in is taken back, so that a square end keeps its full distance
    entries = entries.assign(
        entry=shapely.line_interpolate_point(lines[entries["owner"]], entries["at_ft"] + BORDER_FT)
    )
    rows = rows.merge(entries[["part", "first_place", "entry"]], on="part", how="inner")
    lines = np.asarray(rows["line"], dtype=object)
    entry = np.asarray(rows["entry"], dtype=object)
    return rows.assign(start_ft=shapely.line_locate_point(lines, entry))


def _step_along(rows: pd.DataFrame, spacing_ft: float) -> pd.DataFrame:
    """Every spacing along each row, every other row half a spacing on."""
    lines = np.asarray(rows["line"], dtype=object)
    is_between = ((rows["place"] - rows["first_place"]) % 2 == 1).to_numpy()
    start_ft = rows["start_ft"].to_numpy() + np.where(is_between, spacing_ft / 2, 0.0)
    back = np.floor(start_ft / spacing_ft + BORDER_FT).astype(np.int64)
    on = np.floor((shapely.length(lines) - start_ft) / spacing_ft + BORDER_FT).astype(np.int64)
    counts = np.maximum(back + on + 1, 0)
    row = np.repeat(np.arange(len(rows)), counts)
    step = np.arange(len(row)) - np.repeat(np.cumsum(counts) - counts, counts) - back[row]
    spots = shapely.line_interpolate_point(lines[row], start_ft[row] + step * spacing_ft)
    corners = shapely.get_coordinates(spots)
    return pd.DataFrame({
        "ground": rows["ground"].to_numpy()[row],
        "part": rows["part"].to_numpy()[row],
        "place": rows["place"].to_numpy()[row],
        "step": step,
        "depth_ft": rows["depth_ft"].to_numpy()[row],
        "x_ft": corners[:, 0],
        "y_ft": corners[:, 1],
    })  # fmt: skip


def _together(parts: Shapes, owners: IntArray, count: int) -> Shapes:
    whole = np.full(count, shapely.MultiLineString(), dtype=object)
    if len(parts):
        shapely.multilinestrings(parts, indices=owners, out=whole)
    return whole


def _onto_beds(offer_beds: pd.DataFrame, codes: IntArray, spots: pd.DataFrame) -> pd.DataFrame:
    beds = offer_beds[["offer_id", "bed_id"]].assign(ground=codes, bed=np.arange(len(offer_beds)))
    spots = spots.assign(at=np.arange(len(spots)))
    plants = beds.merge(spots, on="ground").sort_values(
        ["planting", "bed", "at"], kind="stable", ignore_index=True
    )
    return plants.assign(is_low=_is_low(offer_beds, plants))[[*PLANTS.columns]]


def _is_low(offer_beds: pd.DataFrame, plants: pd.DataFrame) -> np.ndarray:
    if "low_ground" not in offer_beds:
        return np.zeros(len(plants), dtype=bool)
    low_grounds = np.asarray(offer_beds["low_ground"], dtype=object)[plants["bed"]]
    inside: np.ndarray = shapely.intersects_xy(
        low_grounds, plants["x_ft"].to_numpy(), plants["y_ft"].to_numpy()
    )
    return inside
