"""What one call sells: the lead bed, add-ons while they fit the job limit, then phases."""

from __future__ import annotations

import numpy as np
import pandas as pd

from scanner.errors import SchemaError
from scanner.job.quantities import kept
from scanner.job.wording import add_words, describe_beds
from scanner.schema.answers import YES, numbers_by_client, words_by_client
from scanner.schema.documents import LocalRules, RateBook
from scanner.schema.edge_kinds import EDGE_KINDS, STREET_SIDE
from scanner.schema.log_tables import ANSWERS
from scanner.schema.tables import (
    BED_ORDER,
    OFFER_BEDS,
    OFFERS,
    PRICES,
    check_table,
    empty_table,
)

SKETCH_PIECES = 6
"""More pieces than this are not sketched in a quarter of an hour (our rule, no source)."""

SKETCH_SLOPE_PERCENT = 25.0
"""Steeper ground than this is not sketched in a quarter of an hour (our rule, no source)."""

LIMIT_SLACK = 1e-9
"""Crew-days that come to the limit exactly fit it, whatever the last binary digit."""


def make_offers(
    prices: pd.DataFrame,
    offer_beds: pd.DataFrame,
    order: pd.DataFrame,
    *,
    rules: LocalRules,
    rates: RateBook,
    answers: pd.DataFrame | None = None,
) -> pd.DataFrame:
    """
    Make the offers of each client: what one call sells, and what may follow.

    Parameters
    ----------
    prices
        Table `PRICES` of each bed alone and of the first beds of each order.
    offer_beds
        Table `OFFER_BEDS` of the same offers.
    order
        Table `BED_ORDER`.
    rules
        Job limit [crew-days].
    rates
        The rate book: depth [in] and wet weight [lb/yd³] of what is lifted.
    answers
        Table `ANSWERS`: slopes, and edges that a crew has seen. None: none has looked yet.

    Returns
    -------
    offers
        Table `OFFERS`, by client and phase. Phase 1 holds the most beds, lead first,
        that fit the job limit, at least one; each bed left over is a phase of its own,
        in order.

    Raises
    ------
    SchemaError
        If a table breaks its schema or an offer that is due was not drawn.

    Examples
    --------
    >>> rules, rates = LocalRules.model_construct(), RateBook.model_construct()
    >>> nothing = [empty_table(schema) for schema in (PRICES, OFFER_BEDS, BED_ORDER)]
    >>> len(make_offers(*nothing, rules=rules, rates=rates))
    0
    """
    answers = empty_table(ANSWERS) if answers is None else answers
    prices, order = check_table(prices, PRICES), check_table(order, BED_ORDER)
    offer_beds = kept(check_table(offer_beds, OFFER_BEDS))
    if order.empty:
        return empty_table(OFFERS)
    leads = prices[prices["is_lead"]].set_index("offer_id")
    phases = _divide(order, leads, rules.job_limit_crew_days)
    beds = _place_beds(offer_beds, order, phases)
    offers = (
        phases.merge(_measure(beds, answers), on="offer_id", validate="one_to_one")
        .merge(leads.reset_index().drop(columns="client_id"), on="offer_id", validate="one_to_one")
        .pipe(_add_saving, beds, leads)
        .pipe(_add_doubts, rules.job_limit_crew_days, answers)
        .pipe(add_words, beds, rates=rates)
    )
    offers = offers.sort_values(["client_id", "phase"], ignore_index=True)
    return check_table(offers[[*OFFERS.columns]], OFFERS)


def _divide(order: pd.DataFrame, leads: pd.DataFrame, limit_crew_days: float) -> pd.DataFrame:
    """One row an offer: `client_id`, `phase`, `offer_id`."""
    order = order.sort_values(["client_id", "place"], ignore_index=True)
    together = order["client_id"] + "+" + order["place"].astype(str)
    prefix_id = together.where(order["place"] > 1, order["bed_id"])
    crew_days = prefix_id.map(leads["crew_days"])
    _check_drawn(pd.concat([prefix_id[crew_days.isna()], order["bed_id"]]), leads)
    fits = (crew_days <= limit_crew_days + LIMIT_SLACK) | (order["place"] == 1)
    last_place = order["place"].where(fits, 0).groupby(order["client_id"]).transform("max")
    is_last = order["place"] == last_place
    is_later = order["place"] > last_place
    first = order[is_last].assign(offer_id=prefix_id[is_last], phase=1)
    later = order[is_later].assign(
        offer_id=order["bed_id"][is_later], phase=(order["place"] - last_place + 1)[is_later]
    )
    columns = ["client_id", "phase", "offer_id"]
    return pd.concat([first, later])[columns].sort_values(columns[:2], ignore_index=True)


def _check_drawn(offer_ids: pd.Series[str], leads: pd.DataFrame) -> None:
    missing = offer_ids[~offer_ids.isin(leads.index)]
    if not missing.empty:
        message = f"offers that are due were not drawn: {', '.join(missing.head(20))}"
        raise SchemaError(message)


def _place_beds(
    offer_beds: pd.DataFrame, order: pd.DataFrame, phases: pd.DataFrame
) -> pd.DataFrame:
    """Beds of the offers made, lead first."""
    beds = (
        offer_beds.drop(columns="client_id")
        .merge(phases, on="offer_id", validate="many_to_one")
        .merge(order[["bed_id", "place"]], on="bed_id", validate="many_to_one")
        .sort_values(["client_id", "phase", "place"], ignore_index=True)
    )
    return beds.assign(bed_words=describe_beds(beds))


def _measure(beds: pd.DataFrame, answers: pd.DataFrame) -> pd.DataFrame:
    is_confirmed = _is_confirmed(beds, answers)
    unseen = beds["bed_id"].where(~is_confirmed, "")
    by_offer = beds.assign(is_confirmed=is_confirmed, unseen=unseen).groupby("offer_id", sort=False)
    return by_offer.agg(
        edge_ft=("edge_ft", "sum"),
        area_ft2=("area_ft2", "sum"),
        bed_count=("bed_id", "size"),
        bed_ids=("bed_id", " ".join),
        is_confirmed=("is_confirmed", "all"),
        unseen_bed_ids=("unseen", lambda ids: " ".join(name for name in ids if name)),
    ).reset_index()


def _is_confirmed(beds: pd.DataFrame, answers: pd.DataFrame) -> np.ndarray:
    """A wall's lawn must have been seen; a curb shows itself unless its drive is a guess."""
    by_crew = np.zeros(len(beds), dtype=bool)
    for kind in EDGE_KINDS.values():
        answer = beds["client_id"].map(words_by_client(answers, kind.question))
        by_crew |= ((answer == YES) & beds["along"].eq(kind.name)).to_numpy()
    is_seen = (beds["lawn_source"] == "drawn") | beds["edge_source"].isin(["measured", "drawn"])
    at_curb = beds["along"].isin(STREET_SIDE)
    return ((is_seen | at_curb) & ~beds["is_opening_guessed"]).to_numpy() | by_crew


def _add_saving(offers: pd.DataFrame, beds: pd.DataFrame, leads: pd.DataFrame) -> pd.DataFrame:
    apart_cents = beds["bed_id"].map(leads["price_cents"]).groupby(beds["offer_id"]).sum()
    saving_cents = offers["offer_id"].map(apart_cents) - offers["price_cents"]
    # in one row, ground that only opens up when beds lie together may cost more than apart
    return offers.assign(saving_cents=saving_cents.clip(lower=0).where(offers["bed_count"] > 1, 0))


def _add_doubts(
    offers: pd.DataFrame, limit_crew_days: float, answers: pd.DataFrame
) -> pd.DataFrame:
    is_over = offers["crew_days"] > limit_crew_days + LIMIT_SLACK
    slopes = offers["client_id"].map(numbers_by_client(answers, "slope percent"))
    is_steep = slopes.astype(float) > SKETCH_SLOPE_PERCENT
    is_many = offers["bed_count"] > SKETCH_PIECES
    return offers.assign(needs_designer=is_many | is_over | is_steep)
