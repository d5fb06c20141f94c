"""Call: ``client`` tells all that is known of one client, before the phone is picked up."""

from __future__ import annotations

import json
from datetime import date
from pathlib import Path
from typing import Any

import click
import pandas as pd
from rich.console import Console

from scanner.book.settings import read_rates
from scanner.calls.entry_kinds import CALL, JOB, LETTER, QUOTE, SCHEDULED, TICKET, VISIT, Kind
from scanner.calls.history import add_history
from scanner.calls.law import word_relationships
from scanner.calls.log import read_entries, read_last_scan
from scanner.calls.next_steps import BUILT, job_lines
from scanner.calls.remarks import own_columns
from scanner.calls.sales import drop_sold, why_skipped
from scanner.calls.today import list_today
from scanner.calls.trials import beds_said
from scanner.calls.under_way import list_under_way
from scanner.cli.options import Asked, command
from scanner.cli.rows import SCREEN_LETTERS
from scanner.cli.story import Story, story_lines
from scanner.cli.talk import tell
from scanner.cli.who import find_client
from scanner.schema.documents import Season
from scanner.schema.plan_tables import QUOTE as QUOTED
from scanner.schema.plan_tables import SOLD
from scanner.schema.tables import LEFT_OUT
from scanner.units import CENTS_PER_USD, usd_said, write_usd

TOLD = (
    "client_id", "name", "address", "phone", "email", "route", "mow_day", "stop", "client_since", "visits_per_year",
    "annual_usd", "mowed_ft2", "frontage_ft", "sprinklers", "hoa", "renter", "past_due", "do_not_call", "notes",
    "mailing_address", "no_mail",
)  # fmt: skip
OFFERED = (
    "offer", "say", "bed_ids", "price_usd", "price_low_usd", "price_high_usd", "crew_days", "chance", "chance_low",
    "chance_high", "reasons", "cautions",
)  # fmt: skip
BED = (
    "bed_id", "along", "face", "edge_ft", "area_ft2", "mean_depth_ft", "skip_reason", "price_usd", "cautions",
    "built_on", "why",
)  # fmt: skip


@command("out", "today", "json")
@click.argument("who")
def client(asked: Asked, who: str) -> None:
    """Tell all that BOOK knows of one client: lot, beds, offer, what was said and done, what is next.

    WHO is an id, a name or a phone number. Beds are those of the last scan, read from its
    folder (--out where it is another one).
    """
    book, season = asked.book, asked.season
    clients = asked.callees
    client_id = find_client(who, clients)
    own = clients[clients["client_id"] == client_id]
    story = tell_story(book, season, own, today=asked.today)
    story["beds"] = read_beds(asked.folder / "candidates.geojson", client_id, season)
    if asked.as_json:
        tell(json.dumps(story, ensure_ascii=False, indent=2))
    else:
        tell("\n".join(story_lines(story, min(Console().width, SCREEN_LETTERS))))


def tell_story(book: Path, season: Season, client: pd.DataFrame, *, today: date) -> Story:
    """Tell what list and log say of one client, a row of the client list."""
    rates = read_rates(book / "rates.toml")[0]
    client_id = client["client_id"].iloc[0]
    known = add_history(client, season, rates=rates)
    way = list_under_way(season, known, today=today)
    known["under_way"] = "; ".join(way["words"])
    built = [line for line in job_lines(season, today) if line.client_id == client_id and line.section == BUILT]  # fmt: skip
    steps = [*filter(None, (*way["due_action"], *(line.next_step for line in built)))]
    # No new offer to whoever wants no calls, nor before what was quoted or sold is settled
    is_barred = known["do_not_call"].iloc[0] == "yes"
    may_be_offered = not (is_barred or built or way["stage"].isin((SOLD, QUOTED)).any())
    listed = drop_sold(season.listed, season.jobs)
    of_scan = listed[listed["client_id"].isin(client["client_id"])]
    left_out = read_last_scan(book, LEFT_OUT)
    call = list_today(of_scan, left_out, known, rates=rates, today=today).iloc[0].to_dict()
    for name in ("price", "price_low", "price_high"):
        call[f"{name}_usd"] = call[f"{name}_cents"] / CENTS_PER_USD
    told = {name: _plain(known[name].iloc[0]) for name in TOLD if name in known}
    told |= own_columns(client, season.remarks).loc[client_id].to_dict()
    return {
        "client": {name: value for name, value in told.items() if value not in ("", None)},
        "may_be_called": word_relationships(known, season, today=today).iloc[0],
        "offer": {name: _plain(call[name]) for name in OFFERED}
        | {"scanned_on": of_scan["scanned_on"].max()}
        if call["offer_id"] and may_be_offered
        else {},
        "left_out": call["left_out"],
        "next": {
            "due_on": known["due_on"].iloc[0],
            "to_do": "; ".join(steps) or call["next_action"],
        },
        "lot": _lot(season, client_id),
        "said_and_done": _said_and_done(book, season, client_id),
    }


def read_beds(path: Path, client_id: str, season: Season) -> list[Story]:
    """List a client's beds: those that were built, and out of a scan's file, a feature a line, where there is one, the others.

    Those that are not offered are told with the reason; what is left beside a built bed is none.
    """
    stored = season.stored[season.stored["client_id"] == client_id]
    stored = stored.loc[stored["built_on"] != "", ["bed_id", "along", "area_ft2", "built_on"]]
    built = [{name: bed.get(name) for name in BED} for bed in stored.to_dict("records")]
    if not path.exists():
        return built
    mark = f'"client_id": {json.dumps(client_id, ensure_ascii=False)},'
    with path.open(encoding="utf-8") as lines:
        found = [json.loads(line.rstrip(",\n"))["properties"] for line in lines if mark in line]
    names = {bed["bed_id"] for bed in built}
    return built + [
        {name: bed.get(name) for name in BED}
        | {"why": bed["skip_reason"] and why_skipped(bed["bed_id"], bed["skip_reason"], season.jobs)}
        for bed in found
        if bed["client_id"] == client_id and bed["bed_id"] not in names and bed["skip_reason"] != "built"
    ]  # fmt: skip


def _lot(season: Season, client_id: str) -> list[Story]:
    answers, edges = (
        table[table["client_id"] == client_id] for table in (season.answers, season.measurements)
    )
    return [
        *({"day": seen_on, "what": question, "value": answer}
          for question, answer, seen_on in answers[["question", "answer", "seen_on"]].to_numpy().tolist()),
        *({"day": day, "what": f"{along} measured", "value": f"{length_ft:g} ft"}
          for along, length_ft, day in edges[["along", "length_ft", "measured_on"]].to_numpy().tolist()),
    ]  # fmt: skip


def _said_and_done(book: Path, season: Season, client_id: str) -> list[Story]:
    """List calls, visits, quotes, jobs and what belongs to them, every entry with its words, oldest first.

    A job stands under its last entry: none where a quote that was won is all that tells of it.
    """
    quotes = read_entries(book, QUOTE)
    # Written again with another estimate behind it, or of the bed as measured since, it is the same quote
    told = "quote_id bed_ids finish price_cents good_until outcome ended_on why".split()  # noqa: SIM905
    quotes = quotes.drop_duplicates(told, keep="last")
    others = [(kind, read_entries(book, kind)) for kind in (CALL, VISIT, SCHEDULED, TICKET, LETTER)]
    jobs = read_entries(book, JOB)
    numbers = {job_id: int(number) for job_id, number in zip(jobs["job_id"], jobs["entry_id"], strict=True)}  # fmt: skip
    rows = [
        {"entry_id": int(entry["entry_id"]), **dict(zip(("day", "what", "words", "next"), _tell(kind, entry), strict=True))}
        for kind, entries in ((QUOTE, quotes), *others)
        for entry in entries.to_dict("records") if entry["client_id"] == client_id
    ] + [
        {"entry_id": numbers.get(job["job_id"]), "day": job["built_on"], "what": f"job {job['job_id']}, {job['finish']}, {'built' if job['built_on'] else 'sold, not built'}",
         "words": f"sold for {write_usd(job['sold_cents'])}" + (f"; {job['note']}" if job["note"] else ""), "next": ""}
        for job in season.jobs[season.jobs["client_id"] == client_id].to_dict("records")
    ]  # fmt: skip
    return sorted(rows, key=lambda row: row["day"] or "9999")


def _tell(kind: Kind, of: dict[Any, Any]) -> tuple[str, str, str, str]:
    """Give of an entry the day that counts, what it was, its words, and what is next."""
    if kind is CALL:
        price = f" about {usd_said(int(of['price_cents']))}" if of["price_cents"] else ""
        told = beds_said(of["bed_ids"]) if of["bed_ids"] else "beds not on record"
        beds = f" for {told}" if price else ""
        return of["called_on"], f"{of['outcome']}{price}{beds}", of["note"], f"{of['next_date']} {of['next_action']}".strip()  # fmt: skip
    if kind is VISIT:
        by = f" by {of['visited_by']}" if of["visited_by"] else ""
        return of["visited_on"], f"visit{by}", of["note"], ""
    if kind is QUOTE:
        price = f"{write_usd(of['price_cents'], 2)}, good until {of['good_until']}"
        words = of["why"] or f"{beds_said(of['bed_ids'])}, {of['finish']}, {price}"
        what = f"quote {of['quote_id']} {of['outcome']}".strip()
        return of["ended_on"] or of["quoted_on"], what, words, ""
    if kind is LETTER:
        return of["told_on"], f"letter of {of['wave_on']} {of['letter']}", "", ""
    what, words = (
        (f"job {of['job_id']} to be built".replace("  ", " "), f"week of {of['week']}")
        if kind is SCHEDULED
        else (f"locating ticket {of['ticket']}", f"dig from {of['dig_from']} to {of['dig_until']}")
    )
    return of["recorded_on"], what, words, ""


def _plain(value: Any) -> Any:  # noqa: ANN401  # a cell
    """Take a cell for JSON: numbers as they are, what is not known as nothing."""
    if isinstance(value, str):
        return value
    return None if pd.isna(value) else float(value)
