"""``quote``: the page that a client signs, read back; its figures are the scan's and add up; bad input in a sentence."""

from __future__ import annotations

import re
import shutil
from dataclasses import replace
from datetime import date
from pathlib import Path

import pdfplumber
import pypdfium2
import pytest
from click.testing import Result
from pypdfium2.raw import FPDF_PAGEOBJ_PATH, FPDFPath_CountSegments

from scanner import pipeline
from scanner.calls.log import read_season
from scanner.pages import quote_page
from scanner.units import write_usd
from tests.cli.desk import finding, keeping_scans, type_in
from tests.paper_boxes import clashes
from tests.paper_words import read_pages
from tests.sample_lots import cut_sample

pytestmark = pytest.mark.usefixtures("lots_scanned_once")

DAY = "2026-02-16"
TODAY = ("--today", DAY)
LEAD = "C0057"  # a curb bed with few plants, by a driveway and a utility box


@pytest.fixture(scope="module")
def lots(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The sample book's lots of two clients, whose company has an address and prints the notice; of one the client list knows more."""
    book = cut_sample(tmp_path_factory.mktemp("sample") / "book", LEAD, "C0056")
    clients = (book / "clients.csv").read_text(encoding="utf-8")
    blank, known = (f',{note},"301 Meadow Rue Drive, Quillbrook, NE 68299",,{dog}' for note, dog in (("", ""), ("asks for the gate to be closed", "yes")))  # fmt: skip
    assert blank in clients
    (book / "clients.csv").write_text(clients.replace(blank, known), encoding="utf-8")
    return book


@pytest.fixture(scope="module")
def first(lots: Path, tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Result]:
    """The same book once a quote for the first of them is written, and what was said of it."""
    book = shutil.copytree(lots, tmp_path_factory.mktemp("quoted") / "book")
    return book, write(book, LEAD)


def look(book: Path, client_id: str):
    """What a quote for a client rests on."""
    read = pipeline.read_book(book)
    return pipeline.scan(read, today=date(2026, 2, 16), client_ids=[client_id])


@pytest.fixture
def book(lots: Path, tmp_path: Path) -> Path:
    return shutil.copytree(lots, tmp_path / "book")


@pytest.fixture
def quoted(first: tuple[Path, Result], tmp_path: Path) -> Path:
    return shutil.copytree(first[0], tmp_path / "book")


def write(book: Path, *words: str):
    return type_in("quote", str(book), *words, "--out", str(book / "out"), *TODAY)


def pages_of(book: Path, number: str = "2026-001", count: int | None = None) -> list[str]:
    return text_of(book / "out" / f"quote-{number}.pdf", count)


def text_of(path: Path, count: int | None = None) -> list[str]:
    return read_pages(path.read_bytes(), count)


def amounts_of(text: str) -> dict[str, int]:
    """Cents by the words that begin their line."""
    found = re.findall(
        r"^(Beds? [A-Z]|Sales tax|Total|Deposit|When)\b.*\$([\d,]+)\.(\d\d)$", text, re.M
    )
    return {words: int(usd.replace(",", "") + cents) for words, usd, cents in found}


def test_the_page_says_what_the_scan_found_and_adds_up(first):
    book, told = first
    scan = look(book, LEAD)
    assert told.exit_code == 0
    assert "Quote Q2026-001 over" in told.stderr
    page, sketch, *forms = pages_of(book)
    offer = scan.offers.set_index("client_id").query("phase == 1").loc[LEAD]
    bed = scan.table("offer_beds").set_index("offer_id").loc[offer["offer_id"]]
    amounts = amounts_of(page)
    # Up to the next $10, 5.5 % tax and 30 % deposit as the sample book has them, half a cent up
    price = -(-offer["price_cents"] // 1000) * 1000
    tax = (price * 55 + 500) // 1000
    deposit = ((price + tax) * 3 + 5) // 10
    assert amounts == {
        "Bed A": price, "Sales tax": tax, "Total": price + tax, "Deposit": deposit, "When": price + tax - deposit,
    }  # fmt: skip
    season = read_season(book)
    row = season.quotes.iloc[0]
    assert (row["price_cents"], row["bed_ids"], row["finish"]) == (
        price,
        offer["bed_ids"],
        offer["finish"],
    )
    assert (row["quoted_on"], row["good_until"]) == (DAY, "2026-03-18")
    assert f"{bed['edge_ft']:.0f} ft along the curb, 4 ft deep {bed['area_ft2']:.0f} ft²" in page
    assert f"{bed['edge_ft']:.0f} ft" in sketch
    assert f"plant and water in {offer['plant_count']} " in page
    assert "February 16, 2026 · good until March 18, 2026" in page
    for words in (
        "invented 0000",
        "12 Foundry Road, Quillbrook, NE 68299",
        "308-555-0100 · license invented 0000",
        "two to four weeks after you sign",
        "second owner",
        "Hiroko Eastermann",
    ):
        assert words in page
    assert len(re.findall("We (cut|set|spread|plant|have)", page)) == 5
    # The estimate kept beside it is the price's own direct cost, to the cent
    assert season.quote_tasks["estimated_cents"].sum() == offer["direct_cost_cents"]
    # Nothing that is no client's business: range, cost, profit
    every = "".join([page, sketch, *forms])
    for name in ("price_low_cents", "price_high_cents", "direct_cost_cents", "gross_profit_cents"):
        assert f"{offer[name] / 100:,.0f}" not in every


def test_right_to_cancel_as_the_rule_words_it(first):
    """16 CFR 429.1(a) above the signatures and 429.1(b) in two copies, in bold of ten points or more."""
    book = first[0]
    path = book / "out" / "quote-2026-001.pdf"
    with pdfplumber.open(path) as document:
        front = document.pages[0]
        letters = [
            x for x in front.chars if "Bold" in x["fontname"] and "Helvetica" in x["fontname"]
        ]
        words = "".join(x["text"] for x in letters).replace("\xa0", " ")
        sentence = (
            "You, the buyer, may cancel this transaction at any time prior to midnight of the third business day after"
            "the date of this transaction."
        )
        at = words.index(sentence)
        assert min(x["size"] for x in letters[at : at + len(sentence)]) >= 10
    forms = pages_of(book)[-2:]
    assert ("first copy" in forms[0], "second copy" in forms[1]) == (True, True)
    for form in forms:
        text = " ".join(form.split())
        for part in (
            "within THREE BUSINESS DAYS from the above date.", "will be returned within TEN BUSINESS DAYS",
            "within 20 days of the date of your Notice of Cancellation",
            "to Larkspindle Lawn Company, at 12 Foundry Road, Quillbrook, NE 68299 NOT LATER THAN MIDNIGHT OF",
            "I HEREBY CANCEL THIS TRANSACTION.",
        ):  # fmt: skip
            assert part in text


def test_words_stand_clear_of_each_other_also_where_much_is_said(book, monkeypatch):
    papers, draw = [], quote_page.draw_quote

    def keep(quote, size):
        assert size == "a4"
        for paper in ("letter", size):
            for more in ("", "Interest is due on what is not paid within thirty days. " * 20):
                terms = quote.terms.model_copy(update={"terms": more})
                beds = [*quote.beds] * (4 if more else 1)
                papers.append(draw(replace(quote, terms=terms, beds=beds), paper))
        return papers[-1]

    monkeypatch.setattr("scanner.cli.quote.draw_quote", keep)
    assert write(book, "C0056", "--finish", "planted", "--paper", "a4").exit_code == 0
    assert [clashes(paper) for paper in papers] == [[]] * 4
    assert [paper.page for paper in papers] == [4, 5, 4, 5]
    # Lines stay inside the margins, too (A4 is narrower): 36 pt, and their own width, up to 1.4 pt, about them
    with pypdfium2.PdfDocument(book / "out" / "quote-2026-001.pdf") as document:
        for page in document:
            paths = page.get_objects([FPDF_PAGEOBJ_PATH])
            lines = [path.get_bounds() for path in paths if FPDFPath_CountSegments(path) == 2]
            assert lines
            for left, _, right, _ in lines:
                assert 36 - 1.5 <= left <= right <= page.get_width() - 36 + 1.5


def test_a_quote_keeps_its_number_also_where_its_bed_is_measured_and_another_does_not(quoted):
    """What the office knows of a lot goes along on the visit sheet, and to no client."""
    first = (quoted / "out" / "quote-2026-001.pdf").read_bytes()
    assert "on record already" in write(quoted, LEAD).stderr
    assert (quoted / "out" / "quote-2026-001.pdf").read_bytes() == first
    told = write(quoted, LEAD, "--finish", "mulch")
    assert "Quote Q2026-002" in told.stderr
    assert "Quote Q2026-001 to the same client is open, too" in told.stderr
    assert "We set no plants." in pages_of(quoted, "2026-002", 1)[0]
    assert type_in("record", str(quoted), "undo", *TODAY).exit_code == 0
    words = (LEAD, "--beds", f"{LEAD}-curb-2", "--price", "1700")
    assert "Quote Q2026-003" in write(quoted, *words).stderr
    assert amounts_of(pages_of(quoted, "2026-003", 1)[0])["Bed A"] == 170_000
    before = read_season(quoted).quotes.set_index("quote_id").loc["Q2026-003"]

    typed = ("visit", LEAD, "length A=40.5", "--on", "2026-02-13")
    for said in (typed, ("calls", LEAD, "visit", "--note", "wants roses")):
        assert type_in("record", str(quoted), *said, *TODAY).exit_code == 0
    for verb in ("sketch", "visit"):
        told = type_in(verb, str(quoted), LEAD, "--out", str(quoted / "out"), *TODAY)
        assert told.exit_code == 0
    assert "on record already" in write(quoted, *words).stderr
    season = read_season(quoted)
    again = season.quotes.iloc[-1]
    assert again["quote_id"] == "Q2026-003"
    # drawn 43.9 ft long and 4 ft deep
    assert abs(again["area_ft2"] - before["area_ft2"]) > 10
    # A cut of 3 in: 324 / 3 = 108 ft² to the cubic yard
    tasks = season.quote_tasks.set_index(["quote_id", "task"])["quantity"]
    assert tasks["Q2026-003", "dig out by hand"] == pytest.approx(again["area_ft2"] / 108)
    quote = pages_of(quoted, "2026-003")
    rests_on = "Lengths measured on February 13, 2026: A. All else is drawn from maps."
    for page in (quote[1], text_of(quoted / "out" / f"sketch-{LEAD}.pdf")[0]):
        assert rests_on in page
        assert "not from a survey" not in page
        assert "41 ft" in page
    # the table of what was measured has it as the tape said it
    sheet = text_of(quoted / "out" / f"visit-{LEAD}.pdf")[0]
    assert "length A 40.5 ft" in sheet
    assert "so far measured" in sheet
    for said in ("asks for the gate to be closed", "dog: yes", "wants roses"):
        assert said in sheet
        assert said not in "\n".join(quote)


def test_a_quote_has_the_days_that_its_price_and_its_crew_have(book):
    """Work of 1.06 crew-days: the crew stays on for the rest, and comes once. The office goes without the notice of cancellation."""
    scan = look(book, LEAD)
    days = scan.offers.query("client_id == @LEAD and phase == 1")["crew_days"].item()
    with (book / "rates.toml").open("a") as rates:  # a crew's day has 8 hours
        rates.write(f"day_hours = {{ value = {8 * days / 1.06:.3f}, source = 'for the test' }}\n")
    rules = (book / "local.toml").read_text()
    assert 'cancel_notice = "yes"' in rules
    (book / "local.toml").write_text(rules.replace('cancel_notice = "yes"', 'cancel_notice = "no"'))
    with keeping_scans() as scans:
        told = write(book, LEAD)
    assert told.exit_code == 0
    assert "ask counsel" in told.stderr
    assert not [page for page in pages_of(book) if "cancel" in page.casefold()]
    assert "two to four weeks after you sign; one day" in pages_of(book)[0]
    tasks = read_season(book).quote_tasks.set_index("task")["quantity"]
    assert tasks["set up and clean up"] == tasks["mobilization"] == 1
    for words in (("quote", "Q2026-001", "won"), ("schedule", LEAD, "2026-02-23")):
        assert type_in("record", str(book), *words, *TODAY).exit_code == 0
    with finding(scans[0]):
        done = type_in("jobsheet", str(book), LEAD, "--out", str(book / "out"), *TODAY)
    assert done.exit_code == 0
    sheet = text_of(book / "out" / f"jobsheet-{LEAD}.pdf")[0]
    assert "1.1 crew-days" in sheet
    assert "day 1" not in sheet


def test_from_quote_to_job_and_to_the_quote_after_the_sale(quoted):
    assert write(quoted, "C0056").exit_code == 0
    quote = read_season(quoted).quotes.set_index("quote_id").loc["Q2026-002"]
    assert type_in("record", str(quoted), "quote", "Q2026-002", "won", *TODAY).exit_code == 0
    again = type_in("record", str(quoted), "quote", "Q2026-002", "won", "--today", "2026-03-12")
    assert "Recorded 0 new quotes, 1 on record already." in again.stderr.splitlines()
    told = write(quoted, "C0056", "--beds", quote["bed_ids"].split()[0])
    assert told.exit_code == 1
    assert "cannot be quoted: it is sold already (Q2026-002)" in told.stderr
    told = write(quoted, "C0056")
    assert told.exit_code == 0
    second = read_season(quoted).quotes.set_index("quote_id").loc["Q2026-003", "bed_ids"]
    assert not {*quote["bed_ids"].split()} & {*second.split()}
    said = re.search(
        r"Q2026-002 is sold already: this quote is for the next offer, (.*)\.", told.stderr
    )
    bed = re.match(r"(\d+) ft (\w+)", said[1])
    assert f"{bed[1]} ft" in pages_of(quoted, "2026-003")[0]
    assert second.split()[0].startswith(f"C0056-{bed[2]}")
    built = ("job", "Q2026-002", "--built", "2026-03-12", "--hours", "set edging=3")
    told = type_in("--debug", "record", str(quoted), *built, "--today", "2026-03-13")
    assert told.exit_code == 0, told.stdout
    job = read_season(quoted).jobs.iloc[0]
    assert (job["job_id"], job["sold_cents"], job["built_on"]) == (
        "Q2026-002",
        quote["price_cents"],
        "2026-03-12",
    )


def test_bad_input_is_one_sentence(book):
    scan = look(book, LEAD)
    beds = look(book, "C0056").beds.set_index("bed_id")
    skipped = beds[(beds["client_id"] == "C0056") & (beds["skip_reason"] != "")].index[0]
    for words, code, sentence in (
        ((LEAD, "--beds", "C0056-curb-1"), 1, f"'C0056-curb-1' is no bed of {LEAD}; these may be quoted: "),
        (("C0056", "--beds", skipped), 1, f"{skipped} cannot be quoted: it is {beds['skip_reason'][skipped]}"),
        (("Nobody Atall",), 1, "'Nobody Atall' is no id, name or phone number"),
        ((LEAD, "--price", "-5"), 2, "--price"),
        ((LEAD, "--price", "15"), 1, "$15.00 is under a third of the $1,720.00 that it works out to: no quote is written"),
    ):  # fmt: skip
        told = write(book, *words)
        assert (told.exit_code, sentence in told.stderr) == (code, True), told.stderr
    assert read_season(book).quotes.empty
    assert not (book / "out").exists()
    told = write(book, LEAD, "--price", "600")
    assert told.exit_code == 0
    lead = scan.offers.query("client_id == @LEAD and phase == 1").iloc[0]
    prices = scan.table("prices").set_index(["offer_id", "finish"])
    price = prices.loc[(lead["offer_id"], lead["finish"])]
    for words, name in (
        ("under the low end of its range, ", "price_low_cents"),
        ("under the direct cost of ", "direct_cost_cents"),
    ):
        assert f"$600.00 is {words}{write_usd(price[name], 2)}" in told.stderr
    assert "direct cost" not in "".join(pages_of(book))
    assert type_in("record", str(book), "calls", "C0056", "do not call", *TODAY).exit_code == 0
    told = write(book, "C0056")
    assert told.exit_code == 1
    assert "C0056 asked not to be called: no quote is written" in told.stderr
