"""What a crew's sheet tells, and what its two sides share."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from scanner.pages.bed_words import letter_of
from scanner.pages.crew_words import CrewJob
from scanner.pages.drawing.scene import LotPlan
from scanner.pages.paper.column import Column
from scanner.pages.paper.sheet import Paper
from scanner.pages.plan_page import write_day
from scanner.schema.documents import Company

TRIAL = 2000.0
"""Height of the paper on which room is tried out [pt]."""


@dataclass(frozen=True)
class JobSheet:
    """What the sheet of a job tells."""

    client: dict[Any, Any]  # row of CLIENTS
    company: Company
    job_id: str
    finish: str
    days: Sequence[date]
    ticket: str  # blank: none on record
    dig_from: date | None
    dig_until: date | None
    call_by: date | None  # last day to call for a ticket; None: there is one, or nobody knows
    labor_hours: float
    crew_days: float
    hours: Sequence[tuple[str, float]]  # task as in jobs.csv, and its hours as planned
    beds: Sequence[dict[Any, Any]]  # rows of OFFER_BEDS in the order of their letters
    plan: LotPlan | None  # None: measured on foot, nothing to draw
    work: CrewJob
    cautions: Sequence[str]  # what else to mind, in sentences
    command: str  # how it is typed in
    held: str = ""  # why it begins no earlier, where the marks set its day
    known: Sequence[str] = ()  # what the office has on record of the lot


def days_words(days: Sequence[date]) -> str:
    """Say on which days a job is built."""
    first = f"{days[0]:%A}, {write_day(days[0])}"
    if len(days) == 1:
        return first
    return f"day 1 {days[0]:%a} {days[0]:%b} {days[0].day}, day {len(days)} {days[-1]:%a} {days[-1]:%b} {days[-1].day}, {days[-1].year}"


def beds_words(sheet: JobSheet) -> str:
    """Name the beds of a job by their letters."""
    letters = [letter_of(at) for at in range(len(sheet.beds))]
    return f"bed{'s' * (len(letters) > 1)} {', '.join(letters)}"


def trial_column(width: float) -> Column:
    """Begin a column on paper that nobody sees, as wide as a sheet is [pt]."""
    return Column.full(Paper((width, TRIAL + 50.0), title=""), TRIAL)
