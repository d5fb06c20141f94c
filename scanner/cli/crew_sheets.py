"""The crews' eyes: ``checklist`` prints what to look at on each lot, stop by stop."""

from __future__ import annotations

import io
from datetime import date
from functools import partial
from pathlib import Path

import click
import pandas as pd

from scanner import pipeline
from scanner.book.checklist_sheet import check_answers
from scanner.book.clients import read_client_list
from scanner.book.filled_sheet import read_filled
from scanner.book.settings import read_rules
from scanner.calls.entry_kinds import ANSWER, judge
from scanner.cli.closing import say_left_out
from scanner.cli.options import Asked, command
from scanner.cli.talk import counted, say
from scanner.errors import BookError
from scanner.pages.checklist import Round, checklist_xlsx, plan_rounds, render_checklist
from scanner.pages.publish import publish_files
from scanner.schema.documents import Season
from scanner.sheets.problems import faults_of

PAGE, SHEET = "checklist.html", "checklist.xlsx"


@command("out", "today", "json")
@click.option("--route", metavar="NAME", help="Lots of this route only.  [default: all]")
@click.option("--day", metavar="DAY", help="Lots mowed on this day only.  [default: all]")
def checklist(asked: Asked, route: str | None, day: str | None) -> int:
    """Print what crews look at on each lot of BOOK: half a minute each, stop by stop.

    Writes a page to print, a sheet of paper for each route and day, and the same
    questions as a spreadsheet with drop-downs. Fill the spreadsheet in, then:
    bed-scanner record BOOK checklist.xlsx.
    """
    clients, problems = read_client_list(asked.book)
    season = pipeline.open_season(asked.book)
    rounds = plan_rounds(clients, season.answers, route=route, day=day)
    if not rounds:
        raise click.UsageError(_no_lot(clients))
    folder, name, today = asked.folder, asked.book.resolve().name, asked.today
    refuse_filled(folder / SHEET, clients, season, today)
    company = read_rules(asked.book / "local.toml")[0].company
    html = render_checklist(rounds, company=company, book=name, today=today)
    checklist_xlsx(sheet := io.BytesIO(), rounds, book=name, today=today)
    asked.tell_files(publish_files({PAGE: html.encode(), SHEET: sheet.getvalue()}, folder))
    # whoever is left out of the list is on no sheet, so that must be said
    fault_count = say_left_out(problems, asked.book)
    say(_closing(rounds, folder, asked.book))
    return fault_count


def _closing(rounds: tuple[Round, ...], folder: Path, book: Path) -> str:
    lots = counted(sum(len(one.lots) for one in rounds), "lot")
    return (
        f"{lots} in {counted(len(rounds), 'round')}. Open {folder / PAGE} and print it; put the answers into "
        f"{folder / SHEET}, then: bed-scanner record {book} {folder / SHEET}"
    )


def _no_lot(clients: pd.DataFrame) -> str:
    """Say which routes and days there are."""
    listed = {
        column: ", ".join(sorted({value for value in clients[column] if value})) or "none"
        for column in ("route", "mow_day")
    }
    return (
        f"no lot has this route and day. Routes in the client list: {listed['route']}. "
        f"Days: {listed['mow_day']}."
    )


def refuse_filled(path: Path, clients: pd.DataFrame, season: Season, today: date) -> None:
    """Refuse to write over answers that are not on record."""
    if not path.exists():
        return
    check = partial(check_answers, clients=clients, today=today)
    answers, problems = read_filled(path, "checklist", check)
    open_count = int((judge(ANSWER, answers, season.answers) != "known").sum())
    unread = faults_of(problems)["feature"].unique().tolist()
    parts = [
        f"{counted(open_count, 'answer')} not on record yet" if open_count else "",
        f"what cannot be read ({', '.join(unread)}: put it right or clear it)" if unread else "",
    ]
    if held := " and ".join(part for part in parts if part):
        message = (
            f"{path} holds {held}, and a new checklist would write over it. Record it first, or "
            "move it to another folder."
        )
        raise BookError(message)
