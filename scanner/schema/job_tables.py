"""Tables of the job and calls rooms: quantities, prices, offers, calls."""

from __future__ import annotations

from scanner.schema.columns import (
    METHODS,
    TableSchema,
    cents_column,
    count_column,
    flag_column,
    number_column,
    select,
    text_column,
    word_column,
)
from scanner.schema.rate_book import FINISHES, PLANT_SIZES

QUANTITIES = TableSchema("quantities", "What each bed of each offer takes, one row an offer and bed.", {
    "offer_id": text_column("offer"),
    "bed_id": text_column("bed"),
    "ground_ft2": number_column("ft2", "area off the wall: dug, covered and planted"),
    "wall_strip_ft2": number_column("ft2", "area along a wall: skimmed and gravelled"),
    "machine_ft2": number_column("ft2", "part of the ground where machines may dig"),
    "is_open": flag_column("a loader gets there"),
    "is_at_curb": flag_column("the trailer stands beside it: no barrow"),
    "sod_bank_yd3": number_column("yd3", "sod and soil to strip, as it lies"),
    "sod_loose_yd3": number_column("yd3", "the same, loose"),
    "sod_lb": number_column("lb", "the same, wet"),
    "haul_loads": count_column("trailer loads if this bed alone were hauled"),
    "compost_yd3": number_column("yd3", "compost to till in, full planting"),
    "mulch_yd3": number_column("yd3", "mulch, mulch finishes"),
    "gravel_yd3": number_column("yd3", "gravel, gravel finish"),
    "wall_gravel_yd3": number_column("yd3", "gravel along the wall, mulch finishes"),
    "edging_ft": number_column("ft", "edging along the bed line"),
    "fabric_ft2": number_column("ft2", "fabric under gravel, gravel finish"),
    "accent_count": count_column("shrubs of an accent"),
    "plant_count": count_column("plants of a full planting"),
    "head_count": number_column("count", "sprinkler heads expected along the edge"),
})  # fmt: skip

PLANTS = TableSchema("plants", "Where each plant of a bed stands, one row a plant.", {
    "offer_id": text_column("offer"),
    "bed_id": text_column("bed"),
    "planting": word_column("which planting it belongs to", ("accent", "planted")),
    "x_ft": number_column("ft", "easting in the bed's frame", least=None),
    "y_ft": number_column("ft", "northing in the bed's frame", least=None),
    "is_low": flag_column("stands in a sight triangle: low plant"),
    "is_front": flag_column("stands in the front row of a full planting of several rows"),
    "room_ft": number_column("ft", "distance to the border of its bed"),
})  # fmt: skip

PLANT_COUNTS = TableSchema("plant_counts", "How many plants fit on a ground, kept from one scan to the next.", {
    "client_id": text_column("client on whose lot it lies"),
    "ground": text_column("print of the ground and of the edge that its rows follow"),
    "spacing": text_column("spacings that it was counted with: of a full planting [in], of an accent [ft]"),
    "accent_count": count_column("shrubs of an accent"),
    "plant_count": count_column("plants of a full planting"),
})  # fmt: skip

CHOSEN_PLANTS = TableSchema("chosen_plants", "Which species goes where, one row an offer, bed, planting and row of it.", {
    **select(PLANTS, "offer_id bed_id planting is_front"),
    "plant": text_column("name of the species in plants.toml; blank: none fits"),
    "plants": text_column("count, name and size, as 11 daylilies, 1 gal", least=1),
    "plant_count": count_column("how many", least=1),
    "plant_size": word_column("size sold", PLANT_SIZES),
    "height_in": number_column("in", "height grown up; missing where none fits", known=False),
    "spread_in": number_column("in", "width grown up; where none fits the most that may stand there"),
    "extra_cents": cents_column("what the species' own price adds to the price of the job, before tax", least=None),
})  # fmt: skip

BY_CREW = "crew fetches"
"""How what nobody orders comes: ends `sold_as`."""

ORDER = TableSchema("order", "Materials to order for some jobs, one row a material and one beneath it for each job.", {
    "material": text_column("what it is, as daylily, 1 gal", least=1),
    "job_id": text_column("job that needs it; blank: all of them"),
    "needed": number_column("unit", "how much, waste included, rounded so that the jobs add up to the sum"),
    "unit": text_column("unit of what is needed"),
    "order": number_column("unit sold", "how much to order or to fetch; 0 in the rows of jobs, but of what their crews fetch"),
    "sold_as": text_column("in what it is sold, and how it comes; blank in the rows of jobs, but of what their crews fetch"),
}, unique=("material", "job_id"))  # fmt: skip

LINE_ITEMS = TableSchema("line_items", "What the price of an offer is made of, in the finish offered, one row a task or material.", {
    "offer_id": text_column("offer"),
    "bed_id": text_column("bed; blank: belongs to the offer as a whole"),
    "finish": word_column("finish", FINISHES),
    "task": text_column("what it is for"),
    "quantity": number_column("unit", "how much"),
    "unit": text_column("unit of the quantity"),
    "rate_usd": number_column("USD/unit", "price of one unit"),
    "amount_cents": cents_column("quantity times rate, rounded once"),
    "labor_hours": number_column("h", "labor in it"),
    "rate_key": text_column("names in the rate book, joined by *"),
})  # fmt: skip

PRICES = TableSchema("prices", "Price of each offer and finish.", {
    "offer_id": text_column("offer"),
    "client_id": text_column("client"),
    "finish": word_column("finish", FINISHES),
    "is_lead": flag_column("the finish that the offer leads with"),
    "method": word_column("how the sod is stripped", METHODS),
    "labor_hours": number_column("h", "labor"),
    "crew_days": number_column("days", "labor hours over crew times day"),
    "haul_loads": count_column("trailer loads"),
    "plant_count": count_column("plants in it"),
    "direct_cost_cents": cents_column("labor, materials, machines, fees, mobilization"),
    "price_cents": cents_column("exact, before tax"),
    "price_low_cents": cents_column("low end, rounded out to $50"),
    "price_high_cents": cents_column("high end, rounded out to $50"),
    "sales_tax_cents": cents_column("sales tax on the price"),
    "gross_profit_cents": cents_column("price less direct cost", least=None),
    "unknowns": text_column("what widens the range, in words"),
})  # fmt: skip

OFFERS = TableSchema("offers", "What one call sells, one row an offer; the lead finish's money.", {
    "offer_id": text_column("offer, as in OFFER_BEDS", unique=True),
    "client_id": text_column("client"),
    "phase": count_column("1 is the lead of the call; later jobs follow", least=1),
    "offer": text_column("what it is, in words"),
    "later": text_column("jobs that may follow the lead, in words, joined by a semicolon"),
    "later_jobs": count_column("how many"),
    "later_price_cents": cents_column("their prices together"),
    "bed_ids": text_column("beds in it, lead first, joined by a blank"),
    "bed_count": count_column("beds in it"),
    "finish": word_column("lead finish", FINISHES),
    "edge_ft": number_column("ft", "edge"),
    "area_ft2": number_column("ft2", "area, absorbed turf once"),
    "method": word_column("how the sod is stripped", METHODS),
    "crew_days": number_column("days", "crew-days"),
    "direct_cost_cents": cents_column("direct cost"),
    "price_cents": cents_column("exact, before tax"),
    "price_low_cents": cents_column("low end"),
    "price_high_cents": cents_column("high end"),
    "gross_profit_cents": cents_column("gross profit", least=None),
    "right_of_way_ft2": number_column("ft2", "part outside the outline: ask for the permit"),
    "plant_count": count_column("plants in the lead finish"),
    "say": text_column("one sentence or two to open the call with; blank for later jobs"),
    "upgrade_offer_id": text_column("lead and more beds in one job; blank: none fits"),
    "upgrade_bed_ids": text_column("beds in that, joined by a blank"),
    "upgrade_price_cents": cents_column("its price, exact, before tax"),
    "upgrade_crew_days": number_column("days", "its crew-days"),
    "upgrade_gross_profit_cents": cents_column("its gross profit", least=None),
    "upgrade_saving_cents": cents_column("what one job saves against the lead and the added beds as two"),
    "is_confirmed": flag_column("every bed rests on a drawn lawn, a measured edge or a crew's answer"),
    "unseen_bed_ids": text_column("beds of it and of its upgrade of which that cannot be said yet, joined by a blank", required=False),
    "needs_designer": flag_column("not to be sketched in a quarter of an hour"),
    "unknowns": text_column("what widens the range, in words"),
    "cautions": text_column("what to watch out for, in words, each once"),
})  # fmt: skip

LEFT_OUT = TableSchema("left_out", "Who is not on the call list, one row a client, those with an offer first.", {
    "client_id": text_column("client", unique=True),
    "has_offer": flag_column("an offer could be made, and the client is not to be called"),
    "reason": text_column("why not, in words", least=1),
})  # fmt: skip

CALLS = TableSchema("calls", "Whom to call, best first, and who is left out and why.", {
    "rank": count_column("1 is called first; 0: left out"),
    "client_id": text_column("client"),
    "offer_id": text_column("offer to make", unique=True),
    "chance": number_column("share", "chance of a sale this season, mean"),
    "chance_low": number_column("share", "10 % point of the chance"),
    "chance_high": number_column("share", "90 % point of the chance"),
    "chance_factor": number_column("share", "what calls this year, kind and signs multiply the chance by"),
    "still_reached": number_column("share", "what tries in vain leave of the chance to be reached; of who asked for another call one over that chance"),
    "buys": number_column("share", "chance that a client who agreed buys at the lead's price"),
    "sign_factors": text_column("kind of bed and signs, each with what it multiplies the chance by, joined by a semicolon"),
    "price_over_annual": number_column("years", "price before tax over the annual fee, or what stands in for it"),
    "upgrade_over_annual": number_column("years", "the same of the upgrade; 0: there is none"),
    "alike_clients": count_column("neighbors within 1,000 ft who could have the same bed at about the same price"),
    "expected_profit_cents": cents_column("chance times gross profit", least=None),
    "profit_per_crew_day_cents": cents_column("gross profit over crew-days", least=None),
    "profit_per_selling_hour_cents": cents_column("expected profit over expected selling hours", least=None),
    "reasons": text_column("why to call, in words"),
    "left_out": text_column("why not to call, in words; blank: on the list"),
    "last_contact": text_column("day of the last contact, ISO; blank: none known"),
    "last_outcome": text_column("how the last call ended; blank: none on record"),
    "last_note": text_column("what was said in it"),
    "due_action": text_column("what is to be done next"),
    "due_date": text_column("day on which a call was promised, ISO; blank: none"),
})  # fmt: skip

TOTALS = TableSchema("totals", "What the calls on the list bring, one row a route and one for all; clients share what is uncertain.", {
    "route": text_column("mowing route; blank: none, or the whole list"),
    "is_all": flag_column("the whole list"),
    "call_count": count_column("calls on it"),
    "expected_profit_cents": cents_column("gross profit of the sales to expect, mean", least=None),
    "expected_profit_low_cents": cents_column("low end of its 80 % range, rounded out to $50", least=None),
    "expected_profit_high_cents": cents_column("high end", least=None),
    "chance_of_no_sale": number_column("share", "chance that nothing is sold"),
})  # fmt: skip
