"""
The map page: one file with its own scripts, style and data.

folium makes the map; the page round it, the drawing and the list are ours. Nothing
is fetched until the reader switches a background on, and then only pictures from the
addresses that the local rules name.
"""

from __future__ import annotations

import base64
import hashlib
import json
import re
from importlib.resources import files
from typing import Any
from urllib.parse import urlsplit

import folium
import jinja2
from branca.element import Figure

from scanner.pages.leaflet import leaflet_script, leaflet_style
from scanner.pages.summary import summarize
from scanner.pages.webmap_data import page_data
from scanner.pages.webmap_rows import page_choices, page_left_out, page_rows
from scanner.schema.documents import Backgrounds, Scan
from scanner.units import CENTS_PER_USD

_ASSETS = files("scanner.pages") / "webmap_assets"
_POLICY_MARK = "policy-goes-here"
_SCRIPT = re.compile(r"<script>(.*?)</script>", re.DOTALL)
_HOST = re.compile(r"(\{s\}\.)?[A-Za-z0-9.-]+(:\d+)?")
_BLANK = re.compile(r"\{([^{}]*)\}")
_PLACES, _BLANKS = {"z", "x", "y"}, {"z", "x", "y", "s", "r"}
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
    backgrounds = _backgrounds(scan.rules.backgrounds)
    html = page.render(page=_context(scan, backgrounds))
    policy = _policy(_SCRIPT.findall(html), backgrounds)
    return html.replace(_POLICY_MARK, policy, 1)


def _context(scan: Scan, backgrounds: list[dict[str, str]]) -> dict[str, Any]:
    """Everything that the template shows; the template escapes each text."""
    routes, days = page_choices(scan.clients)
    left_out = page_left_out(scan)
    return {
        "mark": _POLICY_MARK,
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
        "data": _json(page_data(scan) | {"backgrounds": backgrounds}),
    }


def _backgrounds(backgrounds: Backgrounds) -> list[dict[str, str]]:
    """Backgrounds whose address can be used, in the order in which they are offered."""
    offered = [
        ("imagery", "Aerial picture", backgrounds.imagery_url, backgrounds.imagery_credit),
        ("streets", "Street map", backgrounds.streets_url, backgrounds.streets_credit),
    ]
    return [
        {"key": key, "label": label, "url": url, "credit": credit}
        for key, label, url, credit in offered
        if _origin(url)
    ]


def _origin(url: str) -> str:
    """Name the server of an address as a content policy does; blank where there is none."""
    parts = urlsplit(url)
    if parts.scheme not in ("http", "https") or not _HOST.fullmatch(parts.netloc):
        return ""
    if not _PLACES.issubset(blanks := set(_BLANK.findall(url))) or not blanks.issubset(_BLANKS):
        return ""
    return f"{parts.scheme}://{parts.netloc.replace('{s}', '*')}"


def _policy(scripts: list[str], backgrounds: list[dict[str, str]]) -> str:
    """Allow the page's own scripts by their hash, pictures of the backgrounds, nothing else."""
    digests = (hashlib.sha256(script.encode()).digest() for script in scripts)
    hashes = " ".join(f"'sha256-{base64.b64encode(digest).decode('ascii')}'" for digest in digests)
    servers = "".join(f" {_origin(background['url'])}" for background in backgrounds)
    return (
        f"default-src 'none'; script-src {hashes}; style-src 'unsafe-inline'; "
        f"img-src data:{servers}; base-uri 'none'; form-action 'none'"
    )


def _json(value: object) -> str:
    # "<" never appears, so nothing in the book can end the script element or open a comment
    text = json.dumps(value, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    return text.replace("<", "\\u003c")


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
