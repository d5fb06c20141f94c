"""Files made to take a reader's time and memory, a few kilobytes to a few megabytes each."""

from __future__ import annotations

import io
import json
import sqlite3
import struct
import zipfile
from collections.abc import Iterator
from pathlib import Path

import geopandas as gpd
import pyarrow as pa
import pyarrow.parquet as pq
import shapely
import xlsxwriter

from scanner.store import ceilings
from tests import open_documents
from tests.each import DEPTH

SHEET_XML = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
HEADING = '<row r="1"><c r="A1" t="inlineStr"><is><t>client_id</t></is></c></row>'
TRIANGLE = '{"type":"Polygon","coordinates":[[[-98,41],[-97.999,41],[-97.999,41.001],[-98,41]]]}'
ENDLESS = """
    CREATE VIEW v AS WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n)
    SELECT i AS fid, NULL AS geom, hex(zeroblob(1000)) AS kind FROM n
"""
BOX = shapely.box(-98, 41, -97.999, 41.001)

SHARE = 10 if DEPTH == 1 else 1
"""Of these ceilings the readers have a share: what is read up to one costs alike for each row, cell, fault and point."""
LOWERED = {
    name: getattr(ceilings, name) // SHARE
    for name in ("MAX_ROWS", "MAX_CELLS", "MAX_FAULTS", "MAX_BRACKETS")
}
ROWS, CELLS, FAULTS, POINTS = LOWERED.values()

Hostile = tuple[Path, str]
"""A file, and words of the sentence that it is refused with."""


def workbook(
    path: Path, rows: str, *, texts: str = "", sheets: int = 1, head: str = "", styles: str = ""
) -> Path:
    """Write a workbook whose first sheet, texts and styles are as given, however foul."""
    stream = io.BytesIO()
    with xlsxwriter.Workbook(stream) as made:
        for number in range(sheets):
            made.add_worksheet(f"s{number}")
        made.get_worksheet_by_name("s0").write_string(0, 0, "x")
    with zipfile.ZipFile(stream) as packed:
        parts = {name: packed.read(name) for name in packed.namelist()}
    sheet = f'{head}<worksheet xmlns="{SHEET_XML}"><sheetData>{rows}</sheetData></worksheet>'
    parts["xl/worksheets/sheet1.xml"] = sheet.encode()
    if texts:
        parts["xl/sharedStrings.xml"] = f'<sst xmlns="{SHEET_XML}">{texts}</sst>'.encode()
    if styles:
        parts["xl/styles.xml"] = f'<styleSheet xmlns="{SHEET_XML}">{styles}</styleSheet>'.encode()
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as packed:
        for name, content in parts.items():
            packed.writestr(name, content)
    return path


def bomb_of_names() -> str:
    """A document type whose last name is a billion letters long."""
    names = "".join(f'<!ENTITY a{at} "{f"&a{at - 1};" * 10}">' for at in range(1, 10))
    return f'<!DOCTYPE x [<!ENTITY a0 "lol">{names}]>'


def hostile_sheets(folder: Path) -> Iterator[Hostile]:
    """Client lists."""

    def book(name: str, rows: str, **more: object) -> Path:
        return workbook(folder / f"{name}.xlsx", HEADING + rows, **more)

    def text(name: str, content: bytes) -> Path:
        path = folder / f"{name}.csv"
        path.write_bytes(content)
        return path

    far = f'<row r="{ROWS}"><c r="XFD{ROWS}"><v>1</v></c></row>'
    yield book("far", far), f"row {ROWS:,}, column 16,384, far from any list: copy the cells"
    yield (
        book("farther", '<row r="99999999999"><c r="A99999999999"/></row>'),
        f"{ROWS:,} rows: copy",
    )
    yield book("blanks", f"<row>{'<c/>' * 20_000}</row>"), "more than 16,384 cells in a row: copy"
    yield book("bomb", f"<row>{' ' * 30_000_000}</row>"), "bytes, more than 10,000,000: copy"
    yield book("sheets", "", sheets=101), "more than 100 sheets"
    yield (
        book("names", "<row><c t='inlineStr'><is><t>&a9;</t></is></c></row>", head=bomb_of_names()),
        "document type",
    )
    once = "".join(f'<row r="{at}"><c r="A{at}" t="s"><v>0</v></c></row>' for at in range(2, 200))
    yield (
        book("same", once, texts=f"<si><t>{'x' * 100_000}</t></si>"),
        "same long texts over and over",
    )
    yield (
        book("long", once, texts=f"<si><t>{'x' * 140_000}</t></si>"),
        "more than 131,072 letters in row 2",
    )
    looks = f"<cellXfs>{'<xf/>' * 70_000}</cellXfs>"
    yield book("looks", "", styles=looks), "65,536 ways in which its cells look"
    deep = "<a>" * 200
    yield book("deep", deep + deep.replace("<", "</")), "more than 100 parts within each other"
    yield text("cell", b"client_id,name\nA," + b"x" * 140_000), "more than 131,072 letters in row 2"
    yield text("commas", b"client_id" + b"," * 2_100), "column 2,101, far from any list"
    yield text("lines", b"client_id,name\n" + b"\n" * (ROWS + 50)), f"more than {ROWS:,} rows"
    wide = b",".join(b"c%d" % at for at in range(1_500))
    yield (
        text("wide", wide + b",client_id\n" + b"1\n" * (CELLS // 1_400)),
        f"cells below its headings, more than {CELLS:,}",
    )
    yield (
        text("quotes", b'client_id,name\n"A\n' + b'"\n' * (FAULTS + 50)),
        f"{FAULTS:,} quotation marks without",
    )
    yield text("nul", b"client_id,na\0me\nA,b\n"), "save it again as CSV UTF-8"
    yield (
        text("wide_letters", "client_id,name\nA,b\n".encode("utf-16-le")),
        "save it again as CSV UTF-8",
    )
    yield (
        text(
            "faults",
            b"client_id,visits_per_year\n" + b"".join(b"%d,x\n" % at for at in range(FAULTS + 10)),
        ),
        f"{FAULTS:,} faults of one kind",
    )


def hostile_documents(folder: Path) -> Iterator[Hostile]:
    """Client lists as LibreOffice saves them."""
    heading = open_documents.row("client_id")

    def made(name: str, *rows: str, **more: object) -> Path:
        path = folder / f"{name}.ods"
        path.write_bytes(open_documents.document(heading, *rows, **more))
        return path

    def cell(text: str, attributes: str = "") -> str:
        return f"<table:table-cell {attributes}><text:p>{text}</text:p></table:table-cell>"

    wide = cell("x", 'table:number-columns-repeated="999999999"')
    yield made("far", open_documents.row(wide)), "column 999,999,999, far from any list: copy"
    row = open_documents.row("x", times=999_999_999)
    yield made("tall", row), f"more than {ROWS:,} rows: copy the cells"
    blank = open_documents.row(cell(""), times=999_999_999)
    yield made("gap", blank, open_documents.row("x")), f"more than {ROWS:,} rows: copy the cells"
    wide = cell("x", 'table:number-columns-repeated="2000"')
    block = open_documents.row(wide, times=CELLS // 1_000)
    yield made("block", block), f"more than {CELLS:,} cells"
    spaces = cell("<text:s text:c='999999999'/>" * 1_000)
    yield made("spaces", open_documents.row(spaces + cell("x"))), "more than 131,072 letters"
    same = open_documents.row("x" * 100_000, times=1_000)
    yield made("same", same), "same long texts over and over"
    yield made("bomb", open_documents.row(cell(" " * 30_000_000))), "bytes, more than 10,000,000"
    yield made("sheets", sheets=101), "more than 100 sheets"
    yield made("names", open_documents.row(cell("&a9;")), head=bomb_of_names()), "document type"
    deep = "<text:span>" * 200
    yield made("deep", open_documents.row(cell(deep + deep.replace("<", "</")))), "100 parts within"
    damaged = cell("x", f'table:number-columns-repeated="{"9" * 5_000}"')
    yield made("digits", open_documents.row(damaged)), "not a spreadsheet that can be opened"


def feature(shape: str = TRIANGLE, said: str = '{"kind":"street"}') -> str:
    """Write a feature of GeoJSON."""
    return f'{{"type":"Feature","properties":{said},"geometry":{shape}}}'


def hostile_geojson(folder: Path) -> Iterator[Hostile]:
    """GeoJSON layers."""

    def layer(name: str, features: str, *, before: str = "") -> Path:
        path = folder / f"{name}.geojson"
        path.write_text(f'{{"type":"FeatureCollection",{before}"features":[{features}]}}')
        return path

    deep = '{"type":"GeometryCollection","geometries":['
    yield layer("deep", feature(deep * 900 + "]}" * 900)), "is no GeoJSON"
    yield layer("deeper", feature("[" * 200_000)), "is no GeoJSON"
    yield (
        layer("lists", feature(said=f'{{"kind":{"[" * 900}{"]" * 900}}}')),
        "kind is '(several values)'",
    )
    digits = "9" * 5_000
    yield layer("digits", feature(said=f'{{"kind":{digits}}}')), "kind is 'inf'"
    yield (
        layer("digits_far", feature(f'{{"type":"Point","coordinates":[{digits},1]}}')),
        "cannot be read",
    )
    yield layer("crs", feature(), before='"crs":{"properties":5},'), "coordinate system"
    yield (
        layer("crs_list", feature(), before='"crs":{"properties":{"name":{"a":[1]}}},'),
        "coordinate system",
    )
    yield (
        layer(
            "crs_long",
            feature(),
            before=f'"crs":{{"properties":{{"name":"+proj={"x" * 900_000}"}}}},',
        ),
        "coordinate system",
    )
    line = f'{{"type":"LineString","coordinates":[{"[0,0]," * max(800_000, POINTS * 3 // 2)}[0,0]]}}'  # more than is read at once
    yield layer("points", feature(line)), f"more than 64,000,000 letters or {POINTS:,} points"
    yield layer("zeros", "0," * (FAULTS + 50) + "0"), f"more than {FAULTS:,} faulty features"
    said = ",".join(f'"p{at}":1' for at in range(2_001))
    yield layer("properties", feature(said=f"{{{said}}}")), "more than 2,000 different properties"
    yield layer("half", feature(said='{"kind":"\\ud800"}')), "kind is '�'"
    yield (
        layer("far", feature('{"type":"Point","coordinates":[1e999,1]}', '{"kind":"tree"}')),
        "cannot be read",
    )
    hole = ",[[-97.5,41.1],[-97.4,41.1],[-97.4,41.2],[-97.5,41.1]]" * 10_000
    ring = TRIANGLE.removesuffix("]}") + f"{hole}]}}"
    yield layer("holes", feature(ring)), "crosses itself over and over"


def hostile_databases(folder: Path) -> Iterator[Hostile]:
    """GeoPackages."""
    base = folder / "base.gpkg"
    table = gpd.GeoDataFrame({"kind": ["street"]}, geometry=[BOX], crs=4326)
    table.to_file(base, driver="GPKG", layer="lots")

    def package(name: str, *statements: str) -> Path:
        path = folder / f"{name}.gpkg"
        path.write_bytes(base.read_bytes())
        connection = sqlite3.connect(path)
        connection.execute("PRAGMA synchronous = OFF")
        connection.execute("BEGIN")
        for statement in statements:
            connection.execute(statement)
        connection.commit()
        connection.close()
        return path

    listed = "INSERT INTO gpkg_contents (table_name, data_type, identifier, srs_id) VALUES ('v', 'features', 'v', 4326)"
    yield package("view", ENDLESS, listed), "holds a view, v"
    yield (
        package("column", "ALTER TABLE lots ADD COLUMN along TEXT AS (hex(zeroblob(400000000)))"),
        "lots.along, that is worked out anew",
    )
    yield (
        package("default", f"ALTER TABLE lots ADD COLUMN along TEXT DEFAULT '{'x' * 900_000}'"),
        "lots.along, that is worked out anew",
    )
    yield package("virtual", "CREATE VIRTUAL TABLE words USING fts5(x)"), "holds a table, words"
    yield (
        package("tables", *(f"CREATE TABLE t{at} (x)" for at in range(1_250))),
        "more than 1,200 tables",
    )


def hostile_kml(folder: Path) -> Iterator[Hostile]:
    """KML layers."""

    def kml(name: str, inner: str, *, head: str = "", letters: str = "utf-8") -> Path:
        path = folder / f"{name}.kml"
        text = (
            f'{head}<kml xmlns="http://www.opengis.net/kml/2.2"><Document>{inner}</Document></kml>'
        )
        path.write_bytes(text.encode(letters))
        return path

    yield (
        kml("deep", "<Folder>" * 150_000 + "</Folder>" * 150_000),
        "more than 100 parts within each other",
    )
    yield (
        kml("folders", "<Folder><name>a</name><Placemark/></Folder>" * 300),
        "more than 200 folders",
    )
    # its letters hide what a search for the words would find, and show `<kml` where it is none
    head = f'\ufeff<?xml version="1.0" encoding="UTF-16"?>{bomb_of_names()}'
    yield (
        kml(
            "wide",
            "<Placemark><name>&a9;\u6b3c\u6c6d</name></Placemark>",
            head=head,
            letters="utf-16-le",
        ),
        "document type",
    )


def hostile_layers(folder: Path) -> Iterator[Hostile]:
    """Zipped Shapefiles, GeoParquet and FlatGeobuf layers."""
    shp = struct.pack(">7i", 9994, 0, 0, 0, 0, 0, 50) + struct.pack("<2i8d", 1000, 5, *[0] * 8)
    many = folder / "many.zip"
    with zipfile.ZipFile(many, "w") as packed:
        for at in range(201):
            packed.writestr(f"a{at}.shp", shp)
            packed.writestr(f"a{at}.dbf", b"")
    yield many, "201 layers, more than 200"
    dbf = (
        struct.pack("<4BIHH20x", 3, 1, 1, 1, 4_000_000_000, 65, 2)
        + struct.pack("<11sc4xBB14x", b"kind", b"C", 1, 0)
        + b"\r"
    )
    lying = folder / "lying.zip"
    with zipfile.ZipFile(lying, "w", zipfile.ZIP_DEFLATED) as packed:
        packed.writestr("lots.shp", shp)
        packed.writestr("lots.dbf", dbf)
    yield lying, "the file holds no feature"
    bomb = folder / "bomb.zip"
    with zipfile.ZipFile(bomb, "w", zipfile.ZIP_DEFLATED) as packed:
        packed.writestr("lots.shp", bytes(12_000_000))
    yield bomb, "unpacks to 12,000,000"

    about = {"primary_column": "geometry", "columns": {"geometry": {"encoding": "WKB"}}}

    def parquet(name: str, **columns: object) -> Path:
        path = folder / f"{name}.parquet"
        table = pa.table(columns).replace_schema_metadata({"geo": json.dumps(about)})
        pq.write_table(table, path, compression="zstd")
        return path

    wkb = shapely.to_wkb(BOX)
    yield (
        parquet(
            "rows", geometry=pa.nulls(2_000_000, pa.binary()), kind=pa.nulls(2_000_000, pa.string())
        ),
        f"2,000,000 features, more than {FAULTS:,}",
    )
    one = pa.DictionaryArray.from_arrays(
        pa.array([0] * 4_096, pa.int32()), pa.array(["x" * 2_000_000])
    )
    yield parquet("text", geometry=[wkb] * 4_096, kind=one), "unpack to 8,192"
    yield (
        parquet("columns", geometry=[wkb], **{f"c{at}": ["x"] for at in range(2_001)}),
        "2,002 columns",
    )
    huge = folder / "huge.fgb"
    huge.write_bytes(b"fgb\x03fgb\x01" + struct.pack("<I", 4_000_000_000) + bytes(100))
    yield huge, "the file holds no feature"


def hostile_settings(folder: Path) -> Iterator[Hostile]:
    """Local rules."""
    for name, content, words in (
        ("digits", f"bed_depth_ft = {'9' * 5_000}", "the file cannot be read"),
        ("dots", f"{'.'.join('a' * 50_000)} = 1", "10,000 in a line"),
        ("groups", f"{'.'.join('a' * 4_900)} = 1", "no setting has the name"),
        ("deep", f"a = {'[' * 9_000}", "the file cannot be read"),
        ("long", "a = 1\n" * 40_000, "more than 200,000 letters"),
        (
            "half_address",
            '[backgrounds]\nimagery_url = "https://[::1/{z}/{x}/{y}"',
            "an https:// address",
        ),
        (
            "blank_in_address",
            '[backgrounds]\nimagery_url = "https://a b/{z}/{x}/{y}"',
            "an https:// address",
        ),
    ):
        path = folder / f"{name}.toml"
        path.write_text(content)
        yield path, words
