"""
Draw one lot's ground with the labels of its lawn's border, its beds and limits, to see what went wrong.

    python -m tests.plot_lot BOOK CLIENT OUT.svg

Colors say what a stretch of border lies on; pointing at a shape tells its bits, at a bed its measures.
"""

from __future__ import annotations

import sys
from html import escape
from pathlib import Path

import numpy as np
import shapely

from scanner.ground import kinds
from scanner.ground.survey import Survey, survey_block
from scanner.pipeline import read_book

NAMES = {
    value: name.lower()
    for name, value in vars(kinds).items()
    if name.isupper() and isinstance(value, int) and value.bit_count() == 1
}
COLORS = {
    kinds.PITCHED: "#b3261e", kinds.HOUSE: "#7a4a3a", kinds.CURB: "#1b5fae", kinds.SIDEWALK: "#0b8a7a",
    kinds.DRIVE: "#8a5a00", kinds.WALK: "#6a4fb0", kinds.BED: "#2e7d32",
}  # fmt: skip
MARGIN_FT = 15.0


def words(bits: int) -> str:
    """Name the bits of a label."""
    return " ".join(name for bit, name in NAMES.items() if bits & bit) or "lot line"


def color(bits: int) -> str:
    """Give a label its color."""
    return next((hue for bit, hue in COLORS.items() if bits & bit), "#777" if bits else "#000")


def path(shape: shapely.Geometry, style: str, told: str) -> str:
    """Draw a shape that tells something."""
    lines = (
        shapely.get_rings(shape) if shapely.get_dimensions(shape) == 2 else shapely.get_parts(shape)
    )
    d = " ".join("M" + " ".join(f"{x:.3f},{-y:.3f}" for x, y in line.coords) for line in lines)
    return f'<path d="{d}" fill-rule="evenodd" {style}><title>{escape(told)}</title></path>'


def draw(survey: Survey) -> str:
    """Draw the only lot of a survey as SVG, feet east and north of its own corner."""
    lots, border, limits = survey.lots, survey.ground.border, survey.limits.ground
    x0, y0, x1, y1 = shapely.bounds(shapely.union(lots.outline[0], lots.strip[0])) + MARGIN_FT * np.array([-1, -1, 1, 1])  # fmt: skip
    drawn = [
        path(shape, f'fill="{color(bits)}" fill-opacity=".25"', words(bits))
        for shape, bits in zip(survey.parts.shape, survey.parts.bits, strict=True)
    ]
    drawn.append(path(lots.outline[0], 'fill="none" stroke="#000" stroke-dasharray="1"', "outline"))
    drawn.append(path(survey.lawn.ground[0], 'fill="#9ccc65" fill-opacity=".4"', "lawn"))
    drawn += [
        path(shape, 'fill="none" stroke="#e65100"', f"limit {bits:b}")
        for shape, bits in zip(limits.shape, limits.bits, strict=True)
    ]
    beds = survey.beds.itertuples()
    drawn += [
        path(bed.shape, f'fill="#ffb300" fill-opacity="{0.3 if bed.skip_reason else 0.8}"',
             f"{bed.bed_id} {bed.skip_reason} edge {bed.edge_ft:.2f} ft, {bed.area_ft2:.2f} ft²")
        for bed in beds
    ]  # fmt: skip
    drawn += [
        path(shapely.linestrings([a, b]), f'stroke="{color(bits)}" stroke-width="3"', words(bits))
        for a, b, bits in zip(border.a, border.b, border.bits, strict=True)
    ]
    box = f"{x0} {-y1} {x1 - x0} {y1 - y0}"
    style = "path { vector-effect: non-scaling-stroke }"
    return f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="{box}" width="1200"><style>{style}</style>{"".join(drawn)}</svg>'


def main(book: str, client: str, out: str) -> None:
    """Survey one lot of a book and draw it."""
    read = read_book(Path(book))
    survey = survey_block(read.features, np.array([client], object), read.clients, rules=read.rules)  # fmt: skip
    Path(out).write_text(draw(survey), encoding="utf-8")


if __name__ == "__main__":
    main(*sys.argv[1:])
