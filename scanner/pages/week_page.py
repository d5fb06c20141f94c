"""The page that a week is opened with."""

from __future__ import annotations

import shlex
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

import pandas as pd

from scanner.pages.plan_page import month_day, render_page, write_days
from scanner.pages.plots import bar_line
from scanner.pages.sealed import read_asset
from scanner.pages.webmap_rows import dial, sort_routes
from scanner.units import usd_said

SECTIONS = (
    ("call back", "call-back", "Call back", ("call back", "call back"), "promised; longest overdue first", "Nobody was promised a call this week."),
    ("visit", "visits", "Visits", ("visit", "visits"), "this week, without a day, or made and not quoted", "No visit this week."),
    ("quote", "quotes", "Quotes open over ten days", ("quote", "quotes"), "oldest first", "No quote has been open that long."),
    ("sold", "sold", "Sold, no week yet", ("to schedule", "to schedule"), "longest waiting first", "Every sale has its week."),
    ("not marked", "not-marked", "Scheduled, lines not marked", ("without a ticket", "without a ticket"), "their weeks are near; longest waiting first", "Every week that is near has its tickets."),
    ("to build", "to-build", "To build", ("to build", "to build"), "this week, or past its week", "No job is this week's."),
    ("built", "built", "Built, hours missing", ("hours missing", "hours missing"), "", "The hours of all jobs are on record."),
)  # fmt: skip
"""Sections of the left column: name in the table, key, title, words for one and for more, what stands beside, if empty."""

OFFERED = ("call back", "visit", "new call")
"""Sections that tell of today's offer; the others tell of what was said, which may have been another."""

WEEK_COUNT = 6


@dataclass(frozen=True)
class WeekTables:
    """A week in tables, as the page takes it."""

    book: str  # names
    path: str  # the book as a command names it
    company: str
    today: date  # day of the page, and the Monday before
    monday: date
    scanned_on: str  # day of the list, ISO; blank: none
    lines: pd.DataFrame  # table `WEEK_LINES`
    clients: pd.DataFrame  # table `CLIENTS`, as `add_history` gives it
    listed: pd.DataFrame  # table `LISTED`: what is offered
    said: Mapping[str, tuple[str, str]]  # by client, the last note: ``called_on`` and ``note``
    # of six weeks their Mondays, free crew-days and those of jobs scheduled for them; empty: not known
    free_days: Sequence[tuple[date, float, float]]
    sold_days: float  # crew-days sold and not built, by the estimates of so many jobs
    sold_count: int
    young_quotes: int  # quotes too young to ask after


def week_html(tables: WeekTables) -> str:
    """Write the page."""
    rows = week_rows(tables)
    script = read_asset("plan_assets/week.js")
    own = {name: [row for row in rows if row["section"] == name] for name, *_ in SECTIONS}
    free = sum(days for _, days, _ in tables.free_days)
    sold = sum(taken for _, _, taken in tables.free_days)
    most = max((days for _, days, _ in tables.free_days), default=0.0) or 1.0
    return render_page("week.html", {
        "book": tables.book, "company": tables.company, "today": tables.today, "monday": tables.monday,
        "scanned_on": tables.scanned_on and date.fromisoformat(tables.scanned_on),
        "sections": [
            {"key": key, "title": title, "short": words[len(own[name]) != 1], "none": none,
             "more": _more(name, more, tables), "lines": own[name]}
            for name, key, title, words, more, none in SECTIONS
        ],
        "new": [row for row in rows if row["section"] == "new call"],
        "routes": sort_routes({row["route"] for row in rows}),
        "weeks": [
            {"words": month_day(monday), "days": days, "sold": taken,
             "bar": bar_line(days / most, 0, 0, "open", min(taken / most, 1.0))}
            for monday, days, taken in tables.free_days
        ],
        "free": free,
        "sold": sold,
        "sold_words": _sold_words(tables, free),
    }, script=script)  # fmt: skip


def week_rows(tables: WeekTables) -> list[dict[Any, Any]]:
    """Give the lines with all that stands on them, as the page and other programs read them."""
    clients = tables.clients.set_index("client_id")
    offers = tables.listed.drop_duplicates("client_id").set_index("client_id")
    rows = list[dict[Any, Any]]()
    for line in tables.lines.to_dict("records"):
        client_id = line["client_id"]
        client = clients.loc[client_id]
        offer = offers.loc[client_id] if client_id in offers.index else None
        said_on, said = tables.said.get(client_id, ("", ""))
        rows.append({
            **line, "name": client["name"], "phone": client["phone"], "dial": dial(client["phone"]),
            "route": client["route"], "when": _when(line, tables.today), "late": _late(line, tables.today),
            "said": said, "said_on": said_on and month_day(date.fromisoformat(said_on)),
            "what": _what(line, offer), "next_step": _step(line, offer),
            "where": _where(client),
            "command": "bed-scanner " + line["command"].replace("BOOK", shlex.quote(tables.path), 1),
        })  # fmt: skip
    return rows


def _sold_words(tables: WeekTables, free: float) -> str:
    """Say how much work is sold, of how many jobs, and how many of these need nothing this week."""
    lines = tables.lines[tables.lines["section"].isin(["sold", "not marked", "to build"])]
    later = tables.sold_count - int((lines["number"] != "").sum())
    more = (
        f", {later} of them scheduled for a later week: on this page when a ticket is due or the week has come"
        if later
        else ""
    )
    return (
        f"Sold and not built: {write_days(tables.sold_days)} crew-days of {tables.sold_count} job{'s' * (tables.sold_count != 1)}{more}. "
        f"Then {write_days(max(0.0, free - tables.sold_days))} are left to sell."
    )


def _more(name: str, more: str, tables: WeekTables) -> str:
    """Say beside a title what of it can wait."""
    if name == "quote" and tables.young_quotes:
        return f"{more}; {tables.young_quotes} newer can wait"
    day = tables.lines.loc[tables.lines["section"] == name, "day"]
    later = int((day > tables.today.isoformat()).sum())
    return f"{more}; {later} of them later this week" if name == "call back" and later else more


def _when(line: Mapping[Any, Any], today: date) -> str:
    if not line["day"]:
        return "no day yet" if line["section"] == "visit" else ""
    day = date.fromisoformat(line["day"])
    if line["section"] == "quote":
        return f"{(today - day).days} days old"
    sold = dict.fromkeys(("sold", "not marked", "to build"), "sold ")
    word = {**sold, "built": "built "}.get(line["section"], f"{day:%a} ")
    return f"{word}{month_day(day)}"


def _late(line: Mapping[Any, Any], today: date) -> str:
    if line["section"] not in ("call back", "visit") or not line["day"]:
        return ""
    days = (today - date.fromisoformat(line["day"])).days
    return f"{days} day{'' if days == 1 else 's'} late" if days > 0 else ""


def _what(line: Mapping[Any, Any], offer: pd.Series[Any] | None) -> str:
    """Say what it is about: the quote, the job as sold, what was said of either in a call, else what is offered."""
    if line["section"] not in OFFERED:
        return line["about"] or "what for is not on record"
    if offer is None or line["section"] == "new call":
        return line["bed_ids"]
    return f"{offer['offer']}, about\N{NO-BREAK SPACE}{usd_said(int(offer['price_cents']))}"


def _step(line: Mapping[Any, Any], offer: pd.Series[Any] | None) -> str:
    if offer is None or line["section"] != "new call":
        return str(line["next_step"])
    return f"{line['next_step']}: {usd_said(int(offer['price_cents']))}"


def _where(client: pd.Series[Any]) -> str:
    stop = "" if pd.isna(client["stop"]) else f"stop\N{NO-BREAK SPACE}{client['stop']:g}"
    place = ", ".join(part for part in (client["route"], client["mow_day"], stop) if part)
    return " · ".join(part for part in (client["address"], place) if part)
