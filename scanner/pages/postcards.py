"""The postcards of a promotion: one a client, two sides, the message and the address."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from scanner.errors import BookError
from scanner.pages.letters import Mailing, address_lines, letter_text, stop_words
from scanner.pages.paper.column import Column
from scanner.pages.paper.look import BODY, FAINT, HINT, LIST
from scanner.pages.paper.sheet import Paper
from scanner.pages.paper.typefaces import wrap
from scanner.pages.plan_page import write_day

CARD = (432.0, 306.0)
"""The largest card that goes as a postcard in the US, 6 by 4 1/4 in (USPS Domestic Mail Manual 201.1.2)."""

_ADDRESS_LEFT, _ADDRESS_TOP, _PITCH = 204.0, 156.0, 13.0
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
        _address(paper, row, mailing)


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


def _address(paper: Paper, row: Mapping[str, Any], mailing: Mailing) -> None:
    company = mailing.company
    y = paper.top - 8
    for line in (company.name, *address_lines(company.address)):
        paper.fitted(paper.left, y, line, HINT, _ADDRESS_LEFT - paper.left - 12)
        y -= HINT.leading
    paper.canvas.setStrokeColor(FAINT)
    paper.canvas.setLineWidth(0.6)
    paper.canvas.rect(paper.right - _STAMP, paper.top - 72, _STAMP, 72, stroke=1, fill=0)
    paper.text(paper.right - _STAMP / 2, paper.top - 39, "stamp", HINT, "center")
    y = _ADDRESS_TOP
    for line in [part for part in (row["name"], *address_lines(row["mail_to"])) if part]:
        paper.fitted(_ADDRESS_LEFT, y, line, BODY, paper.right - _ADDRESS_LEFT)
        y -= _PITCH
