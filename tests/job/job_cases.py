"""Rates, clients and beds for the tests of the job room."""

from __future__ import annotations

import geopandas
import numpy as np
import pandas as pd
import shapely

from scanner.book.settings import read_rates
from scanner.job.bundles import Demand, bundle_beds
from scanner.job.line_items import itemize
from scanner.job.offers import make_offers
from scanner.job.prices import price_offers
from scanner.job.quantities import know_lots, take_off
from scanner.schema.documents import LocalRules, Rate, RateBook, Setbacks
from scanner.schema.tables import BEDS, CLIENTS, OFFER_BEDS, check_table, empty_table

STANDARD = read_rates(None)[0]


def rate(value, low=None, high=None):
    low, high = (value if low is None else low), (value if high is None else high)
    return Rate(value=value, low=low, high=high, source="a test")


def rate_book(**changes):
    """The standard rates, some figures changed: a number, or the name of a choice."""
    moved = {name: x if isinstance(x, str) else rate(x) for name, x in changes.items()}
    # what only a test would ask, a rental of 100,000 USD, lies beyond the bounds
    return RateBook.model_construct(**(dict(STANDARD) | moved))


def firm_rates():
    """The standard rates, every one known to the cent; only the class of an estimate is left."""
    fixed = {
        name: x.value for name, x in STANDARD
        if isinstance(x, Rate) and not name.startswith("range_")
    }  # fmt: skip
    return rate_book(**fixed)


def local_rules(**changes):
    values = {
        "frontage_max_ft": 20, "infer_max_ft2": 43_560, "gap_ft": 1.5, "front_reach_ft": 300,
        "jog_ft": 6, "house_faces": ("front",), "kind_order": ("curb", "house", "sidewalk"),
        "offer_kinds": ("curb", "house", "sidewalk"), "bed_depth_ft": 4, "drive_flare_ft": 0,
        "default_opening_ft": 0, "min_depth_ft": 2, "min_edge_ft": 12, "min_bed_ft2": 40,
        "mower_ft": 4, "turn_radius_ft": 4, "job_limit_crew_days": 4,
        "setbacks": Setbacks.model_construct(),
    }  # fmt: skip
    return LocalRules.model_construct(**(values | changes))


def clients(*client_ids, sprinklers="no"):
    """A client table with nothing known but ids and sprinklers."""
    blank = dict.fromkeys(CLIENTS.columns, "")
    numbers = (
        "lon",
        "lat",
        "stop",
        "visits_per_year",
        "annual_usd",
        "frontage_ft",
        "mowed_ft2",
        "year_built",
    )
    rows = [
        blank | dict.fromkeys(numbers, np.nan) | {"client_id": client_id, "sprinklers": sprinklers}
        for client_id in client_ids
    ]
    return check_table(pd.DataFrame(rows), CLIENTS) if rows else empty_table(CLIENTS)


def bed(bed_id="C1-curb-1", *, length=60.0, depth=4.0, **changes):
    """One bed along y = 0: by default the 60 × 4 ft bed of worked case 12."""
    shape = changes.pop("geometry", shapely.box(0, 0, length, depth))
    row = {
        "offer_id": bed_id,
        "bed_id": bed_id,
        "client_id": bed_id.split("-")[0],
        "along": "curb",
        "face": "",
        "frame": "-75 40",
        "lawn_source": "drawn",
        "edge_source": "drawn",
        "skip_reason": "",
        "edge_ft": length,
        "area_ft2": length * depth,
        "mean_depth_ft": depth,
        "bed_line_ft": length + depth,  # one open end
        "turf_left_ft2": 2000.0,
        "turf_left_width_ft": 20.0,
        "is_wildfire": False,
        "is_opening_guessed": False,
        "cautions": "",
        "geometry": shape,
        "plantable": shape,
        "edge": shapely.LineString([(0, 0), (length, 0)]),
        "low_ground": shapely.Polygon(),
    }
    zeros = (
        "absorbed_ft2", "right_of_way_ft2", "low_plant_ft2", "plant_free_ft2", "trim_ft",
        "wall_strip_ft2", "hand_dig_ft2",
    )  # fmt: skip
    return row | dict.fromkeys(zeros, 0.0) | changes


def offer_beds(*rows):
    """A table of beds as they lie in offers."""
    if not rows:
        return empty_table(OFFER_BEDS)
    table = geopandas.GeoDataFrame(list(rows), geometry="geometry")
    for name in ("plantable", "edge", "low_ground"):
        table[name] = geopandas.GeoSeries(table[name])
    return check_table(table, OFFER_BEDS)


def beds(*rows):
    """The beds of single-bed offers, as the scan found them."""
    table = offer_beds(*rows)
    return check_table(table[table["offer_id"] == table["bed_id"]], BEDS)


def price_table(table, *, rates, sprinklers="no", seen=None):
    """Take off and price beds as they lie: line items and prices."""
    people = clients(*sorted(set(table["client_id"])), sprinklers=sprinklers)
    lots = know_lots(table, people, rates=rates, answers=seen)
    quantities = take_off(table, lots, rates=rates)
    prices = price_offers(table, quantities, lots, rates=rates)
    return itemize(prices, quantities, rates=rates), prices


class Desk:
    """Lays sets of beds of which none changes another, and prices them."""

    def __init__(self, *rows, rates, seen=None):
        self.rows = {row["bed_id"]: row for row in rows}
        self.rates, self.seen = rates, seen
        self.tables = [offer_beds(*rows)]
        self.prices = [price_table(self.tables[0], rates=rates, seen=seen)[1]]

    def price_sets(self, sets):
        table = offer_beds(*(
            self.rows[bed_id] | {"offer_id": name} for name, beds in sets.items() for bed_id in beds
        ))  # fmt: skip
        prices = price_table(table, rates=self.rates, seen=self.seen)[1]
        self.tables.append(table)
        self.prices.append(prices)
        return prices[prices["is_lead"]].set_index("offer_id")


def bundle(desk, *, fee_usd=1500.0, buys=lambda years: 0.5 / (1 + years**2), limit=4.0):
    """Choose what clients are offered who all pay the same fee."""
    alone = desk.prices[0]
    fees = pd.Series(fee_usd, index=sorted({row["client_id"] for row in desk.rows.values()}))
    return bundle_beds(
        alone[alone["is_lead"]].set_index("offer_id"), desk.price_sets,
        demand=Demand(fees, buys), limit_crew_days=limit,
    )  # fmt: skip


def offer(*rows, rates, limit=4.0, seen=None, **demand):
    """Table `OFFERS` of some beds."""
    desk = Desk(*rows, rates=rates, seen=seen)
    bundles = bundle(desk, limit=limit, **demand)
    priced = {*pd.concat(desk.prices)["offer_id"]}
    late = bundles[~bundles["offer_id"].isin(priced)]
    if len(late):  # later jobs and what an upgrade adds are priced once they are chosen
        desk.price_sets(dict(zip(late["offer_id"], late["beds"], strict=True)))
    return make_offers(
        bundles, pd.concat(desk.prices, ignore_index=True), pd.concat(desk.tables, ignore_index=True),
        rules=local_rules(job_limit_crew_days=limit), answers=seen,
    )  # fmt: skip
