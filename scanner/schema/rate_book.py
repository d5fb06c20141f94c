"""The rate book: what a bed costs the company and how calls go."""

from __future__ import annotations

from typing import Literal, get_args

from pydantic import Field

from scanner.schema.figures import Rate, Settings, figure
from scanner.units import MINUTES_PER_HOUR

LABOR = "labor_usd_per_hour"
WASTE = "waste_share"

Finish = Literal["mulch", "accent", "planted", "gravel"]
"""Mulch alone · mulch and a few shrubs · full planting · gravel and a few shrubs."""

FINISHES: tuple[Finish, ...] = get_args(Finish)

_WORDS = (
    ("mulch", "mulch", "mulch only"), ("accent", "few plants", "mulch and a few plants"),
    ("planted", "planted", "full planting"), ("gravel", "gravel", "gravel and a few plants"),
)  # fmt: skip

FINISH_WORDS = {finish: words for finish, words, _ in _WORDS}
"""Name of a finish where there is little room."""

FINISH_LONG_WORDS = {finish: words for finish, _, words in _WORDS}
"""Name of a finish in a sentence."""

PlantSize = Literal["1gal", "3gal", "5gal"]
PLANT_SIZES: tuple[PlantSize, ...] = get_args(PlantSize)
YesNo = Literal["yes", "no"]
RankBy = Literal["offer_profit", "lead_profit", "profit_per_crew_day"]
"""Chance times profit of lead and upgrade · of the lead alone · a crew-day, when crews are short."""


class RateBook(Settings):
    """
    What a bed costs the company and how calls go.

    Each field is a `Rate`. Its name ends in its unit, ``_share`` is a fraction of one
    (0.45 is 45 %), ``_count`` a pure count, ``_days`` calendar days; its record gives
    the words for the reader, the least and the most.
    """

    # labor and crew
    labor_usd_per_hour: Rate = figure("labor rate", 0.28, 2800)
    crew_count: Rate = figure("people in a crew", 0.1, 200)
    day_hours: Rate = figure("hours in a working day", 0.1, 24)
    # strip and haul
    cut_depth_in: Rate = figure("depth of the cut", 0.03, 300)
    swell_ratio: Rate = figure("swell of dug soil", 1, 3)
    soil_wet_lb_per_yd3: Rate = figure("weight of wet soil", 30, 300_000)
    dig_hand_hours_per_yd3: Rate = figure(
        "digging pace", 0.02, 200, "loosening and throwing out by hand, bank yd3"
    )
    barrow_hours_per_yd3: Rate = figure(
        "barrowing pace", 0.01, 100, "where no trailer stands, bank yd3"
    )
    skim_depth_in: Rate = figure("depth of sod skimmed at a wall", 0, 150)
    sod_cutter_ft2_per_hour: Rate = figure("sod cutter's pace", 3, 90_000, "cutting alone")
    sod_cutter_cut_in: Rate = figure("sod cutter's depth", 0, 150)
    sod_cutter_usd_per_day: Rate = figure("sod cutter's rental", 0, 11_000)
    sod_cutter_owned_usd_per_day: Rate = figure("sod cutter's own cost a day", 0, 11_000)
    sod_cutter_fetch_hours: Rate = figure("time to fetch a rented sod cutter", 0, 100)
    loader_hours_per_yd3: Rate = figure(
        "loader's pace", 0.005, 50, "operator and helper together, bank yd3"
    )
    loader_hand_share: Rate = figure("what a loader leaves along the edges", 0, 0.95)
    loader_after_cut_hours_per_yd3: Rate = figure(
        "loader's pace after the cutter", 0.005, 50, "operator and helper together, bank yd3"
    )
    loader_setup_hours: Rate = figure("time to set the loader up", 0, 300, "mats, trimming, ruts")
    loader_usd_per_day: Rate = figure("loader's rental", 0, 32_500)
    loader_owned_usd_per_day: Rate = figure("loader's own cost a day", 0, 32_500)
    loader_transport_usd: Rate = figure("transport of a rented loader", 0, 12_000)
    loader_gate_in: Rate = figure("gate that a loader fits through", 0, 4800)
    load_trailer_yd3_per_hour: Rate = figure("loading pace", 0.02, 200)
    haul_hours_per_load: Rate = figure("time to haul a load", 0, 100)
    trailer_payload_lb: Rate = figure("what the trailer may carry", 50, 800_000)
    trailer_volume_yd3: Rate = figure("what fits into the trailer", 0.05, 500)
    tip_fee_usd_per_ton: Rate = figure("tip fee", 0, 3000)
    # cover
    mulch_depth_in: Rate = figure("depth of mulch", 0.03, 300)
    gravel_depth_in: Rate = figure("depth of gravel", 0.03, 300)
    compost_yd3_per_1000ft2: Rate = figure("compost spread", 0, 400)
    spread_mulch_yd3_per_hour: Rate = figure("mulching pace", 0.015, 150)
    spread_gravel_yd3_per_hour: Rate = figure("graveling pace", 0.01, 100)
    spread_compost_yd3_per_hour: Rate = figure("composting pace", 0.014, 140)
    till_ft2_per_hour: Rate = figure("tilling pace", 4, 40_000)
    tiller_usd_per_day: Rate = figure("tiller's rental", 0, 7500)
    set_edging_ft_per_hour: Rate = figure("edging pace", 0.25, 2500)
    lay_fabric_ft2_per_hour: Rate = figure("pace of laying fabric", 2.4, 24_000)
    # planting
    plant_spacing_in: Rate = figure("plant spacing", 0.24, 2400)
    accent_spacing_ft: Rate = figure("spacing of an accent's shrubs", 0.5, 600)
    plant_1gal_minutes: Rate = figure("planting pace", 0, 500)
    plant_3gal_minutes: Rate = figure("planting pace", 0, 800)
    plant_5gal_minutes: Rate = figure("planting pace", 0, 1500)
    water_in_minutes: Rate = figure("time to water in", 0, 75)
    # sprinklers
    heads_per_100ft: Rate = figure("number of sprinkler heads", 0, 800)
    head_hours: Rate = figure("time for a sprinkler head", 0, 50)
    head_usd: Rate = figure("price of sprinkler parts", 0, 1200)
    # set-up
    setup_hours_per_day: Rate = figure("set-up time", 0, 100)
    mobilization_usd_per_day: Rate = figure("mobilization", 0, 12_000)
    # materials
    mulch_usd_per_yd3: Rate = figure("price of mulch", 0, 3800)
    compost_usd_per_yd3: Rate = figure("price of compost", 0, 4000)
    gravel_usd_per_ton: Rate = figure("price of gravel", 0, 5500)
    gravel_ton_per_yd3: Rate = figure("weight of gravel", 0.01, 100)
    own_trailer_yd3: Rate = figure("largest load that is fetched, not delivered", 0, 200)
    fetch_hours: Rate = figure("time to fetch a load", 0, 50)
    mulch_delivery_usd: Rate = figure("delivery of mulch", 0, 7500)
    gravel_delivery_usd: Rate = figure("delivery of gravel", 0, 9000)
    edging_usd_per_ft: Rate = figure("price of edging", 0, 275)
    edging_stick_ft: Rate = figure("length of an edging stick", 0.01, 1000)
    fabric_usd_per_ft2: Rate = figure("price of fabric", 0, 15)
    plant_1gal_usd: Rate = figure("price of plants", 0, 900)
    plant_3gal_usd: Rate = figure("price of plants", 0, 2000)
    plant_5gal_usd: Rate = figure("price of plants", 0, 3200)
    waste_share: Rate = figure("waste", 0, 0.95)
    plant_warranty_share: Rate = figure("plants that must be replaced", 0, 0.95)
    # care
    refresh_depth_in: Rate = figure("mulch put on in spring", 0.01, 100)
    weed_ft2_per_hour: Rate = figure("weeding pace", 5, 50_000, "weeding by hand")
    # price
    gross_margin_share: Rate = figure("gross margin", 0, 0.95)
    minimum_job_usd: Rate = figure("smallest job", 0, 75_000)
    sales_tax_share: Rate = figure("sales tax", 0, 0.95)
    range_measured_share: Rate = figure("price range of a measured edge", -0.95, 2)
    range_drawn_share: Rate = figure("price range of a drawn edge", -0.95, 2)
    range_guessed_share: Rate = figure("price range of a guessed edge", -0.95, 2)
    range_slope_share: Rate = figure(
        "what steep ground adds", -0.95, 2, "how much more a price may be where it is steep"
    )
    gentle_slope_percent: Rate = figure(
        "steepest gentle slope", 0, 1000, "steeper than this costs more"
    )
    # chance: what stands for calls not logged yet, rest after an outcome, selling time
    prior_reached_1_count: Rate = figure("first tries taken to reach somebody", 0.01, 1000)
    prior_missed_1_count: Rate = figure("first tries taken to miss", 0.01, 1000)
    prior_reached_2_count: Rate = figure("second tries taken to reach somebody", 0.01, 1000)
    prior_missed_2_count: Rate = figure("second tries taken to miss", 0.01, 1000)
    prior_reached_3_count: Rate = figure("third tries taken to reach somebody", 0.01, 1000)
    prior_missed_3_count: Rate = figure("third tries taken to miss", 0.01, 1000)
    prior_agreed_count: Rate = figure("talks taken to end in a visit", 0.01, 1000)
    prior_refused_count: Rate = figure("talks taken to end in none", 0.01, 1000)
    half_price_years: Rate = figure("years of mowing at which half as many buy", 0.05, 50)
    answer_days: Rate = figure("days until a quote is answered", 0.5, 500)
    typical_annual_usd: Rate = figure("usual fee for a year's mowing", 50, 150_000)
    rest_not_reached_days: Rate = figure("rest after a call that reached nobody", 0, 300)
    rest_call_back_days: Rate = figure("rest until a call-back", 0, 700)
    rest_visit_days: Rate = figure("rest after a visit", 0, 1400)
    rest_quoted_days: Rate = figure("rest after a quote", 0, 1000)
    rest_not_now_days: Rate = figure("rest after a not now", 0, 9000)
    rest_no_days: Rate = figure("rest after a no", 0, 36_500)
    rest_sold_days: Rate = figure("rest after a sale", 0, 18_000)
    call_hours: Rate = figure("time for a call", 0, 25)
    visit_hours: Rate = figure("time for a visit", 0, 150)
    # what comes when, and what the crews promise
    visit_days: Rate = figure("days from a talk to the visit with its quote", 0, 365)
    start_days: Rate = figure("days from a sale to its earliest start", 0, 365)
    calls_a_week: Rate = figure("calls a week", 0, 20_000)
    promise_weeks: Rate = figure("weeks by which a job is promised", 0, 52)
    overbook_chance: Rate = figure("chance of more work than days that is still taken", 0.01, 0.5)
    # letters
    prior_asked_count: Rate = figure("letters taken to end in a visit", 0.01, 1000)
    prior_silent_count: Rate = figure("letters taken to end in none", 0.01, 10_000)
    post_days: Rate = figure("days in the post", 0, 60)
    mail_days: Rate = figure("days until a letter is answered", 0.5, 365)
    letter_open_days: Rate = figure("days until a client written to may be called", 0, 365)
    # signs
    long_client_years: Rate = figure("years that make a long-time client", 0, 500)
    new_tract_years: Rate = figure("years that a tract is new", 0, 100)
    # choices
    lead_finish: Finish = Field("accent", title="finish offered first")
    plant_size: PlantSize = Field("1gal", title="size of plants")
    accent_size: PlantSize = Field("3gal", title="size of an accent's shrubs")
    sod_cutter_owned: YesNo = Field("no", title="own sod cutter")
    loader_owned: YesNo = Field("no", title="own loader")
    rank_by: RankBy = Field("offer_profit", title="what the list is ranked by")

    @property
    def crew_day_hours(self) -> float:
        """Labor of a crew in a day [h]."""
        return self.crew_count.value * self.day_hours.value


def words_of(key: str) -> str:
    """
    Say what a reader calls a rate, without its unit.

    >>> words_of("set_edging_ft_per_hour")
    'edging pace'
    """
    return str(RateBook.model_fields[key].title)


def factor(key: str, value: float) -> float:
    """
    Turn a figure of the rate book into the hours, dollars or share that one unit is multiplied by.

    The end of its name is its unit. `ZeroDivisionError` for a pace of zero, which the rate book
    refuses when it is read.

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


def unit_of(key: str) -> str:
    """
    Tell the unit of a figure of the rate book, in which its name ends, in words.

    >>> unit_of("labor_usd_per_hour"), unit_of("heads_per_100ft"), unit_of("cut_depth_in")
    ('USD per hour', 'heads per 100ft', 'in')
    """
    words = key.split("_")
    first = words.index("per") - 1 if "per" in words else -1
    return " ".join(words[first:]).replace("usd", "USD")
