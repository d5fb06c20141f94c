"""
Recompute offers of a scan by an arithmetic of their own: nothing of the program is imported.

``python tests/recompute.py maps/demo sample_data/book`` reads `rates.csv`, `candidates.geojson`,
`calls.csv` and, for areas and lengths with more digits, those of `line_items.csv`; of the book whether a client has sprinklers. For a book without a log. Prints what
differs by more than two cents (or a last digit, where it is no money).
"""

from __future__ import annotations

import csv
import json
import math
import sys
from collections.abc import Iterator
from pathlib import Path

from scipy.special import betaincinv

CENTS = 2
CREW_DAY_HOURS = 16


def read_csv(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8-sig", newline="") as file:
        return list(csv.DictReader(file))


def cents(usd: float) -> int:
    return math.floor(usd * 100 + 0.5 + 1e-9)


def up(amount: float, step: float) -> float:
    return math.ceil(round(amount / step, 9)) * step


class Rates:
    """Figures of rates.csv; one may be moved to an end of its range."""

    def __init__(self, rows: list[dict[str, str]], moved: str = "", end: str = "value") -> None:
        self._rows = rows
        self._of = {row["rate_key"]: float(row["value"]) for row in rows}
        if moved:
            self._of[moved] = next(float(row[end]) for row in rows if row["rate_key"] == moved)

    def __getitem__(self, key: str) -> float:
        return self._of[key]

    def move(self, key: str, end: str) -> Rates:
        return Rates(self._rows, key, end)

    def end(self, key: str, end: str) -> float:
        return next(float(row[end]) for row in self._rows if row["rate_key"] == key)


Line = tuple[float, float, tuple[str, ...], bool]
"""Quantity, price of a unit [USD], rates that scale the quantity, whether it is labor."""


def bed_lines(bed: dict[str, float], rates: Rates, finish: str) -> Iterator[Line]:
    """What one bed takes, stripped by hand."""
    wage = rates["labor_usd_per_hour"]
    ground, wall = bed["ground_ft2"], bed["wall_ft2"]
    dug, skim = ground * rates["cut_depth_in"] / 324, wall * rates["skim_depth_in"] / 324
    handled = dug + skim
    cover = (
        ground * (rates["gravel_depth_in"] if finish == "gravel" else rates["mulch_depth_in"]) / 324
    )
    fabric = wall + (ground if finish == "gravel" else 0)
    gravel = wall * rates["gravel_depth_in"] / 324 + (cover if finish == "gravel" else 0)
    mulch = 0 if finish == "gravel" else cover
    shrubs = bed["shrubs"]
    minutes = rates["plant_3gal_minutes"]
    heads = ("heads_per_100ft",)
    yield dug, rates["dig_hand_hours_per_yd3"] * wage, (), True
    yield skim, rates["dig_hand_hours_per_yd3"] * wage, (), True
    yield (0 if bed["at_curb"] else handled), rates["barrow_hours_per_yd3"] * wage, (), True
    yield handled * rates["swell_ratio"], wage / rates["load_trailer_yd3_per_hour"], (), True
    yield bed["heads"], rates["head_hours"] * wage, heads, True
    yield bed["heads"], rates["head_usd"], heads, False
    yield bed["edging_ft"], wage / rates["set_edging_ft_per_hour"], (), True
    yield shrubs, minutes / 60 * wage, (), True
    yield shrubs, rates["water_in_minutes"] / 60 * wage, (), True
    yield shrubs, rates["plant_3gal_usd"], (), False
    yield shrubs, rates["plant_warranty_share"] * rates["plant_3gal_usd"], (), False
    yield shrubs, rates["plant_warranty_share"] * minutes / 60 * wage, (), False
    yield fabric, wage / rates["lay_fabric_ft2_per_hour"], (), True
    yield mulch, wage / rates["spread_mulch_yd3_per_hour"], (), True
    yield gravel, wage / rates["spread_gravel_yd3_per_hour"], (), True


def job_lines(beds: list[dict[str, float]], rates: Rates, finish: str, days: int) -> Iterator[Line]:
    """What the beds of a job share; quantities at the figures of `rates`."""
    wage, waste = rates["labor_usd_per_hour"], ("waste_share",)
    ground, wall = (sum(bed[name] for bed in beds) for name in ("ground_ft2", "wall_ft2"))
    bank = (ground * rates["cut_depth_in"] + wall * rates["skim_depth_in"]) / 324
    weight_lb = bank * rates["soil_wet_lb_per_yd3"]
    loads = math.ceil(max(bank * rates["swell_ratio"] / rates["trailer_volume_yd3"],
                          weight_lb / rates["trailer_payload_lb"]) - 1e-9)  # fmt: skip
    is_gravel = finish == "gravel"
    gravel = (wall + ground * is_gravel) * rates["gravel_depth_in"] / 324
    with_waste = 1 + rates["waste_share"]
    mulch = up((not is_gravel) * ground * rates["mulch_depth_in"] / 324 * with_waste, 0.5)
    tons = up(gravel * rates["gravel_ton_per_yd3"] * with_waste, 0.1)
    fabric = (wall + ground * is_gravel) * with_waste
    own = rates["own_trailer_yd3"]
    mulch_by_truck, gravel_by_truck = mulch > own, gravel * with_waste > own
    yield loads, rates["haul_hours_per_load"] * wage, (), True
    yield days, rates["setup_hours_per_day"] * wage, (), True
    yield float(mulch > 0 and not mulch_by_truck), rates["fetch_hours"] * wage, (), True
    yield float(tons > 0 and not gravel_by_truck), rates["fetch_hours"] * wage, (), True
    edging = up(sum(bed["edging_ft"] for bed in beds), rates["edging_stick_ft"])
    yield edging, rates["edging_usd_per_ft"], (), False
    yield mulch, rates["mulch_usd_per_yd3"], waste, False
    yield float(mulch_by_truck), rates["mulch_delivery_usd"], (), False
    yield tons, rates["gravel_usd_per_ton"], (*waste, "gravel_ton_per_yd3"), False
    yield float(gravel_by_truck), rates["gravel_delivery_usd"], (), False
    yield fabric, rates["fabric_usd_per_ft2"], waste, False
    yield weight_lb / 2000, rates["tip_fee_usd_per_ton"], (), False
    yield days, rates["mobilization_usd_per_day"], (), False


def lines_of(beds: list[dict[str, float]], rates: Rates, finish: str, days: int) -> list[Line]:
    return [
        *(line for bed in beds for line in bed_lines(bed, rates, finish)),
        *job_lines(beds, rates, finish, days),
    ]


MOVED = ("labor_usd_per_hour", "dig_hand_hours_per_yd3", "barrow_hours_per_yd3", "load_trailer_yd3_per_hour",
         "head_hours", "head_usd", "heads_per_100ft", "set_edging_ft_per_hour", "plant_3gal_minutes",
         "water_in_minutes", "plant_3gal_usd", "plant_warranty_share", "lay_fabric_ft2_per_hour",
         "spread_mulch_yd3_per_hour", "spread_gravel_yd3_per_hour", "haul_hours_per_load", "setup_hours_per_day",
         "fetch_hours", "edging_usd_per_ft", "mulch_usd_per_yd3", "mulch_delivery_usd", "gravel_usd_per_ton",
         "gravel_delivery_usd", "fabric_usd_per_ft2", "tip_fee_usd_per_ton", "mobilization_usd_per_day",
         "waste_share", "gravel_ton_per_yd3")  # fmt: skip
"""Rates that a price without machines hangs on: its own, and those that scale a quantity."""


def price(beds: list[dict[str, float]], rates: Rates, finish: str) -> dict[str, float]:
    """Price a job, with its range."""
    days = 1
    while True:
        lines = lines_of(beds, rates, finish, days)
        hours = sum(q * usd / rates["labor_usd_per_hour"] for q, usd, _, labor in lines if labor)
        if hours / CREW_DAY_HOURS < days + 0.5:
            break
        days += 1
    direct = sum(cents(quantity * usd) for quantity, usd, _, _ in lines)
    keep = 1 - rates["gross_margin_share"]
    full = cents(direct / 100 / keep)
    total = max(full, cents(rates["minimum_job_usd"]))
    # each rate at its ends, one at a time, quantities as they are; the effects add as squares
    down = upward = 0.0
    for key in MOVED:
        ends = []
        for end in ("low", "high"):
            moved = rates.move(key, end)
            there = lines_of(beds, moved, finish, days)
            change = 0.0
            for (quantity, usd, scaled_by, _), (_, usd_there, _, _) in zip(
                lines, there, strict=True
            ):
                if key in scaled_by:
                    one, other = (
                        1 + r[key] if key == "waste_share" else r[key] for r in (rates, moved)
                    )
                    change += quantity * usd * (other / one - 1)
                else:
                    change += quantity * (usd_there - usd)
            ends.append(change / keep * 100)
        down, upward = down + min(*ends, 0.0) ** 2, upward + max(*ends, 0.0) ** 2
    known = max(bed["knowledge"] for bed in beds)
    share = ("range_measured_share", "range_drawn_share", "range_guessed_share")[int(known)]
    unseen = 0.0
    if beds[0]["sprinklers_unknown"]:
        head_usd = rates["head_hours"] * rates["labor_usd_per_hour"] + rates["head_usd"]
        heads = sum(bed["edge_ft"] for bed in beds) * rates["heads_per_100ft"] / 100
        unseen = heads * head_usd / keep * 100
    below = max(math.sqrt(down), total * abs(rates.end(share, "low")))
    above = max(math.sqrt(upward + unseen**2), total * abs(rates.end(share, "high")) + unseen)
    floor = cents(rates["minimum_job_usd"])
    return {
        "price_usd": total / 100,
        "gross_profit_usd": (total - direct) / 100,
        "price_low_usd": math.floor(round(max(total - below, floor) / 5000, 6)) * 50,
        "price_high_usd": math.ceil(round((total + above) / 5000, 6)) * 50,
        "crew_days": hours / CREW_DAY_HOURS,
    }


def chance(years: float, rates: Rates, factor: float = 1.0) -> tuple[float, float, float]:
    """Chance of a sale before any call, with its 80 % interval."""
    never = never_2 = 1.0
    for n in (1, 2, 3):
        reached, missed = rates[f"prior_reached_{n}_count"], rates[f"prior_missed_{n}_count"]
        tries = reached + missed
        never *= missed / tries
        never_2 *= missed * (missed + 1) / (tries * (tries + 1))
    yes, no = rates["prior_agreed_count"], rates["prior_refused_count"]
    whole = first = second = 0.0
    for i in range(24):
        start = (i + 0.5) / 24
        for j in range(25):
            half = 0.2 * 25 ** (j / 24)
            off = math.log(half / rates["half_price_years"]) / 0.5
            weight = start**1.5 * (1 - start) ** 0.5 * math.exp(-(off**2) / 2)
            buys = start / (1 + (years / half) ** 2)
            whole, first, second = whole + weight, first + weight * buys, second + weight * buys**2
    agreed, agreed_2 = yes / (yes + no), yes * (yes + 1) / ((yes + no) * (yes + no + 1))
    mean = factor * (1 - never) * agreed * first / whole
    square = factor**2 * (1 - 2 * never + never_2) * agreed_2 * second / whole
    weight = mean * (1 - mean) / (square - mean**2) - 1
    low, high = (float(betaincinv(mean * weight, (1 - mean) * weight, q)) for q in (0.1, 0.9))
    return mean, low, high


def beds_of(call: dict[str, str], folder: Path, book: Path) -> list[dict[str, float]]:
    """Take the beds of a lead from what was drawn."""
    document = json.loads((folder / "candidates.geojson").read_text(encoding="utf-8"))
    drawn = {one["properties"]["bed_id"]: one["properties"] for one in document["features"]}
    people = {row["client_id"]: row for row in read_csv(book / "clients.csv")}
    items = [
        row for row in read_csv(folder / "line_items.csv") if row["offer_id"] == _offer_id(call)
    ]
    sprinklers = people[call["client_id"]]["sprinklers"]
    beds = []
    for name in call["bed_ids"].split():
        own = {row["task"]: float(row["quantity"]) for row in items if row["bed_id"] == name}
        bed = drawn[name]
        wall = own.get("skim the sod along the wall by hand", 0.0) * 324 / 1.5
        # two decimals of a square foot are a cent or two of a price: the items have six
        ground, edging = own["dig out by hand"] * 324 / 3, own.get("set edging", 0.0)
        if len(call["bed_ids"].split()) == 1:
            drawn_ft = bed["area_ft2"], bed["edging_ft"]
            assert all(
                abs(x - y) < 0.0051 for x, y in zip((ground + wall, edging), drawn_ft, strict=True)
            )
        beds.append({
            "ground_ft2": ground, "wall_ft2": wall, "edge_ft": bed["edge_ft"],
            "edging_ft": edging,
            "shrubs": own.get("plant shrubs", 0.0), "at_curb": bed["along"] == "curb",
            "heads": bed["edge_ft"] * 0.08 if sprinklers == "yes" else 0.0,
            "sprinklers_unknown": sprinklers not in ("yes", "no"),
            "knowledge": 2 if "is a guess" in bed["cautions"] else
            {"measured": 0, "drawn": 1, "surveyed": 1, "centerline": 2}[bed["edge_source"]],
        })  # fmt: skip
    return beds


def _offer_id(call: dict[str, str]) -> str:
    return "+".join(sorted(call["bed_ids"].split()))


def recompute(call: dict[str, str], folder: Path, book: Path) -> dict[str, float]:
    """Give every number of an offer anew."""
    rates = Rates(read_csv(folder / "rates.csv"))
    found = price(beds_of(call, folder, book), rates, call["finish"])
    years = float(call["price_over_annual"])
    mean, low, high = chance(years, rates)
    profit = found["gross_profit_usd"]
    expected = mean * profit
    if call["upgrade_price_usd"]:
        larger = float(call["upgrade_price_usd"])
        bought = min(mean, chance(years * larger / found["price_usd"], rates)[0])
        expected += bought * (larger * rates["gross_margin_share"] - profit)
    selling_hours = rates["call_hours"] + chance_to_talk(rates) * rates["visit_hours"]
    return found | {
        "chance": mean, "chance_low": low, "chance_high": high, "expected_profit_usd": expected,
        "profit_per_crew_day_usd": profit / found["crew_days"],
        "profit_per_selling_hour_usd": expected / selling_hours,
    }  # fmt: skip


def chance_to_talk(rates: Rates) -> float:
    never = math.prod(
        rates[f"prior_missed_{n}_count"] / (rates[f"prior_reached_{n}_count"] + rates[f"prior_missed_{n}_count"])
        for n in (1, 2, 3)
    )  # fmt: skip
    yes, no = rates["prior_agreed_count"], rates["prior_refused_count"]
    return (1 - never) * yes / (yes + no)


def differences(call: dict[str, str], folder: Path, book: Path) -> list[str]:
    """Say what differs: money by more than two cents, other numbers by more than their last digit."""
    told = []
    for name, value in recompute(call, folder, book).items():
        is_money = name.endswith("_usd")
        near = CENTS / 100 + 0.005 if is_money else 0.0051 if name == "crew_days" else 0.000_1
        if name == "profit_per_crew_day_usd":
            near += 1e-5 * value
        if abs(value - float(call[name])) > near:
            told.append(
                f"{call['client_id']} {name}: {call[name]} in the list, {value:.4f} recomputed"
            )
    return told


def different_kinds(calls: list[dict[str, str]], count: int = 10) -> list[dict[str, str]]:
    """Choose offers that differ in what they lie along, finish, size, and whether all is seen."""
    kinds: dict[tuple[object, ...], dict[str, str]] = {}
    for call in calls:
        alongs = tuple(sorted(name.split("-")[1] for name in call["bed_ids"].split()))
        kind = (alongs, call["finish"], call["confirmed"], bool(call["upgrade_price_usd"]))
        kinds.setdefault(kind, call)
    chosen = list(kinds.values())
    rest = [call for call in calls if call not in chosen]
    return [*chosen, *rest][: max(count, len(kinds))]


if __name__ == "__main__":
    scan, clients = Path(sys.argv[1]), Path(sys.argv[2])
    listed = read_csv(scan / "calls.csv")
    wrong = [text for call in different_kinds(listed) for text in differences(call, scan, clients)]
    sys.stdout.write(
        "\n".join([*wrong, f"{len(different_kinds(listed))} offers recomputed"]) + "\n"
    )
    sys.exit(bool(wrong))
