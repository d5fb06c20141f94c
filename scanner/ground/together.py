"""
Beds as they lie together in an offer: turf that they leave too narrow is taken once.

An offer may sell the first one, two, three … beds of a client's order; each such set is
drawn and measured here, so that the job room can choose by price.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import shapely

from scanner.ground.bed.absorb import absorb_turf
from scanner.ground.bed.measures import measure_beds
from scanner.ground.plane.shapes import ground_of, union_of, union_rows
from scanner.ground.survey import Survey
from scanner.schema.documents import LocalRules
from scanner.schema.tables import BED_ORDER, BEDS, OFFER_BEDS, check_table


def sell_alone(beds: pd.DataFrame) -> pd.DataFrame:
    """
    Make an offer of each bed by itself.

    Parameters
    ----------
    beds
        Table `BEDS`.

    Returns
    -------
    offer_beds
        Table `OFFER_BEDS`, the beds that are kept; ``offer_id`` is the bed's own id.

    Raises
    ------
    SchemaError
        If `beds` breaks its schema.
    """
    kept = beds[beds["skip_reason"] == ""].reset_index(drop=True)
    alone = kept.assign(offer_id=kept["bed_id"])
    return check_table(alone.loc[:, [*OFFER_BEDS.columns]], OFFER_BEDS)


def lay_together(
    beds: pd.DataFrame, order: pd.DataFrame, survey: Survey | None, *, rules: LocalRules
) -> pd.DataFrame:
    """
    Lay the first two, three … beds of each client together.

    Parameters
    ----------
    beds
        Table `BEDS`.
    order
        Table `BED_ORDER`.
    survey
        The block that the beds lie in; None where all were measured on foot.
    rules
        Mower [ft], order of kinds.

    Returns
    -------
    offer_beds
        Table `OFFER_BEDS`, one row a set and bed, sets of two and more.

    Raises
    ------
    SchemaError
        If a table breaks its schema.
    """
    beds, order = check_table(beds, BEDS), check_table(order, BED_ORDER)
    sets = _sets(order)
    rows = sets.merge(beds, on=["client_id", "bed_id"], validate="many_to_one")
    placed = (rows["frame"] != "").to_numpy()
    laid = [rows[~placed]]
    if survey is not None and placed.any():
        laid.append(_redraw(rows[placed].reset_index(drop=True), survey, rules))
    offer_beds = pd.concat(laid, ignore_index=True)
    offer_beds = offer_beds.sort_values(["offer_id", "place"], ignore_index=True)
    return check_table(offer_beds.loc[:, [*OFFER_BEDS.columns]], OFFER_BEDS)


def _sets(order: pd.DataFrame) -> pd.DataFrame:
    """List the first n beds of each client for each n from two up."""
    sizes = order[order["place"] > 1][["client_id", "place"]].rename(columns={"place": "size"})
    sets = sizes.merge(order, on="client_id")
    sets = sets[sets["place"] <= sets["size"]]
    return sets.assign(offer_id=sets["client_id"] + "+" + sets["size"].astype("str"))


def _redraw(rows: pd.DataFrame, survey: Survey, rules: LocalRules) -> pd.DataFrame:
    """Absorb and measure anew what lies together."""
    kinds = {along: at for at, along in enumerate(rules.kind_order)}
    # Beside beds measured on foot, which lie on no site, the column had become a float.
    rows = rows.assign(turn=rows["along"].map(kinds), site=rows["site"].astype(int))
    rows = rows.sort_values(["offer_id", "turn", "bed_id"], ignore_index=True)
    site = rows["site"].to_numpy()
    offers, at = np.unique(rows["offer_id"].to_numpy(str), return_inverse=True)
    offer_site = np.zeros(len(offers), int)
    offer_site[at] = site
    sites, lawn = survey.sites, survey.lawn
    around = union_of(sites.hard, sites.old_bed)[offer_site]
    cores = rows["core"].to_numpy()
    rows["absorbed"] = absorb_turf(
        lawn.ground[offer_site],
        (cores, at),
        around,
        survey.setbacks.removed[offer_site],
        mower_ft=rules.mower_ft,
    )
    shapes = shapely.union(cores, rows["absorbed"].to_numpy())
    whole = union_rows(shapes, at, len(offers))
    others = ground_of(shapely.difference(whole[at], shapes))
    return measure_beds(rows, sites, lawn, survey.setbacks, others)
