"""Numbers of what is kept clear, and the names of what stands on a lot, where there is room for them."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Final

import numpy as np
import shapely

from scanner.pages.drawing.brush import Brush, Points
from scanner.pages.drawing.framing import SIGHTS
from scanner.pages.drawing.kept_clear import BESIDE, WITHIN, Kept
from scanner.pages.drawing.painting import HOUSES
from scanner.pages.drawing.scene import Scene
from scanner.pages.drawing.taken import Box, Taken
from scanner.pages.paper.look import INK, MAP, TEAL
from scanner.pages.paper.sheet import Paper
from scanner.pages.paper.typefaces import prepare, width_of

SQUARE = 15.0
"""A numbered square with a hair of room [pt]."""
EIGHT: Final = [np.array([np.cos(angle), np.sin(angle)]) for angle in np.pi / 4 * np.arange(8)]
SIXTEEN: Final = [np.array([np.cos(angle), np.sin(angle)]) for angle in np.pi / 8 * np.arange(16)]
STRIP_SHARES: Final = (0.3, 0.7, 0.2, 0.8, 0.4, 0.6, 0.12, 0.88, 0.5)
NAMES: Final = {"house": "House", "drive": "Drive", "sidewalk": "Sidewalk", "walk": "Walk"}
ASIDE: Final = [
    (x, y)
    for x in (0, -30, 30, -60, 60, -100, 100, -150, 150)
    for y in (0, 12, -12, 24, -24, 40, -40)
]
"""How far from the inner point of a shape its name is tried [pt]."""


def write_numbers(paper: Paper, brush: Brush, scene: Scene, taken: Taken) -> None:
    """Number each thing kept clear on the drawing, as the list beside it does."""
    beds = brush.visible(scene.beds)
    street = shapely.union_all(brush.visible(scene.layers["street"]))
    for kept in scene.kept:
        for shape, bed in zip(kept.shapes, kept.beds, strict=True):
            spots = [*_spots(brush, scene, kept, shape, int(bed), street)]
            spots += [(spots[0][0], spot) for spot in _round(spots[0][0])] if spots else []
            for at, (foot, spot) in enumerate(spots):
                box = Box.around(spot[0], spot[1], SQUARE, SQUARE)
                is_last = at == len(spots) - 1
                if is_last or (
                    taken.is_free(box) and not shapely.intersects(beds, shapely.box(*box)).any()
                ):
                    _write_number(paper, brush, kept, foot, spot)
                    taken.add(box)
                    break


def _write_number(paper: Paper, brush: Brush, kept: Kept, foot: Points, spot: Points) -> None:
    """Draw a numbered square, with a leader where it stands off."""
    if kept.what not in SIGHTS or np.hypot(*(spot - foot)) > SQUARE:
        brush.lines([np.array([foot, spot])], TEAL, 0.8)
    if kept.what not in (*SIGHTS, *WITHIN):
        paper.canvas.setFillColor(INK)
        paper.canvas.rect(foot[0] - 2, foot[1] - 2, 4, 4, stroke=0, fill=1)
    paper.square(spot[0], spot[1], kept.number)


def _round(foot: Points) -> Iterator[Points]:
    return (
        foot + off * way
        for off in (14.0, 20.0, 26.0, 34.0, 44.0, 60.0, 80.0, 110.0, 150.0)
        for way in SIXTEEN
    )


def _spots(
    brush: Brush,
    scene: Scene,
    kept: Kept,
    shape: shapely.Geometry,
    bed: int,
    street: shapely.Geometry,
) -> Iterable[tuple[Points, Points]]:
    """Give points that a number may tell of, and where it may stand then, best first."""
    frame, seen = brush.frame, brush.visible(np.array([shape], object))
    if not len(seen):
        return []
    if kept.what in WITHIN:
        return _beside_strip(frame.to_page(shapely.get_coordinates(scene.edges[bed])), seen)
    if kept.what in SIGHTS:
        xy = shapely.get_coordinates(shapely.segmentize(seen, SQUARE))
        if not street.is_empty:  # the tip away from the street first
            xy = xy[np.argsort(-shapely.distance(shapely.points(xy), street), kind="stable")]
        line = shapely.shortest_line(shapely.Point(xy[0]), street)
        away = np.array([0.0, 1.0]) if line is None else xy[0] - shapely.get_coordinates(line)[-1]
        ways = [10 * away / max(np.hypot(*away), 1e-9), *(12 * way for way in SIXTEEN)]
        return [(at, at + way) for at in xy for way in ways]
    if kept.what in BESIDE:
        at = shapely.get_coordinates(shapely.point_on_surface(max(seen, key=shapely.area)))[0]
    else:
        at = frame.to_page(shapely.get_coordinates(shapely.centroid(shape)))[0]
    return [(at, at + off * way) for off in (26.0, 44.0) for way in EIGHT]


def _beside_strip(edge: Points, strip: np.ndarray) -> list[tuple[Points, Points]]:
    """Stand a number on the hard side of an edge, at three tenths of where a strip runs along it or where there is room."""
    course, line = edge[-1] - edge[0], shapely.linestrings(edge)
    hard = np.array([course[1], -course[0]]) / max(np.hypot(*course), 1e-9)
    ends = shapely.line_locate_point(line, shapely.points(shapely.get_coordinates(strip)))
    along = ends.min() + np.ptp(ends) * np.array(STRIP_SHARES)
    feet = shapely.get_coordinates(shapely.line_interpolate_point(line, along))
    return [(foot - 3 * hard, foot + off * hard) for off in (12.0, 18.0) for foot in feet]


def write_names(paper: Paper, brush: Brush, scene: Scene, taken: Taken) -> None:
    """Name house, drive, walk, sidewalk and street, each once, where its name lies whole within it."""
    field = shapely.box(*taken.field)
    houses = brush.visible(np.concatenate([scene.layers[name] for name in HOUSES]))
    for layer, name in {**NAMES, "street": scene.street or "Street"}.items():
        parts = brush.visible(scene.layers[layer])
        parts = shapely.get_parts(shapely.intersection(parts, field))
        parts = parts[shapely.area(parts) > 0]
        kind = MAP if layer == "house" else MAP.soft
        width = width_of(prepare(name).text, kind) + 3
        spot = _name_spot(parts, houses if layer != "house" else houses[:0], taken, width)
        if spot is not None:
            paper.text(spot[0], spot[1] - 3, name, kind, "center")
            taken.add(Box.around(spot[0], spot[1], width, 12))


def _name_spot(parts: np.ndarray, over: np.ndarray, taken: Taken, width: float) -> Points | None:
    """Find where a name lies in one of the parts, the largest first."""
    for part in parts[np.argsort(-shapely.area(parts), kind="stable")][:4]:
        inner = shapely.get_coordinates(shapely.centroid(part))[0]
        if not shapely.contains_xy(part, *inner):
            inner = shapely.get_coordinates(shapely.point_on_surface(part))[0]
        shapely.prepare(part)
        for off in ASIDE:
            spot = inner + off
            box = Box.around(spot[0], spot[1], width, 12)
            shape = shapely.box(*box)
            if (
                taken.is_free(box)
                and part.contains(shape)
                and not shapely.intersects(over, shape).any()
            ):
                return spot
    return None
