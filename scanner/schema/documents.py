"""
One-of-a-kind documents: the rate book, the local rules, the company, the book.

The values themselves are data: they stand in ``book/standard/rates.toml`` and
``book/standard/local.toml`` with a source each, and a book may replace any.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pandas as pd

from scanner.errors import LogError
from scanner.schema.figures import Document, Rate
from scanner.schema.local_rules import (
    AlongKind,
    Backgrounds,
    Company,
    FaceKind,
    LocalRules,
    Setbacks,
)
from scanner.schema.log_tables import NOTE
from scanner.schema.plant_list import Plant
from scanner.schema.rate_book import FINISH_LONG_WORDS, FINISH_WORDS, FINISHES, Finish, RateBook
from scanner.schema.tables import (
    BEDS,
    EDGES,
    LINE_ITEMS,
    LOTS,
    OFFER_BEDS,
    OFFERS,
    PRICES,
    QUANTITIES,
    SHAPES,
    empty_table,
)

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

    from scanner.store.land import Land


@dataclass(frozen=True)
class Book:
    """A book as read: what is usable, and every fault found on the way."""

    folder: Path  # where the book lies
    clients: pd.DataFrame  # table `CLIENTS`
    features: GeoDataFrame  # table `FEATURES`, WGS 84 longitude and latitude
    measured: pd.DataFrame  # table `MEASURED`
    # rates, rules: the rate book and the local rules, standard values filled in
    rates: RateBook
    rules: LocalRules
    problems: pd.DataFrame  # table `PROBLEMS`
    # the features by place, on the disk; None: `features` holds them. A large book is read so, and
    # `features` has no row then.
    land: Land | None = None
    # species by name, in the order in which they are preferred
    plants: Mapping[str, Plant] = field(default_factory=dict)


@dataclass(frozen=True)
class BreakEven:
    """How the cheapest way of stripping goes with the area [ft²]."""

    # at_curb, elsewhere: pairs of a method and the area [ft²] from which on it is the cheapest, in
    # order
    at_curb: tuple[tuple[str, float], ...]
    elsewhere: tuple[tuple[str, float], ...]


@dataclass(frozen=True)
class MachineUse:
    """On how many days the leads of a list use a machine, each job done in the cheapest way."""

    machine: str  # which one, in words
    # rented_days, rented_days_all: days rented, if the sales to expect come and if all are sold
    rented_days: float
    rented_days_all: float
    # owned_days, owned_days_all: days of the company's own, likewise
    owned_days: float
    owned_days_all: float
    # saved_usd, saved_usd_all: what an own one saves on stripping less its day rate [USD], likewise
    saved_usd: float
    saved_usd_all: float


@dataclass(frozen=True)
class ChanceRecord:
    """What is on record at each stage of a sale."""

    # attempt_count, talk_count, quote_count: tries to reach a client, talks that were decided,
    # quotes
    attempt_count: int
    talk_count: int
    quote_count: int
    # reached, agreed: chance to reach a client in three tries, and that one who is reached agrees
    # to a visit
    reached: float = 0.0
    agreed: float = 0.0


Part = Mapping[str, pd.DataFrame]
"""Tables of neighboring lots by name: `PART_TABLES`, in the order of the book's lots."""

PART_TABLES = {
    "lots": LOTS,
    "edges": EDGES,
    "beds": BEDS,
    "shapes": SHAPES,
    "offer_beds": OFFER_BEDS,
    "quantities": QUANTITIES,
    "line_items": LINE_ITEMS,
    "prices": PRICES,
    "offers": OFFERS,
}
"""
What a `Part` holds: `OFFER_BEDS`, `QUANTITIES` and `PRICES` have each bed alone (its offer is
the bed's own id) and the beds of each offer; `LINE_ITEMS` has the offers made.
"""


@dataclass(frozen=True)
class Scan:
    """
    What one scan of a book found: everything that the pages need.

    Tables of the whole book are thin. What has shapes, or many rows a lot, comes in parts;
    lots follow one another along a curve through the land, whatever the size of a part.
    """

    today: date  # day of the scan
    name: str  # name of the book's folder
    # table `CLIENTS`, every client that was read, with what the office put right
    clients: pd.DataFrame
    own: pd.DataFrame  # columns of the client list's and the office's own, by client
    # lots, beds: tables `LOT_LIST`, `BED_LIST`
    lots: pd.DataFrame
    beds: pd.DataFrame
    # offers, calls: tables `OFFERS`, `CALLS`
    offers: pd.DataFrame
    calls: pd.DataFrame
    # left_out, under_way: tables `LEFT_OUT`, `UNDER_WAY`
    left_out: pd.DataFrame
    under_way: pd.DataFrame
    totals: pd.DataFrame  # table `TOTALS`
    chance_record: ChanceRecord  # what the chances rest on
    problems: pd.DataFrame  # table `PROBLEMS`, the book's and the scan's
    # rates, rules: what the scan was made with
    rates: RateBook
    rules: LocalRules
    break_even: BreakEven  # areas from which the machines pay
    parts: Sequence[Part]  # everything else; a part's tables are read when they are asked for
    machines: Sequence[MachineUse] = ()  # what the leads of the list use of each machine
    # what holds for the whole list: headings and words
    assumptions: tuple[tuple[str, str], ...] = ()
    blocks: Sequence[Any] = ()  # the lots themselves, where only a few clients' were looked at

    def table(self, name: str) -> pd.DataFrame:
        """Join one of `PART_TABLES` of all parts: for a few clients only."""
        tables = [part[name] for part in self.parts]
        filled = [table for table in tables if len(table)] or tables[:1]
        return pd.concat(filled or [empty_table(PART_TABLES[name])], ignore_index=True)


@dataclass(frozen=True)
class Season:
    """
    What the log knows.

    Calls, visits, what crews saw, beds of earlier scans, quotes, jobs and letters.
    """

    # table `CALL_LOG`; a visit that was made counts as a call that ended in one
    calls: pd.DataFrame
    notes: pd.DataFrame  # table `SAID`: what was noted and is about no call
    answers: pd.DataFrame  # table `ANSWERS`
    # table `STORED_BEDS` without its geometry, and ``shape`` as well-known binary
    stored: pd.DataFrame
    # jobs, job_tasks: tables `JOBS`, `JOB_TASKS`; a quote that was won is a job under its own
    # number
    jobs: pd.DataFrame
    job_tasks: pd.DataFrame
    # quotes, quote_tasks: tables `QUOTES`, `QUOTE_TASKS`
    quotes: pd.DataFrame
    quote_tasks: pd.DataFrame
    # schedule, tickets, letters: tables `SCHEDULE`, `TICKETS`, `LETTERS`
    schedule: pd.DataFrame
    tickets: pd.DataFrame
    letters: pd.DataFrame
    # visits, measurements: tables `VISITS`, `MEASUREMENTS`
    visits: pd.DataFrame
    measurements: pd.DataFrame
    remarks: pd.DataFrame  # table `REMARKS`: what the office wrote into its lists beside the calls
    listed: pd.DataFrame  # table `LISTED`: what the last scan offered
    # table `ALIKE`: who was ever listed with neighbors who could have the same bed
    alike: pd.DataFrame
    # salt and marks of phone numbers whose owners were erased, and are not to be called
    forgotten: tuple[str, ...] = ()
    later_count: int = 0  # entries of later days that `until` left aside
    if_damaged: str = ""  # what is told where the shapes of stored beds cannot be read

    @cached_property
    def said(self) -> pd.DataFrame:
        """Give calls and notes together, table `SAID`: what whoever calls next has to know."""
        return pd.concat([self.calls, self.notes], ignore_index=True)

    def until(self, day: date) -> Season:
        """Leave aside what was said, noted, visited, mailed, quoted and sold after a day; a "do not call" stands, among the notes.

        A quote that ended later is open; what was built, measured and seen stands.
        """
        last = day.isoformat()
        told_on = [
            self.calls["called_on"], self.notes["called_on"], self.letters["told_on"], self.visits["visited_on"],
            self.quotes["quoted_on"], self.quotes["ended_on"],
        ]  # fmt: skip
        if all((days <= last).all() for days in told_on):
            return self
        said = self.said[self.said["called_on"].le(last) | self.said["outcome"].eq("do not call")]
        is_call = said["called_on"].le(last) & said["outcome"].ne(NOTE)
        letters = self.letters[self.letters["told_on"] <= last]
        sold = self.calls[self.calls["outcome"] == "sold"].groupby("client_id")["called_on"].min()
        is_sold = ~self.jobs["client_id"].isin(sold.index[sold > last])
        jobs = self.jobs[is_sold | self.jobs["built_on"].ne("")]
        quotes = self.quotes[self.quotes["quoted_on"] <= last]
        is_open = quotes["ended_on"].gt(last) & ~quotes["quote_id"].isin(jobs["job_id"])
        ends = {name: quotes[name].mask(is_open, "") for name in ("outcome", "ended_on", "why")}
        return replace(
            self, calls=said[is_call], notes=said[~is_call], letters=letters, jobs=jobs, quotes=quotes.assign(**ends),
            visits=self.visits[self.visits["visited_on"] <= last],
            later_count=len(self.said) - len(said) + len(self.letters) - len(letters),
        )  # fmt: skip

    @cached_property
    def beds(self) -> GeoDataFrame:
        """
        Give table `STORED_BEDS` with its shapes, read when first asked for.

        `LogError` where they are none of ours.
        """
        # A command that asks for no shape loads no geometry
        from geopandas import GeoDataFrame, GeoSeries  # noqa: PLC0415
        from shapely.errors import GEOSException  # noqa: PLC0415

        try:
            shapes = GeoSeries.from_wkb(self.stored["shape"], crs="EPSG:4326")
        except (GEOSException, TypeError) as err:
            raise LogError(self.if_damaged) from err
        return GeoDataFrame(self.stored.drop(columns="shape"), geometry=shapes)
