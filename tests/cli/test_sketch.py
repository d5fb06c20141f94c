"""Sketches of the whole sample book: what they print is what its scan found, and no words overlap."""

from __future__ import annotations

import io
from datetime import date
from pathlib import Path
from typing import Any, NamedTuple

import pandas as pd
import pdfplumber
import pytest
import shapely

from scanner import pipeline
from scanner.cli.sketch import gather_sketches
from scanner.pages.paper.sheet import Paper
from scanner.pages.plan_page import write_feet
from scanner.pages.sketch_page import Sender, Sketch, draw_sketches
from scanner.schema.documents import Book, Scan
from tests.cli.desk import keeping_scans, type_in
from tests.paper_boxes import clashes
from tests.sample_lots import SAMPLE, cut_sample

pytestmark = pytest.mark.usefixtures("scanned_once")

TODAY = date(2027, 2, 16)


class Drawn(NamedTuple):
    """The sample book, its scan and its sketches."""

    book: Book
    found: Scan
    sketches: list[Sketch]


@pytest.fixture(scope="module")
def drawn() -> Drawn:
    season, read = pipeline.open_season(SAMPLE), pipeline.read_book(SAMPLE)
    found = pipeline.scan(read, today=TODAY, season=season)
    sketches, _ = gather_sketches(read, season, found, found.offers["client_id"].unique().tolist())
    return Drawn(read, found, sketches)


def pages_of(drawn: Drawn, paper: str, count: int | None = None) -> tuple[Paper, bytes]:
    sender = Sender(drawn.book.rules.company, TODAY, date(2027, 3, 18), drawn.book.rates, paper)
    paper = draw_sketches(drawn.sketches[:count], sender)
    return paper, paper.finish()


@pytest.fixture(scope="module")
def letter(drawn: Drawn) -> tuple[Paper, bytes]:
    return pages_of(drawn, "letter")


def test_no_words_overlap_over_the_whole_sample_book(drawn, letter):
    assert clashes(letter[0]) == []
    assert clashes(pages_of(drawn, "a4")[0]) == []
    assert len(drawn.sketches) > 80


def test_a_page_a_client_in_less_than_100_kb(drawn, letter):
    assert letter[0].page == len(drawn.sketches)
    assert len(letter[1]) / len(drawn.sketches) < 100_000


def test_same_book_same_bytes(drawn):
    assert pages_of(drawn, "letter", 3)[1] == pages_of(drawn, "letter", 3)[1]


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


def test_the_file_has_the_words_on_record(drawn):
    paper, content = pages_of(drawn, "letter", 2)
    with pdfplumber.open(io.BytesIO(content)) as document:
        for number, page in enumerate(document.pages, 1):
            text = "".join(page.extract_text().split())
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


@pytest.fixture
def book(tmp_path: Path) -> Path:
    return cut_sample(tmp_path / "book", "C0001", "C0002", "C0003", "C0104", "C0115")


def draw(book: Path, *who: str) -> Any:
    return type_in(
        "sketch", str(book), *who, "--out", str(book.parent / "out"), "--today", "2027-02-16"
    )


def test_clients_are_named_by_id_name_or_phone(book):
    done = draw(book, "C0003", "rosalind pellerine", "308-555-0102", "C0003")
    assert (done.exit_code, done.stderr) == (0, "Drew 3 clients.\n")
    files = [book.parent / "out" / f"sketch-{one}.pdf" for one in ("C0003", "C0001", "C0002")]
    assert done.stdout.splitlines() == [*map(str, files)]
    heads = list[str]()
    for file in files:
        with pdfplumber.open(file) as document:
            heads += [page.extract_text().splitlines()[0] for page in document.pages]
    assert [head.split(" Larkspindle")[0] for head in heads] == [
        "Beds for Winifred Ashgrover", "Beds for Rosalind Pellerine", "Beds for Jubal Vandermoor",
    ]  # fmt: skip


def test_who_cannot_be_drawn_is_said_and_the_rest_is_done(book):
    done = draw(book, "nobody", "C0115", "C0003")
    assert done.exit_code == 1
    assert done.stderr.splitlines() == [
        "'nobody' is no id, name or phone number in the client list.",
        "Drew 2 clients.",
    ]
    # the sketches of all are nobody's to write over
    assert sorted(file.name for file in (book.parent / "out").iterdir()) == [
        "sketch-C0003.pdf",
        "sketch-C0115.pdf",
    ]


@pytest.mark.parametrize("paper", ["letter", "a4"])
def test_lengths_measured_on_foot_are_drawn_to_scale_and_called_no_survey(tmp_path, paper):
    book = tmp_path / "elm"
    book.mkdir()
    (book / "clients.csv").write_text("client_id,name,address\nA,Ada,1 Elm St\nB,Bo,2 Elm St\n")
    edges = "A,curb,60,30\nA,house,34,20\nA,sidewalk,28,5\nB,house,36,12\nB,curb,18,20\n"
    (book / "measured.csv").write_text(f"client_id,along,length_ft,room_ft\n{edges}")
    season, read = pipeline.open_season(book), pipeline.read_book(book)
    found = pipeline.scan(read, today=TODAY, season=season)
    sketches, _ = gather_sketches(read, season, found, ["A", "B"])
    sender = Sender(read.rules.company, TODAY, date(2027, 3, 18), read.rates, paper)
    document = draw_sketches(sketches, sender)
    assert clashes(document) == []
    assert document.page == 2
    for page, sketch in enumerate(sketches, 1):
        words = [box.text.replace("\xa0", " ") for box in document.boxes if box.page == page]
        assert any("This is no survey" in one for one in words)
        assert "N" not in words, "nobody knows where north is"
        for bed in sketch.plan.beds.to_dict("records"):
            assert write_feet(bed["edge_ft"]) in words
        # each bed as large as it was measured, none over another
        areas = pd.Series([shape.area for shape in sketch.plan.beds["geometry"]])
        assert areas.tolist() == pytest.approx(sketch.plan.beds["area_ft2"].tolist())
        assert shapely.union_all(sketch.plan.beds["geometry"].to_numpy()).area == pytest.approx(
            areas.sum()
        )


def test_nobody_known_draws_nothing(book):
    done = draw(book, "nobody")
    assert (done.exit_code, done.stdout) == (1, "")
    assert not (book.parent / "out").exists()


def test_a_curved_line_is_drawn_said_and_priced_alike(book):
    rules = book / "local.toml"
    rules.write_text(f'bed_line = "curved"\n{rules.read_text(encoding="utf-8")}', encoding="utf-8")
    with keeping_scans() as scans:
        assert draw(book, "C0104").exit_code == 0
        assert type_in("quote", str(book), "C0104", "--out", str(book.parent / "out"), "--today", "2027-02-16").exit_code == 0  # fmt: skip
    found = scans[0]
    lead = found.offers[found.offers["phase"] == 1].iloc[0]
    quantities = found.table("quantities").set_index("offer_id").loc[lead["offer_id"]]
    bed = found.table("offer_beds").set_index("offer_id").loc[lead["offer_id"]]
    assert quantities["edging_ft"] == bed["bed_line_ft"]
    edging = write_feet(bed["bed_line_ft"])
    texts = []
    for file, share in (("sketch-C0104.pdf", 0.62), ("quote-2027-001.pdf", 1.0)):
        with pdfplumber.open(book.parent / "out" / file) as document:
            page = document.pages[0]
            left = page.crop((0, 0, page.width * share, page.height))
            texts.append(" ".join(left.extract_text().replace("\xa0", " ").split()))
    said = f"The lawn side swings in an easy curve that a mower follows, {edging} of bed line."
    assert all(said in text for text in texts)
    assert f"We set {edging} of edging" in texts[1]
