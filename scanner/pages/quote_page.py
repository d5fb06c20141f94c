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

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from importlib.resources import files
from itertools import pairwise
from typing import Any

from scanner.pages.bed_words import bed_line, drawn_words, letter_of
from scanner.pages.drawing.lot_drawing import Field, draw_lot
from scanner.pages.drawing.scene import LotPlan, set_scene
from scanner.pages.paper.column import PITCH, Column, Track
from scanner.pages.paper.look import BODY, CONTRACT, PAPERS, TOTAL
from scanner.pages.paper.sheet import Paper
from scanner.pages.plan_page import write_day, write_feet
from scanner.schema.documents import FINISH_LONG_WORDS, Company, RateBook
from scanner.schema.local_rules import QuoteTerms
from scanner.units import CENTS_PER_USD, IN_PER_FT

INDENT = 20.0
"""Words stand so far in, under those behind a bed's disc [pt]."""
WORDS_AT, FIGURE_AT = 130.0, 400.0
"""Where what a payment is for, and its figure, begin [pt]."""
DRAWING = 480.0, 280.0
"""How high the sketch is, at most and at least [pt]."""
SIGNED = (0.0, 160.0, 170.0, 245.0, 262.0, 425.0, 435.0, 520.0)
"""Ends of the lines to sign on: client, date, company, date [pt]."""

NOT_IN_IT = (
    "Rock, roots or rubble under the turf; private lines that nobody marks (sprinklers, dog fence, lights); sprinkler pipes "
    "found underground; a permit of the city, if one is asked for; watering after the day we plant.",
    "If we meet any of these we stop and call you. Nothing is added to the price until you have agreed to it in writing.",
)


@dataclass(frozen=True)
class Quote:
    """What one quote says."""

    row: Mapping[Any, Any]  # row of QUOTES
    client: Mapping[Any, Any]  # row of CLIENTS
    beds: Sequence[Mapping[Any, Any]]  # rows of OFFER_BEDS, lead first
    taken: Mapping[str, float]  # sums of QUANTITIES over the beds, and crew_days
    plants: Sequence[tuple[str, Mapping[Any, Any]]]  # "6 catmint" with its row of CHOSEN_PLANTS
    payments: Sequence[
        tuple[str, str, int]
    ]  # words, what they rest on, cents; the total is the third
    plan: LotPlan | None  # None: no outline is drawn
    company: Company
    terms: QuoteTerms
    rates: RateBook

    @property
    def number(self) -> str:
        """As the page says it."""
        return str(self.row["quote_id"]).removeprefix("Q")

    @property
    def has_notice(self) -> bool:
        """Whether the form of cancellation is printed."""
        return self.terms.cancel_notice == "yes"


def quote_pdf(quote: Quote, size: str) -> tuple[Paper, bytes]:
    """Write a quote, its sketch and the forms: the document with its words on record, and its content."""
    page_count = _write(Paper(PAPERS[size], title=""), quote, 0)
    paper = Paper(PAPERS[size], title=f"Quote {quote.number}")
    _write(paper, quote, page_count)
    return paper, paper.finish()


def _write(paper: Paper, quote: Quote, page_count: int) -> int:
    column = Column.full(paper, _head(paper, quote, f"Quote {quote.number}") - 6)
    _whom(column, quote)
    for section in _sections(quote):
        if _depth(section, paper) > column.room:
            _foot(paper, quote, page_count, "")
            paper.next_page()
            column = Column.full(paper, _head(paper, quote, f"Quote {quote.number}, continued"))
        column.gap(10)
        section(column)
    _foot(paper, quote, page_count, _attached(quote))
    if quote.plan is not None:
        paper.next_page()
        _sketch(paper, quote, quote.plan)
        _foot(paper, quote, page_count, "Drawn from maps, not from a survey.")
    for copy in ("first copy", "second copy") if quote.has_notice else ():
        paper.next_page()
        _notice(paper, quote, copy)
        _foot(paper, quote, page_count, "Both copies stay with you; one of them, signed, cancels.")
    return paper.page


def _head(paper: Paper, quote: Quote, title: str, under: str = "") -> float:
    company = quote.company
    day, last = (date.fromisoformat(quote.row[name]) for name in ("quoted_on", "good_until"))
    under = under or f"{write_day(day)} · good until {write_day(last)}"
    where = " · ".join(part for part in (company.address, company.phone) if part)
    license_words = quote.terms.license or company.license_id
    told = (company.name, where, f"license {license_words}" if license_words else company.email)
    return paper.head(title, under, told)


def _attached(quote: Quote) -> str:
    attached = [
        *(["sketch"] if quote.plan is not None else []),
        *(["notice of cancellation (two copies)"] if quote.has_notice else []),
    ]
    return f"Attached: {' and '.join(attached)}." if attached else ""


def _foot(paper: Paper, quote: Quote, page_count: int, words: str) -> None:
    paper.foot(words, f"Quote {quote.number} · page {paper.page} of {page_count}")


def _depth(section: Callable[[Column], None], paper: Paper) -> float:
    """Measure a section on paper that nobody sees [pt]."""
    trial = Column.full(Paper((paper.width, paper.height), title=""), 0.0)
    section(trial)
    return 10.0 - trial.y


def _sections(quote: Quote) -> list[Callable[[Column], None]]:
    """List the parts of the page, none of which is torn apart."""
    parts = (
        [_built, _costs, _not_in_it, _terms] if quote.terms.terms else [_built, _costs, _not_in_it]
    )
    return [lambda column, part=part: part(column, quote) for part in (*parts, _agreed)]  # type: ignore[misc]


def _whom(column: Column, quote: Quote) -> None:
    """Say for whom, where and when."""
    client, start = quote.client, quote.terms.start_window or "to be agreed"
    days = max(1, round(quote.taken["crew_days"] + 0.49))
    how_long = "one day" if days == 1 else f"{days} days"
    left, right = column.part(0, 282), column.part(288, column.width)
    mail = client.get("mailing_address") or client["address"]
    below = " · ".join(part for part in (mail, client["phone"]) if part)
    for part, label, words, kind in (
        (left, "For", client["name"] or client["client_id"], CONTRACT.bold),
        (left, "", below, BODY),
        (right, "Work at", client["address"] or "the client's lot", BODY),
        (right, "Start", f"{start}; {how_long}", BODY),
    ):
        tracks = [Track("", 0, 44, kind=BODY.soft), Track("", 48, part.width, kind=kind)]
        part.row(tracks, [label, words])
    column.y = min(left.y, right.y)


def _built(column: Column, quote: Quote) -> None:
    """Say what is built."""
    column.section("What we build")
    for place, bed in enumerate(quote.beds):
        column.bed(letter_of(place), bed_line(bed), f"{bed['area_ft2']:.0f} ft²", CONTRACT)
    column.gap(2)
    for sentence in scope(quote):
        column.words(f"– {sentence}", CONTRACT, indent=INDENT)
        column.gap(2)


def scope(quote: Quote) -> list[str]:
    """Say what is done, in five sentences."""
    taken, rates, finish = quote.taken, quote.rates, quote.row["finish"]
    edged = (
        f"We set {write_feet(taken['edging_ft'])} of edging where a bed meets open lawn."
        if taken["edging_ft"]
        else "We set no edging: no bed meets open lawn."
    )
    along_wall = (
        f" The first {rates_in(taken['wall_in'])} along the wall are gravel."
        if taken["wall_strip_ft2"]
        else ""
    )
    depth = rates.gravel_depth_in if finish == "gravel" else rates.mulch_depth_in
    yd3 = taken["gravel_yd3" if finish == "gravel" else "mulch_yd3"]
    cover = f"{rates_in(depth.value)} of {'gravel over fabric' if finish == 'gravel' else 'mulch'}, about {_half_yards(yd3)}"
    compost = "work compost into the ground and " if finish == "planted" else ""
    return [
        f"We cut out the turf and take it away, about {rates_in(rates.cut_depth_in.value)} deep.",
        edged,
        f"We {compost}spread {cover}.{along_wall}",
        _planted(quote),
        "We have the public lines marked before we dig (811), and leave street and walks swept.",
    ]


def _planted(quote: Quote) -> str:
    told = [
        f"{words}, {_sold(plant)}" + (f" ({_grown(plant['height_in'])} tall, {_grown(plant['spread_in'])} wide)" if plant["plant"] else "")
        for words, plant in quote.plants
    ]  # fmt: skip
    if not told:
        return "We set no plants."
    listed = ", ".join([*told[:-2], " and ".join(told[-2:])])
    promise = quote.rates.plant_warranty_share.value > 0
    return f"We plant and water in {listed}" + (
        "; each is replaced once if it fails within a year." if promise else "."
    )


def _sold(plant: Mapping[Any, Any]) -> str:
    return str(plant["plant_size"]).replace("gal", " gal")


def _grown(inches: float) -> str:
    return write_feet(inches / IN_PER_FT)


def rates_in(inches: float) -> str:
    """Write a depth.

    >>> rates_in(3.0), rates_in(2.5)
    ('3 in', '2.5 in')
    """
    return f"{inches:g} in"


def _half_yards(yd3: float) -> str:
    """Write a volume to the half yard.

    >>> _half_yards(2.22), _half_yards(0.1)
    ('2 yd³', '½ yd³')
    """
    halves = max(1, round(yd3 * 2))
    return f"{halves // 2 or ''}{'½' * (halves % 2)} yd³"


def _costs(column: Column, quote: Quote) -> None:
    """Say what it costs, line by line; the lines add up."""
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
        cells = [words, rests_on, write_cents(cents)]
        column.row(tracks, cells, pitch=PITCH + (2 if is_total or not place else 0))


def write_cents(cents: int) -> str:
    """Write an amount to the cent.

    >>> write_cents(129_765), write_cents(5)
    ('$1,297.65', '$0.05')
    """
    whole, rest = divmod(cents, CENTS_PER_USD)
    return f"${whole:,}.{rest:02d}"


def bed_names(count: int) -> str:
    """Name the beds of a quote.

    >>> bed_names(1), bed_names(2), bed_names(3)
    ('Bed A', 'Beds A and B', 'Beds A, B and C')
    """
    letters = [letter_of(place) for place in range(count)]
    listed = ", ".join([*letters[:-2], " and ".join(letters[-2:])])
    return f"Bed{'s' * (count > 1)} {listed}"


def finish_words(finish: str) -> str:
    """Name a finish."""
    return FINISH_LONG_WORDS[finish]


def _not_in_it(column: Column, quote: Quote) -> None:  # noqa: ARG001 - a part as the others are
    column.section("What is not in the price")
    for sentence in NOT_IN_IT:
        column.words(sentence, CONTRACT, indent=INDENT)
        column.gap(2)


def _terms(column: Column, quote: Quote) -> None:
    column.section("Terms")
    column.words(quote.terms.terms, CONTRACT, indent=INDENT)


def _agreed(column: Column, quote: Quote) -> None:
    """Leave room for two names, the right to cancel directly above them."""
    column.section("You can change your mind, and agreed" if quote.has_notice else "Agreed")
    names = bed_names(len(quote.beds))
    column.words(
        f"Please do {names[0].lower()}{names[1:]} as written here, for the total above.",
        CONTRACT,
        indent=INDENT,
    )
    if quote.has_notice:
        column.gap(4)
        column.words(_asset("right_to_cancel.txt"), CONTRACT.bold, indent=INDENT)
    under = column.part(INDENT, column.width)
    labels = (quote.client["name"] or "client", "date", f"for {quote.company.name}", "date")
    ends = [*pairwise(SIGNED)][::2]
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
    for paragraph in _asset("notice_of_cancellation.txt").splitlines():
        text = paragraph.replace("{seller}", company.name).replace("{address}", company.address)
        column.words(text, CONTRACT.bold)
        column.gap(8)
    column.signatures([("date, the third business day after that of the transaction", 0, 300)])
    column.gap(16)
    column.words("I HEREBY CANCEL THIS TRANSACTION.", CONTRACT.bold)
    column.signatures([("date", 0, 160), ("buyer's signature", 180, 420)])


def _asset(name: str) -> str:
    """Read what a rule words: it stands in a file of its own, as it was published."""
    return (files("scanner.pages") / "quote_assets" / name).read_text(encoding="utf-8").strip()
