"""A desk to draw at: small books in open country, and the tracing page in a browser with the network cut."""

from __future__ import annotations

import json
from pathlib import Path

from pyproj import CRS, Transformer

from scanner.book.book import read_book
from scanner.pages.tracing.page import render_trace
from scanner.schema.documents import Book
from tests.pages.tabs import Opened

SERVER = "https://pictures.example.org/"
HOME = (-98.61, 41.18)
"""Where the first client's lot lies: open country."""

SCRIPT_NAME = "</script><script>alert('x')</script> `${x}` <img src=x onerror=alert(1)>"
LOCAL = f'''default_opening_ft = 0

[backgrounds]
imagery_url = "{SERVER}{{z}}/{{y}}/{{x}}"
imagery_credit = "<b>Survey</b>"
'''


def plane(lon: float, lat: float) -> Transformer:
    """Feet on the plane of a place's 0.5° cell, by PROJ."""
    middle = [degree // 0.5 * 0.5 + 0.25 for degree in (lon, lat)]
    crs = CRS.from_proj4(f"+proj=laea +lon_0={middle[0]} +lat_0={middle[1]} +ellps=WGS84 +units=ft")
    return Transformer.from_crs("EPSG:4326", crs, always_xy=True)


def put_book(folder: Path, *, clients: str = "", sites: dict[str, dict] | None = None) -> Book:
    """Write a book of two clients, one with a place and one without, and read it."""
    (folder / "sites").mkdir(parents=True, exist_ok=True)
    rows = (
        clients or f"A,Ada Quill,1 Prairie Lane,{HOME[0]},{HOME[1]}\nB,Bo Tansy,2 Prairie Lane,,\n"
    )
    (folder / "clients.csv").write_text("client_id,name,address,lon,lat\n" + rows, encoding="utf-8")
    (folder / "local.toml").write_text(LOCAL, encoding="utf-8")
    for name, document in (sites or {}).items():
        (folder / "sites" / name).write_text(json.dumps(document), encoding="utf-8")
    return read_book(folder, needs_lots=False)


def collection(*features: dict, **members: object) -> dict:
    return {"type": "FeatureCollection", **members, "features": list(features)}


def feature(kind: str, shape: dict, **properties: object) -> dict:
    return {"type": "Feature", "properties": {"kind": kind, **properties}, "geometry": shape}


def square(lon: float, lat: float, feet: float) -> dict:
    """A square with its south-west corner at a place."""
    to = plane(lon, lat)
    x, y = to.transform(lon, lat)
    corners = [(x, y), (x + feet, y), (x + feet, y + feet), (x, y + feet), (x, y)]
    ring = [[round(d, 9) for d in to.transform(*corner, direction="INVERSE")] for corner in corners]
    return {"type": "Polygon", "coordinates": [ring]}


class Hand(Opened):
    """The page, and a hand that draws on it."""

    def pick(self, name: str) -> None:
        button = self.page.locator("#clients .go", has_text=name)
        button.tap() if self.is_touch else button.click()

    def spots(self, *places: tuple[float, float]) -> list[list[float]]:
        """Where places lie on the screen, in feet from where the squares begin."""
        return self.page.evaluate(
            """(places) => {
                const { plane, at } = sheet.paper, box = frame.getBoundingClientRect();
                return places.map(([x, y]) => {
                    const [left, top] = sheet.pixel(plane.degrees([at[0] + x, at[1] + y]));
                    return [box.x + left, box.y + top];
                });
            }""",
            places,
        )

    def spot(self, east_ft: float, north_ft: float) -> list[float]:
        return self.spots((east_ft, north_ft))[0]

    def look_at(self, east_ft: float, north_ft: float) -> None:
        """Bring a place to the middle of the map."""
        self.page.evaluate(
            """([x, y]) => {
                map.invalidateSize({ animate: false });
                const { plane, at } = sheet.paper, [lon, lat] = plane.degrees([at[0] + x, at[1] + y]);
                map.setView([lat, lon], map.getZoom(), { animate: false });
            }""",
            [east_ft, north_ft],
        )

    def tap(self, *places: tuple[float, float]) -> None:
        """Tap places one after the other; the map stays as it is meanwhile."""
        hit = self.page.touchscreen.tap if self.is_touch else self.page.mouse.click
        for spot in self.spots(*places):
            hit(*spot)

    def draw(self, key: str, *corners: tuple[float, float]) -> None:
        self.page.keyboard.press(key)
        self.tap(*corners)
        if len(corners) > 1:
            self.page.keyboard.press("Enter")

    def undo_all(self) -> None:
        """Take back all that stands on the page, for another story on it."""
        self.page.evaluate(
            "(() => { const one = document.getElementById('undo'); while (!one.disabled) one.click(); })()"
        )
        assert self.sizes() == []

    def drag(self, start: tuple[float, float], end: tuple[float, float]) -> None:
        half = tuple((a + b) / 2 for a, b in zip(start, end, strict=True))
        first, middle, last = self.spots(start, half, end)
        self.page.mouse.move(*first)
        self.page.mouse.down()
        self.page.mouse.move(*middle)
        self.page.mouse.move(*last)
        self.page.mouse.up()

    def save(self, folder: Path) -> Path:
        """Save the drawing into a folder, as a person would from the downloads."""
        with self.page.expect_download() as begun:
            button = self.page.locator("#save")
            button.tap() if self.is_touch else button.click()
        file = folder / begun.value.suggested_filename
        begun.value.save_as(file)
        return file

    def open_file(self, document: dict | str, name: str = "drawn.geojson") -> None:
        text = document if isinstance(document, str) else json.dumps(document)
        self.page.set_input_files(
            "#file", {"name": name, "mimeType": "application/json", "buffer": text.encode()}
        )

    def sizes(self) -> list[str]:
        return [
            " ".join(words.split()) for words in self.page.locator("#shapes li").all_inner_texts()
        ]

    def said(self) -> str:
        return self.page.locator("#said").inner_text()


def write_page(book: Book, file: Path, **options: object) -> Path:
    file.write_text(render_trace(book, **options), encoding="utf-8")
    return file
