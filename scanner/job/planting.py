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
import numpy.typing as npt
import pandas as pd
import shapely

from scanner.job.quantities import kept
from scanner.schema.documents import RateBook
from scanner.schema.tables import OFFER_BEDS, PLANTS, check_table, empty_table
from scanner.units import IN_PER_FT

Shapes = npt.NDArray[np.object_]

ROW_SHARE = sqrt(3) / 2
"""Rows of an equilateral grid over its spacing: 0.866 (trade values, section 2)."""

BORDER_FT = 1e-4
"""A position on the limit counts as inside it: a thousandth of an inch, far above rounding."""

BLOCK_COUNT = 4000
"""Grounds laid out at a time, so that memory does not grow with the book."""


def place_plants(offer_beds: pd.DataFrame, *, rates: RateBook) -> pd.DataFrame:
    """
    Lay a staggered grid of plants over the plantable ground of each bed.

    Parameters
    ----------
    offer_beds
        Table `OFFER_BEDS`, n rows, local frame [ft]; skipped beds are left out.
    rates
        Plant spacing [in].

    Returns
    -------
    plants
        Table `PLANTS`, one row a plant, in the order of `offer_beds`, then row by row
        from the edge.

    Raises
    ------
    SchemaError
        If `offer_beds` breaks its schema.

    Examples
    --------
    >>> from scanner.schema.documents import Rate
    >>> two_feet = Rate(value=24, low=24, high=24, source="an example")
    >>> rates = RateBook.model_construct(plant_spacing_in=two_feet)
    >>> place_plants(empty_table(OFFER_BEDS), rates=rates).columns.tolist()
    ['offer_id', 'bed_id', 'x_ft', 'y_ft', 'is_low']
    """
    offer_beds = kept(check_table(offer_beds, OFFER_BEDS))
    grounds = np.asarray(offer_beds["plantable"], dtype=object)
    edges = np.asarray(offer_beds["edge"], dtype=object)
    # a bed drawn alone and drawn in an offer is mostly the same ground: lay it out once
    codes, firsts = _same_ground(grounds, edges)
    spots = _lay_out(grounds[firsts], edges[firsts], rates.plant_spacing_in.value / IN_PER_FT)
    if spots.empty:
        return empty_table(PLANTS)
    plants = _onto_beds(offer_beds, codes, spots)
    return check_table(plants, PLANTS)


def _same_ground(
    grounds: Shapes, edges: Shapes
) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.int64]]:
    keys = pd.DataFrame({"ground": shapely.to_wkb(grounds), "edge": shapely.to_wkb(edges)})
    codes = keys.groupby(["ground", "edge"], sort=False, dropna=False).ngroup().to_numpy()
    _, firsts = np.unique(codes, return_index=True)
    return codes.astype(np.int64), firsts.astype(np.int64)


def _lay_out(grounds: Shapes, edges: Shapes, spacing_ft: float) -> pd.DataFrame:
    blocks = []
    for start in range(0, len(grounds), BLOCK_COUNT):
        block = slice(start, start + BLOCK_COUNT)
        spots = _lay_out_block(grounds[block], edges[block], spacing_ft)
        blocks.append(spots.assign(ground=spots["ground"] + start))
    return pd.concat(blocks, ignore_index=True) if blocks else pd.DataFrame()


def _lay_out_block(grounds: Shapes, edges: Shapes, spacing_ft: float) -> pd.DataFrame:
    parts, owners = _edge_parts(grounds, edges)
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
    return spots[fits]


def _edge_parts(grounds: Shapes, edges: Shapes) -> tuple[Shapes, npt.NDArray[np.int64]]:
    """Unbroken stretches of edge, the bed on their left, run on straight past their ends."""
    drawn = ~(shapely.is_missing(edges) | shapely.is_empty(edges))
    drawn &= ~(shapely.is_missing(grounds) | shapely.is_empty(grounds))
    lines = shapely.line_merge(np.where(drawn, edges, shapely.LineString()))
    parts, owners = shapely.get_parts(shapely.remove_repeated_points(lines), return_index=True)
    is_line = shapely.length(parts) > 0
    parts, owners = parts[is_line], owners[is_line]
    parts = np.where(_bed_is_right(parts, grounds[owners]), shapely.reverse(parts), parts)
    return _run_on(parts, _far_ft(parts, grounds[owners])), owners


def _bed_is_right(parts: Shapes, grounds: Shapes) -> npt.NDArray[np.bool_]:
    inside = shapely.point_on_surface(grounds)
    at_ft = shapely.line_locate_point(parts, inside)
    step_ft = shapely.length(parts) * 1e-3
    before = shapely.get_coordinates(
        shapely.line_interpolate_point(parts, np.maximum(at_ft - step_ft, 0.0))
    )
    after = shapely.get_coordinates(
        shapely.line_interpolate_point(parts, np.minimum(at_ft + step_ft, shapely.length(parts)))
    )
    along, across = after - before, shapely.get_coordinates(inside) - before
    right: npt.NDArray[np.bool_] = along[:, 0] * across[:, 1] - along[:, 1] * across[:, 0] < 0
    return right


def _far_ft(parts: Shapes, grounds: Shapes) -> npt.NDArray[np.float64]:
    """How far the ground reaches from the edge [ft], one a part."""
    corners, owners = shapely.get_coordinates(grounds, return_index=True)
    reach_ft = np.zeros(len(parts))
    np.maximum.at(reach_ft, owners, shapely.distance(parts[owners], shapely.points(corners)))
    return reach_ft


def _run_on(parts: Shapes, reach_ft: npt.NDArray[np.float64]) -> Shapes:
    """Lengthen open lines at both ends by `reach_ft`, so that rows reach skew ends of a bed."""
    is_open = ~shapely.is_closed(parts)
    if not is_open.any():
        return parts
    lines, reach_ft = parts[is_open], reach_ft[is_open]
    corners, owners = shapely.get_coordinates(lines, return_index=True)
    starts = np.searchsorted(owners, np.arange(len(lines)))
    ends = np.append(starts[1:], len(owners)) - 1
    heads = _beyond(corners[starts + 1], corners[starts], reach_ft)
    tails = _beyond(corners[ends - 1], corners[ends], reach_ft)
    here = np.arange(len(lines))
    order = np.argsort(np.concatenate([here, owners, here]), kind="stable")
    all_corners = np.concatenate([heads, corners, tails])[order]
    longer = parts.copy()
    longer[is_open] = shapely.linestrings(
        all_corners, indices=np.concatenate([here, owners, here])[order]
    )
    return longer


def _beyond(
    before: npt.NDArray[np.float64], end: npt.NDArray[np.float64], reach_ft: npt.NDArray[np.float64]
) -> npt.NDArray[np.float64]:
    way = end - before
    on: npt.NDArray[np.float64] = end + way / np.hypot(way[:, 0], way[:, 1])[:, None] * (
        reach_ft[:, None] + 1.0
    )
    return on


def _draw_rows(
    parts: Shapes, owners: npt.NDArray[np.int64], grounds: Shapes, spacing_ft: float
) -> pd.DataFrame:
    # Where plants may stand at all: a corner too narrow for one must not shift the rows.
    inner = shapely.buffer(grounds, BORDER_FT - spacing_ft / 2)
    first_ft = shapely.distance(parts, inner[owners]) + BORDER_FT
    room_ft = np.where(np.isnan(first_ft), -1.0, _far_ft(parts, inner[owners]) - first_ft)
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


def _together(parts: Shapes, owners: npt.NDArray[np.int64], count: int) -> Shapes:
    whole = np.full(count, shapely.MultiLineString(), dtype=object)
    if len(parts):
        shapely.multilinestrings(parts, indices=owners, out=whole)
    return whole


def _onto_beds(
    offer_beds: pd.DataFrame, codes: npt.NDArray[np.int64], spots: pd.DataFrame
) -> pd.DataFrame:
    beds = offer_beds[["offer_id", "bed_id"]].assign(ground=codes, bed=np.arange(len(offer_beds)))
    plants = beds.merge(spots, on="ground").sort_values(
        ["bed", "part", "place", "step"], kind="stable", ignore_index=True
    )
    return plants.assign(is_low=_is_low(offer_beds, plants))[[*PLANTS.columns]]


def _is_low(offer_beds: pd.DataFrame, plants: pd.DataFrame) -> npt.NDArray[np.bool_]:
    if "low_ground" not in offer_beds:
        return np.zeros(len(plants), dtype=bool)
    low_grounds = np.asarray(offer_beds["low_ground"], dtype=object)[plants["bed"]]
    inside: npt.NDArray[np.bool_] = shapely.intersects_xy(
        low_grounds, plants["x_ft"].to_numpy(), plants["y_ft"].to_numpy()
    )
    return inside
