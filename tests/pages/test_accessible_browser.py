"""Every page in a browser against WCAG 2.2 AA, and the contrast of what a checker cannot see."""

from __future__ import annotations

import re
from importlib.resources import files
from itertools import product
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from scanner.pages.paper import look
from scanner.pages.tracing.page import render_trace
from tests.cli.desk import all_heard, scanning_once, type_in
from tests.map_files import map_html
from tests.pages.trace_desk import put_book
from tests.small_scan import small_scan

if TYPE_CHECKING:
    from playwright.sync_api import Page

NAMES = ("map", "trace", "week", "promo", "forecast", "checklist")
CHECKER = files("axe_playwright_python") / "axe.min.js"
SIZES = {"desk": {"width": 1280, "height": 900}, "phone": {"width": 390, "height": 844}}
RULES = {
    "runOnly": {"type": "tag", "values": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]},
    "rules": {"target-size": {"enabled": True}},  # off as the checker comes
    "resultTypes": ["violations", "incomplete"],  # of all others one example each
}


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """All pages: of a small scan, of lots to draw, of lots measured on foot with calls on record."""
    place = tmp_path_factory.mktemp("pages")
    (place / "map.html").write_text(map_html(small_scan()), encoding="utf-8")
    (place / "trace.html").write_text(render_trace(put_book(place / "drawn")), encoding="utf-8")
    book = place / "elm"
    book.mkdir()
    clients = [
        f'C{n},Ada {n},"{n} Elm St, Quillbrook",308-555-010{n},East,Monday,{n}' for n in range(8)
    ]
    (book / "clients.csv").write_text(
        "\n".join(["client_id,name,address,phone,route,mow_day,stop", *clients])
    )
    edges = [f"C{n},curb,{40 + 5 * n},30" for n in range(8)]
    (book / "measured.csv").write_text("\n".join(["client_id,along,length_ft,room_ft", *edges]))
    weeks = [f"2026-04-{day:02d},A,2" for day in (6, 13, 20, 27)]
    (book / "capacity.csv").write_text("\n".join(["week,crew,free_crew_days", *weeks]))
    (book / "local.toml").write_text('[company]\nphone = "308-555-0199"\n')
    for words in ("C0 call back --next 2026-03-01", "C1 visit", "C2 quoted", "C3 sold"):
        who, *said = words.split()
        told = type_in("record", str(book), "calls", who, *said, "--on", "2026-02-16", "--today", "2026-03-02")  # fmt: skip
        assert told.exit_code == 0, told.output
    weeks = ("--weeks", "2026-04-06..2026-04-27", "--letters", "--calls-a-week", "2")
    with scanning_once(all_heard):
        for command, *words in (("week",), ("promo", *weeks), ("forecast",), ("checklist",)):
            told = type_in(command, str(book), *words, "--today", "2026-03-02", "--out", str(place))
            assert told.exit_code == 0, told.output
    return place


def look_over(page: Page) -> dict[str, list]:
    """What the checker, which the page holds, finds on it as it stands."""
    return page.evaluate("rules => axe.run(document, rules)", RULES)


@pytest.mark.browser
@pytest.mark.parametrize("name", NAMES)
def test_a_checker_finds_nothing(tabs, place, name):
    page = tabs.open(place / f"{name}.html", size=SIZES["desk"]).page
    if name == "map":
        page.locator("#rows .row .go").first.click()
    page.evaluate(CHECKER.read_text(encoding="utf-8"))
    for device, size in SIZES.items():
        page.set_viewport_size(size)
        found = look_over(page)
        looked_at = {
            rule["id"] for part in found if isinstance(found[part], list) for rule in found[part]
        }
        assert {"target-size", "color-contrast"} <= looked_at
        amiss = [
            (rule["id"], node["html"], node["failureSummary"])
            for rule in found["violations"] for node in rule["nodes"]
        ]  # fmt: skip
        assert amiss == [], device
        # What it cannot decide is text over a plot or under a layer: the colors below
        assert {rule["id"] for rule in found["incomplete"]} <= {"color-contrast"}, device


@pytest.mark.browser
def test_the_checker_sees_what_is_amiss(tabs, tmp_path):
    (tmp_path / "amiss.html").write_text(
        '<main><p style="color:#aaa;background:#fff">pale</p><button style="width:9px;height:9px;padding:0">x</button>'
        '<button style="width:9px;height:9px;padding:0">y</button><img src="data:,"></main>'
    )
    page = tabs.open(tmp_path / "amiss.html").page
    page.evaluate(CHECKER.read_text(encoding="utf-8"))
    found = look_over(page)
    assert {"color-contrast", "target-size", "image-alt"} <= {x["id"] for x in found["violations"]}


def contrast(one: str, other: str) -> float:
    """Contrast of two colors (WCAG 2.2, definitions of contrast ratio and relative luminance)."""

    def light(color: str) -> float:
        parts = [int(color[at : at + 2], 16) / 255 for at in (1, 3, 5)]
        red, green, blue = (
            c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts
        )
        return 0.2126 * red + 0.7152 * green + 0.0722 * blue

    dark, bright = sorted((light(one), light(other)))
    return (bright + 0.05) / (dark + 0.05)


def test_contrast_by_hand():
    # Black on white is 21 to 1; #777 on white the well-known 4.48 that just fails
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    assert contrast("#777777", "#ffffff") == pytest.approx(4.48, abs=0.005)


def test_words_on_plots_stand_out():
    style = (files("scanner.pages") / "plan_assets" / "look.css").read_text(encoding="utf-8")
    colors = dict(re.findall(r"--(\w+): (#[0-9a-f]{6})", style))
    box = re.search(r"\.box \{ fill: (#[0-9a-f]{6})", style)
    assert box
    for ground in (colors["paper"], colors["sheet"], box[1]):
        assert contrast(colors["ink"], ground) >= 4.5
    for word, ground in product(("soft", "act", "alert"), ("paper", "sheet")):
        assert contrast(colors[word], colors[ground]) >= 4.5


def test_printed_words_stand_out():
    grounds = (look.WHITE, look.HARD, look.TINT, look.BED, look.PLANTED)
    assert min(contrast(look.INK, ground) for ground in (*grounds, look.HOUSE)) >= 4.5
    assert min(contrast(look.SOFT, ground) for ground in (look.WHITE, look.HARD, look.TINT)) >= 4.5
    assert min(contrast(look.TEAL, ground) for ground in (look.WHITE, look.HARD, look.BED)) >= 4.5
