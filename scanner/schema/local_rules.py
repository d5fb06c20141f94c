"""The local rules: bed sizes, setbacks, the company, map backgrounds."""

from __future__ import annotations

from typing import Literal

from pydantic import Field, model_validator

from scanner.schema.rate_book import Document

AlongKind = Literal["curb", "house", "sidewalk", "drive", "walk", "patio", "fence"]
"""What an edge can run along: the names of `EDGE_KINDS`, which a type must spell out."""
FaceKind = Literal["front", "side", "back"]


class Setbacks(Document):
    """Distances kept round things on a lot; sources stand in the file."""

    hydrant_ft: float = Field(ge=0)
    trunk_ft: float = Field(ge=0)
    transformer_ft: float = Field(ge=0)
    gas_meter_ft: float = Field(ge=0)
    electric_meter_ft: float = Field(ge=0)
    water_meter_ft: float = Field(ge=0)
    pole_ft: float = Field(ge=0)
    mailbox_ft: float = Field(ge=0)
    root_zone_ft_per_in: float = Field(ge=0)
    corner_triangle_ft: float = Field(ge=0)
    drive_triangle_ft: float = Field(ge=0)
    triangle_plant_in: float = Field(ge=0)
    curb_plant_in: float = Field(ge=0)
    step_out_in: float = Field(ge=0)
    wall_clear_in: float = Field(ge=0)


class Company(Document):
    """Who the pages speak for."""

    name: str = "Your company"
    phone: str = ""
    email: str = ""
    license_id: str = ""


class Backgrounds(Document):
    """Map backgrounds that a reader may switch on; nothing is fetched before."""

    imagery_url: str = ""
    imagery_credit: str = ""
    streets_url: str = ""
    streets_credit: str = ""


class LocalRules(Document):
    """
    Bed sizes and local rules: what stands in `local.toml`.

    ``sources`` names where each value comes from, by key (``setbacks.hydrant_ft``).
    """

    frontage_max_ft: float = Field(ge=0)
    infer_max_ft2: float = Field(gt=0)
    gap_ft: float = Field(gt=0, le=5)
    front_reach_ft: float = Field(gt=0)
    jog_ft: float = Field(ge=0)
    house_faces: tuple[FaceKind, ...] = Field(min_length=1)
    kind_order: tuple[AlongKind, ...] = Field(min_length=1)
    offer_kinds: tuple[AlongKind, ...] = Field(min_length=1)
    bed_depth_ft: float = Field(gt=0, le=20)
    drive_flare_ft: float = Field(ge=0)
    default_opening_ft: float = Field(ge=0)
    drives_known: Literal["yes", "no"] = "no"
    min_depth_ft: float = Field(gt=0)
    min_edge_ft: float = Field(ge=0)
    min_bed_ft2: float = Field(ge=0)
    mower_ft: float = Field(gt=0)
    turn_radius_ft: float = Field(gt=0)
    job_limit_crew_days: float = Field(gt=0)
    setbacks: Setbacks
    company: Company = Company()
    backgrounds: Backgrounds = Backgrounds()
    sources: dict[str, str] = Field(default_factory=dict)

    @model_validator(mode="after")
    def _sensible(self) -> LocalRules:
        if self.bed_depth_ft < self.min_depth_ft:
            message = f"bed_depth_ft {self.bed_depth_ft:g} is less than min_depth_ft {self.min_depth_ft:g}"
            raise ValueError(message)
        if unknown := set(self.offer_kinds) - set(self.kind_order):
            message = f"offer_kinds names what kind_order does not: {', '.join(sorted(unknown))}"
            raise ValueError(message)
        return self
