"""
What each offer costs and sells for, in each of the four finishes, and how far that may be off.

Of two bands the wider end is used: the class of estimate that the knowledge of the edge
allows, and the spread of the rates. The rates are taken as independent, so their effects add
as root of the sum of squares; what is the firm's own choice is no uncertainty.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from scanner.errors import SchemaError
from scanner.job.cost_sheet import CostSheet, make_cost_sheet
from scanner.job.counting import Amounts, FloatArray, IntArray, whole_cents
from scanner.job.method import choose_method
from scanner.job.quantities import FT_PER_HEAD_RATE, amounts_of, kept
from scanner.job.tasks import Task, unit_usd
from scanner.plane.segments import join
from scanner.schema.documents import FINISHES, RateBook
from scanner.schema.rate_book import factor, words_of
from scanner.schema.tables import PRICES, check_table, empty_table
from scanner.units import CENTS_PER_USD, cents_from_usd

OUTWARD_CENTS = 5000
"""A range is rounded outward to $50 (our rule, no source)."""

NAMED_COUNT = 2
"""Rates named as drivers of a range: more would not be read."""

CLASS_RANGES = ("range_measured_share", "range_drawn_share", "range_guessed_share")
"""Names in the rate book, best knowledge first."""

CLASS_BY_SOURCE = {"measured": 0, "drawn": 1, "surveyed": 1, "centerline": 2}


def assess_knowledge(
    offer_beds: pd.DataFrame, codes: np.ndarray, lots: pd.DataFrame
) -> pd.DataFrame:
    """
    Tell what is known of each offer's ground, one row an offer.

    `codes`: offer of each of m kept rows of `OFFER_BEDS`, 0 to n - 1. Gives `estimate_class` (0
    measured, 1 drawn, 2 guessed), `has_centerline`, `has_guess`, `sprinklers_unknown`, `edge_ft`,
    `is_wildfire`, `slope_percent` (NaN: not seen).
    """
    client_id, is_guess = offer_beds["client_id"], offer_beds["is_opening_guessed"]
    beds = pd.DataFrame({
        "estimate_class": offer_beds["edge_source"].map(CLASS_BY_SOURCE).astype(int).where(~is_guess, 2),
        "has_centerline": offer_beds["edge_source"] == "centerline",
        "has_guess": is_guess,
        "sprinklers_unknown": client_id.map(lots["sprinklers_unknown"]).astype(bool),
        "slope_percent": client_id.map(lots["slope_percent"]).astype(float),
        "is_wildfire": offer_beds["is_wildfire"],
        "edge_ft": offer_beds["edge_ft"],
    })  # fmt: skip
    by_offer = beds.groupby(codes)
    return by_offer.max().assign(edge_ft=by_offer["edge_ft"].sum())


def add_range(
    prices: pd.DataFrame, sheet: CostSheet, knowledge: pd.DataFrame, *, rates: RateBook
) -> pd.DataFrame:
    """
    Put a low and a high end on each price and name what drives them.

    One row a job in `prices`, `sheet` and `knowledge`; gives `price_low_cents`, `price_high_cents`,
    `unknowns`.
    """
    names, low, high = rate_effects(sheet.tasks, rates)
    to_price_cents = CENTS_PER_USD / (1.0 - rates.gross_margin_share.value)
    quantities = sheet.quantities * to_price_cents
    ends = np.stack([quantities @ low, quantities @ high])
    down, up = np.minimum(ends.min(axis=0), 0.0), np.maximum(ends.max(axis=0), 0.0)
    heads_cents = _unknown_heads_usd(knowledge, rates) * to_price_cents
    price_cents = prices["price_cents"].to_numpy(dtype=float)
    class_low, class_high = _class_shares(knowledge, rates)
    # sprinklers that nobody has looked for can only cost more
    below = np.maximum(np.hypot.reduce(down, axis=1, initial=0.0), price_cents * class_low)
    above = np.maximum(
        np.sqrt((up**2).sum(axis=1) + heads_cents**2), price_cents * class_high + heads_cents
    )
    is_steep = (knowledge["slope_percent"] > rates.gentle_slope_percent.value).to_numpy()
    above = above + np.where(is_steep, price_cents * rates.range_slope_share.high, 0.0)
    floor_cents = rates.minimum_job_usd.value * CENTS_PER_USD
    return prices.assign(
        price_low_cents=_outward(np.maximum(price_cents - below, floor_cents), np.floor),
        price_high_cents=_outward(price_cents + above, np.ceil),
        unknowns=_unknowns(knowledge, names, up - down, is_steep),
    )


def rate_effects(
    tasks: tuple[Task, ...], rates: RateBook
) -> tuple[tuple[str, ...], FloatArray, FloatArray]:
    """
    Work out what each rate's spread does to the cost of one unit of each of K tasks.

    Gives R names in the rate book, and the change with the rate at its low and at its high end
    [USD], K × R.
    """
    names = tuple(dict.fromkeys(key for task in tasks for key in (*task.keys, *task.scaled_by)))
    low, high = np.zeros((2, len(tasks), len(names)))
    for row, task in enumerate(tasks):
        for name in {*task.keys, *task.scaled_by}:
            spread = getattr(rates, name)
            column, was = names.index(name), factor(name, spread.value)
            for effects, end in ((low, spread.low), (high, spread.high)):
                if name in task.scaled_by:
                    # the quantity itself goes with this rate; at zero it tells nothing
                    share = factor(name, end) / was - 1.0 if was else 0.0
                    effects[row, column] = unit_usd(task, rates) * share
                else:
                    moved = unit_usd(task, rates, **{name: end})
                    effects[row, column] = moved - unit_usd(task, rates)
    return names, low, high


def _unknown_heads_usd(knowledge: pd.DataFrame, rates: RateBook) -> FloatArray:
    head_usd = rates.head_hours.value * rates.labor_usd_per_hour.value + rates.head_usd.value
    heads = knowledge["edge_ft"] * rates.heads_per_100ft.value / FT_PER_HEAD_RATE
    usd: FloatArray = (heads * head_usd).where(knowledge["sprinklers_unknown"], 0.0).to_numpy()
    return usd


def _class_shares(knowledge: pd.DataFrame, rates: RateBook) -> tuple[FloatArray, FloatArray]:
    spreads = [getattr(rates, name) for name in CLASS_RANGES]
    classes = knowledge["estimate_class"].to_numpy(dtype=int)
    low = np.array([abs(spread.low) for spread in spreads])
    high = np.array([abs(spread.high) for spread in spreads])
    return low[classes], high[classes]


def _outward(ends_cents: FloatArray, direction: np.ufunc) -> IntArray:
    steps: IntArray = direction(np.round(ends_cents / OUTWARD_CENTS, 6)).astype(np.int64)
    return steps * OUTWARD_CENTS


def _unknowns(
    knowledge: pd.DataFrame, names: tuple[str, ...], widths: FloatArray, is_steep: np.ndarray
) -> np.ndarray:
    slopes = knowledge["slope_percent"]
    words = np.array([words_of(name) for name in names], dtype=object)
    widest = np.argsort(-np.round(widths, 6), axis=1, kind="stable")[:, :NAMED_COUNT]
    parts = [
        np.where(knowledge["sprinklers_unknown"], "sprinklers not known", ""),
        np.where(slopes.isna(), "slope not seen", ""),
        np.where(is_steep, "a slope of " + slopes.map("{:.0f} %".format).astype("str"), ""),
        np.where(knowledge["has_centerline"], "edge from a centerline", ""),
        np.where(knowledge["has_guess"], "place of the drive is a guess", ""),
    ]
    for place in range(widest.shape[1]):
        is_felt = np.take_along_axis(widths, widest[:, [place]], axis=1)[:, 0] > 0
        parts.append(np.where(is_felt, words[widest[:, place]], ""))
    sentences = np.full(len(knowledge), "", dtype=object)
    for part in parts:
        gap = np.where((sentences != "") & (part != ""), "; ", "").astype(object)
        sentences = sentences + gap + part.astype(object)
    return sentences


def price_offers(
    offer_beds: pd.DataFrame, quantities: pd.DataFrame, lots: pd.DataFrame, *, rates: RateBook
) -> pd.DataFrame:
    """
    Price every offer in every finish.

    Parameters
    ----------
    offer_beds
        Table `OFFER_BEDS` [ft, ft²]; skipped beds are left out.
    quantities
        Table `QUANTITIES` of the kept beds, in the same order.
    lots
        What `know_lots` gathered of the same lots.
    rates
        The rate book.

    Returns
    -------
    prices
        Table `PRICES`, a row an offer and finish, in the order of `offer_beds`; a planted
        finish that gets no plant is left out.

    Raises
    ------
    SchemaError
        If a bed has no quantities.
    RateError
        If set-up alone fills the crew's day.

    Notes
    -----
    Price = direct cost / (1 - gross margin), at least the minimum job. Overhead is paid
    out of the margin. In a mapped wildfire area the offer leads with gravel.
    """
    beds = kept(offer_beds)
    names = ["offer_id", "bed_id"]
    if not beds[names].equals(quantities[names]):
        message = "table quantities breaks its schema: not one row a bed offered, in their order"
        raise SchemaError(message)
    if beds.empty:
        return empty_table(PRICES)
    codes, offer_ids = pd.factorize(beds["offer_id"])
    order = np.argsort(codes, kind="stable")
    amounts = take(amounts_of(quantities), order)
    starts = np.searchsorted(codes[order], np.arange(len(offer_ids)))
    methods = choose_method(amounts, starts, rates=rates)
    known = assess_knowledge(beds, codes, lots)
    leads = _lead_finishes(amounts, starts, known["is_wildfire"].to_numpy(), rates)
    offer, place = np.nonzero(_fits(amounts, starts))
    finishes = np.array(FINISHES, dtype=object)[place]
    job, row = join(offer, codes[order])
    sheet = make_cost_sheet(
        take(amounts, row), np.searchsorted(job, np.arange(len(offer))),
        methods[offer], finishes, rates=rates,
    )  # fmt: skip
    priced = _price(sheet, rates).assign(
        offer_id=offer_ids[offer],
        client_id=beds["client_id"].to_numpy()[order[starts[offer]]],
        finish=finishes,
        is_lead=finishes == leads[offer],
        method=methods[offer],
    )
    ranged = add_range(priced, sheet, known.iloc[offer], rates=rates)
    return check_table(ranged[[*PRICES.columns]], PRICES)


def price_leads(
    amounts: Amounts, starts: IntArray, is_wildfire: np.ndarray, *, rates: RateBook
) -> pd.DataFrame:
    """
    Price sets of beds in the finish that each leads with: what a choice between them asks.

    Beds of a set stand together in `amounts`, its first one at `starts`; `is_wildfire`: one a bed.
    Gives money, hours and counts of table `PRICES`, one row a set.
    """
    methods = choose_method(amounts, starts, rates=rates)
    leads = _lead_finishes(amounts, starts, np.logical_or.reduceat(is_wildfire, starts), rates)
    return _price(make_cost_sheet(amounts, starts, methods, leads, rates=rates), rates)


def take(amounts: Amounts, rows: IntArray) -> Amounts:
    """Take some rows of all quantities."""
    return {name: own[rows] for name, own in amounts.items()}


def full_price_cents(direct_cents: IntArray, rates: RateBook) -> IntArray:
    """Price what leaves the gross margin over its direct cost [cents], whatever the minimum job."""
    return whole_cents(direct_cents / CENTS_PER_USD / (1.0 - rates.gross_margin_share.value))


def _fits(amounts: Amounts, starts: IntArray) -> np.ndarray:
    """Tell which finishes each offer can have: none is called planted that gets no plant."""
    plants = {"accent": amounts["accent_count"], "planted": amounts["plant_count"]}
    return np.column_stack([
        np.add.reduceat(plants[finish], starts) > 0 if finish in plants else starts >= 0
        for finish in FINISHES
    ])  # fmt: skip


def _lead_finishes(
    amounts: Amounts, starts: IntArray, is_wildfire: np.ndarray, rates: RateBook
) -> np.ndarray:
    """Gravel where mulch carries fire, else the book's lead finish, mulch where no plant fits."""
    wanted = _fits(amounts, starts)[:, FINISHES.index(rates.lead_finish)]
    leads = np.where(wanted, rates.lead_finish, "mulch").astype(object)
    leads[is_wildfire] = "gravel"
    return leads


def _price(sheet: CostSheet, rates: RateBook) -> pd.DataFrame:
    direct_cents = sheet.direct_cents
    price_cents = np.maximum(
        full_price_cents(direct_cents, rates), cents_from_usd(rates.minimum_job_usd.value)
    )
    tax_cents = whole_cents(price_cents / CENTS_PER_USD * rates.sales_tax_share.value)
    return pd.DataFrame({
        "labor_hours": sheet.labor_hours,
        "crew_days": sheet.labor_hours / rates.crew_day_hours,
        "haul_loads": sheet.count("load_count"),
        "plant_count": sheet.count("plant_count", "accent_count"),
        "direct_cost_cents": direct_cents,
        "price_cents": price_cents,
        "sales_tax_cents": tax_cents,
        "gross_profit_cents": price_cents - direct_cents,
    })  # fmt: skip
