"""Text that would run, through every field, name and output: nothing runs, nothing leaves, it stands there as typed."""

from __future__ import annotations

import csv
import io
import json
import re
import socket
import tomllib
from contextlib import suppress
from itertools import cycle
from pathlib import Path
from xml.sax.saxutils import escape

import geopandas as gpd
import openpyxl
import pdfplumber
import pytest
import shapely
from playwright.sync_api import Browser, Page, Route

from scanner.sheets.cells import unguard
from tests.cli.desk import type_in

TODAY = ("--today", "2026-03-02")
MARK = "window.hit=1"
TEXTS = (
    "=cmd|' /C calc'!A0",
    "+1+cmd|'/C calc'!A0",
    "-2+3+cmd|' /C calc'!A0",
    "@SUM(1+1)*cmd|' /C calc'!A0",
    '=HYPERLINK("http://gone.example/?"&A1,"x")',
    "'=1+1",
    f"<script>{MARK}</script>",
    f'"><img src=x onerror="{MARK}">',
    f"</script><script>{MARK}</script>",
    f"<svg/onload={MARK}>",
    f"--><!--<script>{MARK}//",
    f"</textarea></title></style><img src=http://gone.example/a onerror={MARK}>",
    f"' onfocus={MARK} autofocus '",
    "<base href=http://gone.example/><meta http-equiv=refresh content=0;url=http://gone.example/>",
    "<style>@import url(http://gone.example/a.css)</style>",
    "${" + MARK + "}",
    "`${" + MARK + "}`",
    "{{ 7*7 }}{% for x in y %}",
    f"javascript:{MARK}",
    "[red]red[/red][link=http://gone.example]here[/link]:smile:",
    "%s %d %n {0} {name} {}",
    "../../../etc/passwd",
    "C:\\Windows\\NUL",
    "a\x1b[2J\x1b]0;owned\x07b\x9b31m",
    "right\u202eto left\u2066 and\u200b nothing\u00ad",
    "line\u2028and\u2029paragraph\x85next",
    "e\u0301 \U0001f331 \u0627\u0644\u0639\u0634\u0628 \u5e8a Łukasz Ź\ufdfa",
    "]]></kml>&lt;&amp;&#x3c;",
    '"""\n[company]\nname = "other"\n#',
    'O\'Neil "Bob" <bob@example.org>; DROP TABLE calls;--',
    "x" * 400,
    "_x0041_ _x000D_ _xD800_",
)
"""Each is an attack on something that shows text, or a letter that something chokes on."""

COLUMNS = ("=cmd|'x'!A1", "<b onclick=window.hit=1>", "{{own}}", "a\x1b[31m", "co\u202elumn")
FIELDS = (
    "name",
    "address",
    "phone",
    "email",
    "route",
    "mow_day",
    "stop",
    "parcel_id",
    "notes",
    "hoa",
    *COLUMNS,
)
STEP = 1 / 3000


def make_book(folder: Path) -> Path:
    """A book with a client for each text, and that text in all his fields; every third lot is drawn."""
    (folder / "sites").mkdir(parents=True)
    rows = [
        {"client_id": f"C{at:02}", **dict.fromkeys(FIELDS, text)} for at, text in enumerate(TEXTS)
    ]
    # ids that a person might well type, and two that nobody would
    rows[0]["client_id"], rows[6]["client_id"] = "=1+1", "<script>window.hit=1</script>"
    with (folder / "clients.csv").open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, [*rows[0]])
        writer.writeheader()
        writer.writerows(rows)
    with (folder / "measured.csv").open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(("client_id", "along", "length_ft", "room_ft", "note"))
        writer.writerows(
            (row["client_id"], "curb", 70, 30, text) for row, text in zip(rows, TEXTS, strict=True)
        )
        writer.writerows((text, text, text, text, text) for text in TEXTS)
    quoted = json.dumps(TEXTS[7])
    (folder / "local.toml").write_text(
        f"bed_depth_ft = {{ value = 4, source = {quoted} }}\n[company]\nname = {quoted}\nphone = {json.dumps(TEXTS[0])}\n"
        f"license_id = {json.dumps(TEXTS[15])}\n[{json.dumps(TEXTS[8])}]\nx = 1\n"
    )
    (folder / "rates.toml").write_text(f"{json.dumps(TEXTS[6])} = 3\n")
    (folder / "capacity.csv").write_text(
        "week,crew,free_crew_days\n2026-03-02,<b>,4\n2026-03-09,=1+1,4\n"
    )
    for number, row in enumerate(rows[::3]):
        draw(folder / "sites", row["client_id"], TEXTS[3 * number], number)
    return folder


folders: dict[int, str] = {}


def draw(folder: Path, client_id: str, text: str, number: int) -> None:
    """Draw a lot with its street, under a file and a layer whose names are texts too."""
    x = -98 + number * STEP
    lot = shapely.box(x, 41, x + 0.0003, 41.0004)
    street = shapely.box(x, 40.9999, x + 0.0003, 41)
    table = gpd.GeoDataFrame(
        {"kind": ["property", "street", text], "client_id": [client_id, "", text], "what": text, text[:60]: text},
        geometry=[lot, street, lot], crs=4326,
    )  # fmt: skip
    name = re.sub(r"[/\\\0]", "_", text)[:40]
    (folder / f"{number} {name}.geojson").write_text(table.to_json(), encoding="utf-8")
    said = escape(re.sub("[\x00-\x1f]", "", text))
    folders[number] = (
        f"<Folder><name>{said}</name><Placemark><name>{said}</name><description>{said}</description></Placemark></Folder>"
    )
    kml = f'<kml xmlns="http://www.opengis.net/kml/2.2"><Document>{"".join(folders.values())}</Document></kml>'
    (folder / "layers.kml").write_text(kml, encoding="utf-8")


def cut_off(monkeypatch: pytest.MonkeyPatch) -> tuple[socket.socket, list[object]]:
    """Send whatever leaves this process to a server of ours, and write down whatever Python would send."""
    server = socket.create_server(("127.0.0.1", 0))
    server.settimeout(0.1)
    asked = list[object]()

    def refuse(*what: object) -> None:
        asked.append(what)
        raise OSError

    for name in (
        "http_proxy",
        "https_proxy",
        "HTTP_PROXY",
        "HTTPS_PROXY",
        "ALL_PROXY",
        "GDAL_HTTP_PROXY",
    ):
        monkeypatch.setenv(name, f"127.0.0.1:{server.getsockname()[1]}")
    monkeypatch.setattr(socket, "getaddrinfo", refuse)
    monkeypatch.setattr(socket.socket, "connect", refuse)
    return server, asked


def lead_away(place: Path, address: str) -> None:
    """Put layers beside and into a book that name an address wherever their formats have room for one."""
    link = f"<NetworkLink><Link><href>{address}.kml</href></Link></NetworkLink>"
    style = f"<Style><IconStyle><Icon><href>{address}.png</href></Icon></IconStyle></Style>"
    mark = f"<Placemark><styleUrl>{address}#x</styleUrl><name>street</name></Placemark>"
    sites = place / "book" / "sites"
    (sites / "away.kml").write_text(
        f'<kml xmlns="http://www.opengis.net/kml/2.2"><Document>{style}{link}{mark}</Document></kml>'
    )
    crs = {
        "type": "link",
        "properties": {"href": f"{address}.prj", "name": f"{address}.prj", "type": "proj4"},
    }
    (sites / "away.geojson").write_text(
        json.dumps({"type": "FeatureCollection", "crs": crs, "features": []})
    )
    square = "-98,41 -97.9997,41 -97.9997,41.0004 -98,41.0004 -98,41"
    (place / "lots.gml").write_text(
        '<ogr:FeatureCollection xmlns:xsi="http://www.w3.org/2001/XMLSchema-instance" xmlns:xlink="http://www.w3.org/1999/xlink" '
        f'xsi:schemaLocation="http://ogr.maptools.org/ {address}.xsd" xmlns:ogr="http://ogr.maptools.org/" '
        f'xmlns:gml="http://www.opengis.net/gml"><gml:featureMember xlink:href="{address}.gml"><ogr:lot><ogr:geometryProperty>'
        f'<gml:Polygon srsName="EPSG:4326"><gml:outerBoundaryIs><gml:LinearRing><gml:coordinates>{square}</gml:coordinates>'
        "</gml:LinearRing></gml:outerBoundaryIs></gml:Polygon></ogr:geometryProperty><ogr:id>1</ogr:id></ogr:lot>"
        "</gml:featureMember></ogr:FeatureCollection>"
    )
    (place / "county").mkdir()
    (place / "county" / "clients.csv").write_text(
        "client_id,name,lon,lat\nA,Ada,-97.9999,41.0001\n"
    )


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> dict[str, object]:
    """Everything that a book of such texts comes to."""
    place = tmp_path_factory.mktemp("hostile")
    monkeypatch = pytest.MonkeyPatch()
    monkeypatch.chdir(place)
    server, asked = cut_off(monkeypatch)
    book, out = make_book(place / "book"), place / "out"
    lead_away(place, f"http://127.0.0.1:{server.getsockname()[1]}/lots")
    told = {}
    who = "=1+1"
    for words in (
        ("check", book), ("check", book, "--json"), ("checklist", book, "--out", out), ("scan", book, "--out", out),
        ("calls", book), ("calls", book, "--json"), ("client", book, who), ("client", book, who, "--json"),
        ("explain", book, who), ("sketch", book, who), ("trace", book),
        *(("record", book, "calls", row, outcome, "--note", text) for row, outcome, text in zip(
            ("C01", "C02", "C03", "C04", "C05"), cycle(("call back", "not now", "quoted", "sold", "visit")), TEXTS, strict=False)),
        ("assemble", place / "county", "--parcels", place / "lots.gml"), ("week", book), ("promo", book, "--weeks", "2026-03-02..2026-03-09"), ("forecast", book), ("care", book), ("calibrate", book),
        ("scan", book, "--out", out), ("calls", book), ("record", book, "undo"),
    ):  # fmt: skip
        today = (
            ()
            if words[0]
            in ("check", "checklist", "trace", "explain", "sketch", "calibrate", "assemble")
            else TODAY
        )
        result = type_in(*map(str, words), *today)
        told[len(told), *map(str, words[:1])] = (result.exit_code, result.stdout, result.stderr)
    monkeypatch.undo()
    with server, suppress(TimeoutError):
        asked.append(server.accept())
    return {"asked": asked, "place": place, "out": out, "told": told, "book": book}


def typed(text: str) -> str:
    """Give a text as people see it: blanks are one blank, and what cannot be seen is not there."""
    return " ".join(
        re.sub(
            "[\x00-\x08\x0e-\x1f\x7f-\x84\x86-\x9f\u200b\u00ad\u202a-\u202e\u2066-\u2069]", "", text
        ).split()
    )


def files(made: dict[str, object], ending: str) -> list[Path]:
    found = sorted(
        path for path in made["place"].rglob(f"*{ending}") if made["book"] not in path.parents
    )
    assert found, ending
    return found


def test_every_command_ends_in_words(made):
    for words, (code, stdout, stderr) in made["told"].items():
        assert code in (0, 1), (words, stderr)
        assert "Traceback" not in stdout + stderr
        # what is told to people moves no cursor; results are for programs and spelled out on a terminal
        assert not re.search("[\x00-\x08\x0b-\x1f\x7f-\x9f\u202a-\u202e]", stderr), words


def test_no_command_asks_a_server_whatever_the_layers_name(made):
    assert made["told"][16, "assemble"][0] == 0
    assert made["asked"] == []


def test_no_cell_of_any_workbook_is_a_formula(made):
    seen = ""
    for path in files(made, ".xlsx"):
        for sheet in openpyxl.load_workbook(path).worksheets:
            for row in sheet.iter_rows():
                for cell in row:
                    assert cell.data_type != "f", (
                        path.name,
                        sheet.title,
                        cell.coordinate,
                        cell.value,
                    )
                    assert cell.hyperlink is None
                    seen += f"{cell.value}\n" if cell.data_type == "s" else ""
    assert all(text in seen for text in (*TEXTS[:4], *TEXTS[6:10], COLUMNS[0]))


def test_no_cell_of_any_csv_runs(made):
    for path in files(made, ".csv"):
        rows = list(csv.reader(io.StringIO(path.read_bytes().decode("utf-8"), newline="")))
        for cell in (cell for row in rows for cell in row):
            assert not re.match(r"[=+@\t\r]|-(?![\d.]+$)", cell), (path.name, cell)
        # one more row than records, whatever line ends stand in the cells
        assert len({len(row) for row in rows}) == 1, path.name


def test_data_for_programs_stand_as_typed(made):
    for path in (*files(made, ".json"), *made["out"].glob("*.geojson")):
        json.loads(path.read_text(encoding="utf-8"))
    for _, stdout, _ in made["told"].values():
        if stdout.startswith(("{", "[")):
            json.loads(stdout)
    listed = [out for words, (_, out, _) in made["told"].items() if words[1] == "calls"]
    names = {call["name"] for call in json.loads(listed[1])}
    assert names == {unguard(text) for text in TEXTS}
    for path in made["place"].rglob("*.toml"):
        if path.parent != made["book"]:
            tomllib.loads(path.read_text(encoding="utf-8"))


def test_papers_hold_no_scripts_and_no_links(made):
    for path in files(made, ".pdf"):
        raw = path.read_bytes()
        assert not re.search(
            rb"/(JavaScript|JS|Launch|URI|OpenAction|AA|EmbeddedFile|RichMedia)\b", raw
        ), path.name
        with pdfplumber.open(path) as document:
            assert document.pages[0].extract_text().strip()


def watched(chromium: Browser, asked: list[str], complaints: list[str]) -> Page:
    """Open an empty page that writes down what it asks for and what it complains of."""

    def pass_on(route: Route) -> None:
        asked.append(route.request.url)
        route.continue_()

    page = chromium.new_context().new_page()
    page.route("**/*", pass_on)
    page.on("dialog", lambda dialog: complaints.append(dialog.message))
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.on("console", lambda message: complaints.append(message.text))
    return page


@pytest.mark.browser
def test_pages_run_nothing_ask_for_nothing_and_show_what_was_typed(made, chromium):
    shown = ""
    for path in files(made, ".html"):
        html = path.read_text(encoding="utf-8")
        assert "default-src 'none'" in html, path.name
        assert '<meta name="referrer" content="no-referrer">' in html, path.name
        asked, complaints = list[str](), list[str]()
        page = watched(chromium, asked, complaints)
        page.goto(path.as_uri())
        page.evaluate("document.querySelectorAll('details').forEach(one => one.open = true)")
        assert page.evaluate("window.hit") is None, path.name
        assert [url for url in asked if not url.startswith(("file:", "data:", "blob:"))] == [], (
            path.name
        )
        assert complaints == [], path.name
        assert page.evaluate("location.href") == path.as_uri()
        assert page.evaluate("document.querySelectorAll('base, object, embed, iframe').length") == 0
        shown += page.evaluate("document.documentElement.textContent") + "\n"
        page.context.close()
    seen = typed(shown)
    for text in TEXTS:
        assert typed(unguard(text)) in seen, text
