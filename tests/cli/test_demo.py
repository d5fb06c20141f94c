"""``demo`` as a newcomer types it: every page is made of the sample's season, with nothing replaced; and the sketches of all whom it scanned."""

from __future__ import annotations

import contextlib
import json
import re
from collections import Counter
from datetime import date
from pathlib import Path
from typing import NamedTuple

import pandas as pd
import pypdfium2
import pytest
from click.testing import Result

from scanner import pipeline
from scanner.calls.log import read_season
from scanner.cli.demo import PAGES, SAMPLE_DAY, sample_folder
from scanner.cli.sketch import gather_sketches
from scanner.pages.paper.sheet import Paper
from scanner.pages.plan_page import write_feet
from scanner.pages.publish import CALL_LISTS
from scanner.pages.sketch_page import Sender, Sketch, draw_sketches
from scanner.pages.week_page import SECTIONS
from scanner.schema.documents import Book, Scan
from scanner.units import usd_said
from tests.cli.desk import finding, keeping_scans, type_in
from tests.pages.tabs import Tabs
from tests.paper_boxes import clashes
from tests.paper_words import read_pages

SCAN_FILES = 8
GOOD_UNTIL = date(2026, 4, 15)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("newcomer")


@pytest.fixture(scope="module")
def scans() -> list[Scan]:
    """What each scan of the first demo found."""
    return []


@pytest.fixture(scope="module")
def first(folder: Path, scans: list[Scan]) -> Result:
    with contextlib.chdir(folder), keeping_scans() as found:
        told = type_in("demo")
    scans += found
    return told


@pytest.mark.browser
@pytest.mark.usefixtures("first")
def test_the_week_prints_its_lists_on_one_page_and_new_calls_behind(folder: Path, tabs: Tabs) -> None:  # fmt: skip
    tab = tabs.open(folder / "maps" / "demo" / "week.html").page
    with pypdfium2.PdfDocument(tab.pdf(prefer_css_page_size=True, format="Letter")) as printed:
        lists, calls = (" ".join(page.get_textpage().get_text_range().split()) for page in printed)
    assert [words in lists for words in ("Call back", "Built, hours missing", "are left to sell")] == [True] * 3  # fmt: skip
    assert "10 Best new calls" in calls
    assert "Best new calls" not in lists


def test_every_page_is_made(first: Result, folder: Path) -> None:
    assert first.exit_code == 0, first.stderr
    made = {Path(line) for line in first.stdout.splitlines()}
    files = {path.relative_to(folder) for path in (folder / "maps" / "demo").iterdir()}
    assert made == files
    assert len(made) >= SCAN_FILES + len(PAGES)
    assert first.stderr.splitlines()[0].endswith("about a minute.")
    assert first.stderr.splitlines()[-1].endswith(f"Open {Path('maps') / 'demo' / 'map.html'}")


@pytest.mark.usefixtures("first")
def test_the_book_is_scanned_once_and_sold_lots_are_looked_at_again(scans: list[Scan]) -> None:
    # The crew's sheet is for one job, the order for two: both see the beds as if they were not sold yet
    assert [len(scan.clients) for scan in scans] == [120, 1, 2]


@pytest.mark.usefixtures("first")
def test_the_season_is_on_record_as_its_sheets_tell(folder: Path) -> None:
    season = read_season(folder / "maps" / "demo-book")
    told = pd.read_csv(sample_folder("season") / "calls.csv", dtype="str", keep_default_na=False)
    calls = season.calls.merge(told, on=["client_id", "called_on", "outcome"])
    assert len(calls) == len(told) > 80
    assert told["called_on"].max() < SAMPLE_DAY.isoformat()
    assert len(season.visits) == 8
    assert season.quotes["outcome"].tolist() == ["won", "", "won", "won"]  # none written anew
    assert season.jobs["built_on"].gt("").sum() == 1


@pytest.mark.usefixtures("first")
def test_the_week_has_something_in_every_section(folder: Path) -> None:
    with contextlib.chdir(folder / "maps"):
        told = json.loads(type_in("week", "demo-book", "--json", "--today", str(SAMPLE_DAY)).stdout)
    # the sample schedules its jobs for the week to come: none is to build in this one
    own = {section[0] for section in SECTIONS} - {"to build"}
    assert {line["section"] for line in told["lines"]} > own
    promised = [line["day"] for line in told["lines"] if line["section"] == "call back"]
    later = sum(day > str(SAMPLE_DAY) for day in promised)
    assert 0 < later < len(promised)
    html = (folder / "maps" / "demo" / "week.html").read_text(encoding="utf-8")
    assert f"promised; longest overdue first; {later} of them later this week" in html


@pytest.mark.usefixtures("first")
def test_the_list_says_what_one_job_costs_and_against_what_it_saves(folder: Path) -> None:
    maps = folder / "maps" / "demo"
    best = pd.read_csv(maps / "calls.csv").iloc[0]
    sentence = f", ${best['upgrade_saving_usd']:,.0f} less than in two jobs"
    assert f", all in one job: {usd_said(round(best['upgrade_price_usd'] * 100))}{sentence}" in (
        maps / "map.html"
    ).read_text(encoding="utf-8")


@pytest.mark.usefixtures("first")
def test_explain_says_what_makes_a_chance_of_the_list(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A command for one client reads no drawing, and leaves what scans keep."""
    kept = sorted((folder / "maps" / "demo-book" / ".scan").rglob("*"))
    assert kept
    monkeypatch.setattr("scanner.book.sites._read_land", None)  # whoever calls it fails
    with contextlib.chdir(folder / "maps"):
        best = pd.read_csv(Path("demo") / "calls.csv").iloc[0]
        result = type_in("explain", "demo-book", best["client_id"], "--today", str(SAMPLE_DAY))
    assert result.exit_code == 0, result.stderr
    assert sorted((folder / "maps" / "demo-book" / ".scan").rglob("*")) == kept
    told = result.stdout
    parts = re.search(
        r"record.*?: ([\d.]+)%\. The kind of bed and the signs of this client multiply that by ([\d.]+) .* are multiplied by ([\d.]+): ([\d.]+)%",
        " ".join(told.split()),
    )
    assert parts is not None, told
    stages, signs, kept, chance = map(float, parts.groups())
    assert chance == pytest.approx(stages * signs * kept, rel=2e-3)


@pytest.mark.usefixtures("first")
def test_pages_agree_on_how_many_lots_are_scanned(folder: Path) -> None:
    maps = folder / "maps" / "demo"
    told = json.loads((maps / "summary.json").read_text())
    sentence = (
        f"{told['scanned']} of 120 lots scanned, {told['not_drawn']} neither drawn nor measured."
    )
    assert sentence in (maps / "forecast.html").read_text(encoding="utf-8")


@pytest.mark.usefixtures("first")
def test_a_quote_that_was_printed_again_is_told_once(folder: Path) -> None:
    """What changed is its area, which is not told."""
    with contextlib.chdir(folder):
        told = type_in("client", "maps/demo-book", "C0106", "--today", str(SAMPLE_DAY)).stdout
    assert told.count("quote Q2026-002: curb bed, ") == 1


@pytest.mark.usefixtures("first")
def test_a_second_scan_of_the_day_gives_the_same_bytes_and_the_same_forecast(folder: Path) -> None:
    """Quotes keep the price that they were made at, and the list that the first scan leaves teaches nothing new."""
    pages = folder / "maps" / "demo"
    names = [*CALL_LISTS, "map.html", "candidates.geojson", "line_items.csv", "summary.json"]
    before = {name: (pages / name).read_bytes() for name in names}
    season = read_season(folder / "maps" / "demo-book")
    assert (season.calls.query("outcome == 'quoted'")["price_cents"] > 0).all()
    with contextlib.chdir(folder), keeping_scans() as again:
        type_in("scan", "maps/demo-book", "--out", str(pages), "--today", str(SAMPLE_DAY))
    assert [name for name in names if (pages / name).read_bytes() != before[name]] == []

    # The quote is printed again before the demo's forecast: its lot was measured since
    with contextlib.chdir(folder), finding(again[0]):
        type_in("forecast", "maps/demo-book", "--out", "typed", "--today", str(SAMPLE_DAY))
    demo, typed = (where / "forecast.html" for where in (pages, folder / "typed"))
    assert demo.read_text(encoding="utf-8") == typed.read_text(encoding="utf-8")


class Drawn(NamedTuple):
    """The demo's book, its scan and its sketches."""

    book: Book
    found: Scan
    sketches: list[Sketch]


@pytest.fixture(scope="module")
def drawn(first: Result, folder: Path, scans: list[Scan]) -> Drawn:
    assert first.exit_code == 0, first.stderr
    book, found = folder / "maps" / "demo-book", scans[0]
    read, clients = pipeline.read_book(book), found.offers["client_id"].unique().tolist()
    sketches, _ = gather_sketches(read, read_season(book), found, clients)
    return Drawn(read, found, sketches)


def sketched(
    drawn: Drawn, sketches: list[Sketch] | None = None, *, paper: str = "letter"
) -> tuple[Paper, bytes]:
    sender = Sender(drawn.book.rules.company, SAMPLE_DAY, GOOD_UNTIL, drawn.book.rates, paper)
    document = draw_sketches(sketches or drawn.sketches, sender)
    return document, document.finish()


@pytest.fixture(scope="module")
def letter(drawn: Drawn) -> tuple[Paper, bytes]:
    return sketched(drawn)


def test_no_words_overlap_over_the_whole_sample_book(drawn, letter):
    assert clashes(letter[0]) == []
    assert len(drawn.sketches) > 80
    # On A4, which is narrower, the fullest ones
    fullest = [page - 1 for page, _ in Counter(box.page for box in letter[0].boxes).most_common(12)]
    some = [drawn.sketches[at] for at in fullest]
    assert clashes(sketched(drawn, some, paper="a4")[0]) == []


def test_a_page_a_client_in_less_than_100_kb(drawn, letter):
    assert letter[0].page == len(drawn.sketches)
    assert len(letter[1]) / len(drawn.sketches) < 100_000


def test_same_book_same_bytes(drawn):
    few = drawn.sketches[:2]
    assert sketched(drawn, few)[1] == sketched(drawn, few)[1]


def test_printed_figures_are_the_scans(drawn, letter):
    texts = [
        " ".join(box.text for box in letter[0].boxes if box.page == page).replace("\xa0", " ")
        for page in range(1, letter[0].page + 1)
    ]
    offers = drawn.found.offers[drawn.found.offers["phase"] == 1].set_index("client_id")
    offer_beds = drawn.found.table("offer_beds").set_index(["offer_id", "bed_id"])
    prices = drawn.found.table("prices").set_index(["offer_id", "finish"])
    for sketch, text in zip(drawn.sketches, texts, strict=True):
        offer = offers.loc[sketch.client["client_id"]]
        for bed_id in offer["bed_ids"].split():
            bed = offer_beds.loc[(offer["offer_id"], bed_id)]
            assert f"{write_feet(bed['edge_ft'])} " in text
            assert f"{write_feet(bed['mean_depth_ft'])} deep" in text
            assert f"{bed['area_ft2']:.0f} ft²" in text
        for finish in ("mulch", "accent", "gravel"):
            if (offer["offer_id"], finish) in prices.index:
                price = prices.loc[(offer["offer_id"], finish)]
                low, high = price["price_low_cents"] // 100, price["price_high_cents"] // 100
                assert f"${low:,}–{high:,}" in text


def test_the_file_has_the_words_on_record(letter):
    paper, content = letter
    for number, page in enumerate(read_pages(content, 2), 1):
        text = "".join(page.split())
        own = [box for box in paper.boxes if box.page == number]
        assert all("".join(box.text.split()) in text for box in own if len(box.text) > 3)


def test_as_many_plants_are_drawn_as_the_scan_counts(drawn):
    quantities = drawn.found.table("quantities").set_index(["offer_id", "bed_id"])
    for sketch in drawn.sketches:
        count = {"accent": "accent_count", "gravel": "accent_count", "planted": "plant_count"}[
            sketch.finish
        ]
        for bed in sketch.plan.beds.to_dict("records"):
            standing = (sketch.plan.plants["bed_id"] == bed["bed_id"]).sum()
            assert standing == quantities.loc[(bed["offer_id"], bed["bed_id"]), count]
        named = sum(int(words.split()[0]) for words, _ in sketch.plants)
        assert named == len(sketch.plan.plants)


def test_every_mark_of_a_drawing_is_in_its_list(drawn, letter):
    for page, sketch in enumerate(drawn.sketches, 1):
        words = [box.text for box in letter[0].boxes if box.page == page]
        letters = [chr(65 + at) for at in range(len(sketch.plan.beds))]
        # once on the drawing, once in the list
        assert all(words.count(one) >= 2 for one in letters), sketch.client["client_id"]
