"""The sheet of one job for its crew, two sides: loading and not harming, doing and reporting."""

from __future__ import annotations

from scanner.pages.bed_words import bed_line, drawn_words, letter_of
from scanner.pages.crew_sheet import TRIAL, JobSheet, beds_words, days_words, trial_column
from scanner.pages.crew_words import list_at_curb, list_machines, list_materials, list_tools
from scanner.pages.drawing.lot_drawing import SCALE_LINE, Field, draw_lot
from scanner.pages.drawing.scene import Scene, set_scene
from scanner.pages.jobsheet_back import draw_back
from scanner.pages.paper.column import KNOWN, Column
from scanner.pages.paper.look import BODY, HINT, LETTER, LIST
from scanner.pages.paper.sheet import Paper
from scanner.pages.plan_page import write_day
from scanner.schema.documents import FINISH_LONG_WORDS

MOST, LEAST = 372.0, 200.0
"""How high the drawing is [pt]."""
Lists = list[list[tuple[str, list[str]]]]
"""Columns of lists, each with its head."""

GAP = 12.0
"""Between the three lists [pt]."""

STOP_IN = 24
"""Hand digging to each side of a mark: the widest of the states' tolerances (Cal. Gov. Code 4216, F.S. 556)."""


def jobsheet_pdf(sheet: JobSheet, size: tuple[float, float] = LETTER) -> tuple[bytes, set[str]]:
    """Print the sheet of a job; its bytes, and the letters that no face has."""
    paper = draw_jobsheet(sheet, size)
    return paper.finish(), paper.unwritten


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
    lists = _lists(sheet)
    if scene is None:
        column.section("Beds")
        for at, bed in enumerate(sheet.beds):
            column.bed(letter_of(at), bed_line(bed), f"{bed['area_ft2']:.0f} ft²")
        column.words("Measured on foot, so nothing is drawn: lay out from the hard edge.", HINT)
        y = column.y
    else:
        taken = _height(sheet, scene, lists, paper.width) + SCALE_LINE
        most = max(LEAST, min(MOST, y - paper.bottom - taken))
        words = [drawn_words(bed, at) for at, bed in enumerate(sheet.beds)]
        field = Field(paper.left, y, paper.right - paper.left, most, LEAST)
        y = draw_lot(paper, scene, words, field, has_small_plan=False).bottom
    y = _draw_lists(Column.full(paper, y), sheet, lists)
    column = Column.full(paper, y)
    _draw_kept(column, sheet, scene)
    what = f"Job {sheet.job_id} · {beds_words(sheet)} · {FINISH_LONG_WORDS[sheet.finish]}"
    paper.foot(what, "Front; steps and hours on the back")


def _lists(sheet: JobSheet) -> Lists:
    work = sheet.work
    return [
        [("Tools", [*list_tools(work)])],
        [("Machines and trailer", [*list_machines(work)]), ("At the curb", [*list_at_curb(work)])],
        [("Materials", [*list_materials(work)])],
    ]


def _height(sheet: JobSheet, scene: Scene, lists: Lists, width: float) -> float:
    """Say how much room lists and cautions take [pt], by writing them on paper that nobody sees."""
    trial = trial_column(width)
    end = Column.full(trial.paper, _draw_lists(trial, sheet, lists))
    _draw_kept(end, sheet, scene)
    return TRIAL - end.y


def _draw_lists(column: Column, sheet: JobSheet, lists: Lists) -> float:
    """Draw the three lists side by side, and what is known of the locating ticket under the last; where they end [y]."""
    width = (column.width - 2 * GAP) / 3
    ends = []
    for at, parts in enumerate(lists):
        part = column.part(at * (width + GAP), at * (width + GAP) + width)
        for head, items in parts:
            part.section(head)
            for words in items:
                part.to_tick(words)
        if at == len(lists) - 1:
            _draw_ticket(part, sheet)
        ends.append(part.y)
    return min(ends)


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
    column.words(
        f"Painted or flagged line in the way: stop, dig by hand {STOP_IN} in to each side{office}.",
        BODY.bold,
    )
