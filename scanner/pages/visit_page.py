"""The sheet for the clipboard: the drawing with blanks, what to measure and ask, and prices to say on the spot."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import pandas as pd

from scanner.pages.bed_words import drawn_words, letter_of
from scanner.pages.drawing.lot_drawing import SCALE_LINE, Field, draw_lot
from scanner.pages.drawing.scene import LotPlan, Scene, set_scene
from scanner.pages.paper.column import KNOWN, WRITE_PITCH, Column, Track
from scanner.pages.paper.look import HINT, LIST, PAPERS
from scanner.pages.paper.sheet import HEAD_DEPTH, Paper
from scanner.pages.plan_page import write_feet
from scanner.schema.documents import FINISH_WORDS, FINISHES
from scanner.sheets.visit_blanks import BLANKS, DEPTH, ENDINGS, HEAD, LENGTH, NOTE, Blank
from scanner.units import usd_said, write_usd

MOST, LEAST = 262.0, 150.0
"""How high the drawing is [pt]."""
ABOVE, GAP = 8.0, 18.0
"""Between head and drawing, and between the columns [pt]."""
LABELS, MEASURED, MEASURED_END = 62.0, 112.0, 172.0
"""Where what is drawn and what is measured begins, and where a blank ends, from the left of a column [pt]."""
SHORT_END = 112.0
PRICE_PITCH = 14.5
ENDING_STARTS = (116.0, 70.0, 92.0, 70.0)
"""Where the line to write on begins behind each of `ENDINGS` [pt]."""


@dataclass(frozen=True)
class Visit:
    """What one sheet tells."""

    client: Mapping[Any, Any]  # row of CLIENTS
    plan: LotPlan | None  # None: measured on foot, nothing is drawn
    beds: Sequence[Mapping[Any, Any]]  # rows of OFFER_BEDS, A first
    finish: str
    prices: pd.DataFrame  # length_ft, is_drawn, and a column of cents a finish
    head_cents: int
    cautions: Sequence[str]
    known: Sequence[str]  # what the office has on record of the lot


def draw_visit(visit: Visit, size: str) -> Paper:
    """Draw the sheet."""
    client = visit.client
    name = client["name"] or client["client_id"]
    day, by = HEAD
    paper = Paper(PAPERS[size], title=f"Visit: {name}")
    top = paper.head(
        f"Visit: {name}",
        _under(client),
        (f"{day} ________________", f"{by} ________________", _round(client)),
    )
    scene = set_scene(visit.plan) if visit.plan else None
    trial = Column.trial(paper.width)
    _write_columns(trial, visit, scene)
    room = paper.top - paper.bottom - HEAD_DEPTH - ABOVE - SCALE_LINE + trial.y
    first = Column.full(paper, top - ABOVE)
    first.boxed(KNOWN, visit.known)
    below = first.y
    room -= top - ABOVE - below
    if scene is not None:
        most = min(MOST, max(LEAST, room))
        words = [drawn_words(bed, at) for at, bed in enumerate(visit.beds)]
        field = Field(paper.left, below, paper.right - paper.left, most, most)
        below = draw_lot(paper, scene, words, field, blanks=True, has_small_plan=False).bottom
    _write_columns(Column.full(paper, below), visit, scene)
    paper.foot(
        f"Back in the office: bed-scanner record BOOK visit {client['client_id']}, then each blank by its name, as slope=flat.",
        client["client_id"],
    )
    return paper


def _under(client: Mapping[Any, Any]) -> str:
    since = f"client since {client['client_since'][:4]}" if client["client_since"] else ""
    return " · ".join(filter(None, (client["address"], client["phone"], since)))


def _round(client: Mapping[Any, Any]) -> str:
    day = f"mowed on {client['mow_day']}" if client["mow_day"] else ""
    stop = f" stop {client['stop']:.0f}" if pd.notna(client["stop"]) else ""
    return ", ".join(filter(None, (day, f"{client['route']}{stop}".strip())))


def _write_columns(column: Column, visit: Visit, scene: Scene | None) -> None:
    half = (column.width - GAP) / 2
    left, right = column.part(0, half), column.part(half + GAP, column.width)
    _measure(left, visit)
    _prices(right, visit)
    _said(right)
    column.y = min(left.y, right.y) - 4
    column.section("Look out for")
    numbered = [f"{kept.number} {kept.brief}" for kept in scene.kept] if scene else []
    column.words(" ".join([*numbered, *visit.cautions]), LIST)


def _measure(column: Column, visit: Visit) -> None:
    column.section("Measure and ask")
    paper = column.paper
    is_known = any(bed["edge_source"] == "measured" for bed in visit.beds)
    for x, words in ((LABELS, "so far" if is_known else "drawn"), (MEASURED, "measured")):
        paper.text(column.left + x, column.y - 9, words, HINT)
    column.gap(12)
    for at, bed in enumerate(visit.beds):
        # what a tape said stays as it was said
        length = (
            f"{bed['edge_ft']:g} ft"
            if bed["edge_source"] == "measured"
            else write_feet(bed["edge_ft"])
        )
        for name, words in ((LENGTH, length), (DEPTH, write_feet(bed["mean_depth_ft"]))):
            base = column.y - WRITE_PITCH + 6
            paper.text(column.left + LABELS, base, words, LIST.soft)
            column.blank(f"{name} {letter_of(at)}", start=MEASURED, end=MEASURED_END, unit="ft")
    for blank in BLANKS:
        _blank(column, blank)


def _blank(column: Column, blank: Blank) -> None:
    if blank.words:
        column.choices(blank.name, blank.words, start=LABELS)
    elif blank.unit:
        column.blank(blank.name, start=LABELS, end=SHORT_END, unit=blank.unit)
    else:
        column.blank(blank.name, start=LABELS)


def _prices(column: Column, visit: Visit) -> None:
    column.section("Price to say, before tax")
    shown = [finish for finish in FINISHES if finish in visit.prices]
    wide = (column.width - 44) / len(shown)
    letters = " + ".join(letter_of(at) for at in range(len(visit.beds)))
    tracks = [Track(letters, 0, 44)] + [
        Track(FINISH_WORDS[finish], 44 + at * wide, 44 + (at + 1) * wide, "right")
        for at, finish in enumerate(shown)
    ]
    column.heads(tracks)
    for row in visit.prices.to_dict("records"):
        cells = [usd_said(int(row[finish])) if pd.notna(row[finish]) else "" for finish in shown]
        is_drawn = bool(row["is_drawn"])
        column.row(
            tracks,
            [write_feet(row["length_ft"]), *cells],
            bold=is_drawn,
            shaded=is_drawn,
            pitch=PRICE_PITCH,
        )
    depths = " and ".join(dict.fromkeys(write_feet(bed["mean_depth_ft"]) for bed in visit.beds))
    is_measured = any(bed["edge_source"] == "measured" for bed in visit.beds)
    column.words(
        f"Shaded: as {'measured' if is_measured else 'drawn'}. Add {write_usd(visit.head_cents)} for each sprinkler head beyond those counted. "
        f"Deeper or shallower than {depths}: ask the office.", HINT,
    )  # fmt: skip
    column.gap(4)


def _said(column: Column) -> None:
    column.section("What they said")
    for words, start in zip(ENDINGS, ENDING_STARTS, strict=True):
        base = column.y - WRITE_PITCH + 6
        column.paper.tick(column.left, base - 1.2)
        column.paper.text(column.left + 14, base, words, LIST)
        column.paper.write_here(column.left + 14 + start, base, column.right)
        column.gap(WRITE_PITCH)
    column.blank(NOTE.name, start=26)
