"""What is written for the clients' sites: buildings by lot, streets in every form, nothing else."""

from __future__ import annotations

import json

import numpy as np
import pytest
import shapely
from geographiclib.geodesic import Geodesic
from hypothesis import given
from hypothesis import strategies as st

from scanner.book.clients import read_clients
from scanner.book.county.pieces import (
    LARGE_FT,
    LARGE_VERTICES,
    SEAM_FT,
    boxes_round,
    cut_large,
)
from scanner.book.sites import read_sites
from scanner.errors import SiteError
from scanner.plane.frame import name_frames, round_degrees, to_degrees, to_feet
from scanner.plane.grid import only_ground
from scanner.units import M_PER_FT
from tests.county_town import (
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
    unmatched_rows,
    write_book,
)
from tests.each import examples


def line(*points):
    return shapely.LineString([(EAST + x, NORTH + y) for x, y in points])


@pytest.fixture
def book(tmp_path):
    """A book whose one client has the second lot of the row."""
    return write_book(tmp_path / "book", {"client_id": "A", "parcel_id": "10-002"})


def buildings(book, *geometry, lots=None):
    made = assemble(
        book, {"property": row_of_lots() if lots is None else lots, "house": shapes(*geometry)}
    )
    features = features_of(made)
    return made, features[features["kind"].isin(["house", "outbuilding"])]


def own(table):
    return table[table["client_id"] == "A"]


def test_a_building_belongs_whole_to_the_lot_with_most_of_it(book):
    # five feet over the line, as surveyed layers are
    made, found = buildings(book, box(75, 35, 115, 65))
    assert own(found).geometry.iloc[0].area == pytest.approx(40 * 30, rel=1e-3)
    assert made.counts["without_house"] == 0


def test_a_neighbors_building_over_the_line_is_the_neighbors(book):
    made, found = buildings(book, box(45, 35, 85, 65))
    assert own(found).empty
    assert len(found) == 1
    assert made.counts["without_house"] == 1


def test_a_row_house_is_cut_at_the_line(book):
    _, found = buildings(book, box(40, 35, 120, 65))
    assert own(found).geometry.area.tolist() == pytest.approx([40 * 30], rel=1e-3)
    assert found.geometry.area.sum() == pytest.approx(80 * 30, rel=1e-3)


@pytest.mark.parametrize(
    ("west", "south", "parts"),
    [
        (62, 35, 2),  # 22.5 % and 540 ft² lie on the first lot
        (65, 35, 1),  # 18.75 % do
        (60, 58, 1),  # a quarter does, but only 140 ft² of it
    ],
)
def test_a_fifth_and_250_ft2_make_a_part(book, west, south, parts):
    _, found = buildings(book, box(west, south, west + 80, 65))
    assert len(found) == parts
    assert len(own(found)) == 1


def test_the_largest_is_the_house_and_others_are_outbuildings_unless_near_its_size(book):
    _, found = buildings(
        book,
        box(90, 30, 130, 60),
        box(90, 70, 120, 94),
        box(90, 100, 119, 118),
        box(135, 100, 150, 115),
    )
    kinds = dict(zip(own(found).geometry.area.round(), own(found)["kind"], strict=True))
    assert kinds == {1200: "house", 720: "house", 522: "outbuilding", 225: "outbuilding"}


def test_a_building_that_hardly_touches_a_lot_is_nobodys(book):
    made, found = buildings(book, box(90, -30, 130, 4))
    assert own(found).empty
    assert made.counts["without_house"] == 1


def test_stacked_lots_share_their_building_without_doubling_it(book):
    lots = parcels(("2-1", "", lot(1)), ("10-002", "", lot(1)), ("2-3", "", lot(1)))
    _, found = buildings(book, house(1), lots=lots)
    assert own(found).geometry.area.tolist() == pytest.approx([1200], rel=1e-3)
    assert len(found) == 1


def test_only_what_the_sites_need_is_written(book):
    layers = {
        "property": parcels(*((f"10-{at + 1:03d}", None, lot(at)) for at in range(40))),
        "house": shapes(*(house(at) for at in range(40))),
        "drive": shapes(*(box(at * 80 + 64, -10, at * 80 + 76, 40) for at in range(40))),
        "tree": shapes(
            *(shapely.Point(EAST + at * 80 + 10, NORTH + 10) for at in range(40)),
            dbh_in=[12.0] * 40,
        ),
        "hydrant": shapes(shapely.Point(EAST + 100, NORTH - 5), shapely.Point(EAST + 3000, NORTH)),
        "street": shapes(box(-100, -40, 4000, -10)),
    }
    features = features_of(assemble(book, layers))
    counts = features["kind"].value_counts()
    assert counts["property"] == 3  # the client's and its two neighbors'
    assert set(features.loc[features["kind"] == "property", "client_id"]) == {"A", ""}
    assert counts["house"] <= 5
    assert counts["hydrant"] == 1
    assert features.loc[features["kind"] == "tree", "dbh_in"].eq(12).all()
    assert features.geometry.bounds["maxx"].max() - EAST < 160 + LARGE_FT


@pytest.mark.parametrize("has_drives", [True, False])
def test_lots_know_their_drives_where_a_layer_of_drives_was_given(book, has_drives):
    layers = {"property": row_of_lots()}
    if has_drives:
        # the drive of another lot: the layer is complete, this lot has none
        layers["drive"] = shapes(box(10, -10, 20, 30))
    made = assemble(book, layers)
    clients, _ = read_clients(book / "clients.csv")
    read, problems = read_sites(made.sites_file.parent, clients)
    lots = read[read["kind"] == "property"].set_index("client_id")["drives_known"]
    assert problems.empty
    assert lots["A"] == ("yes" if has_drives else "")
    assert set(read.loc[read["kind"] != "property", "drives_known"]) <= {""}
    # drawn anew by hand, the lot still has the drives of the layer
    drawn = {
        "type": "FeatureCollection",
        "features": [
            feature
            for feature in json.loads(made.sites_file.read_text())["features"]
            if feature["properties"].get("client_id") == "A"
            and feature["properties"].pop("drives_known", "") in ("yes", "")
        ],
    }
    (made.sites_file.parent / "drawn.geojson").write_text(json.dumps(drawn))
    again, _ = read_sites(made.sites_file.parent, clients)
    lot_again = again[(again["kind"] == "property") & (again["client_id"] == "A")]
    assert lot_again["file"].tolist() == ["sites/drawn.geojson"]
    assert lot_again["drives_known"].tolist() == ["yes" if has_drives else ""]


def test_a_far_building_is_not_a_neighbors(book):
    _, found = buildings(book, house(1), box(20, 400, 60, 430))
    assert len(found) == 1


def test_streets_as_areas_curb_lines_and_centerlines(book):
    layers = {
        "property": row_of_lots(),
        "street": shapes(box(-50, -40, 400, -10), CURBED=["no"], PARKING=["2 HR"]),
        "street_centerline": shapes(line((200, 150), (200, 400)), pavement_ft=[24.0]),
    }
    features = features_of(assemble(book, layers))
    street = features.query("kind == 'street'").iloc[0]
    center = features.query("kind == 'street_centerline'").iloc[0]
    # what a county writes in a column of that name is no yes or no
    assert (street["curbed"], street["parking"]) == ("no", None) or str(street["parking"]) == "nan"
    assert center["pavement_ft"] == 24
    layers["street"] = shapes(line((-50, -10), (400, -10)), line((-50, -40), (400, -40)))
    curb = features_of(assemble(book, layers)).query("kind == 'edge'")
    assert len(curb) == 2
    assert set(curb["along"]) == {"curb"}


def test_centerlines_need_a_width(book):
    layers = {"property": row_of_lots(), "street_centerline": shapes(line((-50, -25), (400, -25)))}
    with pytest.raises(
        SiteError, match=r"does not say how wide its streets are: add --street-width"
    ):
        assemble(book, layers)
    made = assemble(book, layers, street_width_ft=30.0)
    assert features_of(made).query("kind == 'street_centerline'")["pavement_ft"].tolist() == [30]
    assert made.counts["with_curb"] == 1


def test_a_centerline_without_its_width_is_left_out(book):
    streets = shapes(
        line((-50, -25), (400, -25)), line((-50, -95), (400, -95)), pavement_ft=[30.0, None]
    )
    made = assemble(book, {"property": row_of_lots(), "street_centerline": streets})
    assert made.problems["feature"].tolist() == ["feature 2"]
    assert "needs its paved width" in made.problems["problem"].iloc[0]
    assert len(features_of(made).query("kind == 'street_centerline'")) == 1


def test_centerlines_that_meet_are_one_street(book):
    streets = shapes(line((-50, -25), (100, -25)), line((100, -25), (300, -60)))
    made = assemble(
        book, {"property": row_of_lots(), "street_centerline": streets}, street_width_ft=30.0
    )
    assert len(features_of(made).query("kind == 'street_centerline'")) == 1


def test_sidewalks_as_lines_need_a_width(book):
    layers = {"property": row_of_lots(), "sidewalk": shapes(line((-50, -4), (400, -4)))}
    with pytest.raises(SiteError, match=r"sidewalks as lines.*--sidewalk-width"):
        assemble(book, layers)
    features = features_of(assemble(book, layers, sidewalk_width_ft=5.0)).query(
        "kind == 'sidewalk'"
    )
    assert features.geometry.area.sum() == pytest.approx(450 * 5, rel=1e-3)


def test_lots_without_a_curb_are_counted(book):
    far = {"property": row_of_lots(), "street": shapes(box(-50, -60, 400, -30))}
    assert assemble(book, far).counts["without_curb"] == 1
    uncurbed = {"property": row_of_lots(), "street": shapes(box(-50, -40, 400, -10), curbed=["no"])}
    assert assemble(book, uncurbed).counts["without_curb"] == 1


def test_a_reader_of_the_book_finds_no_fault_with_it(book):
    layers = {
        "property": row_of_lots(),
        "house": shapes(*(house(at) for at in range(4))),
        "street": shapes(box(-3000, -40, 3000, -10)),
    }
    made = assemble(book, layers)
    clients, _ = read_clients(book / "clients.csv")
    features, problems = read_sites(made.sites_file.parent, clients)
    assert problems.empty
    assert features.set_index("kind").loc["house", "client_id"].tolist().count("A") == 1
    document = json.loads(made.sites_file.read_text(encoding="utf-8"))
    rings = [
        f["geometry"]["coordinates"][0]
        for f in document["features"]
        if f["geometry"]["type"] == "Polygon"
    ]
    assert all(shapely.is_ccw(shapely.linearrings(ring)) for ring in rings)


def test_a_large_area_is_cut_without_losing_ground():
    wavy = shapely.Polygon([(x, 40 * np.sin(x / 9)) for x in range(6000)] + [(6000, 900), (0, 900)])
    pieces, rows = cut_large(np.array([shapely.box(0, 0, 5, 5), wavy], object))
    assert rows.tolist() == sorted(rows.tolist())
    large = pieces[rows == 1]
    assert shapely.get_num_coordinates(large).max() <= LARGE_VERTICES
    widths = shapely.bounds(large)
    assert (widths[:, 2:] - widths[:, :2]).max() <= LARGE_FT
    assert shapely.union_all(large).symmetric_difference(wavy).area < 1
    assert shapely.area(large).sum() - wavy.area < SEAM_FT * 2 * len(large) * LARGE_FT


def test_pieces_that_no_site_needs_are_dropped_on_the_way():
    street = np.array([shapely.box(0, 0, 100_000, 30)], object)
    near = shapely.STRtree(boxes_round(np.array([shapely.box(500, 40, 580, 160)], object), 60))
    pieces, _ = cut_large(street, near)
    assert len(pieces) <= 2
    assert shapely.union_all(pieces).contains(shapely.box(440, 1, 640, 29))


def test_a_long_line_is_split_and_meets_end_to_end():
    points = [(x, (x * 7) % 5) for x in range(2000)]
    pieces, _ = cut_large(np.array([shapely.LineString(points)], object))
    assert len(pieces) > 5
    merged = shapely.line_merge(shapely.multilinestrings(list(pieces)))
    assert merged.geom_type == "LineString"
    assert merged.length == pytest.approx(shapely.LineString(points).length)


def test_areas_are_kept_of_what_an_overlay_leaves():
    mixed = shapely.from_wkt(
        "GEOMETRYCOLLECTION (POLYGON ((0 0, 1 0, 0 1, 0 0)), LINESTRING (0 0, 5 5))"
    )
    kept = only_ground(np.array([mixed, shapely.Point(1, 1), shapely.box(0, 0, 1, 1)], object))
    assert shapely.area(kept).tolist() == [0.5, 0, 1]


@examples(10)
@given(st.floats(-160, 160), st.floats(-60, 70), st.floats(50, 5_000))
def test_the_plane_keeps_areas_and_comes_back(lon, lat, size_ft):
    frame = str(name_frames(shapely.points([[lon, lat]]))[0])
    square = np.array([shapely.box(20_000, 0, 20_000 + size_ft, size_ft)], object)
    degrees = to_degrees(square, frame)
    assert shapely.hausdorff_distance(to_feet(degrees, frame), square)[0] < 1e-6
    # the area on the ellipsoid, by a library of its own
    ring = Geodesic.WGS84.Polygon()
    for x, y in shapely.get_coordinates(shapely.segmentize(square, size_ft / 8))[:-1]:
        corner = shapely.get_coordinates(to_degrees(shapely.points([[x, y]]), frame))[0]
        ring.AddPoint(corner[1], corner[0])
    assert abs(ring.Compute()[2]) / M_PER_FT**2 == pytest.approx(size_ft**2, rel=1e-4)


def test_rounding_leaves_rings_valid():
    spiky = shapely.Polygon([(0, 0), (1e-3, 0), (1e-3, 1e-3), (5e-4 + 3e-10, 2e-10), (0, 1e-3)])
    rounded = round_degrees(np.array([spiky, shapely.Point(1.00000000049, 2)], object))
    assert shapely.is_valid(rounded).all()
    assert shapely.get_x(rounded[1]) == 1.0


def test_what_a_person_drew_goes_before_what_was_assembled(book):
    layers = {
        "property": row_of_lots(),
        "house": shapes(house(1), box(140, 90, 155, 110)),
        "drive": shapes(box(84, -10, 96, 40), box(4, -10, 16, 40)),
    }
    made = assemble(book, layers)
    drawn = shapes(
        box(80, 0, 158, 118), box(101, 36, 139, 64), box(85, -10, 95, 38),
        kind=["property", "house", "drive"], client_id=["A", "", "A"],
    )  # fmt: skip
    drawn.to_crs("EPSG:4326").to_file(made.sites_file.parent / "mine.geojson", driver="GeoJSON")
    clients, _ = read_clients(book / "clients.csv")
    features, problems = read_sites(made.sites_file.parent, clients)
    own = features[features["client_id"] == "A"].set_index("kind")["file"]
    assert own["property"] == own["house"] == own["drive"] == "sites/mine.geojson"
    assert own["outbuilding"] == "sites/assembled.geojson"  # nobody drew one
    assert (features["kind"] == "drive").sum() == 2  # the neighbor's stays
    told = "drawn in another file too: 1 lot, 1 building, 1 drive; the drawn ones are used"
    assert problems["problem"].tolist().count(told) == 1
    assert (problems["severity"] == "note").all()


@pytest.mark.parametrize(
    ("assembled", "drawn", "left"),
    [
        # drawn two feet off; a garage of the layer drawn as a house, and the other way round
        ([("house", "A", (100, 35, 140, 65))], [("house", "A", (102, 36, 142, 66))], []),
        ([("outbuilding", "A", (100, 35, 140, 65))], [("house", "", (100, 35, 140, 65))], []),
        ([("house", "A", (100, 35, 140, 65))], [("outbuilding", "", (100, 35, 140, 65))], []),
        # over the lot line, cut or the neighbor's in the layer
        ([("house", "", (60, 35, 100, 65))], [("house", "A", (62, 35, 102, 65))], []),
        ([("house", "A", (80, 35, 100, 65)), ("house", "", (60, 35, 80, 65))],
         [("house", "", (60, 35, 100, 65))], []),
        # one building of the layer drawn as two
        ([("house", "A", (100, 35, 140, 65))],
         [("house", "", (100, 35, 119, 65)), ("house", "", (121, 35, 140, 65))], []),
        # the house alone where the layer has house and porch in one
        ([("house", "A", (100, 20, 140, 80))], [("house", "", (100, 35, 120, 65))], []),
        # a second house, and a shed drawn against the house of the layer
        ([("house", "A", (100, 35, 140, 65))], [("house", "", (100, 75, 140, 100))], [0]),
        ([("house", "A", (100, 35, 140, 65))], [("outbuilding", "", (130, 35, 150, 65))], [0]),
    ],
)  # fmt: skip
def test_a_drawn_building_replaces_what_it_covers_by_half(tmp_path, assembled, drawn, left):
    for name, rows in (("assembled", assembled), ("mine", drawn)):
        kinds, ids, corners = zip(*rows, strict=True)
        table = shapes(*(box(*corner) for corner in corners), kind=list(kinds), client_id=list(ids))
        table.to_crs("EPSG:4326").to_file(tmp_path / f"{name}.geojson", driver="GeoJSON")
    clients = read_clients(write_book(tmp_path / "book", {"client_id": "A"}) / "clients.csv")[0]
    features, problems = read_sites(tmp_path, clients)
    kept = features.loc[features["file"].str.endswith("assembled.geojson"), "feature_id"]
    assert [int(name.rpartition("#")[2]) - 1 for name in kept] == left
    assert (features["file"].str.endswith("mine.geojson")).sum() == len(drawn)
    count = len(assembled) - len(left)
    told = problems["problem"].str.contains("drawn in another file too").sum()
    assert told == (1 if count else 0)
    if count:
        words = f"drawn in another file too: {count} building{'s' if count > 1 else ''};"
        assert problems["problem"].str.startswith(words).any()


def test_a_client_measured_on_foot_is_told_apart(book):
    write_book(
        book, {"client_id": "A", "parcel_id": "10-002"}, {"client_id": "B"}, {"client_id": "C"}
    )
    (book / "measured.csv").write_text("client_id,along,length_ft\nB,curb,60\n", encoding="utf-8")
    assemble(book, {"property": row_of_lots()})
    rows = unmatched_rows(book)
    assert rows["B"]["why"].endswith("measured on foot, so it is scanned all the same")
    assert "foot" not in rows["C"]["why"]
