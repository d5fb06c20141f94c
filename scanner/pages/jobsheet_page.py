"""The sheet of one job for its crew, two sides: loading and not harming, doing and reporting."""

from __future__ import annotations

from collections.abc import Iterable
from math import ceil

from scanner.pages.bed_words import bed_line, bed_names, drawn_words, letter_of
from scanner.pages.crew_words import (
    JobSheet,
    days_words,
    list_at_curb,
    list_checks,
    list_machines,
    list_materials,
    list_steps,
    list_tools,
)
from scanner.pages.drawing.lot_drawing import SCALE_LINE, Field, draw_lot
from scanner.pages.drawing.scene import Scene, set_scene
from scanner.pages.paper.column import BLANK, KNOWN, WRITE_PITCH, Column, Track
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


LEAST_PITCH, MOST_PITCH = 14.5, 21.0
"""From one line to write on to the next: as far as there is room [pt]."""
HOURS_GAP = 18.0
"""Between two columns of hours [pt]."""
BUILT_ABREAST = 4
"""Lengths to write down in a line."""


def draw_back(paper: Paper, sheet: JobSheet) -> None:
    """Draw the side on which the crew reports: hours in two columns where one is too long, a second leaf where two are."""
    column = _head_back(paper, sheet)
    done = Column.trial(paper.width)
    _draw_done(done, sheet)
    for abreast in (1, 2):
        trial = Column.trial(paper.width)
        _draw_work(trial, sheet, LEAST_PITCH, abreast)
        spare = column.room + trial.y + done.y
        if is_whole := spare >= 0.0:
            break
    spare -= 0.0 if is_whole else done.y
    lines = len([*list_steps(sheet.work)]) + len(sheet.hours) / abreast + 1
    _draw_work(column, sheet, min(MOST_PITCH, LEAST_PITCH + max(0.0, spare) / lines), abreast)
    told = f"Type it in: {sheet.command}, each task by its printed name."
    if not is_whole:
        paper.foot(told, "Back; goes on on a second leaf")
        paper.next_page()
        column = _head_back(paper, sheet)
    _draw_done(column, sheet)
    paper.foot(told, "Back" if is_whole else "Back, second leaf")


def _head_back(paper: Paper, sheet: JobSheet) -> Column:
    client = sheet.client
    area_ft2 = sum(bed["area_ft2"] for bed in sheet.beds)
    right = (
        days_words(sheet.days),
        f"{bed_names(len(sheet.beds))}, {area_ft2:,.0f} ft²",
        FINISH_LONG_WORDS[sheet.finish],
    )
    under = f"{client['address']} · back of the sheet"
    return Column.full(
        paper, paper.head(f"Job: {client['name'] or client['client_id']}", under, right)
    )


def _draw_work(column: Column, sheet: JobSheet, pitch: float, abreast: int) -> None:
    """Draw what is done and how long it takes; the pitch is that of the lines to write on [pt]."""
    column.section("Steps")
    for number, words in enumerate(list_steps(sheet.work), 1):
        column.to_tick(f"{number}  {words}", LIST, pitch=pitch)
    tracks = [
        Track("task", 0, 166), Track("planned", 166, 204, "right"), Track("took (actual_hours)", 216, 306),
        Track("what held you up", 322, column.width),
    ]  # fmt: skip
    if abreast > 1:
        tracks[2:] = [Track("took", 212, (column.width - HOURS_GAP) / 2)]
    column.section("Hours (took: actual_hours of jobs.csv)" if abreast > 1 else "Hours")
    each = ceil(len(sheet.hours) / abreast)
    start = (column.width + HOURS_GAP) / abreast
    parts = [column.part(at * start, column.width) for at in range(abreast)]
    for at, part in enumerate(parts):
        part.heads(tracks)
        for task, hours in sheet.hours[at * each :][:each]:
            part.row(tracks, [task, f"{hours:.1f} h", *[BLANK] * (len(tracks) - 2)], pitch=pitch)
    column.y = min(part.y for part in parts)
    column.rule()
    y = column.y
    column.row(
        tracks[:3], ["all", f"{sheet.labor_hours:.1f} h", BLANK], bold=True, pitch=WRITE_PITCH
    )
    column.y = y
    used, unit = f"{sheet.work.cover} used", "yd³" if sheet.work.cover == "mulch" else "ton"
    _side_by_side(column, ((322, "loads", 28, 58, ""), (390, used, 54, 82, unit)))
    if abreast > 1:
        column.blank("what held you up", start=80)


def _draw_done(column: Column, sheet: JobSheet) -> None:
    column.section("Done")
    third = column.width / 3
    parts = [column.part(at * third, (at + 1) * third - 6) for at in range(3)]
    for at, words in enumerate(list_checks(sheet.work)):
        parts[at % 3].to_tick(words)
    column.y = min(part.y for part in parts)
    letters = [letter_of(at) for at in range(len(sheet.beds))]
    for start in range(0, len(letters), BUILT_ABREAST):
        first, *more = letters[start : start + BUILT_ABREAST]
        blanks = [(0.0, f"Length built, {first}", 74.0, 114.0, "ft")]
        blanks += [(150.0 + at * 90.0, letter, 16.0, 56.0, "ft") for at, letter in enumerate(more)]
        _side_by_side(column, blanks)
    column.blank("What the client said", start=92)
    column.lines(1)
    column.signatures([("crew lead, date", 0, 250), ("client, if at home", 290, column.width)])


def _side_by_side(column: Column, blanks: Iterable[tuple[float, str, float, float, str]]) -> None:
    """Leave places to write in beside each other: where each begins, its label, from and to, and its unit."""
    ends = []
    for at, label, start, end, unit in blanks:
        part = column.part(at, column.width)
        part.blank(label, start=start, end=end, unit=unit)
        ends.append(part.y)
    column.y = min(ends)
