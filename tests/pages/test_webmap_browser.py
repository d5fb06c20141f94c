"""The map page in a real browser with the network cut."""

import re
import struct
import zlib
from dataclasses import replace

import pytest

from scanner.schema.documents import Backgrounds
from tests.map_files import map_files, map_html
from tests.small_scan import SCRIPT_NAME, small_scan

pytestmark = pytest.mark.browser

DESK = {"width": 1280, "height": 800}
PHONE = {"width": 390, "height": 844}
SERVER = "https://pictures.example.org/"


def white_dot():
    """Write the smallest PNG (PNG specification, section 5: signature, IHDR, IDAT, IEND)."""

    def chunk(kind, body):
        return (
            struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))
        )

    head = struct.pack(">IIBBBBB", 1, 1, 8, 0, 0, 0, 0)
    parts = chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(b"\0\xff")) + chunk(b"IEND", b"")
    return b"\x89PNG\r\n\x1a\n" + parts


@pytest.fixture(scope="module")
def place(tmp_path_factory):
    scan = small_scan()
    backgrounds = Backgrounds(imagery_url=SERVER + "{z}/{y}/{x}", imagery_credit="<b>Survey</b>")
    rules = scan.rules.model_copy(update={"backgrounds": backgrounds})
    file = tmp_path_factory.mktemp("map") / "map.html"
    file.write_text(map_html(replace(scan, rules=rules)), encoding="utf-8")
    return file.as_uri()


class Opened:
    """A page with the network cut, and all that it asked for or complained of."""

    def __init__(self, browser, place, *, size=DESK, **options):
        self.context = browser.new_context(viewport=size, reduced_motion="reduce", **options)
        self.context.set_offline(True)
        self.context.set_default_timeout(8000)
        self.page = self.context.new_page()
        self.asked, self.complaints = [], []
        self.page.on("request", lambda request: self.asked.append(request.url))
        self.page.on("console", lambda message: self.complaints.append(message.text))
        self.page.on("pageerror", lambda error: self.complaints.append(str(error)))
        self.page.on("dialog", lambda dialog: self.complaints.append(dialog.message))
        self.page.goto(place)
        self.place = place


@pytest.fixture
def opened(chromium, place):
    opens = []

    def _open(**options):
        opens.append(Opened(chromium, place, **options))
        return opens[-1]

    yield _open
    for one in opens:
        one.context.close()


def quiet(one):
    assert one.asked == [one.place]
    assert one.complaints == []


def until(one, condition):
    """Wait in steps: the page's policy forbids the evaluation that Playwright would wait with."""
    for _ in range(100):
        if one.page.evaluate(condition):
            return
        one.page.wait_for_timeout(50)
    pytest.fail(f"never came true: {condition}")


def card(one):
    return one.page.locator("#card")


def listed(one):
    return one.page.locator("#rows .row:visible .go").all_inner_texts()


def test_row_shows_the_card_and_nothing_leaves_the_page(opened):
    one = opened()
    assert listed(one)[:2] == ["=SUM(1,2) Lane Trust", "Di Yarrow"]
    one.page.click("#rows .row:nth-child(5) .money")
    words = card(one).inner_text()
    for said in ("Ada Quill", "100 Prairie Lane", "208 ft²", "few plants", "$2,865",
                 "$2,100–$4,050", "crew-days", "ought extra work before",
                 "all the locating service before digging", "Call 308-555-0101"):  # fmt: skip
        assert said in words
    assert card(one).locator("a[href='tel:3085550101']").count() == 1
    assert card(one).locator("tbody tr").count() == 4
    assert one.page.locator(".row.chosen .go").inner_text() == "Ada Quill"
    quiet(one)


def test_map_goes_to_the_lot(opened):
    one = opened()
    before = one.page.evaluate("map.getZoom()")
    one.page.click("#rows .row:nth-child(5) .go")
    until(one, "map.getZoom() >= 19")
    assert before < 19
    # The lot lies left of the card, in sight
    at = one.page.evaluate("""() => {
        const lot = lotOf.get("C0001");
        return map.latLngToContainerPoint(latLng(lot.at[0], lot.at[1]));
    }""")
    left = card(one).bounding_box()["x"] - one.page.locator("#map_plan").bounding_box()["x"]
    assert 0 < at["x"] < left
    quiet(one)


def bed_on_screen(one, client_id, number=0):
    return one.page.evaluate(
        """([id, n]) => {
            const at = lotOf.get(id).beds[n].at, box = map.getContainer().getBoundingClientRect();
            const point = map.latLngToContainerPoint(latLng(at[0], at[1]));
            return [box.x + point.x, box.y + point.y];
        }""",
        [client_id, number],
    )


def test_click_on_a_bed_shows_its_card(opened):
    one = opened()
    one.page.mouse.click(*bed_on_screen(one, "C0009"))
    assert "=SUM(1,2) Lane Trust" in card(one).inner_text()
    one.page.keyboard.press("Escape")
    one.page.mouse.click(*bed_on_screen(one, "C0005"))
    assert "Left out of the calls: asked not to be called" in card(one).inner_text()
    quiet(one)


def test_skipped_bed_says_why(opened):
    one = opened()
    one.page.click("text=Cy Verbena")
    one.page.click("#card .beds button:has-text('skipped')")
    assert "Skipped: too short" in card(one).inner_text()
    assert card(one).locator("tbody tr").count() == 0
    quiet(one)


def test_client_measured_on_foot_is_a_mark_on_the_map(opened):
    one = opened()
    one.page.evaluate("map.setZoom(19, {animate: false})")
    at = one.page.evaluate("""() => {
        const at = lotOf.get("C0004").at, box = map.getContainer().getBoundingClientRect();
        map.panTo(latLng(at[0], at[1]), {animate: false});
        const point = map.latLngToContainerPoint(latLng(at[0], at[1]));
        return [box.x + point.x, box.y + point.y];
    }""")
    one.page.mouse.click(*at)
    assert "Di Yarrow" in card(one).inner_text()
    quiet(one)


def test_hostile_name_does_nothing(opened):
    one = opened()
    one.page.get_by_role("button", name="alert", exact=False).first.click()
    assert card(one).locator("h2").inner_text() == SCRIPT_NAME
    assert "Not confirmed" in card(one).inner_text()  # its lawn is inferred
    one.page.mouse.move(*bed_on_screen(one, "C0008"))
    assert one.page.evaluate("document.scripts.length") == 4
    assert one.page.evaluate("map.getContainer().isConnected")
    quiet(one)


def test_policy_stops_a_script_that_is_not_ours(opened):
    one = opened()
    one.page.evaluate("""() => {
        const alien = document.createElement("script");
        alien.textContent = "window.alien = true";
        document.body.append(alien);
    }""")
    assert one.page.evaluate("window.alien === undefined")


def test_filter_by_route_day_and_name(opened):
    one = opened()
    one.page.select_option("#route", "North")
    assert listed(one) == ["=SUM(1,2) Lane Trust", "Cy Verbena", "Ada Quill", "Bo Tansy"]
    one.page.select_option("#day", "Tuesday")
    assert listed(one) == ["Cy Verbena"]
    assert one.page.locator("#count").inner_text() == "1 of 6 offers"
    one.page.click("#clear")
    until(one, "document.querySelectorAll('#rows .row[hidden]').length === 0")
    one.page.fill("#find", "106 prairie")
    assert listed(one) == ["Di Yarrow"]
    one.page.fill("#find", "nobody")
    assert one.page.locator("#none-left").is_visible()
    quiet(one)


def test_keyboard_alone_reaches_card_phone_and_back(opened):
    one = opened()
    one.page.focus("#day")
    one.page.keyboard.press("Tab")
    assert one.page.evaluate("document.activeElement.textContent") == "=SUM(1,2) Lane Trust"
    assert one.page.evaluate("getComputedStyle(document.activeElement).outlineStyle") == "solid"
    one.page.keyboard.press("Enter")
    assert one.page.evaluate("document.activeElement.id") == "card-name"
    reached = []
    for _ in range(3):
        one.page.keyboard.press("Tab")
        reached.append(one.page.evaluate("document.activeElement.textContent"))
    assert reached == [
        "×",
        "Call +1 308 555 0109",
        "Bed along the house wall, front",
    ]
    one.page.keyboard.press("Enter")
    assert "30 ft of edge" in card(one).inner_text()
    one.page.keyboard.press("Escape")
    assert not card(one).is_visible()
    assert one.page.evaluate("document.activeElement.textContent") == "=SUM(1,2) Lane Trust"
    quiet(one)


def test_phone_has_list_and_map_in_turn(opened):
    one = opened(size=PHONE, has_touch=True, is_mobile=True)
    fits = "document.documentElement.scrollWidth <= window.innerWidth"
    assert one.page.evaluate(fits)
    assert one.page.locator("#rows").is_visible()
    assert not one.page.locator("#map_plan").is_visible()
    one.page.tap("#rows .row:nth-child(1) .go")
    assert card(one).is_visible()
    assert not one.page.locator("#rows .row:nth-child(1)").is_visible()
    assert one.page.evaluate(fits)
    one.page.tap("#card .close")
    assert one.page.locator("#rows .row:nth-child(1)").is_visible()
    one.page.tap(".switch [data-view=map]")
    assert one.page.locator("#map_plan").is_visible()
    quiet(one)


def test_targets_on_a_phone_are_big_enough_to_touch(opened):
    one = opened(size=PHONE, has_touch=True, is_mobile=True)
    boxes = """() => [...document.querySelectorAll("a, button, select, input, summary")]
        .filter((one) => one.checkVisibility({visibilityProperty: true}))
        .map((one) => [one.outerHTML.slice(0, 60), one.getBoundingClientRect().height])
        .filter(([, height]) => height < 43.9)"""
    assert one.page.evaluate(boxes) == []
    one.page.tap("#rows .row:nth-child(1) .go")
    assert one.page.evaluate(boxes) == []


def test_without_scripts_the_list_is_there(opened):
    one = opened(size=PHONE, java_script_enabled=False)
    words = one.page.locator("body").inner_text()
    for said in ("Bo Tansy", "308-555-0102", "$3,200–$6,050", "1.4 crew-days",
                 "Turf up to the curb for 50 ft", "Call the locating service"):  # fmt: skip
        assert said.lower() in words.lower()
    assert not one.page.locator("#filter").is_visible()
    assert not one.page.locator("#map_plan").is_visible()
    quiet(one)


def test_print_is_the_list(opened):
    one = opened()
    one.page.click("#rows .row:nth-child(5) .go")
    one.page.emulate_media(media="print")
    assert not one.page.locator("#map_plan").is_visible()
    assert not one.page.locator("#filter").is_visible()
    last = one.page.locator("#rows .row:last-child")
    assert last.is_visible()
    assert one.page.evaluate("getComputedStyle(document.body).overflow") == "visible"


def test_scale_is_in_feet(opened):
    one = opened()
    [scale] = one.page.locator(".leaflet-control-scale-line").all_inner_texts()
    assert scale.endswith(" ft")


def test_pictures_come_only_when_switched_on(opened):
    one = opened()
    quiet(one)
    one.context.set_offline(False)
    served = []

    def serve(route):
        served.append(route.request.url)
        route.fulfill(body=white_dot(), content_type="image/png")

    one.context.route("**/*", serve)
    one.page.click("#grounds summary")
    one.page.check("input[value=imagery]")
    until(one, "document.querySelectorAll('.leaflet-tile-loaded').length > 0")
    assert served
    assert all(url.startswith(SERVER) for url in served)
    assert one.page.locator("#credit").inner_text() == "<b>Survey</b>"
    one.page.check("input[name=ground][value='']")
    assert one.page.locator(".leaflet-tile").count() == 0
    assert one.complaints == []


def test_pictures_that_do_not_come_leave_the_plan(opened):
    one = opened()
    one.page.click("#grounds summary")
    one.page.check("input[value=imagery]")
    until(one, "document.getElementById('ground-note').textContent !== ''")
    one.page.click("#rows .row:nth-child(1) .go")
    assert "=SUM(1,2) Lane Trust" in card(one).inner_text()


@pytest.fixture(scope="module")
def split_place(tmp_path_factory):
    """The index of a map of several pages, each opened from its file."""
    scan = small_scan()
    rules = scan.rules.model_copy(update={"map_max_beds": 6.0})
    folder = tmp_path_factory.mktemp("split")
    (folder / "map").mkdir()
    for name, html in map_files(replace(scan, rules=rules)).items():
        (folder / name).write_text(html, encoding="utf-8")
    return (folder / "map.html").as_uri()


@pytest.mark.parametrize("size", [DESK, PHONE], ids=["desk", "phone"])
def test_index_leads_to_a_page_a_route_and_back(chromium, split_place, size):
    one = Opened(chromium, split_place, size=size)
    rows = one.page.locator("tbody tr")
    assert rows.count() == 3
    assert rows.locator("a").all_inner_texts() == ["North", "South", "No route"]
    assert one.page.evaluate("document.documentElement.scrollWidth") <= size["width"]
    north = " ".join(rows.first.inner_text().split())
    # Six of its beds lie on lots of North; its best call is the first of the book
    assert re.fullmatch(
        r"North 5( beds)? 4( offers)? \$[\d,]+( before tax)? \$[\d,]+( profit to expect)? (first call )?1",
        north,
    )
    assert rows.first.locator("a").bounding_box()["height"] >= 44  # WCAG 2.2, 2.5.5
    quiet(one)
    one.page.click("text=South")
    assert one.page.locator("h1").inner_text() == "South"
    assert not one.page.locator("#route").is_visible()
    assert set(listed(one)) == {"Di Yarrow"}
    one.page.click("#rows .row .go")
    assert "Call number" in card(one).inner_text()
    one.page.keyboard.press("Escape")
    one.page.click("text=All routes")
    assert one.page.url == split_place
    assert one.complaints == []
    one.context.close()
