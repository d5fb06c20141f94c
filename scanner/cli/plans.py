"""What pages with a drawing draw: the ground of some clients' lots, beds as sold together, plants by name."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any, NamedTuple

import pandas as pd

from scanner import pipeline
from scanner.job.planting import place_plants
from scanner.job.species import choose_plants
from scanner.pages.drawing.scene import LotPlan
from scanner.schema.documents import Book, Season
from scanner.schema.plant_list import Plant
from scanner.units import IN_PER_FT

PLANTING = {"accent": "accent", "gravel": "accent", "planted": "planted"}
"""Which plants a finish has; mulch alone has none."""


class Plans(NamedTuple):
    """Plans by client, and the species that were chosen for their beds."""

    plans: dict[str, LotPlan]
    chosen: pd.DataFrame  # table CHOSEN_PLANTS
    problems: pd.DataFrame  # table PROBLEMS: where none fits


def draw_up_plans(
    book: Book,
    season: Season,
    beds: pd.DataFrame,
    follow: pd.DataFrame,
    finishes: Mapping[str, str],
) -> Plans:
    """Draw up the plans of some clients.

    ``beds``: rows of `OFFER_BEDS` that are drawn, one offer a client, in the order of their letters; ``follow``:
    beds that could follow, alone; ``finishes``: the finish by offer, which tells the plants. Beds measured on
    foot lie nowhere: whoever has no other has no plan.
    """
    beds, follow = beds[beds["frame"] != ""], follow[follow["frame"] != ""]
    clients = beds["client_id"].unique().tolist()
    placed, chosen, problems = name_plants(book, season, beds, finishes)
    plants = placed.merge(chosen, on=["offer_id", "bed_id", "planting", "is_front"])
    plants = plants.assign(spread_ft=plants["spread_in"] / IN_PER_FT)
    owner = beds.drop_duplicates("offer_id").set_index("offer_id")["client_id"]
    plants["client_id"] = plants["offer_id"].map(owner)
    ground = pipeline.list_ground(book, season, clients)
    addresses = book.clients.set_index("client_id")["address"]
    plans = {
        str(client): LotPlan(
            ground=own,
            beds=beds[beds["client_id"] == client].reset_index(drop=True),
            follow=follow[follow["client_id"] == client],
            plants=plants[plants["client_id"] == client],
            street=street_of(addresses.get(client, ""), own),
            rules=book.rules,
        )
        for client, own in ground.groupby("client_id", sort=False)
    }
    return Plans(plans, chosen, problems)


def name_plants(
    book: Book, season: Season, beds: pd.DataFrame, finishes: Mapping[str, str]
) -> tuple[pd.DataFrame, pd.DataFrame, pd.DataFrame]:
    """Place the plants of each offer's finish and name their species: tables `PLANTS`, `CHOSEN_PLANTS`, `PROBLEMS`."""
    placed = place_plants(beds, rates=book.rates)
    wanted = placed["offer_id"].map(finishes).map(PLANTING)
    placed = placed[placed["planting"] == wanted]
    chosen, problems = choose_plants(
        placed, beds, season.answers, species=book.plants, rules=book.rules, rates=book.rates
    )
    return placed, chosen, problems


def street_of(address: str, ground: pd.DataFrame) -> str:
    """Name the street that a lot lies at, where there is one only and the address begins with a number.

    >>> nothing = pd.DataFrame({"what": [""]})
    >>> street_of("117 Clover Street, Quillbrook", nothing), street_of("12 and 14 Elm St", nothing)
    ('Clover Street', '')
    """
    if (ground["what"] == "corner").any():
        return ""
    found = re.match(r"\d+\w?\s+(?!and\b|&)(\w[^,#&]*?)\s*(?:,|$)", address)
    return found[1] if found else ""


def plant_words(
    chosen: pd.DataFrame, species: Mapping[str, Plant]
) -> list[tuple[str, dict[Any, Any]]]:
    """Say how many of each species, over some beds, each with a row that tells its size.

    >>> from scanner.schema.tables import CHOSEN_PLANTS, empty_table
    >>> plant_words(empty_table(CHOSEN_PLANTS), {})
    []
    """
    told = []
    for name, rows in chosen.groupby("plant", sort=False):
        count, plant = int(rows["plant_count"].sum()), species.get(str(name))
        one, many = (plant.one, plant.many) if plant else ("plant", "plants")
        told.append((f"{count} {one if count == 1 else many}", rows.iloc[0].to_dict()))
    return told
