"""
The invented street that a season is played on, so that every number fits on paper.

42 lots in a row north of one street. Each has a drive of 18 ft with 10 ft of lawn to the
left of it, too short for a bed. To the right of it the lots with odd numbers have 54 ft of
curb and those with even numbers 27 ft: 54 × 4 = 216 ft² and 27 × 4 = 108 ft², which 3 in
deep are 216 × 3 / 324 = 2 yd³ and 1 yd³.
"""

from __future__ import annotations

from pathlib import Path

from shapely import Polygon, box

from tests.sites import Drawing, densified, features_of, moved, restarted

LOT_COUNT = 42
WIDE_FT, NARROW_FT = 10 + 18 + 54, 10 + 18 + 27

RATES = """\
lead_finish = "mulch"
labor_usd_per_hour = { value = 30, low = 30, high = 30, source = "season" }
crew_count = { value = 2, low = 2, high = 2, source = "season" }
day_hours = { value = 8, low = 8, high = 8, source = "season" }
cut_depth_in = { value = 3, low = 3, high = 3, source = "season" }
swell_ratio = { value = 1.25, low = 1.25, high = 1.25, source = "season" }
soil_wet_lb_per_yd3 = { value = 3000, low = 3000, high = 3000, source = "season" }
dig_hand_hours_per_yd3 = { value = 2, low = 2, high = 2, source = "season" }
load_trailer_yd3_per_hour = { value = 2, low = 2, high = 2, source = "season" }
haul_hours_per_load = { value = 1, low = 1, high = 1, source = "season" }
trailer_payload_lb = { value = 7000, low = 7000, high = 7000, source = "season" }
trailer_volume_yd3 = { value = 5, low = 5, high = 5, source = "season" }
tip_fee_usd_per_ton = { value = 30, low = 30, high = 30, source = "season" }
mulch_depth_in = { value = 3, low = 3, high = 3, source = "season" }
mulch_usd_per_yd3 = { value = 36, low = 36, high = 36, source = "season" }
mulch_delivery_usd = { value = 75, low = 75, high = 75, source = "season" }
spread_mulch_yd3_per_hour = { value = 2, low = 2, high = 2, source = "season" }
edging_usd_per_ft = { value = 2.5, low = 2.5, high = 2.5, source = "season" }
edging_stick_ft = { value = 8, low = 8, high = 8, source = "season" }
set_edging_ft_per_hour = { value = 20, low = 20, high = 20, source = "season" }
setup_hours_per_day = { value = 1, low = 1, high = 1, source = "season" }
mobilization_usd_per_day = { value = 120, low = 120, high = 120, source = "season" }
waste_share = { value = 0.1, low = 0.1, high = 0.1, source = "season" }
gross_margin_share = { value = 0.5, low = 0.5, high = 0.5, source = "season" }
minimum_job_usd = 500
sales_tax_share = 0
range_drawn_share = { value = 0, low = -0.25, high = 0.40, source = "season" }
refresh_depth_in = 1
weed_ft2_per_hour = 432
own_trailer_yd3 = 0
typical_annual_usd = 1500
half_price_years = 1
answer_days = 15
rest_not_reached_days = 3
rest_call_back_days = 7
rest_visit_days = 14
rest_quoted_days = 10
rest_not_now_days = 90
rest_no_days = 365
rest_sold_days = 180
call_hours = 0.25
visit_hours = 1.5
"""
"""Round rates without a spread: a quick price is off by -25 % to +40 %, as drawn ground is."""


def left_ft(number: int) -> float:
    """Say where a lot begins: a wide one and a narrow one make 82 + 55 = 137 ft."""
    pairs, is_narrow = divmod(number - 1, 2)
    return pairs * (WIDE_FT + NARROW_FT) + is_narrow * WIDE_FT


def right_ft(number: int) -> float:
    """Say where a lot ends, and its bed with it."""
    return left_ft(number) + (WIDE_FT if number % 2 else NARROW_FT)


def client_id(number: int) -> str:
    """Name a client as a spreadsheet likes to spoil it, with zeros in front."""
    return f"{number:03}"


def bed_id(number: int) -> str:
    """Name the bed right of the drive: the second along the curb as seen from the street."""
    return f"{client_id(number)}-curb-2"


def start_book(folder: Path) -> None:
    """Write the book as it stands in February."""
    (folder / "sites").mkdir(parents=True)
    header = "client_id,name,phone,route,mow_day,stop,sprinklers\n"
    rows = [
        f"{client_id(n)},Sample {n:02},402-555-{100 + n:04},{_route(n)},Tuesday,{n},no\n"
        for n in range(1, LOT_COUNT + 1)
    ]
    (folder / "clients.csv").write_text(header + "".join(rows), encoding="utf-8")
    (folder / "rates.toml").write_text(RATES, encoding="utf-8")
    (folder / "local.toml").write_text("bed_depth_ft = 4\n", encoding="utf-8")
    _write(folder / "sites" / "lots.geojson", _lots())
    _write(folder / "sites" / "street.geojson", Drawing().add("street", _street(), ""))


def redraw_curb(folder: Path) -> None:
    """
    Draw the street 3 in further north, with a vertex every 7 ft.

    Its file comes first now, the lots' features stand the other way round in two files,
    and their rings begin at other corners.
    """
    for path in (folder / "sites").iterdir():
        path.unlink()
    street = Drawing().add("street", _street(), "").change(moved(0, 0.25)).change(densified(7))
    features = _lots().change(restarted).features[::-1]
    half = len(features) // 2
    _write(folder / "sites" / "a-curb.geojson", street)
    _write(folder / "sites" / "b-lots.geojson", Drawing(features[:half]))
    _write(folder / "sites" / "c-lots.geojson", Drawing(features[half:]))


def _route(number: int) -> str:
    return "North" if number <= LOT_COUNT // 2 else "South"


def _street() -> Polygon:
    return box(-50, -30, right_ft(LOT_COUNT) + 50, 0)


def _lots() -> Drawing:
    """Draw outline, drive and lawn of each lot; on 041 an old bed of 12 × 9 = 108 ft²."""
    drawing = Drawing()
    for number in range(1, LOT_COUNT + 1):
        left, right, client = left_ft(number), right_ft(number), client_id(number)
        drive = box(left + 10, -5, left + 28, 60)
        drawing = (
            drawing.add("property", box(left, 0, right, 100), client)
            .add("drive", drive, client)
            .add("lawn", box(left, 0, right, 100) - drive, client)
        )
    return drawing.add("bed", box(left_ft(41) + 40, 80, left_ft(41) + 52, 89), client_id(41))


def _write(path: Path, drawing: Drawing) -> None:
    shapes = features_of(drawing)[["kind", "client_id", "geometry"]]
    path.write_text(shapes.to_json(), encoding="utf-8")
