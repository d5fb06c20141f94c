"""
What a week begins with: whom to call back, visits, quotes, jobs to schedule and to settle, the best new calls.

Every line has its next step. A client stands in one section: the one nearest to the money.
"""

from __future__ import annotations

from dataclasses import asdict, replace
from datetime import date, timedelta

import pandas as pd

from scanner.calls.history import tell_history
from scanner.calls.next_steps import (
    CALL_BACK,
    LATER,
    NEW,
    SECTIONS,
    VISIT,
    Line,
    job_lines,
    quote_lines,
    record_call,
)
from scanner.calls.trials import OPEN, list_trials
from scanner.calls.under_way import last_talks
from scanner.schema.documents import RateBook, Season
from scanner.schema.plan_tables import WEEK_LINES
from scanner.schema.tables import check_table
from scanner.sheets.days import coming_monday
from scanner.units import DAYS_PER_WEEK

OPEN_DAYS = 10
"""A quote is asked after when it has been open for longer (our rule, no source)."""

NEW_COUNT = 10
"""So many new calls stand on the page (our rule)."""


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
    history = tell_history(season.said, rates=rates).set_index("client_id", drop=False)
    old = quotes[quotes["open_days"] > OPEN_DAYS]
    aged = (today - timedelta(days=OPEN_DAYS)).isoformat()
    rows = [
        *(row for row in job_lines(season, today) if row.section != LATER),
        *quote_lines(
            old, replace(season, quotes=season.quotes[season.quotes["quoted_on"] < aged]), today
        ),
        *_visits(season, quotes, history, last_day, today),
    ]
    settled = {row.client_id for row in rows}
    rows += [row for row in _call_backs(history, last_day) if row.client_id not in settled]
    settled = {row.client_id for row in rows}
    fresh = to_call[(to_call["last_called_on"] == "") & ~to_call["client_id"].isin(settled)]
    news = fresh.head(NEW_COUNT)[["client_id", "offer", "bed_ids"]].to_numpy().tolist()
    rows += [Line(NEW, name, "", offer, record_call(name), beds) for name, offer, beds in news]
    told = [asdict(row) | {"about": row.about} for row in rows]
    lines = pd.DataFrame(told, columns=[*WEEK_LINES.columns])
    lines = lines[lines["client_id"].isin(clients["client_id"])]
    place = lines["section"].map({name: number for number, name in enumerate(SECTIONS)})
    # New calls keep the order of the list
    day = lines["day"].where(lines["section"] != NEW, "")
    ordered = lines.assign(_place=place, _day=day).sort_values(["_place", "_day"], kind="stable")
    ordered = ordered.reset_index(drop=True)[[*WEEK_LINES.columns]]
    return check_table(ordered, WEEK_LINES), len(quotes) - len(old)


def _visits(
    season: Season, quotes: pd.DataFrame, history: pd.DataFrame, last_day: str, today: date
) -> list[Line]:
    """Visits agreed for this week, or without a day, and those made that wait for their quote."""
    last = last_talks(season, today)
    made = season.visits.groupby("client_id")["visited_on"].max()
    rows = list[Line]()
    for client_id, talk in last[last["outcome"] == "visit"].iterrows():
        name, is_made = str(client_id), made.get(client_id, "") >= talk["called_on"]
        told = history.loc[name]
        day = told["due_on"] or talk["next_date"]
        if name in set(quotes["client_id"]):
            continue
        if is_made:
            rows.append(Line(VISIT, name, made[name], "Visited; write the quote", f"quote BOOK {name}", talk["bed_ids"]))  # fmt: skip
        elif not day:
            rows.append(Line(VISIT, name, "", "Call; settle a day for the visit", record_call(name, "visit --next DATE"), talk["bed_ids"]))  # fmt: skip
        elif day <= last_day:
            step = told["next_action"] or "Take wheel and price sheet along"
            rows.append(Line(VISIT, name, day, step, f"record BOOK visit {name}", talk["bed_ids"]))  # fmt: skip
    return rows


def _call_backs(history: pd.DataFrame, last_day: str) -> list[Line]:
    due = history[history["due_on"].between("0", last_day) & (history["last_outcome"] != "visit")]
    return [
        Line(CALL_BACK, call["client_id"], call["due_on"], call["next_action"] or "Call", record_call(call["client_id"]))
        for call in due.to_dict("records")
    ]  # fmt: skip
