"""Write it down: what comes between a quote and its job, ``record``'s words quote, schedule, ticket and letter."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import click
import pandas as pd

from scanner.calls.dig_days import last_day_to_cancel
from scanner.calls.entry_kinds import LETTER, QUOTE, SCHEDULED, TICKET
from scanner.calls.quotes import WON
from scanner.calls.to_build import list_to_build
from scanner.cli.options import Asked, command, open_day_option
from scanner.cli.recording import record_typed
from scanner.cli.talk import say
from scanner.cli.who import NO_QUOTE, NO_SALE, jobs_meant, whom
from scanner.errors import LogError
from scanner.schema.documents import Season
from scanner.schema.log_tables import LETTER_STATES, QUOTE_OUTCOMES
from scanner.sheets.days import monday_of, read_day
from scanner.units import DAYS_PER_WEEK


@command("today", "json", takes_book=False, words="How a quote ended: won, lost or lapsed.")
@click.argument("number")
@click.argument("outcome", type=click.Choice(QUOTE_OUTCOMES))
@click.option("--why", metavar="TEXT", default="", help="Why it was lost, as the client said it.")
@open_day_option("--on", help="Day on which it ended so.  [default: today]")
def quote(asked: Asked, number: str, outcome: str, why: str, on: date | None) -> int:
    """Record how the quote NUMBER, like Q2026-014, ended.

    One that was won is the job sold: it stands under its own number until the job is recorded.
    """
    season = asked.season
    ended = end_quote(season, number, outcome, on, asked.today).assign(why=why)
    parts = tasks_of(season, ended)
    return record_typed(QUOTE, ended.iloc[0].to_dict(), asked, parts=parts)


def end_quote(
    season: Season, number: str, outcome: str, day: date | None, today: date
) -> pd.DataFrame:
    """Give the quote of a number as it ended on a day; `LogError` where it cannot have.

    Without a day it ended today; one that ended so before stays as it is told there.
    """
    quotes = season.quotes
    told = quotes[quotes["quote_id"] == f"Q{number.upper().removeprefix('Q')}"]
    if told.empty:
        raise LogError(NO_QUOTE.format(number=number))
    row = told.iloc[0]
    if day is None:
        day = date.fromisoformat(row["ended_on"]) if row["outcome"] == outcome else today
    _check_day(day, today, since=row["quoted_on"], what=f"quote {row['quote_id']} was written")
    if outcome == WON and row["good_until"] < day.isoformat():
        message = (
            f"quote {row['quote_id']} lapsed on {row['good_until']}: its price holds no longer. Write it anew, or give "
            "the day on which it was signed with --on"
        )
        raise LogError(message)
    if outcome == WON:
        _check_free(row, season.jobs)
    return told.assign(outcome=outcome, ended_on=day.isoformat())


def tasks_of(season: Season, quotes: pd.DataFrame) -> pd.DataFrame:
    """Give the estimates behind quotes."""
    return season.quote_tasks[season.quote_tasks["quote_id"].isin(quotes["quote_id"])]


def _check_free(quote: pd.Series[Any], jobs: pd.DataFrame) -> None:
    """Refuse to sell a bed twice: two open quotes may name the same one."""
    others = jobs[jobs["job_id"] != quote["quote_id"]]
    sold_in = {
        bed_id: job_id
        for job_id, bed_ids in zip(others["job_id"], others["bed_ids"], strict=True)
        for bed_id in bed_ids.split()
    }
    for bed_id in quote["bed_ids"].split():
        if other := sold_in.get(bed_id):
            message = (
                f"bed {bed_id} of quote {quote['quote_id']} is sold already with {other}: record this quote lost, or take "
                f"that sale back first, client BOOK {quote['client_id']} tells its number for record BOOK undo NUMBER"
            )
            raise LogError(message)


@command("today", "json", takes_book=False, words="The week in which a sold job is to be built.")
@click.argument("who")
@click.argument("week")
def schedule(asked: Asked, who: str, week: str) -> int:
    """Put what WHO bought, a client or the number of a job, into the week of the day WEEK."""
    day = read_day(week)
    if day is None:
        message = f"'{week}' is no day: name a week by one, like 2026-04-13"
        raise click.BadParameter(message, param_hint="WEEK")
    coming_week(day, asked.today)
    sale = sale_of(asked, who)
    return record_typed(SCHEDULED, give_week(sale, day, asked.today), asked)


def give_week(sale: dict[str, str], day: date, today: date) -> dict[str, str]:
    """Put a sale into the week of a day, a row of `SCHEDULE`; `LogError` where it cannot be built then."""
    monday = coming_week(day, today)
    last = last_day_to_cancel(date.fromisoformat(sale["sold_on"]))
    if monday + timedelta(days=DAYS_PER_WEEK - 1) <= last:
        message = f"the sale may be canceled through {last} (16 CFR 429): begin no earlier than the day after"
        raise LogError(message)
    if monday <= last:
        say(f"The sale may be canceled through {last} (16 CFR 429): begin after that day.")
    return {"client_id": sale["client_id"], "job_id": sale["job_id"], "week": monday.isoformat()}


def coming_week(day: date, today: date) -> date:
    """Give the Monday of a day's week; `LogError` where that is over."""
    monday = monday_of(day)
    if monday < monday_of(today):
        message = f"the week of {monday} is over"
        raise LogError(message)
    return monday


def sale_of(asked: Asked, who: str) -> dict[str, str]:
    """Find the sale of a client, or of a job by its number: ``client_id``, ``job_id`` (blank: its call alone is on record), ``sold_on``."""
    season = asked.season
    client_id, own = jobs_meant(who, season.jobs[season.jobs["built_on"] == ""], asked)
    sold = season.calls[
        season.calls["client_id"].eq(client_id) & season.calls["outcome"].eq("sold")
    ]
    has_other = season.jobs["client_id"].eq(client_id).any()
    if own.empty and (sold.empty or has_other):
        raise LogError(NO_SALE.format(client_id=client_id))
    return {
        "client_id": client_id,
        "job_id": "".join(own["job_id"]),
        "sold_on": sold["called_on"].max(),
    }


@command("today", "json", takes_book=False, words="A ticket of the locating service.")
@click.argument("who")
@click.argument("number")
@open_day_option("--from", "dig_from", help="First day on which digging is allowed.")
@open_day_option("--until", "dig_until", help="Last day on which the marks hold.")
def ticket(
    asked: Asked, who: str, number: str, dig_from: date | None, dig_until: date | None
) -> int:
    """Record the ticket NUMBER that the locating service gave for WHO's lot: when digging is allowed."""
    if dig_from is None or dig_until is None or dig_from > dig_until:
        message = "give both days of the ticket, --from DATE --until DATE, the earlier one first"
        raise click.UsageError(message)
    client_id = whom(asked, who)
    row = {
        "client_id": client_id, "ticket": number.strip(), "dig_from": dig_from.isoformat(),
        "dig_until": dig_until.isoformat(),
    }  # fmt: skip
    fault_count = record_typed(TICKET, row, asked)
    if client_id in set(list_to_build(asked.season)["client_id"]):
        return fault_count
    say(
        f"Nothing that {client_id} bought waits to be built: look whether it is the right client, else record the sale, too."
    )
    return 1


@command(
    "today",
    "json",
    takes_book=False,
    words="A letter: sent, or the client asked for a visit after it.",
)
@click.argument("who")
@click.argument("state", type=click.Choice(LETTER_STATES), metavar="sent|asked")
@open_day_option("--on", help="Day on which it was sent, or the client asked.  [default: today]")
@open_day_option("--wave", help="Day of its wave.  [default: the day it was sent]")
def letter(asked: Asked, who: str, state: str, on: date | None, wave: date | None) -> int:
    """Record that a letter went to WHO, or that WHO asked for a visit after one."""
    client_id, letters = whom(asked, who), asked.season.letters
    today, day = asked.today, on or asked.today
    sent = letters[letters["client_id"].eq(client_id) & letters["letter"].eq("sent")]
    wave_on = (wave or day).isoformat()
    if state == "asked":
        waves = {*sent["wave_on"]} & ({wave_on} if wave else {*sent["wave_on"]})
        if not waves:
            message = f"no letter to {client_id} is on record: record it as sent first"
            raise LogError(message)
        wave_on = max(waves)
        _check_day(day, today, since=wave_on, what="the letter went out")
    else:
        _check_day(day, today)
    row = {"client_id": client_id, "wave_on": wave_on, "letter": state, "told_on": day.isoformat()}
    return record_typed(LETTER, row, asked)


def _check_day(day: date, today: date, *, since: str = "", what: str = "") -> None:
    if day > today:
        message = f"{day} is after today, {today}"
        raise LogError(message)
    if day.isoformat() < since:
        message = f"{day} is before {what}, on {since}"
        raise LogError(message)
