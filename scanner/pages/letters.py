"""Letters and postcards of a promotion: one a client, its address where an envelope's window shows it or machines read it."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from scanner.errors import BookError
from scanner.pages.paper.column import Column
from scanner.pages.paper.look import A4, BODY, CONTRACT, FAINT, HINT, LETTER, LIST
from scanner.pages.paper.sheet import Paper
from scanner.pages.paper.typefaces import wrap
from scanner.pages.plan_page import write_day
from scanner.schema.local_rules import Company
from scanner.sheets.cells import sheet_csv, usd
from scanner.sheets.lists import MAILING
from scanner.units import said_cents, usd_said

FIELDS = (
    "name", "address", "say", "price", "good_until", "first_week", "last_week", "today", "company", "phone", "email",
)  # fmt: skip
"""What a letter may ask for in braces."""

_INCH, _MM = 72.0, 72.0 / 25.4
_MOST_LINES = 3  # below the name
_SIDE = 1.0 * _INCH
_STATE_AND_ZIP = re.compile(r"\s[A-Z]{2}\s+\d{5}(-\d{4})?$")


@dataclass(frozen=True)
class Window:
    """Where an address shows through a window however the sheet slides, and where the sheet is folded [pt].

    From the upper left corner.
    """

    left: float
    top: float
    width: float
    fold: float


WINDOWS = {
    # No. 10 envelope, 4 1/8 by 9 1/2 in, window 1 1/8 by 4 1/2 in, 7/8 in from the left and 1/2 in
    # from the bottom (common practice, no source). All of an address shows with 1/8 in around it
    # when the sheet slides as far as it can (USPS Publication 25, 3-9). Folded at 3 7/8 in the
    # sheet slides 1/4 in up and down and 1 in sideways, which leaves 1 to 4 1/4 in across and
    # 2 5/8 to 3 1/4 in down.
    LETTER: Window(1.0 * _INCH, 2.625 * _INCH, 3.25 * _INCH, 3.875 * _INCH),
    # DIN 5008, form B: address 62.7 mm down, 85 mm wide from 20 mm on, its text from 25 mm on,
    # folded at 105 mm
    A4: Window(25 * _MM, 62.7 * _MM, 80 * _MM, 105 * _MM),
}


@dataclass(frozen=True)
class Mailing:
    """What all letters of a wave share."""

    company: Company
    today: date
    first: date  # weeks with free days
    last: date
    good_until: date

    def values(self, row: Mapping[str, Any]) -> dict[str, str]:
        """Give what stands in a letter's fields; blank where the book does not tell."""
        return {
            "name": row["name"], "address": row["address"], "say": row["say"],
            "price": usd_said(row["price_cents"]), "good_until": write_day(self.good_until),
            "first_week": write_day(self.first), "last_week": write_day(self.last),
            "today": write_day(self.today), "company": self.company.name,
            "phone": self.company.phone, "email": self.company.email,
        }  # fmt: skip


def mailing_csv(rows: Iterable[Mapping[str, Any]], mailing: Mailing) -> bytes:
    """Write whom the letters go to, with the days to be filled in."""
    return sheet_csv(MAILING, (
        {
            "client_id": row["client_id"], "name": row["name"], "mailing_address": row["mail_to"],
            "say": row["say"], "price_usd": usd(said_cents(row["price_cents"])),
            "good_until": mailing.good_until.isoformat(), "wave_on": mailing.today.isoformat(),
            "sent_on": "", "asked_on": "",
        }
        for row in rows
    ))  # fmt: skip


def draw_letters(
    paper: Paper, rows: Sequence[Mapping[str, Any]], parts: Sequence[str], mailing: Mailing
) -> None:
    """Draw one letter a row; ``parts`` are text and names of fields, by turns."""
    window = WINDOWS[LETTER if paper.width == LETTER[0] else A4]
    for place, row in enumerate(rows):
        if place:
            paper.next_page()
        # Times and Helvetica reach three quarters of their size above the base line
        y = paper.height - window.top - 0.75 * BODY.size
        _write_to(paper, row, (window.left, y, window.width), 11.5)
        paper.rule(20, paper.height - window.fold, 28, 0.4)
        _letter(paper, letter_text(row, parts, mailing), row["client_id"], mailing)


def letter_text(row: Mapping[str, Any], parts: Sequence[str], mailing: Mailing) -> str:
    """Fill in the fields of a letter; ``parts`` are text and names of fields, by turns."""
    values = mailing.values(row)
    return "".join(values[part] if at % 2 else part for at, part in enumerate(parts)).strip()


def stop_words(mailing: Mailing) -> str:
    """Say how to get no more of them."""
    stop = f"call {mailing.company.phone}" if mailing.company.phone else "tell us"
    return f"No more letters? Please {stop}, and we write no more."


def _write_to(
    paper: Paper, row: Mapping[str, Any], place: tuple[float, float, float], pitch: float
) -> None:
    left, y, width = place
    for line in filter(None, (row["name"], *address_lines(row["mail_to"]))):
        paper.fitted(left, y, line, BODY, width)
        y -= pitch


def _letter(paper: Paper, text: str, client_id: str, mailing: Mailing) -> None:
    company, window = mailing.company, WINDOWS[LETTER if paper.width == LETTER[0] else A4]
    under = " · ".join(part for part in (company.address, company.phone, company.email) if part)
    paper.head(company.name, under, (write_day(mailing.today), "", ""))
    column = Column(paper, _SIDE, paper.width - _SIDE, paper.height - window.fold - 18)
    foot = stop_words(mailing)
    for line in wrap(paper.prepared(text), CONTRACT, column.width):
        if column.room < CONTRACT.leading:
            paper.foot(foot, client_id)
            paper.next_page()
            column.y = paper.top
        column.words(line, CONTRACT)
    paper.foot(foot, client_id)


def address_lines(address: str) -> list[str]:
    """Put an address into lines: the last is the town, with state and ZIP code where they are known.

    >>> address_lines("12 Main St, Apt 4, Elm, NE 68001"), address_lines("9 Elm Rd, Quillbrook")
    (['12 Main St', 'Apt 4', 'Elm, NE 68001'], ['9 Elm Rd', 'Quillbrook'])
    """
    parts = [part.strip() for part in re.split(r"[,;\n]", address) if part.strip()]
    if _STATE_AND_ZIP.search(f" {parts[-1]}" if parts else "") and len(parts) > 1:
        parts[-2:] = [", ".join(parts[-2:])]
    while len(parts) > _MOST_LINES:
        parts[1:3] = [", ".join(parts[1:3])]
    return parts


def has_zip(address: str) -> bool:
    """Whether an address ends in a ZIP code.

    >>> has_zip("9 Elm Rd, Quillbrook, NE 68001-1234"), has_zip("12345 Elm Rd")
    (True, False)
    """
    return re.search(r"\b\d{5}(-\d{4})?$", address.strip()) is not None


CARD = (432.0, 306.0)
"""The largest card that goes as a postcard in the US, 6 by 4 1/4 in (USPS Domestic Mail Manual 201.1.2)."""

_ADDRESS_LEFT, _ADDRESS_TOP = 204.0, 156.0
"""
The right half, between 5/8 and 2 3/4 in from the bottom and 1/2 in off the side, where machines read it; the
5/8 in below stay free for the bar code (USPS Publication 25, 3-9 and 3-10; common practice for cards).
"""
_STAMP = 62.0


def draw_postcards(
    paper: Paper, rows: Sequence[Mapping[str, Any]], parts: Sequence[str], mailing: Mailing
) -> None:
    """Draw two sides a row; ``parts`` are text and names of fields, by turns; `BookError` where the text is longer than a side."""
    for place, row in enumerate(rows):
        if place:
            paper.next_page()
        _message(paper, row, parts, mailing)
        paper.next_page()
        _back(paper, row, mailing)


def _message(paper: Paper, row: Mapping[str, Any], parts: Sequence[str], mailing: Mailing) -> None:
    company = mailing.company
    under = " · ".join(part for part in (company.phone, company.email) if part)
    column = Column.full(
        paper, paper.head(company.name, under, (write_day(mailing.today), "", "")) - 6
    )
    lines = wrap(paper.prepared(letter_text(row, parts, mailing)), LIST, column.width)
    if len(lines) * LIST.leading > column.room:
        message = f"the text is longer than a postcard for {row['name'] or row['client_id']}: shorten postcard.txt, or write letters with --letters"
        raise BookError(message)
    for line in lines:
        column.words(line, LIST)
    paper.foot(stop_words(mailing), row["client_id"])


def _back(paper: Paper, row: Mapping[str, Any], mailing: Mailing) -> None:
    company = mailing.company
    y = paper.top - 8
    for line in (company.name, *address_lines(company.address)):
        paper.fitted(paper.left, y, line, HINT, _ADDRESS_LEFT - paper.left - 12)
        y -= HINT.leading
    paper.canvas.setStrokeColor(FAINT)
    paper.canvas.setLineWidth(0.6)
    paper.canvas.rect(paper.right - _STAMP, paper.top - 72, _STAMP, 72, stroke=1, fill=0)
    paper.text(paper.right - _STAMP / 2, paper.top - 39, "stamp", HINT, "center")
    _write_to(paper, row, (_ADDRESS_LEFT, _ADDRESS_TOP, paper.right - _ADDRESS_LEFT), 13.0)
