"""The totals of a scan: `summary.json`, and the same numbers for the other pages."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pandas as pd

from scanner.schema.documents import MachineUse, Scan
from scanner.schema.plan_tables import QUOTE, SOLD, VISIT
from scanner.schema.tables import SKIP_REASONS
from scanner.sheets.cells import json_value, usd
from scanner.sheets.text_columns import scaled
from scanner.units import CENTS_PER_USD


def summary_json(scan: Scan) -> bytes:
    """Write `summary.json`.

    The file's bytes, one key a line.
    """
    lines = [f"  {json_value(key)}: {json_value(value)}" for key, value in summarize(scan).items()]
    return ("{\n" + ",\n".join(lines) + "\n}\n").encode()


def summarize(scan: Scan) -> dict[str, Any]:
    """
    Add up a scan: values by key, in the order of `summary.json`.

    Lengths and areas over the beds found, as the other files write them, so that their sums agree;
    money over the offers on the call list. clients = scanned (a lawn, or an edge measured on foot)
    + not_drawn; beds + skipped is every bed.
    """
    beds = scan.beds
    found, skipped = beds[beds["skip_reason"] == ""], beds[beds["skip_reason"] != ""]
    calls = scan.calls[scan.calls["left_out"] == ""]
    offers = scan.offers[scan.offers["offer_id"].isin(calls["offer_id"])]
    scanned_count = int(scan.clients["client_id"].isin(scanned_ids(scan)).sum())
    return {
        "clients": len(scan.clients),
        "scanned": scanned_count,
        "not_drawn": len(scan.clients) - scanned_count,
        "beds": len(found),
        "skipped": len(skipped),
        "skipped_by_reason": {
            reason: int((skipped["skip_reason"] == reason).sum()) for reason in SKIP_REASONS
        },
        "offers": len(offers),
        "problems": len(scan.problems),
        "edge_ft": _total(found["edge_ft"]),
        "area_ft2": _total(found["area_ft2"]),
        "right_of_way_ft2": _total(found["right_of_way_ft2"]),
        "price_usd": usd(offers["price_cents"].sum()),
        "gross_profit_usd": usd(offers["gross_profit_cents"].sum()),
        **_expected(scan.totals[scan.totals["is_all"]].iloc[0]),
        "by_route": {
            total["route"]: {"offers": int(total["call_count"]), **_expected(total)}
            for _, total in scan.totals[~scan.totals["is_all"]].iterrows()
        },
        **_work(offers),
        "faults": int((scan.problems["severity"] == "fault").sum()),
        **_uncalled(scan),
        "later_phases": int((scan.offers["phase"] > 1).sum()),
        "unconfirmed": int((~offers["is_confirmed"]).sum()),
        **_unconfirmed(scan, found, calls, offers),
        "refer_to_designer": int(offers["needs_designer"].sum()),
        "cheapest_at_curb_from_ft2": dict(scan.break_even.at_curb),
        "cheapest_elsewhere_from_ft2": dict(scan.break_even.elsewhere),
        "machines": {use.machine: _use(use) for use in scan.machines},
        **_record(scan),
        "scanned_on": scan.today.isoformat(),
    }


def _work(offers: pd.DataFrame) -> dict[str, Any]:
    """Crew-days of the offers, and what the jobs cost that may follow."""
    days, later_cents = offers["crew_days"].sum(), offers["later_price_cents"].sum()
    return {"crew_days": round(float(days), 2), "later_price_usd": usd(later_cents)}


def _uncalled(scan: Scan) -> dict[str, Any]:
    stages, calls = scan.under_way["stage"], scan.calls
    is_out = (calls["left_out"] != "") & ~calls["client_id"].isin(scan.under_way["client_id"])
    return {
        "left_out": int(is_out.sum()),
        "under_way": {stage: int((stages == stage).sum()) for stage in (SOLD, QUOTE, VISIT)},
    }


def _record(scan: Scan) -> dict[str, int]:
    counts = ("attempt", "talk", "quote")
    return {f"chance_{name}s": getattr(scan.chance_record, f"{name}_count") for name in counts}


def _use(use: MachineUse) -> dict[str, Any]:
    days = ("rented_days", "rented_days_all", "owned_days", "owned_days_all")
    return {name: round(getattr(use, name), 2) for name in days} | {
        name: usd(round(getattr(use, name) * CENTS_PER_USD))
        for name in ("saved_usd", "saved_usd_all")
    }


def machine_words(use: MachineUse) -> str:
    """Say to an owner whether a machine is worth buying, at his rates and with this list.

    >>> machine_words(MachineUse("sod cutter", 0.0, 2.0, 5.4, 70.0, 180.0, 2400.0))
    'sod cutter: rented it pays on 0 days if the sales to expect come, on 2 if all are sold. Your own would be used on 5 (70) and save $180 ($2,400), its day rate paid: buy one where it runs that often beside other work, else rent.'
    >>> machine_words(MachineUse("loader", 0.0, 0.0, 0.0, 0.0, 0.0, 0.0))
    'loader: no job of this list needs one, rented or owned.'
    """
    if not use.owned_days_all and not use.rented_days_all:
        return f"{use.machine}: no job of this list needs one, rented or owned."
    return (
        f"{use.machine}: rented it pays on {use.rented_days:,.0f} days if the sales to expect come, on "
        f"{use.rented_days_all:,.0f} if all are sold. Your own would be used on {use.owned_days:,.0f} "
        f"({use.owned_days_all:,.0f}) and save ${use.saved_usd:,.0f} (${use.saved_usd_all:,.0f}), its day rate "
        "paid: buy one where it runs that often beside other work, else rent."
    )


def _expected(total: pd.Series[Any]) -> dict[str, Any]:
    """Gross profit to expect, its 80 % range, and the chance of nothing."""
    return {
        "expected_profit_usd": usd(total["expected_profit_cents"]),
        "expected_profit_low_usd": usd(total["expected_profit_low_cents"]),
        "expected_profit_high_usd": usd(total["expected_profit_high_cents"]),
        "chance_of_no_sale": round(float(total["chance_of_no_sale"]), 4),
    }


def _unconfirmed(
    scan: Scan, found: pd.DataFrame, calls: pd.DataFrame, offers: pd.DataFrame
) -> dict[str, Any]:
    """Total apart what rests on ground that nobody has seen: beds found, money of offers."""
    unseen = found[found["bed_id"].isin(unseen_beds(scan.offers))]
    doubtful = offers[~offers["is_confirmed"]]
    hoped = calls[calls["offer_id"].isin(doubtful["offer_id"])]
    return {
        "unconfirmed_beds": len(unseen),
        "unconfirmed_area_ft2": _total(unseen["area_ft2"]),
        "unconfirmed_price_usd": usd(doubtful["price_cents"].sum()),
        "unconfirmed_expected_profit_usd": usd(hoped["expected_profit_cents"].sum()),
    }


def offered_beds(offers: pd.DataFrame) -> pd.DataFrame:
    """List the beds of each offer, those of its upgrade too, as `bed_id`; a bed stands once."""
    more = offers["upgrade_bed_ids"].mask(offers["upgrade_bed_ids"] == "", offers["bed_ids"])
    bed_ids = more.str.split().explode()
    listed = offers.loc[bed_ids.index].assign(bed_id=bed_ids.to_numpy())
    return listed.drop_duplicates("bed_id")


def unseen_beds(offers: pd.DataFrame) -> set[str]:
    """Name the beds that rest on ground that nobody has seen.

    Names of beds; none where the table does not tell.
    """
    if "unseen_bed_ids" not in offers:
        return set()
    return {bed_id for bed_ids in offers["unseen_bed_ids"] for bed_id in bed_ids.split()}


def scanned_ids(scan: Scan) -> set[str]:
    """Name the clients with a lawn, or with an edge measured on foot."""
    with_lawn = scan.lots.loc[scan.lots["lawn_source"] != "", "client_id"]
    return {*with_lawn, *scan.beds["client_id"]}


def _total(measures: pd.Series[float]) -> Decimal:
    """Add what the files write, each number already rounded, so that sums agree exactly."""
    return Decimal(int(scaled(measures).sum())).scaleb(-2)
