"""What printed pages say of a bed: its letter, where it lies, how long and deep it is."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from string import ascii_uppercase
from typing import Any

from scanner.pages.drawing.dimensions import BedWords
from scanner.pages.plan_page import write_feet
from scanner.schema.edge_kinds import EDGE_KINDS
from scanner.schema.local_rules import LocalRules

HOUSE_PLACES = {
    "front": "at the house front",
    "side": "at the side of the house",
    "back": "at the back of the house",
}


def letter_of(place: int) -> str:
    """Give the letter of a bed: A for the first of an offer.

    >>> letter_of(0), letter_of(27)
    ('A', 'AB')
    """
    rounds, at = divmod(place, len(ascii_uppercase))
    return (ascii_uppercase[rounds - 1] if rounds else "") + ascii_uppercase[at]


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


def drawn_words(bed: Mapping[Any, Any], place: int) -> BedWords:
    """Give what the drawing writes at a bed."""
    length, depth = write_feet(bed["edge_ft"]), write_feet(bed["mean_depth_ft"])
    where = "along the wall" if bed["along"] == "house" else place_words(bed)
    return BedWords(letter_of(place), length, depth, f"{length} {where}, {depth} deep")
