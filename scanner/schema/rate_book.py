"""The rate book: what a bed costs the company and how calls go."""

from __future__ import annotations

from typing import Literal

from pydantic import BaseModel, ConfigDict, Field, model_validator

from scanner.units import MINUTES_PER_HOUR

LABOR = "labor_usd_per_hour"
WASTE = "waste_share"

Finish = Literal["mulch", "planted", "gravel"]
"""Mulch alone · mulch and plants · gravel and plants."""

FINISHES: tuple[Finish, ...] = ("mulch", "planted", "gravel")

FINISH_WORDS = {
    "mulch": "mulch",
    "planted": "mulch and plants",
    "gravel": "gravel and plants",
}


class Document(BaseModel):
    """A frozen document that refuses names it does not know."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


class Rate(Document):
    """One figure of the rate book with its spread and where it comes from."""

    value: float = Field(description="the figure used, in the unit that its name ends in")
    low: float = Field(description="low end of what is usual, same unit")
    high: float = Field(description="high end of what is usual, same unit")
    source: str = Field(min_length=1, description="where the figure comes from")

    @model_validator(mode="after")
    def _ordered(self) -> Rate:
        if not self.low <= self.value <= self.high:
            message = f"low {self.low:g}, value {self.value:g}, high {self.high:g} are out of order"
            raise ValueError(message)
        return self


class RateBook(Document):
    """
    What a bed costs the company and how calls go.

    Each field is a `Rate`; its name ends in its unit. ``_share`` is a fraction of
    one (0.45 is 45 %), ``_count`` a pure count, ``_days`` calendar days.
    """

    # labor and crew
    labor_usd_per_hour: Rate
    crew_count: Rate
    day_hours: Rate
    # strip and haul
    cut_depth_in: Rate
    swell_ratio: Rate
    soil_wet_lb_per_yd3: Rate
    dig_hand_hours_per_yd3: Rate = Field(description="digging and barrowing by hand, bank yd3")
    barrow_hours_per_yd3: Rate = Field(
        description="the barrowing in it alone: what a sod cutter leaves to be done, bank yd3"
    )
    sod_cutter_ft2_per_hour: Rate
    sod_cutter_cut_in: Rate
    sod_cutter_usd_per_day: Rate
    loader_hours_per_yd3: Rate
    loader_usd_per_day: Rate
    loader_gate_in: Rate
    load_trailer_yd3_per_hour: Rate
    haul_hours_per_load: Rate
    trailer_payload_lb: Rate
    trailer_volume_yd3: Rate
    tip_fee_usd_per_ton: Rate
    # cover
    mulch_depth_in: Rate
    gravel_depth_in: Rate
    compost_yd3_per_1000ft2: Rate
    spread_mulch_yd3_per_hour: Rate
    spread_gravel_yd3_per_hour: Rate
    spread_compost_yd3_per_hour: Rate
    till_ft2_per_hour: Rate
    tiller_usd_per_day: Rate
    set_edging_ft_per_hour: Rate
    lay_fabric_ft2_per_hour: Rate
    # planting
    plant_spacing_in: Rate
    plant_1gal_minutes: Rate
    plant_3gal_minutes: Rate
    plant_5gal_minutes: Rate
    water_in_minutes: Rate
    # sprinklers
    heads_per_100ft: Rate
    head_hours: Rate
    head_usd: Rate
    # set-up
    setup_hours_per_day: Rate
    mobilization_usd_per_day: Rate
    # materials
    mulch_usd_per_yd3: Rate
    compost_usd_per_yd3: Rate
    gravel_usd_per_ton: Rate
    gravel_ton_per_yd3: Rate
    mulch_delivery_usd: Rate
    gravel_delivery_usd: Rate
    edging_usd_per_ft: Rate
    edging_stick_ft: Rate
    fabric_usd_per_ft2: Rate
    plant_1gal_usd: Rate
    plant_3gal_usd: Rate
    plant_5gal_usd: Rate
    waste_share: Rate
    plant_warranty_share: Rate
    # care
    refresh_depth_in: Rate = Field(description="mulch put on in spring")
    weed_ft2_per_hour: Rate = Field(description="weeding by hand")
    # price
    gross_margin_share: Rate
    minimum_job_usd: Rate
    sales_tax_share: Rate
    range_measured_share: Rate
    range_drawn_share: Rate
    range_guessed_share: Rate
    range_slope_share: Rate = Field(description="how much more a price may be where it is steep")
    gentle_slope_percent: Rate = Field(description="steeper than this costs more")
    # chance: prior counts of client-seasons, rest after an outcome, selling time
    prior_not_reached_count: Rate
    prior_reached_only_count: Rate
    prior_visited_only_count: Rate
    prior_sold_count: Rate
    rest_not_reached_days: Rate
    rest_call_back_days: Rate
    rest_visit_days: Rate
    rest_quoted_days: Rate
    rest_not_now_days: Rate
    rest_no_days: Rate
    rest_sold_days: Rate
    call_hours: Rate
    visit_hours: Rate
    # warm signs multiply the odds of a sale
    bought_before_odds: Rate
    bad_edge_odds: Rate
    long_client_odds: Rate
    long_client_years: Rate
    neighbor_built_odds: Rate
    # choices
    lead_finish: Finish = "planted"
    plant_size: Literal["1gal", "3gal", "5gal"] = "1gal"


def factor(key: str, value: float) -> float:
    """
    Turn a figure of the rate book into what a quantity is multiplied by.

    Parameters
    ----------
    key
        Its name; the end of the name is its unit.
    value
        The figure in that unit.

    Returns
    -------
    factor
        Hours, dollars or a share for one unit.

    Raises
    ------
    ZeroDivisionError
        If a pace is zero; the rate book refuses that when it is read.

    Examples
    --------
    >>> factor("set_edging_ft_per_hour", 25), factor("water_in_minutes", 3)
    (0.04, 0.05)
    >>> factor("labor_usd_per_hour", 28), factor("waste_share", 0.1)
    (28, 1.1)
    """
    if key == WASTE:
        return 1.0 + value
    if key.endswith("_minutes"):
        return value / MINUTES_PER_HOUR
    if key.endswith("_per_hour") and key != LABOR:
        return 1.0 / value
    return value
