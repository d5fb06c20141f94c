"""One lot as it lies on a page: turned so that its longest bed lies level and the street below."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from scanner.pages.drawing.kept_clear import Kept, find_kept
from scanner.plane.vectors import dot, norm
from scanner.schema.documents import LocalRules
from scanner.schema.tables import PLAN_LAYERS

Shapes = NDArray[Any]
Points = NDArray[np.float64]

CORNER_COSINE = 0.82
"""Chains that turn by more than 35° have a corner there."""
STUB_FT = 2.0
"""A piece shorter than this at an end, round a corner, is no part of what is measured: the flare of a drive."""
HAIR_FT, GAPS_FT = 0.01, 0.5
"""Points of an edge so near are one; pieces of it that lie so far apart in all are one chain."""
STRAIGHT_SHARE = 0.3
"""An edge without corners that has a straight piece of this share lies along it."""
WAVER_FT = 0.3
"""A line drawn by hand wavers by this much."""


@dataclass(frozen=True)
class LotPlan:
    """What one lot is drawn from, everything in one plane [ft]."""

    ground: pd.DataFrame  # table PLAN_SHAPES of the lot
    beds: pd.DataFrame  # table OFFER_BEDS, the beds drawn, A first
    follow: pd.DataFrame  # the same of beds that could follow
    plants: pd.DataFrame  # table PLANTS of what is drawn, with spread_ft
    street: str  # its name; blank where it is not certain
    rules: LocalRules
    is_schematic: bool = False  # lengths are known, where things lie is not


class Scene(NamedTuple):
    """A lot turned, its middle in 0, 0 [ft]; arrays of beds in the order of their letters."""

    turn: float  # counter-clockwise [radians]
    outline: shapely.Geometry
    layers: dict[str, Shapes]  # by name, all of `PLAN_LAYERS`
    beds: Shapes
    edges: Shapes  # what each bed lies along, the bed on its left
    aside: Points  # unit vectors to the side on which a bed's length is written
    follow: Shapes
    plants: Points  # x, y, spread
    kept: list[Kept]
    street: str  # its name; blank where it is not certain
    is_schematic: bool  # no lot line, no north


def set_scene(plan: LotPlan) -> Scene:
    """Turn a lot, and find what is kept clear."""
    ground, beds = plan.ground, plan.beds
    layer = ground["layer"].to_numpy(object)
    shapes = ground["geometry"].to_numpy()
    outline = shapely.union_all(shapes[layer == "outline"])
    edges = np.array([_whole_edge(edge) for edge in beds["edge"].to_numpy()])
    turn = _turn(beds, edges)
    cosine, sine = np.cos(turn), np.sin(turn)
    middle = shapely.get_coordinates(shapely.centroid(outline))[0]

    def turned(some: Shapes) -> Shapes:
        xy, row = shapely.get_coordinates(some, return_index=True)
        xy = (xy - middle) @ np.array([[cosine, sine], [-sine, cosine]])
        return shapely.set_coordinates(some.copy(), xy) if len(row) else some

    bed_shapes, edges = turned(beds["geometry"].to_numpy()), turned(edges)
    at = turned(shapely.points(plan.plants[["x_ft", "y_ft"]].to_numpy(float)))
    plants = np.column_stack(
        [shapely.get_coordinates(at), plan.plants["spread_ft"].to_numpy(float)]
    )
    layers = {name: turned(shapes[layer == name]) for name in PLAN_LAYERS}
    is_limit = np.isin(layer, ("kept_clear", "thing"))
    kept = find_kept(
        bed_shapes, turned(shapes[is_limit]), ground["what"].to_numpy(object)[is_limit],
        layer[is_limit] == "thing", layers["street"], plan.rules,
    )  # fmt: skip
    return Scene(
        turn=turn,
        outline=turned(np.array([outline]))[0],
        layers=layers,
        beds=bed_shapes,
        edges=edges,
        aside=_aside(edges, beds["along"].to_numpy(object)),
        follow=turned(plan.follow["geometry"].to_numpy()[: 0 if plan.is_schematic else None]),
        plants=plants,
        kept=kept,
        street=plan.street,
        is_schematic=plan.is_schematic,
    )


def _whole_edge(edge: shapely.Geometry) -> shapely.Geometry:
    """Give an edge as one chain without the stubs at its ends; where gaps part it, its longest chain."""
    xy = np.vstack([shapely.get_coordinates(piece) for piece in _in_order(shapely.get_parts(edge))])
    together = shapely.remove_repeated_points(shapely.linestrings(xy), HAIR_FT)
    if shapely.length(together) > shapely.length(edge) + GAPS_FT:
        chains = shapely.get_parts(shapely.line_merge(edge))
        together = chains[np.argmax(shapely.length(chains))]
    xy = shapely.get_coordinates(together)
    return shapely.linestrings(_without_stub(_without_stub(xy)[::-1])[::-1])


def _in_order(pieces: Shapes) -> list[shapely.Geometry]:
    """Put the pieces of an edge one behind the other: each runs with the bed on its left."""
    starts, ends = (shapely.get_coordinates(shapely.get_point(pieces, at)) for at in (0, -1))
    apart = np.hypot(*(ends[:, None] - starts[None]).transpose(2, 0, 1))
    np.fill_diagonal(apart, np.inf)
    order = [int(np.argmax(apart.min(axis=0)))] if len(pieces) > 1 else [0]
    while len(order) < len(pieces):
        apart[:, order] = np.inf
        order.append(int(np.argmin(apart[order[-1]])))
    return [pieces[at] for at in order]


def _without_stub(xy: Points) -> Points:
    if len(xy) >= len(("stub", "corner", "edge")):
        steps = np.diff(xy[:3], axis=0)
        size = norm(steps)
        if size[0] < STUB_FT and steps[0] @ steps[1] < CORNER_COSINE * size.prod():
            return xy[1:]
    return xy


def has_corners(edge: shapely.Geometry) -> bool:
    """Tell whether an edge has jogs, so that a line beside it could not be read."""
    xy = shapely.get_coordinates(shapely.simplify(edge, WAVER_FT))
    steps = np.diff(xy, axis=0)
    size = norm(steps)
    cosine = dot(steps[1:], steps[:-1]) / np.maximum(size[1:] * size[:-1], 1e-9)
    return bool((cosine < CORNER_COSINE).any())


def _turn(beds: pd.DataFrame, edges: Shapes) -> float:
    """Turn so that the longest bed that lies at no house is level, its lawn above; a house bed has it below."""
    is_house = (beds["along"] == "house").to_numpy()
    some = np.flatnonzero(~is_house) if not is_house.all() else np.arange(len(beds))
    longest = some[np.argmax(beds["edge_ft"].to_numpy()[some])]
    east, north = _course(edges[longest])
    return float(-np.arctan2(north, east) + np.pi * is_house[longest])


def _course(edge: shapely.Geometry) -> Points:
    """Give the direction of an edge: of its longest straight piece, where it has corners or that is long."""
    xy = shapely.get_coordinates(shapely.simplify(edge, 1.0))
    steps = np.diff(xy, axis=0)
    size = norm(steps)
    longest = int(np.argmax(size))
    is_bent = size[longest] < size.sum() * STRAIGHT_SHARE and not has_corners(edge)
    course: Points = xy[-1] - xy[0] if is_bent else steps[longest]
    return course


def _aside(edges: Shapes, along: Shapes) -> Points:
    """Point from each edge to the street, of a house bed to its lawn."""
    course = np.array([_course(edge) for edge in edges])
    course /= np.maximum(norm(course), 1e-9)[:, None]
    lawn = np.column_stack([-course[:, 1], course[:, 0]])
    return np.where((along == "house")[:, None], lawn, -lawn)
