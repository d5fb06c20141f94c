"""Offers in plain words: what is sold, what to mind, and the sentence that opens a call."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from math import floor
from typing import Any

from scanner.schema.documents import FINISH_LONG_WORDS, LocalRules, RateBook
from scanner.schema.edge_kinds import EDGE_KINDS
from scanner.schema.locating import LOCATING
from scanner.units import FT2_IN_PER_YD3, list_words, usd_said

Row = dict[Any, Any]
"""A row of a table by column."""

DESIGNER = "refer to a landscape designer: "

LIFTING = (
    "Lifting: what is stripped weighs some {weight_lb:.0f} lb a square foot when wet; 51 lb is the most for"
    " nearly everyone in an ideal lift (NIOSH 94-110), from the ground less than half of it: cut it small, keep"
    " backs straight, work in pairs"
)

MACHINE = (
    "machines: only trained people run them, with eye, ear and foot protection, and everyone else"
    " keeps clear"
)

UPGRADE_TIMES = 3
"""An upgrade is said where it costs at most so many times the lead (our rule, no source)."""

_PLACES = {name: kind.words for name, kind in EDGE_KINDS.items()} | {"house": "the house {face}"}
LEAD_PLACES = {name: f"of {words}" for name, words in _PLACES.items()} | {"curb": "of your curb"}
MORE_PLACES = {name: f"at {words}" for name, words in _PLACES.items()} | {"curb": "more of curb"}

COVERS = {
    "mulch": "mulch",
    "accent": "mulch and {count} low plant{s}",
    "planted": "mulch and {count} plant{s}",
    "gravel": "gravel and {count} low plant{s}",
}


def name_offer(beds: Sequence[Row], finish: str, *, needs_designer: bool) -> str:
    """
    Name an offer by its beds' lengths [ft], what they lie along, and the finish.

    >>> beds = [{"edge_ft": 52.4, "along": "curb", "face": ""}, {"edge_ft": 29.5, "along": "house", "face": "front"}]
    >>> name_offer(beds, "mulch", needs_designer=False)
    '52 ft curb bed and 30 ft house bed, mulch only'
    """
    words = [
        f"{floor(bed['edge_ft'] + 0.5)} ft {bed['along']}"
        f"{'-' + bed['face'].replace('+', '-and-') if bed['face'] not in ('', 'front') else ''} bed"
        for bed in beds
    ]
    return f"{DESIGNER * needs_designer}{list_words(words)}, {FINISH_LONG_WORDS[finish]}"


def gather_cautions(beds: Sequence[Row], lead: Row) -> str:
    """Gather the cautions of an offer's beds, each once; what stands in every offer comes last."""
    # a tiller is a machine too: a full planting takes one
    has_machine = lead["method"] != "hand" or lead["finish"] == "planted"
    told = [sentence for bed in beds for sentence in bed["cautions"].split("; ") if sentence]
    told += [MACHINE] * has_machine
    return "; ".join(sorted(dict.fromkeys(told), key=lambda text: text.startswith(LOCATING)))


def usual_cautions(rates: RateBook, rules: LocalRules) -> str:
    """Say what every bed asks for, and no row of a list repeats: weights lifted, the state's locating law."""
    weight_lb = rates.soil_wet_lb_per_yd3.value * rates.cut_depth_in.value / FT2_IN_PER_YD3
    locating = rules.locating[0].upper() + rules.locating[1:]
    return f"{locating}. {LIFTING.format(weight_lb=weight_lb)}."


def say_offer(lead: Row, beds: Sequence[Row], upgrade: Row | None, added: Sequence[Row]) -> str:
    """
    Say an offer in up to three sentences that can be read out.

    `lead` and `upgrade` (None: there is none): rows of `PRICES`; `beds` and `added`: rows of
    `OFFER_BEDS`, the latter laid without the lead.
    """
    count, finish = lead["plant_count"], lead["finish"]
    cover = COVERS[finish] if count else "gravel" if finish == "gravel" else "mulch"
    cover = cover.format(count=count, s="" if count == 1 else "s")
    until = "" if all(bed["edge_source"] == "measured" for bed in beds) else " until we measure"
    price, low, high = (
        usd_said(lead[f"{name}_cents"]) for name in ("price", "price_low", "price_high")
    )
    said = (
        f"We could put a bed along {_places(beds, LEAD_PLACES)}, {cover}, about {price}"
        f" ({low} to {high}{until})."
    )
    if sum(bed["trim_ft"] for bed in beds) > 0:
        said += " No more trimming there."
    if upgrade and upgrade["price_cents"] <= UPGRADE_TIMES * lead["price_cents"]:
        whole = usd_said(upgrade["price_cents"])
        said += f" With {_places(added, MORE_PLACES)}, all in one job, about {whole}."
    return said


def _places(beds: Sequence[Row], words: dict[str, str]) -> str:
    """Say along what beds lie; lengths of one kind are added up."""
    feet = defaultdict[tuple[str, str], float](float)
    for bed in beds:
        feet[bed["along"], bed["face"]] += bed["edge_ft"]
    return list_words([
        f"{floor(edge_ft + 0.5)} ft {words[along].format(face=face.replace('+', ' and ') or 'wall')}"
        for (along, face), edge_ft in feet.items()
    ])  # fmt: skip
