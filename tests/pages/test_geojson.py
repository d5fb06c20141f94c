from __future__ import annotations

import json

import geopandas as gpd
import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from scanner.pages.geojson import beds_geojson
from scanner.pages.summary import summarize
from scanner.plane.frame import round_degrees
from tests.small_scan import in_parts, small_scan, with_tables

# The properties that the file promises, in their order
PROPERTIES = [
    "bed_id",
    "client_id",
    "along",
    "face",
    "finish",
    "lawn_source",
    "edge_source",
    "skip_reason",
    "edge_ft",
    "area_ft2",
    "mean_depth_ft",
    "bed_line_ft",
    "absorbed_ft2",
    "right_of_way_ft2",
    "low_plant_ft2",
    "plant_free_ft2",
    "trim_ft",
    "turf_left_ft2",
    "sod_bank_yd3",
    "sod_loose_yd3",
    "sod_lb",
    "haul_loads",
    "compost_yd3",
    "mulch_yd3",
    "gravel_yd3",
    "edging_ft",
    "plant_count",
    "method",
    "labor_hours",
    "crew_days",
    "direct_cost_usd",
    "price_usd",
    "price_low_usd",
    "price_high_usd",
    "price_mulch_usd",
    "price_mulch_low_usd",
    "price_mulch_high_usd",
    "price_accent_usd",
    "price_accent_low_usd",
    "price_accent_high_usd",
    "price_planted_usd",
    "price_planted_low_usd",
    "price_planted_high_usd",
    "price_gravel_usd",
    "price_gravel_low_usd",
    "price_gravel_high_usd",
    "gross_profit_usd",
    "confirmed",
    "cautions",
    "reasons",
]


def content(scan):
    return b"".join(beds_geojson(scan, scan.parts))


def written(scan):
    return json.loads(content(scan))


@pytest.fixture(scope="module")
def features():
    return written(small_scan())["features"]


def properties(features, bed_id):
    return next(f["properties"] for f in features if f["properties"]["bed_id"] == bed_id)


def test_properties_in_the_order_of_the_design(features):
    for feature in features:
        assert list(feature["properties"])[: len(PROPERTIES)] == PROPERTIES


def test_one_feature_a_bed_and_totals_agree_with_the_summary(features):
    totals = summarize(small_scan())
    found = [f["properties"] for f in features if not f["properties"]["skip_reason"]]
    assert len(features) == totals["beds"] + totals["skipped"] == len(small_scan().beds)
    assert len(found) == totals["beds"]
    assert round(sum(bed["area_ft2"] for bed in found), 2) == float(totals["area_ft2"])
    assert round(sum(bed["edge_ft"] for bed in found), 2) == float(totals["edge_ft"])


def test_measured_bed_lies_nowhere(features):
    assert [f["id"] for f in features if f["geometry"] is None] == ["C0004-curb-1"]


def test_skipped_bed_has_its_reason_and_no_price(features):
    bed = properties(features, "C0003-sidewalk-2")
    assert bed["skip_reason"] == "too short"
    assert bed["area_ft2"] == 40
    priced = [
        name for name in bed if name.endswith("_usd") or name in ("finish", "method", "mulch_yd3")
    ]
    assert {bed[name] for name in priced} == {None}


def test_prices_are_those_of_the_bed_alone():
    # 200 ft2: 7 $/ft2 planted and 120 $ for the day are 1,520 $; over 0.55
    bed = properties(written(small_scan())["features"], "C0002-curb-1")
    assert bed["price_usd"] == bed["price_planted_usd"] == 2763.64
    assert bed["direct_cost_usd"] == 1520
    assert (bed["price_low_usd"], bed["price_high_usd"]) == (2050, 3900)
    assert bed["reasons"].startswith("turf up to the curb for 50 ft")


def test_confirmed_as_in_the_call_list(features):
    confirmed = {f["id"]: f["properties"]["confirmed"] for f in features}
    assert [bed_id for bed_id in confirmed if not confirmed[bed_id]] == [
        "C0003-sidewalk-2",
        "C0008-curb-1",
    ]


def test_a_bed_is_confirmed_though_another_of_its_offer_is_not():
    scan = small_scan()
    is_double = scan.offers["bed_count"] == 2
    pair = scan.offers.loc[is_double, "bed_ids"].iloc[0].split()
    unseen = scan.offers["bed_ids"].where(~scan.offers["bed_ids"].str.startswith(pair[0]), pair[1])
    told = scan.offers.assign(is_confirmed=False, unseen_bed_ids=unseen)
    features = written(with_tables(scan, offers=told))["features"]
    # everything else is unseen, or skipped and so no offer's
    assert [f["id"] for f in features if f["properties"]["confirmed"]] == [pair[0]]


def test_money_has_two_decimals_in_the_text():
    text = content(small_scan()).decode()
    assert '"price_low_usd": 2050.00' in text
    assert '"direct_cost_usd": 1520.00' in text


def test_read_back_by_another_program(tmp_path):
    path = tmp_path / "candidates.geojson"
    path.write_bytes(content(small_scan()))
    beds = gpd.read_file(path)
    drawn = beds[~beds.geometry.isna()]
    assert beds.crs.to_epsg() == 4326
    assert drawn.geometry.is_valid.all()
    # On the plane again each bed has the area that it says
    plane = "+proj=laea +lat_0=41.25 +lon_0=-98.25 +ellps=WGS84 +units=ft"
    assert np.allclose(drawn.to_crs(plane).area, drawn["area_ft2"], rtol=1e-3)


def test_rfc_7946(features):
    document = written(small_scan())
    assert set(document) == {"type", "features"}
    for feature in features:
        if feature["geometry"] is None:
            continue
        outer, *holes = feature["geometry"]["coordinates"]
        # Section 3.1.6: outer rings counterclockwise, holes clockwise, first position again last
        assert outer[0] == outer[-1]
        assert shapely.is_ccw(shapely.LinearRing(outer))
        assert not any(shapely.is_ccw(shapely.LinearRing(hole)) for hole in holes)
        # Longitude comes first, 9 decimals
        assert all(-99 < lon < -98 and 40 < lat < 42 for lon, lat in outer)
        assert all(round(value, 9) == value for position in outer for value in position)


def test_ring_that_rounding_breaks_is_repaired():
    # A spike 3e-10 degrees wide folds onto itself when rounded to 9 decimals
    spike = shapely.Polygon(
        [
            (0, 0),
            (1e-4, 0),
            (1e-4, 1e-4),
            (5.00000004e-5, 1e-4),
            (5.00000001e-5, -2e-10),
            (4.99999998e-5, 1e-4),
            (0, 1e-4),
        ]
    )
    plain = shapely.transform(spike, lambda degrees: np.round(degrees, 9))
    assert not plain.is_valid
    repaired = round_degrees(np.array([spike]))[0]
    assert repaired.is_valid
    assert repaired.geom_type in ("Polygon", "MultiPolygon")
    assert repaired.area == pytest.approx(1e-8, rel=1e-3)


@settings(deadline=None)
@given(st.lists(st.tuples(st.floats(0, 1e-6), st.floats(0, 1e-6)), min_size=3, max_size=12))
def test_rounded_polygons_are_valid_and_rounded(points):
    hull = shapely.MultiPoint(points).buffer(2e-8, quad_segs=2)
    rounded = round_degrees(np.array([shapely.union_all([hull])]))
    assert shapely.is_valid(rounded).all()
    coordinates = shapely.get_coordinates(rounded)
    assert (np.round(coordinates, 9) == coordinates).all()


@pytest.mark.parametrize("lot_count", [1, 3])
def test_parts_of_any_size_give_the_same_bytes(lot_count):
    whole = content(small_scan())
    assert content(in_parts(small_scan(), lot_count)) == whole


def test_lots_of_which_no_bed_is_offered_say_no_reason():
    scan = small_scan()
    features = written(with_tables(scan, offers=scan.offers.iloc[:0]))["features"]
    assert {feature["properties"]["reasons"] for feature in features} == {""}


def test_no_bed_at_all():
    scan = small_scan()
    none = with_tables(scan, beds=scan.table("beds").iloc[:0])
    assert written(none) == {"type": "FeatureCollection", "features": []}
