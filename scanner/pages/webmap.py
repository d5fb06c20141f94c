"""
The map: a page with its own scripts, style and data, or an index and such a page a route.

folium makes the map; the page round it, the drawing and the list are ours.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator
from functools import cache
from typing import Any

import folium
import numpy as np
import pandas as pd
import pyarrow as pa
from branca.element import Figure

from scanner.pages.said import USUAL
from scanner.pages.sealed import (
    POLICY_MARK,
    fill_page,
    leaflet_script,
    leaflet_style,
    offer_backgrounds,
    open_templates,
    read_asset,
    script_json,
)
from scanner.pages.summary import summarize
from scanner.pages.webmap_data import Told, bare_json, lots_json
from scanner.pages.webmap_pages import INDEX, MapPage, lay_out_pages, total_pages
from scanner.pages.webmap_rows import (
    add_bands,
    page_left_out,
    page_rows,
    page_under_way,
    sort_days,
    sort_routes,
)
from scanner.schema.documents import FINISH_LONG_WORDS, FINISH_WORDS, FINISHES, Part, Scan
from scanner.schema.edge_kinds import EDGE_KINDS
from scanner.schema.tables import LAYERS
from scanner.sheets.text_columns import Text
from scanner.units import usd_said, write_usd

DATA_MARK = "lots-go-here"
"""Stands in a page where its lots are written, part by part."""

_ASSETS = "webmap_assets"
open_templates(_ASSETS).filters |= {
    "usd": write_usd,
    "dollars": lambda amount: f"${amount:,.0f}",
    "number": lambda number: f"{number:,.0f}",
    # The range stands on the card, the larger job in a line of its own
    "spoken": lambda say: re.sub(r" \(.*?\)", "", say).partition(" With ")[0],
    "said": lambda cents: usd_said(int(cents)),
}
_NOWHERE = (0.0, 0.0)  # the page's script moves the map to the lots as soon as it runs


def map_pages(scan: Scan, parts: Iterable[Part]) -> Iterator[Iterable[tuple[str, bytes]]]:
    """Make the map, part by part: each step gives pieces of pages, to be put behind what stands there.

    First all that comes before the lots, then a step for each of `parts`, which must be those
    of the scan in their order; at last the end of each page. A page needs no other file; the
    same scan gives the same pages, whatever the size of its parts.
    """
    scan = add_bands(scan)
    numbers, pages = lay_out_pages(scan)
    left_out, under_way = page_left_out(scan), page_under_way(scan)
    ends = dict[str, bytes]()
    yield _begin(scan, pages, (numbers, left_out, under_way), ends)
    why = left_out.set_index("client_id")["why"]
    clients = scan.clients.set_index("client_id", drop=False)
    way = under_way.set_index("client_id")[["words", "next", "last"]].reindex(clients.index)
    known = pd.DataFrame({"out": why.reindex(clients.index)}).join(way.add_prefix("way_"))
    clients = clients.join(known.astype("str").fillna(""))
    told = Told(clients, scan.calls.set_index("offer_id"))
    gaps = dict.fromkeys(ends, "\n")
    is_left = pd.Series(data=True, index=clients.index)
    for part in parts:
        of_part, lots = lots_json(part, told)
        is_left[of_part] = False
        yield _pieces(numbers.loc[of_part], lots, pages, gaps)
    rest = clients[is_left]
    yield [*_pieces(numbers.loc[rest.index], bare_json(rest), pages, gaps), *ends.items()]


def _begin(
    scan: Scan,
    pages: list[MapPage],
    lists: tuple[pd.Series[int], pd.DataFrame, pd.DataFrame],
    ends: dict[str, bytes],
) -> Iterator[tuple[str, bytes]]:
    """Give all pages up to their lots, and keep what comes after."""
    numbers, left_out, under_way = lists
    totals = list(total_pages(scan, numbers).itertuples())
    listed, unlisted, standing, clients = (
        _by_page(table, numbers)
        for table in (page_rows(scan), left_out, under_way, scan.clients[["client_id", "route", "mow_day"]])
    )  # fmt: skip
    known = dict[str, bytes]()
    for number, page in enumerate(pages):
        out, everyone = unlisted(number), clients(number)
        of_page = {
            "totals": totals[number],
            "title": page.title,
            "rows": listed(number),
            "under_way": standing(number),
            "left_out": [row for row in out if row.has_offer],
            "without": [row for row in out if not row.has_offer],
            "routes": sort_routes({row.route for row in everyone}),
            "days": sort_days({row.mow_day for row in everyone}),
        }
        begin, _, end = _render(scan, of_page).rpartition(DATA_MARK)
        # The ends of the pages are alike: kept once, they need no room
        ends[page.name] = known.setdefault(end, end.encode())
        yield page.name, begin.encode()
    if len(pages) > 1:
        yield INDEX, _render_index(scan, list(zip(pages, totals, strict=True))).encode()


def _by_page(table: pd.DataFrame, numbers: pd.Series[int]) -> Callable[[int], list[Any]]:
    """Give the rows of a page when they are asked for: those of all pages need too much room."""
    of_row = numbers.reindex(table["client_id"]).to_numpy(dtype=int)
    order = np.argsort(of_row, kind="stable")
    ordered = of_row[order]

    def rows(number: int) -> list[Any]:
        first, last = np.searchsorted(ordered, [number, number + 1])
        return list(table.iloc[order[first:last]].itertuples(index=False))

    return rows


def _pieces(
    numbers: pd.Series[int], lots: Text, pages: list[MapPage], gaps: dict[str, str]
) -> list[tuple[str, bytes]]:
    pieces = []
    for number in numbers.unique():
        name = pages[number].name
        of_page = lots.filter(pa.array((numbers == number).to_numpy()))
        pieces.append((name, (gaps[name] + ",\n".join(of_page.to_pylist())).encode()))
        gaps[name] = ",\n"
    return pieces


def _render(scan: Scan, of_page: dict[str, Any]) -> str:
    backgrounds = offer_backgrounds(scan.rules.backgrounds)
    finishes = [FINISH_LONG_WORDS[finish] for finish in FINISHES]
    along = {name: kind.words for name, kind in EDGE_KINDS.items()}
    head = script_json(
        {
            "layers": LAYERS,
            "finishes": finishes,
            "along": along,
            "usual": USUAL,
            "backgrounds": backgrounds,
        }
    )
    plan, plan_script = _plan()
    drawing, script = (read_asset(f"{_ASSETS}/{name}") for name in ("drawing.js", "page.js"))
    context = of_page | {
        "scan": scan,
        "finishes": FINISH_WORDS,
        "today": scan.today.isoformat(),
        "plan": plan,
        "scripts": [leaflet_script(), plan_script, f"{drawing}\n{script}"],
        "data": f'{head[:-1]},"clients":[{DATA_MARK}\n]}}',
    }
    style = f"{leaflet_style()}\n{read_asset(f'{_ASSETS}/page.css')}"
    return fill_page(f"{_ASSETS}/page.html", backgrounds, page=context, style=style)


def _render_index(scan: Scan, rows: list[tuple[MapPage, Any]]) -> str:
    context = {"scan": scan, "totals": summarize(scan), "title": "", "rows": rows}
    style = read_asset(f"{_ASSETS}/page.css")
    return fill_page(f"{_ASSETS}/index.html", page=context, style=style)


@cache
def _plan() -> tuple[str, str]:
    """Let folium make the element of the map and the script that fills it: names fixed, no script of others."""
    plan = folium.Map(_NOWHERE, zoom_start=3, tiles=None, prefer_canvas=True, max_zoom=23, zoom_snap=0.25)  # fmt: skip
    figure = Figure()
    vars(plan).update(_id="plan", default_js=[], default_css=[])
    vars(figure).update(_id="page", _template=open_templates(_ASSETS).get_template("plan.html"))
    figure.add_child(plan)
    element, script = figure.render().split(POLICY_MARK)
    return element.strip(), script.strip()
