"""Quantities of each bed: what is stripped, hauled, laid and planted."""

from __future__ import annotations

import numpy as np
import pandas as pd

from scanner.job.counting import whole_loads
from scanner.schema.answers import numbers_by_client
from scanner.schema.documents import RateBook
from scanner.schema.log_tables import ANSWERS
from scanner.schema.tables import CLIENTS, OFFER_BEDS, PLANTS, QUANTITIES, check_table, empty_table
from scanner.units import FT2_IN_PER_YD3

HEADS_QUESTION = "heads along edge"
"""What a crew is asked about sprinklers."""

FT2_PER_COMPOST_RATE = 1000.0
"""Square feet that the compost rate is given for (yd³ per 1,000 ft²)."""

FT_PER_HEAD_RATE = 100.0
"""Feet of edge that the sprinkler-head rate is given for (heads per 100 ft)."""


def take_off(
    offer_beds: pd.DataFrame,
    plants: pd.DataFrame,
    clients: pd.DataFrame,
    *,
    rates: RateBook,
    answers: pd.DataFrame | None = None,
) -> pd.DataFrame:
    """
    Take off what each bed of each offer needs.

    Parameters
    ----------
    offer_beds
        Table `OFFER_BEDS`, n rows [ft, ft²]; skipped beds are left out.
    plants
        Table `PLANTS`, the planting grid of the same beds.
    clients
        Table `CLIENTS`: who has sprinklers.
    rates
        Depths [in], swell, weights [lb/yd³], trailer [lb, yd³], heads per 100 ft.
    answers
        Table `ANSWERS`: sprinkler heads that a crew counted along a lot's edges stand in
        for the rate, shared out by the length of each bed's edge. None: none was counted.

    Returns
    -------
    quantities
        Table `QUANTITIES`, one row a bed kept, in the order of `offer_beds`.

    Raises
    ------
    SchemaError
        If a table breaks its schema.

    Notes
    -----
    A volume is area times depth over 324 ft²·in/yd³. The strip along a wall is
    skimmed of its sod only, takes no compost and gets gravel in every finish.

    Examples
    --------
    >>> from scanner.schema.documents import Rate
    >>> from scanner.schema.tables import empty_table
    >>> one = Rate(value=1, low=1, high=1, source="an example")
    >>> rates = RateBook.model_construct(**dict.fromkeys(RateBook.model_fields, one))
    >>> beds, plants = empty_table(OFFER_BEDS), empty_table(PLANTS)
    >>> quantities = take_off(beds, plants, empty_table(CLIENTS), rates=rates)
    >>> len(quantities), quantities.columns[-1]
    (0, 'head_count')
    """
    offer_beds = kept(check_table(offer_beds, OFFER_BEDS))
    clients = check_table(clients, CLIENTS)
    quantities = (
        offer_beds[["offer_id", "bed_id"]]
        .pipe(_add_strip, offer_beds, rates)
        .assign(**_count_plants(offer_beds, check_table(plants, PLANTS)))
        .pipe(_add_cover, offer_beds, rates)
        .assign(head_count=_count_heads(offer_beds, clients, rates, answers))
    )
    return check_table(quantities[[*QUANTITIES.columns]], QUANTITIES)


def kept(offer_beds: pd.DataFrame) -> pd.DataFrame:
    """
    Keep the beds that are offered.

    Parameters
    ----------
    offer_beds
        Table `OFFER_BEDS` or `BEDS`.

    Returns
    -------
    kept
        Rows without a `skip_reason`, numbered anew from 0.
    """
    return offer_beds[offer_beds["skip_reason"] == ""].reset_index(drop=True)


def _add_strip(quantities: pd.DataFrame, offer_beds: pd.DataFrame, rates: RateBook) -> pd.DataFrame:
    wall_ft2 = offer_beds["wall_strip_ft2"]
    bank_yd3 = (
        ground_ft2(offer_beds) * rates.cut_depth_in.value + wall_ft2 * rates.skim_depth_in.value
    ) / FT2_IN_PER_YD3
    loose_yd3 = bank_yd3 * rates.swell_ratio.value
    sod_lb = bank_yd3 * rates.soil_wet_lb_per_yd3.value
    return quantities.assign(
        sod_bank_yd3=bank_yd3,
        sod_loose_yd3=loose_yd3,
        sod_lb=sod_lb,
        haul_loads=whole_loads(loose_yd3.to_numpy(), sod_lb.to_numpy(), rates=rates),
    )


def _add_cover(quantities: pd.DataFrame, offer_beds: pd.DataFrame, rates: RateBook) -> pd.DataFrame:
    ground = ground_ft2(offer_beds)
    gravel_in = rates.gravel_depth_in.value
    compost_yd3 = ground * rates.compost_yd3_per_1000ft2.value / FT2_PER_COMPOST_RATE
    return quantities.assign(
        # where no plant fits there is nothing to improve the soil for
        compost_yd3=compost_yd3.where(quantities["plant_count"] > 0, 0.0),
        mulch_yd3=ground * rates.mulch_depth_in.value / FT2_IN_PER_YD3,
        gravel_yd3=offer_beds["area_ft2"] * gravel_in / FT2_IN_PER_YD3,
        wall_gravel_yd3=offer_beds["wall_strip_ft2"] * gravel_in / FT2_IN_PER_YD3,
        edging_ft=offer_beds["bed_line_ft"],
        fabric_ft2=offer_beds["area_ft2"],
    )


def _count_plants(offer_beds: pd.DataFrame, plants: pd.DataFrame) -> dict[str, np.ndarray]:
    keys = ["offer_id", "bed_id"]
    own = pd.MultiIndex.from_frame(offer_beds[keys])
    return {
        column: plants[plants["planting"] == planting].groupby(keys).size()
        .reindex(own, fill_value=0).to_numpy().astype(int)
        for column, planting in (("accent_count", "accent"), ("plant_count", "planted"))
    }  # fmt: skip


def _count_heads(
    offer_beds: pd.DataFrame,
    clients: pd.DataFrame,
    rates: RateBook,
    answers: pd.DataFrame | None,
) -> pd.Series[float]:
    client_id, edge_ft = offer_beds["client_id"], offer_beds["edge_ft"]
    has_heads = client_id.map(clients.set_index("client_id")["sprinklers"]) == "yes"
    by_rate = (edge_ft * rates.heads_per_100ft.value / FT_PER_HEAD_RATE).where(has_heads, 0.0)
    counted = numbers_by_client(
        empty_table(ANSWERS) if answers is None else answers, HEADS_QUESTION
    )
    # A bed stands in several offers; its edge counts once.
    total_ft = offer_beds.drop_duplicates("bed_id").groupby("client_id")["edge_ft"].sum()
    by_count = (
        client_id.map(counted).astype(float) * edge_ft / client_id.map(total_ft).astype(float)
    )
    return by_count.fillna(by_rate)


def ground_ft2(offer_beds: pd.DataFrame) -> pd.Series[float]:
    """
    Measure the ground of each bed off the wall: dug, covered and planted.

    Parameters
    ----------
    offer_beds
        Table `OFFER_BEDS` [ft²].

    Returns
    -------
    ground_ft2
        Area less the strip along a wall [ft²], never negative.
    """
    return (offer_beds["area_ft2"] - offer_beds["wall_strip_ft2"]).clip(lower=0.0)
