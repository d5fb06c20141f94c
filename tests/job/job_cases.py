"""
Rates, clients and beds for the tests of the job room.

The rates are those of the standard rate book's table; each keeps its spread.
"""

from __future__ import annotations

import geopandas
import numpy as np
import pandas as pd
import shapely

from scanner.schema.documents import LocalRules, Rate, RateBook, Setbacks
from scanner.schema.tables import BEDS, CLIENTS, OFFER_BEDS, check_table, empty_table

# value, low, high; where one figure stands its spread is not given
FIGURES = {
    "labor_usd_per_hour": (28, 22, 38),
    "crew_count": (2, 2, 4),
    "day_hours": (8,),
    "cut_depth_in": (3,),
    "swell_ratio": (1.25,),
    "soil_wet_lb_per_yd3": (3000,),
    "dig_hand_hours_per_yd3": (1.943, 0.95, 3.6),
    "sod_cutter_ft2_per_hour": (300, 130, 400),
    "sod_cutter_cut_in": (1.5,),
    "sod_cutter_usd_per_day": (110, 80, 150),
    "loader_hours_per_yd3": (0.5, 0.3, 0.8),
    "loader_usd_per_day": (325, 250, 450),
    "loader_gate_in": (48,),
    "load_trailer_yd3_per_hour": (2, 1.25, 2),
    "haul_hours_per_load": (1, 0.5, 2),
    "trailer_payload_lb": (7390,),
    "trailer_volume_yd3": (5.33,),
    "tip_fee_usd_per_ton": (30, 0, 60),
    "mulch_depth_in": (3,),
    "gravel_depth_in": (3,),
    "compost_yd3_per_1000ft2": (4,),
    "spread_mulch_yd3_per_hour": (1.5, 1, 2.5),
    "spread_gravel_yd3_per_hour": (1, 1, 2.5),
    "spread_compost_yd3_per_hour": (1.4, 1, 2.5),
    "till_ft2_per_hour": (400, 200, 600),
    "tiller_usd_per_day": (75, 50, 120),
    "set_edging_ft_per_hour": (25, 15, 40),
    "lay_fabric_ft2_per_hour": (240, 150, 400),
    "plant_spacing_in": (24,),
    "plant_1gal_minutes": (5, 1, 8),
    "plant_3gal_minutes": (8, 5, 12),
    "plant_5gal_minutes": (15, 10, 20),
    "water_in_minutes": (0.75,),
    "heads_per_100ft": (8, 4, 10),
    "head_hours": (0.5,),
    "head_usd": (12,),
    "setup_hours_per_day": (1, 0.5, 2),
    "mobilization_usd_per_day": (120, 75, 200),
    "mulch_usd_per_yd3": (38, 28, 50),
    "compost_usd_per_yd3": (40, 25, 55),
    "gravel_usd_per_ton": (55, 35, 80),
    "gravel_ton_per_yd3": (1.3,),
    "mulch_delivery_usd": (75, 50, 150),
    "gravel_delivery_usd": (90, 50, 150),
    "edging_usd_per_ft": (2.75, 1.5, 5),
    "edging_stick_ft": (8,),
    "fabric_usd_per_ft2": (0.15, 0.08, 0.3),
    "plant_1gal_usd": (9, 6, 14),
    "plant_3gal_usd": (20, 15, 32),
    "plant_5gal_usd": (32, 24, 50),
    "waste_share": (0.1, 0.05, 0.15),
    "plant_warranty_share": (0.1, 0.05, 0.15),
    "gross_margin_share": (0.45, 0.35, 0.55),
    "minimum_job_usd": (750, 400, 1200),
    "sales_tax_share": (0,),
    "range_measured_share": (0, -0.20, 0.30),
    "range_drawn_share": (0, -0.25, 0.40),
    "range_guessed_share": (0, -0.30, 0.50),
    "barrow_hours_per_yd3": (0.72, 0.72, 1.36),
}


def rate(value, low=None, high=None):
    low, high = (value if low is None else low), (value if high is None else high)
    return Rate(value=value, low=low, high=high, source="table of the standard rates")


def rate_book(**changes):
    """The standard rates, some figures changed: a number, or the name of a choice."""
    figures = {name: rate(1) for name in RateBook.model_fields if name not in FIGURES}
    figures |= {name: rate(*figure) for name, figure in FIGURES.items()}
    figures |= {name: x if isinstance(x, str) else rate(x) for name, x in changes.items()}
    choices = {name: figures[name] for name in ("lead_finish", "plant_size") if name in changes}
    for name in ("lead_finish", "plant_size"):
        figures.pop(name)
    # what only a test would ask, a free rental or one of 100,000 USD, lies beyond the bounds
    return RateBook.model_construct(**figures, **choices)


def local_rules(**changes):
    values = {
        "frontage_max_ft": 20, "infer_max_ft2": 43_560, "gap_ft": 1.5, "front_reach_ft": 300,
        "jog_ft": 6, "house_faces": ("front",), "kind_order": ("curb", "house", "sidewalk"),
        "offer_kinds": ("curb", "house", "sidewalk"), "bed_depth_ft": 4, "drive_flare_ft": 0,
        "default_opening_ft": 0, "min_depth_ft": 2, "min_edge_ft": 12, "min_bed_ft2": 40,
        "mower_ft": 4, "turn_radius_ft": 4, "job_limit_crew_days": 4,
        "setbacks": Setbacks.model_construct(),
    }  # fmt: skip
    return LocalRules.model_construct(**(values | changes))


def clients(*client_ids, sprinklers="no"):
    """A client table with nothing known but ids and sprinklers."""
    blank = dict.fromkeys(CLIENTS.columns, "")
    numbers = ("lon", "lat", "stop", "visits_per_year", "annual_usd", "frontage_ft", "mowed_ft2")
    rows = [
        blank | dict.fromkeys(numbers, np.nan) | {"client_id": client_id, "sprinklers": sprinklers}
        for client_id in client_ids
    ]
    return check_table(pd.DataFrame(rows), CLIENTS) if rows else empty_table(CLIENTS)


def bed(bed_id="C1-curb-1", *, length=60.0, depth=4.0, **changes):
    """One bed along y = 0: by default the 60 × 4 ft bed of worked case 12."""
    shape = changes.pop("geometry", shapely.box(0, 0, length, depth))
    row = {
        "offer_id": bed_id,
        "bed_id": bed_id,
        "client_id": bed_id.split("-")[0],
        "along": "curb",
        "face": "",
        "frame": "-75 40",
        "lawn_source": "drawn",
        "edge_source": "drawn",
        "skip_reason": "",
        "edge_ft": length,
        "area_ft2": length * depth,
        "mean_depth_ft": depth,
        "bed_line_ft": length + depth,  # one open end
        "turf_left_ft2": 2000.0,
        "turf_left_width_ft": 20.0,
        "is_wildfire": False,
        "is_opening_guessed": False,
        "cautions": "",
        "geometry": shape,
        "plantable": shape,
        "edge": shapely.LineString([(0, 0), (length, 0)]),
        "low_ground": shapely.Polygon(),
    }
    zeros = (
        "absorbed_ft2", "right_of_way_ft2", "low_plant_ft2", "plant_free_ft2", "trim_ft",
        "wall_strip_ft2", "hand_dig_ft2",
    )  # fmt: skip
    return row | dict.fromkeys(zeros, 0.0) | changes


def offer_beds(*rows):
    """A table of beds as they lie in offers."""
    if not rows:
        return empty_table(OFFER_BEDS)
    table = geopandas.GeoDataFrame(list(rows), geometry="geometry")
    for name in ("plantable", "edge", "low_ground"):
        table[name] = geopandas.GeoSeries(table[name])
    return check_table(table, OFFER_BEDS)


def beds(*rows):
    """The beds of single-bed offers, as the scan found them."""
    table = offer_beds(*rows)
    return check_table(table[table["offer_id"] == table["bed_id"]], BEDS)
