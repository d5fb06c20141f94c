"""A price, a chance and a rank as a person reads them: beds, labor, materials, cost, price, then why."""

from __future__ import annotations

import math
from collections.abc import Iterable
from textwrap import wrap
from typing import Any

import pandas as pd

from scanner.cli.talk import counted
from scanner.schema.documents import FINISH_LONG_WORDS, RateBook, Scan
from scanner.schema.edge_kinds import EDGE_KINDS
from scanner.units import CENTS_PER_USD, usd_said, write_usd

TASK_LETTERS = 50
HALF_CENT = 0.005
UNITS = {"yd3": "yd³", "ft2": "ft²", "yd3 loose": "yd³ loose"}
OWN_LINES = ("gross_margin_share", "minimum_job_usd", "sales_tax_share")
"""Rates of the lines that are no cost."""

RANKED_BY = {
    "offer_profit": "this sum", "lead_profit": "the first offer's part alone",
    "profit_per_crew_day": "chance times profit a crew-day",
}  # fmt: skip
"""What a list is sorted by, in words."""


def price_lines(price: dict[Any, Any], items: pd.DataFrame, found: Scan, width: int) -> list[str]:
    """Write one price out, a row of `PRICES` with its line items, to the cent."""
    laid = found.table("offer_beds")
    beds = laid[laid["offer_id"] == price["offer_id"]]
    is_own = items["rate_key"].isin(OWN_LINES)
    is_labor = items["labor_hours"] > 0
    labor, materials = items[is_labor & ~is_own], items[~is_labor & ~is_own]
    has_many = len(beds) > 1
    until = (
        f"{write_usd(price['price_low_cents'])} to {write_usd(price['price_high_cents'])} until it is measured; "
        f"{price['crew_days']:.1f} crew-days; stripped by {_method(price['method'])}; said to the client as "
        f"{usd_said(price['price_cents'])}"
    )
    return [
        f"{price['offer_id']}, {FINISH_LONG_WORDS[price['finish']]}: {write_usd(price['price_cents'], 2)} before tax",
        *_wrapped(until, width),
        "",
        *(line for bed in beds.to_dict("records") for line in _wrapped(_bed_words(bed), width)),
        "",
        f"  {'Labor':<{TASK_LETTERS}}{'quantity':>14}{'hours':>8}{'amount':>13}",
        *(_item_line(item, has_many) for item in labor.to_dict("records")),
        _sum_line("Labor together", labor, hours=labor["labor_hours"].sum()),
        "",
        f"  {'Materials, machines, fees':<{TASK_LETTERS}}{'quantity':>14}{'each':>8}{'amount':>13}",
        *(_item_line(item, has_many) for item in materials.to_dict("records")),
        _sum_line("Materials, machines, fees together", materials),
        "",
        _sum_line("Cost", items[~is_own]),
        *(_own_line(item, found.rates) for item in items[is_own & items["rate_key"].ne(OWN_LINES[-1])].to_dict("records")),
        _sum_line("Price before tax", items[items["rate_key"].ne(OWN_LINES[-1])]),
        *(_own_line(item, found.rates) for item in items[items["rate_key"].eq(OWN_LINES[-1])].to_dict("records")),
        _sum_line("Price with tax", items),
    ]  # fmt: skip


def chance_lines(found: Scan, client_id: str, *, listed: pd.DataFrame, width: int) -> list[str]:
    """Say what the chance of a client's call and its place in the list are made of."""
    calls = found.calls[found.calls["client_id"] == client_id].to_dict("records")
    if not calls:
        return []
    call, record = calls[0], found.chance_record
    offer = found.offers.set_index("offer_id").loc[call["offer_id"]]
    profit = offer["gross_profit_cents"] / CENTS_PER_USD
    steps = record.reached * call["still_reached"], record.agreed, call["buys"]
    signs = math.prod(float(part.rpartition(" ")[2]) for part in call["sign_factors"].split("; "))
    own = listed[listed["offer_id"] == call["offer_id"]].to_dict("records")
    is_listed = bool(own) and own[0]["price_cents"] == offer["price_cents"]
    told = own[0] if is_listed else call
    chance, expected = told["chance"], told["expected_profit_cents"] / CENTS_PER_USD
    scale = chance / (math.prod(steps) * signs)
    place = (
        f"Kind and signs tell who on a list buys rather than another, not that more buy: so that its sum stays, the chances in "
        f"the list of {own[0]['scanned_on']} are multiplied by {scale:.3f}: {chance:.2%}."
        if is_listed
        else f"No list with this price is on record; as the only call of one the chance is {chance:.2%}."
    )
    added = expected - chance * profit
    upgrade = f", and the larger job adds ${added:,.2f}" if abs(added) >= HALF_CENT else ""
    return [
        "Chance of a sale",
        *_wrapped(
            f"{steps[0]:.1%} of such clients are reached ({_rests(record.attempt_count, 'try', 'tries')}), {steps[1]:.1%} of these "
            f"agree to a visit ({_rests(record.talk_count, 'talk', 'talks')}), and {steps[2]:.1%} of these buy at a price of "
            f"{call['price_over_annual']:.2f} years of mowing ({_rests(record.quote_count, 'quote', 'quotes')}): "
            f"{math.prod(steps):.2%}.", width),
        *_wrapped(f"The kind of bed and the signs of this client multiply that by {signs:.3f} ({call['sign_factors'].replace('; ', ', ')}). {place}", width),
        "Rank",
        *_wrapped(
            f"{chance:.2%} of the gross profit of ${profit:,.2f} is ${chance * profit:,.2f}{upgrade}: ${expected:,.2f}. "
            f"Lists are sorted by {RANKED_BY[found.rates.rank_by]}.", width),
        *(_wrapped(f"Not called: {call['left_out']}.", width) if call["left_out"] else ()),
    ]  # fmt: skip


def rate_lines(rates: RateBook, keys: Iterable[str], width: int) -> list[str]:
    """Say where each rate comes from; any of them may be set in rates.toml."""
    told = ((key, getattr(rates, key)) for key in keys)
    sentences = (f"{key} = {rate.value:g}: {rate.source}" for key, rate in told)
    return [
        "Where the rates come from (rates.toml sets each)",
        *(line for sentence in sentences for line in _wrapped(sentence, width)),
    ]


def _item_line(item: dict[Any, Any], has_many: bool) -> str:
    task = item["task"] + (f", {item['bed_id']}" if has_many and item["bed_id"] else "")
    quantity = (
        f"{item['quantity']:,.2f}".rstrip("0").rstrip(".")
        if item["quantity"] % 1
        else f"{item['quantity']:,.0f}"
    )
    each = f"{item['labor_hours']:.2f}" if item["labor_hours"] else f"${item['rate_usd']:,.2f}"
    amount = f"{quantity} {UNITS.get(item['unit'], item['unit'])}"
    return f"  {task:<{TASK_LETTERS}}{amount:>14}{each:>8}{write_usd(item['amount_cents'], 2):>13}"  # fmt: skip


def _own_line(item: dict[Any, Any], rates: RateBook) -> str:
    value = getattr(rates, item["rate_key"]).value
    words = {
        "gross_margin_share": f"Gross profit, {value:.0%} of the price",
        "minimum_job_usd": f"Up to the smallest job, ${value:,.0f}",
        "sales_tax_share": f"Sales tax, {value * 100:g} %",
    }[item["rate_key"]]
    return _amount_line(words, item["amount_cents"])


def _sum_line(words: str, items: pd.DataFrame, *, hours: float = 0.0) -> str:
    return _amount_line(words, int(items["amount_cents"].sum()), f"{hours:.2f}" if hours else "")


def _amount_line(words: str, amount_cents: int, hours: str = "") -> str:
    return f"  {words:<{TASK_LETTERS + 14}}{hours:>8}{write_usd(amount_cents, 2):>13}"


def _bed_words(bed: dict[Any, Any]) -> str:
    face = f" ({bed['face'].replace('+', ' and ')})" if bed["face"] else ""
    return (
        f"{bed['bed_id']}: along {EDGE_KINDS[bed['along']].words}{face}, {bed['edge_ft']:.1f} ft of edge, "
        f"{bed['area_ft2']:.1f} ft², {bed['mean_depth_ft']:.1f} ft deep"
    )


def _method(method: str) -> str:
    return method if method == "hand" else f"the {method}"


def _rests(count: int, one: str, many: str) -> str:
    return f"{counted(count, one, many)} on record, and the rate book's starting counts"


def _wrapped(text: str, width: int) -> list[str]:
    return wrap(text, width, initial_indent="  ", subsequent_indent="    ")
