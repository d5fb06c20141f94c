"""``sketch`` for clients who are named, and of lengths that were measured on foot; those of the whole sample book are in `test_demo`."""

from __future__ import annotations

import shutil
from datetime import date
from pathlib import Path
from typing import Any

import pandas as pd
import pypdfium2
import pytest
import shapely

from scanner import pipeline
from scanner.cli.sketch import gather_sketches
from scanner.pages.plan_page import write_feet
from scanner.pages.sketch_page import Sender, draw_sketches
from tests.cli.desk import keeping_scans, type_in
from tests.paper_boxes import clashes
from tests.paper_words import read_pages
from tests.sample_lots import cut_sample

pytestmark = pytest.mark.usefixtures("lots_scanned_once")

TODAY = date(2027, 2, 16)


@pytest.fixture(scope="module")
def lots(tmp_path_factory: pytest.TempPathFactory) -> Path:
    place = tmp_path_factory.mktemp("sample") / "book"
    return cut_sample(place, "C0001", "C0002", "C0003", "C0104", "C0115")


@pytest.fixture
def book(lots: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(lots, tmp_path / "book"))


def draw(book: Path, *who: str) -> Any:
    return type_in(
        "sketch", str(book), *who, "--out", str(book.parent / "out"), "--today", "2027-02-16"
    )


def test_clients_are_named_by_id_name_or_phone_and_who_cannot_be_drawn_is_said(book):
    done = draw(book, "C0003", "rosalind pellerine", "nobody", "308-555-0102", "C0003", "C0115")
    assert done.exit_code == 1
    assert done.stderr.splitlines() == [
        "'nobody' is no id, name or phone number in the client list.",
        "Drew 4 clients.",
    ]
    names = ("C0003", "C0001", "C0002", "C0115")
    files = [book.parent / "out" / f"sketch-{one}.pdf" for one in names]
    assert done.stdout.splitlines() == [*map(str, files)]
    # the sketches of all are nobody's to write over
    assert sorted(file.name for file in (book.parent / "out").iterdir()) == sorted(
        file.name for file in files
    )
    heads = [page.splitlines()[0] for file in files for page in read_pages(file.read_bytes())]
    assert [head.split(" Larkspindle")[0] for head in heads][:3] == [
        "Beds for Winifred Ashgrover", "Beds for Rosalind Pellerine", "Beds for Jubal Vandermoor",
    ]  # fmt: skip


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
        done = draw(book, "C0104")
        assert (done.exit_code, done.stderr) == (0, "Drew 1 client.\n")
        assert type_in("quote", str(book), "C0104", "--out", str(book.parent / "out"), "--today", "2027-02-16").exit_code == 0  # fmt: skip
    found = scans[0]
    lead = found.offers[found.offers["phase"] == 1].iloc[0]
    quantities = found.table("quantities").set_index("offer_id").loc[lead["offer_id"]]
    bed = found.table("offer_beds").set_index("offer_id").loc[lead["offer_id"]]
    assert quantities["edging_ft"] == bed["bed_line_ft"]
    edging = write_feet(bed["bed_line_ft"])
    texts = []
    for file, share in (("sketch-C0104.pdf", 0.62), ("quote-2027-001.pdf", 1.0)):
        with pypdfium2.PdfDocument(book.parent / "out" / file) as document:
            right = document[0].get_width() * share
            left = document[0].get_textpage().get_text_bounded(right=right)
            texts.append(" ".join(left.replace("\xa0", " ").split()))
    said = f"The lawn side swings in an easy curve that a mower follows, {edging} of bed line."
    assert all(said in text for text in texts)
    assert f"We set {edging} of edging" in texts[1]
