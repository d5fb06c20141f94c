"""The map page in a real browser with the network cut."""

import re
from dataclasses import replace
from functools import partial

import pandas as pd
import pytest

from scanner.schema.documents import Backgrounds
from tests.map_files import map_files, map_html
from tests.pages.tabs import DESK, PHONE, TOUCH, runs_alien_scripts, serve_dots
from tests.small_scan import SCRIPT_NAME, small_scan, with_tables

pytestmark = pytest.mark.browser

SERVER = "https://pictures.example.org/"


@pytest.fixture(scope="module")
def place(tmp_path_factory):
    scan = small_scan()
    backgrounds = Backgrounds(imagery_url=SERVER + "{z}/{y}/{x}", imagery_credit="<b>Survey</b>")
    rules = scan.rules.model_copy(update={"backgrounds": backgrounds})
    file = tmp_path_factory.mktemp("map") / "map.html"
    file.write_text(map_html(replace(scan, rules=rules)), encoding="utf-8")
    return file


@pytest.fixture
def opened(tabs, place):
    return partial(tabs.open, place)


@pytest.fixture
def shown(tabs, tmp_path):
    """Open the map of a scan."""

    def _show(scan):
        file = tmp_path / "map.html"
        file.write_text(map_html(scan), encoding="utf-8")
        return tabs.open(file)

    return _show


def card(one):
    return one.page.locator("#card")


def totals(one):
    return [
        one.page.locator(f"#total-{name}").get_attribute("value")
        for name in ("offers", "price", "expected")
    ]


def listed(one):
    return names_in(one.page.locator("#rows .row:visible"))


def names_in(rows):
    """The names in rows, also where the browser has not drawn the inside of one yet."""
    return rows.locator(".go").all_text_contents()


def test_row_shows_the_card_the_map_goes_to_the_lot_and_nothing_leaves_the_page(opened):
    one = opened()
    assert listed(one)[:2] == ["=SUM(1,2) Lane Trust", "Di Yarrow"]
    [scale] = one.page.locator(".leaflet-control-scale-line").all_inner_texts()
    assert scale.endswith(" ft")
    before = one.page.evaluate("map.getZoom()")
    one.page.click("#rows .row:nth-child(5) .say")
    one.until("map.getZoom() >= 19")
    assert before < 19
    # The lot lies left of the card, in sight
    at = one.page.evaluate("""() => {
        const lot = lotOf.get("C0001");
        return map.latLngToContainerPoint(latLng(lot.at[0], lot.at[1]));
    }""")
    left = card(one).bounding_box()["x"] - one.page.locator("#map_plan").bounding_box()["x"]
    assert 0 < at["x"] < left
    for fold in card(one).locator("summary").all():
        fold.click()
    words = card(one).inner_text()
    # 2,865.45 $ as a client hears it, and exactly
    for said in ("Ada Quill", "100 Prairie Lane", "208 ft²", "full planting, 50 plants", "$2,870", "$2,865",
                 "$2,100–$4,050", "crew-days", "ought extra work before", "Not called yet",
                 "all the locating service before digging", "Call 308-555-0101"):  # fmt: skip
        assert said in words
    assert card(one).locator("a[href='tel:3085550101']").count() == 1
    assert card(one).locator("tbody tr").count() == 4
    assert one.page.locator(".row.chosen .go").inner_text() == "Ada Quill"
    one.quiet()


def test_card_opens_at_the_bed_that_was_picked(opened):
    one = opened(size={"width": 1280, "height": 460})
    one.page.click("text=Bo Tansy")
    assert card(one).evaluate("one => one.scrollTop") == 0
    buttons = card(one).locator(".beds button")
    assert buttons.all_inner_texts() == [
        "A Curb 50 ft\n200 ft², first",
        "B House front 30 ft\n120 ft², first",
    ]
    one.page.keyboard.press("Escape")
    one.page.mouse.click(*bed_on_screen(one, "C0002", 1))
    assert card(one).evaluate("one => one.scrollTop") > 0
    assert buttons.nth(1).get_attribute("aria-pressed") == "true"
    one.quiet()


def test_what_was_said_what_is_next_what_is_under_way_and_what_is_unusual_stand_in_row_and_card(
    shown,
):
    scan = small_scan()
    words = {"last_contact": "2026-02-02", "last_outcome": "call back", "last_note": "gate code 12#",
             "due_action": "send the sketch", "due_date": "2026-02-13"}  # fmt: skip
    is_first = scan.calls["rank"] == 1
    told = {name: scan.calls[name].mask(is_first, word) for name, word in words.items()}
    rows = [("C0005", "sold", "sold on Feb 9, not built yet", "Give it a day", ""),
            ("C0006", "quote open", "quoted on Feb 4, open for 12 days", "Call and ask", "2026-02-13")]  # fmt: skip
    names = ["client_id", "stage", "words", "due_action", "due_date"]
    way = pd.DataFrame(rows, columns=names).assign(
        day="2026-02-09", last_contact="2026-02-09", last_outcome="", last_note="asks for May"
    )
    usual = "in the right-of-way: ask the city whether a permit is needed; along the curb: plants no taller than 36 in"
    own = f"{usual}; gas meter: no plants within 3 ft, dig by hand"
    beds, offers = scan.table("beds"), scan.offers
    marked = beds.assign(
        cautions=[own if bed == "C0001-curb-1" else usual for bed in beds["bed_id"]]
    )
    warned = offers.assign(
        cautions=[own if ids == "C0001-curb-1" else usual for ids in offers["bed_ids"]]
    )
    calls = scan.calls.assign(**told)
    one = shown(replace(with_tables(scan, beds=marked), calls=calls, under_way=way, offers=warned))
    count = one.page.locator("#count")
    assert count.inner_text() == "6 offers, 2 under way"
    whole = totals(one)
    # What was said and what is next
    one.page.click("#rows .row:nth-child(1) .go")
    for place in (one.page.locator("#rows .row:nth-child(1)"), card(one)):
        assert "Send the sketch, due Feb 13: 3 days late" in place.inner_text()
        assert "Feb 2, call back: gate code 12#" in place.inner_text()
    one.page.select_option("#kind", "due")
    assert listed(one) == ["=SUM(1,2) Lane Trust"]
    one.page.select_option("#kind", "new")
    assert len(listed(one)) == 5
    one.page.select_option("#kind", "")
    # Visits and quotes follow the ranked rows and can be picked out
    under = one.page.locator("#under-way .row:visible")
    assert names_in(under) == ["Ed Zinnia", "Flo Aster"]
    assert under.locator(".rank").count() == 0
    one.page.select_option("#kind", "way")
    assert names_in(under) == ["Flo Aster"]
    assert count.inner_text() == "0 of 6 offers, 1 under way"
    assert listed(one) == []
    assert not one.page.locator("#none-left").is_visible()
    under.locator(".go").click()
    for words in (
        "Under way: quoted on Feb 4, open for 12 days",
        "Call and ask, due Feb 13: 3 days late",
        "asks for May",
    ):
        assert words in card(one).inner_text()
    one.page.select_option("#kind", "")
    assert totals(one) == whole
    # A warning is only what differs from the usual
    assert one.page.locator(".row .own").all_text_contents() == [
        "! gas meter: no plants within 3 ft, dig by hand"
    ]
    one.page.click("text=Ada Quill")
    [caution] = card(one).locator(".cautions li").all_inner_texts()[:1]
    assert "as meter" in caution
    assert "Usual cautions" in card(one).inner_text()
    assert one.page.evaluate(
        "lots.filter((lot) => lot.beds.some((bed) => bed.own.length)).map((lot) => lot.id)"
    ) == ["C0001"]


def bed_on_screen(one, client_id, number=0):
    return one.page.evaluate(
        """([id, n]) => {
            const at = lotOf.get(id).beds[n].at, box = map.getContainer().getBoundingClientRect();
            const point = map.latLngToContainerPoint(latLng(at[0], at[1]));
            return [box.x + point.x, box.y + point.y];
        }""",
        [client_id, number],
    )


def test_beds_and_marks_on_the_map_show_their_cards_and_a_hostile_name_does_nothing(opened):
    one = opened()
    one.page.mouse.move(*bed_on_screen(one, "C0008"))
    one.page.mouse.click(*bed_on_screen(one, "C0009"))
    assert "=SUM(1,2) Lane Trust" in card(one).inner_text()
    one.page.keyboard.press("Escape")
    one.page.mouse.click(*bed_on_screen(one, "C0005"))
    assert "Left out of the calls: asked not to be called" in card(one).inner_text()
    one.page.keyboard.press("Escape")
    one.page.click("text=Cy Verbena")
    one.page.click("#card .beds button:has-text('skipped')")
    assert "Skipped: too short" in card(one).inner_text()
    assert "alone about" not in card(one).inner_text()
    one.page.keyboard.press("Escape")
    # A client measured on foot is a mark
    one.page.evaluate("map.setZoom(19, {animate: false})")
    at = one.page.evaluate("""() => {
        const at = lotOf.get("C0004").at, box = map.getContainer().getBoundingClientRect();
        map.panTo(latLng(at[0], at[1]), {animate: false});
        const point = map.latLngToContainerPoint(latLng(at[0], at[1]));
        return [box.x + point.x, box.y + point.y];
    }""")
    one.page.mouse.click(*at)
    assert "Di Yarrow" in card(one).inner_text()
    one.page.keyboard.press("Escape")
    one.page.get_by_role("button", name="alert", exact=False).first.click()
    assert card(one).locator("h2").inner_text() == SCRIPT_NAME
    assert "Not confirmed" in card(one).inner_text()  # its lawn is inferred
    assert one.page.evaluate("document.scripts.length") == 4
    assert one.page.evaluate("map.getContainer().isConnected")
    one.quiet()
    assert not runs_alien_scripts(one.page)


def test_list_totals_and_print_follow_the_filter(opened):
    one = opened()
    scan = small_scan()
    calls = scan.calls[scan.calls["rank"] > 0].merge(
        scan.offers[["offer_id", "price_cents"]], on="offer_id"
    )
    calls = calls.merge(scan.clients[["client_id", "route"]], on="client_id")
    whole = totals(one)
    for route, of_route in calls[calls["route"] != ""].groupby("route"):
        one.page.select_option("#route", route)
        cents = of_route[["price_cents", "expected_profit_cents"]].sum() / 100
        assert [float(value) for value in totals(one)] == [len(of_route), *cents]
    one.page.click("#clear")
    one.until("document.getElementById('clear').hidden")
    assert [float(value) for value in totals(one)] == [float(value) for value in whole]
    one.page.select_option("#route", "North")
    assert listed(one) == ["=SUM(1,2) Lane Trust", "Cy Verbena", "Ada Quill", "Bo Tansy"]
    one.page.select_option("#day", "Tuesday")
    assert listed(one) == ["Cy Verbena"]
    assert one.page.locator("#count").inner_text() == "1 of 6 offers"
    one.page.click("#clear")
    one.until("document.querySelectorAll('#rows .row[hidden]').length === 0")
    one.page.fill("#find", "106 prairie")
    assert listed(one) == ["Di Yarrow"]
    for number in ("308-555-0104", "(308) 555 0104", "5550104"):
        one.page.fill("#find", number)
        assert listed(one) == ["Di Yarrow"]
    one.page.fill("#find", "nobody")
    assert one.page.locator("#none-left").is_visible()
    assert one.page.locator("#nowhere").inner_text().startswith("No client fits the choice")
    one.page.fill("#find", "")
    one.quiet()
    one.page.select_option("#route", "North")
    one.page.evaluate("window.dispatchEvent(new Event('beforeprint'))")
    one.page.emulate_media(media="print")
    # The filtered list, with the map of its lots before it
    assert listed(one) == ["=SUM(1,2) Lane Trust", "Cy Verbena", "Ada Quill", "Bo Tansy"]
    assert one.page.locator("#paper-map img").bounding_box()["width"] > 500
    assert one.page.evaluate("document.querySelector('#paper-map img').naturalWidth") >= 1000
    assert not one.page.locator("#map_plan").is_visible()
    assert not one.page.locator("#filter").is_visible()
    assert one.page.evaluate("getComputedStyle(document.body).overflow") == "visible"


def test_keyboard_alone_reaches_map_list_card_phone_and_back(opened):
    one = opened()
    reached = []
    for _ in range(10):
        one.page.keyboard.press("Tab")
        reached.append(one.page.evaluate("document.activeElement.id"))
    assert "map_plan" in reached
    one.page.focus("#rows .row:nth-child(1) .go")
    one.page.keyboard.press("ArrowDown")
    assert one.page.evaluate("document.activeElement.textContent") == "Di Yarrow"
    one.page.keyboard.press("ArrowUp")
    one.page.focus(".skip")
    one.page.keyboard.press("Enter")
    assert one.page.evaluate("document.activeElement.id") == "map_plan"
    one.page.focus("#kind")
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
        "A House front 30 ft120 ft², first",
    ]
    one.page.keyboard.press("Enter")
    assert "30 ft of edge" in card(one).inner_text()
    one.page.keyboard.press("Escape")
    assert not card(one).is_visible()
    assert one.page.evaluate("document.activeElement.textContent") == "=SUM(1,2) Lane Trust"
    one.quiet()


def test_offers_the_search_box_and_the_map_show_what_they_hold_on_phone_and_laptop(opened):
    bottoms = "[...document.querySelectorAll('#rows .row')].map((row) => row.getBoundingClientRect().bottom)"
    laptop = opened(size={"width": 1280, "height": 720})
    assert laptop.page.evaluate(bottoms)[2] <= 720, "the first three offers are whole"
    laptop.page.set_viewport_size({"width": 1280, "height": 900})
    room, words = laptop.page.evaluate(
        """() => {
            const box = document.getElementById("find"), look = getComputedStyle(box), pen = document.createElement("canvas").getContext("2d");
            pen.font = look.font;
            return [box.clientWidth - parseFloat(look.paddingLeft) - parseFloat(look.paddingRight), pen.measureText(box.placeholder).width];
        }"""
    )
    assert words < room
    assert not laptop.page.evaluate("document.getElementById('legend').open")
    phone = opened(**TOUCH)
    bar = phone.page.locator("#switch").bounding_box()["y"]
    assert phone.page.evaluate(bottoms)[0] <= bar, "the first offer is whole"
    phone.page.click("[data-view=map]")
    # 14 px are left free at each side, and the zoom goes in quarters: (1 − 28 ÷ 390) ÷ 2 ** 0.25 = 0.78
    share = phone.page.evaluate(
        """() => {
            const box = emptyBox(), size = map.getSize();
            for (const lot of lots.filter((one) => one.at)) { grow(box, lot.home[0], lot.home[1]); grow(box, lot.home[2], lot.home[3]); }
            const [from, to] = [map.latLngToContainerPoint(latLng(box[0], box[1])), map.latLngToContainerPoint(latLng(box[2], box[3]))];
            return Math.max(Math.abs(to.x - from.x) / size.x, Math.abs(to.y - from.y) / size.y);
        }"""
    )
    assert 0.77 < share <= 1
    assert phone.page.evaluate("map.getZoom() >= ZOOM.plan")


SMALL_TARGETS = """() => [...document.querySelectorAll("a:not(.skip), button, select, input, summary")]
    .filter((one) => one.checkVisibility({visibilityProperty: true}))
    .map((one) => [one.outerHTML.slice(0, 60), one.getBoundingClientRect().height])
    .filter(([, height]) => height < 43.9)"""


def test_phone_has_list_and_map_in_turn_with_targets_big_enough_to_touch(opened):
    one = opened(**TOUCH)
    fits = "document.documentElement.scrollWidth <= window.innerWidth"
    assert one.page.evaluate(fits)
    assert one.page.locator("#rows").is_visible()
    assert not one.page.locator("#map_plan").is_visible()
    assert one.page.evaluate(SMALL_TARGETS) == []
    one.page.tap("#rows .row:nth-child(1) .go")
    assert one.page.evaluate(SMALL_TARGETS) == []
    assert card(one).is_visible()
    assert not one.page.locator("#rows .row:nth-child(1)").is_visible()
    assert one.page.evaluate(fits)
    one.page.tap("#card .close")
    assert one.page.locator("#rows .row:nth-child(1)").is_visible()
    one.page.tap(".switch [data-view=map]")
    assert one.page.locator("#map_plan").is_visible()
    one.quiet()


def test_without_scripts_the_list_is_there(opened):
    one = opened(size=PHONE, java_script_enabled=False)
    words = one.page.locator("body").inner_text()
    for said in ("Bo Tansy", "308-555-0102", "$4,300", "Not called yet",
                 "Beds found: 9", "Call the locating service"):  # fmt: skip
        assert said.lower() in words.lower()
    assert not one.page.locator("#filter").is_visible()
    assert not one.page.locator("#map_plan").is_visible()
    one.quiet()


def test_pictures_come_only_when_switched_on(opened):
    one = opened()
    one.quiet()
    served = serve_dots(one)
    one.until("document.querySelectorAll('.leaflet-tile-loaded').length > 0")
    assert one.page.evaluate("ground.overPicture")
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
    one.until("document.getElementById('ground-note').textContent !== ''")
    assert not one.page.evaluate("ground.overPicture")  # lawns and houses are still filled
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
    return folder / "map.html"


@pytest.mark.parametrize("size", [DESK, PHONE], ids=["desk", "phone"])
def test_index_leads_to_a_page_a_route_and_back(tabs, split_place, size):
    one = tabs.open(split_place, size=size)
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
    one.quiet()
    one.page.click("text=South")
    assert one.page.locator("h1").inner_text() == "South"
    assert not one.page.locator("#route").is_visible()
    assert set(listed(one)) == {"Di Yarrow"}
    one.page.click("#rows .row .go")
    assert "Call number" in card(one).inner_text()
    one.page.keyboard.press("Escape")
    one.page.click("text=All routes")
    assert one.page.url == split_place.as_uri()
    assert one.complaints == []
