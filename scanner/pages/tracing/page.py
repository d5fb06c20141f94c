"""The tracing page: one file in which lots are drawn by hand on the plane that a scan measures on."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby

from scanner.pages.leaflet import leaflet_script, leaflet_style
from scanner.pages.sealed import POLICY_MARK, offer_backgrounds, script_json, seal_page
from scanner.pages.templates import PAGES, open_templates, read_asset
from scanner.pages.tracing.data import page_data
from scanner.pages.tracing.trace_kinds import TRACE_KINDS
from scanner.schema.documents import Book

_ASSETS = PAGES / "tracing" / "assets"
_SCRIPTS = ("plane.js", "shapes.js", "files.js", "sheet.js", "hand.js", "page.js")
"""In the order in which they build on each other."""


def render_trace(book: Book, *, client_ids: Sequence[str] = ()) -> str:
    """Make the tracing page of a book.

    A whole page that needs no other file; the same book gives the same text.
    """
    backgrounds = offer_backgrounds(book.rules.backgrounds)
    data = page_data(book, client_ids=client_ids)
    html = open_templates(_ASSETS).get_template("page.html").render(
        mark=POLICY_MARK,
        company=book.rules.company,
        name=data["book"],
        groups=[(group, list(kinds)) for group, kinds in groupby(TRACE_KINDS, lambda kind: kind.group)],
        kinds=TRACE_KINDS,
        backgrounds=backgrounds,
        style=leaflet_style() + "\n" + read_asset(_ASSETS, "page.css"),
        leaflet=leaflet_script(),
        script="\n".join(read_asset(_ASSETS, name) for name in _SCRIPTS),
        data=script_json(data | {"backgrounds": backgrounds}),
    )  # fmt: skip
    return seal_page(html, backgrounds)
