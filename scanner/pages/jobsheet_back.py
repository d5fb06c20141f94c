"""The back of a crew's sheet: steps, hours to fill in, what must be so before they leave."""

from __future__ import annotations

from collections.abc import Iterable
from math import ceil

from scanner.pages.bed_words import bed_names, letter_of
from scanner.pages.crew_words import JobSheet, days_words, list_checks, list_steps
from scanner.pages.paper.column import BLANK, WRITE_PITCH, Column, Track
from scanner.pages.paper.look import LIST
from scanner.pages.paper.sheet import Paper
from scanner.schema.documents import FINISH_LONG_WORDS

LEAST_PITCH, MOST_PITCH = 14.5, 21.0
"""From one line to write on to the next: as far as there is room [pt]."""
GAP = 18.0
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
        tracks[2:] = [Track("took", 212, (column.width - GAP) / 2)]
    column.section("Hours (took: actual_hours of jobs.csv)" if abreast > 1 else "Hours")
    each = ceil(len(sheet.hours) / abreast)
    start = (column.width + GAP) / abreast
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
