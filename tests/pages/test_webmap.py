"""The map page as text: self-contained, the same each time, and inert whatever the book says."""

import re
from collections import Counter
from dataclasses import replace
from decimal import Decimal
from html.parser import HTMLParser
from itertools import pairwise

import numpy as np
import pytest
import shapely

from scanner.pages.sealed import leaflet_script, leaflet_style
from scanner.pages.summary import summarize
from scanner.pages.webmap_data import DEGREES_TO_UNITS
from scanner.schema.documents import Backgrounds
from tests.map_files import data_of, map_files, map_html
from tests.small_scan import SCRIPT_NAME, in_parts, small_scan, with_tables

PICTURES = "https://pictures.example.org/{z}/{y}/{x}"


class Reader(HTMLParser):
    """Read a page as a browser does: its elements, and the text outside scripts and styles."""

    def __init__(self, html):
        super().__init__(convert_charrefs=True)
        self.elements, self.text, self.scripts, self.hidden = [], "", [], None
        self.feed(html)

    def handle_starttag(self, tag, attrs):
        self.elements.append((tag, dict(attrs)))
        self.hidden = tag if tag in ("script", "style") else self.hidden
        if tag == "script":
            self.scripts.append("")

    def handle_endtag(self, tag):
        self.hidden = None if tag == self.hidden else self.hidden

    def handle_data(self, data):
        if self.hidden == "script":
            self.scripts[-1] += data
        elif self.hidden is None:
            self.text += data

    def find(self, tag, **wanted):
        return [had for name, had in self.elements if name == tag and wanted.items() <= had.items()]


@pytest.fixture(scope="module")
def html():
    return map_html(small_scan())


@pytest.fixture(scope="module")
def page(html):
    return Reader(html)


@pytest.fixture(scope="module")
def data(html):
    return data_of(html)


@pytest.fixture(scope="module")
def files():
    """The pages of the small scan where six beds fill one."""
    return map_files(split_up(6))


def with_backgrounds(**addresses):
    scan = small_scan()
    return replace(
        # A book's own address is checked as it is read; the page trusts none
        scan,
        rules=scan.rules.model_copy(
            update={"backgrounds": Backgrounds.model_construct(**addresses)}
        ),
    )


@pytest.mark.parametrize(("offers", "words"), [(1, "1 offer"), (2, "2 offers")])
def test_first_view_counts_its_offers(offers, words):
    scan = small_scan()
    html = map_html(replace(scan, calls=scan.calls.head(offers)))
    shown = re.search(r'<span id="count" role="status">(.*?)</span>', html)
    assert shown
    assert shown[1] == words


def test_same_scan_same_bytes(html):
    assert map_html(small_scan()) == html


def test_page_names_no_other_file(html, page):
    loading = [
        value
        for _, had in page.elements
        for name, value in had.items()
        if name in ("src", "srcset", "data") and value is not None
    ]
    assert loading == []
    assert page.find("link") == []
    assert re.findall(r"url\((?!data:|#)[^)]*\)|@import|sourceMappingURL", html) == []
    links = {had["href"].split(":")[0] for had in page.find("a")}
    assert links == {"tel", "#map_plan"}


def test_leaflet_comes_from_its_package():
    assert 'version="1.9.4"' in leaflet_script()  # bounds in pyproject.toml: 1.9.4 and newer
    assert ".leaflet-container" in leaflet_style()
    assert "url(images/" not in leaflet_style()


def test_policy_allows_the_own_scripts_only(page):
    [policy] = page.find("meta", **{"http-equiv": "Content-Security-Policy"})
    assert policy["content"].startswith("default-src 'none'; script-src 'sha256-")
    assert policy["content"].count("'sha256-") == len(page.scripts) - 1  # the data do not run
    assert "'unsafe-inline'" not in policy["content"].split("script-src")[1].split(";")[0]


def test_policy_lets_the_pictures_through():
    scan = with_backgrounds(
        imagery_url=PICTURES, streets_url="https://{s}.streets.example.org:8080/{z}/{x}/{y}{r}.png"
    )
    assert (
        "img-src data: https://pictures.example.org https://*.streets.example.org:8080;"
        in map_html(scan)
    )


@pytest.mark.parametrize(
    "address",
    [
        "",
        "javascript:alert(1)//{z}/{x}/{y}",
        "https://a.example.org; script-src *//{z}/{x}/{y}",
        "https://a.example.org/{z}/{x}/{y}/{key}",
        "https://a.example.org/one.png",
        "file:///pictures/{z}/{x}/{y}",
    ],
)
def test_background_that_cannot_work_is_not_offered(address):
    html = map_html(with_backgrounds(imagery_url=address))
    assert data_of(html)["backgrounds"] == []
    assert Reader(html).find("input", name="ground") == []
    assert "img-src data:;" in html


def test_totals_are_the_summary(page):
    totals = summarize(small_scan())
    shown = {had["id"]: had["value"] for tag, had in page.elements if tag == "data" and "id" in had}
    assert shown == {
        "total-beds": str(totals["beds"]),
        "total-area": str(totals["area_ft2"]),
        "total-offers": str(totals["offers"]),
        "total-price": str(totals["price_usd"]),
        "total-expected": str(totals["expected_profit_usd"]),
    }


def test_list_stands_in_the_markup(page):
    rows = page.find("li", **{"class": "row"})
    calls = small_scan().calls
    listed = calls[calls["rank"] > 0].sort_values("rank")
    assert [row["data-client"] for row in rows] == listed["client_id"].tolist()
    for name in ("Ada Quill", "102 Prairie Lane", "308-555-0104", "+1 308 555 0109"):
        assert name in page.text
    assert {"href": "tel:+13085550109", "class": "phone"} in page.find("a")


def test_each_client_is_listed_or_left_out_with_a_reason(page):
    listed = {had["data-client"] for had in page.find("li") if "data-client" in had}
    assert listed == set(small_scan().clients["client_id"])
    assert "no outline for this client (draw the lot or measure its edges)" in page.text


def test_cautions_of_the_trade_are_said(page):
    said = " ".join(page.text.split())
    for caution in (
        "Call the locating service before any digging",
        "ask for the permit first",
        "Local codes and licensed practice go first",
        "A quick price is not a quote",
    ):
        assert caution in said


WEIGHTY = (
    "html",
    "head",
    "body",
    "script",
    "style",
    "img",
    "iframe",
    "form",
    "input",
    "button",
    "li",
)
HOSTILE = [
    SCRIPT_NAME,
    "</script><script>document.title='gone'</script>",
    "<!--<script>",
    "{{ 7 * 7 }}{% raw %}",
    '"><img src=x onerror=alert(1)>',
    "`${document.title='gone'}`",
    "policy-goes-here",
    "lots-go-here",
    "]]>\u2028\\u003c/script>",
]


@pytest.mark.parametrize("text", HOSTILE)
def test_text_of_the_book_stays_text(page, text):
    scan = small_scan()
    evil = dict.fromkeys(("name", "address", "phone", "route", "mow_day"), text)
    company = scan.rules.company.model_copy(update={"name": text, "license_id": text})
    scan = replace(
        scan,
        name=text,
        clients=scan.clients.assign(**evil),
        offers=(offers := scan.offers.assign(offer=text, say=text, unknowns=text)),
        calls=scan.calls.assign(reasons=text, last_note=text, due_action=text),
        rules=scan.rules.model_copy(update={"company": company}),
    )
    scan = with_tables(scan, beds=scan.table("beds").assign(cautions=text), offers=offers)
    html = map_html(scan)
    reader = Reader(html)
    # Scripts are the same as without the text; the text can be read where it belongs
    assert reader.scripts[1:] == page.scripts[1:]
    assert reader.find("img") == []
    assert Counter(tag for tag, _ in reader.elements if tag in WEIGHTY) == Counter(
        tag for tag, _ in page.elements if tag in WEIGHTY
    )
    assert reader.text.count(text) >= len(scan.clients)
    assert data_of(html)["clients"][0]["told"][0] == text
    [policy] = reader.find("meta", **{"http-equiv": "Content-Security-Policy"})
    assert policy["content"].startswith("default-src 'none'")


def walk(ring):
    """Undo the steps: what the page's script does, in other words."""
    return np.cumsum(np.reshape(ring, (-1, 2)), axis=0) / DEGREES_TO_UNITS


def test_shapes_in_the_page_are_those_of_the_scan(data):
    shapes = small_scan().table("shapes")
    drawn = {client["id"]: client for client in data["clients"]}
    for shape in shapes[shapes["layer"] == "bed"].itertuples():
        client = drawn[shape.client_id]
        number = [bed[0] for bed in client["beds"]].index(shape.ref)
        [(_, _, ring)] = [
            s for s in client["shapes"] if data["layers"][s[0]] == "bed" and s[1] == number
        ]
        # Half a unit of the seventh decimal, and what the simplifying may move
        assert shapely.hausdorff_distance(shapely.Polygon(walk(ring)), shape.geometry) < 2e-7


def test_hole_and_second_part_of_an_area_are_drawn():
    holed = shapely.box(0, 0, 1e-3, 1e-3) - shapely.box(2e-4, 2e-4, 4e-4, 4e-4)
    shape = shapely.MultiPolygon([holed, shapely.box(2e-3, 0, 3e-3, 1e-3)])
    shapes = small_scan().table("shapes").head(1)
    shapes = shapes.set_geometry([shape], crs=4326).assign(layer="lawn", client_id="C0007", ref="")
    client = next(
        c
        for c in data_of(map_html(with_tables(small_scan(), shapes=shapes)))["clients"]
        if c["shapes"]
    )
    assert client["id"] == "C0007"
    [[_, bed, *rings]] = client["shapes"]
    assert (bed, len(rings)) == (-1, 3)


def test_scan_without_anything_makes_a_page():
    scan = small_scan()
    nothing = {
        name: getattr(scan, name).head(0)
        for name in ("clients", "lots", "beds", "offers", "calls", "problems")
    }
    html = map_html(replace(scan, **nothing, parts=[]))
    assert "No offer came out of this scan" in html
    assert data_of(html)["clients"] == []


def test_measured_client_has_a_place_and_no_drawing(data):
    [client] = [c for c in data["clients"] if c["id"] == "C0004"]
    clients = small_scan().clients.set_index("client_id")
    assert client["shapes"] == []
    assert client["at"] == [
        round(clients.loc["C0004", "lon"] * 1e7),
        round(clients.loc["C0004", "lat"] * 1e7),
    ]


@pytest.mark.parametrize("lot_count", [1, 4])
def test_parts_of_any_size_give_the_same_page(html, lot_count):
    assert map_html(in_parts(small_scan(), lot_count)) == html


def test_a_lot_says_each_sentence_once(data):
    for client in data["clients"]:
        assert len(client["words"]) == len(set(client["words"]))
        bed_places = {place for bed in client["beds"] for place in bed[-1]}
        said = {client["words"][place] for place in bed_places}
        beds = small_scan().table("beds")
        cautions = beds.loc[beds["client_id"] == client["id"], "cautions"]
        assert said == {caution for row in cautions for caution in row.split("; ")}


def split_up(bed_count):
    """The small scan as a book of more beds than one page holds."""
    scan = small_scan()
    return replace(scan, rules=scan.rules.model_copy(update={"map_max_beds": float(bed_count)}))


def test_a_large_book_has_a_page_a_route_and_an_index(files):
    assert list(files) == ["map/north.html", "map/south.html", "map/no-route.html", "map.html"]
    clients = small_scan().clients
    for name, route in (("north", "North"), ("south", "South"), ("no-route", "")):
        page = Reader(files[f"map/{name}.html"])
        expected = set(clients.loc[clients["route"] == route, "client_id"])
        assert {c["id"] for c in data_of(files[f"map/{name}.html"])["clients"]} == expected
        assert {had["data-client"] for had in page.find("li") if "data-client" in had} == expected
        assert page.find("a", href="../map.html")
        links = {had["href"].split(":")[0] for had in page.find("a")}
        assert links <= {"tel", "../map.html", "#map_plan"}
        assert page.find("link") == []


def test_the_index_sums_up_to_the_whole(files):
    index, whole = files["map.html"], summarize(small_scan())
    links = re.findall(r'<th scope="row"><a href="([^"]+)">([^<]+)</a>', index)
    assert links == [
        ("map/north.html", "North"),
        ("map/south.html", "South"),
        ("map/no-route.html", "No route"),
    ]
    assert set(files) == {link for link, _ in links} | {"map.html"}
    for name, key in (("beds", "beds"), ("offers", "offers")):
        cells = re.findall(rf'<td data-of="{name}">([\d,]+)</td>', index)
        assert sum(int(cell) for cell in cells) == whole[key]
    for key, value in (
        ("total-price", "price_usd"),
        ("total-area", "area_ft2"),
        ("total-expected", "expected_profit_usd"),
    ):
        parts = [
            Decimal(re.search(rf'id="{key}" value="([\d.]+)"', files[link])[1]) for link, _ in links
        ]
        assert sum(parts) == whole[value]
    # The policy lets nothing run and nothing be fetched
    assert "script-src ;" in index
    assert "<script" not in index


def test_call_numbers_and_bands_count_over_the_whole_book(files, data):
    on_pages = [c for name in files if "/" in name for c in data_of(files[name])["clients"]]
    assert sorted(on_pages, key=lambda c: c["id"]) == sorted(data["clients"], key=lambda c: c["id"])


def test_a_route_of_too_many_beds_has_several_pages():
    files = map_files(split_up(2))
    pages = {name: data_of(html)["clients"] for name, html in files.items() if "/" in name}
    assert "map/north-2.html" in pages
    seen = [client["id"] for clients in pages.values() for client in clients]
    assert sorted(seen) == sorted(small_scan().clients["client_id"])
    for clients in pages.values():
        # A page is full when it has so many beds; the last lot on it may bring one more
        assert sum(len(client["beds"]) for client in clients) <= 3
    assert "North, page 2 of" in files["map/north-2.html"]


@pytest.mark.parametrize("routes", [("A/B", "A b"), ("..", "../x"), ("CON", "con")])
def test_routes_named_alike_have_pages_of_their_own(routes):
    scan = split_up(3)
    route = [routes[n % 2] for n in range(len(scan.clients))]
    files = map_files(replace(scan, clients=scan.clients.assign(route=route)))
    names = [name for name in files if name != "map.html"]
    assert len({name.casefold() for name in names}) == len(names)
    assert all(re.fullmatch(r"map/[a-z0-9-]+\.html", name) for name in names)
    assert {re.search(r"<h1>([^<,]+)", files[name])[1] for name in names} == set(routes)


def luminance(color):
    """Relative luminance as WCAG 2.2 defines it (w3.org/TR/WCAG22/#dfn-relative-luminance)."""
    parts = [int(color[n : n + 2], 16) / 255 for n in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return float(np.dot(linear, [0.2126, 0.7152, 0.0722]))


def test_bands_differ_without_color(html):
    colors = dict(re.findall(r"--(\w+): (#[0-9a-f]{6});", html))
    light = [luminance(colors[name]) for name in ("first", "third", "rest")]
    contrast = [(b + 0.05) / (a + 0.05) for a, b in pairwise(light)]
    assert min(contrast) > 2  # steps that a gray print and every eye keep apart
    paper, ink = luminance(colors["paper"]), luminance(colors["soft"])
    assert (paper + 0.05) / (ink + 0.05) > 4.5  # WCAG 2.2, 1.4.3: the faintest text
