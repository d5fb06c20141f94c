"""
Lawn-to-hardscape edges: the lawn's border on each kind of hardscape, in whole chains.

Each chain has the lawn on its left. A free end is where the lawn ends with nothing hard
there, or where a pitched house face ends at a corner; at any other end the chain runs
on along its layer's border under the other hardscape, at most the bed's depth.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import shapely

from scanner.ground.edge.faces import ANY_FACE
from scanner.ground.lot.drawn import thread_lines
from scanner.ground.lot.lawn import Lawn
from scanner.ground.lot.sites import Sites
from scanner.ground.plane.shapes import (
    NO_POLYGON,
    TOUCH_FT,
    gather_rows,
    lines_of,
    parts_of,
    rows_where,
    union_of,
)
from scanner.schema.documents import LocalRules

NEAR_FT = 0.75
"""An end this near to other hardscape is not free."""

STUB_FT = 6 * TOUCH_FT
"""An end piece shorter than this is a stub left by the overlay or a line's cap, no edge."""

LEAST_EDGE_FT = 0.1
"""A contact shorter than this is no edge."""

DRAWN_FACE = "drawn"
"""Face of a house edge drawn as a line: pitched whatever it faces."""


def find_edges(sites: Sites, lawn: Lawn, walls: pd.DataFrame, *, rules: LocalRules) -> pd.DataFrame:
    """
    Find the edges of each site along every kind in ``kind_order``.

    Parameters
    ----------
    sites
        Sites of one plane.
    lawn
        Their turf.
    walls
        As `find_walls` gives them.
    rules
        ``kind_order``, ``house_faces``, bed depth [ft].

    Returns
    -------
    edges
        One row a chain, pitched ones only: ``site``, ``along``, ``face``, ``edge_source``,
        ``edge_ft``, ``geometry`` (lawn on the left) and ``reach`` (run on under other
        hardscape).
    """
    tables = []
    for along in rules.kind_order:
        border = border_lines(sites, walls, along, rules)
        chains, rows = border_chains(lawn.ground, border)
        edges = pd.DataFrame({"site": rows, "along": along}).assign(geometry=chains)
        edges["face"] = _face(edges, walls) if along == "house" else ""
        edges["edge_source"] = _source(sites, edges, along)
        edges["reach"] = _run_on(sites, edges, border, rules.bed_depth_ft)
        tables.append(edges)
    edges = pd.concat(tables, ignore_index=True)
    return edges.assign(edge_ft=shapely.length(edges["geometry"].to_numpy()))


def border_lines(sites: Sites, walls: pd.DataFrame, along: str, rules: LocalRules) -> np.ndarray:
    """
    Give the lines of a layer that an edge may run along.

    Parameters
    ----------
    sites
        Sites of one plane.
    walls
        As `find_walls` gives them; only the pitched ones count.
    along
        One of `ALONG`.
    rules
        ``house_faces``.

    Returns
    -------
    border
        Lines [ft], one a site.
    """
    if along != "house":
        return lines_of(shapely.boundary(sites.layer(along)))
    pitched = walls[walls["face"].isin([*rules.house_faces, ANY_FACE])]
    lines = gather_rows(pitched["geometry"].to_numpy(), pitched["site"].to_numpy(), len(sites))
    drawn = shapely.boundary(thread_lines(sites, along))
    return shapely.line_merge(union_of(lines, drawn))


def border_chains(turf: np.ndarray, border: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """
    Take the turf's border along some lines, as whole chains with the turf on the left.

    Parameters
    ----------
    turf
        Polygons [ft], one a site.
    border
        Lines [ft], one a site.

    Returns
    -------
    chains, rows
        Single lines [ft] and the site of each, sites in order.
    """
    near = np.flatnonzero(rows_where(turf, border, TOUCH_FT))
    reach = shapely.buffer(border[near], TOUCH_FT, cap_style="flat", join_style="mitre")
    contact = shapely.intersection(shapely.boundary(turf[near]), reach)
    chains, at = parts_of(lines_of(contact), "line")
    chains = trim_stubs(chains)
    keep = shapely.length(chains) >= LEAST_EDGE_FT
    chains, rows = chains[keep], near[at[keep]]
    flipped = ~_has_left(chains, turf[rows])
    chains[flipped] = shapely.reverse(chains[flipped])
    order = np.lexsort((*shapely.bounds(chains).T[:2], rows))
    return chains[order], rows[order]


def trim_stubs(chains: np.ndarray) -> np.ndarray:
    """
    Drop end pieces of a few thousandths of a foot, which would turn a square end round.

    Parameters
    ----------
    chains
        Single lines [ft], n rows.

    Returns
    -------
    chains
        The same lines without stubs; a line that is all stub keeps two points.

    Examples
    --------
    >>> line = shapely.linestrings([[0, 0.005], [0, 0], [10, 0]])
    >>> trim_stubs(np.array([line]))[0].wkt
    'LINESTRING (0 0, 10 0)'
    """
    chains = shapely.reverse(_trim_start(chains))
    return shapely.reverse(_trim_start(chains))


def _trim_start(chains: np.ndarray) -> np.ndarray:
    trimmed = chains.copy()
    while True:
        first, second = (shapely.get_point(trimmed, i) for i in (0, 1))
        stub = (shapely.distance(first, second) < STUB_FT) & (
            shapely.get_num_points(trimmed) > 2  # noqa: PLR2004 - a line has two points
        )
        stub &= ~shapely.is_closed(trimmed)
        if not np.any(stub):
            break
        points, at = shapely.get_coordinates(trimmed[stub], return_index=True)
        keep = np.concatenate([[False], at[1:] == at[:-1]])
        trimmed[stub] = shapely.linestrings(points[keep], indices=at[keep])
    return trimmed


def _has_left(chains: np.ndarray, turf: np.ndarray) -> np.ndarray:
    """Tell whether turf lies on the left of each chain, beside its middle."""
    middle_ft = shapely.length(chains) / 2
    ahead_ft = np.minimum(middle_ft, 0.01)
    here = shapely.get_coordinates(shapely.line_interpolate_point(chains, middle_ft - ahead_ft))
    there = shapely.get_coordinates(shapely.line_interpolate_point(chains, middle_ft + ahead_ft))
    along = there - here
    left = (
        np.column_stack([-along[:, 1], along[:, 0]]) / np.maximum(np.hypot(*along.T), 1e-9)[:, None]
    )
    side = shapely.points((here + there) / 2 + left * 4 * TOUCH_FT)
    return shapely.intersects(turf, side)


def _face(edges: pd.DataFrame, walls: pd.DataFrame) -> np.ndarray:
    """Name the faces that each chain takes in, joined by a plus sign."""
    chains, rows = edges["geometry"].to_numpy(), edges["site"].to_numpy()
    wall_rows = walls["site"].to_numpy()
    tree = shapely.STRtree(walls["geometry"].to_numpy())
    at, wall = tree.query(chains, predicate="dwithin", distance=TOUCH_FT)
    same = wall_rows[wall] == rows[at]
    at, wall = at[same], wall[same]
    reach = shapely.buffer(chains[at], TOUCH_FT, cap_style="flat", join_style="mitre")
    shared_ft = shapely.length(shapely.intersection(walls["geometry"].to_numpy()[wall], reach))
    seen = pd.DataFrame({"at": at, "face": walls["face"].to_numpy()[wall]})[shared_ft > STUB_FT]
    names = seen.drop_duplicates().sort_values(["at", "face"]).groupby("at")["face"].agg("+".join)
    return names.reindex(range(len(edges)), fill_value=DRAWN_FACE).to_numpy(object)


def _source(sites: Sites, edges: pd.DataFrame, along: str) -> np.ndarray:
    """Tell how each edge is known: drawn as a line, surveyed as a polygon, by a centreline."""
    middle = shapely.line_interpolate_point(edges["geometry"].to_numpy(), 0.5, normalized=True)
    rows = edges["site"].to_numpy()
    is_drawn = shapely.dwithin(middle, thread_lines(sites, along)[rows], 2 * TOUCH_FT)
    is_center = np.zeros(len(edges), bool)
    known_by_center = {"curb": sites.centerline, "sidewalk": sites.sidewalk_centerline}
    if along in known_by_center:
        is_center = shapely.dwithin(middle, known_by_center[along][rows], 2 * TOUCH_FT)
    return np.select([is_drawn, is_center], ["drawn", "centerline"], "surveyed").astype(object)


def _run_on(sites: Sites, edges: pd.DataFrame, border: np.ndarray, depth_ft: float) -> np.ndarray:
    """Run each chain on under the other hardscape where its end is not free."""
    along = edges["along"].iloc[0] if len(edges) else ""
    chains, rows = edges["geometry"].to_numpy(), edges["site"].to_numpy()
    under = lines_of(shapely.intersection(border, _other_hard(sites, along)))
    is_open = np.flatnonzero(~shapely.is_closed(chains))
    ends = np.concatenate([shapely.get_point(chains[is_open], i) for i in (0, -1)])
    owner = np.tile(is_open, 2)
    discs = shapely.buffer(ends, depth_ft, quad_segs=16)
    parts, at = parts_of(lines_of(shapely.intersection(under[rows[owner]], discs)), "line")
    # A chain may end a few inches short of the hardscape that it ends at.
    touches = shapely.dwithin(parts, ends[at], NEAR_FT)
    tails = _begin_at(parts[touches], ends[at[touches]])
    both = np.concatenate([chains, tails])
    owners = np.concatenate([np.arange(len(chains)), owner[at[touches]]])
    merged = shapely.line_merge(gather_rows(both, owners, len(chains)))
    whole, at = parts_of(merged, "line")
    return gather_rows(trim_stubs(whole), at, len(chains))


def _other_hard(sites: Sites, along: str) -> np.ndarray:
    """Unite the hardscape and walls that an edge of one kind may run on under."""
    names = ["street", "sidewalk", "drive", "walk", "patio", "house", "outbuilding", "neighbor"]
    own = {"curb": "street"}.get(along, along)
    others = union_of(*(getattr(sites, name) for name in names if name != own))
    if not along:
        others = np.full(len(sites), NO_POLYGON, dtype=object)
    return shapely.buffer(others, TOUCH_FT, join_style="mitre")


def _begin_at(tails: np.ndarray, ends: np.ndarray) -> np.ndarray:
    """Turn each tail to begin at its end point, exactly."""
    far = shapely.distance(shapely.get_point(tails, 0), ends) > shapely.distance(
        shapely.get_point(tails, -1), ends
    )
    turned = np.where(far, shapely.reverse(tails), tails)
    points, at = shapely.get_coordinates(turned, return_index=True)
    first = np.concatenate([[True], at[1:] != at[:-1]]) if len(at) else np.zeros(0, bool)
    points[first] = shapely.get_coordinates(ends)
    return shapely.linestrings(points, indices=at) if len(at) else tails
