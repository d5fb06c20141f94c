"""
The frontage strip: the right-of-way between outline and curb that the client mows.

The front run is every outline point whose nearest curb point lies within
``frontage_max_ft`` and within 60° of the outline's outward normal, at any angle where
it lies within ``gap_ft``, with no building or other outline between. Points are tried
every few feet; the ends of a run are then found by halving.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
import shapely
from shapely.ops import substring

from scanner.ground.lot.sharing import divide_shared
from scanner.ground.lot.sites import Sites, foreign_ft, foreign_ground
from scanner.ground.plane.offsets import close_ground
from scanner.ground.plane.shapes import (
    TOUCH_FT,
    gather_rows,
    ground_of,
    lines_of,
    parts_of,
    split_segments,
    union_of,
    union_rows,
)
from scanner.schema.documents import LocalRules

TRIAL_FT = 2.0
"""Spacing of the points that are tried along an outline."""

INSET_FT = 0.001
"""A side's end is tried this far inside it."""

HALVINGS = 24
"""Halvings of a trial step: ends of runs are right to a millionth of a foot."""

FRONT_COSINE = 0.5
"""Cosine of the 60° within which a curb is in front."""

LEAST_RUN_FT = 10.0
"""Runs shorter than this are no front."""


_Runs = tuple[np.ndarray, np.ndarray, np.ndarray]
"""Front stretches: side, first share and last share of it."""


@dataclass(frozen=True)
class _Sides:
    """Straight sides of outlines near a curb: ends, length, outward normal, site."""

    starts: np.ndarray
    ends: np.ndarray
    length_ft: np.ndarray
    normals: np.ndarray
    rows: np.ndarray

    def points(self, sides: np.ndarray, shares: np.ndarray) -> np.ndarray:
        """Give points of sides by their share of the way, exact at both ends."""
        along = shares[:, None]
        return (1 - along) * self.starts[sides] + along * self.ends[sides]


def find_strips(sites: Sites, *, rules: LocalRules) -> np.ndarray:
    """
    Find the frontage strip of each site.

    Parameters
    ----------
    sites
        Sites of one plane.
    rules
        ``frontage_max_ft``, ``gap_ft``.

    Returns
    -------
    strips
        Polygons outside the outlines [ft], one a site, empty where no curb is near;
        no point is in two of them.
    """
    sides = _sides_near(sites, rules.frontage_max_ft)
    runs, owners = _join_runs(sides, *_find_runs(sites, sides, rules))
    # Streets that come within the gap of each other have one curb to walk along.
    street = close_ground(sites.street, rules.gap_ft / 2)
    inner = shapely.buffer(sites.window, -1.0)
    curbs = lines_of(shapely.intersection(shapely.boundary(street), inner))
    bounded = np.full(len(runs), shapely.Polygon(), dtype=object)
    # No array call cuts a curb between two points; a lot has one run, seldom two.
    for at, (run, row) in enumerate(zip(runs, owners, strict=True)):
        bounded[at] = _bound_strip(run, street[row], curbs[row])
    strips = ground_of(union_rows(bounded, owners, len(sites)))
    return divide_shared(_clear_of_outlines(sites, strips), sites.outline)


def _sides_near(sites: Sites, reach_ft: float) -> _Sides:
    """Take the outlines' straight sides that come within reach of a street."""
    rings, rows = parts_of(sites.outline)
    shells = shapely.get_exterior_ring(shapely.normalize(rings))
    shells = np.where(shapely.is_ccw(shells), shells, shapely.reverse(shells))
    starts, ends, at = split_segments(shells)
    rows = rows[at]
    lines = shapely.linestrings(np.stack([starts, ends], axis=1))
    near = shapely.dwithin(lines, sites.street[rows], reach_ft)
    starts, ends, rows = starts[near], ends[near], rows[near]
    along = ends - starts
    length_ft = np.hypot(*along.T)
    normals = np.column_stack([along[:, 1], -along[:, 0]]) / length_ft[:, None]
    return _Sides(starts, ends, length_ft, normals, rows)


def _is_front(
    sites: Sites, sides: _Sides, at: np.ndarray, shares: np.ndarray, rules: LocalRules
) -> np.ndarray:
    """Tell whether points of sides face a curb in reach."""
    # At a corner two curbs may be equally near: each side is asked a hair inside its end.
    inset = np.minimum(INSET_FT / sides.length_ft[at], 0.5)
    points = sides.points(at, np.clip(shares, inset, 1 - inset))
    rows = sides.rows[at]
    sights = shapely.shortest_line(shapely.points(points), sites.street[rows])
    target = shapely.get_coordinates(shapely.get_point(sights, 1))
    away = target - points
    length_ft = np.hypot(*away.T)
    ahead = np.einsum("ij,ij->i", away, sides.normals[at]) >= FRONT_COSINE * length_ft - 1e-9
    is_front = (length_ft <= rules.gap_ft) | (ahead & (length_ft <= rules.frontage_max_ft))
    long = np.flatnonzero(is_front & (length_ft > TOUCH_FT))
    is_front[long[_is_blocked(sites, sights[long], rows[long])]] = False
    return is_front


def _is_blocked(sites: Sites, sights: np.ndarray, rows: np.ndarray) -> np.ndarray:
    """Tell whether a building or another outline stands in a line of sight."""
    by_building = shapely.intersects(sights, sites.neighbor[rows])
    return by_building | (foreign_ft(sites, sights, rows) > TOUCH_FT)


def _find_runs(
    sites: Sites, sides: _Sides, rules: LocalRules
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Find the front stretches of each side: side, first share and last share."""
    steps = np.maximum(np.ceil(sides.length_ft / TRIAL_FT).astype(int), 1)
    at = np.repeat(np.arange(len(steps)), steps + 1)
    first = np.concatenate([[0], np.cumsum(steps + 1)])[:-1]
    step = np.arange(len(at)) - np.repeat(first, steps + 1)
    shares = step / np.repeat(steps, steps + 1)
    is_front = _is_front(sites, sides, at, shares, rules)
    same = at[1:] == at[:-1]
    turns = np.flatnonzero(same & (is_front[1:] != is_front[:-1]))
    low, high = shares[turns].copy(), shares[turns + 1].copy()
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        as_low = _is_front(sites, sides, at[turns], middle, rules) == is_front[turns]
        low, high = np.where(as_low, middle, low), np.where(as_low, high, middle)
    turn_share = dict(zip(turns.tolist(), ((low + high) / 2).tolist(), strict=True))
    opens = is_front & np.concatenate([[True], ~(same & is_front[:-1])])
    closes = is_front & np.concatenate([~(same & is_front[1:]), [True]])
    start = [turn_share.get(i - 1, shares[i]) for i in np.flatnonzero(opens).tolist()]
    end = [turn_share.get(i, shares[i]) for i in np.flatnonzero(closes).tolist()]
    return _meet_at_corners(sites, sides, (at[opens], np.array(start), np.array(end)), rules)


def _meet_at_corners(
    sites: Sites, sides: _Sides, runs: _Runs, rules: LocalRules
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """
    Let fronts on two streets meet at the lot's corner.

    Where the streets are not equally far, the last feet of one side are nearer to the
    other street and so no front of either; the corner belongs to the strip all the same.
    """
    at, start, end = runs
    stretches = pd.DataFrame({"side": at, "start": start, "end": end, "run": np.arange(len(at))})
    last = stretches.sort_values("end").drop_duplicates("side", keep="last")
    first = stretches.sort_values("start").drop_duplicates("side")
    pairs = last.merge(_next_sides(sides), on="side").merge(
        first, left_on="next_side", right_on="side", suffixes=("", "_next")
    )
    here, there = pairs["side"].to_numpy(), pairs["next_side"].to_numpy()
    apart_ft = (1 - pairs["end"]) * sides.length_ft[here] + (
        pairs["start_next"] * sides.length_ft[there]
    )
    corner = shapely.points(sides.ends[here])
    rows = sides.rows[here]
    sights = shapely.shortest_line(corner, sites.street[rows])
    one, two = sides.normals[here], sides.normals[there]
    turn = one[:, 0] * two[:, 1] - one[:, 1] * two[:, 0]
    meets = (
        (apart_ft.to_numpy() <= rules.frontage_max_ft)
        & (shapely.length(sights) <= rules.frontage_max_ft)
        & (turn > 0)
        & ~_is_blocked(sites, sights, rows)
    )
    end[pairs["run"].to_numpy()[meets]] = 1.0
    start[pairs["run_next"].to_numpy()[meets]] = 0.0
    return at, start, end


def _next_sides(sides: _Sides) -> pd.DataFrame:
    """Pair each side with the one that goes on where it ends."""
    names = ["row", "x", "y"]
    ends = pd.DataFrame(np.column_stack([sides.rows, sides.ends]), columns=names)
    starts = pd.DataFrame(np.column_stack([sides.rows, sides.starts]), columns=names)
    ends, starts = ends.assign(side=ends.index), starts.assign(next_side=starts.index)
    return ends.merge(starts, on=names)[["side", "next_side"]]


def _join_runs(
    sides: _Sides, at: np.ndarray, start: np.ndarray, end: np.ndarray
) -> tuple[list[np.ndarray], np.ndarray]:
    """Join stretches that meet at a vertex, drop short runs; points of each run and its site."""
    ends = np.stack([sides.points(at, start), sides.points(at, end)], axis=1)
    count = int(sides.rows.max(initial=-1)) + 1
    merged = shapely.line_merge(
        gather_rows(shapely.linestrings(ends), sides.rows[at], count), directed=True
    )
    runs, rows = parts_of(merged, "line")
    long = shapely.length(runs) >= LEAST_RUN_FT
    return [shapely.get_coordinates(run) for run in runs[long]], rows[long]


def _bound_strip(
    run: np.ndarray, street: shapely.Geometry, curbs: shapely.Geometry
) -> shapely.Geometry:
    """Bound a strip by its run, straight lines to the curb and the curb between."""
    to_curb = shapely.shortest_line(shapely.points(run[[0, -1]]), street)
    near, far = shapely.get_point(to_curb, 1)
    chains = shapely.get_parts(curbs)
    path = [near.coords[0], far.coords[0]]
    if len(chains):
        first, last = (int(np.argmin(shapely.distance(chains, end))) for end in (near, far))
        if first == last:
            path = _walk(chains[first], near, far)
    ring = np.concatenate([run, np.array(path)[::-1]])
    return shapely.make_valid(shapely.polygons(ring))


def _walk(
    chain: shapely.LineString, start: shapely.Point, end: shapely.Point
) -> list[tuple[float, ...]]:
    """Walk along a curb from one point to another, the shorter way round a ring."""
    begin_ft, end_ft = shapely.line_locate_point(chain, [start, end])
    path = list(substring(chain, begin_ft, end_ft).coords)
    whole_ft = shapely.length(chain)
    if chain.is_closed and abs(end_ft - begin_ft) > whole_ft / 2:
        low, high = min(begin_ft, end_ft), max(begin_ft, end_ft)
        around = [
            *substring(chain, high, whole_ft).coords,
            *substring(chain, 0.0, low).coords,
        ]
        path = around if begin_ft >= end_ft else around[::-1]
    return [start.coords[0], *path, end.coords[0]]


def _clear_of_outlines(sites: Sites, strips: np.ndarray) -> np.ndarray:
    """Take outlines and streets out of the strips."""
    taken = union_of(foreign_ground(sites, strips), sites.outline, sites.street)
    return ground_of(shapely.difference(strips, taken))
