"""Learn and keep: ``care`` lists next spring's mulch and weeding of the beds that are there."""

from __future__ import annotations

from pathlib import Path

import click
import pandas as pd

from scanner import pipeline
from scanner.cli.options import Asked, command
from scanner.cli.rows import print_rows
from scanner.cli.talk import counted, say
from scanner.ground.record.old_beds import list_old_beds
from scanner.job.care import plan_care, spring_after, sum_clients, sum_routes
from scanner.pages.publish import publish_files
from scanner.sheets.cells import sheet_csv, sheet_row, usd
from scanner.sheets.lists import CARE

FILE = "care.csv"


@command("out", "today", "json")
@click.option("--route", metavar="NAME", help="Beds on this route only.  [default: all]")
def care(asked: Asked, route: str | None) -> None:
    """List what the beds of BOOK need next spring: weeding and an inch of mulch.

    One row a client with beds that were built, drawn or seen by a crew, in the order of the rounds,
    with quantities and a price; what to order stands below for each route. Writes care.csv.
    """
    read = pipeline.read_book(asked.book, needs_lots=False)
    season = pipeline.open_season(asked.book)
    beds = list_old_beds(read.features, season.beds, season.answers)
    finishes = {
        bed_id: job["finish"]
        for job in season.jobs.to_dict("records") for bed_id in job["bed_ids"].split()
    }  # fmt: skip
    plan = plan_care(beds, read.clients, finishes, rates=read.rates)
    left_count = int((~beds["client_id"].isin(read.clients["client_id"])).sum())
    if route is not None:
        plan = plan[plan["route"].str.strip().str.casefold() == route.strip().casefold()]
    rows = [sheet_row(CARE, client) for client in sum_clients(plan).to_dict("records")]
    file = publish_files({FILE: sheet_csv(CARE, rows)}, asked.folder)[0]
    print_rows(rows, CARE, as_json=asked.as_json)
    _close(sum_routes(plan, rates=read.rates), left_count, spring_after(asked.today), file)


def _close(routes: pd.DataFrame, left_count: int, spring: int, file: Path) -> None:
    if len(routes):
        say(
            "Weeding is by hand here. Weed control that is sprayed or spread for money takes an applicator's "
            "license in most states, corn gluten included: ask before you offer it."
        )
    for route in routes.to_dict("records"):
        beds = counted(route["bed_count"], "bed")
        unknown = (
            f", {route['unmeasured_count']} of them to be measured"
            if route["unmeasured_count"]
            else ""
        )
        say(
            f"Spring {spring}, {route['route'] or 'no route'}: {beds}{unknown}; order {route['order_yd3']:g} yd³ of mulch, "
            f"{route['labor_hours']:.1f} h, ${usd(route['price_cents']):,} with delivery."
        )
    if routes.empty:
        say("No bed is on record, drawn or seen: nothing to care for yet.")
    if left_count:
        say(f"{counted(left_count, 'bed')} on no client's lot left out: draw the outline, or give the bed its client_id.")  # fmt: skip
    say(f"The list stands in {file}")
