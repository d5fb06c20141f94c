"""A filled-in sheet of sales: how quotes ended, weeks of jobs, locating tickets, a row a quote or job."""

from __future__ import annotations

from datetime import date
from typing import Any

import pandas as pd

from scanner.calls.entry_kinds import QUOTE, SCHEDULED, TICKET, Kind
from scanner.calls.quotes import WON
from scanner.cli.options import Asked
from scanner.cli.sold import end_quote, give_week, sale_of, tasks_of
from scanner.cli.who import find_client
from scanner.errors import BookError, LogError
from scanner.schema.documents import Season
from scanner.schema.log_tables import QUOTE_OUTCOMES, QUOTES, SCHEDULE, TICKETS
from scanner.sheets.days import monday_of, read_day
from scanner.sheets.problems import Problem, fault, row_words, shown
from scanner.sheets.values import has_any

FILLED_IN = ("outcome", "ended_on", "why", "week", "ticket", "dig_from", "dig_until")
Row = dict[str, Any]


def check_sales(
    rows: pd.DataFrame, asked: Asked, file: str
) -> tuple[list[tuple[Kind, pd.DataFrame, pd.DataFrame | None]], list[Problem]]:
    """Check a sheet row by row, as its words would be typed: what is recorded of it, and a fault for each row left out."""
    season, today, problems = asked.season, asked.today, list[Problem]()
    ended, weeks, tickets = list[pd.DataFrame](), list[Row](), list[Row]()
    for label, row in rows[has_any(rows, FILLED_IN)].iterrows():
        try:
            quote = _ended(season, row, today) if row["outcome"] else None
            week = [_week(asked, row, quote)] if row["week"] else []
            marks = [_ticket(asked, row)] if row["ticket"] else []
        except (LogError, BookError) as err:
            problems.append(
                fault(file, row_words(label), f"{err}; the row is left out", "put it right, then record the sheet again",
                      client_id=row["client_id"])
            )  # fmt: skip
            continue
        ended += [] if quote is None else [quote]
        weeks += week
        tickets += marks
    quotes = pd.concat([season.quotes.iloc[:0], *ended], ignore_index=True)[[*QUOTES.columns]]
    return [
        (QUOTE, quotes, tasks_of(season, quotes)),
        (SCHEDULED, pd.DataFrame(weeks, columns=[*SCHEDULE.columns]), None),
        (TICKET, pd.DataFrame(tickets, columns=[*TICKETS.columns]), None),
    ], problems


def _ended(season: Season, row: pd.Series[Any], today: date) -> pd.DataFrame:
    """Give the quote of a row as it ended."""
    outcome = row["outcome"].casefold()
    if outcome not in QUOTE_OUTCOMES:
        message = (
            f"outcome is {shown(row['outcome'])}, one of {', '.join(QUOTE_OUTCOMES)} is allowed"
        )
        raise LogError(message)
    ended_on = _day(row, "ended_on") if row["ended_on"] else None
    return end_quote(season, row["job_id"], outcome, ended_on, today).assign(why=row["why"])


def _week(asked: Asked, row: pd.Series[Any], quote: pd.DataFrame | None) -> Row:
    """Give the week of the job that a row tells of: the quote that is won in it, else what is on record."""
    day = _day(row, "week")
    if quote is not None and quote["outcome"].iloc[0] == WON:
        won = quote.iloc[0]
        sale = {
            "client_id": won["client_id"],
            "job_id": won["quote_id"],
            "sold_on": won["ended_on"],
        }
    else:
        sale = sale_of(asked, row["job_id"] or row["client_id"] or row["name"])
    known = {
        "client_id": sale["client_id"],
        "job_id": sale["job_id"],
        "week": monday_of(day).isoformat(),
    }
    # A week that stood there before may be over by now
    is_known = (asked.season.schedule[[*known]] == pd.Series(known)).all(axis=1).any()
    return known if is_known else give_week(sale, day, asked.today)


def _ticket(asked: Asked, row: pd.Series[Any]) -> Row:
    first, last = _day(row, "dig_from"), _day(row, "dig_until")
    if first > last:
        message = f"dig_from {first} is after dig_until {last}"
        raise LogError(message)
    season = asked.season
    quotes = season.quotes.rename(columns={"quote_id": "job_id"})
    jobs = pd.concat([season.jobs, quotes])[["job_id", "client_id"]]
    own = jobs.loc[jobs["job_id"].str.casefold() == row["job_id"].casefold(), "client_id"]
    client_id = (
        own.iloc[0] if len(own) else find_client(row["client_id"] or row["name"], asked.callees)
    )
    return {
        "client_id": client_id, "ticket": row["ticket"], "dig_from": first.isoformat(),
        "dig_until": last.isoformat(),
    }  # fmt: skip


def _day(row: pd.Series[Any], name: str) -> date:
    day = read_day(row[name])
    if day is None:
        message = f"{name} is {shown(row[name])}: write a day like 2026-04-13"
        raise LogError(message)
    return day
