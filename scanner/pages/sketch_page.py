"""The sketch that a client is shown: the beds drawn to scale, what they are, why ground is kept clear, what it costs."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

import numpy as np
import pandas as pd
import shapely

from scanner.pages.bed_words import (
    bed_line,
    drawn_from,
    drawn_words,
    grown_words,
    letter_of,
    line_words,
    place_words,
)
from scanner.pages.drawing.lot_drawing import SCALE_LINE, Drawn, Field, draw_key_plan, draw_lot
from scanner.pages.drawing.scene import LotPlan, Scene, set_scene
from scanner.pages.paper.column import WRITE_PITCH, Column
from scanner.pages.paper.look import HINT, LIST, PAPERS
from scanner.pages.paper.sheet import HEAD_DEPTH, Paper
from scanner.pages.plan_page import write_day, write_feet
from scanner.schema.documents import FINISH_LONG_WORDS, FINISHES, Company, RateBook
from scanner.units import SAID_CENTS, write_usd

RIGHT, GAP = 188.0, 18.0
"""Width of the right column, and what parts it from the left one [pt]."""
MOST, LEAST = 414.0, 280.0
"""How high a drawing is [pt]."""
ABOVE = 8.0
"""Between head and drawing [pt]."""
LEAST_PLAN, MOST_PLAN, PLAN_GAP, CAPTION = 60.0, 150.0, 14.0, 84.0
"""How high a small plan is, how far off, and how wide the words beside it are [pt]."""
LEAST_FT2, LEAST_FT = 0.5, 0.5
"""Less ground, or less of a line, than this is not worth a sentence."""

COVERS = {
    "mulch": "Mulch {mulch:g} in deep",
    "accent": "Mulch {mulch:g} in deep with {plants}",
    "planted": "Compost worked in, mulch {mulch:g} in deep, planted with {plants}",
    "gravel": "Gravel {gravel:g} in deep over fabric with {plants}",
}
AGAIN = " We measure again before the price is fixed."
ON_FOOT = "Lengths and depths as measured on the lot. This is no survey: how the beds lie to each other is not known."


@dataclass(frozen=True)
class Sketch:
    """What one sketch tells."""

    client: Mapping[Any, Any]  # row of CLIENTS
    plan: LotPlan
    finish: str
    plants: Sequence[tuple[str, Mapping[Any, Any]]]  # "6 catmint" with its row of CHOSEN_PLANTS
    offer: Mapping[Any, Any]  # row of OFFERS
    prices: pd.DataFrame  # PRICES of the offer, all finishes
    # PRICES of the beds that could follow, each alone in its lead finish
    follow_prices: pd.DataFrame


@dataclass(frozen=True)
class Sender:
    """Who sends sketches, when, and what holds for all of them."""

    company: Company
    today: date
    good_until: date
    rates: RateBook
    paper: str


def draw_sketches(sketches: Sequence[Sketch], sender: Sender) -> Paper:
    """Draw sketches, a page a client."""
    paper = Paper(PAPERS[sender.paper], title="Sketches of beds")
    for number, sketch in enumerate(sketches):
        if number:
            paper.next_page()
        _draw(paper, sketch, sender)
    return paper


def _draw(paper: Paper, sketch: Sketch, sender: Sender) -> None:
    client, company = sketch.client, sender.company
    scene = set_scene(sketch.plan)
    beds = sketch.plan.beds.to_dict("records")
    told = (company.name, company.phone, f"drawn {write_day(sender.today)}")
    top = paper.head(f"Beds for {client['name'] or client['client_id']}", client["address"], told)
    most, has_small_plan = _most(paper, sketch, scene, sender)
    field = Field(paper.left, top - ABOVE, paper.right - paper.left, most, LEAST)
    words = [drawn_words(bed, at) for at, bed in enumerate(beds)]
    drawn = draw_lot(paper, scene, words, field, has_small_plan=has_small_plan)
    full = Column.full(paper, drawn.bottom)
    right = full.part(full.width - RIGHT, full.width)
    _right(right, sketch, sender, is_dashed=_shows(drawn, scene.follow))
    if drawn.is_part and has_small_plan and not scene.is_schematic:
        _small_plan(right, scene, drawn)
    left = full.part(0, full.width - RIGHT - GAP)
    _left(left, sketch, sender, scene)
    if left.room > WRITE_PITCH * 2 + 30:
        left.gap(6)
        left.section("Notes")
        left.lines(int(left.room / WRITE_PITCH))
    is_measured = all(bed["edge_source"] == "measured" for bed in beds)
    rests_on = drawn_from(beds) + AGAIN * (not is_measured)
    paper.foot(ON_FOOT if scene.is_schematic else rests_on, client["client_id"])


def _most(paper: Paper, sketch: Sketch, scene: Scene, sender: Sender) -> tuple[float, bool]:
    """Say how high the drawing may be so that words and small plan find room under it [pt], and whether that does."""
    trial = Column.trial(paper.width)
    left, right = trial.part(0, trial.width - RIGHT - GAP), trial.part(0, RIGHT)
    _left(left, sketch, sender, scene)
    _right(right, sketch, sender, is_dashed=True)
    room = paper.top - paper.bottom - HEAD_DEPTH - ABOVE - SCALE_LINE
    with_plan = room + min(left.y, right.y - LEAST_PLAN - PLAN_GAP)
    has_small_plan = with_plan >= LEAST
    most = with_plan if has_small_plan else room + min(left.y, right.y)
    return min(MOST, max(LEAST, most)), has_small_plan


def _left(column: Column, sketch: Sketch, sender: Sender, scene: Scene) -> None:
    column.section("What we would build")
    beds = sketch.plan.beds.to_dict("records")
    for at, bed in enumerate(beds):
        column.bed(letter_of(at), bed_line(bed), f"{bed['area_ft2']:.0f} ft²")
    column.words(" ".join(_sentences(beds, sketch, sender.rates)))
    if scene.is_schematic:
        column.words(
            "We look on the lot for meters, hydrants, trees and street corners: what must be kept clear there is not drawn."
        )
    if scene.kept:
        column.gap(6)
        column.section("Kept clear, and why")
        for kept in scene.kept:
            column.kept_clear(kept.number, kept.sentence)


def _sentences(beds: Sequence[Mapping[Any, Any]], sketch: Sketch, rates: RateBook) -> list[str]:
    plants = " and ".join(f"{words}{grown_words(plant)}" for words, plant in sketch.plants)
    cover = COVERS[sketch.finish if plants or sketch.finish == "gravel" else "mulch"].format(
        mulch=rates.mulch_depth_in.value, gravel=rates.gravel_depth_in.value, plants=plants
    )
    strips = [bed for bed in beds if _is_strip(bed)]
    lawn_ft, ends_ft = (
        sum(bed["bed_line_ft"] for bed in beds if _is_strip(bed) == is_strip)
        for is_strip in (False, True)
    )
    edged = (
        "on the lawn side"
        if lawn_ft > LEAST_FT
        else "at its open end"
        if ends_ft > LEAST_FT
        else ""
    )
    told = [cover.removesuffix(" with ") + (f", edged {edged}." if edged else ".")]
    told += line_words(beds, sketch.plan.rules)
    if strips:
        depth = write_feet(max(bed["mean_depth_ft"] for bed in strips))
        told.append(
            f"The strip to the sidewalk is {depth}, so all its turf goes: nothing left to mow or trim there."
        )
    elif any(bed["absorbed_ft2"] > LEAST_FT2 for bed in beds):
        told.append("Turf too narrow to mow is taken in: nothing left to trim there.")
    if any(bed["right_of_way_ft2"] > LEAST_FT2 for bed in beds):
        whose = "The strip is" if all(bed["along"] == "curb" for bed in beds) else "Part of it is"
        told.append(f"{whose} city ground: we ask whether a permit is needed.")
    if any(bed["is_opening_guessed"] for bed in beds):
        told.append("Where your drive meets the street is not on our maps: we look there first.")
    return told


def _is_strip(bed: Mapping[Any, Any]) -> bool:
    """Tell whether a bed takes the whole grass between curb and sidewalk: turf stays at its ends at most."""
    is_whole = bed["bed_line_ft"] < bed["edge_ft"] / 2
    return bool(bed["along"] == "curb" and bed["absorbed_ft2"] > LEAST_FT2 and is_whole)


def _shows(drawn: Drawn, shapes: np.ndarray) -> bool:
    return any(shapely.intersects(shapes, window).any() for window in drawn.frame.shown())


def _right(column: Column, sketch: Sketch, sender: Sender, *, is_dashed: bool) -> None:
    column.section("What it costs")
    for price in sorted(
        sketch.prices.to_dict("records"), key=lambda own: FINISHES.index(own["finish"])
    ):
        words = FINISH_LONG_WORDS[price["finish"]]
        kind = LIST.bold if price["finish"] == sketch.finish else LIST
        column.pair(words[0].upper() + words[1:], _range(price), kind)
    column.words("Bold: as drawn. Before tax.", HINT)
    column.words(f"Good until {write_day(sender.good_until)}.", HINT)
    follow = sketch.plan.follow.set_index("bed_id")
    if len(sketch.follow_prices):
        column.gap(6)
        column.section("Could follow (dashed)" if is_dashed else "Could follow")
        for price in sketch.follow_prices.to_dict("records"):
            bed = follow.loc[price["offer_id"]]
            column.pair(f"{write_feet(bed['edge_ft'])} {place_words(bed)}", _range(price))
        saving = sketch.offer["upgrade_saving_cents"]
        if saving >= SAID_CENTS:
            count = len(sketch.offer["upgrade_bed_ids"].split()) - len(sketch.plan.beds)
            which = (
                "All of it"
                if count == len(sketch.follow_prices)
                else "With the first"
                if count == 1
                else f"With the first {count}"
            )
            column.words(
                f"{which} in one job saves about {write_usd(saving // SAID_CENTS * SAID_CENTS)}.",
                HINT,
            )


def _small_plan(column: Column, scene: Scene, drawn: Drawn) -> None:
    column.gap(PLAN_GAP - 4)
    bottom = column.paper.bottom + 4
    size = (column.width - CAPTION, min(MOST_PLAN, column.y - bottom))
    draw_key_plan(column.paper, scene, drawn.frame, (column.right, bottom), size)
    beside = column.part(0, CAPTION - 6)
    beside.y = column.y
    beside.words("The whole lot; dashed: what is drawn above.", HINT)


def _range(price: Mapping[Any, Any]) -> str:
    """Write low and high of a price.

    >>> _range({"price_low_cents": 115_000, "price_high_cents": 175_000})
    '$1,150–1,750'
    """
    low, high = write_usd(price["price_low_cents"]), write_usd(price["price_high_cents"])
    return f"{low}–{high.removeprefix('$')}"
