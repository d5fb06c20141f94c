"""The back of a crew's sheet: steps, hours to fill in, what must be so before they leave."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from scanner.pages.bed_words import letter_of
from scanner.pages.crew_sheet import TRIAL, JobSheet, beds_words, days_words, trial_column
from scanner.pages.crew_words import list_checks, list_steps
from scanner.pages.paper.column import BLANK, WRITE_PITCH, Column, Track
from scanner.pages.paper.look import LIST
from scanner.pages.paper.sheet import Paper
from scanner.schema.documents import FINISH_LONG_WORDS

LEAST_PITCH, MOST_PITCH = 13.5, 21.0
"""From one line to write on to the next: as far as there is room [pt]."""
BUILT_ABREAST = 4
"""Lengths to write down in a line."""


def draw_back(paper: Paper, sheet: JobSheet) -> None:
    """Draw the side on which the crew reports; a large job goes on on a second leaf."""
    column = _head_back(paper, sheet)
    steps = [*list_steps(sheet.work)]
    trial = trial_column(paper.width)
    _draw_steps(trial, sheet, steps, LEAST_PITCH)
    middle = trial.y
    _draw_done(trial, sheet)
    spare = column.room - (TRIAL - trial.y)
    is_long = spare < 0.0
    if is_long:
        spare = column.room - (TRIAL - middle)
    pitch = LEAST_PITCH + max(0.0, spare) / (len(steps) + len(sheet.hours) + 1)
    _draw_steps(column, sheet, steps, min(MOST_PITCH, pitch))
    told = f"Type it in: {sheet.command}, each task by its printed name."
    if is_long:
        paper.foot(told, "Back; goes on")
        paper.next_page()
        column = _head_back(paper, sheet)
    _draw_done(column, sheet)
    paper.foot(told, "Back, second leaf" if is_long else "Back")


def _head_back(paper: Paper, sheet: JobSheet) -> Column:
    client = sheet.client
    area_ft2 = sum(bed["area_ft2"] for bed in sheet.beds)
    right = (
        days_words(sheet.days),
        f"{beds_words(sheet)}, {area_ft2:,.0f} ft²",
        FINISH_LONG_WORDS[sheet.finish],
    )
    under = f"{client['address']} · back of the sheet"
    return Column.full(
        paper, paper.head(f"Job: {client['name'] or client['client_id']}", under, right)
    )


def _draw_steps(column: Column, sheet: JobSheet, steps: Sequence[str], pitch: float) -> None:
    """Draw what is done and how long it takes; the pitch is that of the lines to write on [pt]."""
    column.section("Steps")
    for number, words in enumerate(steps, 1):
        column.to_tick(f"{number}  {words}", LIST, pitch=pitch)
    tracks = (
        Track("task", 0, 196), Track("planned", 180, 236, "right"), Track("took (actual_hours)", 252, 336),
        Track("what held you up", 352, column.width),
    )  # fmt: skip
    column.section("Hours")
    column.heads(tracks)
    for task, hours in sheet.hours:
        column.row(tracks, [task, f"{hours:.1f} h", BLANK, BLANK], pitch=pitch)
    column.rule()
    y = column.y
    column.row(
        tracks[:3], ["all", f"{sheet.labor_hours:.1f} h", BLANK], bold=True, pitch=WRITE_PITCH
    )
    column.y = y
    _side_by_side(column, ((352, "loads", 28, 58, ""), (420, "mulch used", 54, 82, "yd³")))


def _draw_done(column: Column, sheet: JobSheet) -> None:
    column.section("Done")
    half = column.width / 2
    left, right = column.part(0, half - 6), column.part(half + 6, column.width)
    for at, words in enumerate(list_checks(sheet.work)):
        (right if at % 2 else left).to_tick(words)
    column.y = min(left.y, right.y)
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
