"""Sheets that people fill in or keep: the client list, edges, visits, jobs, the checklist, lots to choose."""

from __future__ import annotations

from dataclasses import replace

from scanner.schema.book_tables import CLIENTS, MEASURED
from scanner.schema.log_tables import QUESTIONS, QUOTE_OUTCOMES
from scanner.sheets.description import (
    DATE,
    DAY,
    NUMBER,
    WHOLE,
    WORD,
    YEARS_BUILT,
    YES_NO,
    Column,
    Sheet,
    table_columns,
)
from scanner.sheets.lists import ADDRESS, CALL_LIST, CLIENT_ID, MAILING, NAME, STOP, plain

CLIENT_SHEET = Sheet("Clients", table_columns(
    CLIENTS, Column("year_built", WHOLE, *YEARS_BUILT), Column("client_since", DATE), Column("last_contact", DATE),
    # a do-not-call that can't be read must not lead to a call
    Column("do_not_call", WORD, choices=YES_NO, doubtful="yes"),
))  # fmt: skip

_EDGE = tuple(
    replace(column, unit="ft" if column.kind == NUMBER else "")
    for column in table_columns(MEASURED) if column.name not in ("bed_id", "measured_on", "row")
)  # fmt: skip
MEASURED_SHEET = Sheet("Measured", _EDGE)

MOST_FREE_DAYS = 1_000.0
"""More days than all crews of a large company have in a week (starting value, no source)."""

CAPACITY_SHEET = Sheet("Capacity", (
    Column("week", DAY), Column("crew"), Column("free_crew_days", NUMBER, most=MOST_FREE_DAYS),
), needs=("week", "free_crew_days"))  # fmt: skip

EDGE_CELLS = ("along", "length_ft", "room_ft", "openings_ft")
VISIT_SHEET = Sheet("Visits", (
    CLIENT_ID, NAME, Column("visited_on", DAY), Column("visited_by"), Column("note"),
    *(column for column in _EDGE if column.name in EDGE_CELLS), Column("bed_id"),
), needs=("client_id", "visited_on"))  # fmt: skip

MOST_HOURS, MOST_USD = 10_000.0, 10_000_000.0
"""More than any bed takes (starting values, no source)."""

JOB_SHEET = Sheet("Jobs", (
    Column("job_id"), CLIENT_ID, Column("bed_ids"), Column("finish"), Column("method"),
    Column("built_on"), Column("sold_usd", NUMBER, most=MOST_USD),
    Column("invoiced_usd", NUMBER, most=MOST_USD), Column("note"), Column("task"),
    Column("actual_hours", NUMBER, most=MOST_HOURS), Column("actual_usd", NUMBER, most=MOST_USD),
), needs=("bed_ids", "built_on", "task"))  # fmt: skip

SALES_SHEET = Sheet("Sales", (
    Column("job_id", also=("quote_id", "quote", "job", "number")), CLIENT_ID, NAME,
    Column("outcome", WORD, choices=QUOTE_OUTCOMES, is_filled_in=True), Column("ended_on", DAY, is_filled_in=True),
    Column("why", is_filled_in=True), Column("week", DAY, is_filled_in=True), Column("ticket", is_filled_in=True),
    Column("dig_from", DAY, is_filled_in=True), Column("dig_until", DAY, is_filled_in=True),
), needs=("job_id",), needs_one=("ended_on", "week", "ticket"))  # fmt: skip
"""What comes between a quote and its job: how each quote ended, the week of each job, its locating ticket."""

LIKELY = ("likely_1", "likely_2", "likely_3")
CHOICES = Sheet("Unmatched", (
    CLIENT_ID, NAME, ADDRESS, *plain("parcel_id why"), Column("choice", is_filled_in=True),
    *(Column(name) for likely in LIKELY for name in (likely, f"{likely}_address")),
), needs=("client_id", "choice"))  # fmt: skip
"""Clients without a lot, each with its likeliest ones."""

SCALE_WORDS = "0 good, 1 thin or dry, 2 weeds or moss, 3 bare"
"""What the steps mean, above the boxes of each page."""

_SCALE = ("0", "1", "2", "3")


def _asked(name: str, heading: str, hint: str, *, most: float = 0.0, unit: str = "") -> Column:
    """Describe a question: a number up to ``most``, or yes or no."""
    kind = WORD if not most else WHOLE if unit == "heads" else NUMBER
    choices = () if most else YES_NO
    return Column(name, kind, most=most, choices=choices, unit=unit, heading=heading, hint=hint, width=11, is_filled_in=True)  # fmt: skip


def _scale(name: str, heading: str, hint: str) -> Column:
    return replace(_asked(name, heading, hint), kind=WHOLE, most=3, choices=_SCALE)


ASKED = (
    _asked("turf to curb", "Turf up to the curb?",
           "The mower goes all the way to the curb: no bed, gravel or paving comes first."),
    _asked("turf to house", "Turf up to the house front?", "The mower goes all the way to the front wall."),
    _scale("curb condition", "Look of the edge at the curb", f"{SCALE_WORDS}; good is as good as the rest."),
    _scale("house condition", "Look of the edge at the house", "The same scale, along the front wall."),
    _asked("heads along edge", "Sprinkler heads along both edges",
           "Count those within a long step of the curb and of the front wall. None: 0.", most=200, unit="heads"),
    _asked("drive width ft", "Drive width at the curb",
           "Where it is widest. A long step is about 3 ft. No drive: 0.", most=100, unit="ft"),
    _asked("curbed", "Street has a curb?", "No: the pavement just ends in the grass."),
    _asked("slope percent", "Slope of the front", "Feet of fall over 10 ft, times 10. Flat: 0.", most=100, unit="%"),
    _asked("gate width in", "Gate width",
           "The narrowest that a machine must get through to the back. No fence: leave it blank.", most=240, unit="in"),
    _asked("has bed", "Has a bed already?", "Any planted or mulched bed at the curb or the house front."),
)  # fmt: skip
"""What a crew answers about a lot in half a minute, in the order in which it walks: curb, front, gate."""

CHECKLIST = Sheet("Checklist", (
    Column("route", width=10), Column("mow_day", width=11), STOP, CLIENT_ID, NAME, ADDRESS,
    Column("seen_on", DAY, width=12, is_filled_in=True), *ASKED,
), needs=("client_id",), needs_one=("seen_on", *QUESTIONS), kept_count=6, row_height=26)  # fmt: skip

KINDS = {
    "calls": CALL_LIST, "jobs": JOB_SHEET, "visits": VISIT_SHEET, "letter": MAILING, "checklist": CHECKLIST,
    "sales": SALES_SHEET,
}  # fmt: skip
"""Sheets that people fill in and hand back, each known by its columns."""

assert tuple(question.name for question in ASKED) == QUESTIONS  # noqa: S101  # one list, two forms
