"""
Fronts: the runs of an outline that face a curb.

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

from scanner.ground.kinds import Parts
from scanner.ground.setting.around import nearest_on
from scanner.plane.grid import ON_FT, boxes_meet
from scanner.plane.segments import Segs, cut_rings, join, near, spread
from scanner.plane.vectors import cross, dot, norm
from scanner.schema.documents import LocalRules

TRIAL_FT = 2.0
"""Spacing of the points that are tried along an outline."""

ASKED_STEP = 8
"""One in so many trial points is asked first how far the curb is."""

INSET_FT = 0.001
"""A side's end is tried this far inside it."""

HALVINGS = 24
"""Halvings of a trial step: ends of runs are right to a millionth of a foot."""

FRONT_COSINE = 0.5
"""Cosine of the 60° within which a curb is in front."""

LEAST_RUN_FT = 10.0
"""Runs shorter than this are no front."""


@dataclass(frozen=True)
class _Front:
    """What the sides of outlines near a curb look at."""

    sides: Segs
    normals: np.ndarray
    curbs: Segs
    others: Parts
    rules: LocalRules

    def points(self, at: np.ndarray, shares: np.ndarray) -> np.ndarray:
        """Give points of sides by their share of the way, exact at both ends."""
        along = shares[:, None]
        return (1 - along) * self.sides.a[at] + along * self.sides.b[at]

    def sees_curb(self, at: np.ndarray, shares: np.ndarray) -> np.ndarray:
        """Tell whether points of sides face a curb in reach."""
        # At a corner two curbs may be equally near: each side is asked a hair inside its end.
        inset = np.minimum(INSET_FT / self.sides.length_ft[at], 0.5)
        points = self.points(at, np.clip(shares, inset, 1 - inset))
        lot = self.sides.lot[at]
        target, apart_ft, _ = nearest_on(points, lot, self.curbs)
        away = target - points
        with np.errstate(invalid="ignore"):
            ahead = dot(away, self.normals[at]) >= FRONT_COSINE * apart_ft - 1e-9
        sees = apart_ft <= self.rules.gap_ft
        sees |= ahead & (apart_ft <= self.rules.frontage_max_ft)
        far = np.flatnonzero(sees & (apart_ft > ON_FT))
        sees[far[self.is_blocked(points[far], target[far], lot[far])]] = False
        return sees

    def is_blocked(self, a: np.ndarray, b: np.ndarray, lot: np.ndarray) -> np.ndarray:
        """Tell whether a building or another outline stands in a line of sight."""
        i, j = join(lot, self.others.lot)
        sight = np.column_stack([np.minimum(a, b), np.maximum(a, b)])
        hit = boxes_meet(sight[i], shapely.bounds(self.others.shape)[j], -ON_FT)
        i, j = i[hit], j[hit]
        lines = shapely.linestrings(np.stack([a, b], axis=1))
        hit = shapely.intersects(self.others.shape[j], lines[i])
        i, j = i[hit], j[hit]
        inside_ft = shapely.length(shapely.intersection(lines[i], self.others.shape[j]))
        by_building = (self.others.bits[j] > 0) & (inside_ft > 0)
        return np.bincount(i, by_building | (inside_ft > ON_FT), len(a)) > 0


def find_fronts(
    outlines: np.ndarray, streets: np.ndarray, others: Parts, *, rules: LocalRules
) -> tuple[list[np.ndarray], list[int]]:
    """
    Find the front runs of some lots: points of each [ft], in the order of the outline, and its lot.

    `others`: other outlines and, with bits, buildings that may stand between outline and street.
    """
    curbs = cut_rings(streets, np.arange(len(streets)))
    box = shapely.bounds(outlines)[curbs.lot]
    close = curbs.take(boxes_meet(curbs.box, box, rules.frontage_max_ft))
    front = _look(outlines, close, others, rules)
    return _join_runs(front, *_meet_at_corners(front, *_find_runs(front)))


def _look(outlines: np.ndarray, curbs: Segs, others: Parts, rules: LocalRules) -> _Front:
    """Take the outlines' straight sides that come within reach of a street."""
    shells, lot = shapely.get_parts(outlines, return_index=True)
    sides = cut_rings(shapely.polygons(shapely.get_exterior_ring(shells)), lot)
    sides = sides.take(np.unique(near(sides, curbs, rules.frontage_max_ft)[0]))
    along = sides.b - sides.a
    normals = np.column_stack([along[:, 1], -along[:, 0]]) / sides.length_ft[:, None]
    return _Front(sides, normals, curbs, others, rules)


def _find_runs(front: _Front) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Find the front stretches of each side: side, first share and last share."""
    at, shares = _trials(front)
    sees = np.zeros(len(at), bool)
    near = np.flatnonzero(_may_see(front, at, shares))
    sees[near] = front.sees_curb(at[near], shares[near])
    same = at[1:] == at[:-1]
    turns = np.flatnonzero(same & (sees[1:] != sees[:-1]))
    low, high = shares[turns].copy(), shares[turns + 1].copy()
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        as_low = front.sees_curb(at[turns], middle) == sees[turns]
        low, high = np.where(as_low, middle, low), np.where(as_low, high, middle)
    turn = np.full(len(at), np.nan)
    turn[turns] = (low + high) / 2
    opens = np.flatnonzero(sees & np.concatenate([[True], ~(same & sees[:-1])])[: len(at)])
    closes = np.flatnonzero(sees & np.concatenate([~(same & sees[1:]), [True]])[: len(at)])
    before = np.where(opens > 0, turn[opens - 1], np.nan) if len(opens) else np.zeros(0)
    before = np.where(shares[opens] == 0, np.nan, before)
    after = np.where(shares[closes] == 1, np.nan, turn[closes])
    start = np.where(np.isnan(before), shares[opens], before)
    end = np.where(np.isnan(after), shares[closes], after)
    return at[opens], start, end


def _trials(front: _Front) -> tuple[np.ndarray, np.ndarray]:
    steps = np.maximum(np.ceil(front.sides.length_ft / TRIAL_FT).astype(int), 1)
    at, step = spread(np.zeros(len(steps), int), steps + 1)
    return at, step / steps[at]


def _may_see(front: _Front, at: np.ndarray, shares: np.ndarray) -> np.ndarray:
    """Leave out the points that lie too far from any curb, by asking one in eight."""
    asked = np.arange(0, len(at), ASKED_STEP)
    points = front.points(at, shares)
    curb_ft = nearest_on(points[asked], front.sides.lot[at[asked]], front.curbs)[1]
    nearest = asked[np.minimum(np.arange(len(at)) // ASKED_STEP, len(asked) - 1)]
    off_ft = norm(points - points[nearest])
    same = front.sides.lot[at] == front.sides.lot[at[nearest]]
    reach_ft = max(front.rules.frontage_max_ft, front.rules.gap_ft)
    return ~same | (curb_ft[nearest // ASKED_STEP] <= reach_ft + off_ft)


def _meet_at_corners(
    front: _Front, at: np.ndarray, start: np.ndarray, end: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """
    Let fronts on two streets meet at the lot's corner.

    Where the streets are not equally far, the last feet of one side are nearer to the
    other street and so no front of either; the corner belongs to the strip all the same.
    """
    sides, reach_ft = front.sides, front.rules.frontage_max_ft
    stretches = pd.DataFrame({"side": at, "start": start, "end": end, "run": np.arange(len(at))})
    last = stretches.sort_values("end").drop_duplicates("side", keep="last")
    first = stretches.sort_values("start").drop_duplicates("side")
    pairs = last.merge(_next_sides(sides), on="side").merge(
        first, left_on="next_side", right_on="side", suffixes=("", "_next")
    )
    here, there = pairs["side"].to_numpy(), pairs["next_side"].to_numpy()
    size = sides.length_ft
    apart_ft = (1 - pairs["end"].to_numpy()) * size[here] + pairs["start_next"].to_numpy() * size[
        there
    ]
    corner, lot = sides.b[here], sides.lot[here]
    target, curb_ft, _ = nearest_on(corner, lot, front.curbs)
    one, two = front.normals[here], front.normals[there]
    turn = cross(one, two)
    meets = (apart_ft > 0) & (apart_ft <= reach_ft) & (curb_ft <= reach_ft) & (turn > 0)
    meets[meets] = ~front.is_blocked(corner[meets], target[meets], lot[meets])
    end[pairs["run"].to_numpy()[meets]] = 1.0
    start[pairs["run_next"].to_numpy()[meets]] = 0.0
    return at, start, end


def _next_sides(sides: Segs) -> pd.DataFrame:
    """Pair each side with the one that goes on where it ends."""
    names = ["row", "x", "y"]
    ends = pd.DataFrame(np.column_stack([sides.lot, sides.b]), columns=names)
    starts = pd.DataFrame(np.column_stack([sides.lot, sides.a]), columns=names)
    ends, starts = ends.assign(side=ends.index), starts.assign(next_side=starts.index)
    return ends.merge(starts, on=names)[["side", "next_side"]]


def _join_runs(
    front: _Front, at: np.ndarray, start: np.ndarray, end: np.ndarray
) -> tuple[list[np.ndarray], list[int]]:
    """Join stretches that meet at a vertex, drop short runs; points of each run and its lot."""
    ends = np.stack([front.points(at, start), front.points(at, end)], axis=1)
    owners, row = np.unique(front.sides.lot[at], return_inverse=True)
    if not len(owners):
        return [], []
    lines = shapely.multilinestrings(shapely.linestrings(ends), indices=row)
    merged, which = shapely.get_parts(shapely.line_merge(lines, directed=True), return_index=True)
    long = shapely.length(merged) >= LEAST_RUN_FT
    return [shapely.get_coordinates(run) for run in merged[long]], owners[which[long]].tolist()
