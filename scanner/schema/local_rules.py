"""The local rules: bed sizes, setbacks, the company, map backgrounds."""

from __future__ import annotations

import re
from datetime import date
from typing import Literal

from pydantic import Field, ValidationInfo, field_validator, model_validator

from scanner.schema.figures import Document, SettingError, Settings, figure
from scanner.schema.locating import LAWS, LOCATING

AlongKind = Literal["curb", "house", "sidewalk", "drive", "walk", "patio", "fence"]
"""What an edge can run along: the names of `EDGE_KINDS`, which a type must spell out."""
FaceKind = Literal["front", "side", "back"]
YesNo = Literal["yes", "no"]
SightLine = Literal["curb", "property_line"]
HeightFrom = Literal["the curb", "the street", "the ground"]
BedLine = Literal["straight", "curved"]

_FORMS = {
    "state": ("[A-Z]{2}", 'two capital letters as "NE"'),
    "zone": ("([1-9]|1[0-3])[ab]?", 'a zone as "5" or "5b"'),
}


class Setbacks(Settings):
    """Distances kept round things on a lot; sources stand in the file."""

    hydrant_ft: float = figure("clear of a hydrant", 0, 300)
    trunk_ft: float = figure("clear of a trunk", 0, 400)
    transformer_ft: float = figure("clear of a transformer", 0, 1000)
    gas_meter_ft: float = figure("clear of a gas meter", 0, 300)
    electric_meter_ft: float = figure("clear of an electric meter", 0, 300)
    water_meter_ft: float = figure("clear of a water meter", 0, 200)
    pole_ft: float = figure("clear of a pole", 0, 300)
    mailbox_ft: float = figure("clear of a mailbox", 0, 300)
    root_zone_ft_per_in: float = figure("root zone by inch of trunk", 0, 125)
    corner_triangle_ft: float = figure("sight triangle at a corner", 0, 2500)
    drive_triangle_ft: float = figure("sight triangle at a drive", 0, 1000)
    triangle_plant_in: float = figure("plant height in a sight triangle", 0, 3000)
    curb_plant_in: float = figure("plant height along a street", 0, 3600)
    step_out_in: float = figure("kept free beside parked cars", 0, 1800)
    wall_clear_in: float = figure("kept free at a wall", 0, 1200)


class Company(Document):
    """Who the pages speak for."""

    name: str = "Your company"
    phone: str = ""
    email: str = ""
    address: str = ""
    license_id: str = ""


class QuoteTerms(Settings):
    """What a quote promises and asks for, beside its price."""

    good_days: float = figure("days that a price is good for", 1, 365)
    deposit_share: float = figure("share of the total that is paid at signing", 0, 1)
    start_window: str = Field("", title="when the work begins, in words")
    terms: str = Field("", title="further terms of the company, in words")
    license: str = Field("", title="the license as a quote names it, in words")
    cancel_notice: YesNo = Field("no", title="whether a quote prints the notice of cancellation")

    @field_validator("cancel_notice", mode="before")
    @classmethod
    def _yes_or_no(cls, came: object) -> object:
        """Take true and false for the words."""
        return {True: "yes", False: "no"}.get(came, came) if isinstance(came, bool) else came


_SERVER = re.compile(r"https://(\{s\}\.)?[A-Za-z0-9.-]+(:\d{1,5})?/")
"""How the address of a background begins."""


class Backgrounds(Document):
    """Map backgrounds that a reader may switch on; nothing is fetched before."""

    imagery_url: str = ""
    imagery_credit: str = ""
    streets_url: str = ""
    streets_credit: str = ""

    @field_validator("imagery_url", "streets_url")
    @classmethod
    def _tiled(cls, address: str) -> str:
        has_places = all(place in address for place in ("{z}", "{x}", "{y}"))
        if address and not (_SERVER.match(address) and has_places):
            problem = f"'{address}' came; an https:// address with {{z}}, {{x}} and {{y}} in it is allowed"
            raise SettingError(problem, 'write such an address, or "" for no background')
        return address


class LocalRules(Settings):
    """
    Bed sizes and local rules: what stands in `local.toml`.

    ``sources`` names where each value comes from, by key (``setbacks.hydrant_ft``).
    """

    frontage_max_ft: float = figure("width of the frontage strip", 0, 2000)
    infer_max_ft2: float = figure("largest lot whose lawn is inferred", 400, 4_000_000)
    gap_ft: float = figure("gap between layers that is closed", 0.01, 5)
    front_reach_ft: float = figure("how far a front sees a street", 3, 30_000)
    jog_ft: float = figure("longest jog in a wall", 0, 600)
    house_faces: tuple[FaceKind, ...] = Field(min_length=1, title="faces of a house that get beds")
    kind_order: tuple[AlongKind, ...] = Field(
        min_length=1, title="order in which edges take ground"
    )
    offer_kinds: tuple[AlongKind, ...] = Field(min_length=1, title="edges that get beds")
    bed_depth_ft: float = figure("depth of a bed", 0.05, 20)
    drive_flare_ft: float = figure("flare of a drive at the curb", 0, 500)
    default_opening_ft: float = figure("opening where a drive is guessed", 0, 2400)
    drives_known: YesNo = Field("no", title="whether every drive is drawn")
    keep_ramps: YesNo = Field("yes", title="whether a curb's turn stays free for its ramps")
    sight_corner_from: SightLine = Field(
        "curb", title="line that sight triangles at corners start from"
    )
    sight_drive_from: SightLine = Field(
        "property_line", title="line that sight triangles at drives start from"
    )
    sight_height_from: HeightFrom = Field(
        "the curb", title="what heights in a sight triangle count from"
    )
    state: str = Field("", title="state of the US, in two letters")
    holidays: tuple[date, ...] = Field(
        (), title="days that count as holidays beside the federal ones"
    )
    zone: str = Field("", title="USDA hardiness zone, which plants must live in")
    min_depth_ft: float = figure("least depth of a bed", 0.02, 200)
    min_edge_ft: float = figure("least length of a bed", 0, 1200)
    min_bed_ft2: float = figure("smallest bed", 0, 4000)
    mower_ft: float = figure("width of the mower", 0.05, 400)
    bed_line: BedLine = Field("straight", title="how the lawn side of a bed is drawn")
    turn_radius_ft: float = figure("tightest turn of the mower", 0.05, 500)
    job_limit_crew_days: float = figure("largest job", 0.05, 400)
    map_max_beds: float = figure("most beds on one map page", 1, 1_000_000)
    setbacks: Setbacks
    company: Company = Company()
    quote: QuoteTerms
    backgrounds: Backgrounds = Backgrounds()
    sources: dict[str, str] = Field(default_factory=dict)

    @property
    def locating(self) -> str:
        """
        Say how long before anyone digs the locating service must be called.

        The notice of ``state``, else the usual one.
        """
        law = LAWS.get(self.state)
        notice = law.notice if law else "2 to 3 working days, ask 811 which,"
        where = f" in {self.state}" if law else ""
        return f"{LOCATING}: call 811 at least {notice} before anyone digs{where}, by hand too, and wait for the marks"

    @property
    def straight_words(self) -> str:
        """Say of a bed that its line could not be curved, with ``turn_radius_ft``."""
        return f"bed line drawn straight: no room for a curve that a mower with a turn of {self.turn_radius_ft:g} ft follows"

    @field_validator("state", "zone")
    @classmethod
    def _written(cls, text: str, info: ValidationInfo) -> str:
        form, words = _FORMS[str(info.field_name)]
        if text and not re.fullmatch(form, text):
            problem = f"'{text}' came; {words} is allowed"
            raise SettingError(problem, f"write {words}")
        return text

    @field_validator("house_faces", "kind_order", "offer_kinds")
    @classmethod
    def _once(cls, words: tuple[str, ...]) -> tuple[str, ...]:
        if len(set(words)) < len(words):
            problem = "a word came twice"
            raise SettingError(problem, "write each word once")
        return words

    @model_validator(mode="after")
    def _sensible(self) -> LocalRules:
        if self.bed_depth_ft < self.min_depth_ft:
            problem = (
                f"bed_depth_ft {self.bed_depth_ft:g} came with min_depth_ft {self.min_depth_ft:g}; a bed may not be "
                "shallower than the minimum"
            )
            remedy = "make bed_depth_ft larger or min_depth_ft smaller"
            raise SettingError(problem, remedy, "bed_depth_ft", "min_depth_ft")
        if missing := [kind for kind in self.offer_kinds if kind not in self.kind_order]:
            problem = f"offer_kinds names {missing[0]}, which kind_order does not"
            raise SettingError(
                problem, f"put {missing[0]} into kind_order too", "offer_kinds", "kind_order"
            )
        return self
