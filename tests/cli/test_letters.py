"""``promo --letters``: who is written to, what the letters say, and where their addresses stand."""

from __future__ import annotations

import csv
import io
import json
import math
import re
import shutil
from datetime import date
from pathlib import Path

import pandas as pd
import pdfplumber
import pytest
from click.testing import Result

from scanner.book.settings import read_rates
from scanner.calls.log import read_season
from scanner.calls.post import learn_letters, open_letters
from scanner.pages.letters import CARD, WINDOWS, Mailing, draw_letters, draw_postcards
from scanner.pages.paper.look import A4, LETTER
from scanner.pages.paper.sheet import Paper
from scanner.schema.local_rules import Company
from tests.calls.test_chance import stages
from tests.cli.desk import type_in
from tests.paper_boxes import clashes
from tests.paper_words import read_pages

pytestmark = pytest.mark.usefixtures("scanned_once", "without_map")

CLIENTS = """client_id,name,address,phone,route,mow_day,stop,do_not_call,no_mail,mailing_address,renter
C0,Ada Quill,"0 Elm St, Quillbrook",308-555-0100,East,Monday,1,,,,
C1,Bo <b>Tansy</b>,"1 Elm St, Quillbrook",308-555-0101,East,Monday,2,,,"PO Box 7, Quillbrook, NE 68001",
C2,Żaneta Łoś 🌷,"2 Elm St, Quillbrook",308-555-0102,West,Monday,3,,,,
C3,Di Yarrow,,308-555-0103,West,Monday,4,,,,
C4,Ed Zinnia,"4 Elm St, Quillbrook",308-555-0104,West,Monday,5,,yes,,
C5,Flo Aster,"5 Elm St, Quillbrook",308-555-0105,East,Monday,6,yes,,,
C6,Gil Sorrel,"6 Elm St, Quillbrook",308-555-0106,East,Monday,7,yes,,,yes
"""
COMPANY = '[company]\nname = "Larkspindle Lawn Company"\nphone = "308-555-0199"\n'
WEEKS = ("--weeks", "2026-04-06..2026-04-27", "--today", "2026-03-02")


@pytest.fixture(scope="module")
def fresh(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("fresh") / "elm"
    folder.mkdir()
    (folder / "clients.csv").write_text(CLIENTS, encoding="utf-8")
    edges = [f"C{n},curb,{40 + 5 * n},30" for n in range(7)]
    (folder / "measured.csv").write_text("\n".join(["client_id,along,length_ft,room_ft", *edges]))
    weeks = [f"2026-04-{day:02d},A,2" for day in (6, 13, 20, 27)]
    (folder / "capacity.csv").write_text("\n".join(["week,crew,free_crew_days", *weeks]))
    (folder / "local.toml").write_text(COMPANY)
    return folder


@pytest.fixture(scope="module")
def first(fresh: Path, tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Result]:
    """The same book with its letters beside it, and what was said of them."""
    folder = tmp_path_factory.mktemp("written")
    book = shutil.copytree(fresh, folder / "elm")
    return folder, promo(book, folder / "out", "--letters", "--calls-a-week", "0")


@pytest.fixture
def book(fresh: Path, tmp_path: Path) -> Path:
    return shutil.copytree(fresh, tmp_path / "elm")


@pytest.fixture
def written(first: tuple[Path, Result], tmp_path: Path) -> tuple[Path, Path]:
    """A copy to go on with: the book, and its letters."""
    folder = shutil.copytree(first[0], tmp_path / "written")
    return folder / "elm", folder / "out"


def promo(book: Path, out: Path, *words: str):
    return type_in("promo", str(book), *WEEKS, *words, "--out", str(out))


def mailing_rows(out: Path) -> dict[str, dict[str, str]]:
    text = (out / "mailing.csv").read_text(encoding="utf-8")
    return {row["client_id"]: row for row in csv.DictReader(io.StringIO(text))}


def test_whom_no_call_reaches_gets_a_letter(first):
    folder, told = first
    out = folder / "out"
    assert told.exit_code == 0, told.output
    # C3 has no address, C4 wants no letters, C6 rents; C5 asked not to be called, which bars no letter
    rows = mailing_rows(out)
    assert set(rows) == {"C0", "C1", "C2", "C5"}
    assert [*rows][-1] == "C5"
    assert "Call nobody new this week." in told.stderr
    assert "Write to 4 clients." in told.stderr
    assert "No more are called because you make 0 calls a week" in told.stderr
    assert "1 not written to, wants no letters: Ed Zinnia." in told.stderr
    assert "1 not written to, no mailing address: Di Yarrow." in told.stderr
    assert "3 of 4 addresses have no ZIP code." in told.stderr
    assert rows["C1"]["mailing_address"] == "PO Box 7, Quillbrook, NE 68001"
    # the last week's Monday, April 27, less 7 days until the visit and 7 from a yes there until the job may start
    assert {row["good_until"] for row in rows.values()} == {"2026-04-13"}
    assert "The letters ask for a call by April 13:" in told.stderr
    assert {row["sent_on"] + row["asked_on"] for row in rows.values()} == {""}
    html = (out / "promo.html").read_text(encoding="utf-8")
    assert "Whom to write to <small>4; letters.pdf, mailing.csv</small>" in html
    assert "Bo &lt;b&gt;Tansy&lt;/b&gt;" in html


def test_a_call_comes_before_a_letter(book, tmp_path):
    told = promo(book, tmp_path / "out", "--letters", "--json")
    clients = {row["client_id"]: row for row in json.loads(told.stdout)["clients"]}
    # Forty calls a week reach all who may be called
    assert {one for one, row in clients.items() if row["by"] == "letter"} == {"C5"}
    assert {row["wave"] for row in clients.values()} == {0}
    # At the price of each, ten letters bring about as much as one call: 2 % for 20 %, and later
    assert 0 < clients["C5"]["expected_days"] < 0.15 * clients["C0"]["expected_days"]
    # Without letters nobody asks for the letter
    (book / "letter.txt").write_bytes(b"")
    plain = json.loads(promo(book, tmp_path / "out", "--json").stdout)["clients"]
    assert {row["client_id"] for row in plain} == {"C0", "C1", "C2", "C3", "C4"}


def test_the_letters_say_what_the_list_says(written):
    book, out = written
    type_in("scan", str(book), "--today", "2026-03-02", "--out", str(out))
    listed = csv.DictReader(io.StringIO((out / "calls.csv").read_text(encoding="utf-8")))
    say = {row["client_id"]: row["say"] for row in listed}
    rows = mailing_rows(out)
    pages = read_pages((out / "letters.pdf").read_bytes())
    assert len(pages) == len(rows) == 4
    for page, (client_id, row) in zip(pages, rows.items(), strict=True):
        words = " ".join(page.split())
        assert row["say"] in words
        assert row["say"] == say.get(client_id, row["say"])
        price = re.search(r"about \$([\d,]+)", row["say"])
        assert price
        assert float(row["price_usd"]) == float(price[1].replace(",", ""))
        assert client_id in words
        assert "please call 308-555-0199 by April 13, 2026" in words
        assert "in the weeks of April 6, 2026 to April 27, 2026" in words
    assert any("Żaneta Łoś" in page for page in pages)


@pytest.mark.parametrize(
    ("letter", "sentence"),
    [
        ("Dear {name},\nabout {prise}", "letter.txt, line 2: {prise} is no field; did you mean {price}?"),
        ("Dear {},", "line 1: {} is no field."),
        ("", "letter.txt is empty"),
        ("Write to {email}", "needs the company's email: write it into local.toml, under [company]"),
        (b"\xff\xfe\xff", "save it as plain text (UTF-8)"),
    ],
)  # fmt: skip
def test_a_letter_that_cannot_be_written_is_one_sentence(book, tmp_path, letter, sentence):
    content = letter if isinstance(letter, bytes) else letter.encode()
    (book / "letter.txt").write_bytes(content)
    out = tmp_path / "out"
    told = promo(book, out, "--letters", "--calls-a-week", "0")
    assert told.exit_code == 1
    assert sentence in told.stderr
    assert not (out / "letters.pdf").exists()


def test_old_letters_are_told_of_when_nobody_is_written_to(first, written, tmp_path):
    book, out = written
    assert "of an earlier run" not in first[1].stderr
    (book / "clients.csv").write_text(
        CLIENTS.replace("no_mail", "wants_none").replace("do_not_call", "no_mail"), encoding="utf-8"
    )
    again = promo(book, out, "--letters", "--calls-a-week", "40")
    assert "Write to" not in again.stderr
    page = (out / "promo.html").read_text(encoding="utf-8")
    for words in ("Nobody is to be written to now.", "letters.pdf and mailing.csv in"):
        assert words in again.stderr
        assert words in page
    elsewhere = promo(book, tmp_path / "new", "--letters", "--calls-a-week", "40").stderr
    assert "Nobody is to be written to now." in elsewhere
    assert "mailing.csv" not in elsewhere


def test_a_letter_of_ones_own(book, tmp_path):
    (book / "letter.txt").write_text(
        "Hello {name}! {price}, {braces stay}".replace("{braces stay}", "$5 {{")
    )
    out = tmp_path / "out"
    assert promo(book, out, "--letters", "--calls-a-week", "0", "--paper", "a4").exit_code == 0
    with pdfplumber.open(out / "letters.pdf") as letters:
        assert (round(letters.pages[0].width), round(letters.pages[0].height)) == (595, 842)
        assert any("Hello Ada Quill! $" in page.extract_text() for page in letters.pages)


def test_a_filled_in_mailing_is_never_written_over(written):
    book, out = written
    file = out / "mailing.csv"
    filled = file.read_text(encoding="utf-8").replace("2026-03-02,,", "2026-03-02,2026-03-02,", 1)
    file.write_text(filled, encoding="utf-8")
    promo(book, out, "--letters", "--calls-a-week", "0")
    assert file.read_text(encoding="utf-8") == filled
    assert (out / "mailing-2026-03-02.csv").exists()


def test_too_late_for_letters_is_told(book, tmp_path):
    # 3 days in the post, some 10 for an answer, 7 to the visit, some 15 for its answer, 7 to the start:
    # half of that is over after six weeks, so that none is written on March 30 for April
    out = tmp_path / "out"
    told = type_in(
        "promo", str(book), "--weeks", "2026-04-06..2026-04-27", "--today", "2026-03-30", "--letters",
        "--out", str(out),
    )  # fmt: skip
    assert told.exit_code == 0, told.output
    assert (
        "It is too late for letters: more than half of what they sell would start after the week of April 27, 2026."
        in told.stderr
    )
    assert not (out / "letters.pdf").exists()


LONG = "Bartholomew Featherstonehaugh-Winterbottom and Konstantinos Papadimitriou"


@pytest.mark.parametrize("size", [LETTER, A4])
def test_the_address_shows_wherever_the_sheet_slides(size):
    company = Company(name="Larkspindle Lawn Company", phone="308-555-0199")
    mailing = Mailing(
        company, date(2026, 3, 2), date(2026, 4, 6), date(2026, 4, 27), date(2026, 4, 26)
    )
    row = {
        "client_id": "C1", "name": LONG, "address": "1 Elm St", "say": "We could. " * 450,
        "mail_to": "Care of Somebody Else, 12345 Long Meadow Parkway Northwest, Apartment 12, Quillbrook, NE 68001-1234",
        "price_cents": 1000,
    }  # fmt: skip
    paper = Paper(size, title="Letters")
    draw_letters(paper, [row, row], ["", "say", ""], mailing)
    assert clashes(paper) == []
    assert paper.page == 4, "a long letter goes on on a second page"
    window = WINDOWS[size]
    own = [
        box for box in paper.boxes
        if box.page == 1 and window.top - 1 < paper.height - box.top < window.fold - 10
    ]  # fmt: skip
    assert len(own) == 4
    down = [(paper.height - box.top, paper.height - box.bottom) for box in own]
    assert min(box.left for box in own) >= window.left
    assert max(box.right for box in own) <= window.left + window.width + 0.01
    if size == LETTER:
        # The window is 7/8 to 5 3/8 in across and 2 1/2 to 3 5/8 in down in its envelope of
        # 9 1/2 by 4 1/8 in; the sheet, folded at 3 7/8 in, lies anywhere in it
        eighth = 72 / 8
        for aside in (0, 72):
            assert min(box.left for box in own) + aside >= 7 * eighth + eighth
            assert max(box.right for box in own) + aside <= 43 * eighth - eighth
        for below in (0, 2 * eighth):
            assert min(top for top, _ in down) + below >= 20 * eighth + eighth - 0.2
            assert max(bottom for _, bottom in down) + below <= 29 * eighth - eighth
    else:
        assert max(bottom for _, bottom in down) <= 90 / 25.4 * 72


def fill_in(out: Path, **days: tuple[str, str]) -> Path:
    """Write into the list when letters were sent and answered."""
    file = out / "mailing.csv"
    rows = list(csv.reader(io.StringIO(file.read_text(encoding="utf-8"))))
    for row in rows[1:]:
        row[-2:] = days.get(row[0], ("", ""))
    text = io.StringIO()
    csv.writer(text).writerows(rows)
    file.write_text(text.getvalue(), encoding="utf-8")
    return file


def test_a_filled_in_mailing_is_recorded_and_rests_its_clients(written):
    book, out = written
    assert type_in("scan", str(book), "--today", "2026-03-02", "--out", str(out)).exit_code == 0
    file = fill_in(out, C0=("2026-03-03", ""), C1=("3/3", "2026-03-10"), C2=("", "2026-03-10"), C5=("2026-03-03", "2026-03-01"))  # fmt: skip
    told = type_in("record", str(book), str(file), "--today", "2026-03-12")
    assert told.exit_code == 1
    assert "sent_on is blank, which is no day" in told.output
    assert "asked_on 2026-03-01 is before the letter was sent, on 2026-03-03" in told.output
    letters = read_season(book).letters.sort_values(["client_id", "letter"])
    assert letters.to_numpy().tolist() == [
        ["C0", "2026-03-02", "sent", "2026-03-03"],
        ["C1", "2026-03-02", "asked", "2026-03-10"],
        ["C1", "2026-03-02", "sent", "2026-03-03"],
    ]
    again = type_in("record", str(book), str(file), "--today", "2026-03-12")
    assert "Recorded 0 new letters, 3 on record already." in again.output
    # 45 days from March 3 are over on April 17
    listed = type_in("calls", str(book), "--all", "--csv", "--today", "2026-03-12").stdout
    assert "letter sent 2026-03-03, rests until 2026-04-17" in listed
    assert listed.count("letter sent") == 1, "who asked is called"
    due = {row["client_id"]: row for row in csv.DictReader(io.StringIO(listed))}["C1"]
    assert (due["due_on"], due["to_do"], due["left_out"]) == (
        "2026-03-10",
        "asked for a visit after our letter",
        "",
    )
    stages = json.loads(
        type_in("forecast", str(book), "--today", "2026-03-12", "--json", "--out", str(out)).stdout
    )["stages"]
    assert {row["name"]: row["client_count"] for row in stages}["visit agreed"] == 1
    figures = json.loads(type_in("promo", str(book), "--weeks", "2026-04-06..2026-04-27", "--today", "2026-03-12", "--json", "--out", str(out)).stdout)  # fmt: skip
    assert "C0" not in {row["client_id"] for row in figures["clients"]}
    for state, day in (("sent", "2026-03-03"), ("asked", "2026-03-11")):
        type_in("record", str(book), "letter", "C5", state, "--on", day, "--today", "2026-03-12")
    barred = type_in("calls", str(book), "--all", "--csv", "--today", "2026-03-12").stdout
    assert "asked not to be called; but asked for a visit after our letter" in barred
    later = type_in("calls", str(book), "--all", "--csv", "--today", "2026-04-17").stdout
    assert "letter sent" not in later


def test_letters_on_record_teach():
    rates, _ = read_rates(None)
    known = stages()
    rows = [
        ("A", "2026-03-02", "sent", "2026-03-02"),
        ("A", "2026-03-02", "asked", "2026-03-09"),
        ("B", "2026-03-02", "sent", "2026-03-02"),
        ("C", "2026-03-14", "sent", "2026-03-14"),
    ]  # fmt: skip
    letters = pd.DataFrame(rows, columns=["client_id", "wave_on", "letter", "told_on"])
    learned = learn_letters(known, letters, today=date(2026, 3, 15), rates=rates)
    # B's came ten days ago: 1 − 1/e of its answers would be here; C's is in the post
    assert (learned.asked, learned.silent) == pytest.approx((2, 49 + 1 - math.exp(-1)))
    assert learned.written[0] == pytest.approx(2 / (51 + 1 - math.exp(-1)))
    none = learn_letters(known, letters.head(0), today=date(2026, 3, 15), rates=rates)
    assert (none.asked, none.silent) == (1, 49)


def test_a_letter_is_open_until_the_client_says_something():
    letters = pd.DataFrame(
        [("A", "sent", "2026-03-02"), ("B", "sent", "2026-03-02"), ("C", "sent", "2026-03-02"), ("C", "asked", "2026-03-05"), ("D", "sent", "2026-03-02")],
        columns=["client_id", "letter", "told_on"],
    ).assign(wave_on="2026-03-02")  # fmt: skip
    calls = pd.DataFrame(
        [("A", "2026-03-01", "no"), ("B", "2026-03-04", "no"), ("D", "2026-03-04", "not reached")],
        columns=["client_id", "called_on", "outcome"],
    )
    assert open_letters(letters, calls).to_dict() == {"A": "2026-03-02", "D": "2026-03-02"}


def test_whole_routes_first(book, tmp_path):
    words = ("--calls-a-week", "2", "--json")
    order = [
        row["client_id"] for row in json.loads(promo(book, tmp_path, *words).stdout)["clients"]
    ]
    # The best client lies alone, the three after him together on one route, which promises more
    for client_id in ("C0", "C1", "C2", "C3", "C4"):
        route = "Alone" if client_id == order[0] else "Together"
        text = (book / "clients.csv").read_text(encoding="utf-8")
        text = re.sub(rf"({client_id},.*?,308-555-010\d),\w+", rf"\1,{route}", text)
        (book / "clients.csv").write_text(text, encoding="utf-8")
    plain, near = (
        [row["client_id"] for row in json.loads(promo(book, tmp_path, *words, *more).stdout)["clients"] if row["wave"] == 0]
        for more in ((), ("--near",))
    )  # fmt: skip
    assert plain == order[:2]
    assert near == order[1:3]


def test_a_postcard_says_the_same_on_two_sides(book, tmp_path):
    out = tmp_path / "out"
    told = promo(book, out, "--postcards", "--calls-a-week", "0")
    assert told.exit_code == 0, told.output
    rows = mailing_rows(out)
    assert not (out / "letters.pdf").exists()
    with pdfplumber.open(out / "postcards.pdf") as cards:
        assert {(page.width, page.height) for page in cards.pages} == {(432, 306)}
        pages = [" ".join(page.extract_text().replace("\xa0", " ").split()) for page in cards.pages]
    assert len(pages) == 2 * len(rows) == 8
    for message, address, row in zip(pages[::2], pages[1::2], rows.values(), strict=True):
        assert row["say"] in message
        assert "please call 308-555-0199 by April 13, 2026" in message
        assert row["mailing_address"].split(",")[0] in address
    html = (out / "promo.html").read_text(encoding="utf-8")
    assert "Whom to write to <small>4; postcards.pdf, mailing.csv</small>" in html
    # C5, the last of them, asked not to be called: the page says that of that one alone
    assert html.count("letter only, asked not to be called") == 1
    both = promo(book, out, "--postcards", "--letters")
    assert (both.exit_code, "name one of" in both.stderr) == (2, True)
    (book / "postcard.txt").write_text("Dear {name}, {say} " * 12)
    long = promo(book, out, "--postcards", "--calls-a-week", "0")
    assert (long.exit_code, "longer than a postcard" in long.stderr) == (1, True)


def test_a_card_keeps_its_words_and_the_bar_code_its_room():
    company = Company(
        name="Larkspindle Lawn Company",
        phone="308-555-0199",
        address="12 Foundry Road, Quillbrook, NE 68001",
    )
    mailing = Mailing(
        company, date(2026, 3, 2), date(2026, 4, 6), date(2026, 4, 27), date(2026, 4, 26)
    )
    row = {
        "client_id": "C1", "name": LONG, "address": "1 Elm St", "say": "We could. " * 60, "price_cents": 1000,
        "mail_to": "Care of Somebody Else, 12345 Long Meadow Parkway Northwest, Apartment 12, Quillbrook, NE 68001-1234",
    }  # fmt: skip
    paper = Paper(CARD, title="Postcards")
    draw_postcards(paper, [row], ["", "say", ""], mailing)
    assert clashes(paper) == []
    own = [box for box in paper.boxes if box.page == 2 and box.left > 200 and box.top < 200]
    assert len(own) == 4
    # 5/8 to 2 3/4 in from the bottom, 1/2 in off the right side
    assert min(box.bottom for box in own) >= 0.625 * 72
    assert max(box.top for box in own) <= 2.75 * 72
    assert max(box.right for box in own) <= 432 - 36
