"""The forecast as a page: the answer, where it stands, by month and route; what the book holds apart."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from math import ceil, floor
from typing import Any

import pandas as pd

from scanner.pages.plan_page import render_page, write_day, write_share
from scanner.pages.plots import Bar, bar_line, columns, curve
from scanner.pages.whole_book import hold_of, whole_book
from scanner.schema.documents import Scan
from scanner.schema.plan_tables import CALL_BACK, NEW, QUOTE, SOLD, TRIED, VISIT
from scanner.units import RANGE_STEP_CENTS, write_usd

PARTS = (
    ("Sold, not built", "full", (SOLD,)),
    ("Open quotes", "slant", (QUOTE,)),
    ("Agreed visits", "dots", (VISIT,)),
    ("Calls", "open", (CALL_BACK, TRIED, NEW)),
)
"""Stages as the plots show them: name, fill, stages of a lead."""

STAGE_WORDS = {
    SOLD: ("Sold, not built", "full", "{} waiting; sure but for a change of mind"),
    QUOTE: ("Open quotes", "slant", "{} open"),
    VISIT: ("Agreed visits", "dots", "{} to visit"),
    CALL_BACK: ("To call back", "open", "{} promised a call"),
    TRIED: ("Tried in vain", "open", "{} to try again"),
    NEW: ("Not called yet", "open", "{} on the list"),
}
"""Stages as the first table names them: name, fill, what stands below."""

REACH_COUNTS = (10, 20, 40, 80, 160, 320)
LAST_CLIENTS = 10

ASSUMED = (
    "Left out: cancellations, weather, price changes, letters, new clients, later jobs of the same client, the time that"
    " visits take, and what the season will teach. Chances rest on {0} tries to reach somebody, {1} decided talks and"
    " {2} quotes on record, beside the starting values of the rate book."
)


@dataclass(frozen=True)
class ForecastTables:
    """A forecast in tables, as the page takes it."""

    until: date  # its last day
    calls_a_week: float  # calls a week
    stages: pd.DataFrame  # tables `OUTLOOKS`
    routes: pd.DataFrame
    months: pd.DataFrame  # table `MONTHS`
    sold_cents: int  # gross profit of what is sold and not built
    care_cents: int  # what the beds that are there bring a year in care
    notes: tuple[str, ...] = ()  # what is to be known beside, in sentences


def forecast_html(found: Scan, tables: ForecastTables) -> str:
    """Write the page."""
    return render_page("forecast.html", _page(found, tables))


def forecast_json(found: Scan, tables: ForecastTables) -> dict[str, Any]:
    """Give the same figures for other programs."""
    whole = hold_of(found)
    return {
        "today": found.today.isoformat(),
        "until": tables.until.isoformat(),
        "answer": answer_words(tables),
        "stages": _records(tables.stages),
        "months": _records(tables.months),
        "routes": _records(tables.routes),
        "if_all_said_yes": {
            "first_offers_cents": int(whole["price_cents"].sum()),
            "all_in_one_job_cents": int(whole["whole_cents"].sum()),
            "gross_profit_cents": int(whole["whole_profit_cents"].sum()),
            "care_cents": tables.care_cents,
        },
        "notes": list(tables.notes),
    }


def answer_words(tables: ForecastTables) -> str:
    """Say the forecast in two sentences."""
    total = tables.stages.iloc[-1]
    more = total["profit_cents"] - tables.sold_cents
    low = (
        floor((total["profit_low_cents"] - tables.sold_cents) / RANGE_STEP_CENTS) * RANGE_STEP_CENTS
    )
    high = (
        ceil((total["profit_high_cents"] - tables.sold_cents) / RANGE_STEP_CENTS) * RANGE_STEP_CENTS
    )
    nothing = _nothing_more(tables)
    sold = f", beside {write_usd(tables.sold_cents)} sold and waiting" if tables.sold_cents else ""
    return (
        f"Until {write_day(tables.until)} about {write_usd(_to_50(more))} gross profit more (8 times in 10 between "
        f"{write_usd(max(low, 0))} and {write_usd(high)}){sold}. The chance that nothing more comes is {nothing}."
    )


def _nothing_more(tables: ForecastTables) -> str:
    return write_share(float(tables.stages.iloc[-1]["nothing_chance"]))


def _to_50(cents: float) -> int:
    return round(cents / RANGE_STEP_CENTS) * RANGE_STEP_CENTS


def _page(found: Scan, tables: ForecastTables) -> Mapping[str, Any]:
    months, routes = _records(tables.months), _records(tables.routes)
    reach = _reach(found.calls)
    is_capped = bool((tables.months["free_days"] < float("inf")).all())
    return {
        "company": found.rules.company.name,
        "book": found.name,
        "today": found.today,
        "until": tables.until,
        "answer": answer_words(tables),
        "notes": tables.notes,
        "is_capped": is_capped,
        "key": [(name, fill) for name, fill, _ in PARTS],
        "stages": _stage_rows(tables),
        "months": [row | {"words": _month_words(row["month"])} for row in months],
        "month_plot": _month_plot(months),
        "routes": [_route_row(row) for row in routes],
        "route_plot": _route_plot([_route_row(row) for row in routes if row["name"] != "all"]),
        "reach": [(count, reach[count - 1]) for count in _reach_counts(len(reach))],
        "reach_plot": _reach_plot(reach),
        "reach_words": f"{_reach_words(reach)} {_list_words(tables, len(reach))}",
        "whole": whole_book(found, to_call=_to_call(tables), care_cents=tables.care_cents),
        "assumed": ASSUMED.format(
            *(f"{count:,}" for count in vars(found.chance_record).values())
        ),
    }  # fmt: skip


def _records(table: pd.DataFrame) -> list[dict[str, Any]]:
    rows = table.to_dict("records")
    return [
        {str(name): None if value == float("inf") else value for name, value in row.items()}
        for row in rows
    ]


def _stage_rows(tables: ForecastTables) -> list[dict[str, Any]]:
    rows = []
    most = max(1, int(tables.stages["profit_high_cents"].max()))
    for row in _records(tables.stages):
        is_all = row["name"] == "all"
        words, fill, more = STAGE_WORDS.get(row["name"], ("All", "open", ""))
        clients = f"{row['client_count']:,} client{'' if row['client_count'] == 1 else 's'}"
        share, low, high = (row[f"profit_{end}cents"] / most for end in ("", "low_", "high_"))
        if row["name"] == NEW:
            more = f"{{}} on the list, {tables.calls_a_week:g} calls a week"
        rows.append(row | {
            "words": words, "more": more.format(clients), "is_all": is_all,
            "bar": "" if is_all else bar_line(share, low, high, fill),
        })  # fmt: skip
    return rows


def _month_words(month: str) -> str:
    return f"{date.fromisoformat(f'{month}-01'):%B}"


def _month_plot(months: list[dict[str, Any]]) -> str:
    bars = [
        Bar(_month_words(row["month"])[:3], (0.0, 0.0, 0.0, row["profit_cents"]), row["profit_low_cents"], row["profit_high_cents"])
        for row in months
    ]  # fmt: skip
    best = max(months, key=lambda row: row["profit_cents"])
    return columns(
        bars, write_usd, title="Gross profit sold in each month",
        finding=f"Most is likely in {_month_words(best['month'])}: {write_usd(best['profit_cents'])}.",
    )  # fmt: skip


def _route_row(row: dict[str, Any]) -> dict[str, Any]:
    parts = [sum(row[f"{stage.replace(' ', '_')}_cents"] for stage in own) for _, _, own in PARTS]
    is_all = row["name"] == "all"
    words = "All" if is_all else row["name"] or "No route"
    return row | {"words": words, "parts": parts, "is_all": is_all}


def _route_plot(routes: list[dict[str, Any]]) -> str:
    largest = sorted(routes, key=lambda row: -row["profit_cents"])[:8]
    bars = [
        Bar(row["words"][:8], row["parts"], row["profit_low_cents"], row["profit_high_cents"])
        for row in largest
    ]
    finding = (
        f"Most is likely on {largest[0]['words']}: {write_usd(largest[0]['profit_cents'])}."
        if largest
        else "No route has an offer."
    )
    return columns(bars, write_usd, title="Gross profit by route", finding=finding)


def _reach(calls: pd.DataFrame) -> list[int]:
    listed = calls[calls["left_out"] == ""].sort_values("rank")
    return [int(cents) for cents in listed["expected_profit_cents"].cumsum()]


def _reach_counts(last: int) -> list[int]:
    return [*(count for count in REACH_COUNTS if count < last), *([last] if last else [])]


def _reach_plot(reach: list[int]) -> str:
    points = [
        (0.0, 0.0),
        *((float(place), float(cents)) for place, cents in enumerate(reach, start=1)),
    ]
    return curve(
        points, [float(count) for count in _reach_counts(len(reach))[-4:]], write_usd,
        title="Profit to expect by clients called", finding=_reach_words(reach),
        below="clients called, from the top of the list",
    )  # fmt: skip


def _to_call(tables: ForecastTables) -> pd.DataFrame:
    return tables.stages[tables.stages["name"].isin([CALL_BACK, TRIED, NEW])]


def _list_words(tables: ForecastTables, listed_count: int) -> str:
    """Say why the calls of the route table come to more or less than those of the list."""
    calls = _to_call(tables)
    later = int(calls["client_count"].sum()) - listed_count
    more = f", with {later:,} more who are promised a later call" if later > 0 else ""
    return (
        f"The curve has the {listed_count:,} clients on today's list, whenever they answer. By stage and route, calls bring "
        f"{write_usd(int(calls['profit_cents'].sum()))}: that is what is sold until {write_day(tables.until)}{more}."
    )


def _reach_words(reach: list[int]) -> str:
    if len(reach) <= LAST_CLIENTS:
        return "At today's chances."
    each = (reach[-1] - reach[-1 - LAST_CLIENTS]) / LAST_CLIENTS
    return f"At today's chances, whoever of these is called. The last ten clients bring {write_usd(each)} each."
