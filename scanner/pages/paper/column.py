"""A column of a printed page, filled from the top: heads, words, tables, and places to write on."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final, Literal

from scanner.pages.paper.look import BODY, FAINT, FOOT, HINT, INK, LIST, SECTION, TINT, Type
from scanner.pages.paper.sheet import ABOVE, Paper
from scanner.pages.paper.typefaces import prepare, width_of, wrap

PITCH: Final = 15.5
"""From one row of a table to the next [pt]."""
WRITE_PITCH: Final = 18.4
"""From one line to write on to the next: a quarter inch, as on narrow-ruled paper (common practice, no source)."""
KNOWN: Final = "Know before you go"
MOST_BOXED: Final = 4
"""Lines that a box takes at most: a page of notes would leave no room for the drawing."""
_TICK_GAP = 14.0
_MARK_GAP = 20.0

TICK: Final = object()
"""A cell to tick."""
BLANK: Final = object()
"""A cell to write in."""
Cell = str | object


@dataclass(frozen=True)
class Track:
    """A column of a table: its head, where it begins and ends from the left of its column [pt]."""

    head: str
    start: float
    end: float
    align: Literal["left", "right"] = "left"
    kind: Type = LIST


@dataclass
class Column:
    """Part of a page between two edges; ``y`` is where the next thing begins and goes down [pt]."""

    paper: Paper
    left: float
    right: float
    y: float

    @classmethod
    def full(cls, paper: Paper, y: float) -> Column:
        """Take the whole width of the page."""
        return cls(paper, paper.left, paper.right, y)

    @classmethod
    def trial(cls, width: float) -> Column:
        """Begin a column at 0 on paper that nobody sees, as wide as a page is [pt]."""
        return cls.full(Paper((width, 0.0), title=""), 0.0)

    @property
    def width(self) -> float:
        """Between the edges [pt]."""
        return self.right - self.left

    @property
    def room(self) -> float:
        """What is left above the foot of the page [pt]."""
        return self.y - self.paper.bottom

    def part(self, start: float, end: float) -> Column:
        """Begin another column here, so far from the left edge [pt]."""
        return replace(self, left=self.left + start, right=self.left + end)

    def gap(self, height: float) -> None:
        """Leave paper empty [pt]."""
        self.y -= height

    def section(self, words: str) -> None:
        """Head a section, with a rule under it."""
        self.paper.text(self.left, self.y - 18, words, SECTION)
        self.paper.rule(self.left, self.y - 23, self.right)
        self.y -= 27

    def words(self, text: str, kind: Type = BODY, *, indent: float = 0) -> None:
        """Write a paragraph, as many lines as it takes."""
        for line in wrap(self.paper.prepared(text), kind, self.width - indent):
            self.paper.text(self.left + indent, self.y - ABOVE * kind.size - 1, line, kind)
            self.y -= kind.leading

    def boxed(self, head: str, sentences: Sequence[str]) -> None:
        """Write in a tinted box what has to be read first, cut after `MOST_BOXED` lines; nothing where nothing is told."""
        if not sentences:
            return
        lines = wrap(
            self.paper.prepared(f"{head}: {' · '.join(sentences)}"), LIST.bold, self.width - 10
        )
        if len(lines) > MOST_BOXED:
            lines[MOST_BOXED - 1 :] = ["… and more, which the office has"]
        depth = len(lines) * LIST.leading + 6
        self.paper.canvas.setFillColor(TINT)
        self.paper.canvas.rect(self.left, self.y - depth, self.width, depth, 0, 1)
        for at, line in enumerate(lines):
            base = self.y - 3 - at * LIST.leading - ABOVE * LIST.size
            self.paper.text(self.left + 5, base, line, LIST.bold)
        self.y -= depth + 4

    def pair(self, words: str, amount: str, kind: Type = LIST, *, indent: float = 0) -> None:
        """Write words at the left and a figure at the right of one line."""
        figure = prepare(amount).text
        end = self.width - (width_of(figure, kind) + 10 if figure else 0)
        tracks = [Track("", indent, end, kind=kind), Track("", end, self.width, "right", kind=kind)]
        self.row(tracks, [words, amount])

    def bed(self, letter: str, words: str, amount: str = "", kind: Type = BODY.bold) -> None:
        """Write a line about a bed after its black disc."""
        self.paper.disc(self.left + 7, self.y - PITCH + 8.2, letter)
        self.pair(words, amount, kind, indent=_MARK_GAP)
        self.y -= 1.5

    def kept_clear(self, number: int, words: str) -> None:
        """Write a paragraph about what is kept clear after its teal square."""
        self.paper.square(self.left + 6.2, self.y - 7.4, number)
        self.words(words, LIST, indent=_MARK_GAP)
        self.y -= 2.5

    def heads(self, tracks: Sequence[Track]) -> None:
        """Head a table, with a rule under it."""
        self._cells([replace(track, kind=HINT) for track in tracks], [x.head for x in tracks], 13)
        self.paper.rule(self.left, self.y, self.right)
        self.y -= 2

    def row(
        self,
        tracks: Sequence[Track],
        cells: Sequence[Cell],
        *,
        bold: bool = False,
        shaded: bool = False,
        pitch: float = PITCH,
    ) -> None:
        """Write a row of a table; a cell that is too long goes on below, and the row grows."""
        if shaded:
            depth = self._depth(tracks, cells, pitch)
            self.paper.canvas.setFillColor(TINT)
            self.paper.canvas.rect(self.left - 3, self.y - depth, self.width + 6, depth, 0, 1)
        shown = [replace(x, kind=x.kind.bold) for x in tracks] if bold else tracks
        self._cells(shown, cells, pitch)

    def rule(self) -> None:
        """Close a table, or head its sums."""
        self.paper.rule(self.left, self.y - 1, self.right)
        self.y -= 2

    def _cells(self, tracks: Sequence[Track], cells: Sequence[Cell], pitch: float) -> None:
        base = self.y - pitch + 5
        for track, cell in zip(tracks, cells, strict=True):
            start, end = self.left + track.start, self.left + track.end
            if cell is BLANK:
                self.paper.write_here(start, base, end)
            elif cell is TICK:
                self.paper.tick(end - 9.6 if track.align == "right" else start, base - 1.2)
            else:
                x = end if track.align == "right" else start
                for place, line in enumerate(_lines(track, self.paper.prepared(str(cell)))):
                    y = base - place * track.kind.leading
                    self.paper.text(x, y, line, track.kind, track.align)
        self.y -= self._depth(tracks, cells, pitch)

    @staticmethod
    def _depth(tracks: Sequence[Track], cells: Sequence[Cell], pitch: float) -> float:
        more = (
            (len(_lines(track, cell)) - 1) * track.kind.leading
            for track, cell in zip(tracks, cells, strict=True)
            if cell is not BLANK and cell is not TICK
        )
        return pitch + max(more, default=0)

    def lines(self, count: int) -> None:
        """Draw lines to write on."""
        for _ in range(count):
            self.y -= WRITE_PITCH
            self.paper.rule(self.left, self.y, self.right, 0.6, FAINT)

    def blank(self, label: str, *, start: float, end: float | None = None, unit: str = "") -> None:
        """Leave a place to write in after its label: from and to so far from the left edge [pt]."""
        to = self.right if end is None else self.left + end
        base = self.y - WRITE_PITCH + 6
        self.paper.text(self.left, base, label, LIST)
        self.paper.write_here(self.left + start, base, to)
        if unit:
            self.paper.text(to + 4, base, unit, LIST.soft)
        self.y -= WRITE_PITCH

    def choices(self, label: str, words: Sequence[str], *, start: float) -> None:
        """Give words to tick after their label; those that don't fit go on in the next line."""
        self.y -= WRITE_PITCH
        self.paper.text(self.left, self.y + 6, label, LIST)
        x = self.left + start
        for word in words:
            if x + _TICK_GAP + width_of(prepare(word).text, LIST) > self.right:
                self.y -= WRITE_PITCH
                x = self.left + start
            self.paper.tick(x, self.y + 4.8)
            x = self.paper.text(x + _TICK_GAP, self.y + 6, word, LIST).right + 9

    def to_tick(self, words: str, kind: Type = LIST, *, pitch: float = PITCH) -> None:
        """Write a paragraph after a box to tick."""
        top = self.y
        self.paper.tick(self.left, self.y - ABOVE * kind.size - 2.2)
        self.words(words, kind, indent=_TICK_GAP)
        self.y = min(self.y - 3, top - pitch)

    def signatures(self, places: Sequence[tuple[str, float, float]]) -> None:
        """Draw lines to sign on side by side: what stands under each, from and to so far from the left [pt]."""
        self.y -= 36
        for words, start, end in places:
            self.paper.rule(self.left + start, self.y, self.left + end, 0.8, INK)
            self.paper.fitted(self.left + start, self.y - 10, words, FOOT, end - start)
        self.y -= 14


def _lines(track: Track, cell: Cell) -> list[str]:
    return wrap(prepare(str(cell)).text, track.kind, track.end - track.start)
