"""Layers in any format and any state: what is read, what is left out, what is refused."""

from __future__ import annotations

import zipfile

import geopandas as gpd
import numpy as np
import pytest
import shapely

from scanner.book.assemble import assemble_sites
from scanner.book.county.layer_kinds import County, Pick
from scanner.book.county.sources import Source
from scanner.errors import BookError, SiteError
from tests.county_town import (
    CRS,
    EAST,
    NORTH,
    assemble,
    box,
    features_of,
    house,
    lot,
    parcels,
    row_of_lots,
    shapes,
    write_book,
    write_layers,
)

LINE = shapely.LineString([(EAST, NORTH - 10), (EAST + 320, NORTH - 10)])


@pytest.fixture
def book(tmp_path):
    return write_book(tmp_path / "book", {"client_id": "A", "parcel_id": "10-002"})


def written(book):
    return [path for path in (book / "sites", book / "unmatched.csv") if path.exists()]


def refused(book, layers, words, **options):
    with pytest.raises((SiteError, BookError), match=words):
        assemble(book, layers, **options)
    assert not written(book)


def assemble_from(book, path, *, layer="", **kinds):
    sources = {"property": (Source(path, layer),), **kinds}
    return assemble_sites(book, County(sources, parcel_id="PIN", parcel_address="SITUS"))


def zip_files(target, folder):
    with zipfile.ZipFile(target, "w") as archive:
        for path in sorted(folder.rglob("*")):
            archive.write(path, path.relative_to(folder))


@pytest.mark.parametrize(
    "name",
    [
        "a.gpkg",
        "a.fgb",
        "a.geojson",
        "a.shp",
        "a.zip",
        "a.gml",
        "a.tab",
        "a.sqlite",
        "a.gdb",
        "gdb.zip",
        "a.kml",
        "a.parquet",
    ],
)
def test_each_format_reads_alike(book, tmp_path, name):
    drivers = {
        ".fgb": "FlatGeobuf", ".shp": "ESRI Shapefile", ".gml": "GML", ".tab": "MapInfo File", ".sqlite": "SQLite",
        ".gdb": "OpenFileGDB", ".kml": "LIBKML", ".gpkg": "GPKG",
    }  # fmt: skip
    path, suffix = tmp_path / name, name[name.rindex(".") :]
    inside = tmp_path / "inside"
    inside.mkdir()
    if suffix == ".zip":
        kind, driver = (".gdb", "OpenFileGDB") if name == "gdb.zip" else (".shp", "ESRI Shapefile")
        row_of_lots().to_file(inside / f"lots{kind}", driver=driver)
        zip_files(path, inside)
    elif suffix == ".geojson":
        row_of_lots().to_crs("EPSG:4326").to_file(path, driver="GeoJSON")
    elif suffix == ".parquet":
        row_of_lots().to_parquet(path)
    else:
        row_of_lots().to_file(path, driver=drivers[suffix])
    made = assemble_from(book, path)
    assert made.counts["by_parcel_id"] == 1
    outline = features_of(made).query("client_id == 'A'").geometry.iloc[0]
    # MapInfo files hold whole numbers of their own grid: hundredths of a foot here
    assert outline.symmetric_difference(lot(1)).area < 3


def test_each_layer_in_its_own_coordinates(book):
    layers = {
        "property": row_of_lots(),
        "house": shapes(house(1)).to_crs("EPSG:4326"),
        "drive": shapes(box(90, -10, 100, 40)).to_crs("EPSG:32614"),  # meters
        "patio": shapes(box(120, 65, 140, 80)).to_crs("EPSG:3857"),
    }
    features = features_of(assemble(book, layers)).set_index("kind")
    for kind, shape in (
        ("house", house(1)),
        ("drive", box(90, -10, 100, 40)),
        ("patio", box(120, 65, 140, 80)),
    ):
        assert features.geometry[kind].symmetric_difference(shape).area < 0.5


def test_a_file_with_several_layers_needs_a_name(book, tmp_path):
    path = tmp_path / "county.gpkg"
    row_of_lots().to_file(path, layer="lots")
    shapes(house(1)).to_file(path, layer="roofs")
    with pytest.raises(
        SiteError, match=r"several layers; name one, as county.gpkg#lots: lots, roofs"
    ):
        assemble_from(book, path)
    with pytest.raises(
        SiteError, match="no layer 'parcels'; the layers that are there: lots, roofs"
    ):
        assemble_from(book, path, layer="parcels")
    made = assemble_from(book, path, layer="lots", house=(Source(path, "roofs"),))
    assert (made.counts["by_parcel_id"], made.counts["with_house"]) == (1, 1)


def test_several_files_of_one_kind(book):
    first, second = row_of_lots().iloc[:1], row_of_lots().iloc[1:]
    one = write_layers(book, property=first)["property"]
    second.to_file(book / "more.gpkg")
    made = assemble_sites(
        book, County({"property": (*one, Source(book / "more.gpkg"))}, parcel_id="PIN")
    )
    assert made.counts["by_parcel_id"] == 1


def test_a_layer_without_coordinate_system_is_refused(book, tmp_path):
    row_of_lots().to_file(tmp_path / "a.shp")
    (tmp_path / "a.prj").unlink()
    with pytest.raises(SiteError, match=r"a.shp declares no coordinate system.*\.prj"):
        assemble_from(book, tmp_path / "a.shp")
    assert not written(book)


@pytest.mark.parametrize("degrees", ["EPSG:4326", "EPSG:4269"])
def test_degrees_that_are_none_are_refused(book, degrees):
    false = row_of_lots().set_crs(degrees, allow_override=True)
    refused(book, {"property": false}, "says that its coordinates are degrees, and they can't be")


def test_a_layer_of_another_place_is_refused(book):
    # feet declared as meters lie a thousand miles off
    wrong = shapes(house(1)).set_crs("EPSG:32104", allow_override=True)
    refused(
        book,
        {"property": row_of_lots(), "house": wrong},
        "house.fgb lies nowhere near the parcels",
    )


def test_easements_as_lines_are_refused(book):
    layers = {"property": row_of_lots(), "easement": shapes(LINE, LINE)}
    refused(book, layers, "easement.fgb holds lines, and easements are drawn as areas")


def test_parcels_as_points_and_no_shapes_are_refused(book):
    spots = shapes(shapely.Point(EAST, NORTH), PIN=["1"], SITUS=[""])
    refused(book, {"property": spots}, "holds points, and parcels are drawn as areas")
    refused(
        book,
        {"property": row_of_lots(), "walk": shapes(None, None)},
        "holds no shapes, and walks are drawn as areas",
    )


def test_a_missing_column_is_refused_with_those_that_are_there(book):
    refused(
        book, {"property": row_of_lots()}, "property.fgb has no column 'APN'; the columns that are there: PIN, SITUS",
        parcel_id="APN",
    )  # fmt: skip
    refused(book, {"property": row_of_lots()}, "no column 'STREET'", parcel_address="STREET")


def test_years_of_building_come_from_the_parcels(book):
    lots = row_of_lots().assign(YR=["1998", "2019", "0", "soon"][: len(row_of_lots())])
    found = assemble(book, {"property": lots}, year_built="yr")
    outlines = features_of(found).query("kind == 'property'").set_index("client_id")
    assert outlines.loc["A", "year_built"] == 2019  # lot 10-002, the second
    # zero is how counties write a lot without a house; what is no year is told of
    (told,) = (text for text in found.problems["problem"] if "year" in text)
    assert "1 cell holds no year from 1600 to 2200 (the first 'soon')" in told
    with pytest.raises(SiteError, match="no column 'BUILT'"):
        assemble(book, {"property": lots}, year_built="BUILT")


def test_capitals_of_a_column_do_not_matter(book):
    assert assemble(book, {"property": row_of_lots()}, parcel_id="pin").counts["by_parcel_id"] == 1


def test_empty_and_torn_files_are_refused(book, tmp_path):
    for name, content, words in (
        ("a.gpkg", b"", "a.gpkg is empty"),
        ("a.gpkg", b"SQLite format 3\0 torn off", "a.gpkg cannot be read as a layer"),
        (
            "a.geojson",
            b'{"type": "FeatureCollection", "features": []}',
            "a.geojson holds no feature",
        ),
        (
            "a.shp",
            b"<OGRVRTDataSource><OGRVRTLayer name='x'/></OGRVRTDataSource>",
            "leads to other files or servers",
        ),
        ("a.vrt", b"<OGRVRTDataSource/>", "leads to other files or servers"),
        ("a.csv", b"PIN,SITUS\n1,2\n", "is of the kind CSV"),
        ("a.zip", b"PK nothing", "a.zip is no zip that can be unpacked"),
    ):
        path = tmp_path / name
        path.write_bytes(content)
        with pytest.raises(SiteError, match=words):
            assemble_from(book, path)
    assert not written(book)


def test_stray_points_and_lines_are_listed_and_the_rest_is_used(book):
    layers = {
        "property": row_of_lots(),
        "patio": shapes(
            box(100, 70, 110, 80), shapely.Point(EAST, NORTH), LINE, box(120, 70, 130, 80)
        ),
        "drive": shapes(box(90, -10, 100, 40), None, None),
    }
    made = assemble(book, layers)
    told = made.problems[["file", "feature", "severity"]].to_numpy().tolist()
    assert told == [
        ["drive.fgb", "feature 2", "fault"], ["drive.fgb", "feature 3", "fault"],
        ["patio.fgb", "feature 2", "fault"], ["patio.fgb", "feature 3", "fault"],
    ]  # fmt: skip
    assert (made.problems["remedy"] != "").all()
    kinds = features_of(made)["kind"].value_counts()
    assert (kinds["patio"], kinds["drive"]) == (2, 1)


def test_what_a_layer_says_and_cannot_be_read_is_noted_once_a_column(book):
    streets = [shapely.LineString([(EAST, NORTH + y), (EAST + 320, NORTH + y)]) for y in (-25, -95)]
    layers = {
        "property": row_of_lots(),
        "street": shapes(box(0, -40, 320, -10), box(320, -40, 400, -10), CURBED=["rolled", "Y"]),
        "street_centerline": shapes(*streets, PAVEMENT_FT=["24", "two lanes"]),
        "tree": shapes(
            shapely.Point(EAST, NORTH), shapely.Point(EAST + 9, NORTH), LINE.centroid,
            DBH_IN=["12", "900", "big"], PARKING=["", "x", ""],
        ),
    }  # fmt: skip
    made = assemble(book, layers, street_width_ft=30.0)
    assert set(made.problems["severity"]) == {"note"}
    told = made.problems[["file", "feature", "problem"]].to_numpy().tolist()
    assert [row[:2] for row in told] == [
        ["street.fgb", "feature 1"], ["street_centerline.fgb", "feature 2"], ["tree.fgb", "feature 2"],
    ]  # fmt: skip
    assert told[0][2] == (
        "CURBED: 1 cell holds no yes or no (the first 'rolled'); that counts as not known"
    )
    assert (
        "PAVEMENT_FT: 1 cell holds no width from 0 to 200 ft (the first 'two lanes')" in told[1][2]
    )
    assert "DBH_IN: 2 cells hold no trunk from 0 to 240 in (the first '900')" in told[2][2]
    # what is not known is filled in from the option, or left open
    found = features_of(made)
    assert sorted(found.query("kind == 'street_centerline'")["pavement_ft"]) == [24, 30]
    assert sorted(found.query("kind == 'tree'")["dbh_in"].dropna()) == [12]


def test_columns_that_tell_canopies_and_porches_are_pointed_to(book):
    houses = shapes(
        house(0), house(1), box(20, 60, 30, 70), box(100, 60, 110, 70),
        BLDG_TYPE=["Residence", None, "OPEN_PORCH", "Canopy"], NAME=["A. Decker", "", "", "B. Porchetta"],
        HEIGHT=[12.0, 8.0, 3.0, 3.0],
    )  # fmt: skip
    layers = {"property": row_of_lots(), "house": houses}
    [told] = assemble(book, layers).problems.to_dict("records")
    assert (told["file"], told["severity"]) == ("house.fgb", "note")
    assert told["problem"].startswith(
        "BLDG_TYPE: 2 of 4 are no houses by their own words (Canopy, OPEN_PORCH)"
    )
    assert told["remedy"] == 'leave them out with --only "house=BLDG_TYPE:Residence"'
    picks = (Pick("house", "BLDG_TYPE", "Residence"),)
    assert assemble(book, layers, picks=picks).problems.empty


def test_invalid_rings_by_the_hundred_are_mended_and_told_once(book):
    def nicked(at):
        west, north = at * 80, 300
        points = [(0, 0), (40, 0), (40.3, 0.2), (40.3, -0.2), (40, 0), (80, 0), (80, 120), (0, 120)]
        return shapely.Polygon([(EAST + west + x, NORTH + north + y) for x, y in points])

    rows = [(f"20-{at:03d}", None, nicked(at)) for at in range(200)]
    bow = shapely.Polygon(
        [
            (EAST, NORTH + 600),
            (EAST + 80, NORTH + 720),
            (EAST + 80, NORTH + 600),
            (EAST, NORTH + 720),
        ]
    )
    layer = parcels(
        *row_of_lots().itertuples(index=False, name=None),
        *rows,
        ("30-001", None, bow),
        ("30-002", None, None),
    )
    made = assemble(book, {"property": layer})
    notes = made.problems.query("severity == 'note'")
    faults = made.problems.query("severity == 'fault'")
    assert len(notes) == 1
    assert notes["problem"].iloc[0].startswith("200 outlines crossed themselves and were mended")
    assert faults["feature"].tolist() == ["feature 205", "feature 206"]
    assert "crosses itself" in faults["problem"].iloc[0]
    assert made.counts["matched"] == 1


def test_only_picks_features_of_a_layer(book):
    pavement, island = box(-50, -40, 400, -10), box(100, -30, 120, -20)
    streets = shapes(pavement, island, TYPE=["Pavement", "island"], YEAR=[2019, 2019])
    layers = {"property": row_of_lots(), "street": streets}
    picked = features_of(
        assemble(book, layers, Pick("street", "type", "PAVEMENT"), Pick("street", "YEAR", "2019"))
    )
    assert (picked["kind"] == "street").sum() == 1
    several = [Pick("street", "TYPE", "island"), Pick("street", "TYPE", "pavement")]
    assert (features_of(assemble(book, layers, *several))["kind"] == "street").sum() == 2


def test_only_with_a_column_or_value_that_is_not_there_is_refused(book):
    layers = {
        "property": row_of_lots(),
        "street": shapes(box(-50, -40, 400, -10), TYPE=["pavement"]),
    }
    with pytest.raises(
        SiteError, match=r"street.fgb has no column 'KIND'; the columns that are there: TYPE"
    ):
        assemble(book, layers, Pick("street", "KIND", "x"))
    with pytest.raises(
        SiteError,
        match=r"no feature with road in its column 'TYPE'; the values that are there: pavement",
    ):
        assemble(book, layers, Pick("street", "TYPE", "road"))
    assert not written(book)


def test_a_book_without_a_usable_list_is_refused(tmp_path):
    (tmp_path / "clients.csv").write_text("name\nAnn\n", encoding="utf-8")
    refused(tmp_path, {"property": row_of_lots()}, "no client_id in it")


def test_what_was_there_stays_when_a_layer_is_refused(book):
    made = assemble(book, {"property": row_of_lots()})
    before = made.sites_file.read_bytes()
    with pytest.raises(SiteError):
        assemble(book, {"property": row_of_lots(), "easement": shapes(LINE)})
    assert made.sites_file.read_bytes() == before
    assert sorted(path.name for path in made.sites_file.parent.iterdir()) == ["assembled.geojson"]


def test_the_same_layers_give_the_same_bytes(book):
    layers = {"property": row_of_lots(), "house": shapes(*(house(at) for at in range(4)))}
    first = assemble(book, layers).sites_file.read_bytes()
    assert assemble(book, layers).sites_file.read_bytes() == first
    assert np.all([ord(letter) < 128 for letter in first.decode()[:40]])


def test_geojson_of_before_rfc_7946_in_feet(book, tmp_path):
    path = tmp_path / "a.geojson"
    features = gpd.GeoDataFrame(row_of_lots()).to_json(drop_id=True)
    crs = (
        '"crs": {"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::26852"}}, "features"'
    )
    path.write_text(features.replace('"features"', crs, 1), encoding="utf-8")
    assert CRS == "EPSG:26852"
    assert assemble_from(book, path).counts["by_parcel_id"] == 1
