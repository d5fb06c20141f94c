"""What printed pages say of a bed: its letter, where it lies, how long and deep it is."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from datetime import date
from string import ascii_uppercase
from typing import Any

from scanner.pages.drawing.dimensions import BedWords
from scanner.pages.plan_page import write_day, write_feet
from scanner.schema.edge_kinds import EDGE_KINDS
from scanner.schema.local_rules import LocalRules
from scanner.units import IN_PER_FT, list_words

HOUSE_PLACES = {
    "front": "at the house front",
    "side": "at the side of the house",
    "back": "at the back of the house",
}

NO_SURVEY = "Drawn from maps, not from a survey."


def letter_of(place: int) -> str:
    """Give the letter of a bed: A for the first of an offer.

    >>> letter_of(0), letter_of(27)
    ('A', 'AB')
    """
    rounds, at = divmod(place, len(ascii_uppercase))
    return (ascii_uppercase[rounds - 1] if rounds else "") + ascii_uppercase[at]


def bed_names(count: int) -> str:
    """Name the beds of a job.

    >>> bed_names(1), bed_names(2), bed_names(3)
    ('Bed A', 'Beds A and B', 'Beds A, B and C')
    """
    letters = list_words([letter_of(place) for place in range(count)])
    return f"Bed{'s' * (count > 1)} {letters}"


def place_words(bed: Mapping[Any, Any]) -> str:
    """Say where a bed lies.

    >>> place_words({"along": "curb", "face": ""}), place_words({"along": "house", "face": "front+side"})
    ('along the curb', 'along the house wall')
    """
    if bed["along"] == "house":
        return HOUSE_PLACES.get(bed["face"], "along the house wall")
    return f"along {EDGE_KINDS[bed['along']].words}"


def bed_line(bed: Mapping[Any, Any]) -> str:
    """Say what a bed is.

    >>> bed_line({"along": "curb", "face": "", "edge_ft": 17.6, "mean_depth_ft": 5.5})
    '18 ft along the curb, 5½ ft deep'
    """
    length, depth = write_feet(bed["edge_ft"]), write_feet(bed["mean_depth_ft"])
    return f"{length} {place_words(bed)}, {depth} deep"


def line_words(beds: Sequence[Mapping[Any, Any]], rules: LocalRules) -> list[str]:
    """Say how the lawn side runs, where the book wants it curved."""
    if rules.bed_line != "curved":
        return []
    straight = [
        letter_of(at) for at, bed in enumerate(beds) if rules.straight_words in bed["cautions"]
    ]
    curved_ft = sum(
        bed["bed_line_ft"] for bed in beds if rules.straight_words not in bed["cautions"]
    )
    told = []
    if curved_ft >= 1:
        told.append(
            f"The lawn side swings in an easy curve that a mower follows, {write_feet(curved_ft)} of bed line."
        )
    if straight:
        which = (
            f"Bed {straight[0]} keeps"
            if len(straight) == 1
            else f"Beds {' and '.join(straight)} keep"
        )
        told.append(f"{which} a straight line: there is no room for a curve that a mower follows.")
    return told


def grown_words(plant: Mapping[Any, Any]) -> str:
    """Say how large a plant grows; blank: nobody knows which it is.

    >>> grown_words({"plant": "catmint", "height_in": 24, "spread_in": 30})
    ' (2 ft tall, 2½ ft wide)'
    """
    height, spread = (write_feet(plant[f"{name}_in"] / IN_PER_FT) for name in ("height", "spread"))
    return f" ({height} tall, {spread} wide)" if plant["plant"] else ""


def drawn_from(beds: Sequence[Mapping[Any, Any]]) -> str:
    """Say what a drawing rests on: which lengths were measured, and when.

    >>> drawn_from([{"edge_source": "measured", "measured_on": "2026-03-16"}, {"edge_source": "surveyed"}])
    'Lengths measured on March 16, 2026: A. All else is drawn from maps.'
    """
    letters = defaultdict[str, list[str]](list)
    for at, bed in enumerate(beds):
        if bed["edge_source"] == "measured":
            letters[bed["measured_on"]].append(letter_of(at))
    told = "; ".join(
        f"on {write_day(date.fromisoformat(day)) if day else 'the lot'}: {', '.join(own)}"
        for day, own in sorted(letters.items())
    )
    return f"Lengths measured {told}. All else is drawn from maps." if told else NO_SURVEY


def drawn_words(bed: Mapping[Any, Any], place: int) -> BedWords:
    """Give what the drawing writes at a bed."""
    length, depth = write_feet(bed["edge_ft"]), write_feet(bed["mean_depth_ft"])
    where = "along the wall" if bed["along"] == "house" else place_words(bed)
    return BedWords(letter_of(place), length, depth, f"{length} {where}, {depth} deep")
