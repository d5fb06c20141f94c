"""The tracing page in a real browser with the network cut."""

from __future__ import annotations

import json
import shutil
from datetime import date
from functools import partial
from pathlib import Path

import pytest
from geographiclib.geodesic import Geodesic
from shapely.geometry import shape

from scanner.book.book import read_book
from scanner.pipeline import scan
from scanner.schema.tables import FEATURE_KINDS
from scanner.units import M_PER_FT
from tests.cli.desk import leaving_map_out, type_in
from tests.pages.tabs import TOUCH, runs_alien_scripts, serve_dots
from tests.pages.trace_desk import (
    HOME,
    SCRIPT_NAME,
    SERVER,
    collection,
    feature,
    plane,
    put_book,
    square,
    write_page,
)

pytestmark = pytest.mark.browser

TODAY = date(2026, 3, 2)
LOT = ((-30, -40), (30, -40), (30, 60), (-30, 60))
STREET = ((-70, -70), (70, -70), (70, -40), (-70, -40))
WALK = ((-2, -40), (2, -40), (2, 20), (-2, 20))


@pytest.fixture(scope="module")
def plain(tmp_path_factory):
    """The book of two clients with its page, and the page of Ada's lot alone, which opens there."""
    folder = tmp_path_factory.mktemp("plain")
    book = put_book(folder / "book")
    write_page(book, folder / "trace.html")
    write_page(book, folder / "lot.html", client_ids=["A"])
    return folder


@pytest.fixture
def at_desk(tabs, plain, tmp_path):
    """Open the plain page, or make a book and open its page."""

    def _open(*, clients="", sites=None, client_ids=(), **device):
        if not (clients or sites or client_ids):
            shutil.copytree(plain, tmp_path, dirs_exist_ok=True)
            return tabs.open(tmp_path / "trace.html", **device)
        book = put_book(tmp_path / "book", clients=clients, sites=sites)
        return tabs.open(write_page(book, tmp_path / "own.html", client_ids=client_ids), **device)

    return _open


@pytest.fixture
def at_lot(tabs, plain, tmp_path):
    """Open a page of Ada's lot that nobody has drawn on."""
    return partial(tabs.open, Path(shutil.copy(plain / "lot.html", tmp_path)))


def features_in(file):
    return json.loads(file.read_text(encoding="utf-8"))["features"]


def faults_of(book):
    return book.problems[book.problems["severity"] == "fault"]["problem"].tolist()


def test_case_5_drawn_by_clicks_gives_its_answer(at_desk, tmp_path):
    """Worked case 5: a 60 ft curb, a 4 ft walk in the middle, two beds of 28 × 4 = 112."""
    one = at_desk()
    one.pick("Ada Quill")
    one.draw("o", *LOT)
    one.draw("s", *STREET)
    one.draw("k", *WALK)
    assert one.sizes() == [
        "Lot outline 6,000 ft², 320.0 ft around",
        "Street 4,200 ft², 340.0 ft around",
        "Walk 240 ft², 128.0 ft around",
    ]
    file = one.save(tmp_path / "book" / "sites")
    assert file.name == "drawn.geojson"
    assert "Put it into the folder sites" in one.said()
    book = read_book(tmp_path / "book")
    assert faults_of(book) == []
    one.quiet()
    # Scanned as a person would type it: the book is a client list and the page's file
    out = tmp_path / "out"
    with leaving_map_out():
        typed = type_in("scan", str(tmp_path / "book"), "--out", str(out), "--today", "2026-03-02")
    assert typed.exit_code == 0, typed.stderr
    kept = [
        bed["properties"]
        for bed in json.loads((out / "candidates.geojson").read_text(encoding="utf-8"))["features"]
        if not bed["properties"]["skip_reason"]
    ]
    assert [bed["along"] for bed in kept] == ["curb", "curb"]
    assert [bed["edge_ft"] for bed in kept] == pytest.approx([28, 28], abs=0.01)
    assert [bed["area_ft2"] for bed in kept] == pytest.approx([112, 112], abs=0.05)


def test_case_5_drawn_with_a_finger(at_desk, tmp_path):
    one = at_desk(**TOUCH)
    one.pick("Ada Quill")
    for kind, corners in (("property", LOT), ("street", STREET), ("walk", WALK)):
        one.page.tap(f".kind[data-kind={kind}]")
        # A finger zooms in before it sets corners that lie close together, and moves the map along
        one.page.evaluate(
            "map.setZoom(20, {animate: false})"
            if kind != "walk"
            else "map.setZoom(22, {animate: false})"
        )
        for corner in corners:
            one.look_at(*corner)
            one.tap(corner)
        one.page.tap("#finish")
        one.page.tap("#done")
    one.save(tmp_path / "book" / "sites")
    found = scan(read_book(tmp_path / "book"), today=TODAY)
    beds = found.beds[found.beds["skip_reason"] == ""]
    assert beds["area_ft2"].tolist() == pytest.approx([112, 112], abs=0.05)
    one.quiet()


def test_every_kind_is_read_without_a_fault(at_desk, tmp_path):
    one = at_desk()
    one.pick("Ada Quill")
    kinds = one.page.evaluate("data.kinds")
    assert {kind["kind"] for kind in kinds} == set(FEATURE_KINDS)
    for at, kind in enumerate(kinds):
        x, y = -60 + 25 * (at % 5), -60 + 25 * (at // 5)
        corners = [(x, y), (x, y + 12), (x + 12, y + 12)][
            : {"area": 3, "line": 2, "point": 1}[kind["drawn_as"]]
        ]
        one.draw(kind["key"].lower(), *corners)
        if kind["kind"] == "street_centerline":
            assert "write its paved width" in one.page.locator("#chosen-fault").inner_text()
            one.page.get_by_label("paved width").fill("28")
            one.page.get_by_label("with a curb").select_option("no")
        if kind["kind"] == "tree":
            one.page.get_by_label("trunk").fill("14")
        if kind["kind"] == "utility":
            one.page.get_by_label("it is a").select_option("transformer")
        if kind["kind"] == "edge":
            one.page.get_by_label("along").select_option("sidewalk")
        one.page.keyboard.press("Escape")
        one.page.keyboard.press("Escape")
    file = one.save(tmp_path / "book" / "sites")
    book = read_book(tmp_path / "book")
    assert faults_of(book) == []
    read = book.features.set_index("kind")
    assert set(read.index) == set(FEATURE_KINDS)
    assert read.loc["street_centerline", ["pavement_ft", "curbed"]].tolist() == [28, "no"]
    assert read.loc["tree", "dbh_in"] == 14
    assert read.loc["utility", "what"] == "transformer"
    assert read.loc["edge", "along"] == "sidewalk"
    assert set(book.features["client_id"]) == {"A", ""}
    for drawn in features_in(file):
        # RFC 7946, section 3.1.6: the outer ring runs against the clock
        if drawn["geometry"]["type"] == "Polygon":
            assert shape(drawn["geometry"]).exterior.is_ccw
        for degree in shape(drawn["geometry"]).centroid.coords[0]:
            assert abs(degree) > 1
        digits = json.dumps(drawn["geometry"]).replace("]", ",").split(",")
        assert max(len(part.partition(".")[2]) for part in digits) <= 9
    one.quiet()


PLACES = [
    (-98.61, 41.18),
    (-80.2, 25.6),
    (-149.88, 61.23),
    (-98.501, 41.499),
    (151.2, -33.9),
    (10.01, 0.01),
]


def test_measures_agree_with_geodesy(at_lot):
    """Against geographiclib (Karney, Algorithms for geodesics, 2013) and PROJ, on a lot of 600 by 400 ft."""
    one = at_lot()
    for lon, lat in PLACES:
        ring = [[lon, lat], [lon + 0.002, lat + 0.0002], [lon + 0.0021, lat + 0.0011], [lon + 0.0009, lat + 0.0013], [lon + 0.0001, lat + 0.001]]  # fmt: skip
        told = one.page.evaluate("(ring) => measureRings([ring], 'area')", ring)
        polygon = Geodesic.WGS84.Polygon()
        for x, y in ring:
            polygon.AddPoint(y, x)
        _, perimeter_m, area_m2 = polygon.Compute()
        assert told["area_ft2"] == pytest.approx(abs(area_m2) / M_PER_FT**2, rel=1e-6)
        assert told["length_ft"] == pytest.approx(perimeter_m / M_PER_FT, rel=1e-5)
        feet = one.page.evaluate(
            "(ring) => ring.map((point) => planeAt(ring[0]).feet(point))", ring
        )
        for point, (east, north) in zip(ring, feet, strict=True):
            assert (east, north) == pytest.approx(plane(lon, lat).transform(*point), abs=1e-4)
        back = one.page.evaluate("([place, feet]) => feet.map((point) => planeAt(place).degrees(point))", [ring[0], feet])  # fmt: skip
        assert back == [pytest.approx(point, abs=1e-11) for point in ring]


def test_typed_lengths_and_arrows_draw_without_a_mouse(at_desk):
    one = at_desk()
    one.page.focus("#find")
    one.page.keyboard.type("ada")
    one.page.keyboard.press("Enter")
    one.page.keyboard.press("h")
    one.tap((0, 0))
    for keys, way in (("40", "Right"), ("24' 6\"", "Up"), ("40", "Left")):
        one.page.keyboard.type(keys)
        one.page.keyboard.press(f"Arrow{way}")
    one.page.keyboard.press("Enter")
    assert one.sizes() == ["House 980 ft², 129.0 ft around"]
    one.quiet()


def test_square_corners_hold_the_hand_and_a_shape_is_made_square(at_lot):
    one = at_lot()
    one.page.keyboard.press("q")
    assert one.page.locator("#square").get_attribute("aria-pressed") == "true"
    # Each tap is off by feet; the corners come out square all the same
    one.draw("b", (0, 0), (30, 3), (32, 20), (0, 22))
    assert one.sizes() == ["Shed or garage 600 ft², 100.0 ft around"]
    one.page.keyboard.press("q")
    one.undo_all()
    # The middle of each side stays
    one.draw("h", (0, 0), (40, 2), (40, 30), (0, 32))
    one.page.keyboard.press("r")
    sides = one.page.evaluate("measure(shapeOf(chosenNumber)).sides[0]")
    assert sides == pytest.approx([sides[0], sides[1]] * 2, abs=1e-3)
    one.page.keyboard.press("Control+z")
    one.draw("l", (-40, -40), (0, -40), (-20, 0))
    one.page.keyboard.press("r")
    assert "far from square" in one.said()
    one.quiet()


def test_corners_and_shapes_are_dragged_moved_by_keys_deleted_and_all_is_undone(at_lot):
    one = at_lot()
    one.draw("l", (0, 0), (40, 0), (40, 30), (0, 30))
    steps = ["Lawn 1,200 ft², 140.0 ft around"]
    assert one.sizes() == steps
    one.drag((40, 30), (50, 30))
    steps.append(one.sizes()[0])
    assert steps[-1] == "Lawn 1,350 ft², 151.6 ft around"  # 40 + 31.62 + 50 + 30
    one.drag((20, 0), (20, -10))  # the middle of a side becomes a corner
    steps.append(one.sizes()[0])
    assert steps[-1].startswith("Lawn 1,550 ft²")
    one.page.click("#drop-corner")
    steps.append(one.sizes()[0])
    assert steps[-1] == steps[1]
    one.page.click("#drop-shape")
    assert one.sizes() == []
    for step in reversed(steps):
        one.page.keyboard.press("Control+z")
        assert one.sizes() == [step]
    one.page.click("#undo")
    assert one.sizes() == []
    assert one.page.locator("#undo").is_disabled()
    for step in steps:
        one.page.keyboard.press("Control+y")
        assert one.sizes() == [step]
    one.undo_all()
    one.draw("h", (0, 0), (40, 0), (40, 40), (0, 40))
    one.drag((20, 20), (10, -5))
    corners = one.page.evaluate(
        "shapeOf(chosenNumber).rings[0].map((p) => sheet.paper.plane.feet(p).map((f, n) => f - sheet.paper.at[n]))"
    )
    assert sorted(map(tuple, corners))[0] == pytest.approx((-10, -25), abs=1e-3)
    assert one.sizes() == ["House 1,600 ft², 160.0 ft around"]
    one.undo_all()
    one.draw("h", (0, 0), (40, 0), (40, 40), (0, 40))
    one.page.keyboard.press(".")
    for _ in range(2):
        one.page.keyboard.press("Shift+ArrowDown")
    assert one.sizes() == [
        "House 1,800 ft², 171.2 ft around"
    ]  # + 40 × 10 / 2; 50 + 41.23 + 40 + 40
    one.page.keyboard.press("Delete")
    assert one.sizes()[0].startswith("House 800 ft²")
    one.page.keyboard.press(",")
    one.page.keyboard.press("Delete")
    assert "at least 3 corners" in one.said()
    one.quiet()


def test_a_shape_begun_is_undone_closed_measured_and_typed(at_lot):
    one = at_lot()
    one.page.keyboard.press("l")
    one.tap((0, 0), (40, 0), (40, 40))
    one.page.keyboard.press("Control+z")
    one.page.keyboard.press("Enter")
    assert "three corners" in one.said()
    one.page.keyboard.press("Control+y")
    one.page.keyboard.press("Enter")
    assert one.sizes() == ["Lawn 800 ft², 136.6 ft around"]
    # The first corner again closes a shape, a double click ends a line
    one.undo_all()
    one.page.keyboard.press("l")
    one.tap((0, 0), (40, 0), (40, 40), (0, 0))
    one.page.keyboard.press("e")
    one.tap((-40, 0))
    one.page.mouse.dblclick(*one.spot(-40, 30))
    assert one.sizes() == ["Lawn 800 ft², 136.6 ft around", "Edge along curb 30.0 ft"]
    # The size follows the hand, and a typed length goes where the tap points
    one.undo_all()
    one.page.keyboard.press("l")
    one.tap((0, 0), (40, 0))
    one.page.mouse.move(*one.spot(40, 25))
    assert one.page.locator("#size").inner_text() == "side 25.0 ft, 65.0 ft so far, 500 ft²"
    one.page.keyboard.press("Escape")
    one.page.keyboard.press("e")
    one.tap((-20, -20))
    one.page.fill("#length", "35.5")
    one.tap((-20, 10))
    one.page.keyboard.press("Enter")
    assert one.sizes() == ["Edge along curb 35.5 ft"]
    one.quiet()


def test_a_lot_of_the_book_is_listed_tapped_and_holds_what_is_drawn_on_it(at_desk, tmp_path):
    lot = square(*HOME, 60)
    one = at_desk(sites={"lots.geojson": collection(feature("property", lot, client_id="A"))})
    states = one.page.locator("#clients .state").all_inner_texts()
    assert states == ["drawn, in the book", "not drawn yet; no place on the map yet"]
    assert one.page.locator("#count").inner_text() == "2 clients, 1 drawn"
    one.page.select_option("#which", "todo")
    assert one.page.locator("#clients b").all_inner_texts() == ["Bo Tansy"]
    one.page.select_option("#which", "")
    one.page.fill("#find", "1 prairie")
    assert one.page.locator("#clients b").all_inner_texts() == ["Ada Quill"]
    one.page.mouse.click(
        *one.page.evaluate("""() => {
        const box = frame.getBoundingClientRect(), [x, y] = sheet.pixel(clientMarks()[0].at);
        return [box.x + x + 15, box.y + y];
    }""")
    )  # beside the mark, on the lot
    assert one.page.locator("#who").inner_text() == "Ada Quill"
    assert one.page.locator("#todo .has").count() == 1
    one.draw("o", (0, 0), (60, 0), (60, 60), (0, 60))
    assert "stands in sites/lots.geojson already" in one.page.locator("#twice").inner_text()
    one.undo_all()
    # A corner snaps to the book and shares its nine decimals
    x, y = one.spot(60, 60)
    one.page.keyboard.press("h")
    one.page.mouse.click(x + 4, y - 3)
    one.tap((40, 60), (40, 40), (60, 40))
    one.page.keyboard.press("Enter")
    [drawn] = features_in(one.save(tmp_path))
    assert lot["coordinates"][0][2] in drawn["geometry"]["coordinates"][0]
    one.page.keyboard.press("x")
    one.page.keyboard.press("l")
    one.page.mouse.click(x + 4, y - 3)
    assert one.page.evaluate("pending.points[0]") != lot["coordinates"][0][2]
    one.quiet()


def test_reload_offers_unsaved_work_again_and_work_set_aside_comes_back(at_desk):
    one = at_desk()
    one.pick("Ada Quill")
    one.draw("l", (0, 0), (40, 0), (40, 30), (0, 30))
    one.page.keyboard.press("h")
    one.tap((0, 40))
    one.tap((20, 40))
    one.page.reload()
    assert "2 shapes, last changed" in one.page.locator("#earlier-words").inner_text()
    assert "not saved to a file yet" in one.page.locator("#earlier-words").inner_text()
    one.page.click("#go-on")
    assert one.page.locator("#who").inner_text() == "Ada Quill"
    one.page.evaluate("map.setZoom(map.getZoom() - 1, {animate: false})")
    one.tap((20, 60))
    one.page.keyboard.press("Enter")
    drawn = ["Lawn 1,200 ft², 140.0 ft around", "House 200 ft², 68.3 ft around"]
    assert one.sizes() == drawn
    one.page.reload()
    one.page.click("#afresh")
    one.page.reload()
    assert not one.page.locator("#earlier").is_visible()
    one.page.click("#bring-back")
    assert not one.page.locator("#bring-back").is_visible()
    one.pick("Ada Quill")
    assert one.sizes() == drawn
    one.quiet()


def test_saved_work_is_known_as_saved_and_what_a_scan_cannot_use_is_told(at_lot, tmp_path):
    one = at_lot()
    one.draw("l", (0, 0), (40, 0), (40, 30), (0, 30))
    assert (
        one.page.locator("#kept").inner_text() == "1 shape, not in a file yet, kept in this browser"
    )
    one.save(tmp_path)
    assert one.page.locator("#kept").inner_text() == "1 shape in drawn.geojson"
    one.page.keyboard.press("Escape")
    one.draw("t", (10, 10))
    assert "not in a file yet" in one.page.locator("#kept").inner_text()
    one.page.keyboard.press("Control+z")
    assert one.page.locator("#kept").inner_text() == "1 shape in drawn.geojson"
    one.undo_all()
    one.draw("l", (0, 0), (40, 30), (40, 0), (0, 30))
    assert one.page.locator("#chosen-fault").inner_text() == "its outline crosses itself"
    one.save(tmp_path)
    assert "cannot use 1 of its shapes yet: Lawn: its outline crosses itself" in one.said()
    one.page.keyboard.press("Escape")
    one.open_file(collection(feature("house", square(*HOME, 30), client_id="Z")))
    one.until("document.getElementById('said').textContent.includes('not in this book')")


def test_browser_that_keeps_nothing_is_told_of(at_desk):
    one = at_desk()
    one.page.evaluate("""() => {
        Storage.prototype.setItem = () => { throw new DOMException("full", "QuotaExceededError"); };
    }""")
    one.pick("Ada Quill")
    one.draw("t", (10, 10))
    one.until("document.getElementById('kept').textContent.includes('save often')")
    one.page.goto("about:blank")
    assert one.complaints == [""]  # the page asks whether it may be left


NOT_OURS = [
    ("no json", "The file is no GeoJSON"),
    ('{"type": "Topology"}', "The file holds no features"),
    (json.dumps(collection(crs={"type": "name", "properties": {"name": "EPSG:26914"}})), "another coordinate system"),
    (json.dumps(collection(feature("tree", {"type": "Point", "coordinates": [500_000, 4_000_000]}))), "no degrees"),
    (json.dumps(collection(None, 7, {"type": "Feature"}, feature("lawn", {"type": "Polygon", "coordinates": [[[1]]]}))), "4 shapes from"),
]  # fmt: skip
"""Files that are chosen, and what is said of each."""


def test_earlier_file_keeps_what_is_not_drawn_here_and_one_that_is_none_is_a_sentence(
    at_desk, tmp_path
):
    far = {"type": "MultiPolygon", "coordinates": [square(*HOME, 20)["coordinates"], square(HOME[0], HOME[1] + 0.01, 20)["coordinates"]]}  # fmt: skip
    pole = {"type": "Feature", "id": 7, "properties": {"kind": "utility", "what": "pole", "owner": "town"},
            "geometry": {"type": "Point", "coordinates": [HOME[0], HOME[1], 12.5]}}  # fmt: skip
    strange = {"type": "Feature", "properties": {"kind": "fence", "height": 4}, "geometry": None}
    lawn = feature("Lawn", square(*HOME, 40), CLIENT_ID="A", note="as he said")
    earlier = collection(lawn, feature("water", far), pole, strange, title="North side")
    one = at_desk()
    one.open_file(earlier, "north.geojson")
    one.until("!document.getElementById('said').hidden")
    assert one.said().startswith(
        "4 shapes from north.geojson. 2 are of a sort that is not drawn here"
    )
    file = one.save(tmp_path)
    assert file.name == "north.geojson"
    assert json.loads(file.read_text(encoding="utf-8")) == earlier
    one.pick("Ada Quill")
    one.page.click("#shapes button:has-text('Lawn')")
    one.drag((40, 40), (50, 40))
    changed = json.loads(one.save(tmp_path).read_text(encoding="utf-8"))
    assert changed["features"][1:] == earlier["features"][1:]
    assert changed["title"] == "North side"
    assert changed["features"][0]["properties"] == {
        "kind": "lawn",
        "client_id": "A",
        "note": "as he said",
    }
    one.open_file(changed, "north.geojson")
    one.until("document.getElementById('said').textContent.includes('there already')")
    assert len(one.page.evaluate("state.shapes")) == 4
    for text, told in NOT_OURS:
        one.open_file(text)
        one.until(
            f"(({{ hidden, textContent }}) => !hidden && textContent.includes({json.dumps(told)}))(document.getElementById('said'))"
        )
    one.quiet()


def test_lot_without_a_place_is_drawn_on_paper_and_moved_once_it_has_one(at_desk, tmp_path):
    one = at_desk()
    one.pick("Bo Tansy")
    assert "made-up spot" in one.page.locator("#spot").inner_text()
    # Half a mile south of whoever has a place, so that a map shows both
    lon, lat = one.page.evaluate("groundOf(chosen).at")
    assert (lon, lat) == pytest.approx((HOME[0], HOME[1] - 0.008), abs=0.001)
    one.draw("o", *LOT)
    one.draw("s", *STREET)
    file = one.save(tmp_path / "book" / "sites")
    drawn = features_in(file)
    assert {made["properties"]["made_up_place"] for made in drawn} == {"B"}
    book = read_book(tmp_path / "book")
    assert faults_of(book) == []
    assert scan(book, today=TODAY).beds["area_ft2"].max() == pytest.approx(240, abs=0.05)  # 60 × 4
    # The next page knows where the lot lies: what was drawn goes there, as large as it was
    two = at_desk(clients=f"B,Bo Tansy,2 Prairie Lane,{HOME[0] + 0.01},{HOME[1]}\n")
    two.open_file(json.loads(file.read_text(encoding="utf-8")))
    two.until(
        "document.getElementById('said').textContent.includes('Moved to its place: Bo Tansy')"
    )
    moved = features_in(two.save(tmp_path))
    assert all("made_up_place" not in made["properties"] for made in moved)
    assert shape(moved[0]["geometry"]).centroid.coords[0] == pytest.approx(
        (HOME[0] + 0.01, HOME[1]), abs=1e-6
    )
    assert two.sizes() == [
        "Lot outline 6,000 ft², 320.0 ft around",
        "Street 4,200 ft², 340.0 ft around",
    ]
    two.quiet()


def test_made_up_spot_lies_beside_the_others_for_one_client_alone(at_desk):
    one = at_desk(client_ids=["B"])
    if one.page.evaluate("chosen === null"):
        one.pick("Bo Tansy")
    lon, lat = one.page.evaluate("groundOf(chosen).at")
    assert (lon, lat) == pytest.approx((HOME[0], HOME[1] - 0.008), abs=0.001)


def test_lot_without_a_place_is_put_where_a_tap_says(at_desk):
    one = at_desk()
    one.pick("Bo Tansy")
    one.draw("o", *LOT)
    one.page.keyboard.press("Escape")
    one.page.click("#put-spot")
    one.page.evaluate(f"map.setView([{HOME[1]}, {HOME[0]}], 19, {{animate: false}})")
    box = one.page.locator("#plan").bounding_box()
    one.page.mouse.click(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    assert not one.page.locator("#spot").is_visible()
    [drawn] = one.page.evaluate("state.shapes")
    assert shape({"type": "Polygon", "coordinates": drawn["rings"]}).centroid.coords[
        0
    ] == pytest.approx(HOME, abs=2e-5)
    assert one.sizes() == ["Lot outline 6,000 ft², 320.0 ft around"]
    one.quiet()


def test_hostile_names_and_files_do_nothing_and_no_alien_script_runs(at_desk):
    quoted = SCRIPT_NAME.replace('"', '""')
    one = at_desk(clients=f'"A<b>","{quoted}","{quoted}",{HOME[0]},{HOME[1]}\n')
    assert one.page.locator("#who").inner_text() == SCRIPT_NAME
    one.draw("o", *LOT)
    one.open_file(collection(feature("edge", {"type": "LineString", "coordinates": [list(HOME), [HOME[0] + 0.0002, HOME[1]]]},
                                     along=SCRIPT_NAME, client_id=SCRIPT_NAME, made_up_place=SCRIPT_NAME)), "<i>.geojson")  # fmt: skip
    one.until("state.shapes.length === 2")
    one.page.reload()
    one.page.click("#go-on")
    assert one.page.evaluate("document.scripts.length") == 3
    assert one.page.locator("img, i:not(.swatch)").count() == 0
    one.quiet()
    assert not runs_alien_scripts(one.page)


def test_pictures_come_only_when_switched_on(at_lot):
    one = at_lot()
    one.quiet()
    served = serve_dots(one)
    one.until("document.querySelectorAll('.leaflet-tile-loaded').length > 0")
    assert served
    assert all(url.startswith(SERVER) for url in served)
    assert one.page.locator("#credit").inner_text() == "<b>Survey</b>"
    assert not one.page.locator("#squares").is_visible()
    one.page.check("input[name=ground][value='']")
    assert one.page.locator(".leaflet-tile").count() == 0
    assert one.complaints == []


def test_targets_on_a_phone_are_big_enough_to_touch(at_desk):
    one = at_desk(**TOUCH)
    boxes = """() => [...document.querySelectorAll("a, button, select, input:not(#file), summary")]
        .filter((one) => one.checkVisibility({visibilityProperty: true}))
        .map((one) => [one.outerHTML.slice(0, 60), one.getBoundingClientRect()])
        .filter(([, box]) => box.height < 43.9 || box.width < 43.9).map(([words]) => words)"""
    fits = "document.documentElement.scrollWidth <= window.innerWidth"
    assert one.page.evaluate(boxes) == []
    assert one.page.evaluate(fits)
    one.pick("Ada Quill")
    assert one.page.evaluate(boxes) == []
    one.page.tap(".kind[data-kind=edge]")
    one.tap((0, 0))
    assert one.page.evaluate(boxes) == []
    one.tap((20, 0))
    one.page.tap("#finish")
    assert one.page.evaluate(boxes) == []
    assert one.page.evaluate(fits)
    one.page.tap("#show-rest")
    assert one.page.evaluate(boxes) == []
    assert one.sizes() == ["Edge along curb 20.0 ft"]
    one.quiet()


def test_finger_sets_a_corner_at_the_cross_and_drags_it(at_lot):
    one = at_lot(**TOUCH)
    one.page.tap(".kind[data-kind=lawn]")
    for corner in ((-20, 0), (20, 0), (20, 30)):
        one.look_at(*corner)
        one.page.tap("#aim")
    one.page.tap("#finish")
    assert one.page.locator("#chosen-size").inner_text() == "600 ft², 120.0 ft around"
    start, end = one.spot(20, 30), one.spot(20, 20)
    session = one.context.new_cdp_session(one.page)

    def touch(kind, *points):
        session.send(
            "Input.dispatchTouchEvent",
            {"type": kind, "touchPoints": [{"x": x, "y": y} for x, y in points]},
        )

    touch("touchStart", start)
    for share in (0.3, 0.6, 1):
        touch("touchMove", [a + (b - a) * share for a, b in zip(start, end, strict=True)])
    touch("touchEnd")
    assert (
        one.page.locator("#chosen-size").inner_text() == "400 ft², 104.7 ft around"
    )  # 40, 20, 44.72
    one.quiet()
