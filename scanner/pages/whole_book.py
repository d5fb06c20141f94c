"""What a book would hold if every client said yes: no forecast, and kept apart from it."""

from __future__ import annotations

from typing import Any

import pandas as pd

from scanner.pages.plan_page import write_share
from scanner.pages.summary import scanned_ids
from scanner.schema.documents import FINISH_LONG_WORDS, FINISHES, Scan
from scanner.schema.edge_kinds import EDGE_KINDS
from scanner.units import write_usd


def hold_of(found: Scan) -> pd.DataFrame:
    """List what each client on the list would pay for the first offer and for all in one job."""
    listed = found.calls[found.calls["left_out"] == ""]
    offers = found.offers[found.offers["offer_id"].isin(listed["offer_id"])]
    has_upgrade = offers["upgrade_price_cents"] > 0
    return offers.assign(
        route=offers["client_id"].map(found.clients.set_index("client_id")["route"]),
        whole_cents=offers["upgrade_price_cents"].where(has_upgrade, offers["price_cents"]),
        whole_profit_cents=offers["upgrade_gross_profit_cents"].where(
            has_upgrade, offers["gross_profit_cents"]
        ),
    )


def whole_book(found: Scan, *, to_call: pd.DataFrame, care_cents: int) -> dict[str, Any]:
    """Tell what the book holds if every client said yes; ``to_call``: stages of who is still to be called."""
    hold = hold_of(found)
    price, whole = int(hold["price_cents"].sum()), int(hold["whole_cents"].sum())
    buyers = to_call["jobs"].sum() / max(1, to_call["client_count"].sum())
    return {
        "words": (
            f"First offers {write_usd(price)}, with all that fits one job {write_usd(whole)} "
            f"({write_usd(hold['whole_profit_cents'].sum())} gross profit). This is no forecast: about "
            f"{round(buyers * 100)} of 100 clients who are still to be called are likely to buy by then."
        ),
        "routes": _whole_routes(hold),
        "kinds": _kinds(found),
        "finishes": _finishes(found, hold),
        "known": [sentence for sentence in _known(found, hold, care_cents) if sentence],
    }


def _whole_routes(hold: pd.DataFrame) -> list[dict[str, Any]]:
    rows = [
        {"name": str(name) or "No route", "client_count": len(own), "price_cents": own["price_cents"].sum(),
         "whole_cents": own["whole_cents"].sum(), "is_all": False}
        for name, own in hold.groupby("route", sort=True)
    ]  # fmt: skip
    total = {"name": "All", "client_count": len(hold), "price_cents": hold["price_cents"].sum(),
             "whole_cents": hold["whole_cents"].sum(), "is_all": True}  # fmt: skip
    return [*rows, total]


def _kinds(found: Scan) -> list[dict[str, Any]]:
    kept = found.beds[found.beds["skip_reason"] == ""]
    rows = [
        {"name": EDGE_KINDS[str(along)].name, "bed_count": len(own), "area_ft2": own["area_ft2"].sum(), "is_all": False}
        for along, own in kept.groupby("along", sort=False)
    ]  # fmt: skip
    total = {
        "name": "All",
        "bed_count": len(kept),
        "area_ft2": kept["area_ft2"].sum(),
        "is_all": True,
    }
    return [*rows, total]


def _finishes(found: Scan, hold: pd.DataFrame) -> list[tuple[str, int]]:
    """Price the first offers all in one finish; one that gets no plant has no planted price."""
    sums = pd.Series(0, index=[*FINISHES])
    wanted = set(hold["offer_id"])
    for part in found.parts:
        prices = part["prices"]
        own = prices[prices["offer_id"].isin(wanted)].groupby("finish")["price_cents"].sum()
        sums = sums.add(own, fill_value=0)
    return [(FINISH_LONG_WORDS[finish], int(sums[finish])) for finish in FINISHES if sums[finish]]


def _known(found: Scan, hold: pd.DataFrame, care_cents: int) -> list[str]:
    scanned = len(scanned_ids(found))
    missing = len(found.clients) - scanned
    seen = int(hold["is_confirmed"].sum())
    area = hold["area_ft2"].sum()
    share = hold["right_of_way_ft2"].sum() / area if area else 0.0
    kept = found.beds[(found.beds["skip_reason"] == "") & found.beds["bed_id"].isin(
        {bed for beds in hold["bed_ids"] for bed in beds.split()}
    )]  # fmt: skip
    each = hold["price_cents"].sum() / scanned if scanned else 0
    return [
        f"{scanned:,} of {len(found.clients):,} lots scanned{f', {missing:,} neither drawn nor measured' if missing else ''}.",
        f"{seen:,} of {len(hold):,} first offers lie on turf that is drawn, measured or seen by a crew; {len(hold) - seen:,} are inferred.",
        f"{write_share(share)} of the first offers' ground is right-of-way: a permit may be needed.",
        f"Extrapolated: if those not scanned are like the others, {write_usd(each * missing)} more in first offers."
        if missing else "",
        f"String-trimming saved: {kept['trim_ft'].sum():,.0f} ft at each visit.",
        f"Care of the beds that you built brings {write_usd(care_cents)} a year." if care_cents else "",
    ]  # fmt: skip
