"""Lengths and depths of beds, written beside them as a person writes them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np
import shapely

from scanner.pages.drawing.brush import Brush, Points
from scanner.pages.drawing.painting import ZIGZAG
from scanner.pages.drawing.scene import Scene, has_corners
from scanner.pages.drawing.taken import (
    HIGH,
    PIECE,
    Box,
    Taken,
    across_bed,
    box_of,
    leaders,
    left_of,
    past_ends,
    points_at,
    unit,
    words_box,
)
from scanner.pages.paper.look import INK, MAP, WHITE, Type
from scanner.pages.paper.typefaces import prepare, width_of

LENGTH: Final = Type(10.5).bold
DEPTH: Final = MAP.bold

OFF = 28.0
"""A length is written so far off the bed [pt]."""
GAP, BEYOND, TICK = 3.0, 4.0, 3.2
"""Where witness lines begin and how far they go beyond; half a tick's width [pt]."""
BLANK, JOGGED_BLANK, SHORT_BLANK = 50.0, 60.0, 26.0
"""Room to write a length, that of an edge with jogs, and a depth [pt]."""


class BedWords(NamedTuple):
    """What is written at a bed: its letter, length and depth, and both where it has jogs."""

    letter: str
    length: str
    depth: str
    jogged: str


@dataclass
class Dimensions:
    """Writes lengths and depths on one drawing; ``blanks``: places to write them in instead."""

    brush: Brush
    scene: Scene
    taken: Taken
    blanks: bool

    def __post_init__(self) -> None:
        self.beds = [
            shapely.union_all(self.brush.visible(self.scene.beds[at : at + 1]))
            for at in range(len(self.scene.beds))
        ]

    def write(self, words: list[BedWords]) -> None:
        """Write all lengths, then all depths."""
        lines = [self._length(at, words[at]) for at in range(len(words))]
        for at, has_line in enumerate(lines):
            if has_line:
                self._depth(at, words[at])

    def _edge(self, at: int) -> Points:
        return self.brush.frame.to_page(shapely.get_coordinates(self.scene.edges[at]))

    def _length(self, at: int, words: BedWords) -> bool:
        """Write a length along its line; where that is in the way, or the edge has jogs, at a leader: False then."""
        line = None if has_corners(self.scene.edges[at]) else self._line(at)
        if line is None:
            self._jogged(at, words)
            return False
        edge = self._edge(at)
        for foot, end, inner in ((edge[0], line[0], line[1]), (edge[-1], line[-1], line[-2])):
            way, along = unit(end - foot), unit(inner - end)
            witness = np.array([foot + GAP * way, end + BEYOND * way])
            tick = TICK * (along + left_of(along))
            self.brush.lines([witness], INK, 0.6)
            self.brush.lines([np.array([end - tick, end + tick])], INK, 1.3)
            self.taken.add_line(witness)
        self.brush.lines([line], INK, 0.8)
        self._break(line)
        width = self._width(words.letter, words.length, BLANK, LENGTH)
        spots = points_at(line, (0.5, 0.42, 0.58, 0.34, 0.66, 0.26, 0.74)).tolist()
        free = (spot for spot in spots if self.taken.is_free(words_box(spot, width)))
        x, y = next(free, spots[0])
        self._tag(x, y, words.letter, words.length, BLANK, LENGTH)
        self.taken.add_line(line)
        return True

    def _break(self, line: Points) -> None:
        cut = self.brush.frame.cut
        if cut is None or cut.axis:
            return
        x = self.brush.frame.to_page(np.array([[(cut.start + cut.end) / 2, cut.start]]))[0, 0]
        if line[:, 0].min() < x < line[:, 0].max():
            order = np.argsort(line[:, 0])
            y = np.interp(x, line[order, 0], line[order, 1])
            self.brush.canvas.setFillColor(WHITE)
            self.brush.canvas.rect(x - 11, y - 1, 22, 2, stroke=0, fill=1)
            self.brush.lines([np.add(ZIGZAG, (x, y))], INK, 0.8)

    def _line(self, at: int) -> Points | None:
        """Lay a line beside an edge; none where it leaves the field or runs over a bed or a house."""
        edge, aside = self._edge(at), self.scene.aside[at]
        is_lawn = left_of(edge[-1] - edge[0]) @ aside > 0
        bed, drawn = self.beds[at], shapely.linestrings(edge)
        deep = 0.0
        if is_lawn:
            deep = float(
                shapely.distance(shapely.points(shapely.get_coordinates(bed)), drawn).max()
            )
        off = (deep + OFF) * (1 if is_lawn else -1)
        beside = shapely.offset_curve(shapely.simplify(drawn, 0.5), off, join_style="mitre")
        beside = shapely.line_merge(beside)
        if beside.geom_type != "LineString" or beside.is_empty:
            return None
        line = shapely.get_coordinates(beside)
        field, room = self.taken.field, shapely.buffer(beside, HIGH / 2)
        x0, y0, x1, y1 = shapely.bounds(room)
        if x0 < field.left or y0 < field.bottom or x1 > field.right or y1 > field.top:
            return None
        others = [other for row, other in enumerate(self.beds) if row != at]
        houses = self.brush.visible(self.scene.layers["house"])
        if any(room.intersects(other) for other in (*others, *houses)):
            return None
        return line

    def _jogged(self, at: int, words: BedWords) -> None:
        """Write length and depth at the end of a leader on the lawn side."""
        width = self._width(words.letter, words.jogged, JOGGED_BLANK, LENGTH)
        places = [*leaders(self._edge(at), self.beds[at], width)]
        free = (
            (leader, spot)
            for leader, spot in places
            if self._is_off_beds(words_box(spot, width)) and self._is_clear(leader)
        )
        leader, (x, y) = next(free, places[0])
        self.brush.lines([leader], INK, 0.7)
        self.taken.add_line(leader)
        self._tag(x, y, words.letter, words.jogged, JOGGED_BLANK, LENGTH)

    def _depth(self, at: int, words: BedWords) -> None:
        """Write a depth past an end of its bed, the ends in turn, else across it; the list has it in any case."""
        width = self._width("", words.depth, SHORT_BLANK, DEPTH)
        for across, spot in past_ends(
            self._edge(at), self._deep(at), width, is_left_first=at % 2 == 0
        ):
            if self._fits(across, spot, width) and self._is_off_beds(box_of(across)):
                return self._write_depth(across, spot, words.depth)
        for across, spot in across_bed(self._edge(at), self.beds[at], width):
            if self._fits(across, spot, width):
                return self._write_depth(across, spot, words.depth)
        return None

    def _deep(self, at: int) -> float:
        return float(self.beds[at].area / max(shapely.linestrings(self._edge(at)).length, 1e-9))

    def _fits(self, across: Points, spot: Points, width: float) -> bool:
        box = words_box(spot, width)
        return self._is_off_beds(box) and self.taken.is_free(box_of(across))

    def _is_off_beds(self, box: Box) -> bool:
        shape = shapely.box(*box)
        return self.taken.is_free(box) and not any(bed.intersects(shape) for bed in self.beds)

    def _is_clear(self, leader: Points) -> bool:
        """Whether a leader runs over nothing behind its bed's border."""
        way = unit(leader[1] - leader[0])
        outer = np.array([leader[0] + PIECE * way, leader[1]])
        return self.taken.is_free(box_of(outer))

    def _write_depth(self, across: Points, spot: Points, words: str) -> None:
        way = unit(across[1] - across[0])
        tick = TICK * (way + left_of(way))
        self.brush.lines([across], INK, 0.8)
        self.brush.lines([np.array([end - tick, end + tick]) for end in across], INK, 1.3)
        self._tag(spot[0], spot[1], "", words, SHORT_BLANK, DEPTH)
        self.taken.add_line(across)

    def _width(self, letter: str, words: str, blank: float, kind: Type) -> float:
        if self.blanks:
            return 18.0 * bool(letter) + blank + width_of(" ft", kind) + 6
        return 18.0 * bool(letter) + width_of(prepare(words).text, kind) + 6

    def _tag(self, x: float, y: float, letter: str, words: str, blank: float, kind: Type) -> None:
        """Write words in the middle of a white box, after the disc of the bed."""
        width = self._width(letter, words, blank, kind)
        box = Box.around(x, y, width, HIGH)
        self.brush.canvas.setFillColor(WHITE)
        self.brush.canvas.rect(box.left, box.bottom, width, HIGH, stroke=0, fill=1)
        start = box.left + 3 + 18.0 * bool(letter)
        if letter:
            self.brush.paper.disc(box.left + 9, y, letter)
        base = y - 0.35 * kind.size
        if self.blanks:
            self.brush.paper.write_here(start, base, start + blank)
            self.brush.paper.text(start + blank, base, " ft", kind)
        else:
            self.brush.paper.text(start, base, words, kind)
        self.taken.add(box)
