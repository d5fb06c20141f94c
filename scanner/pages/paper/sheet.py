"""A printed document: pages with head and foot, and every text on record with its box."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from io import BytesIO
from typing import Any, Final, Literal

from reportlab.lib.colors import toColor
from reportlab.pdfgen.canvas import Canvas

from scanner.pages.paper.look import (
    BODY,
    FAINT,
    FOOT,
    INK,
    LEAST_SIZE,
    LETTER,
    MARGIN,
    RULE,
    TEAL,
    TITLE,
    WHITE,
    Type,
)
from scanner.pages.paper.typefaces import prepare, runs, shorten, turned, width_of

Align = Literal["left", "right", "center"]

ABOVE: Final = 0.76
BELOW: Final = 0.24
"""How far letters reach above and below their base line, as a share of their size."""
HEAD_DEPTH: Final = 44.0
FOOT_DEPTH: Final = 18.0
_BOLDENED = 0.035  # outline of a face that has no bold, as a share of its size
_LEAST_TITLE = 12.0
_STROKED: Final = 2  # fill letters, and stroke their outline


@dataclass(frozen=True)
class Box:
    """A text as it stands on a page, with its box [pt from the lower left corner]."""

    text: str
    page: int
    left: float
    bottom: float
    right: float
    top: float


_ink = cache(toColor)


class _Canvas(Canvas):
    """A canvas that reads each color once: there are few, and 150 uses of them a page."""

    def setFillColor(self, aColor: Any, alpha: Any = None) -> None:  # noqa: ANN401, N802, N803  # its names
        super().setFillColor(_ink(aColor), alpha)

    def setStrokeColor(self, aColor: Any, alpha: Any = None) -> None:  # noqa: ANN401, N802, N803
        super().setStrokeColor(_ink(aColor), alpha)


class Paper:
    """A document in the making; ``canvas`` takes lines and areas, ``text`` every word."""

    def __init__(
        self, size: tuple[float, float] = LETTER, *, title: str, landscape: bool = False
    ) -> None:
        self.width, self.height = size[::-1] if landscape else size
        self.left, self.right = MARGIN, self.width - MARGIN
        self.top, self.bottom = self.height - MARGIN, MARGIN + FOOT_DEPTH
        self.boxes: list[Box] = []
        self.unwritten: set[str] = set()
        self.page = 1
        self._buffer = BytesIO()
        # Without a date and a random id of the file the same input gives the same bytes
        self.canvas = _Canvas(
            self._buffer, pagesize=(self.width, self.height), invariant=1, lang="en-US"
        )
        self.canvas.setTitle(title)

    def next_page(self) -> None:
        """End this page and begin another."""
        self.canvas.showPage()
        self.page += 1

    def finish(self) -> bytes:
        """End the document; the content of the file."""
        self.canvas.save()
        return self._buffer.getvalue()

    def prepared(self, words: str) -> str:
        """Give words as they can be written; letters that no face has are noted in ``unwritten``."""
        written = prepare(words)
        self.unwritten |= written.unwritten
        return written.text

    def text(self, x: float, y: float, words: str, kind: Type = BODY, align: Align = "left") -> Box:
        """Write one line with its base line at y, beginning, ending or centered at x [pt]."""
        text = self.prepared(words)
        width = width_of(text, kind)
        left = x - {"left": 0.0, "center": width / 2, "right": width}[align]
        self._draw(left, y, turned(text), kind)
        top = y + ABOVE * kind.size
        box = Box(text, self.page, left, y - BELOW * kind.size, left + width, top)
        if text.strip():
            self.boxes.append(box)
        return box

    def _draw(self, x: float, y: float, text: str, kind: Type) -> None:
        self.canvas.setFillColor(kind.color)
        for font, letters in runs(text, kind.weight):
            self.canvas.setFont(font, kind.size)
            boldened = font != kind.weight and "Bold" in kind.weight
            if boldened:
                self.canvas.setStrokeColor(kind.color)
                self.canvas.setLineWidth(_BOLDENED * kind.size)
            self.canvas.drawString(x, y, letters, mode=_STROKED if boldened else None)
            x += self.canvas.stringWidth(letters, font, kind.size)

    def fitted(self, x: float, y: float, words: str, kind: Type, width: float) -> Box:
        """Write one line, smaller where it is too wide, cut with an ellipsis where that is not enough."""
        prepared = self.prepared(words)
        least = _LEAST_TITLE if kind.size > _LEAST_TITLE else LEAST_SIZE
        share = width / max(width_of(prepared, kind), width)
        kind = kind.at(max(kind.size * share, min(least, kind.size)))
        return self.text(x, y, shorten(prepared, kind, width + 0.01), kind)

    def rule(self, x: float, y: float, to: float, weight: float = 0.6, color: str = RULE) -> None:
        """Draw a level line."""
        self.canvas.setStrokeColor(color)
        self.canvas.setLineWidth(weight)
        self.canvas.line(x, y, to, y)

    def head(self, title: str, under: str, right: tuple[str, str, str]) -> float:
        """Begin a page: title, a grey line under it, three lines at the right; where content begins [y]."""
        kinds = (BODY.bold, BODY.soft, BODY.soft)
        room = 0.45 * (self.right - self.left)
        lines = [
            shorten(self.prepared(x), kind, room) for x, kind in zip(right, kinds, strict=True)
        ]
        taken = max(width_of(line, kind) for line, kind in zip(lines, kinds, strict=True))
        room = self.right - self.left - taken - 18
        self.fitted(self.left, self.top - 14.5, title, TITLE, room)
        self.fitted(self.left, self.top - 29, under, BODY.soft, room)
        for place, (line, kind) in enumerate(zip(lines, kinds, strict=True)):
            y = self.top - 10.4 - place * BODY.leading
            self.text(self.right, y, line, kind, "right")
        self.rule(self.left, self.top - HEAD_DEPTH, self.right, 1.4, TEAL)
        return self.top - HEAD_DEPTH

    def foot(self, left: str, right: str) -> None:
        """End a page: what it rests on or where it goes next, and its number or id."""
        self.rule(self.left, MARGIN + 12, self.right, 0.6, FAINT)
        box = self.text(self.right, MARGIN + 2.2, right, FOOT, "right")
        self.fitted(self.left, MARGIN + 2.2, left, FOOT, box.left - self.left - 12)

    def disc(self, x: float, y: float, letter: str) -> None:
        """Mark a bed: a black disc round x and y with its letter."""
        self.canvas.setFillColor(INK)
        self.canvas.circle(x, y, 7, stroke=0, fill=1)
        self.text(x, y - 3.2, letter, Type(9, color=WHITE).bold, "center")

    def square(self, x: float, y: float, number: int) -> None:
        """Mark what is kept clear: a teal square round x and y with its number."""
        self.canvas.setFillColor(WHITE)
        self.canvas.setStrokeColor(TEAL)
        self.canvas.setLineWidth(1.2)
        self.canvas.rect(x - 6.2, y - 6.2, 12.4, 12.4, stroke=1, fill=1)
        self.text(x, y - 3.2, str(number), Type(9, color=TEAL).bold, "center")

    def tick(self, x: float, y: float, size: float = 9.6) -> None:
        """Draw a box to tick, standing on y."""
        self.canvas.setStrokeColor(INK)
        self.canvas.setLineWidth(0.9)
        self.canvas.rect(x, y, size, size, stroke=1, fill=0)

    def write_here(self, x: float, y: float, to: float) -> None:
        """Draw a line to write on, a little below the base line y."""
        self.rule(x, y - 2.5, to, 0.8, INK)
