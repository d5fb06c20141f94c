"""
What a week begins with: whom to call back, visits, quotes, jobs to schedule and to settle, the best new calls.

Every line has its next step. A client stands in one section: the one nearest to the money.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from datetime import date, timedelta
from typing import Any

import pandas as pd

from scanner.calls.history import tell_history
from scanner.calls.leads import coming_monday
from scanner.calls.quotes import LAPSED, quote_states
from scanner.calls.trials import OPEN, QUOTE_DAYS, list_trials
from scanner.schema.documents import RateBook, Season
from scanner.schema.plan_tables import WEEK_LINES
from scanner.schema.tables import check_table
from scanner.units import DAYS_PER_WEEK

CALL_BACK, VISIT, QUOTE, SOLD, NOT_MARKED, TO_BUILD, BUILT, NEW = (
    "call back", "visit", "quote", "sold", "not marked", "to build", "built", "new call",
)  # fmt: skip
SECTIONS = (CALL_BACK, VISIT, QUOTE, SOLD, NOT_MARKED, TO_BUILD, BUILT, NEW)

OPEN_DAYS = 10
"""A quote is asked after when it has been open for longer (our rule, no source)."""

NEW_COUNT = 10
"""So many new calls stand on the page (our rule)."""

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


def list_week(
    season: Season, to_call: pd.DataFrame, clients: pd.DataFrame, *, rates: RateBook, today: date
) -> tuple[pd.DataFrame, int]:
    """List the lines of a week, and count the quotes that are too young to ask after.

    `to_call` is today's list of calls, best first, those left out aside; `clients` the client list.
    The lines are a table `WEEK_LINES`: by section, the longest overdue first.
    """
    last_day = (coming_monday(today) + timedelta(days=DAYS_PER_WEEK - 1)).isoformat()
    quotes = list_trials(season.calls, today=today).quotes
    quotes = quotes[quotes["end"] == OPEN]
    old = quotes[quotes["open_days"] > OPEN_DAYS]
    rows = [
        *_jobs(season, today),
        *_quotes(old, season, today),
        *_visits(season, quotes, last_day, today),
    ]
    settled = {row.client_id for row in rows}
    rows += [row for row in _call_backs(season, rates, last_day) if row.client_id not in settled]
    settled = {row.client_id for row in rows}
    fresh = to_call[(to_call["last_called_on"] == "") & ~to_call["client_id"].isin(settled)]
    rows += [
        Line(NEW, call["client_id"], "", call["offer"], _tell(call["client_id"]), call["bed_ids"])
        for call in fresh.head(NEW_COUNT).to_dict("records")
    ]
    lines = pd.DataFrame([asdict(row) for row in rows], columns=[*WEEK_LINES.columns])
    lines = lines[lines["client_id"].isin(clients["client_id"])]
    place = lines["section"].map({name: number for number, name in enumerate(SECTIONS)})
    # New calls keep the order of the list
    day = lines["day"].where(lines["section"] != NEW, "")
    ordered = lines.assign(_place=place, _day=day).sort_values(["_place", "_day"], kind="stable")
    return check_table(
        ordered[[*WEEK_LINES.columns]].reset_index(drop=True), WEEK_LINES
    ), len(quotes) - len(old)  # fmt: skip


def _tell(client_id: str, outcome: str = "OUTCOME") -> str:
    return f"record BOOK calls {client_id} {outcome}"


def _jobs(season: Season, today: date) -> list[Line]:
    """Sales that wait for a week, for the marks or to be built, and built ones of which nobody wrote the hours down."""
    hours = season.job_tasks.groupby("job_id")["actual_hours"].count()
    sold = season.calls[season.calls["outcome"] == "sold"]
    sold_on = sold.groupby("client_id")["called_on"].max()
    rows = list[Line]()
    for job in season.jobs.to_dict("records"):
        name = {
            "bed_ids": job["bed_ids"],
            "number": job["job_id"],
            "price_cents": job["sold_cents"],
        }
        if not job["built_on"]:
            day = str(sold_on.get(job["client_id"], ""))
            steps = _steps_of(job["client_id"], job["job_id"], season, today)
            rows += [
                Line(section, job["client_id"], day, step, command, **name)
                for section, step, command in steps
            ]
        elif not hours.get(job["job_id"], 0):
            command = f"record BOOK job {job['job_id']} --hours TASK=HOURS"
            rows.append(Line(BUILT, job["client_id"], job["built_on"], "Ask the crew for the hours", command, **name))  # fmt: skip
    last = sold.sort_values(["called_on", "entry_id"]).groupby("client_id").last()
    for client_id, call in last[~last.index.isin(season.jobs["client_id"])].iterrows():
        steps = _steps_of(str(client_id), "", season, today)
        since = date.fromisoformat(call["called_on"]) - timedelta(days=QUOTE_DAYS)
        said = last_said(season.calls, str(client_id), since=since.isoformat())
        rows += [Line(section, str(client_id), call["called_on"], step, command, **said) for section, step, command in steps]  # fmt: skip
    return rows


def last_said(calls: pd.DataFrame, client_id: str, *, since: str) -> dict[str, Any]:
    """Give ``bed_ids`` and ``price_cents`` of the last talk that told of either: a price goes with the beds of its own talk only."""
    own = calls[calls["client_id"].eq(client_id) & calls["outcome"].isin(("quoted", "sold")) & calls["called_on"].ge(since)]  # fmt: skip
    own = own[own["price_cents"].gt(0) | own["bed_ids"].ne("")].sort_values(["called_on", "entry_id"])  # fmt: skip
    told = own[["bed_ids", "price_cents"]].tail(1).to_dict("records")
    return {str(name): value for row in told for name, value in row.items()}


def _steps_of(
    client_id: str, job_id: str, season: Season, today: date
) -> list[tuple[str, str, str]]:
    """Say in which section a sale that is not built stands, what comes next and its command; nothing while its week is far."""
    weeks = season.schedule
    own = weeks[weeks["client_id"].eq(client_id) & weeks["job_id"].eq(job_id)]["week"]
    name, built = job_id or client_id, f"record BOOK job {job_id or 'BED'} --built DATE"
    if own.empty:
        return [(SOLD, "Give it a week; ask for the locating marks before that", f"record BOOK schedule {name} MONDAY")]  # fmt: skip
    week = own.iloc[0]
    if week < coming_monday(today).isoformat():
        return [(TO_BUILD, f"Its week, {week}, is over: write down the day it was built, or give it another week", built)]  # fmt: skip
    tickets = season.tickets[season.tickets["client_id"].eq(client_id)]
    end = (date.fromisoformat(week) + timedelta(days=DAYS_PER_WEEK - 1)).isoformat()
    is_marked = (tickets["dig_from"].le(end) & tickets["dig_until"].ge(week)).any()
    if week <= (today + timedelta(days=MARKS_DAYS)).isoformat() and not is_marked:
        ticket = f"record BOOK ticket {client_id} NUMBER --from DATE --until DATE"
        return [
            (
                NOT_MARKED,
                f"Call 811 for the marks: nobody may dig in the week of {week} before",
                ticket,
            )
        ]
    return (
        [(TO_BUILD, "Build it this week", built)]
        if week == coming_monday(today).isoformat()
        else []
    )


def _quotes(old: pd.DataFrame, season: Season, today: date) -> list[Line]:
    """Quotes to ask after: those that were numbered one by one, others by client."""
    states = quote_states(season.quotes, today=today)
    numbered = season.quotes[states.isin([OPEN, LAPSED])]
    rows = list[Line]()
    for trial in old.to_dict("records"):
        own = numbered[numbered["client_id"] == trial["client_id"]]
        for quote in own.to_dict("records"):
            name = {
                "bed_ids": quote["bed_ids"],
                "number": quote["quote_id"],
                "price_cents": quote["price_cents"],
            }
            step, command = "Call and ask", f"record BOOK quote {quote['quote_id']} won|lost"
            if quote["good_until"] < today.isoformat() or quote["outcome"]:
                step = f"Its price lapsed on {quote['good_until']}: call, and write it anew"
                command = f"quote BOOK {quote['client_id']}"
            rows.append(Line(QUOTE, quote["client_id"], quote["quoted_on"], step, command, **name))
        if own.empty:
            day = trial["quoted_on"].isoformat()
            said = last_said(season.calls, trial["client_id"], since=day)
            rows.append(Line(QUOTE, trial["client_id"], day, "Call and ask", _tell(trial["client_id"], "sold"), **said))  # fmt: skip
    return rows


def _visits(season: Season, quotes: pd.DataFrame, last_day: str, today: date) -> list[Line]:
    """Visits agreed for this week, or without a day, and those made that wait for their quote."""
    talks = season.calls[season.calls["called_on"].between(f"{today.year}", today.isoformat())]
    talks = talks[talks["outcome"] != "not reached"].sort_values(["called_on", "entry_id"])
    last = talks.groupby("client_id").last()
    made = season.visits.groupby("client_id")["visited_on"].max()
    rows = list[Line]()
    for client_id, talk in last[last["outcome"] == "visit"].iterrows():
        name, is_made = str(client_id), made.get(client_id, "") >= talk["called_on"]
        if name in set(quotes["client_id"]):
            continue
        if is_made:
            rows.append(Line(VISIT, name, made[name], "Visited; write the quote", f"quote BOOK {name}", talk["bed_ids"]))  # fmt: skip
        elif not talk["next_date"]:
            rows.append(Line(VISIT, name, "", "Call; settle a day for the visit", _tell(name, "visit --next DATE"), talk["bed_ids"]))  # fmt: skip
        elif talk["next_date"] <= last_day:
            step = talk["next_action"] or "Take wheel and price sheet along"
            rows.append(Line(VISIT, name, talk["next_date"], step, f"record BOOK visit {name}", talk["bed_ids"]))  # fmt: skip
    return rows


def _call_backs(season: Season, rates: RateBook, last_day: str) -> list[Line]:
    history = tell_history(season.calls, rates=rates)
    due = history[history["due_on"].between("0", last_day) & (history["last_outcome"] != "visit")]
    return [
        Line(
            CALL_BACK,
            call["client_id"],
            call["due_on"],
            call["next_action"] or "Call",
            _tell(call["client_id"]),
        )
        for call in due.to_dict("records")
    ]
