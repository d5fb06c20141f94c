"""What pages with a drawing draw: the ground of some clients' lots, beds as sold together, plants by name."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any, NamedTuple

import pandas as pd
import shapely

from scanner import pipeline
from scanner.job.planting import place_plants
from scanner.job.species import choose_plants, size_words
from scanner.pages.drawing.scene import LotPlan
from scanner.schema.documents import Book, Scan, Season
from scanner.schema.plant_list import Plant
from scanner.schema.tables import PLAN_LAYERS, PLAN_SHAPES, empty_table
from scanner.units import IN_PER_FT

ALONG_LAYERS = {"curb": "street"}
BETWEEN_FT, HARD_FT = 16.0, 5.0
"""Beds measured on foot are drawn so far apart, and so much of what they lie along is shown."""

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
    found: Scan,
    beds: pd.DataFrame,
    follow: pd.DataFrame,
    finishes: Mapping[str, str],
    *,
    with_on_foot: bool = False,
) -> Plans:
    """
    Draw up the plans of some clients.

    ``beds``: rows of `OFFER_BEDS` that are drawn, one offer a client, in the order of their
    letters; ``follow``: beds that could follow, alone. Who has only beds measured on foot has no
    plan, or ``with_on_foot`` one of lengths and depths.
    """
    on_foot = _lay_out(beds) if with_on_foot else beds.iloc[:0]
    beds_on_foot, follow_on_foot = on_foot, follow[follow["client_id"].isin(on_foot["client_id"])]
    beds, follow = beds[beds["frame"] != ""], follow[follow["frame"] != ""]
    beds, follow = pd.concat([beds, beds_on_foot]), pd.concat([follow, follow_on_foot])
    clients = beds.loc[beds["frame"] != "", "client_id"].unique().tolist()
    placed, chosen, problems = name_plants(book, season, beds, finishes)
    plants = placed.merge(chosen, on=["offer_id", "bed_id", "planting", "is_front"])
    plants = plants.assign(spread_ft=plants["spread_in"] / IN_PER_FT)
    owner = beds.drop_duplicates("offer_id").set_index("offer_id")["client_id"]
    plants["client_id"] = plants["offer_id"].map(owner)
    ground = (
        pipeline.list_ground(book, season, found, clients) if clients else empty_table(PLAN_SHAPES)
    )
    ground = pd.concat([ground, _ground_of(on_foot)], ignore_index=True)
    beds = beds.assign(measured_on=_measured_on(beds, season.measurements))
    addresses = book.clients.set_index("client_id")["address"]
    plans = {
        str(client): LotPlan(
            ground=own,
            beds=beds[beds["client_id"] == client].reset_index(drop=True),
            follow=follow[follow["client_id"] == client],
            plants=plants[plants["client_id"] == client],
            street=street_of(addresses.get(client, ""), own),
            rules=book.rules,
            is_schematic=client in set(on_foot["client_id"]),
        )
        for client, own in ground.groupby("client_id", sort=False)
    }
    return Plans(plans, chosen, problems)


def _measured_on(beds: pd.DataFrame, measurements: pd.DataFrame) -> list[str]:
    """Give the day on which each bed was measured, by itself or with all of its kind; blank: not known."""
    days = {
        (one["client_id"], one["bed_id"] or one["along"]): one["measured_on"]
        for one in measurements.to_dict("records")
    }
    return [
        days.get((client, bed), days.get((client, along), ""))
        for client, bed, along in beds[["client_id", "bed_id", "along"]].to_numpy().tolist()
    ]


def _lay_out(beds: pd.DataFrame) -> pd.DataFrame:
    """Lay the beds of clients who have none that lies anywhere one above the other."""
    drawn = set(beds.loc[beds["frame"] != "", "client_id"])
    own = beds[~beds["client_id"].isin(drawn)]
    row = own.groupby("client_id").cumcount().to_numpy(float)
    step_ft = (
        own.groupby("client_id")["mean_depth_ft"].transform("max").to_numpy(float) + BETWEEN_FT
    )
    moves = {
        name: [
            shapely.affinity.translate(shape, 0.0, -up)
            for shape, up in zip(own[name], row * step_ft, strict=True)
        ]
        for name in ("geometry", "plantable", "edge", "low_ground")
    }
    return own.assign(**moves)


def _ground_of(on_foot: pd.DataFrame) -> pd.DataFrame:
    """Give what a plan of lengths alone shows round its beds: what each lies along, and the wall's strip."""
    rows = list[tuple[str, str, str, shapely.Geometry]]()
    for bed in on_foot.to_dict("records"):
        x0, y0, x1, _ = bed["edge"].bounds
        layer = ALONG_LAYERS.get(bed["along"], bed["along"])
        if layer in PLAN_LAYERS:
            rows.append(
                (bed["client_id"], layer, "", shapely.box(x0 - 3, y0 - HARD_FT, x1 + 3, y0))
            )
        if bed["wall_strip_ft2"] > 0:
            wall_ft = bed["wall_strip_ft2"] / bed["edge_ft"]
            rows.append(
                (bed["client_id"], "kept_clear", "wall", shapely.box(x0, y0, x1, y0 + wall_ft))
            )
    for client, own in on_foot.groupby("client_id", sort=False):
        shapes = [*own["geometry"], *(shape for who, _, _, shape in rows if who == client)]
        rows.append((str(client), "outline", "", shapely.box(*shapely.total_bounds(shapes))))
    return pd.DataFrame(rows, columns=[*PLAN_SHAPES.columns])


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
        told.append(
            (
                f"{count} {one if count == 1 else many}",
                rows.iloc[0].to_dict()
                | {"plant_size": size_words(str(rows["plant_size"].iloc[0]))},
            )
        )
    return told
