"""
Which species goes where: the first of the list that lives there, stays low, narrow and in its light.

One species a bed; in a full planting of several rows the front row is lower by half.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd

from scanner.job.counting import whole_cents
from scanner.schema.crew_answers import words_by_client
from scanner.schema.documents import LocalRules, RateBook
from scanner.schema.edge_kinds import STREET_SIDE
from scanner.schema.log_tables import WISHES
from scanner.schema.plant_list import LIGHTS, Light, Plant, zone_span
from scanner.schema.rate_book import PlantSize
from scanner.schema.tables import CHOSEN_PLANTS, PLANTS, check_table, empty_table
from scanner.sheets.problems import fault, list_problems, note, shown
from scanner.units import IN_PER_FT

FRONT_SHARE = 0.5
"""A front row grows at most so tall beside the plants behind it (our rule, no source)."""

SLACK_IN = 0.01
"""A plant that just fits does: positions are on a grid, circles are drawn with corners."""

LIST_REMEDY = "add a species to plants.toml, or name another with the client's answer"

Plants = Mapping[str, Plant]


@dataclass(frozen=True)
class Place:
    """What a species must put up with in a bed."""

    # bed_id, client_id: the bed and whose it is
    bed_id: str
    client_id: str
    # most_height_in, most_spread_in: how large it may grow [in]
    most_height_in: float
    most_spread_in: float
    size: PlantSize  # size that the rate book plants
    lights: tuple[Light, ...]  # sun that it must stand, each of them
    zone: str  # as in local.toml; blank: not known

    def refuses(self, plant: Plant) -> str:
        """Say why a species does not fit: the first reason; blank: it fits."""
        ends = zone_span(self.zone) if self.zone else plant.zone_span
        missing = [light for light in self.lights if light not in plant.sun]
        reasons = (
            (not plant.zone_span[0] <= ends[0] <= ends[1] <= plant.zone_span[1],
             f"live in zones {plant.zones}, and this is zone {self.zone}"),
            (plant.height_in > self.most_height_in, f"grow {plant.height_in:g} in tall, and {self.most_height_in:g} in is the most there"),
            (plant.spread_in > self.most_spread_in + SLACK_IN, f"grow {plant.spread_in:g} in wide, and {self.most_spread_in:.0f} in is the most there"),
            (bool(missing), f"do not stand {light_words(missing)}"),
            (self.size not in plant.sizes, f"are not sold in {size_words(self.size)}"),
        )  # fmt: skip
        return next((words for is_so, words in reasons if is_so), "")

    def words(self) -> str:
        """Say all that a species must put up with, for whoever looks for one."""
        zone = f"zone {self.zone}, " if self.zone else ""
        height = (
            f"{self.most_height_in:g} in tall at most, " if self.most_height_in < np.inf else ""
        )
        return f"{zone}{light_words(self.lights)}, {height}{self.most_spread_in:.0f} in wide at most, sold in {size_words(self.size)}"


def light_words(lights: Iterable[Light]) -> str:
    """Say what sun there is.

    >>> light_words(("sun", "part"))
    'sun and part shade'
    """
    return " and ".join({"part": "part shade"}.get(light, light) for light in lights)


def size_words(size: str) -> str:
    """
    Write a size of pots as in the rate book, with a blank before its unit.

    >>> size_words("3gal")
    '3 gal'
    """
    return f"{size.removesuffix('gal')} gal"


def choose_plants(
    plants: pd.DataFrame, offer_beds: pd.DataFrame, answers: pd.DataFrame,
    *, species: Plants, rules: LocalRules, rates: RateBook,
) -> tuple[pd.DataFrame, pd.DataFrame]:  # fmt: skip
    """
    Choose the species of each bed: table `CHOSEN_PLANTS`, in the order of `plants`, and what was not to be had.

    `plants`: table `PLANTS`, the plantings that are asked for; `answers`: ``sun`` and ``plant`` of
    the clients; `species`: the list, in the order in which species are preferred; `rules`: zone,
    and the most height [in]; `rates`: sizes planted and what they cost. Problems are noted where no
    species fits, a wish cannot be met, or a zone is not known.
    """
    check_table(plants, PLANTS)
    beds = offer_beds[["offer_id", "bed_id", "client_id", "along", "low_plant_ft2"]]
    keys = ["offer_id", "bed_id", "planting", "is_front"]
    groups = plants.groupby(keys, sort=False, as_index=False).agg(
        plant_count=("x_ft", "size"), room_ft=("room_ft", "min")
    )
    groups = groups.merge(beds, on=["offer_id", "bed_id"], how="left")
    sun, wished = (dict(words_by_client(answers, name).items()) for name in WISHES)
    rows, told = list[dict[str, Any]](), defaultdict[tuple[str, str], list[str]](list)
    by_bed = defaultdict[tuple[Any, ...], list[dict[Any, Any]]](list)
    for row in groups.to_dict("records"):
        by_bed[tuple(row[key] for key in keys[:3])].append(row)
    for bed in by_bed.values():
        place = _place_of(bed, sun, rules, rates)
        name, why = _pick(place, species, wished.get(place.client_id, ""))
        for words in why:
            told[place.client_id, words].append(place.bed_id)
        rows += _rows_of(bed, place, name, species)
    problems = [
        fault("plants.toml", f"bed{'s' * (len(beds) > 1)} {', '.join(beds)}", words, LIST_REMEDY, client_id=client)
        for (client, words), beds in told.items()
    ]  # fmt: skip
    if len(rows) and not rules.zone:
        problems.append(note("local.toml", "zone", "no hardiness zone is set, so nobody looked which plants live through the winter",
                             'write zone = "5b", with your own zone'))  # fmt: skip
    if not rows:
        return empty_table(CHOSEN_PLANTS), list_problems(problems)
    chosen = _price(pd.DataFrame(rows), species, rates)
    return check_table(chosen[[*CHOSEN_PLANTS.columns]], CHOSEN_PLANTS), list_problems(problems)


def _place_of(
    bed: list[dict[Any, Any]], sun: Mapping[Any, str], rules: LocalRules, rates: RateBook
) -> Place:
    first = bed[0]
    is_street = first["along"] in STREET_SIDE
    by_kind: tuple[Light, ...] = ("sun",) if is_street else ("sun", "part")
    told = tuple(light for light in LIGHTS if light == sun.get(first["client_id"]))
    tall_in = rules.setbacks.curb_plant_in if is_street else np.inf
    return Place(
        bed_id=first["bed_id"],
        client_id=first["client_id"],
        most_height_in=min(rules.setbacks.triangle_plant_in, tall_in) if first["low_plant_ft2"] > 0 else tall_in,
        most_spread_in=2 * IN_PER_FT * min(row["room_ft"] for row in bed),
        size=rates.accent_size if first["planting"] == "accent" else rates.plant_size,
        lights=told or by_kind,
        zone=rules.zone,
    )  # fmt: skip


def _pick(place: Place, species: Plants, wish: str) -> tuple[str, list[str]]:
    """Choose a bed's species, blank for none, and say what of a wish cannot be met."""
    told = list[str]()
    if wish:
        wished = [
            name
            for name, plant in species.items()
            if wish.casefold() in (name, plant.one.casefold(), plant.many.casefold())
        ]
        why = place.refuses(species[wished[0]]) if wished else ""
        if wished and not why:
            return wished[0], []
        words = f": {species[wished[0]].many} {why}" if wished else ", which is not in plants.toml"
        told.append(f"the client likes {shown(wish)}{words}; the first species that fits is taken")
    name = next((name for name, plant in species.items() if not place.refuses(plant)), "")
    if not name:
        told.append(f"no species in plants.toml fits: {place.words()}; plants stay without a name")
    return name, told


def _rows_of(
    bed: list[dict[Any, Any]], place: Place, name: str, species: Plants
) -> Iterator[dict[str, Any]]:
    """Give the rows of a bed: one, or two where the front row has a lower species."""
    front = ""
    if name and any(row["is_front"] for row in bed):
        half_in = min(place.most_height_in, species[name].height_in * FRONT_SHARE)
        lower = replace(place, most_height_in=half_in)
        front = next((own for own, plant in species.items() if not lower.refuses(plant)), "")
    for row in bed:
        own = front if row["is_front"] and front else name
        plant = species[own] if own else None
        count = int(row["plant_count"])
        one, many = (plant.one, plant.many) if plant else ("plant", "plants")
        yield {str(key): value for key, value in row.items()} | {
            "plant": own, "plant_size": place.size,
            "plants": f"{count} {one if count == 1 else many}, {size_words(place.size)}",
            "height_in": plant.height_in if plant else np.nan,
            "spread_in": plant.spread_in if plant else place.most_spread_in,
        }  # fmt: skip


def _price(rows: pd.DataFrame, species: Plants, rates: RateBook) -> pd.DataFrame:
    """Price what a species' own price adds to the job, warranty and margin with it."""
    usual_usd = np.array([getattr(rates, f"plant_{size}_usd").value for size in rows["plant_size"]])
    own_usd = np.array([
        species[name].price_usd.get(size, usual) if name else usual
        for name, size, usual in zip(rows["plant"], rows["plant_size"], usual_usd, strict=True)
    ])  # fmt: skip
    added_usd = (own_usd - usual_usd) * rows["plant_count"].to_numpy()
    added_usd *= (1 + rates.plant_warranty_share.value) / (1 - rates.gross_margin_share.value)
    extra_cents = np.sign(added_usd).astype(int) * whole_cents(abs(added_usd))
    return rows.assign(extra_cents=extra_cents)
