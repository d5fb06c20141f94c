"""Sets of a block's beds: drawn, taken off and priced as one job each."""

from __future__ import annotations

import numpy as np
import pandas as pd

from scanner.ground.sets import combine_beds
from scanner.ground.survey import Survey
from scanner.job.line_items import itemize
from scanner.job.planting import place_plants
from scanner.job.prices import price_offers
from scanner.job.quantities import take_off
from scanner.schema.documents import Book, Season
from scanner.schema.tables import OFFER_BEDS


class Desk:
    """
    Draws and prices sets of beds, and keeps what it made.

    Parameters
    ----------
    book
        Rates, rules, clients.
    season
        What crews saw.
    beds
        Table `BEDS` of the block.
    survey
        The block; None where all was measured on foot.
    """

    def __init__(
        self, book: Book, season: Season, beds: pd.DataFrame, survey: Survey | None
    ) -> None:
        self.book, self.season, self.beds, self.survey = book, season, beds, survey
        self.made = list[dict[str, pd.DataFrame]]()

    def lay(self, offer_beds: pd.DataFrame) -> pd.DataFrame:
        """
        Take off and price beds as they lie.

        Parameters
        ----------
        offer_beds
            Table `OFFER_BEDS`.

        Returns
        -------
        leads
            Table `PRICES`, the lead finish of each offer.
        """
        clients, rates, answers = self.book.clients, self.book.rates, self.season.answers
        plants = place_plants(offer_beds, rates=rates)
        quantities = take_off(offer_beds, plants, clients, rates=rates, answers=answers)
        prices = price_offers(offer_beds, quantities, clients, rates=rates, answers=answers)
        self.made.append({
            "offer_beds": offer_beds[[*OFFER_BEDS.columns]], "quantities": quantities, "prices": prices,
        })  # fmt: skip
        return prices[prices["is_lead"]]

    def lay_sets(self, sets: dict[str, tuple[str, ...]]) -> pd.DataFrame:
        """
        Draw and price sets of beds, each as one job.

        Parameters
        ----------
        sets
            Ids of beds by offer id.

        Returns
        -------
        leads
            Table `PRICES`, the lead finish of each, by offer id.
        """
        rows = [
            (name, bed_id, place) for name, ids in sets.items() for place, bed_id in enumerate(ids)
        ]
        table = pd.DataFrame(rows, columns=["offer_id", "bed_id", "place"]).merge(
            self.beds[["bed_id", "client_id"]], on="bed_id"
        )
        laid = combine_beds(table, self.beds, self.survey, rules=self.book.rules)
        return self.lay(laid).set_index("offer_id")

    def keep(self, offer_ids: np.ndarray, listed: np.ndarray) -> dict[str, pd.DataFrame]:
        """
        Put together what was made of some offers.

        Parameters
        ----------
        offer_ids
            Offers to keep.
        listed
            Offers whose lead finish is written out line by line.

        Returns
        -------
        tables
            ``offer_beds quantities prices line_items`` by name.
        """
        kept = {}
        for name in self.made[0]:
            tables = [made[name][made[name]["offer_id"].isin(offer_ids)] for made in self.made]
            filled = [table for table in tables if len(table)] or tables[:1]
            kept[name] = pd.concat(filled, ignore_index=True)
        asked = kept["prices"][kept["prices"]["is_lead"] & kept["prices"]["offer_id"].isin(listed)]
        items = itemize(
            asked, kept["offer_beds"], kept["quantities"],
            rates=self.book.rates, answers=self.season.answers,
        )  # fmt: skip
        return {**kept, "line_items": items}
