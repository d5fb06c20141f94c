"""The ground of a block's lots: as an earlier scan left it, else looked at now."""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial
from typing import NamedTuple

import numpy as np
import pandas as pd
from geopandas import GeoDataFrame
from numpy.typing import NDArray

from scanner.calls.sales import set_sold_aside
from scanner.ground.drawn.curved_beds import curve_beds
from scanner.ground.drawn.lot_tables import (
    list_beds,
    list_lot_edges,
    list_lots,
    list_notes,
    list_shapes,
)
from scanner.ground.record.corrections import correct_beds, name_measured
from scanner.ground.record.on_foot import size_measured
from scanner.ground.record.stored import match_stored_beds, name_corrected, plant_built
from scanner.ground.sets import combine_beds
from scanner.ground.survey import Survey, survey_block
from scanner.schema.tables import (
    BEDS,
    EDGES,
    LOTS,
    OFFER_BEDS,
    PLANT_COUNTS,
    PROBLEMS,
    SHAPES,
    check_table,
    empty_table,
)
from scanner.sheets.problems import list_problems, note
from scanner.store.blocks import Block
from scanner.store.parquet_tables import Tables, join_tables

GROUND_TABLES = {
    "lots": LOTS, "edges": EDGES, "beds": BEDS, "shapes": SHAPES, "problems": PROBLEMS, "sets": OFFER_BEDS,
    "plants": PLANT_COUNTS,
}  # fmt: skip
"""What is known of lots before anything is priced; `sets` has the sets of beds that were drawn, `plants` what fits there."""

DRAWN = ("edges", "shapes")
"""Those of them that no price hangs on: of lots that are not looked at they are handed on as they were stored."""

Ids = NDArray[np.object_]


class Look(NamedTuple):
    """Some lots looked at: their survey, None where none has an outline, and their beds."""

    survey: Survey | None
    beds: pd.DataFrame


@dataclass
class Ground:
    """The ground of some lots."""

    block: Block  # the block that they lie in
    tables: Tables  # `GROUND_TABLES` of all of them; `DRAWN` of those that were looked at
    looks: list[Look]  # those that were looked at
    kept_ids: Ids  # clients whose ground was taken over from an earlier scan

    @classmethod
    def of(cls, block: Block, client_ids: Ids, kept: Tables, kept_ids: Ids) -> Ground:
        """Take over what is kept of some lots; the others are looked at."""
        kept_ids = np.intersect1d(client_ids, kept_ids)
        look = look_at(block, np.setdiff1d(client_ids, kept_ids))
        found = _list_ground(look, block)
        tables = {name: join_tables([_of(kept[name], kept_ids), found[name]]) for name in kept}
        return cls(block, found | tables, [look], kept_ids)

    @classmethod
    def on_foot(cls, block: Block, client_ids: Ids) -> Ground:
        """Take what was measured on some lots, and nothing that was drawn."""
        look = look_at(block, client_ids, is_drawn=False)
        return cls(block, _list_ground(look, block), [look], client_ids[:0])

    def combine(self, sets: pd.DataFrame) -> pd.DataFrame:
        """Draw sets of beds as table `OFFER_BEDS`, those that were drawn before not again."""
        known = self.tables["sets"]
        place = sets[["offer_id", "bed_id", "place"]]
        laid = [known.merge(place, on=["offer_id", "bed_id"])]
        new = sets[~sets["offer_id"].isin(known["offer_id"])]
        unseen = np.intersect1d(new["client_id"], self.kept_ids)
        if len(unseen):
            self.looks.append(look_at(self.block, unseen))
            self.kept_ids = np.setdiff1d(self.kept_ids, unseen)
        for survey, beds in self.looks:
            own = new[new["client_id"].isin(beds["client_id"])]
            if len(own):
                rules = self.block.book.rules
                drawn = curve_beds(
                    combine_beds(own, beds, survey, rules=rules), survey, rules=rules
                )
                laid.append(drawn.merge(place, on=["offer_id", "bed_id"]))
        found = join_tables(laid).sort_values(["offer_id", "place"], ignore_index=True)
        found = found[[*OFFER_BEDS.columns]]
        is_new = found["offer_id"].isin(new["offer_id"])
        self.tables["sets"] = join_tables([known, found[is_new]])
        return found


def look_at(block: Block, client_ids: Ids, *, is_drawn: bool = True) -> Look:
    """Find the beds of some lots of a block, or those measured on foot alone; what was looked at is not looked at again.

    Raises `GEOSException` where a drawing defeats the geometry library.
    """
    asked = (is_drawn, *sorted(client_ids))
    if asked not in block.looks:
        block.looks[asked] = _look(block, client_ids, is_drawn=is_drawn)
    look: Look = block.looks[asked]
    return look


def _look(block: Block, client_ids: Ids, *, is_drawn: bool) -> Look:
    season, rules = block.season, block.book.rules
    features = block.features(client_ids if is_drawn else client_ids[:0])
    drawn_ids = features.loc[features["kind"] == "property", "client_id"]
    on_land = np.intersect1d(client_ids, drawn_ids.to_numpy(object))
    measured = _of(block.book.measured, client_ids)
    survey, drawn = None, empty_table(BEDS)
    if len(on_land):
        survey = survey_block(
            plant_built(features, season.beds), on_land, block.book.clients,
            rules=rules, stored=season.beds, answers=season.answers,
        )  # fmt: skip
        drawn = name_measured(list_beds(survey), measured, season.stored)
        before = _before_built(block, features, _of(measured, on_land))
        drawn, measured = correct_beds(drawn, measured, before=before, rules=rules)
        drawn = name_corrected(drawn, season.stored)
    match = partial(match_stored_beds, stored=season.beds, frame="", rules=rules)
    on_foot = match(size_measured(measured, rules=rules, answers=season.answers))
    beds = join_tables([drawn, on_foot]).sort_values("bed_id", ignore_index=True)
    return Look(survey, set_sold_aside(check_table(beds, BEDS), season.jobs))


def _before_built(block: Block, features: GeoDataFrame, measured: pd.DataFrame) -> pd.DataFrame:
    """List the beds of lots where some were built since others like them were measured, as they were before that."""
    stored = block.season.beds
    both = measured.merge(pd.DataFrame(stored), on=["client_id", "along"], suffixes=("", "_built"))
    since = both[(both["built_on"] != "") & (both["built_on"] >= both["measured_on"])]
    if since.empty:
        return empty_table(BEDS)
    is_since = stored["bed_id"].isin(since["bed_id_built"])
    stored = stored.assign(built_on=stored["built_on"].mask(is_since, ""))
    ids = np.unique(since["client_id"].to_numpy(object))
    return list_beds(survey_block(
        plant_built(features, stored), ids, block.book.clients,
        rules=block.book.rules, stored=stored, answers=block.season.answers,
    ))  # fmt: skip


def _list_ground(look: Look, block: Block) -> Tables:
    nothing = {name: empty_table(schema) for name, schema in GROUND_TABLES.items()}
    beds = curve_beds(look.beds, look.survey, rules=block.book.rules)
    found = nothing | {"beds": beds.loc[:, [*BEDS.columns]]}
    if look.survey is None:
        return found
    return found | {
        "lots": list_lots(look.survey),
        "edges": list_lot_edges(look.survey),
        "shapes": list_shapes(look.survey, beds),
        "problems": join_tables(
            [
                list_notes(look.survey, rules=block.book.rules),
                _list_lost(look.survey, look.beds, block),
            ]
        ),
    }


def _list_lost(survey: Survey, beds: pd.DataFrame, block: Block) -> pd.DataFrame:
    """List beds that were measured by themselves and are drawn no more, unless they were built."""
    measured = _of(block.book.measured, survey.lots.client_id)
    stored = block.season.stored
    known = {"", *beds["bed_id"], *stored.loc[stored["built_on"] != "", "bed_id"]}
    return list_problems(
        note(
            "", bed["bed_id"], f"this bed was measured on {bed['measured_on']}, and is drawn no more",
            f"measure what is there now: record BOOK visit {bed['client_id']} --edge {bed['along']}=FEET",
            client_id=bed["client_id"],
        )
        for bed in measured.to_dict("records") if bed["bed_id"] not in known
    )  # fmt: skip


def _of(table: pd.DataFrame, client_ids: Ids) -> pd.DataFrame:
    return table[table["client_id"].isin(client_ids)]
