"""Site features: formats, coordinate systems, faults, placing."""

from __future__ import annotations

import io
import json
import sqlite3
import zipfile

import geopandas as gpd
import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
import shapely

from scanner.book.county.sources import Source, read_source
from scanner.book.layers.placing import join_outlines, place_features
from scanner.book.sites import read_sites

CLIENTS = pd.DataFrame({"client_id": ["007", "8", "B"]}, dtype="str")
LON, LAT = -97.8, 40.8
STEP = 0.0003


def box(at=0.0, width=1.0):
    """Make a lot-sized box, `at` lots east of the corner."""
    return shapely.box(LON + at * STEP, LAT, LON + (at + width) * STEP, LAT + STEP)


def table(crs="EPSG:4326", **columns):
    kinds = columns.pop("kind", ["property", "street"])
    shapes = columns.pop("geometry", [box(), box(2)])
    return gpd.GeoDataFrame({"kind": kinds, **columns}, geometry=shapes, crs=crs)


def geojson(folder, features, name="lots.geojson", **members):
    folder.mkdir(exist_ok=True)
    document = {"type": "FeatureCollection", "features": features, **members}
    (folder / name).write_text(json.dumps(document))


def feature(kind, shape, **properties):
    geometry = (
        shape if shape is None or isinstance(shape, dict) else json.loads(shapely.to_geojson(shape))
    )
    return {"type": "Feature", "properties": {"kind": kind, **properties}, "geometry": geometry}


@pytest.fixture
def sites(tmp_path):
    folder = tmp_path / "sites"
    folder.mkdir()
    return folder


def zip_shapefile(frame, target, tmp_path, *, inner="", without=()):
    folder = tmp_path / "loose"
    folder.mkdir()
    frame.to_file(folder / "lots.shp")
    with zipfile.ZipFile(target, "w") as archive:
        for path in sorted(folder.iterdir()):
            if path.suffix not in without:
                archive.write(path, inner + path.name)


@pytest.mark.parametrize(
    ("name", "driver"),
    [("a.gpkg", "GPKG"), ("a.fgb", "FlatGeobuf"), ("a.geojson", "GeoJSON"), ("a.kml", "KML")],
)
def test_each_format_reads_alike(sites, name, driver):
    options = {"SPATIAL_INDEX": "NO"} if driver == "FlatGeobuf" else {}
    if driver == "KML":
        options, driver = {}, "LIBKML"
    table(client_id=["007", ""]).to_file(sites / name, driver=driver, **options)
    features, problems = read_sites(sites, CLIENTS)
    assert problems.empty
    assert features["kind"].tolist() == ["property", "street"]
    assert features["client_id"].tolist() == ["007", ""]
    assert features["feature_id"].tolist() == [f"sites/{name}#1", f"sites/{name}#2"]
    assert features.geometry.iloc[0].equals_exact(box(), 1e-9, normalize=True)
    assert features.crs == "EPSG:4326"


@pytest.mark.parametrize(
    ("inner", "without"), [("", ()), ("deep/er/", ()), ("", (".shx",)), ("", (".prj",))]
)
def test_zipped_shapefile(sites, tmp_path, inner, without):
    kinds = ["property", "property"]
    zip_shapefile(
        table(kind=kinds, client_id=["007", "8"]),
        sites / "a.zip",
        tmp_path,
        inner=inner,
        without=without,
    )
    features, problems = read_sites(sites, CLIENTS)
    assert features["client_id"].tolist() == ["007", "8"]
    assert problems["severity"].tolist() == (["note"] if ".prj" in without else [])


def test_shapefile_cuts_names_to_ten_letters(sites, tmp_path):
    line = shapely.linestrings([[LON, LAT], [LON + STEP, LAT]])
    streets = table(kind=["street_centerline"], pavement_f=[36.0], geometry=[line])
    zip_shapefile(streets, sites / "a.zip", tmp_path)
    features, problems = read_sites(sites, CLIENTS)
    assert problems.empty
    assert features["pavement_ft"].tolist() == [36.0]


def test_geoparquet_reads_as_the_others_do(sites):
    made = table(client_id=["007", ""], curbed=[None, True], parts=[[1], [2, 3]])
    made.to_parquet(sites / "a.parquet", write_covering_bbox=True)
    features, problems = read_sites(sites, CLIENTS)
    assert problems.empty
    assert features["kind"].tolist() == ["property", "street"]
    assert features["client_id"].tolist() == ["007", ""]
    assert features["curbed"].tolist() == ["", "yes"]
    assert features.geometry.iloc[0].equals_exact(box(), 1e-12, normalize=True)


@pytest.mark.parametrize(
    ("geo", "count", "words"),
    [
        ({"columns": {"geometry": {"encoding": "WKB"}}}, 2, ""),  # no crs is longitude, latitude
        ({"columns": {"geometry": {"encoding": "WKB", "crs": None}}}, 2, "no coordinate system"),
        ({"columns": {"geometry": {"encoding": "WKB", "crs": {"type": "x"}}}}, 0, "is not known"),
        ({"columns": {"geometry": {"encoding": "polygon"}}}, 0, "another form than WKB"),
        (
            {"columns": {"geometry": {"encoding": "WKB"}}, "primary_column": "kind"},
            0,
            "does not say",
        ),
        ({"columns": {"kind": {"encoding": "WKB"}}, "primary_column": "kind"}, 0, "another form"),
        ({"columns": {"gone": {"encoding": "WKB"}}, "primary_column": "gone"}, 0, "another form"),
        ({}, 0, "no GeoParquet"),
        (None, 0, "no GeoParquet"),
    ],
)
def test_geoparquet_that_is_not_what_it_says(sites, geo, count, words):
    columns = {
        "kind": ["property", "street"], "client_id": ["007", None],
        "geometry": shapely.to_wkb([box(), box(2)]).tolist(),
    }  # fmt: skip
    rows = pa.table(columns)
    if geo is not None:
        told = json.dumps({"version": "1.1.0", "primary_column": "geometry"} | geo)
        rows = rows.replace_schema_metadata({"geo": told if geo else "[]"})
    pq.write_table(rows, sites / "a.parquet")
    features, problems = read_sites(sites, CLIENTS)
    assert len(features) == count
    assert len(problems) == bool(words)
    if words:
        assert words in problems.loc[0, "problem"]
        assert problems.loc[0, "remedy"]


def test_geoparquet_of_no_feature_and_with_a_broken_shape(sites):
    table().iloc[:0].to_parquet(sites / "a.parquet")
    told = json.dumps({"primary_column": "geometry", "columns": {"geometry": {"encoding": "WKB"}}})
    shapes = [shapely.to_wkb(box()), b"\x01torn", None]
    rows = pa.table({"kind": ["street"] * 3, "geometry": shapes}).replace_schema_metadata(
        {"geo": told}
    )
    pq.write_table(rows, sites / "b.parquet")
    features, problems = read_sites(sites, CLIENTS)
    assert len(features) == 1
    assert problems["problem"].tolist() == [
        "the file holds no feature",
        *["it has no shape; it is left out"] * 2,
    ]
    assert problems["feature"].tolist() == ["", "feature 2", "feature 3"]


def test_shapefile_without_its_table(sites, tmp_path):
    zip_shapefile(table(), sites / "a.zip", tmp_path, without=(".dbf",))
    _, problems = read_sites(sites, CLIENTS)
    assert ".dbf is missing" in problems.loc[0, "problem"]


def test_a_trigger_of_a_database_never_runs_because_nothing_is_written(sites):
    """Each would leave a row, or go on without end, at any change of any table (SQLite: CREATE TRIGGER)."""
    path = sites / "a.gpkg"
    table(client_id=["007", ""]).to_file(path, driver="GPKG", layer="lots")
    raw = sqlite3.connect(path)
    raw.execute("CREATE TABLE hits (what TEXT)")
    names = [name for (name,) in raw.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
    # what belongs to the database itself can have none
    own = [name for name in names if not name.startswith(("sqlite_", "rtree_"))]
    endless = "INSERT INTO hits WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n) SELECT i FROM n"
    for name in own:
        for event in ("INSERT", "UPDATE", "DELETE"):
            raw.execute(
                f"CREATE TRIGGER {event}_{name} BEFORE {event} ON {name} BEGIN {endless}; END"
            )
    raw.commit()
    raw.close()
    before = path.read_bytes()
    features, problems = read_sites(sites, CLIENTS)
    assert features["kind"].tolist() == ["property", "street"]
    assert (
        "hits" in problems["problem"].item() + problems["feature"].item()
    )  # a table without kinds
    assert len(read_source(Source(path, "lots")).fields) == 2
    assert path.read_bytes() == before
    assert [one.name for one in sites.iterdir()] == ["a.gpkg"]


def test_a_database_with_letters_that_are_none_is_told_and_left_out(sites):
    """Found by the fuzzer: the database complains of what it cannot read in the file's own letters."""
    path = sites / "a.gpkg"
    table(client_id=["007", ""]).to_file(path, driver="GPKG", layer="lots")
    raw = sqlite3.connect(path)
    raw.execute("CREATE TABLE lawnshape (what TEXT)")
    raw.commit()
    raw.close()
    path.write_bytes(path.read_bytes().replace(b"TABLE lawnshape", b"T\x8cBLE lawnshape"))
    features, problems = read_sites(sites, CLIENTS)
    assert features.empty
    assert "may be damaged" in problems["problem"].item()


@pytest.mark.parametrize("name", ["a.gpkg", "a.zip"])
def test_declared_coordinates_are_brought_to_degrees(sites, tmp_path, name):
    # Nebraska state plane in US survey feet; north-south first in the authority's books or not
    lots = table(client_id=["007", ""]).to_crs("EPSG:26852")
    if name == "a.zip":
        zip_shapefile(lots, sites / name, tmp_path)
    else:
        lots.to_file(sites / name, driver="GPKG")
    features, problems = read_sites(sites, CLIENTS)
    assert problems.empty
    assert features.geometry.iloc[0].equals_exact(box(), 1e-8, normalize=True)


def test_older_geojson_names_its_coordinates(sites):
    lots = table(client_id=["007", ""]).to_crs("EPSG:26852")
    crs = {"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::26852"}}
    geojson(sites, [feature("property", lots.geometry.iloc[0], client_id="007")], crs=crs)
    features, problems = read_sites(sites, CLIENTS)
    assert problems.empty
    assert features.geometry.iloc[0].equals_exact(box(), 1e-8, normalize=True)


def test_all_layers_are_read_and_files_go_by_name(sites):
    table(kind=["property"], client_id=["007"], geometry=[box()]).to_file(
        sites / "b.gpkg", layer="lots"
    )
    table(kind=["house"], geometry=[box(0.2, 0.5)]).to_file(sites / "b.gpkg", layer="houses")
    geojson(sites, [feature("street", box(3))], name="a.geojson")
    features, problems = read_sites(sites, CLIENTS)
    assert problems.empty
    ids = ["sites/a.geojson#1", "sites/b.gpkg#1", "sites/b.gpkg#2"]
    assert features["feature_id"].tolist() == ids
    assert features["client_id"].tolist() == ["", "007", "007"]


def test_whole_number_ids_stay_whole(sites):
    # a number column with a gap in it is read with decimals: 8.0
    lots = table(kind=["property", "street"], client_id=pd.array([8, None], dtype="Int64"))
    lots.to_file(sites / "a.gpkg")
    geojson(sites, [feature("lawn", box(), client_id=8), feature("lawn", box(4), client_id="007")])
    features, problems = read_sites(sites, CLIENTS)
    assert problems.empty
    assert features["client_id"].tolist() == ["8", "", "8", "007"]


def test_third_coordinate_goes_and_parts_stay(sites):
    lot = shapely.multipolygons([box(), box(2)])
    geojson(sites, [feature("property", shapely.force_3d(lot, 99.0), client_id="007")])
    features, problems = read_sites(sites, CLIENTS)
    assert problems.empty
    assert not features.geometry.has_z.any()
    assert features.geometry.iloc[0].equals(lot)


BOW = shapely.Polygon([(LON, LAT), (LON + STEP, LAT + STEP), (LON + STEP, LAT), (LON, LAT + STEP)])
UNCLOSED = {"type": "Polygon", "coordinates": [[[LON, LAT], [LON + STEP, LAT], [LON, LAT + STEP]]]}
POINT = shapely.Point(LON, LAT)
LINE = shapely.LineString([(LON, LAT), (LON + STEP, LAT)])
SWAPPED = shapely.box(LAT, LON, LAT + STEP, LON + STEP)


@pytest.mark.parametrize(
    ("faulty", "reason", "remedy"),
    [
        (feature("hose", box()), "'hose'", "write house"),
        (feature("", box()), "kind is blank", "property, lawn"),
        (feature("house", None), "no shape", "draw it"),
        (feature("house", shapely.Polygon()), "no shape", "draw it"),
        (feature("house", UNCLOSED), "cannot be read", "again"),
        (feature("house", {"type": "Blob"}), "cannot be read", "again"),
        (feature("house", {"type": "Point", "coordinates": ["x", 1]}), "cannot be read", "again"),
        (feature("house", BOW), "crosses itself", "without crossing"),
        (feature("house", POINT), "house came as a point; it is drawn as an area", "draw it so"),
        (feature("edge", box(), along="curb"), "edge came as an area", "draw it so"),
        (feature("tree", LINE), "tree came as a line", "draw it so"),
        (feature("property", SWAPPED, client_id="B"), "swapped", "exchange the two"),
        (feature("tree", shapely.Point(0, 0)), "0, 0", "where it belongs"),
        (feature("tree", shapely.Point(200, 95)), "no degrees", "WGS 84"),
        (
            feature("property", box(5), client_id="99"),
            "'99' is not in the client list",
            "add the client",
        ),
        (feature("edge", LINE, along="kerb"), "'kerb'", "curb"),
        (feature("edge", shapely.LineString([POINT, POINT]), along="curb"), "no length", "draw it"),
        (feature("utility", POINT, what="box"), "'box'", "transformer"),
        (feature("street_centerline", LINE), "pavement_ft is blank", "feet"),
        (feature("street_centerline", LINE, pavement_ft=-3), "'-3'", "feet"),
        ("no feature", "no shape", "draw"),
    ],
)
def test_faulty_feature_is_told_and_the_rest_kept(sites, faulty, reason, remedy):
    if faulty == "no feature":
        faulty = {"type": "Feature", "properties": {"kind": "house"}}
    geojson(sites, [feature("property", box(), client_id="007"), faulty, feature("street", box(2))])
    features, problems = read_sites(sites, CLIENTS)
    assert features["kind"].tolist() == ["property", "street"]
    assert problems["file"].tolist() == ["sites/lots.geojson"]
    assert problems["feature"].tolist() == ["feature 2"]
    assert problems["severity"].tolist() == ["fault"]
    assert reason in problems.loc[0, "problem"]
    assert remedy in problems.loc[0, "remedy"]


@pytest.mark.parametrize(
    ("properties", "column"),
    [
        ({"kind": "tree", "dbh_in": "thick"}, "dbh_in"),
        ({"kind": "property", "client_id": "007", "drives_known": "most"}, "drives_known"),
        ({"kind": "street", "curbed": "perhaps"}, "curbed"),
    ],
)
def test_faulty_cell_is_blanked(sites, properties, column):
    kind = properties.pop("kind")
    geojson(sites, [feature(kind, POINT if kind == "tree" else box(), **properties)])
    features, problems = read_sites(sites, CLIENTS)
    assert len(features) == 1
    assert not features.loc[0, column] or np.isnan(features.loc[0, column])
    assert column in problems.loc[0, "problem"]


@pytest.mark.parametrize(("nick", "is_kept"), [(0.05, True), (0.3, False)])
def test_crossing_ring_is_mended_within_one_percent(sites, nick, is_kept):
    # a 10 x 10 lot whose east side runs past the corner and back across: the ear has nick * 5 area
    points = [(0, 0), (10, 0), (10 + nick, 5), (10 - nick, 10), (10 + nick, 10), (10 - nick, 5)]
    corners = [(LON + x * STEP / 10, LAT + y * STEP / 10) for x, y in [*points, (0, 10)]]
    lot = shapely.Polygon(corners)
    assert not lot.is_valid
    geojson(sites, [feature("property", lot, client_id="007")])
    features, problems = read_sites(sites, CLIENTS)
    assert len(features) == is_kept
    assert problems["severity"].tolist() == ["note" if is_kept else "fault"]
    if is_kept:
        assert features.geometry.is_valid.all()
        assert features.geometry.iloc[0].area == pytest.approx(lot.area, rel=0.01)


def from_feet(*points):
    """Make a polygon of points in hundredths of a lot."""
    return shapely.Polygon([(LON + x * STEP / 100, LAT + y * STEP / 100) for x, y in points])


def test_outline_that_touches_itself_keeps_all_its_ground(sites):
    # two squares of 40 that meet in a corner, with a hair of no width: mended, they are a
    # collection that holds a multipolygon; nothing but the hair is lost
    hair = [(80, 80), (90, 80), (80, 80)]
    street = from_feet((0, 0), (40, 0), (40, 40), (80, 40), *hair, (40, 80), (40, 40), (0, 40))
    assert not street.is_valid
    geojson(sites, [feature("street", street)])
    features, problems = read_sites(sites, CLIENTS)
    assert features.geometry.iloc[0].area == pytest.approx(2 * 40**2 * (STEP / 100) ** 2, rel=1e-6)
    assert problems["severity"].tolist() == ["note"]
    assert "changed its area by less than 0.01 %" in problems["problem"].iloc[0]


def test_repair_tells_the_share_that_it_changed(sites):
    # a corner of 4 x 4 drawn the other way round counts as -16 beside 10,000; mended as +16
    corner = [(100, 104), (104, 104), (104, 100), (100, 100)]
    lot = from_feet((0, 0), (100, 0), (100, 100), *corner, (0, 100))
    geojson(sites, [feature("property", lot, client_id="007")])
    features, problems = read_sites(sites, CLIENTS)
    assert features.geometry.iloc[0].area == pytest.approx(10_016 * (STEP / 100) ** 2, rel=1e-6)
    assert f"changed its area by {100 * 32 / 9_984:.2f} %" in problems["problem"].iloc[0]


VIRTUAL = "<OGRVRTDataSource><OGRVRTLayer name='x'><SrcDataSource>/etc/hosts</SrcDataSource></OGRVRTLayer></OGRVRTDataSource>"


@pytest.mark.parametrize(
    ("name", "content", "reason"),
    [
        ("a.geojson", b"", "is empty"),
        ("a.geojson", b" \n", "is empty"),
        ("a.geojson", VIRTUAL.encode(), "is no GeoJSON"),
        ("a.geojson", b'{"type": "Topology"}', "'Topology'"),
        ("a.geojson", b"[1]", "is no GeoJSON"),
        ("a.geojson", b"[" * 100_000, "is no GeoJSON"),
        ("a.geojson", '{"type": "Peña"}'.encode("cp1252"), "UTF-8"),
        ("a.gpkg", VIRTUAL.encode(), "is no GeoPackage"),
        ("a.gpkg", b"SQLite format 3\0".ljust(100, b"\0"), "is no GeoPackage"),
        ("a.gpkg", b"SQLite format 3\0".ljust(68, b"\0") + b"GPKG" + bytes(30), "damaged"),
        ("a.fgb", VIRTUAL.encode(), "is no FlatGeobuf"),
        ("a.fgb", b"fgb\x03fgb\x00torn", "no feature"),
        ("a.kml", VIRTUAL.encode(), "is no KML"),
        (
            "a.kml",
            b'<?xml version="1.0" encoding="ut8"?><kml/>',
            "names a kind of letters that is not known",
        ),
        (
            "a.kml",
            b'<?xml version="1.0" encoding="gb2312"?><kml/>',
            "names a kind of letters that is not known",
        ),
        ("a.kml", b"<!DOCTYPE kml [<!ENTITY x 'y'>]><kml>&x;</kml>", "document type"),
        ("a.kml", b"<kml><Doc", "damaged"),
        ("a.parquet", VIRTUAL.encode(), "is no GeoParquet"),
        ("a.parquet", b"PAR1 torn PAR1", "damaged"),
        ("a.zip", b"PK torn", "no zip"),
        ("a.zip", VIRTUAL.encode(), "is no zip"),
        ("a.shp", b"\x00\x00\x27\x0a", "several files"),
        ("a.dwg", b"AC1032", "ending that is not known"),
    ],
)
def test_faulty_file_is_told_and_the_rest_kept(sites, name, content, reason):
    (sites / name).write_bytes(content)
    geojson(sites, [feature("street", box(2))], name="good.geojson")
    features, problems = read_sites(sites, CLIENTS)
    assert features["kind"].tolist() == ["street"]
    assert problems["file"].tolist() == [f"sites/{name}"]
    assert problems["severity"].tolist() == ["fault"]
    assert reason in problems.loc[0, "problem"]
    assert problems.loc[0, "remedy"]


def packed(**parts):
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, part in parts.items():
            archive.writestr(name.replace("_", "."), part)
    return stream.getvalue()


@pytest.mark.parametrize(
    ("parts", "reason"),
    [
        ({"lots_shp": bytes(12_000_000)}, "unpacks to 12,000,000"),
        ({"lots_txt": b"hello"}, "no .shp in it"),
        ({"lots_shp": VIRTUAL.encode(), "lots_dbf": b""}, "is no Shapefile"),
    ],
)
def test_faulty_zip(sites, parts, reason):
    (sites / "a.zip").write_bytes(packed(**parts))
    features, problems = read_sites(sites, CLIENTS)
    assert features.empty
    assert reason in problems.loc[0, "problem"]


def test_coordinates_that_cannot_be_degrees(sites):
    geojson(
        sites, [feature("property", shapely.box(2e6, 5e5, 2e6 + 80, 5e5 + 120), client_id="007")]
    )
    _, problems = read_sites(sites, CLIENTS)
    assert problems["feature"].tolist() == [""]
    assert "can't be degrees" in problems.loc[0, "problem"]
    assert "coordinate system" in problems.loc[0, "remedy"]


def test_layer_without_kinds_is_one_fault(sites):
    table(kind=["", ""], use=["lot", "lot"]).drop(columns="kind").to_file(sites / "a.gpkg")
    _, problems = read_sites(sites, CLIENTS)
    assert len(problems) == 1
    assert "no feature has a kind" in problems.loc[0, "problem"]


def test_no_folder_is_no_fault(tmp_path):
    features, problems = read_sites(tmp_path / "sites", CLIENTS)
    assert features.empty
    assert problems.empty
    assert features.crs == "EPSG:4326"


def test_what_lies_on_a_lot_gets_its_client(sites):
    shapes = [
        feature("property", box(), client_id="007"),
        feature("property", box(1), client_id="8"),
        feature("house", box(0.2, 0.5)),
        feature("house", box(0.7, 1)),  # 0.3 of it on 007, 0.7 on 8
        feature("lawn", box(0.5, 1)),  # half and half: nobody's
        feature("bed", box(1.9, 0.4)),  # a quarter on 8
        feature("outbuilding", box(1.2, 0.2), client_id="007"),  # said, so it stays
        feature("drive", box(0.1, 0.1)),
    ]
    geojson(sites, shapes)
    features, problems = read_sites(sites, CLIENTS)
    assert problems.empty
    assert features["client_id"].tolist() == ["007", "8", "007", "8", "", "", "007", ""]


def test_two_outlines_of_one_client_are_one_lot(sites):
    shapes = [
        feature("property", box(), client_id="007"),
        feature("property", box(1), client_id="007"),
    ]
    geojson(sites, [*shapes, feature("house", box(0.8, 0.4))])
    features, problems = read_sites(sites, CLIENTS)
    assert features["kind"].tolist() == ["property", "house"]
    assert features.geometry.iloc[0].equals(box(0, 2))
    assert features["client_id"].tolist() == ["007", "007"]
    assert problems["severity"].tolist() == ["note"]


@pytest.mark.parametrize(
    ("at", "is_double"), [(0.0, True), (0.05, True), (0.15, False), (1.0, False)]
)
def test_outlines_that_cover_each_other(sites, at, is_double):
    # worked case 10: a duplicate of A is listed; boxes of one lot, shifted by at, share 1 - at
    own = [feature("property", box(), client_id="007"), feature("house", box(0.2, 0.4))]
    double = [
        feature("property", box(at), client_id="8"),
        feature("lawn", box(at + 0.7, 0.1), client_id="8"),
    ]
    geojson(sites, [*own, *double])
    features, problems = read_sites(sites, CLIENTS)
    if is_double:
        assert features["client_id"].tolist() == ["007", "007"]
        assert problems["feature"].tolist() == ["feature 3"]
        assert problems["client_id"].tolist() == ["8"]
        assert "same ground as that of 007" in problems.loc[0, "problem"]
    else:
        assert len(features) == 4
        assert problems.empty


def test_outline_of_nobody_gives_way_and_is_noted(sites):
    shapes = [
        feature("property", box()),
        feature("property", box(3)),
        feature("property", box(), client_id="007"),
    ]
    geojson(sites, shapes)
    features, problems = read_sites(sites, CLIENTS)
    assert features["client_id"].tolist() == ["", "007"]
    assert problems["severity"].tolist() == ["note"]


def test_inputs_are_left_alone():
    features = table(
        client_id=["007", "007"], feature_id=["a#1", "a#2"], kind=["property", "property"], file="a"
    )
    before = features.copy()
    joined, _ = join_outlines(features)
    place_features(joined)
    pd.testing.assert_frame_equal(pd.DataFrame(features), pd.DataFrame(before))


KML = """<?xml version="1.0" encoding="UTF-8"?>
<kml xmlns="http://www.opengis.net/kml/2.2"><Document>
<Folder><name>lots</name><Placemark><ExtendedData><Data name="kind"><value>property</value></Data>
<Data name="client_id"><value>007</value></Data></ExtendedData><Polygon><outerBoundaryIs><LinearRing><coordinates>
-97.8,40.8,0 -97.7997,40.8,0 -97.7997,40.8003,0 -97.8,40.8003,0 -97.8,40.8,0
</coordinates></LinearRing></outerBoundaryIs></Polygon></Placemark></Folder>
<Folder><name>trees</name><Placemark><ExtendedData><Data name="kind"><value>tree</value></Data>
<Data name="dbh_in"><value>10</value></Data></ExtendedData>
<Point><coordinates>-97.7999,40.8001,0</coordinates></Point></Placemark></Folder>
</Document></kml>"""


def test_kml_as_drawn_by_hand_all_folders(sites):
    (sites / "a.kml").write_text(KML)
    features, problems = read_sites(sites, CLIENTS)
    assert problems.empty
    assert features["kind"].tolist() == ["property", "tree"]
    assert features["client_id"].tolist() == ["007", ""]
    assert features["dbh_in"].tolist()[1] == 10
