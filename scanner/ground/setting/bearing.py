"""
What bears on a lot's ground: nothing else can change what is found there.

Rather too much is listed than too little: boxes stand in for most shapes, and of the outlines
within the reach of fronts all count that a wall might look across to the nearest street.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pandas as pd
import shapely

from scanner.ground.gather import AROUND_FT, NEAR_FT
from scanner.plane.frame import name_frames, to_feet
from scanner.plane.segments import cut_rings
from scanner.schema.documents import LocalRules
from scanner.store.land import ENDS, widen

STREETS = ("street", "street_centerline")
"""Kinds by which fronts are told, beside curbs drawn as a line."""

STRIP_KINDS = (*STREETS, "property", "house", "outbuilding", "edge", "answer")
"""Kinds that a frontage strip hangs on."""

WALL_STEP_FT = 15.0
"""Spacing of the points of walls from which the street is looked for."""

DETAIL_FT = 1.0
"""A wall's middle lies no farther than this from the wall as drawn."""


SPARE_FT = 0.5
"""Detail of streets that no view is judged by; by as much, or by half of a street known by its middle, views are wider."""


def reach_ft(rules: LocalRules) -> float:
    """Say how far from a lot's outline something may lie that bears on the lot [ft]."""
    return max(rules.front_reach_ft, _paved_ft(rules), _near_ft(rules)) + 10.0


def _paved_ft(rules: LocalRules) -> float:
    """Say how far off streets and sidewalks count that tell no front."""
    return rules.frontage_max_ft + rules.bed_depth_ft + AROUND_FT


def _near_ft(rules: LocalRules) -> float:
    """Say how far off all else counts."""
    return rules.frontage_max_ft + rules.setbacks.drive_triangle_ft + NEAR_FT


def list_bearing(
    features: pd.DataFrame,
    shapes: Callable[[np.ndarray], np.ndarray],
    client_ids: np.ndarray,
    *,
    rules: LocalRules,
) -> pd.DataFrame:
    """
    List what bears on the ground of each of some lots: ``client_id`` and ``row`` of `features`, each pair once.

    Streets within the reach of fronts, outlines that may stand before a wall, all that lies near
    the client's outlines, and what the strips hang on of lots that may claim the same ground as
    his. `shapes` gives those of some rows, streets, outlines and houses [degrees].
    """
    boxes, kind = features[ENDS].to_numpy(float), features["kind"]
    owner = features["client_id"].to_numpy(object)
    tree = shapely.STRtree(shapely.box(*boxes.T))

    def within(reach_ft: float, outlines: np.ndarray, among: np.ndarray) -> pd.DataFrame:
        at, row = tree.query(shapely.box(*widen(boxes[outlines], reach_ft).T))
        pairs = pd.DataFrame({"client_id": owner[outlines[at]], "row": row})
        return pairs[among[row]]

    is_street = (kind.isin(STREETS) | ((kind == "edge") & (features["along"] == "curb"))).to_numpy()
    is_outline = (kind == "property").to_numpy()
    owned = np.flatnonzero(is_outline & (owner != ""))
    is_asked = features["client_id"].isin(client_ids).to_numpy()
    asked = np.flatnonzero(is_outline & is_asked)
    if not len(asked):
        return pd.DataFrame({"client_id": owner[:0], "row": asked})
    far = within(rules.front_reach_ft, asked, is_street)
    paved = within(_paved_ft(rules), asked, kind.isin([*STREETS, "sidewalk"]).to_numpy())
    near = within(_near_ft(rules), asked, np.ones(len(kind), bool))
    strips = within(_near_ft(rules), owned, kind.isin(STRIP_KINDS).to_numpy())
    frame = str(min(name_frames(shapely.box(*boxes[asked].T))))
    outlines, houses = np.flatnonzero(is_outline), np.flatnonzero((kind == "house").to_numpy() & is_asked)  # fmt: skip
    streets = _cut_streets(shapes(np.unique(far["row"])), boxes[asked], frame, rules)
    drawn = to_feet(shapes(outlines), frame)
    half_ft = features["pavement_ft"].to_numpy(float)[far["row"]] / 2
    spare_ft = float(np.max(half_ft[np.isfinite(half_ft)], initial=SPARE_FT))
    reach_ft = 2 * rules.frontage_max_ft + spare_ft
    one, other = _list_claims(drawn, is_asked[outlines], streets, reach_ft)
    claims = pd.DataFrame({"client_id": owner[outlines[one]], "other": owner[outlines[other]]})
    claims = claims.drop_duplicates().merge(strips.rename(columns={"client_id": "other"}))
    house, seen = _look_out(to_feet(shapes(houses), frame), streets, drawn, spare_ft)
    looks = pd.DataFrame({"client_id": owner[houses[house]], "row": outlines[seen]})
    # Whether an outline of nobody counts hangs on those that it repeats
    bare = looks[owner[looks["row"]] == ""]
    at, again = tree.query(shapely.box(*boxes[bare["row"]].T))
    again = pd.DataFrame({"client_id": bare["client_id"].to_numpy()[at], "row": again})
    pairs = [far, paved, near, claims[["client_id", "row"]], looks, again[is_outline[again["row"]]]]
    return pd.concat(pairs).drop_duplicates(ignore_index=True)


def _cut_streets(
    shapes: np.ndarray, lots: np.ndarray, frame: str, rules: LocalRules
) -> shapely.STRtree:
    """Cut streets near some lots, boxes of theirs [degrees], into straight pieces [ft]."""
    # Beyond twice the reach nothing is nearest; the city has one street polygon
    low, high = np.split(widen(lots, 2 * rules.front_reach_ft), 2, axis=1)
    near = shapely.clip_by_rect(shapes, *low.min(axis=0), *high.max(axis=0))
    plain = shapely.simplify(to_feet(near, frame), SPARE_FT)
    pieces = cut_rings(plain, np.zeros(len(plain), int))
    return shapely.STRtree(shapely.linestrings(np.stack([pieces.a, pieces.b], axis=1)))


def _list_claims(
    outlines: np.ndarray, is_asked: np.ndarray, streets: shapely.STRtree, reach_ft: float
) -> tuple[np.ndarray, np.ndarray]:
    """Pair outlines asked for with those near them, themselves too, that may share a strip of the same street."""
    asked = np.flatnonzero(is_asked)
    one, other = shapely.STRtree(outlines[asked]).query(
        outlines, predicate="dwithin", distance=reach_ft + 1.0
    )[::-1]
    one = asked[one]
    box = shapely.bounds(outlines) + reach_ft * np.array([-1.0, -1.0, 1.0, 1.0])
    shared = np.column_stack(
        [np.maximum(box[one, :2], box[other, :2]), np.minimum(box[one, 2:], box[other, 2:])]
    )
    at = np.unique(streets.query(shapely.box(*shared.T))[0])
    return one[at], other[at]


def _look_out(
    houses: np.ndarray, streets: shapely.STRtree, outlines: np.ndarray, spare_ft: float
) -> tuple[np.ndarray, np.ndarray]:
    """Pair houses with the outlines across which a wall may look at the street nearest to it."""
    walls, house = shapely.get_coordinates(
        shapely.segmentize(houses, WALL_STEP_FT), return_index=True
    )
    at, nearest_ft = streets.query_nearest(
        shapely.points(walls), all_matches=False, return_distance=True
    )
    walls, house = walls[at[0]], house[at[0]]
    # From anywhere else on the wall the nearest street lies no farther off than this from the point tried
    reach_ft = nearest_ft + 2 * (WALL_STEP_FT / 2 + DETAIL_FT) + spare_ft
    at, piece = streets.query(shapely.points(walls), predicate="dwithin", distance=reach_ft)
    ends = _in_circle(
        walls[at],
        reach_ft[at],
        shapely.get_coordinates(streets.geometries[piece]).reshape(-1, 2, 2),
    )
    corners = spare_ft * np.array([[-1, -1], [-1, 1], [1, -1], [1, 1]])
    points = np.concatenate([walls, (ends[:, :, None] + corners).reshape(-1, 2)])
    owner = np.concatenate([house, np.repeat(house[at], 2 * len(corners))])
    order = np.argsort(owner, kind="stable")
    looking, at = np.unique(owner[order], return_inverse=True)
    views = shapely.convex_hull(shapely.linestrings(points[order], indices=at))
    view, outline = shapely.STRtree(outlines).query(views, predicate="intersects")
    return looking[view], outline


def _in_circle(centers: np.ndarray, radius_ft: np.ndarray, pieces: np.ndarray) -> np.ndarray:
    """Cut straight pieces, n × 2 × 2, to circles that they come into."""
    start, along = pieces[:, 0], pieces[:, 1] - pieces[:, 0]
    size2 = (along**2).sum(axis=1)
    middle = ((centers - start) * along).sum(axis=1) / size2
    off2 = ((start + middle[:, None] * along - centers) ** 2).sum(axis=1)
    half = np.sqrt(np.maximum(radius_ft**2 - off2, 0.0) / size2)
    shares = np.clip(np.stack([middle - half, middle + half], axis=1), 0.0, 1.0)
    return start[:, None] + shares[:, :, None] * along[:, None]
