"""
Next spring's care of the beds that are there: weeding and a fresh inch of mulch.

Done on the mowing round, so no minimum job and no mobilization; the mulch of a route is
delivered once.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any

import numpy as np
import pandas as pd

from scanner.job.cost_sheet import ORDER_STEP_YD3
from scanner.job.counting import whole_cents, whole_steps
from scanner.schema.documents import RateBook
from scanner.schema.tables import CLIENTS, check_table
from scanner.sheets.days import day_number
from scanner.units import FT2_IN_PER_YD3

CARE_COLUMNS = (
    "route", "mow_day", "stop", "client_id", "name", "address", "bed_id", "known_from", "area_ft2",
    "mulch_yd3", "weeding_hours", "spreading_hours", "price_cents", "note",
)  # fmt: skip
CLIENT_COLUMNS = (
    "route", "mow_day", "stop", "client_id", "name", "address", "beds", "area_ft2", "mulch_yd3", "weeding_hours",
    "spreading_hours", "price_cents",
)  # fmt: skip
ROUTE_COLUMNS = (
    "route", "bed_count", "unmeasured_count", "area_ft2", "mulch_yd3", "order_yd3", "labor_hours",
    "delivery_cents", "price_cents",
)  # fmt: skip

FIRST_SPRING_MONTH = 3
GRAVEL = "gravel"


def spring_after(today: date) -> int:
    """
    Tell the year of the next spring: this year's before March.

    >>> spring_after(date(2026, 10, 5)), spring_after(date(2027, 2, 1)), spring_after(date(2027, 3, 1))
    (2027, 2027, 2028)
    """
    return today.year + (today.month >= FIRST_SPRING_MONTH)


def plan_care(
    beds: pd.DataFrame, clients: pd.DataFrame, finishes: Mapping[str, str], *, rates: RateBook
) -> pd.DataFrame:
    """
    List what each bed needs in spring, and what it costs the client: `CARE_COLUMNS`, by route, day and stop.

    `beds`: as `list_old_beds` gives them [ft²]; those of nobody in the client list are left out,
    and nothing is worked out for one that nobody measured. `finishes`: of the beds that were built,
    by name; gravel gets no mulch.

    mulch_yd3 = area_ft2 * refresh_depth_in / 324; price = (hours * labor + mulch with
    waste) / (1 - gross margin), rounded once; delivery is the route's.
    """
    clients = check_table(clients, CLIENTS)
    lots = clients[["client_id", "name", "address", "route", "mow_day", "stop"]]
    care = beds.merge(lots, on="client_id", how="inner")
    is_gravel = care["bed_id"].map(finishes).eq(GRAVEL)
    mulch_yd3 = care["area_ft2"] * rates.refresh_depth_in.value / FT2_IN_PER_YD3
    mulch_yd3 = mulch_yd3.mask(is_gravel & care["area_ft2"].notna(), 0.0)
    weeding_hours = care["area_ft2"] / rates.weed_ft2_per_hour.value
    spreading_hours = mulch_yd3 / rates.spread_mulch_yd3_per_hour.value
    labor_usd = (weeding_hours + spreading_hours) * rates.labor_usd_per_hour.value
    cover_usd = mulch_yd3 * (1.0 + rates.waste_share.value) * rates.mulch_usd_per_yd3.value
    price_usd = ((labor_usd + cover_usd) / _kept_share(rates)).fillna(0.0).to_numpy(float)
    notes = np.select(
        [care["area_ft2"].isna(), is_gravel], ["seen by a crew: measure it", "gravel: weeding only"], ""
    )  # fmt: skip
    care = care.assign(
        mulch_yd3=mulch_yd3, weeding_hours=weeding_hours, spreading_hours=spreading_hours,
        price_cents=whole_cents(price_usd), note=notes.astype(object), _route=care["route"].str.casefold(),
    )  # fmt: skip
    care = care.assign(_day=care["mow_day"].map(day_number))
    order = ["_route", "route", "_day", "mow_day", "stop", "client_id", "bed_id"]
    return care.sort_values(order, ignore_index=True)[[*CARE_COLUMNS]]


def sum_clients(care: pd.DataFrame) -> pd.DataFrame:
    """Add the care of each client's beds up: `CLIENT_COLUMNS`; of beds that nobody measured the words alone."""
    told = care.assign(beds=[_bed_words(bed) for bed in care.to_dict("records")])
    by_client = told.groupby("client_id", sort=False)
    first = {name: (name, "first") for name in CLIENT_COLUMNS[:6]}
    sums = {name: (name, "sum") for name in CLIENT_COLUMNS[7:]}
    return by_client.agg(**first, beds=("beds", "; ".join), **sums).reset_index(drop=True)


def _bed_words(bed: dict[Any, Any]) -> str:
    if pd.isna(bed["area_ft2"]):
        return f"a bed, {bed['note']}"
    # a bed's name ends in what it runs along and its number
    what = (
        f"{bed['bed_id'].rsplit('-', 2)[-2]} bed" if bed["known_from"] == "built" else "drawn bed"
    )
    return ", ".join(filter(None, (f"{what} {bed['area_ft2']:.0f} ft²", bed["note"])))


def sum_routes(care: pd.DataFrame, *, rates: RateBook) -> pd.DataFrame:
    """
    Add the care of each route up: columns `ROUTE_COLUMNS`.

    Mulch is ordered with waste by the half yard and delivered once a route, which the price of the
    route holds.
    """
    by_route = care.assign(
        labor_hours=care["weeding_hours"] + care["spreading_hours"],
        is_unmeasured=care["area_ft2"].isna(),
    ).groupby("route", sort=False)
    routes = by_route.agg(
        bed_count=("bed_id", "size"),
        unmeasured_count=("is_unmeasured", "sum"),
        area_ft2=("area_ft2", "sum"),
        mulch_yd3=("mulch_yd3", "sum"),
        labor_hours=("labor_hours", "sum"),
        price_cents=("price_cents", "sum"),
    ).reset_index()
    with_waste_yd3 = routes["mulch_yd3"].to_numpy(float) * (1.0 + rates.waste_share.value)
    delivery_usd = np.where(with_waste_yd3 > 0, rates.mulch_delivery_usd.value, 0.0)
    delivery_cents = whole_cents(delivery_usd / _kept_share(rates))
    routes = routes.assign(
        order_yd3=whole_steps(with_waste_yd3, ORDER_STEP_YD3),
        delivery_cents=delivery_cents,
        price_cents=routes["price_cents"] + delivery_cents,
    )
    return routes[[*ROUTE_COLUMNS]]


def _kept_share(rates: RateBook) -> float:
    return 1.0 - rates.gross_margin_share.value
