"""What a quote says: the job as it was priced, what is done in five sentences, what it costs."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from scanner.pages.bed_words import grown_words, line_words
from scanner.pages.drawing.scene import LotPlan
from scanner.pages.plan_page import write_feet
from scanner.schema.documents import Company, RateBook
from scanner.schema.local_rules import QuoteTerms
from scanner.units import list_words


@dataclass(frozen=True)
class Quote:
    """What one quote says."""

    row: Mapping[Any, Any]  # row of QUOTES
    client: Mapping[Any, Any]  # row of CLIENTS
    beds: Sequence[Mapping[Any, Any]]  # rows of OFFER_BEDS in the order of their letters
    taken: Mapping[str, float]  # sums of QUANTITIES over the beds, and day_count
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


def scope(quote: Quote) -> list[str]:
    """Say what is done, in five sentences."""
    taken, rates, finish = quote.taken, quote.rates, quote.row["finish"]
    edged = (
        f"We set {write_feet(taken['edging_ft'])} of edging where a bed meets open lawn."
        if taken["edging_ft"]
        else "We set no edging: no bed meets open lawn."
    )
    if quote.plan:
        edged = " ".join([edged, *line_words(quote.beds, quote.plan.rules)])
    along_wall = (
        f" The first {taken['wall_in']:g} in along the wall are gravel."
        if taken["wall_strip_ft2"]
        else ""
    )
    depth = rates.gravel_depth_in if finish == "gravel" else rates.mulch_depth_in
    yd3 = taken["gravel_yd3" if finish == "gravel" else "mulch_yd3"]
    cover = f"{depth.value:g} in of {'gravel over fabric' if finish == 'gravel' else 'mulch'}, about {_half_yards(yd3)}"
    compost = "work compost into the ground and " if finish == "planted" else ""
    return [
        f"We cut out the turf and take it away, about {rates.cut_depth_in.value:g} in deep.",
        edged,
        f"We {compost}spread {cover}.{along_wall}",
        _planted(quote),
        "We have the public lines marked before we dig (811), and leave street and walks swept.",
    ]


def _planted(quote: Quote) -> str:
    told = [f"{words}, {plant['plant_size']}{grown_words(plant)}" for words, plant in quote.plants]
    if not told:
        return "We set no plants."
    promise = quote.rates.plant_warranty_share.value > 0
    return f"We plant and water in {list_words(told)}" + (
        "; each is replaced once if it fails within a year." if promise else "."
    )


def _half_yards(yd3: float) -> str:
    """Write a volume to the half yard.

    >>> _half_yards(2.22), _half_yards(0.1)
    ('2 yd³', '½ yd³')
    """
    halves = max(1, round(yd3 * 2))
    return f"{halves // 2 or ''}{'½' * (halves % 2)} yd³"
