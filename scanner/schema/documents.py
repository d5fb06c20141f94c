"""
One-of-a-kind documents: the rate book, the local rules, the company, the book.

The values themselves are data: they stand in ``book/standard/rates.toml`` and
``book/standard/local.toml`` with a source each, and a book may replace any.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING

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
from scanner.schema.plant_list import Plant
from scanner.schema.rate_book import (
    FINISH_LONG_WORDS,
    FINISH_WORDS,
    FINISHES,
    Finish,
    RateBook,
)
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
    """
    A book as read: what is usable, and every fault found on the way.

    Attributes
    ----------
    folder
        Where the book lies.
    clients
        Table `CLIENTS`.
    features
        Table `FEATURES`, WGS 84 longitude and latitude.
    measured
        Table `MEASURED`.
    rates, rules
        The rate book and the local rules, standard values filled in.
    problems
        Table `PROBLEMS`.
    land
        The features by place, on the disk; None: `features` holds them. A large book is read
        so, and `features` has no row then.
    plants
        Species by name, in the order in which they are preferred.
    """

    folder: Path
    clients: pd.DataFrame
    features: GeoDataFrame
    measured: pd.DataFrame
    rates: RateBook
    rules: LocalRules
    problems: pd.DataFrame
    land: Land | None = None
    plants: Mapping[str, Plant] = field(default_factory=dict)


@dataclass(frozen=True)
class BreakEven:
    """
    How the cheapest way of stripping goes with the area [ft²].

    Attributes
    ----------
    at_curb, elsewhere
        Pairs of a method and the area [ft²] from which on it is the cheapest, in order.
    """

    at_curb: tuple[tuple[str, float], ...]
    elsewhere: tuple[tuple[str, float], ...]


@dataclass(frozen=True)
class MachineUse:
    """
    On how many days the leads of a list use a machine, each job done in the cheapest way.

    Attributes
    ----------
    machine
        Which one, in words.
    rented_days, rented_days_all
        Days rented, if the sales to expect come and if all are sold.
    owned_days, owned_days_all
        Days of the company's own, likewise.
    saved_usd, saved_usd_all
        What an own one saves on stripping, its day rate paid, likewise [USD].
    """

    machine: str
    rented_days: float
    rented_days_all: float
    owned_days: float
    owned_days_all: float
    saved_usd: float
    saved_usd_all: float


@dataclass(frozen=True)
class ChanceRecord:
    """
    What is on record at each stage of a sale.

    Attributes
    ----------
    attempt_count, talk_count, quote_count
        Tries to reach a client, talks that were decided, quotes.
    reached, agreed
        Chance to reach a client in three tries, and that one who is reached agrees to a visit.
    """

    attempt_count: int
    talk_count: int
    quote_count: int
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

    Attributes
    ----------
    today
        Day of the scan.
    name
        Name of the book's folder.
    clients
        Table `CLIENTS`, every client that was read, with what the office put right.
    own
        Columns of the client list's and the office's own, by client.
    lots, beds
        Tables `LOT_LIST`, `BED_LIST`.
    offers, calls
        Tables `OFFERS`, `CALLS`.
    left_out, under_way
        Tables `LEFT_OUT`, `UNDER_WAY`.
    totals
        Table `TOTALS`.
    chance_record
        What the chances rest on.
    problems
        Table `PROBLEMS`, the book's and the scan's.
    rates, rules
        What the scan was made with.
    break_even
        Areas from which the machines pay.
    parts
        Everything else; a part's tables are read when they are asked for.
    machines
        What the leads of the list use of each machine.
    assumptions
        What holds for the whole list: headings and words.
    """

    today: date
    name: str
    clients: pd.DataFrame
    own: pd.DataFrame
    lots: pd.DataFrame
    beds: pd.DataFrame
    offers: pd.DataFrame
    calls: pd.DataFrame
    left_out: pd.DataFrame
    under_way: pd.DataFrame
    totals: pd.DataFrame
    chance_record: ChanceRecord
    problems: pd.DataFrame
    rates: RateBook
    rules: LocalRules
    break_even: BreakEven
    parts: Sequence[Part]
    machines: Sequence[MachineUse] = ()
    assumptions: tuple[tuple[str, str], ...] = ()

    def table(self, name: str) -> pd.DataFrame:
        """
        Join one table of all parts: for a few clients only.

        Parameters
        ----------
        name
            One of `PART_TABLES`.

        Returns
        -------
        table
            All its rows.
        """
        tables = [part[name] for part in self.parts]
        filled = [table for table in tables if len(table)] or tables[:1]
        return pd.concat(filled or [empty_table(PART_TABLES[name])], ignore_index=True)


@dataclass(frozen=True)
class Season:
    """
    What the log knows: calls, visits, what crews saw, beds of earlier scans, quotes, jobs and letters.

    Attributes
    ----------
    calls
        Table `CALL_LOG`; a visit that was made counts as a call that ended in one.
    answers
        Table `ANSWERS`.
    stored
        Table `STORED_BEDS` without its geometry, and ``shape`` as well-known binary.
    jobs, job_tasks
        Tables `JOBS`, `JOB_TASKS`; a quote that was won is a job under its own number.
    quotes, quote_tasks
        Tables `QUOTES`, `QUOTE_TASKS`.
    schedule, tickets, letters
        Tables `SCHEDULE`, `TICKETS`, `LETTERS`.
    visits, measurements
        Tables `VISITS`, `MEASUREMENTS`.
    remarks
        Table `REMARKS`: what the office wrote into its lists beside the calls.
    listed
        Table `LISTED`: what the last scan offered.
    alike
        Table `ALIKE`: who was ever listed with neighbors who could have the same bed.
    forgotten
        Salt and marks of phone numbers whose owners were erased, and are not to be called.
    if_damaged
        What is told where the shapes of stored beds cannot be read.
    """

    calls: pd.DataFrame
    answers: pd.DataFrame
    stored: pd.DataFrame
    jobs: pd.DataFrame
    job_tasks: pd.DataFrame
    quotes: pd.DataFrame
    quote_tasks: pd.DataFrame
    schedule: pd.DataFrame
    tickets: pd.DataFrame
    letters: pd.DataFrame
    visits: pd.DataFrame
    measurements: pd.DataFrame
    remarks: pd.DataFrame
    listed: pd.DataFrame
    alike: pd.DataFrame
    forgotten: tuple[str, ...] = ()
    if_damaged: str = ""

    @cached_property
    def beds(self) -> GeoDataFrame:
        """
        Give the beds of earlier scans with their shapes, read when first asked for.

        Returns
        -------
        beds
            Table `STORED_BEDS`.

        Raises
        ------
        LogError
            If the log holds shapes that this program does not write.
        """
        # A command that asks for no shape loads no geometry
        from geopandas import GeoDataFrame, GeoSeries  # noqa: PLC0415
        from shapely.errors import GEOSException  # noqa: PLC0415

        try:
            shapes = GeoSeries.from_wkb(self.stored["shape"], crs="EPSG:4326")
        except (GEOSException, TypeError) as err:
            raise LogError(self.if_damaged) from err
        return GeoDataFrame(self.stored.drop(columns="shape"), geometry=shapes)
