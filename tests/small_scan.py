"""
A small scan made by hand: ten invented clients in open country, all tables consistent.

Every lot is 80 by 120 ft with a street below it, a drive and a house (worked case 1 of
the design); beds are plain rectangles 4 ft deep, so that each number can be checked by
eye. Two names hold text that must never run as a script or a formula.
"""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import date
from functools import cache

import geopandas as gpd
import pandas as pd
from pyproj import CRS, Transformer
from shapely import LineString, Point, Polygon, box, transform, unary_union

from scanner.book.settings import read_rates, read_rules
from scanner.calls.fees import annual_fees
from scanner.calls.learning import Learned, learn_chances, learn_stages
from scanner.calls.left_out import list_left_out
from scanner.calls.log import NO_SEASON
from scanner.calls.ranking import rank_calls, total_by_route
from scanner.calls.remarks import own_columns
from scanner.job.method import break_even_areas
from scanner.schema.documents import Company, LocalRules, RateBook, Scan
from scanner.schema.plan_tables import UNDER_WAY
from scanner.schema.tables import (
    BED_LIST,
    BEDS,
    CALLS,
    CLIENTS,
    EDGES,
    LINE_ITEMS,
    LOT_LIST,
    LOTS,
    OFFER_BEDS,
    OFFERS,
    PRICES,
    PROBLEMS,
    QUANTITIES,
    SHAPES,
    check_table,
    empty_table,
)

TODAY = date(2026, 2, 16)
FRAME = "-98.25,41.25"
ORIGIN_FT = (-66_000.0, -91_000.0)  # of lot 0 in the plane: near longitude -98.49, latitude 41.0
PLANE = CRS.from_proj4("+proj=laea +lat_0=41.25 +lon_0=-98.25 +ellps=WGS84 +units=ft +no_defs")
TO_DEGREES = Transformer.from_crs(PLANE, "EPSG:4326", always_xy=True)

SCRIPT_NAME = "<script>alert('x')</script> `${x}`"
FORMULA_NAME = "=SUM(1,2) Lane Trust"

# name, route, mow_day, stop, client_since and what sets the client apart
PEOPLE = {
    "C0001": (
        "Ada Quill",
        "North",
        "Monday",
        1,
        {"client_since": "2011-04-01", "bought_before": "yes"},
    ),
    "C0002": ("Bo Tansy", "North", "Monday", 2, {"sprinklers": "yes", "client_since": "2019"}),
    "C0003": ("Cy Verbena", "North", "Tuesday", 3, {}),
    "C0004": ("Di Yarrow", "South", "Tuesday", 1, {"notes": "gate on the left"}),
    "C0005": ("Ed Zinnia", "South", "Tuesday", 2, {"do_not_call": "yes"}),
    "C0006": ("Flo Aster", "South", "Friday", 3, {"past_due": "yes"}),
    "C0007": ("Gus Bracken", "South", "Friday", 4, {}),
    "C0008": (SCRIPT_NAME, "", "", math.nan, {}),
    "C0009": (FORMULA_NAME, "North", "Friday", 5, {"phone": "+1 308 555 0109"}),
    "C0010": ("Hal Clover", "South", "Friday", 6, {}),
}

# bed_id: lot, rectangle on the lot [ft] or None for a measured bed, side of the edge, skip reason
RECTANGLES = {
    "C0001-curb-1": ((28, -10, 80, -6), ""),
    "C0002-curb-1": ((30, -10, 80, -6), ""),
    "C0002-house-1": ((30, 31, 60, 35), ""),
    "C0003-sidewalk-1": ((30, 0, 80, 4), ""),
    "C0003-sidewalk-2": ((0, 0, 10, 4), "too short"),
    "C0005-curb-1": ((30, -10, 80, -6), ""),
    "C0006-curb-1": ((30, -10, 80, -6), ""),
    "C0008-curb-1": ((30, -10, 80, -6), ""),
    "C0009-house-1": ((30, 31, 60, 35), ""),
    "C0004-curb-1": (None, ""),  # known from a walk alone, so it comes last
}
MEASURED_EDGE_FT = 40.0
BED_IDS_OF_OFFERS = {
    "C0001-curb-1": ["C0001-curb-1"],
    "C0002+2": ["C0002-curb-1", "C0002-house-1"],
    "C0003-sidewalk-1": ["C0003-sidewalk-1"],
    "C0004-curb-1": ["C0004-curb-1"],
    "C0005-curb-1": ["C0005-curb-1"],
    "C0006-curb-1": ["C0006-curb-1"],
    "C0008-curb-1": ["C0008-curb-1"],
    "C0009-house-1": ["C0009-house-1"],
}
# Dollars a square foot of bed: what each finish takes, one line item each
TASKS = {
    "mulch": [("strip and haul the sod", 2.0, 0.03), ("mulch", 1.0, 0.01)],
    "accent": [("strip and haul the sod", 2.0, 0.03), ("mulch", 1.0, 0.01), ("shrubs", 1.0, 0.01)],
    "planted": [("strip and haul the sod", 2.0, 0.03), ("mulch", 1.0, 0.01), ("plants", 4.0, 0.03)],
    "gravel": [("strip and haul the sod", 2.0, 0.03), ("gravel", 1.5, 0.02), ("plants", 4.0, 0.03)],
}
MOBILIZATION_CENTS = 12_000
CREW_HOURS_PER_DAY = 16.0


@cache
def small_scan() -> Scan:
    """Make the whole scan; treat it as read-only."""
    rates, rules = small_rates(), small_rules()
    clients, beds = small_clients(), small_beds()
    offer_beds = small_offer_beds(beds)
    line_items = small_line_items(beds)
    prices = small_prices(beds, line_items)
    offers = small_offers(beds, prices)
    learned = small_learned()
    ranked = rank_calls(offers, beds, clients, rates=rates, today=TODAY, learned=learned)
    calls = check_table(ranked, CALLS)
    return Scan(
        today=TODAY,
        name="small",
        clients=clients,
        own=own_columns(clients, NO_SEASON.remarks),
        lots=small_lots()[[*LOT_LIST.columns]],
        beds=beds[[*BED_LIST.columns]],
        offers=offers,
        calls=calls,
        totals=total_by_route(calls, offers, clients, learned=learned),
        chance_record=learned.stages.record,
        left_out=list_left_out(
            calls, clients, beds, small_problems(), under_way=empty_table(UNDER_WAY)
        ),
        under_way=empty_table(UNDER_WAY),
        problems=small_problems(),
        rates=rates,
        rules=rules,
        break_even=break_even_areas(rates),
        parts=[
            {
                "lots": small_lots(),
                "edges": small_edges(beds),
                "beds": beds,
                "shapes": small_shapes(beds),
                "offer_beds": offer_beds,
                "quantities": small_quantities(offer_beds),
                "line_items": line_items[
                    line_items["offer_id"].isin(offers["offer_id"])
                    & (line_items["finish"] == "planted")
                ],
                "prices": prices,
                "offers": offers,
            }
        ],
    )


def with_tables(scan: Scan, **tables: pd.DataFrame) -> Scan:
    """The same scan with other tables in its one part."""
    (part,) = scan.parts
    return replace(scan, parts=[{**part, **tables}])


def in_parts(scan: Scan, lot_count: int) -> Scan:
    """The same scan with its one part cut up, so many clients each."""
    (part,) = scan.parts
    owner = part["offer_beds"].set_index("offer_id")["client_id"].to_dict()
    # As in a scan, lots known from a walk alone come last
    ids = pd.concat([part["lots"]["client_id"], scan.clients["client_id"]]).unique().tolist()
    parts = [
        {
            name: table[
                (table["client_id"] if "client_id" in table else table["offer_id"].map(owner)).isin(
                    ids[start : start + lot_count]
                )
            ]
            for name, table in part.items()
        }
        for start in range(0, len(ids), lot_count)
    ]
    return replace(scan, parts=parts)


@cache
def small_learned() -> Learned:
    """What is known before any call."""
    rates = small_rates()
    no_neighbors = pd.DataFrame({"client_id": [], "built_on": []}, dtype="str")
    fees = annual_fees(small_clients(), rates=rates)
    stages = learn_stages(NO_SEASON, fees, rates=rates, today=TODAY)
    clients = small_clients().assign(price_years=math.nan)
    return learn_chances(NO_SEASON, clients, stages, built=no_neighbors, rates=rates, today=TODAY)


def small_clients() -> pd.DataFrame:
    """Ten clients; every field that nobody gave is blank."""
    rows = []
    for number, (client_id, (name, route, mow_day, stop, more)) in enumerate(PEOPLE.items()):
        lon, lat = _degrees(Point(_at(number, 40, 60))).coords[0]
        row = dict.fromkeys(CLIENTS.columns, "") | {
            "client_id": client_id, "name": name, "address": f"{100 + 2 * number} Prairie Lane",
            "lon": lon, "lat": lat, "phone": f"308-555-01{number + 1:02d}", "route": route,
            "mow_day": mow_day, "stop": stop, "visits_per_year": 28.0, "annual_usd": 1400.0,
            "frontage_ft": 80.0, "mowed_ft2": math.nan, "year_built": math.nan, "sprinklers": "unknown",
        }  # fmt: skip
        rows.append(row | more)
    return check_table(pd.DataFrame(rows), CLIENTS)


def small_beds() -> gpd.GeoDataFrame:
    """Ten beds, one of them skipped, one of them measured on foot."""
    rows = [_bed(bed_id, corners, skip) for bed_id, (corners, skip) in RECTANGLES.items()]
    return check_table(_shaped(rows, ("geometry", "plantable", "edge")), BEDS)


def small_offer_beds(beds: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Each kept bed alone, and the beds of the one offer of two."""
    kept = beds[beds["skip_reason"] == ""]
    alone = kept.assign(offer_id=kept["bed_id"])
    both = kept[kept["client_id"] == "C0002"].assign(offer_id="C0002+2")
    return check_table(pd.concat([alone, both], ignore_index=True), OFFER_BEDS)


def small_quantities(offer_beds: gpd.GeoDataFrame) -> pd.DataFrame:
    """Quantities by the plain formulas, cut 3 in and cover 3 in deep."""
    bank_yd3 = offer_beds["area_ft2"] * 3 / 324
    quantities = pd.DataFrame(offer_beds[["offer_id", "bed_id"]]).assign(
        sod_bank_yd3=bank_yd3, sod_loose_yd3=bank_yd3 * 1.25, sod_lb=bank_yd3 * 3000, haul_loads=1,
        compost_yd3=offer_beds["area_ft2"] * 0.004, mulch_yd3=bank_yd3, gravel_yd3=bank_yd3,
        wall_gravel_yd3=0.0, edging_ft=offer_beds["bed_line_ft"], fabric_ft2=offer_beds["area_ft2"],
        accent_count=(offer_beds["area_ft2"] // 24).astype(int),
        plant_count=(offer_beds["area_ft2"] // 4).astype(int), head_count=0.0,
        ground_ft2=offer_beds["area_ft2"], wall_strip_ft2=0.0, machine_ft2=offer_beds["area_ft2"],
        is_open=True, is_at_curb=offer_beds["along"] == "curb",
    )  # fmt: skip
    return check_table(quantities, QUANTITIES)


def small_line_items(beds: gpd.GeoDataFrame) -> pd.DataFrame:
    """One row a task of each bed and finish, and the mobilization of each offer."""
    area_ft2 = beds.set_index("bed_id")["area_ft2"]
    rows = []
    for offer_id, bed_ids in _all_offers(beds).items():
        for finish, tasks in TASKS.items():
            for bed_id in bed_ids:
                rows += [_item(offer_id, bed_id, finish, task, area_ft2[bed_id]) for task in tasks]
            rows.append((offer_id, "", finish, "mobilization", 1.0, "day", 120.0, MOBILIZATION_CENTS,
                         0.0, "mobilization_usd_per_day"))  # fmt: skip
    return check_table(pd.DataFrame(rows, columns=list(LINE_ITEMS.columns)), LINE_ITEMS)


def small_prices(beds: gpd.GeoDataFrame, line_items: pd.DataFrame) -> pd.DataFrame:
    """Direct cost over 0.55, range -25/+40 % rounded outward to $50."""
    sums = line_items.groupby(["offer_id", "finish"], sort=True)[
        ["amount_cents", "labor_hours"]
    ].sum()
    rows = []
    for (offer_id, finish), (direct_cents, hours) in zip(sums.index, sums.to_numpy(), strict=True):
        price_cents = round(direct_cents / 0.55)
        rows.append({
            "offer_id": offer_id, "client_id": offer_id[:5], "finish": finish,
            "is_lead": finish == "planted", "method": "hand", "labor_hours": hours,
            "crew_days": hours / CREW_HOURS_PER_DAY, "haul_loads": len(_all_offers(beds)[offer_id]),
            "plant_count": 0 if finish == "mulch" else 50,
            "direct_cost_cents": int(direct_cents), "price_cents": price_cents,
            "price_low_cents": math.floor(price_cents * 0.75 / 5000) * 5000,
            "price_high_cents": math.ceil(price_cents * 1.4 / 5000) * 5000, "sales_tax_cents": 0,
            "gross_profit_cents": price_cents - int(direct_cents), "unknowns": "slope not known",
        })  # fmt: skip
    return check_table(pd.DataFrame(rows), PRICES)


def small_offers(beds: gpd.GeoDataFrame, prices: pd.DataFrame) -> pd.DataFrame:
    """One offer a client with a bed."""
    leads = prices[prices["is_lead"]].set_index("offer_id")
    measures = beds.set_index("bed_id")
    rows = []
    for offer_id, bed_ids in BED_IDS_OF_OFFERS.items():
        lead, its_beds = leads.loc[offer_id], measures.loc[bed_ids]
        money = {name: lead[name] for name in OFFERS.columns if name in leads.columns}
        rows.append(money | {
            "offer_id": offer_id, "phase": 1, "offer": " and ".join(_words(b) for b in bed_ids),
            "bed_ids": " ".join(bed_ids), "bed_count": len(bed_ids), "edge_ft": its_beds["edge_ft"].sum(),
            "area_ft2": its_beds["area_ft2"].sum(), "right_of_way_ft2": its_beds["right_of_way_ft2"].sum(),
            "later": "", "later_jobs": 0, "later_price_cents": 0, "say": "", "upgrade_offer_id": "",
            "upgrade_bed_ids": "", "upgrade_price_cents": 0, "upgrade_crew_days": 0.0, "upgrade_gross_profit_cents": 0,
            "upgrade_saving_cents": 0, "is_confirmed": offer_id != "C0008-curb-1",
            "unseen_bed_ids": "C0008-curb-1" if offer_id == "C0008-curb-1" else "",
            "needs_designer": offer_id == "C0008-curb-1",
            "cautions": "; ".join(dict.fromkeys("; ".join(its_beds["cautions"]).split("; "))),
        })  # fmt: skip
    return check_table(pd.DataFrame(rows), OFFERS)


def small_lots() -> gpd.GeoDataFrame:
    """Nine lots; the fourth client was measured on foot and the tenth is not drawn."""
    rows = []
    for number, client_id in enumerate(PEOPLE):
        if client_id in ("C0004", "C0010"):
            continue
        parts = _ground(number)
        hard = unary_union([parts[name] for name in ("street", "sidewalk", "drive", "house")])
        lawn = unary_union([parts["outline"], parts["strip"]]) - hard
        rows.append({
            "client_id": client_id, "frame": FRAME, "outline": parts["outline"], "strip": parts["strip"],
            "lawn": lawn, "lawn_source": "inferred" if client_id == "C0008" else "drawn",
            "hardscape": hard, "lawn_ft2": lawn.area,
        })  # fmt: skip
    return check_table(_shaped(rows, ("outline", "strip", "lawn", "hardscape")), LOTS)


def small_edges(beds: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """The edge that each drawn bed lies along."""
    drawn = beds[beds["frame"] != ""]
    columns = ["client_id", "along", "face", "edge_source", "edge_ft"]
    edges = gpd.GeoDataFrame(drawn[columns], geometry=list(drawn["edge"]))
    return check_table(edges.reset_index(drop=True), EDGES)


def small_shapes(beds: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """What a map draws, in degrees."""
    rows = []
    for number, client_id in enumerate(PEOPLE):
        if client_id in ("C0004", "C0010"):
            continue
        parts = _ground(number)
        parts["lawn"] = unary_union([parts["outline"], parts["strip"]]) - unary_union(
            [parts[name] for name in ("street", "sidewalk", "drive", "house")]
        )
        rows += [
            (layer, client_id, "", shape) for layer, shape in parts.items() if not shape.is_empty
        ]
        rows.append(("tree", client_id, "", Point(_at(number, 70, 90))))
    rows.append(("hydrant", "C0001", "", Point(_at(0, 60, -8))))
    rows.append(("utility", "C0002", "gas_meter", Point(_at(1, 61, 40))))
    for bed in beds[beds["frame"] != ""].itertuples():
        rows.append(("edge", bed.client_id, bed.along, bed.edge))
        rows.append(("bed", bed.client_id, bed.bed_id, bed.geometry))
    shapes = _shaped([dict(zip(SHAPES.columns, row, strict=True)) for row in rows], ("geometry",))
    shapes = shapes.set_geometry([_degrees(shape) for shape in shapes.geometry], crs="EPSG:4326")
    return check_table(shapes, SHAPES)


def small_problems() -> pd.DataFrame:
    """One fault and one note."""
    rows = [
        ("clients.csv", "row 11", "C0010", "fault", "no outline for this client", "draw the lot or measure its edges"),
        ("sites/lots.geojson", "lots.geojson#7", "C0007", "note", "no lawn touches a curb, house front or sidewalk",
         "nothing to do"),
    ]  # fmt: skip
    return check_table(pd.DataFrame(rows, columns=list(PROBLEMS.columns)), PROBLEMS)


@cache
def small_rates() -> RateBook:
    """The standard rate book."""
    return read_rates(None)[0]


@cache
def small_rules() -> LocalRules:
    """The standard local rules, with an invented company."""
    company = Company(name="Meadow Example Lawn Care", phone="308-555-0100")
    return read_rules(None)[0].model_copy(update={"company": company})


def _bed(bed_id: str, corners: tuple[float, ...] | None, skip_reason: str) -> dict[str, object]:
    client_id, along, _ = bed_id.split("-")
    shape, edge = Polygon(), LineString()  # a measured bed lies nowhere
    edge_ft = MEASURED_EDGE_FT
    if corners is not None:
        number = list(PEOPLE).index(client_id)
        shape = box(*_at(number, *corners[:2]), *_at(number, *corners[2:]))
        left, bottom, right, top = shape.bounds
        edge_y = top if along == "house" else bottom
        edge, edge_ft = LineString([(left, edge_y), (right, edge_y)]), right - left
    in_way_ft2 = 4.0 * edge_ft if along == "curb" and corners is not None else 0.0
    return {
        "bed_id": bed_id, "client_id": client_id, "along": along, "face": "front" if along == "house" else "",
        "frame": FRAME if corners else "", "edge_source": "surveyed" if corners else "measured",
        "lawn_source": ("inferred" if client_id == "C0008" else "drawn") if corners else "",
        "skip_reason": skip_reason, "edge_ft": edge_ft, "area_ft2": 4.0 * edge_ft, "mean_depth_ft": 4.0,
        "bed_line_ft": edge_ft + (0.0 if corners else 8.0), "absorbed_ft2": 0.0, "right_of_way_ft2": in_way_ft2,
        "low_plant_ft2": 50.0 if bed_id == "C0001-curb-1" else 0.0, "plant_free_ft2": 0.0,
        "trim_ft": edge_ft + 4.0, "turf_left_ft2": 8000.0 if corners else 0.0,
        "turf_left_width_ft": {"C0003": 9.0, "C0004": math.nan}.get(client_id, 40.0),
        "wall_strip_ft2": edge_ft if along == "house" else 0.0, "hand_dig_ft2": 0.0,
        "is_wildfire": False, "is_opening_guessed": False, "cautions": _cautions(along),
        "geometry": shape, "plantable": shape, "edge": edge,
    }  # fmt: skip


def _cautions(along: str) -> str:
    special = {
        "curb": "lies in the right-of-way: ask for the permit first",
        "house": "keep the first 12 in at the wall clear of plants and mulch",
    }
    return "; ".join(
        filter(None, ["call the locating service before digging", special.get(along, "")])
    )


def _all_offers(beds: gpd.GeoDataFrame) -> dict[str, list[str]]:
    alone = {bed_id: [bed_id] for bed_id in beds.loc[beds["skip_reason"] == "", "bed_id"]}
    return alone | BED_IDS_OF_OFFERS


def _item(
    offer_id: str, bed_id: str, finish: str, task: tuple[str, float, float], area_ft2: float
) -> tuple:
    name, rate_usd, hours_per_ft2 = task
    return (offer_id, bed_id, finish, name, area_ft2, "ft2", rate_usd, round(area_ft2 * rate_usd * 100),
            area_ft2 * hours_per_ft2, "made_up_usd_per_ft2")  # fmt: skip


def _words(bed_id: str) -> str:
    return {"curb": "bed along the curb", "house": "bed along the house front",
            "sidewalk": "bed along the sidewalk"}[bed_id.split("-")[1]]  # fmt: skip


def _ground(number: int) -> dict[str, object]:
    boxes = {"outline": (0, 0, 80, 120), "strip": (0, -10, 80, 0), "street": (0, -40, 80, -10),
             "sidewalk": (0, -5, 80, 0), "drive": (8 if number == 0 else 10, -10, 28 if number == 0 else 30, 35),
             "house": (20, 35, 60, 65)}  # fmt: skip
    shapes = {name: box(*_at(number, *b[:2]), *_at(number, *b[2:])) for name, b in boxes.items()}
    # Only the third lot has a sidewalk
    return shapes if number == 2 else shapes | {"sidewalk": Polygon()}


def _at(number: int, x_ft: float, y_ft: float) -> tuple[float, float]:
    return ORIGIN_FT[0] + 100.0 * number + x_ft, ORIGIN_FT[1] + y_ft


def _degrees(shape: object) -> object:
    return transform(shape, TO_DEGREES.transform, interleaved=False)


def _shaped(rows: list[dict[str, object]], names: tuple[str, ...]) -> gpd.GeoDataFrame:
    table = pd.DataFrame(rows)
    return gpd.GeoDataFrame(
        table.assign(**{n: gpd.GeoSeries(list(table[n])) for n in names}), geometry=names[0]
    )
