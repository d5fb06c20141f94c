"""The sentence that opens a call: what could be built, how much, what it saves."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from scanner.job.bundles import ADDED, LEAD
from scanner.units import usd_said

UPGRADE_TIMES = 3
"""An upgrade is said where it costs at most so many times the lead (our rule, no source)."""

LEAD_PLACES = {
    "curb": "of your curb", "sidewalk": "of the sidewalk", "house": "of the house {face}",
    "drive": "of the drive", "walk": "of the walk", "patio": "of the patio", "fence": "of the fence",
}  # fmt: skip
MORE_PLACES = {
    "curb": "more of curb", "sidewalk": "at the sidewalk", "house": "at the house {face}",
    "drive": "at the drive", "walk": "at the walk", "patio": "at the patio", "fence": "at the fence",
}  # fmt: skip

COVERS = {
    "mulch": "mulch",
    "accent": "mulch and {count} low plant{s}",
    "planted": "mulch and {count} plant{s}",
    "gravel": "gravel and {count} low plant{s}",
}


def add_say(offers: pd.DataFrame, bundles: pd.DataFrame, offer_beds: pd.DataFrame) -> pd.DataFrame:
    """
    Say each offer in words that can be read out.

    Parameters
    ----------
    offers
        `client_id`, `phase`, `finish`, `plant_count`, prices [cents], `upgrade_price_cents`.
    bundles
        What `bundle_beds` chose.
    offer_beds
        Table `OFFER_BEDS` of the same.

    Returns
    -------
    offers
        With `say`, blank for later jobs.
    """
    leads, added = (
        _places(bundles[bundles["role"] == role], offer_beds, words)
        for role, words in ((LEAD, LEAD_PLACES), (ADDED, MORE_PLACES))
    )
    offers = offers.assign(
        places=offers["client_id"].map(leads["places"]).astype("str").fillna(""),
        trim_ft=offers["client_id"].map(leads["trim_ft"]).astype(float).fillna(0.0),
        is_measured=offers["client_id"].map(leads["is_measured"]).eq(1),
        more=offers["client_id"].map(added["places"]).astype("str").fillna(""),
    )
    said = [_sentences(offer) if offer["phase"] == 1 else "" for offer in offers.to_dict("records")]
    return offers.assign(say=said)


def _places(bundles: pd.DataFrame, offer_beds: pd.DataFrame, words: dict[str, str]) -> pd.DataFrame:
    """Say along what the beds of each set lie, by client: lengths of one kind are added up."""
    listed = bundles[["client_id", "offer_id", "beds"]].assign(
        bed_id=bundles["beds"], place=bundles["beds"].map(lambda beds: range(len(beds)))
    )
    listed = listed.explode(["bed_id", "place"]).merge(
        offer_beds[["offer_id", "bed_id", "along", "face", "edge_ft", "trim_ft", "edge_source"]],
        on=["offer_id", "bed_id"],
    )
    listed = listed.sort_values(["client_id", "place"])
    kinds = (
        listed.groupby(["client_id", "along", "face"], sort=False)["edge_ft"].sum().reset_index()
    )
    feet = np.floor(kinds["edge_ft"] + 0.5).astype(int).astype("str")
    phrases = [
        f"{length} ft {words[along].format(face=face.replace('+', ' and ') or 'wall')}"
        for length, along, face in zip(feet, kinds["along"], kinds["face"], strict=True)
    ]
    joined = kinds.assign(phrase=phrases).groupby("client_id")["phrase"].agg(_listed)
    by_client = listed.groupby("client_id")
    return pd.DataFrame({
        "places": joined.astype("str"),
        "trim_ft": by_client["trim_ft"].sum(),
        "is_measured": by_client["edge_source"].agg(lambda sources: bool((sources == "measured").all())),
    })  # fmt: skip


def _listed(phrases: pd.Series[str]) -> str:
    *first, last = phrases
    return f"{', '.join(first)} and {last}" if first else str(last)


def _sentences(offer: dict[Any, Any]) -> str:
    count, finish = offer["plant_count"], offer["finish"]
    cover = COVERS[finish] if count else "gravel" if finish == "gravel" else "mulch"
    cover = cover.format(count=count, s="" if count == 1 else "s")
    price, low, high, upgrade = (
        offer[f"{name}_cents"] for name in ("price", "price_low", "price_high", "upgrade_price")
    )
    until = "" if offer["is_measured"] else " until we measure"
    said = [
        f"We could put a bed along {offer['places']}, {cover}, about {usd_said(price)}"
        f" ({usd_said(low)} to {usd_said(high)}{until}).",
        "No more trimming there." if offer["trim_ft"] > 0 else "",
        f"With {offer['more']}, all in one job, about {usd_said(upgrade)}."
        if offer["more"] and 0 < upgrade <= UPGRADE_TIMES * price
        else "",
    ]
    return " ".join(sentence for sentence in said if sentence)
