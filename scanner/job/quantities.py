"""Quantities of each bed: what is stripped, hauled, laid and planted."""

from __future__ import annotations

import numpy as np
import pandas as pd

from scanner.job.counting import Amounts, FloatArray, whole_loads
from scanner.job.planting import PlantCounts
from scanner.schema.crew_answers import numbers_by_client, words_by_client
from scanner.schema.documents import RateBook
from scanner.schema.edge_kinds import STREET_SIDE
from scanner.schema.log_tables import ANSWERS
from scanner.schema.tables import QUANTITIES, check_table, empty_table
from scanner.units import FT2_IN_PER_YD3

FT2_PER_COMPOST_RATE = 1000.0
"""Square feet that the compost rate is given for (yd³ per 1,000 ft²)."""

HEADS = "heads along edge"
FT_PER_HEAD_RATE = 100.0
"""Feet of edge that the sprinkler-head rate is given for (heads per 100 ft)."""


def know_lots(
    beds: pd.DataFrame,
    clients: pd.DataFrame,
    *,
    rates: RateBook,
    answers: pd.DataFrame | None = None,
) -> pd.DataFrame:
    """
    Gather what clients and crews said of each lot: one row a ``client_id``.

    `heads_per_ft` of edge (counted ones are shared out by the length of the edges that they were counted along),
    `sprinklers_unknown`, `gate_in` and `slope_percent` (NaN: not seen). `beds`: all of these lots
    [ft]; `answers`: None: no crew has looked yet.
    """
    answers = empty_table(ANSWERS) if answers is None else answers
    alone = beds.drop_duplicates("bed_id")
    edge_ft = alone.groupby("client_id")["edge_ft"].sum()
    counted_along = words_by_client(answers, HEADS).str.split().explode()
    own = alone[alone["bed_id"].isin(counted_along)].groupby("client_id")["edge_ft"].sum()
    counted, gate_in, slope_percent = (
        numbers_by_client(answers, question).reindex(edge_ft.index)
        for question in (HEADS, "gate width in", "slope percent")
    )
    sprinklers = clients.set_index("client_id")["sprinklers"].reindex(edge_ft.index)
    by_rate = (sprinklers == "yes") * rates.heads_per_100ft.value / FT_PER_HEAD_RATE
    return pd.DataFrame({
        "heads_per_ft": (counted / own.reindex(edge_ft.index).fillna(edge_ft)).fillna(by_rate),
        "sprinklers_unknown": ~sprinklers.isin(["yes", "no"]) & counted.isna(),
        "gate_in": gate_in,
        "slope_percent": slope_percent,
    })  # fmt: skip


def take_off(
    offer_beds: pd.DataFrame,
    lots: pd.DataFrame,
    *,
    rates: RateBook,
    plants: PlantCounts | None = None,
) -> pd.DataFrame:
    """
    Take off what each bed of each offer needs.

    Parameters
    ----------
    offer_beds
        Table `OFFER_BEDS`, n rows [ft, ft²]; skipped beds are left out.
    lots
        What `know_lots` gathered of the same lots.
    rates
        Depths [in], spacings, swell, weights [lb/yd³], trailer [lb, yd³].
    plants
        Counts grounds that come again once; None: all are laid out here.

    Returns
    -------
    quantities
        Table `QUANTITIES`, one row a bed kept, in the order of `offer_beds`.

    Raises
    ------
    SchemaError
        If an amount is missing or negative.

    Notes
    -----
    A volume is area times depth over 324 ft²·in/yd³. The strip along a wall is
    skimmed of its sod only, takes no compost and gets gravel in every finish. A loader
    reaches what lies at the street, a front wall, and all else through a gate wide enough.
    """
    beds = kept(offer_beds)
    heads_per_ft = beds["client_id"].map(lots["heads_per_ft"]).to_numpy(float)
    quantities = pd.DataFrame({
        "offer_id": beds["offer_id"],
        "bed_id": beds["bed_id"],
        **_reach(beds, lots, rates),
        **_strip(beds, rates),
        **_cover(beds, rates, plants or PlantCounts(rates)),
        "edging_ft": beds["bed_line_ft"],
        "head_count": beds["edge_ft"].to_numpy() * heads_per_ft,
    })  # fmt: skip
    return check_table(quantities[[*QUANTITIES.columns]], QUANTITIES)


def _reach(beds: pd.DataFrame, lots: pd.DataFrame, rates: RateBook) -> dict[str, np.ndarray]:
    """Tell where machines may dig and whether loader and trailer get there."""
    gate_in = beds["client_id"].map(lots["gate_in"]).to_numpy(float)
    ground_ft2 = _ground_ft2(beds)
    at_front = (beds["along"] == "house") & (beds["face"] == "front")
    is_open = beds["along"].isin(STREET_SIDE) | at_front | (gate_in >= rates.loader_gate_in.value)
    return {
        "ground_ft2": ground_ft2,
        "wall_strip_ft2": beds["wall_strip_ft2"].to_numpy(),
        "machine_ft2": np.maximum(ground_ft2 - beds["hand_dig_ft2"].to_numpy(), 0.0),
        "is_open": is_open.to_numpy(),
        "is_at_curb": (beds["along"] == "curb").to_numpy(),
    }


def _ground_ft2(beds: pd.DataFrame) -> FloatArray:
    ground_ft2: FloatArray = np.maximum((beds["area_ft2"] - beds["wall_strip_ft2"]).to_numpy(), 0.0)
    return ground_ft2


def _strip(beds: pd.DataFrame, rates: RateBook) -> dict[str, np.ndarray]:
    skimmed = beds["wall_strip_ft2"].to_numpy() * rates.skim_depth_in.value
    bank_yd3 = (_ground_ft2(beds) * rates.cut_depth_in.value + skimmed) / FT2_IN_PER_YD3
    loose_yd3 = bank_yd3 * rates.swell_ratio.value
    sod_lb = bank_yd3 * rates.soil_wet_lb_per_yd3.value
    return {
        "sod_bank_yd3": bank_yd3,
        "sod_loose_yd3": loose_yd3,
        "sod_lb": sod_lb,
        "haul_loads": whole_loads(loose_yd3, sod_lb, rates=rates),
    }


def _cover(beds: pd.DataFrame, rates: RateBook, plants: PlantCounts) -> dict[str, np.ndarray]:
    ground_ft2, gravel_in = _ground_ft2(beds), rates.gravel_depth_in.value
    area_ft2, wall_ft2 = beds["area_ft2"].to_numpy(), beds["wall_strip_ft2"].to_numpy()
    accent_count, plant_count = plants.count(beds)
    compost_yd3 = ground_ft2 * rates.compost_yd3_per_1000ft2.value / FT2_PER_COMPOST_RATE
    return {
        "accent_count": accent_count,
        "plant_count": plant_count,
        # where no plant fits there is nothing to improve the soil for
        "compost_yd3": np.where(plant_count > 0, compost_yd3, 0.0),
        "mulch_yd3": ground_ft2 * rates.mulch_depth_in.value / FT2_IN_PER_YD3,
        "gravel_yd3": area_ft2 * gravel_in / FT2_IN_PER_YD3,
        "wall_gravel_yd3": wall_ft2 * gravel_in / FT2_IN_PER_YD3,
        "fabric_ft2": area_ft2,
    }


def amounts_of(quantities: pd.DataFrame) -> Amounts:
    """Take the numbers of table `QUANTITIES` as plain arrays by name."""
    return {
        str(name): quantities[name].to_numpy()
        for name in quantities.columns.drop(["offer_id", "bed_id"])
    }


def kept(offer_beds: pd.DataFrame) -> pd.DataFrame:
    """Keep the beds that are offered: rows without a `skip_reason`, numbered anew from 0."""
    return offer_beds[offer_beds["skip_reason"] == ""].reset_index(drop=True)
