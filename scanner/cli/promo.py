"""Fill the crews' free weeks: ``promo``."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import click
import pandas as pd

from scanner.book.capacity import CAPACITY_FILE, read_capacity, tell_missing
from scanner.book.letter import CARD_FILE, LETTER_FILE, read_letter
from scanner.calls.outlooks import Weeks, free_by_week
from scanner.calls.waves import plan_promotion
from scanner.cli.keeping import scanned
from scanner.cli.letter_files import choose_letters, letter_files, tell_nobody
from scanner.cli.options import Asked, command
from scanner.cli.plan import calls_option, learned_leads, named_rates
from scanner.cli.talk import counted, say, tell
from scanner.errors import BookError
from scanner.pages.letters import FIELDS
from scanner.pages.plan_page import write_day, write_days
from scanner.pages.promo_page import PromoTables, promo_html, promo_json, promo_words
from scanner.pages.publish import publish_files
from scanner.schema.documents import Season
from scanner.schema.plan_tables import LETTER, SOLD
from scanner.sheets.cells import json_value
from scanner.sheets.days import monday_of
from scanner.sheets.problems import faults_of
from scanner.units import DAYS_PER_WEEK

PROMO_PAGE = "promo.html"


class _WeeksType(click.ParamType[tuple[date, date]]):
    """Two weeks, named by days in them."""

    name = "weeks"

    def convert(
        self, value: object, param: click.Parameter | None, ctx: click.Context | None
    ) -> tuple[date, date]:
        """Read both days, and give their Mondays."""
        try:
            first, last = (monday_of(date.fromisoformat(day)) for day in str(value).split(".."))
        except ValueError:
            self.fail(
                f"'{value}' is no span of weeks: write two Mondays, like 2026-04-06..2026-04-27",
                param,
                ctx,
            )
        if first > last:
            self.fail(f"{first} comes after {last}: name the first week first", param, ctx)
        return first, last


@command("paper", "out", "today", "json")
@click.option(
    "--weeks", "span", metavar="FROM..TO", required=True, type=_WeeksType(),
    help="Weeks to fill, by their Mondays, like 2026-04-06..2026-04-27.",
)  # fmt: skip
@calls_option
@click.option(
    "--letters", "with_letters", is_flag=True,
    help="Write to those whom no call reaches in time, too: letters.pdf and mailing.csv.",
)  # fmt: skip
@click.option(
    "--postcards", "with_cards", is_flag=True,
    help="The same on cards of 6 by 4 1/4 in: postcards.pdf, two sides a client, and mailing.csv.",
)  # fmt: skip
@click.option("--near", "is_near", is_flag=True, help="Whole routes first among the next clients.")
def promo(
    asked: Asked, span: tuple[date, date], calls_a_week: float | None, with_letters: bool,
    with_cards: bool, is_near: bool,
) -> int:  # fmt: skip
    """Say whom to call this week, so that what they order fits the free crew-days of BOOK.

    The free days stand in capacity.csv: week, crew, free_crew_days. Only this week's wave
    is an order; next Monday run it again. Writes promo.html.

    Letters go, in the order of the list, to those whom no call of these weeks reaches, and to
    those who asked not to be called; never to who wants none (no_mail). Their text is the
    book's letter.txt, or a standard one; of postcards postcard.txt.
    """
    book, folder, today, first = asked.book, asked.folder, asked.today, span[0]
    parts = _read_text(book, with_letters=with_letters, with_cards=with_cards)
    with_letters = bool(parts)
    capacity, problems, last, notes = _free_weeks(book, span, today)
    weeks = Weeks(today, last + timedelta(days=DAYS_PER_WEEK - 1))
    with scanned(asked) as (read, season, found):
        stages, leads = learned_leads(read, found, season, with_letters=True)
        leads, told = _without_earlier(leads, season, first, today)
        notes += told
        free_days = free_by_week(capacity[capacity["week"] >= first.isoformat()], weeks)
        rates = named_rates(found, calls_a_week)
        if with_letters:
            leads, told = choose_letters(found, leads, stages, weeks, free_days, rates)
            notes += told
        else:
            leads = leads[(leads["stage"] != LETTER) | leads["day"].notna()].reset_index(drop=True)
        planned = plan_promotion(leads, stages, weeks, free_days, rates=rates, is_near=is_near)
        if planned.is_late_to_write:
            notes.append(
                f"It is too late for letters: more than half of what they sell would start after the week of {write_day(last)}."
            )
        tables = PromoTables(
            first=first, last=last, planned=planned, calls_a_week=rates.calls_a_week.value, notes=tuple(notes),
            letter_chance=stages.written[0] if with_letters else 0.0,
        )  # fmt: skip
        files = dict[str, bytes]()
        if tables.asked(LETTER):
            files, told = letter_files(found, tables, parts, asked.paper, is_card=with_cards)
            tables = replace(tables, files=tuple(files), notes=(*notes, *told))
        elif with_letters:
            tables = replace(tables, notes=(*notes, *tell_nobody(folder)))
        files[PROMO_PAGE] = promo_html(found, tables).encode()
        written = publish_files(files, folder, mark=today.isoformat())
        tell(
            json_value(promo_json(found, tables)) if asked.as_json else "\n".join(map(str, written))
        )
        say(promo_words(found, tables))
    for sentence in tables.notes:
        say(sentence)
    return len(faults_of(problems))


def _read_text(book: Path, *, with_letters: bool, with_cards: bool) -> list[str]:
    """Read the text that is sent, as `read_letter` does; nothing where none is."""
    if with_letters and with_cards:
        message = "a client gets a letter or a postcard: name one of --letters and --postcards"
        raise click.UsageError(message)
    if not with_letters and not with_cards:
        return []
    return read_letter(book, FIELDS, CARD_FILE if with_cards else LETTER_FILE)


def _without_earlier(
    leads: pd.DataFrame, season: Season, first: date, today: date
) -> tuple[pd.DataFrame, list[str]]:
    """Leave out clients all of whose jobs have weeks before the first: they take the free days of those."""
    jobs = season.jobs[season.jobs["built_on"] == ""]
    jobs = jobs.merge(season.schedule, on=["client_id", "job_id"], how="left")
    is_earlier = jobs["week"].between(
        monday_of(today).isoformat(), (first - timedelta(days=1)).isoformat()
    )
    is_earlier = is_earlier.groupby(jobs["client_id"]).all()
    earlier = leads["client_id"].isin(is_earlier.index[is_earlier]) & (leads["stage"] == SOLD)
    if not earlier.any():
        return leads, []
    own = leads[earlier]
    note = (
        f"{counted(len(own), 'client')} with {write_days(own['crew_days'].sum())} crew-days sold {'has a week' if len(own) == 1 else 'have weeks'} "
        f"before that of {write_day(first)}: that work takes the days of those weeks."
    )
    return leads[~earlier].reset_index(drop=True), [note]


def _free_weeks(
    book: Path, span: tuple[date, date], today: date
) -> tuple[pd.DataFrame, pd.DataFrame, date, list[str]]:
    first, last = span
    if last < monday_of(today):
        message = f"the weeks until {last} are over"
        raise BookError(message)
    capacity, problems = read_capacity(book)
    if capacity.empty:
        message = f"{book / CAPACITY_FILE} is needed: three columns, week (a Monday), crew, free_crew_days"
        raise BookError(message)
    notes = tell_missing(capacity, problems, first, last)
    free = capacity.loc[
        (capacity["free_crew_days"] > 0)
        & capacity["week"].between(first.isoformat(), last.isoformat()),
        "week",
    ]
    if len(free) and (end := date.fromisoformat(free.max())) < last:
        notes.append(
            f"No day is free after the week of {write_day(end)}, so the work has to fit until then."
        )
        last = end
    return capacity, problems, last, notes
