"""Tell what the months to come may bring: ``forecast``, and what it shares with ``promo``."""

from __future__ import annotations

from datetime import date, timedelta

import click
import pandas as pd

from scanner.book.capacity import CAPACITY_FILE, read_capacity, tell_missing
from scanner.calls.chance import Stages
from scanner.calls.fees import annual_fees
from scanner.calls.forecast import Delays, Forecast
from scanner.calls.leads import list_leads
from scanner.calls.learning import learn_stages
from scanner.calls.outlooks import Weeks, free_and_on, list_months, list_outlooks, sold_cents
from scanner.calls.post import learn_letters
from scanner.cli.keeping import scanned
from scanner.cli.options import Asked, command, open_day_option
from scanner.cli.talk import say, tell
from scanner.ground.record.old_beds import list_old_beds
from scanner.job.care import plan_care
from scanner.pages.forecast_page import ForecastTables, answer_words, forecast_html, forecast_json
from scanner.pages.plan_page import write_day
from scanner.pages.publish import publish_files
from scanner.schema.documents import Book, RateBook, Scan, Season
from scanner.sheets.cells import json_value
from scanner.sheets.problems import faults_of
from scanner.store.land import no_features

FORECAST_PAGE = "forecast.html"
MONTHS_AHEAD = 4
"""A forecast reaches to the end of the fourth month, this one counted, unless a day is named."""

LONGEST_DAYS = 731


calls_option = click.option(
    "--calls-a-week", metavar="N", type=click.FloatRange(min=0),
    help="Calls a week, tries again among them.  [default: the rate book's]",
)  # fmt: skip


@command("out", "today", "json")
@open_day_option("--until", help="Last day of the forecast.  [default: end of the fourth month]")
@calls_option
def forecast(asked: Asked, until: date | None, calls_a_week: float | None) -> int:
    """Tell what BOOK may sell in the months to come, and what of it the crews can build.

    From what is sold, quoted and agreed, and so many calls a week down the list, with the
    free days of capacity.csv. Writes forecast.html.
    """
    today = asked.today
    until = until or _end_of_month(today, MONTHS_AHEAD)
    if not today <= until <= today + timedelta(days=LONGEST_DAYS):
        message = (
            f"{until} is not within two years from {today}: name a later day that is not that far"
        )
        raise click.BadParameter(message, param_hint="--until")
    weeks, capacity = Weeks(today, until), read_capacity(asked.book)
    with scanned(asked) as (read, season, found):
        tables = _tables(read, found, season, weeks=weeks, calls_a_week=calls_a_week, free=capacity)
        html = forecast_html(found, tables)
        file = publish_files({FORECAST_PAGE: html.encode()}, asked.folder)[0]
        tell(json_value(forecast_json(found, tables)) if asked.as_json else str(file))
    say(answer_words(tables))
    for sentence in tables.notes:
        say(sentence)
    return len(faults_of(capacity[1]))


def _end_of_month(day: date, months: int) -> date:
    for _ in range(months):
        day = (day.replace(day=1) + timedelta(days=32)).replace(day=1)
    return day - timedelta(days=1)


def named_rates(found: Scan, calls_a_week: float | None) -> RateBook:
    """Put the calls a week that were named in place of the rate book's."""
    rate = found.rates.calls_a_week
    named = rate.model_copy(update={"value": rate.value if calls_a_week is None else calls_a_week})
    return found.rates.model_copy(update={"calls_a_week": named})


def learned_leads(
    read: Book, found: Scan, season: Season, *, with_letters: bool = False
) -> tuple[Stages, pd.DataFrame]:
    """Learn the stages of a sale, and put every client at his."""
    fees = annual_fees(read.clients, rates=read.rates)
    stages = learn_stages(season, fees, rates=read.rates, today=found.today)
    stages = learn_letters(stages, season.letters, today=found.today, rates=read.rates)
    return stages, list_leads(found, season, with_letters=with_letters)


def _tables(
    read: Book,
    found: Scan,
    season: Season,
    *,
    weeks: Weeks,
    calls_a_week: float | None,
    free: tuple[pd.DataFrame, pd.DataFrame],
) -> ForecastTables:
    rates = named_rates(found, calls_a_week)
    stages, leads = learned_leads(read, found, season)
    ahead = Forecast(
        leads, stages, Delays.of(stages, rates), today=weeks.day(found.today),
        calls_a_week=rates.calls_a_week.value, week_count=weeks.count,
    )  # fmt: skip
    capacity, problems = free
    built = list_old_beds(no_features(), season.beds, season.answers.head(0))
    care = plan_care(built, read.clients, {}, rates=rates)
    return ForecastTables(
        until=weeks.until,
        calls_a_week=rates.calls_a_week.value,
        stages=list_outlooks(ahead, weeks, by="stage"),
        routes=list_outlooks(ahead, weeks, by="route"),
        months=list_months(ahead, weeks, free_and_on(capacity, weeks)),
        sold_cents=sold_cents(ahead),
        care_cents=int(care["price_cents"].fillna(0).sum()),
        notes=tuple(_notes_ahead(capacity, problems, weeks)),
    )


def _notes_ahead(capacity: pd.DataFrame, problems: pd.DataFrame, weeks: Weeks) -> list[str]:
    """Say the same for a forecast, which goes on beyond the file."""
    if capacity.empty:
        return [
            *tell_missing(
                capacity, problems, weeks.mondays[0], weeks.mondays[0] - timedelta(days=1)
            ),
            f"No free crew-days are known ({CAPACITY_FILE}: week, crew, free_crew_days), so nothing caps what is built.",
        ]
    begin, end = (date.fromisoformat(capacity["week"].agg(which)) for which in ("min", "max"))
    notes = tell_missing(
        capacity, problems, max(begin, weeks.mondays[0]), min(end, weeks.mondays[-1])
    )
    if weeks.mondays[-1] > end:
        notes.append(
            f"{CAPACITY_FILE} ends with the week of {write_day(end)}; its mean goes on after that."
        )
    return notes
