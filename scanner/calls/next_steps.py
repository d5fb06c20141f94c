"""
What is quoted, sold or built and not settled: each with what it is about, and its next step.

The week's page, the list of who is under way and a client's story tell the same step.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

import pandas as pd

from scanner.calls.quotes import LAPSED, quote_states
from scanner.calls.trials import OPEN, QUOTE_DAYS, beds_said
from scanner.schema.documents import Season
from scanner.sheets.days import coming_monday, short_day
from scanner.units import DAYS_PER_WEEK, usd_said, write_usd

CALL_BACK, VISIT, QUOTE, SOLD, NOT_MARKED, TO_BUILD, BUILT, NEW = (
    "call back", "visit", "quote", "sold", "not marked", "to build", "built", "new call",
)  # fmt: skip
SECTIONS = (CALL_BACK, VISIT, QUOTE, SOLD, NOT_MARKED, TO_BUILD, BUILT, NEW)
LATER = "later"
"""Section of a sale whose week is far: none of the page."""

MARKS_DAYS = 14
"""So long before its week a job without a ticket of the locating service is asked after (our rule)."""


@dataclass(frozen=True)
class Line:
    """A row of `WEEK_LINES`."""

    section: str
    client_id: str
    day: str
    next_step: str
    command: str
    bed_ids: str = ""
    number: str = ""
    price_cents: int = 0

    @property
    def about(self) -> str:
        """Say what was quoted or sold, a price only with the beds it was said for; blank: today's offer, or nothing is on record."""
        if self.number:
            number = "" if self.number in self.bed_ids.split() else f"{self.number}: "
            return f"{number}{beds_said(self.bed_ids)}, {write_usd(self.price_cents)}"
        if self.section in (CALL_BACK, VISIT, NEW):
            return ""
        price = f"about {usd_said(self.price_cents)}" if self.price_cents else ""
        if price and not self.bed_ids:
            return f"{price}, the beds are not on record"
        return ", ".join(filter(None, (beds_said(self.bed_ids), price)))


def record_call(client_id: str, outcome: str = "OUTCOME") -> str:
    """Give the command that writes a call down."""
    return f"record BOOK calls {client_id} {outcome}"


def job_lines(season: Season, today: date) -> list[Line]:
    """Sales that wait for a week, for the marks or to be built, and built ones of which nobody wrote the hours down."""
    hours = season.job_tasks.groupby("job_id")["actual_hours"].count()
    sold = season.calls[season.calls["outcome"] == "sold"]
    sold_on = sold.groupby("client_id")["called_on"].max()
    rows = list[Line]()
    for job in season.jobs.to_dict("records"):
        name = {"bed_ids": job["bed_ids"], "number": job["job_id"], "price_cents": job["sold_cents"]}  # fmt: skip
        if not job["built_on"]:
            day = str(sold_on.get(job["client_id"], ""))
            section, step, command = _step_of(job["client_id"], job["job_id"], "", season, today)
            rows.append(Line(section, job["client_id"], day, step, command, **name))
        elif not hours.get(job["job_id"], 0):
            command = f"record BOOK job {job['job_id']} --hours TASK=HOURS"
            rows.append(Line(BUILT, job["client_id"], job["built_on"], "Ask the crew for the hours", command, **name))  # fmt: skip
    last = sold.sort_values(["called_on", "entry_id"]).groupby("client_id").last()
    for client_id, call in last[~last.index.isin(season.jobs["client_id"])].iterrows():
        since = date.fromisoformat(call["called_on"]) - timedelta(days=QUOTE_DAYS)
        said = last_said(season.calls, str(client_id), since=since.isoformat())
        section, step, command = _step_of(
            str(client_id), "", said.get("bed_ids", ""), season, today
        )
        rows.append(Line(section, str(client_id), call["called_on"], step, command, **said))
    return rows


def last_said(calls: pd.DataFrame, client_id: str, *, since: str) -> dict[str, Any]:
    """Give ``bed_ids`` and ``price_cents`` of the last talk that told of either: a price goes with the beds of its own talk only."""
    own = calls[calls["client_id"].eq(client_id) & calls["outcome"].isin(("quoted", "sold")) & calls["called_on"].ge(since)]  # fmt: skip
    own = own[own["price_cents"].gt(0) | own["bed_ids"].ne("")].sort_values(["called_on", "entry_id"])  # fmt: skip
    told = own[["bed_ids", "price_cents"]].tail(1).to_dict("records")
    return {str(name): value for row in told for name, value in row.items()}


def _step_of(
    client_id: str, job_id: str, bed_ids: str, season: Season, today: date
) -> tuple[str, str, str]:
    """Say in which section a sale that is not built stands, what comes next and its command."""
    weeks, tickets = season.schedule, season.tickets
    own = weeks[weeks["client_id"].eq(client_id) & weeks["job_id"].eq(job_id)]["week"]
    tickets = tickets[tickets["client_id"].eq(client_id) & tickets["dig_until"].ge(today.isoformat())]  # fmt: skip
    name, built = job_id or client_id, f"record BOOK job {job_id or bed_ids or 'BED'} --built DATE"
    if own.empty:
        marks = "; ask for the locating marks before that" if tickets.empty else ""
        return SOLD, f"Give it a week{marks}", f"record BOOK schedule {name} MONDAY"
    week, this_week = own.iloc[0], coming_monday(today).isoformat()
    day = short_day(week, today)
    if week < this_week:
        return TO_BUILD, f"Its week, that of {day}, is over: write down the day it was built, or give it another week", built  # fmt: skip
    end = (date.fromisoformat(week) + timedelta(days=DAYS_PER_WEEK - 1)).isoformat()
    is_marked = (tickets["dig_from"].le(end) & tickets["dig_until"].ge(week)).any()
    ticket = f"record BOOK ticket {client_id} NUMBER --from DATE --until DATE"
    if not is_marked:
        if week > (today + timedelta(days=MARKS_DAYS)).isoformat():
            return LATER, f"Its week is that of {day}; call 811 for the marks before that", ticket
        return NOT_MARKED, f"Call 811 for the marks: nobody may dig in the week of {day} without them", ticket  # fmt: skip
    if week == this_week:
        return TO_BUILD, "Build it this week", built
    return LATER, f"Its ticket is there; build it in the week of {day}", built


def quote_lines(trials: pd.DataFrame, season: Season, today: date) -> list[Line]:
    """Give the quotes of open trials: those that were numbered one by one, others by client."""
    states = quote_states(season.quotes, today=today)
    numbered = season.quotes[states.isin([OPEN, LAPSED])]
    rows = list[Line]()
    for trial in trials.to_dict("records"):
        own = numbered[numbered["client_id"] == trial["client_id"]]
        for quote in own.to_dict("records"):
            name = {"bed_ids": quote["bed_ids"], "number": quote["quote_id"], "price_cents": quote["price_cents"]}  # fmt: skip
            step, command = "Call and ask", f"record BOOK quote {quote['quote_id']} won|lost"
            if quote["good_until"] < today.isoformat() or quote["outcome"]:
                step = f"Its price lapsed on {short_day(quote['good_until'], today)}: call, and write it anew"
                command = f"quote BOOK {quote['client_id']}"
            rows.append(Line(QUOTE, quote["client_id"], quote["quoted_on"], step, command, **name))
        if own.empty:
            day = trial["quoted_on"].isoformat()
            said = last_said(season.calls, trial["client_id"], since=day)
            rows.append(Line(QUOTE, trial["client_id"], day, "Call and ask", record_call(trial["client_id"], "sold"), **said))  # fmt: skip
    return rows
