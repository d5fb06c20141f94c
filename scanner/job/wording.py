"""Offers in plain words: what is sold, what follows, what to mind."""

from __future__ import annotations

import numpy as np
import pandas as pd

from scanner.schema.documents import FINISH_LONG_WORDS, RateBook
from scanner.units import FT2_IN_PER_YD3

DESIGNER = "refer to a landscape designer: "

LIFTING = (
    "lifting: what is stripped weighs some {weight_lb:.0f} lb a square foot when wet, so cut it"
    " small, keep backs straight and work in pairs"
)

MACHINE = (
    "machines: only trained people run them, with eye, ear and foot protection, and everyone else"
    " keeps clear"
)


def describe_beds(beds: pd.DataFrame) -> pd.Series[str]:
    """
    Name each bed by its length and what it lies along.

    Parameters
    ----------
    beds
        `edge_ft` [ft], `along`, `face`.

    Returns
    -------
    words
        On the index of `beds`.

    Examples
    --------
    >>> beds = pd.DataFrame({"edge_ft": [52.4, 29.5], "along": ["curb", "house"],
    ...                      "face": ["", "front"]})
    >>> describe_beds(beds).tolist()
    ['52 ft curb bed', '30 ft house-front bed']
    """
    feet = np.floor(beds["edge_ft"] + 0.5).astype(int).astype(str)
    faces = "-" + beds["face"].str.replace("+", "-and-", regex=False)
    return feet + " ft " + beds["along"] + faces.where(beds["face"] != "", "") + " bed"


def add_words(offers: pd.DataFrame, beds: pd.DataFrame, *, rates: RateBook) -> pd.DataFrame:
    """
    Say what each offer is and what to mind.

    Parameters
    ----------
    offers
        `client_id`, `phase`, `offer_id`, `finish`, `method`, `needs_designer`.
    beds
        Beds of the same offers, lead first: `offer_id`, `bed_words`, `cautions`.
    rates
        Depth [in] and wet weight [lb/yd³] of what is lifted.

    Returns
    -------
    offers
        With `offer`, `cautions` and what may follow: `later`, `later_jobs`,
        `later_price_cents`.
    """
    named = (
        offers["offer_id"].map(join_words(beds)) + ", " + offers["finish"].map(FINISH_LONG_WORDS)
    )
    named = named.where(~offers["needs_designer"], DESIGNER + named)
    cautions = offers["offer_id"].map(join_cautions(offers, beds, lifting=lifting(rates)))
    return offers.assign(offer=named, cautions=cautions).pipe(_add_later)


def _add_later(offers: pd.DataFrame) -> pd.DataFrame:
    """Put the jobs that may follow beside each client's lead: how many, how much, what."""
    later = offers[offers["phase"] > 1].groupby("client_id")
    client_id = offers["client_id"].where(offers["phase"] == 1)
    return offers.assign(
        later=client_id.map(later["offer"].agg("; ".join)).astype("str").fillna(""),
        later_jobs=client_id.map(later.size()).fillna(0).astype(int),
        later_price_cents=client_id.map(later["price_cents"].sum()).fillna(0).astype(int),
    )


def lifting(rates: RateBook) -> str:
    """
    Say how heavy the work is.

    Parameters
    ----------
    rates
        Depth [in] and wet weight [lb/yd³] of what is lifted.

    Returns
    -------
    caution
        One sentence.
    """
    weight_lb = rates.soil_wet_lb_per_yd3.value * rates.cut_depth_in.value / FT2_IN_PER_YD3
    return LIFTING.format(weight_lb=weight_lb)


def join_words(beds: pd.DataFrame) -> pd.Series[str]:
    """
    List the beds of each offer as a sentence does.

    Parameters
    ----------
    beds
        `offer_id`, `bed_words`, in the order to name them.

    Returns
    -------
    words
        Indexed by `offer_id`.

    Examples
    --------
    >>> beds = pd.DataFrame({"offer_id": ["A"] * 3, "bed_words": ["one", "two", "three"]})
    >>> join_words(beds)["A"]
    'one, two and three'
    """
    by_offer = beds.groupby("offer_id", sort=False)["bed_words"]
    place, count = by_offer.cumcount(), by_offer.transform("size")
    joint = np.select([place == 0, place == count - 1], ["", " and "], ", ")
    words = pd.Series(joint, index=beds.index, dtype="str") + beds["bed_words"]
    return words.groupby(beds["offer_id"], sort=False).agg("".join)


def join_cautions(offers: pd.DataFrame, beds: pd.DataFrame, *, lifting: str) -> pd.Series[str]:
    """
    Gather the cautions of each offer's beds, each once, and those of the work itself.

    Parameters
    ----------
    offers
        `offer_id`, `method`, `finish`.
    beds
        `offer_id`, `cautions`, sentences joined by ``"; "``.
    lifting
        The sentence on lifting.

    Returns
    -------
    cautions
        Indexed by `offer_id`.

    Examples
    --------
    >>> offers = pd.DataFrame({"offer_id": ["A"], "method": ["hand"], "finish": ["mulch"]})
    >>> beds = pd.DataFrame({"offer_id": ["A", "A"], "cautions": ["roots; permit", "permit"]})
    >>> join_cautions(offers, beds, lifting="in pairs")["A"]
    'roots; permit; in pairs'
    """
    of_beds = beds[["offer_id", "cautions"]].assign(cautions=beds["cautions"].str.split("; "))
    # a tiller is a machine too: a full planting takes one
    has_machine = (offers["method"] != "hand") | (offers["finish"] == "planted")
    of_work = pd.concat([
        offers[["offer_id"]].assign(cautions=lifting),
        offers.loc[has_machine, ["offer_id"]].assign(cautions=MACHINE),
    ])  # fmt: skip
    cautions = pd.concat([of_beds.explode("cautions"), of_work], ignore_index=True)
    cautions = cautions[cautions["cautions"] != ""].drop_duplicates()
    return cautions.groupby("offer_id", sort=False)["cautions"].agg("; ".join)
