"""
What a week begins with: whom to call back, visits, quotes, jobs to schedule and to settle, the best new calls.

Every line has its next step. A client stands in one section: the one nearest to the money.
"""

from __future__ import annotations

from datetime import date, timedelta

import pandas as pd

from scanner.calls.history import tell_history
from scanner.calls.leads import monday_of
from scanner.calls.trials import OPEN, list_trials
from scanner.schema.documents import RateBook, Season
from scanner.schema.plan_tables import WEEK_LINES
from scanner.schema.tables import check_table
from scanner.units import DAYS_PER_WEEK

CALL_BACK, VISIT, QUOTE, SOLD, BUILT, NEW = (
    "call back", "visit", "quote", "sold", "built", "new call",
)  # fmt: skip
SECTIONS = (CALL_BACK, VISIT, QUOTE, SOLD, BUILT, NEW)

OPEN_DAYS = 10
"""A quote is asked after when it has been open for longer (our rule, no source)."""

NEW_COUNT = 10
"""So many new calls stand on the page (our rule)."""

Row = tuple[str, str, str, str, str, int]
"""Section, client, day that counts, beds by name, next step, price of a job that is sold [cents]."""


def list_week(
    season: Season, to_call: pd.DataFrame, clients: pd.DataFrame, *, rates: RateBook, today: date
) -> tuple[pd.DataFrame, int]:
    """List the lines of a week, and count the quotes that are too young to ask after.

    `to_call` is today's list of calls, best first, those left out aside; `clients` the client list.
    The lines are a table `WEEK_LINES`: by section, the longest overdue first.
    """
    last_day = (monday_of(today) + timedelta(days=DAYS_PER_WEEK - 1)).isoformat()
    quotes = list_trials(season.calls, today=today).quotes
    quotes = quotes[quotes["end"] == OPEN]
    old = quotes[quotes["open_days"] > OPEN_DAYS]
    rows = [*_jobs(season), *_quotes(old), *_visits(season, quotes, last_day, today)]
    settled = {row[1] for row in rows}
    rows += [row for row in _call_backs(season, rates, last_day) if row[1] not in settled]
    settled = {row[1] for row in rows}
    fresh = to_call[(to_call["last_called_on"] == "") & ~to_call["client_id"].isin(settled)]
    rows += [
        (NEW, call["client_id"], "", call["bed_ids"], call["offer"], 0)
        for call in fresh.head(NEW_COUNT).to_dict("records")
    ]
    lines = pd.DataFrame(rows, columns=[*WEEK_LINES.columns])
    lines = lines[lines["client_id"].isin(clients["client_id"])]
    place = lines["section"].map({name: number for number, name in enumerate(SECTIONS)})
    # New calls keep the order of the list
    day = lines["day"].where(lines["section"] != NEW, "")
    ordered = lines.assign(_place=place, _day=day).sort_values(["_place", "_day"], kind="stable")
    return check_table(
        ordered[[*WEEK_LINES.columns]].reset_index(drop=True), WEEK_LINES
    ), len(quotes) - len(old)  # fmt: skip


def _jobs(season: Season) -> list[Row]:
    """Jobs that are sold and not built, and built ones of which nobody wrote the hours down."""
    hours = season.job_tasks.groupby("job_id")["actual_hours"].count()
    sold = season.calls[season.calls["outcome"] == "sold"].groupby("client_id")["called_on"].max()
    rows = list[Row]()
    for job in season.jobs.to_dict("records"):
        if not job["built_on"]:
            day, step = (
                str(sold.get(job["client_id"], "")),
                "Give it a day; ask for the locating marks before that",
            )
            rows.append((SOLD, job["client_id"], day, job["bed_ids"], step, job["sold_cents"]))
        elif not hours.get(job["job_id"], 0):
            step = "Ask the crew for the hours"
            rows.append(
                (BUILT, job["client_id"], job["built_on"], job["bed_ids"], step, job["sold_cents"])
            )
    return rows


def _quotes(old: pd.DataFrame) -> list[Row]:
    return [
        (QUOTE, str(quote["client_id"]), quote["quoted_on"].isoformat(), "", "Call and ask", 0)
        for quote in old.to_dict("records")
    ]


def _visits(season: Season, quotes: pd.DataFrame, last_day: str, today: date) -> list[Row]:
    """Visits agreed for this week, or without a day, and those made that wait for their quote."""
    talks = season.calls[season.calls["called_on"].between(f"{today.year}", today.isoformat())]
    talks = talks[talks["outcome"] != "not reached"].sort_values(["called_on", "entry_id"])
    last = talks.groupby("client_id").last()
    made = season.visits.groupby("client_id")["visited_on"].max()
    rows = list[Row]()
    for client_id, talk in last[last["outcome"] == "visit"].iterrows():
        name, is_made = str(client_id), made.get(client_id, "") >= talk["called_on"]
        if name in set(quotes["client_id"]):
            continue
        if is_made:
            rows.append((VISIT, name, made[name], talk["bed_ids"], "Visited; write the quote", 0))
        elif not talk["next_date"]:
            rows.append((VISIT, name, "", talk["bed_ids"], "Call; settle a day for the visit", 0))
        elif talk["next_date"] <= last_day:
            step = talk["next_action"] or "Take wheel and price sheet along"
            rows.append((VISIT, name, talk["next_date"], talk["bed_ids"], step, 0))
    return rows


def _call_backs(season: Season, rates: RateBook, last_day: str) -> list[Row]:
    history = tell_history(season.calls, rates=rates)
    due = history[history["due_on"].between("0", last_day) & (history["last_outcome"] != "visit")]
    return [
        (CALL_BACK, call["client_id"], call["due_on"], "", call["next_action"] or "Call", 0)
        for call in due.to_dict("records")
    ]
