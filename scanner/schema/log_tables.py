"""Tables of the log: what was said, seen and built, as the rest of the program reads it."""

from __future__ import annotations

from dataclasses import replace

from scanner.schema.book_tables import MEASURED
from scanner.schema.columns import (
    TableSchema,
    cents_column,
    count_column,
    number_column,
    select,
    shape_column,
    text_column,
    word_column,
)
from scanner.schema.edge_kinds import ALONG
from scanner.schema.job_tables import CALLS, OFFERS
from scanner.schema.rate_book import FINISHES

OUTCOMES = (
    "not reached", "call back", "not now", "no", "visit", "quoted", "sold", "do not call",
)  # fmt: skip
"""How a call may end, in our own plain words."""

NOTE = "note"
"""What stands for an outcome where words or a day were written down and nobody was called."""

NOTED = "contact in the client list"
"""What stands for an outcome where the client list tells of a contact and the log of no later call."""

QUESTIONS = (
    "turf to curb", "turf to house", "curb condition", "house condition", "heads along edge",
    "drive width ft", "curbed", "slope percent", "gate width in", "has bed",
)  # fmt: skip
"""What a crew answers about a lot in half a minute."""

WISHES = ("sun", "plant")
"""What a client is asked before plants are named: how much sun there is, and a species liked."""

CALL_LOG = TableSchema("call_log", "Calls on record, one row an entry, reversed ones left out.", {
    "entry_id": count_column("number of the entry, in the order of recording"),
    "client_id": text_column("client called"),
    "called_on": text_column("day of the call, ISO"),
    "outcome": word_column("how it ended", OUTCOMES),
    "note": text_column("what was said"),
    "next_action": text_column("what is to be done next"),
    "next_date": text_column("when, ISO; blank: no date"),
    "bed_ids": text_column("beds that the call was about, joined by a blank"),
    "recorded_at": text_column("when it was typed in, UTC"),
    "price_cents": cents_column("price that was quoted or sold for, before tax, else the one on the list then; 0: there was none"),
})  # fmt: skip

SAID = replace(CALL_LOG, name="said", meaning="Calls on record and notes that are about no call, one row an entry, reversed ones left out.", columns={
    **CALL_LOG.columns, "outcome": word_column("how it ended; note: nobody was called", (*OUTCOMES, NOTE)),
})  # fmt: skip

ANSWERS = TableSchema("answers", "Checklist answers, the latest of each question of a client.", {
    "client_id": text_column("client whose lot was seen"),
    "question": word_column("what was asked", (*QUESTIONS, *WISHES)),
    "answer": text_column("what was answered: yes, no, a number, or words to a wish"),
    "seen_on": text_column("day on which the crew looked, ISO"),
}, unique=("client_id", "question"))  # fmt: skip

STORED_BEDS = TableSchema("stored_beds", "Beds of earlier scans, so that names and notes stay.", {
    "bed_id": text_column("name of the bed", unique=True),
    "client_id": text_column("client on whose lot it lies"),
    "along": word_column("what it runs along", ALONG),
    "area_ft2": number_column("ft2", "area when last seen"),
    "last_seen": text_column("day of the last scan that found it, ISO"),
    "built_on": text_column("day on which it was built, ISO; blank: not built"),
    "geometry": shape_column("shape when last seen, WGS 84; empty: measured on foot", "degrees"),
})  # fmt: skip

JOBS = TableSchema("jobs", "Jobs sold and built, one row a job.", {
    "job_id": text_column("number of the job", unique=True),
    "client_id": text_column("client"),
    "bed_ids": text_column("beds built, joined by a blank"),
    "finish": word_column("finish", FINISHES),
    "method": text_column("how the sod was stripped"),
    "built_on": text_column("last day on the job, ISO"),
    "area_ft2": number_column("ft2", "area as sold"),
    "quick_low_cents": cents_column("low end of the quick price that was scanned"),
    "quick_high_cents": cents_column("high end of the quick price that was scanned"),
    "sold_cents": cents_column("price as sold, before tax"),
    "invoiced_cents": cents_column("price as invoiced, before tax"),
    "note": text_column("anything worth knowing"),
})  # fmt: skip

JOB_TASKS = TableSchema("job_tasks", "Estimate and actuals of each job, one row a task or material.", {
    "job_id": text_column("job"),
    "task": text_column("task, as in LINE_ITEMS"),
    "rate_key": text_column("names in the rate book that the estimate came from, joined by *"),
    "quantity": number_column("unit", "how much was estimated"),
    "unit": text_column("unit of the quantity"),
    "estimated_hours": number_column("h", "labor estimated", known=False),
    "actual_hours": number_column("h", "labor that it took", known=False),
    "estimated_cents": cents_column("cost estimated"),
    "actual_cents": number_column("cents", "cost that it had; missing: not told", known=False),
}, unique=("job_id", "task"))  # fmt: skip

QUOTE_OUTCOMES = ("won", "lost", "lapsed")
"""How a quote ends."""

QUOTES = TableSchema("quotes", "Quotes written for clients to sign, one row a quote.", {
    "quote_id": text_column("number of the quote; of the job, once it is won", unique=True),
    **select(JOBS, "client_id"),
    "bed_ids": text_column("beds that it is about, joined by a blank, lead first"),
    **select(JOBS, "finish method area_ft2 quick_low_cents quick_high_cents"),
    "price_cents": cents_column("price on the page, before tax"),
    "quoted_on": text_column("day of the quote, ISO"),
    "good_until": text_column("last day on which its price holds, ISO"),
    "outcome": word_column("how it ended; blank: not told", ("", *QUOTE_OUTCOMES)),
    "ended_on": text_column("day on which it ended so, ISO; blank: not told"),
    "why": text_column("why it was lost, as the client said it"),
})  # fmt: skip

QUOTE_TASKS = TableSchema("quote_tasks", "Estimate behind each quote, one row a task or material.", {
    "quote_id": text_column("number of the quote"),
    **select(JOB_TASKS, "task rate_key quantity unit estimated_hours estimated_cents"),
}, unique=("quote_id", "task"))  # fmt: skip

SCHEDULE = TableSchema("schedule", "Weeks in which sold jobs are to be built, one row a job.", {
    "client_id": text_column("client"),
    "job_id": text_column("number of the job; blank: a sale of which only the call is on record"),
    "week": text_column("Monday of its week, ISO"),
}, unique=("client_id", "job_id"))  # fmt: skip

TICKETS = TableSchema("tickets", "Tickets of the locating service, one row a ticket.", {
    "client_id": text_column("client on whose lot the lines are marked"),
    "ticket": text_column("number of the ticket", least=1),
    "dig_from": text_column("first day on which digging is allowed, ISO"),
    "dig_until": text_column("last day on which the marks hold, ISO"),
}, unique=("client_id", "ticket"))  # fmt: skip

LETTER_STATES = ("sent", "asked")

LETTERS = TableSchema("letters", "Letters sent, and who asked for a visit after one, one row each.", {
    "client_id": text_column("client"),
    "wave_on": text_column("day on which its wave went out, ISO"),
    "letter": word_column("sent, or asked: the client wants a visit", LETTER_STATES),
    "told_on": text_column("day on which it was sent, or the client asked, ISO"),
}, unique=("client_id", "wave_on", "letter"))  # fmt: skip

VISITS = TableSchema("visits", "Visits to lots, one row a client and day.", {
    "entry_id": count_column("number of the first entry, in the order of recording"),
    "client_id": text_column("client whose lot was visited"),
    "visited_on": text_column("day of the visit, ISO"),
    "visited_by": text_column("who went"),
    "note": text_column("what was seen and said"),
    "recorded_at": text_column("when it was typed in, UTC"),
}, unique=("client_id", "visited_on"))  # fmt: skip

MEASUREMENTS = TableSchema("measurements", "Edges as last measured on a visit, one row an edge.", {
    **select(MEASURED, "client_id along length_ft room_ft openings_ft bed_id measured_on note"),
})  # fmt: skip

REMARKS = TableSchema("remarks", "What the office wrote into its lists beside the calls, one row a client and column.", {
    "client_id": text_column("client in whose row it stands"),
    "heading": text_column("column: one of the office's own, or one of the client list that it put right"),
    "text": text_column("what stands there"),
    "instead_of": text_column("what the client list says there; blank: it has no such column"),
}, unique=("client_id", "heading"))  # fmt: skip

PRINTED = TableSchema("printed", "What lists have shown of columns of the client list, so that an old list puts nothing right.", {
    "client_id": text_column("client"),
    "heading": text_column("column of the client list"),
    "text": text_column("what a list has shown there"),
}, unique=("client_id", "heading", "text"))  # fmt: skip

LISTED = TableSchema("listed", "What the last scan offered, one row a first-phase offer.", {
    **select(OFFERS, "offer_id client_id"),
    "scanned_on": text_column("day of that scan, ISO"),
    **select(OFFERS, "offer say bed_ids"),
    "along": text_column("what they run along, each once, joined by a blank"),
    **select(OFFERS, "area_ft2 crew_days price_cents price_low_cents price_high_cents gross_profit_cents"),
    **select(CALLS, "chance chance_low chance_high expected_profit_cents alike_clients reasons"),
    **select(OFFERS, "cautions"),
})  # fmt: skip

ALIKE = TableSchema("alike", "Who was ever listed with a neighbor who could have the same bed.", {
    "client_id": text_column("client", unique=True),
    "listed_on": text_column("day of the first scan that listed him so, ISO"),
})  # fmt: skip

LOG_TABLES = (
    CALL_LOG, SAID, ANSWERS, VISITS, MEASUREMENTS, STORED_BEDS, QUOTES, QUOTE_TASKS, JOBS, JOB_TASKS, SCHEDULE,
    TICKETS, LETTERS, REMARKS, PRINTED, LISTED, ALIKE,
)  # fmt: skip
"""All of them, in the order of the season."""
