"""Letters of a promotion: who may be written to, and the files that are printed and filled in."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

import pandas as pd

from scanner.calls.chance import Floats, Stages
from scanner.calls.mailing import NO_ADDRESS, NO_MAIL, not_to_write, write_beyond_calls
from scanner.calls.outlooks import Weeks
from scanner.cli.talk import say_unwritten
from scanner.errors import BookError
from scanner.pages.letters import CARD, Mailing, draw_letters, draw_postcards, has_zip, mailing_csv
from scanner.pages.paper.look import PAPERS
from scanner.pages.paper.sheet import Paper
from scanner.pages.promo_page import PromoTables, letter_rows
from scanner.schema.documents import RateBook, Scan

LETTERS_PAGE, CARDS_PAGE, MAILING_FILE = "letters.pdf", "postcards.pdf", "mailing.csv"

MOST_NAMED = 10
"""So many clients are named in a sentence."""


def choose_letters(
    found: Scan, leads: pd.DataFrame, stages: Stages, weeks: Weeks, free_days: Floats, rates: RateBook
) -> tuple[pd.DataFrame, list[str]]:  # fmt: skip
    """Say who may be written to, and tell of those who can't be."""
    leads = write_beyond_calls(leads, stages, weeks, free_days, rates=rates)
    why = not_to_write(leads, found.clients)
    names = found.clients.set_index("client_id")["name"]
    notes = [
        f"{len(ids):,} not written to, {words}: {', '.join(names[one] or one for one in ids[:MOST_NAMED])}"
        f"{f' and {len(ids) - MOST_NAMED} more' if len(ids) > MOST_NAMED else ''}."
        for words in (NO_MAIL, NO_ADDRESS)
        if (ids := sorted(why.index[why == words]))
    ]
    return leads[~leads["client_id"].isin(why.index)].reset_index(drop=True), notes


def letter_files(
    found: Scan, tables: PromoTables, parts: list[str], paper: str, *, is_card: bool
) -> tuple[dict[str, bytes], list[str]]:
    """Make the files of the letters, and tell what to look at before they go out."""
    rows = letter_rows(found, tables)
    visit_days, start_days = (
        round(value.value) for value in (found.rates.visit_days, found.rates.start_days)
    )
    # Who calls on that day and says yes at the visit may still start on the last week's Monday
    until = tables.last - timedelta(days=visit_days + start_days)
    mailing = Mailing(found.rules.company, found.today, tables.first, tables.last, until)
    blank = [
        name
        for name in ("phone", "email")
        if name in parts[1::2] and not mailing.values(rows[0])[name]
    ]
    if blank:
        message = f"the letter needs the company's {' and '.join(blank)}: write {'it' if len(blank) == 1 else 'them'} into local.toml, under [company]"
        raise BookError(message)
    what = "postcards" if is_card else "letters"
    sheet = Paper(CARD if is_card else PAPERS[paper], title=f"{what.capitalize()} of {found.today}")
    (draw_postcards if is_card else draw_letters)(sheet, rows, parts, mailing)
    bare = sum(not has_zip(row["mail_to"]) for row in rows)
    notes = [
        f"The {what} ask for a call by {until:%B} {until.day}: a visit within {visit_days} days and a start {start_days} days "
        f"after a yes at the visit are in time for the week of {tables.last:%B} {tables.last.day}."
    ]
    notes += [f"{bare:,} of {len(rows):,} addresses have no ZIP code."] if bare else []
    say_unwritten(sheet.unwritten)
    page = CARDS_PAGE if is_card else LETTERS_PAGE
    return {page: sheet.finish(), MAILING_FILE: mailing_csv(rows, mailing)}, notes


def tell_nobody(folder: Path) -> list[str]:
    """Say that nobody is to be written to, and which letters of an earlier run still lie there."""
    old = [name for name in (LETTERS_PAGE, CARDS_PAGE, MAILING_FILE) if (folder / name).exists()]
    told = ["Nobody is to be written to now."]
    if old:
        told.append(
            f"{' and '.join(old)} in {folder} {'is' if len(old) == 1 else 'are'} of an earlier run; don't send them again."
        )
    return told
