"""
Plots as inline SVG, told apart in gray and readable on a phone; a table with the figures stands beside each.

Lengths are in the picture's own units, one pixel where it is 380 wide.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import ceil, floor, log10

from markupsafe import Markup, escape

WIDTH, HEIGHT = 380, 230
LEFT, TOP, RIGHT, BOTTOM = 56, 10, 8, 40
THINNEST = 0.2
"""A part of a column that is lower is not drawn."""

FILLS = ("full", "slant", "dots", "open")
"""Fills of the parts of a column, from the bottom: CSS classes."""

PATTERNS = Markup(
    '<svg class="hush" aria-hidden="true"><defs>'
    '<pattern id="slant" width="5" height="5" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
    '<rect width="5" height="5" fill="#b3ccd1"/><rect width="2" height="5" fill="#1d5160"/></pattern>'
    '<pattern id="dots" width="5" height="5" patternUnits="userSpaceOnUse">'
    '<rect width="5" height="5" fill="#d3e1e4"/><circle cx="2.5" cy="2.5" r="1" fill="#1d5160"/></pattern>'
    "</defs></svg>"
)
"""Stands once in a page that has plots."""


@dataclass(frozen=True)
class Bar:
    """A column of a plot: its name, its parts from the bottom, and the range of their sum."""

    label: str
    parts: Sequence[float]
    low: float
    high: float


def columns(
    bars: Sequence[Bar], write: Callable[[float], str], *, title: str, finding: str
) -> Markup:
    """Stack each bar's parts, its range beside it."""
    top = _nice_top(max((max(bar.high, sum(bar.parts)) for bar in bars), default=0.0))
    up = _scale(top)
    room = (WIDTH - LEFT - RIGHT) / max(len(bars), 1)
    wide = min(30.0, room * 0.45)
    marks = [_grid(top, write)]
    for place, bar in enumerate(bars):
        x, y = LEFT + room * (place + 0.5) - wide * 0.65, up(0.0)
        for fill, part in zip(FILLS, bar.parts, strict=False):
            height = up(0.0) - up(part)
            if height > THINNEST:
                y -= height
                marks.append(_rect(x, y, wide, height, fill))
        marks.append(_range(x + wide + 7, up(bar.low), up(bar.high)))
        marks.append(_text(LEFT + room * (place + 0.5), HEIGHT - BOTTOM + 16, bar.label, "middle"))
    return _picture(marks, title, finding)


def bar_line(share: float, low: float, high: float, fill: str, taken: float = 0.0) -> Markup:
    """Draw one bar, filled as far as it is taken, with its range under it; all are shares of the width."""
    wide = 199
    marks = [
        _rect(0.5, 1, max(share * wide, 1), 9, fill),
        _rect(0.5, 1, taken * wide, 9, "full") if taken else Markup(""),
        Markup('<path class="range" d="M{0} 12v6M{0} 15H{1}M{1} 12v6"/>').format(
            f"{low * wide + 0.5:.1f}", f"{high * wide - 0.5:.1f}"
        )
        if high > low
        else Markup(""),
    ]
    inner = Markup("").join(marks)
    return Markup('<svg class="bar" viewBox="0 0 200 20" aria-hidden="true">{}</svg>').format(inner)


def curve(
    points: Sequence[tuple[float, float]], marked: Sequence[float], write: Callable[[float], str],
    *, title: str, finding: str, below: str,
) -> Markup:  # fmt: skip
    """Draw a line through points, those at `marked` with a dot and their number."""
    top = _nice_top(max((y for _, y in points), default=0.0))
    last = max((x for x, _ in points), default=1.0) or 1.0
    up, wide = _scale(top), WIDTH - LEFT - RIGHT - 6
    placed = [(LEFT + x / last * wide, up(y)) for x, y in points]
    marks = [_grid(top, write), _line(placed, "line")]
    for (x, _), (at, y) in zip(points, placed, strict=True):
        if x in marked:
            marks.append(
                Markup('<circle class="dot" cx="{}" cy="{}" r="4"/>').format(
                    f"{at:.1f}", f"{y:.1f}"
                )
            )
            marks.append(_text(at, HEIGHT - BOTTOM + 16, f"{x:g}", "middle"))
    marks.append(_text(LEFT + wide / 2, HEIGHT - 6, below, "middle"))
    return _picture(marks, title, finding)


def boxes_under_steps(
    boxes: Sequence[Bar], steps: Sequence[float], *, title: str, finding: str, below: str
) -> Markup:
    """Draw a box and its middle a week, under the line of what there is room for."""
    top = _nice_top(max([*steps, *(box.high for box in boxes)], default=0.0))
    up = _scale(top)
    room = (WIDTH - LEFT - RIGHT) / max(len(boxes), 1)
    wide = min(30.0, room * 0.6)
    line = list[tuple[float, float]]()
    marks = [_grid(top, lambda days: f"{days:g}")]
    for place, (box, free) in enumerate(zip(boxes, steps, strict=True)):
        x, middle = LEFT + room * (place + 0.5) - wide / 2, sum(box.parts)
        line += [(LEFT + room * place, up(free)), (LEFT + room * (place + 1), up(free))]
        marks.append(_rect(x, up(box.high), wide, max(up(box.low) - up(box.high), 1), "box"))
        marks.append(_rect(x, up(middle) - 1.5, wide, 3, "full"))
        marks.append(_text(x + wide / 2, HEIGHT - BOTTOM + 16, box.label, "middle"))
    marks.append(_line(line, "limit"))
    marks.append(_text(LEFT + (WIDTH - LEFT) / 2, HEIGHT - 6, below, "middle"))
    return _picture(marks, title, finding)


def _nice_top(most: float) -> float:
    """Give a round number a little above the largest."""
    if most <= 0:
        return 1.0
    step = 10.0 ** floor(log10(most))
    step /= next(parts for least, parts in ((4, 1), (2, 2), (1, 5)) if most >= least * step)
    return ceil(most / step) * step


def _scale(top: float) -> Callable[[float], float]:
    return lambda value: HEIGHT - BOTTOM - value / top * (HEIGHT - BOTTOM - TOP)


def _grid(top: float, write: Callable[[float], str]) -> Markup:
    up, lines = _scale(top), []
    for part in range(5):
        value = top * part / 4
        lines.append(
            Markup('<path class="grid" d="M{} {}H{}"/>').format(
                LEFT, f"{up(value):.1f}", WIDTH - RIGHT
            )
        )
        lines.append(_text(LEFT - 6, up(value) + 4, write(value), "end"))
    return Markup("").join(lines)


def _rect(x: float, y: float, width: float, height: float, kind: str) -> Markup:
    return Markup('<rect class="{}" x="{}" y="{}" width="{}" height="{}"/>').format(
        kind, *(f"{number:.1f}" for number in (x, y, width, height))
    )


def _range(x: float, low: float, high: float) -> Markup:
    if low - high < 1:
        return Markup("")
    return Markup('<path class="range" d="M{0} {2}h8M{1} {2}V{3}M{0} {3}h8"/>').format(
        f"{x - 4:.1f}", f"{x:.1f}", f"{low:.1f}", f"{high:.1f}"
    )


def _line(points: Sequence[tuple[float, float]], kind: str) -> Markup:
    path = "L".join(f"{x:.1f} {y:.1f}" for x, y in points)
    return Markup('<path class="{}" d="M{}"/>').format(kind, path) if points else Markup("")


def _text(x: float, y: float, words: str, anchor: str) -> Markup:
    return Markup('<text x="{}" y="{}" text-anchor="{}">{}</text>').format(
        f"{x:.1f}", f"{y:.1f}", anchor, words
    )


def _picture(marks: Sequence[Markup], title: str, finding: str) -> Markup:
    return Markup(
        '<svg class="plot" role="img" viewBox="0 0 {} {}"><title>{}</title><desc>{}</desc>{}</svg>'
    ).format(WIDTH, HEIGHT, escape(title), escape(finding), Markup("").join(marks))
