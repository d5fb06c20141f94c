"""Sets of a block's beds: drawn where beds are near each other, taken off, priced."""

from __future__ import annotations

from collections import defaultdict

import numpy as np
import pandas as pd

from scanner.block_ground import Ground
from scanner.ground.sets import leave_turf, near_beds, single_bed_offers
from scanner.job.line_items import itemize
from scanner.job.planting import PlantCounts
from scanner.job.prices import price_leads, price_offers, take
from scanner.job.quantities import amounts_of, know_lots, take_off
from scanner.schema.documents import Book, Season
from scanner.schema.tables import OFFER_BEDS

Beds = tuple[str, ...]


class Desk:
    """Draws and prices sets of beds; each group of near beds is drawn once."""

    def __init__(self, book: Book, season: Season, ground: Ground) -> None:
        self.book, self.ground, beds = book, ground, ground.tables["beds"]
        self.lots = know_lots(beds, book.clients, rates=book.rates, answers=season.answers)
        alone = single_bed_offers(beds)
        # Beds as they are drawn, alone first, and what is taken off them
        self.drawn = [alone]
        self.plants = PlantCounts(book.rates, ground.tables["plants"])
        self.taken = [take_off(alone, self.lots, rates=book.rates, plants=self.plants)]
        self.amounts = amounts_of(self.taken[0])
        self.is_wildfire = alone["is_wildfire"].to_numpy()
        self.row_of: dict[tuple[Beds, str], int] = {
            ((bed,), bed): row for row, bed in enumerate(alone["bed_id"])
        }
        self.near = defaultdict[str, set[str]](set)
        names = alone["bed_id"].tolist()
        for i, j in zip(*near_beds(alone, rules=book.rules), strict=True):
            self.near[names[i]].add(names[j])
            self.near[names[j]].add(names[i])

    def price_alone(self) -> pd.DataFrame:
        """Price each bed as a job of its own: its lead finish by bed id, with `client_id`."""
        alone = self.drawn[0]
        if alone.empty:
            return pd.DataFrame(
                columns=["client_id", "price_cents", "gross_profit_cents", "crew_days"]
            )
        leads = price_leads(
            self.amounts, np.arange(len(alone)), self.is_wildfire, rates=self.book.rates
        )
        return leads.assign(client_id=alone["client_id"]).set_index(alone["bed_id"])

    def price_sets(self, sets: dict[str, Beds]) -> pd.DataFrame:
        """Draw and price sets of beds, each as one job: the lead finish of each, by offer id."""
        rows = self._lay(sets)
        sizes = np.array([len(beds) for beds in sets.values()])
        leads = price_leads(
            take(self.amounts, rows), np.cumsum(sizes) - sizes, self.is_wildfire[rows],
            rates=self.book.rates,
        )  # fmt: skip
        return leads.set_index(pd.Index(sets, name="offer_id"))

    def _lay(self, sets: dict[str, Beds]) -> np.ndarray:
        """Give the row of each bed as it lies in its set, drawing groups that are not drawn yet."""
        keys = [(group, bed) for beds in sets.values() for bed, group in self._groups(beds)]
        new = sorted({group for group, bed in keys if (group, bed) not in self.row_of})
        if new:
            owner = self.ground.tables["beds"].set_index("bed_id")["client_id"]
            rows = pd.DataFrame(
                [("\n".join(group), bed, at) for group in new for at, bed in enumerate(group)],
                columns=["offer_id", "bed_id", "place"],
            )
            rows = rows.assign(client_id=rows["bed_id"].map(owner))
            laid = self.ground.combine(rows)
            taken = take_off(laid, self.lots, rates=self.book.rates, plants=self.plants)
            first = len(self.is_wildfire)
            self.row_of |= {
                (tuple(name.split("\n")), bed): first + at
                for at, (name, bed) in enumerate(zip(laid["offer_id"], laid["bed_id"], strict=True))
            }
            self.drawn.append(laid)
            self.taken.append(taken)
            self.amounts = {
                name: np.concatenate([self.amounts[name], own])
                for name, own in amounts_of(taken).items()
            }
            self.is_wildfire = np.concatenate([self.is_wildfire, laid["is_wildfire"].to_numpy()])
        return np.array([self.row_of[key] for key in keys], dtype=np.intp)

    def _groups(self, beds: Beds) -> list[tuple[str, Beds]]:
        """Name the beds of a set that each is drawn with: those near it, and those near these."""
        group_of = dict[str, Beds]()
        for bed in beds:
            if bed in group_of:
                continue
            group, open_beds = {bed}, [bed]
            while open_beds:
                more = (self.near[open_beds.pop()] & set(beds)) - group
                group |= more
                open_beds += more
            group_of |= dict.fromkeys(group, tuple(sorted(group)))
        return [(bed, group_of[bed]) for bed in beds]

    def keep(self, sets: dict[str, Beds], listed: list[str]) -> dict[str, pd.DataFrame]:
        """
        Price each bed alone and some sets in every finish.

        The lead finish of offers `listed` is written out line by line. Gives ``offer_beds
        quantities prices line_items plants`` by name.
        """
        rates, alone = self.book.rates, len(self.drawn[0])
        # By name, whichever leads: a bed keeps its letter on all papers, also when it was measured
        sets = {name: tuple(sorted(beds)) for name, beds in sets.items() if len(beds) > 1}
        rows = self._lay(sets)
        drawn = pd.concat(self.drawn, ignore_index=True)
        names = [name for name, beds in sets.items() for _ in beds]
        together = drawn.iloc[rows].assign(offer_id=np.array(names, dtype="str"))
        lawn_ft2 = self.ground.tables["lots"].set_index("client_id")["lawn_ft2"]
        together = leave_turf(together, lawn_ft2)
        offer_beds = pd.concat([drawn.iloc[:alone], together], ignore_index=True)
        taken = pd.concat(self.taken, ignore_index=True)
        quantities = pd.concat([taken.iloc[:alone], taken.iloc[rows]], ignore_index=True)
        quantities = quantities.assign(offer_id=offer_beds["offer_id"])
        prices = price_offers(offer_beds, quantities, self.lots, rates=rates)
        asked = prices[prices["is_lead"] & prices["offer_id"].isin(listed)]
        return {
            "offer_beds": offer_beds[[*OFFER_BEDS.columns]],
            "quantities": quantities,
            "prices": prices,
            "line_items": itemize(asked, quantities, rates=rates),
            "plants": self.plants.table(),
        }
