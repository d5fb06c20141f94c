"""The sheet of one job for its crew, two sides: loading and not harming, doing and reporting."""

from __future__ import annotations

from scanner.pages.bed_words import bed_line, bed_names, drawn_words, letter_of
from scanner.pages.crew_words import (
    JobSheet,
    days_words,
    list_at_curb,
    list_machines,
    list_materials,
    list_tools,
)
from scanner.pages.drawing.lot_drawing import SCALE_LINE, Field, draw_lot
from scanner.pages.drawing.scene import Scene, set_scene
from scanner.pages.jobsheet_back import draw_back
from scanner.pages.paper.column import KNOWN, Column
from scanner.pages.paper.look import BODY, HINT, LIST
from scanner.pages.paper.sheet import Paper
from scanner.pages.plan_page import write_day
from scanner.schema.documents import FINISH_LONG_WORDS

MOST, LEAST = 372.0, 200.0
"""How high the drawing is [pt]."""
LISTS = (
    {"Tools": list_tools}, {"Machines and trailer": list_machines, "At the curb": list_at_curb}, {"Materials": list_materials},
)  # fmt: skip
"""What stands side by side under the drawing, by its head."""

GAP = 12.0
"""Between the three lists [pt]."""

STOP_IN = 24
"""Hand digging to each side of a mark: the widest of the states' tolerances (Cal. Gov. Code 4216, F.S. 556)."""


def draw_jobsheet(sheet: JobSheet, size: tuple[float, float]) -> Paper:
    """Draw the two sides."""
    paper = Paper(size, title=f"Job {sheet.job_id}")
    _draw_front(paper, sheet)
    paper.next_page()
    draw_back(paper, sheet)
    return paper


def _draw_front(paper: Paper, sheet: JobSheet) -> None:
    client = sheet.client
    under = " · ".join(filter(None, (client["address"], client["phone"])))
    crew = f"crew of {sheet.work.rates.crew_count.value:g}"
    took = f"{sheet.labor_hours:.1f} labor-hours, {sheet.crew_days:.1f} crew-days"
    right = (days_words(sheet.days), crew, took)
    y = paper.head(f"Job: {client['name'] or client['client_id']}", under, right) - 8
    column = Column.full(paper, y)
    column.boxed(KNOWN, sheet.known)
    y = column.y
    scene = set_scene(sheet.plan) if sheet.plan is not None else None
    if scene is None:
        column.section("Beds")
        for at, bed in enumerate(sheet.beds):
            column.bed(letter_of(at), bed_line(bed), f"{bed['area_ft2']:.0f} ft²")
        column.words("Measured on foot, so nothing is drawn: lay out from the hard edge.", HINT)
        y = column.y
    else:
        trial = Column.trial(paper.width)
        _draw_under(trial, sheet, scene)
        most = max(LEAST, min(MOST, y - paper.bottom + trial.y - SCALE_LINE))
        words = [drawn_words(bed, at) for at, bed in enumerate(sheet.beds)]
        field = Field(paper.left, y, paper.right - paper.left, most, LEAST)
        y = draw_lot(paper, scene, words, field, has_small_plan=False).bottom
    _draw_under(Column.full(paper, y), sheet, scene)
    what = f"Job {sheet.job_id} · {bed_names(len(sheet.beds))} · {FINISH_LONG_WORDS[sheet.finish]}"
    paper.foot(what, "Front; steps and hours on the back")


def _draw_under(column: Column, sheet: JobSheet, scene: Scene | None) -> None:
    """Draw three lists side by side, the locating ticket under the shortest, and what must not be dug."""
    width = (column.width - 2 * GAP) / 3
    parts = [column.part(at * (width + GAP), at * (width + GAP) + width) for at in range(3)]
    for part, lists in zip(parts, LISTS, strict=True):
        for head, items in lists.items():
            part.section(head)
            for words in items(sheet.work):
                part.to_tick(words)
    _draw_ticket(max(reversed(parts), key=lambda part: part.y), sheet)
    column.y = min(part.y for part in parts)
    _draw_kept(column, sheet, scene)


def _draw_ticket(column: Column, sheet: JobSheet) -> None:
    column.section("Marked lines")
    if sheet.ticket:
        column.pair("ticket", sheet.ticket)
    else:
        column.blank("ticket", start=48)
    column.blank("marked on", start=48)
    if sheet.dig_from and sheet.ticket:
        until = f" to {write_day(sheet.dig_until)}" if sheet.dig_until else ", until when ask 811"
        column.words(f"dig from {sheet.dig_from:%B} {sheet.dig_from.day}{until}", LIST.bold)
    elif sheet.call_by:
        column.words(
            f"none on record: call 811 by {sheet.call_by:%A, %B} {sheet.call_by.day}", LIST.bold
        )
    else:
        column.words("none on record: call 811, dig only in the days that they name", LIST.bold)
    if sheet.held:
        column.words(sheet.held, LIST)


def _draw_kept(column: Column, sheet: JobSheet, scene: Scene | None) -> None:
    column.section("Do not dig, do not plant")
    for kept in scene.kept if scene else ():
        column.kept_clear(kept.number, kept.brief)
    for words in sheet.cautions:
        column.words(words, LIST)
    office = (
        f", call the office {sheet.company.phone}" if sheet.company.phone else ", call the office"
    )
    column.gap(3)
    column.words(
        f"Painted or flagged line in the way: stop, dig by hand {STOP_IN} in to each side{office}.",
        BODY.bold,
    )
