"""What a crew is told of a job: what to load, what to do step by step, what to check. Figures are rounded only."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from scanner.pages.drawing.scene import LotPlan
from scanner.pages.plan_page import write_day, write_feet
from scanner.schema.documents import Company, LocalRules, RateBook
from scanner.units import FT2_IN_PER_YD3, list_words

APART_FT = 2
"""A bed that measures so much off the sketch is asked about (our rule, no source)."""

CONES = "3 cones, 18 in or taller"
"""A parking lane's taper on a street of 25 to 35 mph; 18 in by day up to 40 mph (MUTCD 2009, 6F.64)."""


@dataclass(frozen=True)
class CrewJob:
    """One job as its crew sees it."""

    lengths: Sequence[tuple[str, float]]  # letter and edge [ft] of each bed
    amounts: Mapping[str, float]  # how much of each quantity of the take-off
    plants: Sequence[str]  # as 11 daylilies, 1 gal
    is_at_street: bool
    has_hand_dig: bool
    rates: RateBook
    rules: LocalRules

    @property
    def cover(self) -> str:
        """What lies on its beds."""
        return "mulch" if self.has("mulch_yd3") else "gravel"

    def has(self, *quantities: str) -> bool:
        """Whether the job has some of one of these quantities."""
        return any(self.of(name) > 0 for name in quantities)

    def fetches(self, material: str) -> bool:
        """Whether a material is fetched on the way, and not delivered."""
        return self.has(f"{material}_fetch_count") and not self.has(f"{material}_trip_count")

    def of(self, quantity: str) -> float:
        """How much of a quantity it has; 0: none."""
        return self.amounts.get(quantity, 0.0)


@dataclass(frozen=True)
class JobSheet:
    """What the sheet of a job tells."""

    client: dict[Any, Any]  # row of CLIENTS
    company: Company
    job_id: str
    finish: str
    days: Sequence[date]
    ticket: str  # blank: none on record
    dig_from: date | None
    dig_until: date | None
    call_by: date | None  # last day to call for a ticket; None: there is one, or nobody knows
    labor_hours: float
    crew_days: float
    hours: Sequence[tuple[str, float]]  # task as in jobs.csv, and its hours as planned
    beds: Sequence[dict[Any, Any]]  # rows of OFFER_BEDS in the order of their letters
    plan: LotPlan | None  # None: measured on foot, nothing to draw
    work: CrewJob
    cautions: Sequence[str]  # what else to mind, in sentences
    command: str  # how it is typed in
    held: str = ""  # why it begins no earlier, where the marks set its day
    known: Sequence[str] = ()  # what the office has on record of the lot


def days_words(days: Sequence[date]) -> str:
    """Say on which days a job is built."""
    first = f"{days[0]:%A}, {write_day(days[0])}"
    if len(days) == 1:
        return first
    return f"day 1 {days[0]:%a} {days[0]:%b} {days[0].day}, day {len(days)} {days[-1]:%a} {days[-1]:%b} {days[-1].day}, {days[-1].year}"


def list_tools(job: CrewJob) -> Iterator[str]:
    """List the tools to load."""
    people = f"{job.rates.crew_count.value:g}"
    yield f"{people} flat spades, {people} forks"
    yield "tape, string line, marking paint"
    if job.has("edging_ft"):
        yield "half-moon edger, mallet, stakes"
    yield "wheelbarrow, tarp, broom" if job.has("barrow_yd3") else "tarp, broom"
    if job.has("mulch_yd3", "gravel_yd3", "compost_yd3"):
        yield "bow rake, shovels"
    if job.has("fabric_ft2"):
        yield "knife and pins for fabric"
    if job.has("head_count"):
        yield "sprinkler key, caps, tape"
    if job.plants:
        yield "planting spade, hose, 100 ft"
    yield "first-aid box, water"


def list_machines(job: CrewJob) -> Iterator[str]:
    """List what is driven there."""
    yield "pick-up and trailer, empty"
    rates = job.rates
    for name, quantity, owned in (
        ("sod cutter", "cutter_day_count", rates.sod_cutter_owned), ("loader", "loader_day_count", rates.loader_owned),
        ("tiller", "tiller_day_count", "no"),
    ):  # fmt: skip
        if job.has(quantity):
            yield f"{name}, {'our own' if owned == 'yes' else 'rented'}"
    if job.has("cutter_day_count", "loader_day_count"):
        yield "eye, ear and foot protection"
    else:
        yield "no sod cutter, no loader"


def list_at_curb(job: CrewJob) -> Iterator[str]:
    """List what keeps people at the street safe."""
    if job.is_at_street:
        yield CONES
        yield "vest for each, class 2"
        yield "truck lights on, park with traffic"
    else:
        yield "no bed at the street: no cones"


def list_materials(job: CrewJob) -> Iterator[str]:
    """List the materials in the units in which they are sold."""
    for name, quantity, unit in (
        ("mulch", "mulch_order_yd3", "yd³"), ("compost", "compost_order_yd3", "yd³"), ("gravel", "gravel_order_ton", "ton"),
    ):  # fmt: skip
        if job.has(quantity):
            fetched = ", fetch on the way" if job.fetches(name) else ""
            # what is delivered is summed over the week's jobs, and comes in whole yards; nobody is paid to fetch compost
            share = " from the shop" if name == "compost" else " of what is delivered"
            yield f"{name} {job.of(quantity):g} {unit}{fetched or share}"
    if job.has("edging_order_ft"):
        stick_ft = job.rates.edging_stick_ft.value
        yield _counted(
            job.of("edging_order_ft") / stick_ft,
            f"stick of edging, {stick_ft:g} ft",
            f"sticks of edging, {stick_ft:g} ft",
        )
    if job.has("fabric_order_ft2"):
        yield f"fabric {job.of('fabric_order_ft2'):.0f} ft²"
    if job.has("head_count"):
        yield f"parts for {job.of('head_count'):.0f} sprinkler heads"
    yield from job.plants


def list_steps(job: CrewJob) -> Iterator[str]:
    """Say what is done, one line each, in its order."""
    cones = "Cones out, vests on. " if job.is_at_street else ""
    yield f"{cones}Check that the marks are there and the ticket has not run out. Photograph the ground."
    letters = list_words([letter for letter, _ in job.lengths])
    feet = list_words([write_feet(length_ft) for _, length_ft in job.lengths])
    yield f"Lay out {letters} from the sketch with string. Measure: {feet}. More than {APART_FT} ft off: call the office."
    yield from _strip(job)
    yield _haul(job)
    if job.has("head_count"):
        yield f"Cap or convert some {job.of('head_count'):.0f} sprinkler heads; try the zone before you cover them."
    if job.has("compost_yd3"):
        till = (
            "till it in, none among roots and pipes" if job.has("till_ft2") else "leave it on top"
        )
        yield f"Spread {job.of('compost_yd3'):.1f} yd³ of compost and {till}."
    if job.has("edging_ft"):
        yield f"Set {write_feet(job.of('edging_ft'))} of edging along the lawn, flush with it, stakes in."
    if job.has("gravel_yd3"):
        where = "Lay fabric and" if job.of("fabric_ft2") > 0 else "Lay"
        yield f"{where} {job.of('gravel_yd3'):.1f} yd³ of gravel, {job.rates.gravel_depth_in.value:g} in deep."
    if job.plants:
        yield f"Plant {list_words(job.plants)}, where the sketch shows them. Water in."
    if job.has("mulch_yd3"):
        yield f"Spread mulch {job.rates.mulch_depth_in.value:g} in deep, none on the stems. Sweep street and walks."
    else:
        yield "Sweep street and walks."


def _strip(job: CrewJob) -> Iterator[str]:
    rates = job.rates
    lb_per_ft2 = rates.soil_wet_lb_per_yd3.value * rates.cut_depth_in.value / FT2_IN_PER_YD3
    load = (
        "Barrow it to the trailer."
        if job.has("barrow_yd3")
        else "Load it straight into the trailer."
    )
    if job.has("cutter_ft2"):
        yield f"Cut {job.of('cutter_ft2'):.0f} ft² of sod with the sod cutter; only who is trained runs it, all others keep clear."
    if job.has("loader_yd3", "after_cut_yd3"):
        yield "Take it out with the loader, its edges by hand; only who is trained drives it, all others keep clear."
    else:
        how = "Take the cut sod up" if job.has("cutter_ft2") else "Take the turf out by hand"
        yield f"{how} in pieces that one person lifts (wet, all that goes weighs some {lb_per_ft2:.0f} lb/ft²). {load}"
    by_hand = " By hand round what is numbered on the sketch." if job.has_hand_dig else ""
    yield f"Take out {rates.cut_depth_in.value:g} in on average, deeper at the hard edge, so that what covers it ends 1 in below.{by_hand}"
    if job.has("skim_yd3"):
        yield f"Along the wall skim {rates.skim_depth_in.value:g} in only, no trench: {job.rules.setbacks.wall_clear_in:g} in of gravel go there."


def _haul(job: CrewJob) -> str:
    fetched = [
        f"{job.of(order):g} {unit} of {name}"
        for name, order, unit in (
            ("mulch", "mulch_order_yd3", "yd³"),
            ("gravel", "gravel_order_ton", "ton"),
        )
        if job.fetches(name)
    ]
    back = f" On the way back fetch {list_words(fetched)}." if fetched else ""
    return f"Haul {_counted(job.of('load_count'), 'load', 'loads')} away.{back}"


def list_checks(job: CrewJob) -> Iterator[str]:
    """List what must be so before the crew leaves."""
    is_mulch = job.cover == "mulch"
    depth_in = (job.rates.mulch_depth_in if is_mulch else job.rates.gravel_depth_in).value
    yield f"{job.cover} {depth_in:g} in deep, below the edge"
    if job.has("edging_ft"):
        yield "edging flush, stakes in"
    yield "street and walks swept"
    if job.is_at_street:
        yield "cones and tools back on the trailer"
    if job.plants:
        yield f"no {job.cover} on stems or on lids"
        yield "plants watered in"
    if job.has("head_count"):
        yield "sprinklers tried"
    yield "photograph taken"
    yield "client shown round, or card left"


def _counted(number: float, one: str, many: str) -> str:
    return f"{number:.0f} {one if round(number) == 1 else many}"
