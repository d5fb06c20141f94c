"""
The map page: one file with its own scripts, style and data.

folium makes the map; the page round it, the drawing and the list are ours. Nothing
is fetched until the reader switches a background on, and then only pictures from the
addresses that the local rules name.
"""

from __future__ import annotations

from importlib.resources import files
from typing import Any

import folium
import jinja2
from branca.element import Figure

from scanner.pages.leaflet import leaflet_script, leaflet_style
from scanner.pages.sealed import POLICY_MARK, offer_backgrounds, script_json, seal_page
from scanner.pages.summary import summarize
from scanner.pages.webmap_data import page_data
from scanner.pages.webmap_rows import page_choices, page_left_out, page_rows
from scanner.schema.documents import Scan
from scanner.units import CENTS_PER_USD

_ASSETS = files("scanner.pages") / "webmap_assets"
_NOWHERE = (0.0, 0.0)  # the page's script moves the map to the lots as soon as it runs


class _Plan(folium.Map):
    """A folium map with a fixed name, no background and no script of others."""

    def __init__(self) -> None:
        super().__init__(
            location=_NOWHERE,
            zoom_start=3,
            tiles=None,
            prefer_canvas=True,
            max_zoom=23,
            zoom_snap=0.5,
        )
        self._id = "plan"
        self.default_js = []
        self.default_css = []


class _Page(Figure):
    """The page round the map, from our own template."""

    def __init__(self, template: jinja2.Template) -> None:
        super().__init__()
        self._id = "page"
        self._template = template


def render_map(scan: Scan) -> str:
    """
    Make the map page of a scan.

    Parameters
    ----------
    scan
        What was found, priced and ranked.

    Returns
    -------
    html
        A whole page that needs no other file; the same scan gives the same text.
    """
    page = _Page(_environment().get_template("page.html"))
    page.add_child(_Plan())
    backgrounds = offer_backgrounds(scan.rules.backgrounds)
    return seal_page(page.render(page=_context(scan, backgrounds)), backgrounds)


def _context(scan: Scan, backgrounds: list[dict[str, str]]) -> dict[str, Any]:
    """Everything that the template shows; the template escapes each text."""
    routes, days = page_choices(scan.clients)
    left_out = page_left_out(scan)
    return {
        "mark": POLICY_MARK,
        "scan": scan,
        "totals": summarize(scan),
        "rows": list(page_rows(scan).itertuples(index=False)),
        "left_out": list(left_out[left_out["has_offer"]].itertuples(index=False)),
        "without": list(left_out[~left_out["has_offer"]].itertuples(index=False)),
        "routes": routes,
        "days": days,
        "backgrounds": backgrounds,
        "style": leaflet_style() + "\n" + _asset("page.css"),
        "leaflet": leaflet_script(),
        "script": _asset("drawing.js") + "\n" + _asset("page.js"),
        "data": script_json(page_data(scan) | {"backgrounds": backgrounds}),
    }


def _asset(name: str) -> str:
    return (_ASSETS / name).read_text(encoding="utf-8").replace("\r\n", "\n").strip()


def _environment() -> jinja2.Environment:
    environment = jinja2.Environment(
        loader=jinja2.FunctionLoader(_asset), autoescape=True, trim_blocks=True, lstrip_blocks=True
    )
    environment.filters["usd"] = lambda cents: f"${cents / CENTS_PER_USD:,.0f}"
    environment.filters["dollars"] = lambda amount: f"${amount:,.0f}"
    environment.filters["number"] = lambda number: f"{number:,.0f}"
    environment.filters["days"] = lambda days: f"{days:.1f}"
    environment.filters["sentences"] = lambda said: [part for part in said.split("; ") if part]
    return environment
