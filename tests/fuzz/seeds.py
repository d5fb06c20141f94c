"""Small sound files of every kind that is read, what reads each, and how one is spoiled."""

from __future__ import annotations

import io
import json
import random
import zipfile
from collections.abc import Callable, Iterator
from datetime import date
from pathlib import Path
from tempfile import TemporaryDirectory

import geopandas as gpd
import pandas as pd
import shapely
import xlsxwriter
from click.testing import CliRunner

from scanner.book.clients import read_client_list
from scanner.book.county.sources import Source, read_source
from scanner.book.settings import read_rates, read_rules
from scanner.book.sites import read_sites
from scanner.calls.log import read_last_scan, read_season
from scanner.cli import main
from scanner.errors import InputError, LogError
from scanner.schema.log_tables import LISTED
from scanner.sheets.lists import CALL_LIST
from scanner.sheets.reader import read_sheet
from tests import open_documents

CLIENTS = pd.DataFrame({"client_id": ["A", "007"]}, dtype="str")
TOKENS = (
    b"\0", b"\xff\xfe", b"\xed\xa0\x80", b'"', b"'", b"<", b">", b"&", b"]]>", b"{", b"[", b"}", b"]", b"null", b"NaN", b"-1",
    b"1e999", b"99999999999999999999", b"\\ud800", b"\r", b"\n", b",", b"=1+1", b"XFD1048576", b"_x0000_", b"\x80\0\0\0", b"\x7f\xff\xff\xff",
)  # fmt: skip


def read_clients(path: Path) -> None:
    read_client_list(path.parent)


def read_calls(path: Path) -> None:
    read_sheet(path, CALL_LIST)


def read_layer(path: Path) -> None:
    read_sites(path.parent, CLIENTS)


def read_county(path: Path) -> None:
    read_source(Source(path))


def read_settings(path: Path) -> None:
    read_rules(path)
    read_rates(path)


def read_log(path: Path) -> None:
    season = read_season(path.parent)
    read_last_scan(path.parent, LISTED)
    len(season.beds)


def sheet(name: str, *rows: tuple[object, ...]) -> bytes:
    stream = io.BytesIO()
    with xlsxwriter.Workbook(stream) as book:
        page = book.add_worksheet(name)
        for at, row in enumerate(rows):
            page.write_row(at, 0, row)
    return stream.getvalue()


ROWS = (
    (
        "client_id",
        "name",
        "lon",
        "lat",
        "client_since",
        "visits_per_year",
        "annual_usd",
        "renter",
        "dog",
    ),
    ("A", "Ada Quill", -98.0, 41.0, "2019-04-01", 28, 1400.5, "no", "yes"),
    ("007", "Łukasz", -98.001, 41.0, "2020", 30, 1200, "yes", ""),
)
RULES = """
bed_depth_ft = { value = 4, low = 3, high = 5, source = "ours" }
house_faces = ["front", "side"]
[setbacks]
hydrant_ft = 3
[company]
name = "Larkspindle"
[backgrounds]
imagery_url = "https://a.example.org/{z}/{x}/{y}"
"""


def layers() -> Iterator[tuple[str, bytes]]:
    """Write the same few features in every format."""
    lot = shapely.box(-98, 41, -97.9997, 41.0004)
    shapes = [
        lot,
        shapely.box(-98, 40.9999, -97.9997, 41),
        shapely.box(-97.9999, 41.0001, -97.9998, 41.0002),
    ]
    table = gpd.GeoDataFrame(
        {"kind": ["property", "street", "house"], "client_id": ["A", "", "A"], "curbed": ["", "yes", ""], "year_built": [1990.0, None, None]},
        geometry=shapes, crs=4326,
    )  # fmt: skip
    yield (
        "a.geojson",
        json.dumps(
            json.loads(table.to_json())
            | {"crs": {"type": "name", "properties": {"name": "EPSG:4326"}}}
        ).encode(),
    )
    with TemporaryDirectory() as folder:
        place = Path(folder)
        for name, driver in (
            ("a.gpkg", "GPKG"),
            ("a.fgb", "FlatGeobuf"),
            ("a.kml", "KML"),
            ("a.gml", "GML"),
            ("lots.shp", None),
        ):
            table.to_file(place / name, driver=driver)
            if name != "lots.shp":
                yield name, (place / name).read_bytes()
        table.to_parquet(place / "a.parquet")
        yield "a.parquet", (place / "a.parquet").read_bytes()
        parts = {path.name: path.read_bytes() for path in place.glob("lots.*")}
    yield "a.zip", zipped(parts)


def log() -> bytes:
    """Write the log of a scanned book with a call on record."""
    with TemporaryDirectory() as folder:
        book = Path(folder) / "book"
        (book / "sites").mkdir(parents=True)
        (book / "clients.csv").write_bytes(text(ROWS))
        (book / "sites" / "a.geojson").write_bytes(next(layers())[1])
        for words in (("scan", "--out", str(book / "out")), ("record", "calls", "A", "call back")):
            CliRunner().invoke(
                main,
                [words[0], str(book), *words[1:], "--today", "2026-03-02"],
                catch_exceptions=False,
            )
        return (book / "book.sqlite").read_bytes()


def text(rows: tuple[tuple[object, ...], ...]) -> bytes:
    return "".join(",".join(map(str, row)) + "\n" for row in rows).encode()


def zipped(parts: dict[str, bytes]) -> bytes:
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w") as packed:
        for name, content in parts.items():
            packed.writestr(name, content)
    return stream.getvalue()


def unpacked(content: bytes) -> dict[str, bytes]:
    """Unpack a zip; nothing where it is spoiled already."""
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as packed:
            return {name: packed.read(name) for name in packed.namelist()}
    except Exception:  # noqa: BLE001  # whatever the unpacker raises of a spoiled one
        return {}


def seeds() -> Iterator[tuple[Callable[[Path], None], str, bytes]]:
    """What reads a file, its name, and a sound one."""
    yield read_clients, "clients.csv", text(ROWS)
    yield read_clients, "clients.xlsx", sheet("Clients", *ROWS)
    rows = [open_documents.row(*map(str, row)) for row in ROWS]
    yield read_clients, "clients.ods", open_documents.document(*rows)
    called = ("rank", "client_id", "name", "called_on", "outcome", "note", "next_date")
    yield (
        read_calls,
        "calls.xlsx",
        sheet(
            "Calls", called, (1, "A", "Ada", date(2026, 3, 2).isoformat(), "call back", "gate", "")
        ),
    )
    for name, content in layers():
        if name != "a.gml":
            yield read_layer, name, content
        yield read_county, name, content
    yield read_settings, "local.toml", RULES.encode()
    yield read_log, "book.sqlite", log()


def spoil(content: bytes, dice: random.Random) -> bytes:
    """Change a file in one to four places; what is packed is spoiled inside, too."""
    if content.startswith(b"PK") and dice.random() < 0.8 and (parts := unpacked(content)):
        name = dice.choice(sorted(parts))
        return zipped(parts | {name: spoil(parts[name], dice)})
    spoiled = bytearray(content)
    for _ in range(dice.randint(1, 4)):
        at, size = dice.randrange(len(spoiled) + 1), dice.randint(1, 16)
        match dice.randrange(6):
            case 0:
                spoiled[at : at + 1] = bytes([dice.randrange(256)])
            case 1:
                del spoiled[at : at + size]
            case 2:
                spoiled[at:at] = dice.choice(TOKENS)
            case 3:
                spoiled[at : at + size] = dice.choice(TOKENS)
            case 4:
                other = dice.randrange(len(spoiled) + 1)
                spoiled[at:at] = spoiled[other : other + 4 * size]
            case _:
                if dice.random() < 0.3:
                    del spoiled[at:]
    return bytes(spoiled)


def outcome(read: Callable[[Path], None], name: str, content: bytes) -> str:
    """Read a file; blank where it is read or refused in words, else what came of it."""
    with TemporaryDirectory() as folder:
        path = Path(folder) / name
        path.write_bytes(content)
        try:
            read(path)
        except (InputError, LogError) as err:
            return "" if len(str(err)) > 20 else f"no sentence: {err}"
        except Exception as err:  # noqa: BLE001  # what nobody foresaw is what is looked for
            frames = err.__traceback__
            while frames is not None and frames.tb_next is not None:
                frames = frames.tb_next
            place = (
                f"{Path(frames.tb_frame.f_code.co_filename).name}:{frames.tb_lineno}"
                if frames
                else ""
            )
            return f"{type(err).__name__} {err} {place}"
    return ""
