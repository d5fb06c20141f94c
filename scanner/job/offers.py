"""What one call sells: a lead, an upgrade in the same job, and jobs that may follow."""

from __future__ import annotations

import numpy as np
import pandas as pd

from scanner.errors import SchemaError
from scanner.job.bundles import ADDED, LATER, LEAD, LIMIT_SLACK, UPGRADE
from scanner.job.quantities import kept
from scanner.job.saying import add_say
from scanner.job.wording import add_words, describe_beds
from scanner.schema.answers import YES, numbers_by_client, words_by_client
from scanner.schema.documents import LocalRules, RateBook
from scanner.schema.edge_kinds import EDGE_KINDS, STREET_SIDE
from scanner.schema.log_tables import ANSWERS
from scanner.schema.tables import OFFER_BEDS, OFFERS, PRICES, check_table, empty_table

SKETCH_PIECES = 6
"""More pieces than this are not sketched in a quarter of an hour (our rule, no source)."""

SKETCH_SLOPE_PERCENT = 25.0
"""Steeper ground than this is not sketched in a quarter of an hour (our rule, no source)."""


def make_offers(
    bundles: pd.DataFrame,
    prices: pd.DataFrame,
    offer_beds: pd.DataFrame,
    *,
    rules: LocalRules,
    rates: RateBook,
    answers: pd.DataFrame | None = None,
) -> pd.DataFrame:
    """
    Write out what each client is offered.

    Parameters
    ----------
    bundles
        What `bundle_beds` chose.
    prices
        Table `PRICES` of those sets and of each bed alone.
    offer_beds
        Table `OFFER_BEDS` of the same.
    rules
        Job limit [crew-days].
    rates
        The rate book: depth [in] and wet weight [lb/yd³] of what is lifted.
    answers
        Table `ANSWERS`: slopes, and edges that a crew has seen. None: none has looked yet.

    Returns
    -------
    offers
        Table `OFFERS`, by client: phase 1 is the lead with its upgrade, later jobs are
        the phases after it.

    Raises
    ------
    SchemaError
        If a table breaks its schema or an offer that is due was not priced.
    """
    answers = empty_table(ANSWERS) if answers is None else answers
    prices = check_table(prices, PRICES)
    offer_beds = kept(check_table(offer_beds, OFFER_BEDS))
    if bundles.empty:
        return empty_table(OFFERS)
    leads = prices[prices["is_lead"]].set_index("offer_id")
    _check_priced(bundles["offer_id"], leads)
    jobs = bundles[bundles["role"].isin([LEAD, LATER])]
    phases = jobs.assign(phase=np.where(jobs["role"] == LEAD, 1, jobs["job"] + 1))
    beds = _place_beds(offer_beds, phases)
    offers = (
        phases[["client_id", "phase", "offer_id"]]
        .merge(_measure(beds, answers), on="offer_id", validate="one_to_one")
        .merge(leads.reset_index().drop(columns="client_id"), on="offer_id", validate="one_to_one")
        .pipe(_add_saving, beds, leads)
        .pipe(_add_upgrade, bundles, leads)
        .pipe(_add_unseen, offer_beds, answers)
        .pipe(_add_doubts, rules.job_limit_crew_days, answers)
        .pipe(add_words, beds, rates=rates)
        .pipe(add_say, bundles, offer_beds)
    )
    offers = offers.sort_values(["client_id", "phase"], ignore_index=True)
    return check_table(offers[[*OFFERS.columns]], OFFERS)


def _check_priced(offer_ids: pd.Series[str], leads: pd.DataFrame) -> None:
    missing = offer_ids[~offer_ids.isin(leads.index)]
    if not missing.empty:
        message = f"offers that are due were not drawn: {', '.join(missing.head(20))}"
        raise SchemaError(message)


def _place_beds(offer_beds: pd.DataFrame, phases: pd.DataFrame) -> pd.DataFrame:
    """Beds of the jobs, each job's lead bed first."""
    placed = phases[["client_id", "phase", "offer_id"]].assign(
        bed_id=phases["beds"], place=phases["beds"].map(lambda beds: range(len(beds)))
    )
    beds = (
        placed.explode(["bed_id", "place"])
        .merge(
            offer_beds.drop(columns="client_id"), on=["offer_id", "bed_id"], validate="one_to_one"
        )
        .sort_values(["client_id", "phase", "place"], ignore_index=True)
    )
    return beds.assign(bed_words=describe_beds(beds))


def _measure(beds: pd.DataFrame, answers: pd.DataFrame) -> pd.DataFrame:
    is_confirmed = _is_confirmed(beds, answers)
    by_offer = beds.assign(is_confirmed=is_confirmed).groupby("offer_id", sort=False)
    return by_offer.agg(
        edge_ft=("edge_ft", "sum"),
        area_ft2=("area_ft2", "sum"),
        right_of_way_ft2=("right_of_way_ft2", "sum"),
        bed_count=("bed_id", "size"),
        bed_ids=("bed_id", " ".join),
        is_confirmed=("is_confirmed", "all"),
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


def _add_upgrade(offers: pd.DataFrame, bundles: pd.DataFrame, leads: pd.DataFrame) -> pd.DataFrame:
    """Put each lead's upgrade beside it: its beds, its price, what one job saves against two."""
    upgrades, added = (
        bundles[bundles["role"] == role].set_index("client_id") for role in (UPGRADE, ADDED)
    )
    is_lead = offers["phase"] == 1
    client_id = offers["client_id"].where(is_lead)
    offer_id = client_id.map(upgrades["offer_id"]).astype("str")
    price_cents = offer_id.map(leads["price_cents"]).fillna(0)
    added_cents = client_id.map(added["offer_id"]).astype("str").map(leads["price_cents"]).fillna(0)
    apart_cents = (offers["price_cents"] + added_cents).where(price_cents > 0, 0)
    return offers.assign(
        upgrade_offer_id=offer_id.fillna(""),
        upgrade_bed_ids=client_id.map(upgrades["beds"].map(" ".join)).astype("str").fillna(""),
        upgrade_price_cents=price_cents.astype(int),
        upgrade_crew_days=offer_id.map(leads["crew_days"]).fillna(0.0),
        upgrade_gross_profit_cents=offer_id.map(leads["gross_profit_cents"]).fillna(0).astype(int),
        upgrade_saving_cents=(apart_cents - price_cents).clip(lower=0).astype(int),
    )


def _add_unseen(
    offers: pd.DataFrame, offer_beds: pd.DataFrame, answers: pd.DataFrame
) -> pd.DataFrame:
    """Name the beds of an offer and its upgrade that nobody has seen."""
    alone = offer_beds[offer_beds["offer_id"] == offer_beds["bed_id"]]
    unseen = {*alone.loc[~_is_confirmed(alone, answers), "bed_id"]}
    told = zip(offers["bed_ids"], offers["upgrade_bed_ids"], strict=True)
    names = [
        " ".join(name for name in dict.fromkeys([*own.split(), *more.split()]) if name in unseen)
        for own, more in told
    ]
    return offers.assign(unseen_bed_ids=names)


def _add_doubts(
    offers: pd.DataFrame, limit_crew_days: float, answers: pd.DataFrame
) -> pd.DataFrame:
    is_over = offers["crew_days"] > limit_crew_days + LIMIT_SLACK
    slopes = offers["client_id"].map(numbers_by_client(answers, "slope percent"))
    is_steep = slopes.astype(float) > SKETCH_SLOPE_PERCENT
    is_many = offers["bed_count"] > SKETCH_PIECES
    return offers.assign(needs_designer=is_many | is_over | is_steep)
