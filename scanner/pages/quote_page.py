"""
The quote that a client signs: what is built, what it costs, what is not in the price, who agrees.

No range, chance, margin or cost stands on it: the price is the one that was said. Where the firm has
switched it on, the right to cancel stands at the signatures and its form follows in two copies,
worded as the rule has them [1]_.

References
----------
.. [1] 16 CFR 429.1(a) and (b), as read in reprints that are current through September 30, 2024; a federal
   regulation is in the public domain. It asks for bold type of ten points or more.
"""

from __future__ import annotations

from datetime import date
from itertools import pairwise

from scanner.pages.bed_words import bed_line, bed_names, drawn_from, drawn_words, letter_of
from scanner.pages.drawing.lot_drawing import Field, draw_lot
from scanner.pages.drawing.scene import LotPlan, set_scene
from scanner.pages.paper.column import PITCH, Column, Track
from scanner.pages.paper.look import BODY, CONTRACT, PAPERS, TOTAL
from scanner.pages.paper.sheet import Paper
from scanner.pages.plan_page import write_day
from scanner.pages.quote_words import Quote, scope
from scanner.pages.sealed import read_asset
from scanner.units import write_usd

INDENT, SECTION_GAP = 20.0, 10.0
"""Words stand so far in, under those behind a bed's disc, and sections so far apart [pt]."""
WORDS_AT, FIGURE_AT = 130.0, 400.0
"""Where what a payment is for, and its figure, begin [pt]."""
DRAWING = 480.0, 280.0
"""How high the sketch is, at most and at least [pt]."""
SIGNED = (0.0, 0.31, 0.33, 0.47, 0.5, 0.82, 0.84, 1.0)
"""Ends of the lines to sign on, in shares of the width: client, date, company, date."""

NOT_IN_IT = (
    "Rock, roots or rubble under the turf; private lines that nobody marks (sprinklers, dog fence, lights); sprinkler pipes "
    "found underground; a permit of the city, if one is asked for; watering after the day we plant.",
    "If we meet any of these we stop and call you. Nothing is added to the price until you have agreed to it in writing.",
)


def draw_quote(quote: Quote, size: str) -> Paper:
    """Draw a quote, its sketch and the forms."""
    page_count = _write(Paper(PAPERS[size], title=""), quote, 0)
    paper = Paper(PAPERS[size], title=f"Quote {quote.number}")
    _write(paper, quote, page_count)
    return paper


def _write(paper: Paper, quote: Quote, page_count: int) -> int:
    column = Column.full(paper, _head(paper, quote, f"Quote {quote.number}") - 6)
    _whom(column, quote)
    for section in (_built, _costs, _not_in_it, _terms, _agreed):
        trial = Column.trial(paper.width)
        section(trial, quote)
        if SECTION_GAP - trial.y > column.room:
            _foot(paper, quote, page_count, "")
            paper.next_page()
            column = Column.full(paper, _head(paper, quote, f"Quote {quote.number}, continued"))
        column.gap(SECTION_GAP * (trial.y < 0))
        section(column, quote)
    _foot(paper, quote, page_count, _attached(quote))
    if quote.plan is not None:
        paper.next_page()
        _sketch(paper, quote, quote.plan)
        _foot(paper, quote, page_count, drawn_from(quote.plan.beds.to_dict("records")))
    for copy in ("first copy", "second copy") if quote.has_notice else ():
        paper.next_page()
        _notice(paper, quote, copy)
        _foot(paper, quote, page_count, "Both copies stay with you; one of them, signed, cancels.")
    return paper.page


def _head(paper: Paper, quote: Quote, title: str, under: str = "") -> float:
    company = quote.company
    day, until = (date.fromisoformat(quote.row[name]) for name in ("quoted_on", "good_until"))
    under = under or f"{write_day(day)} · good until {write_day(until)}"
    license_words = quote.terms.license or company.license_id
    last = f"license {license_words}" if license_words else company.email
    reached = " · ".join(part for part in (company.phone, last) if part)
    return paper.head(title, under, (company.name, company.address, reached))


def _attached(quote: Quote) -> str:
    attached = [
        *(["sketch"] if quote.plan is not None else []),
        *(["notice of cancellation (two copies)"] if quote.has_notice else []),
    ]
    return f"Attached: {' and '.join(attached)}." if attached else ""


def _foot(paper: Paper, quote: Quote, page_count: int, words: str) -> None:
    paper.foot(words, f"Quote {quote.number} · page {paper.page} of {page_count}")


def _whom(column: Column, quote: Quote) -> None:
    client, start = quote.client, quote.terms.start_window or "to be agreed"
    days = quote.taken["day_count"]
    how_long = "one day" if days == 1 else f"{days:.0f} days"
    left, right = column.part(0, 282), column.part(288, column.width)
    mail = client.get("mailing_address") or client["address"]
    for part, label, words, kind in (
        (left, "For", client["name"] or client["client_id"], CONTRACT.bold),
        (left, "", mail, BODY),
        (left, "", client["phone"], BODY),
        (right, "Work at", client["address"] or "the client's lot", BODY),
        (right, "Start", f"{start}; {how_long}", BODY),
    ):
        tracks = [Track("", 0, 44, kind=BODY.soft), Track("", 48, part.width, kind=kind)]
        part.row(tracks, [label, words])
    column.y = min(left.y, right.y)


def _built(column: Column, quote: Quote) -> None:
    column.section("What we build")
    for place, bed in enumerate(quote.beds):
        column.bed(letter_of(place), bed_line(bed), f"{bed['area_ft2']:.0f} ft²", CONTRACT)
    column.gap(2)
    for sentence in scope(quote):
        column.words(f"– {sentence}", CONTRACT, indent=INDENT)
        column.gap(2)


def _costs(column: Column, quote: Quote) -> None:
    column.section("What it costs")
    for place, (words, rests_on, cents) in enumerate(quote.payments):
        is_total = words == "Total"
        if is_total:
            column.paper.rule(column.left + INDENT, column.y - 2, column.right)
            column.gap(2)
        kind = TOTAL if is_total else CONTRACT
        tracks = [
            Track("", INDENT, INDENT + WORDS_AT + 10, kind=kind),
            Track("", INDENT + WORDS_AT + 14, FIGURE_AT, kind=BODY.soft),
            Track("", FIGURE_AT, column.width, "right", kind=kind),
        ]
        cells = [words, rests_on, write_usd(cents, 2)]
        column.row(tracks, cells, pitch=PITCH + (2 if is_total or not place else 0))


def _not_in_it(column: Column, quote: Quote) -> None:  # noqa: ARG001 - a part as the others are
    column.section("What is not in the price")
    for sentence in NOT_IN_IT:
        column.words(sentence, CONTRACT, indent=INDENT)
        column.gap(2)


def _terms(column: Column, quote: Quote) -> None:
    if quote.terms.terms:
        column.section("Terms")
        column.words(quote.terms.terms, CONTRACT, indent=INDENT)


def _agreed(column: Column, quote: Quote) -> None:
    """Leave room for two names, the right to cancel directly above them."""
    column.section("Agreed; you can change your mind" if quote.has_notice else "Agreed")
    names = bed_names(len(quote.beds))
    column.words(
        f"Please do {names[0].lower()}{names[1:]} as written here, for the total above.",
        CONTRACT,
        indent=INDENT,
    )
    if quote.has_notice:
        column.gap(4)
        column.words(read_asset("quote_assets/right_to_cancel.txt"), CONTRACT.bold, indent=INDENT)
    under = column.part(INDENT, column.width)
    labels = (quote.client["name"] or "client", "date", f"for {quote.company.name}", "date")
    ends = [*pairwise(share * under.width for share in SIGNED)][::2]
    places = [(label, *end) for label, end in zip(labels, ends, strict=True)]
    under.signatures(places)
    under.signatures([("second owner, if there is one", *ends[0]), ("date", *ends[1])])
    column.y = under.y


def _sketch(paper: Paper, quote: Quote, plan: LotPlan) -> None:
    """Draw the beds to scale, and say what is kept clear."""
    top = _head(paper, quote, f"Sketch to quote {quote.number}")
    scene = set_scene(plan)
    words = [drawn_words(bed, at) for at, bed in enumerate(plan.beds.to_dict("records"))]
    field = Field(paper.left, top - 8, paper.right - paper.left, *DRAWING)
    column = Column.full(paper, draw_lot(paper, scene, words, field, has_small_plan=False).bottom)
    if scene.kept:
        column.section("Kept clear, and why")
        for kept in scene.kept:
            column.kept_clear(kept.number, kept.sentence)


def _notice(paper: Paper, quote: Quote, copy: str) -> None:
    """Write one copy of the form; its days are written in when the quote is signed."""
    top = _head(paper, quote, "Notice of Cancellation", f"Quote {quote.number}, {copy}")
    column = Column.full(paper, top)
    column.signatures([("date of the transaction", 0, 220)])
    column.gap(8)
    company = quote.company
    for paragraph in read_asset("quote_assets/notice_of_cancellation.txt").splitlines():
        text = paragraph.replace("{seller}", company.name).replace("{address}", company.address)
        column.words(text, CONTRACT.bold)
        column.gap(8)
    column.signatures([("date, the third business day after that of the transaction", 0, 300)])
    column.gap(16)
    column.words("I HEREBY CANCEL THIS TRANSACTION.", CONTRACT.bold)
    column.signatures([("date", 0, 160), ("buyer's signature", 180, 420)])
