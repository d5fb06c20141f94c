"""A client's story in lines of a terminal."""

from __future__ import annotations

from textwrap import wrap
from typing import Any

from scanner.calls.reasons import NO_CALLS
from scanner.pages.plan_page import write_feet
from scanner.schema.edge_kinds import EDGE_KINDS
from scanner.units import CENTS_PER_USD, usd_said

Story = dict[str, Any]
HEADING_LETTERS = 9


def story_lines(story: Story, width: int) -> list[str]:
    """Lay a story out in lines of a terminal."""
    who, offer = story["client"], story["offer"]
    name = f"{who['name']} ({who['client_id']})" if "name" in who else who["client_id"]
    stop = f"stop {who['stop']:g}" if "stop" in who else ""
    place = [who.get("address"), who.get("route"), who.get("mow_day"), stop]
    shown = {"client_id", "name", "address", "phone", "route", "mow_day", "stop"}
    parts = [
        ("", f"DO NOT CALL: {NO_CALLS}" if who.get("do_not_call") == "yes" else ""),
        ("", f"{name}   {who.get('phone', 'no phone')}"),
        ("", ", ".join(filter(None, place))),
        ("", "; ".join(told_words(key, value) for key, value in who.items() if key not in shown)),
        ("Law", story["may_be_called"]),
        ("Left out", story["left_out"]),
        ("Next", " ".join(filter(None, story["next"].values()))),
        ("Say", offer.get("say") or offer.get("offer", "")),
        ("Price", f"about {_said(offer['price_usd'])}, ${offer['price_low_usd']:,.0f} to ${offer['price_high_usd']:,.0f}; "
                  f"{offer['crew_days']:.1f} crew-days; chance {offer['chance']:.0%}; by the scan of {offer['scanned_on']}" if offer else ""),
        ("Why", offer.get("reasons", "")),
        ("Mind", offer.get("cautions", "")),
        *(("Bed", bed_words(bed)) for bed in story["beds"]),
        *(("Lot", f"{row['what']}: {row['value']} ({row['day']})") for row in story["lot"]),
        *(("Said", said_words(row)) for row in story["said_and_done"]),
    ]  # fmt: skip
    if not story["said_and_done"]:
        parts.append(("Said", "nothing on record"))
    return [line for heading, text in parts if text for line in _wrapped(heading, text, width)]


def told_words(key: str, value: Any) -> str:  # noqa: ANN401  # a cell
    """Say what the client list tells, a figure with its unit.

    >>> told_words("annual_usd", 2133.61), told_words("mowed_ft2", 8850.0), told_words("visits_per_year", 30.0)
    ('annual $2,133.61', 'mowed 8,850 ft²', 'visits per year 30')
    """
    if isinstance(value, str):
        return f"{key.replace('_', ' ')} {value}"
    name, _, unit = key.rpartition("_")
    units = {"usd": f"${value:,.2f}", "ft2": f"{value:,.0f} ft²", "ft": f"{value:,.0f} ft"}
    told, figure = (name, units[unit]) if unit in units else (key, f"{value:g}")
    return f"{told.replace('_', ' ')} {figure}"


def _said(price_usd: float) -> str:
    return usd_said(round(price_usd * CENTS_PER_USD))


def bed_words(bed: Story) -> str:
    """Say what a bed is, and what it costs alone, when it was built or why it is not offered."""
    head = f"{bed['bed_id']}, along {EDGE_KINDS[bed['along']].words}"
    if bed["built_on"]:
        return f"{head}: {bed['area_ft2']:.0f} ft², built on {bed['built_on']}"
    what = f"not offered: {bed['why']}" if bed["why"] else f"about {_said(bed['price_usd'])} alone"
    return f"{head}: {write_feet(bed['edge_ft'])}, {bed['area_ft2']:.0f} ft², {what}"


def said_words(row: Story) -> str:
    """Say what was said or done on a day, and by which number it can be taken back.

    >>> said_words({"entry_id": 7, "day": "2027-03-02", "what": "call back", "words": "gate code 12#", "next": "2027-03-09 ring"})
    '2027-03-02 call back: gate code 12# (next: 2027-03-09 ring) [number 7]'
    """
    words = f": {row['words']}" if row["words"] else ""
    following = f" (next: {row['next']})" if row["next"] else ""
    number = f" [number {row['entry_id']}]" if row["entry_id"] else ""
    return f"{row['day']} {row['what']}{words}{following}{number}".strip()


def _wrapped(heading: str, text: str, width: int) -> list[str]:
    lines = wrap(text, width - HEADING_LETTERS)
    return [f"{heading if at == 0 else '':<{HEADING_LETTERS}}{line}" for at, line in enumerate(lines)]  # fmt: skip
