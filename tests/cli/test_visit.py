"""The visit sheet of the sample book: its prices are what a scan says once such lengths are measured."""

from __future__ import annotations

import shutil
from datetime import date
from pathlib import Path

import pytest

from scanner import pipeline
from scanner.calls.log import read_season
from scanner.cli.visit import gather_visit, price_lengths
from scanner.pages.paper.sheet import Paper
from scanner.pages.visit_page import Visit, draw_visit
from scanner.schema.documents import FINISHES, Book, Scan
from scanner.sheets.visit_blanks import BLANKS, ENDINGS, NOTE
from scanner.units import usd_said
from tests.cli.desk import finding, type_in
from tests.paper_boxes import clashes
from tests.sample_lots import cut_sample

pytestmark = pytest.mark.usefixtures("lots_scanned_once")

TODAY = date(2027, 2, 16)
NO_OFFER = "C0009"
WHO = ("C0001", "C0003", "C0063", "C0073", "C0077", "C0091", "C0110", "C0115")
"""A long house side, two curb beds, a wrapped wall, a cul-de-sac, a bent curb, gravel, a row house, on foot."""


def look(book: Path, *who: str) -> tuple[Book, Scan]:
    read = pipeline.read_book(book)
    season = pipeline.open_season(book)
    return read, pipeline.scan(read, today=TODAY, season=season, client_ids=set(who))


@pytest.fixture(scope="module")
def lots(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return cut_sample(tmp_path_factory.mktemp("sample") / "book", *WHO, NO_OFFER)


@pytest.fixture(scope="module")
def seen(lots: Path) -> tuple[Book, Scan]:
    return look(lots, *WHO, NO_OFFER)


@pytest.fixture(scope="module")
def visits(seen: tuple[Book, Scan], lots: Path) -> dict[str, Visit]:
    read, found = seen
    season = pipeline.open_season(lots)
    return {client: gather_visit(read, season, found, client)[0] for client in WHO}


@pytest.fixture(scope="module")
def letters(visits: dict[str, Visit]) -> dict[str, Paper]:
    """Their sheets, drawn once."""
    return {client: draw_visit(visit, "letter") for client, visit in visits.items()}


def words_of(paper: Paper) -> set[str]:
    return {box.text.replace("\xa0", " ") for box in paper.boxes}


@pytest.fixture
def book(lots: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(lots, tmp_path / "book"))


def record(book: Path, *typed: str) -> tuple[int, str]:
    done = type_in("record", str(book), "visit", *typed, "--today", TODAY.isoformat())
    return done.exit_code, done.stderr


def test_no_words_overlap(visits, letters):
    for client, visit in visits.items():
        assert clashes(letters[client]) == [], client
        assert clashes(draw_visit(visit, "a4")) == [], client


def test_the_sheet_begins_with_what_the_client_list_knows_of_the_lot(visits, letters):
    assert visits["C0063"].known == ["new drive being poured in spring"]
    assert visits["C0091"].known == ["dog: yes"]
    assert "Know before you go: dog: yes" in words_of(letters["C0091"])
    assert visits["C0001"].known == []


def test_lengths_go_a_quarter_either_way_in_steps_of_4_ft(visits):
    # C0003: 17.6 + 16.1 = 33.7 ft, a quarter is 8.4 ft: two steps either way
    prices = visits["C0003"].prices
    assert [round(feet) for feet in prices["length_ft"]] == [26, 30, 34, 38, 42]
    assert prices["is_drawn"].tolist() == [False, False, True, False, False]


def test_the_row_as_drawn_is_the_scans_price(seen, visits, letters):
    found = seen[1]
    prices = found.table("prices").set_index(["offer_id", "finish"])["price_cents"]
    leads = found.offers[found.offers["phase"] == 1].set_index("client_id")
    for client, visit in visits.items():
        drawn = visit.prices[visit.prices["is_drawn"]].iloc[0]
        printed = words_of(letters[client])
        for finish in FINISHES:
            key = (leads.loc[client, "offer_id"], finish)
            if key in prices.index:
                assert drawn[finish] == prices[key]
                assert usd_said(int(prices[key])) in printed


def test_a_length_that_was_said_costs_what_a_scan_says_once_it_is_measured(seen, book):
    read, found = seen
    lead = found.offers.query("client_id == 'C0110' and phase == 1").iloc[0]
    said = price_lengths(read, pipeline.open_season(book), found, lead["offer_id"])[0]
    shorter = said[~said["is_drawn"]].iloc[0]
    drawn_ft = found.table("beds").set_index("bed_id")["edge_ft"]
    all_ft = drawn_ft[[bed for bed in drawn_ft.index if bed.startswith("C0110-house")]].sum()
    # every edge of the house as much shorter as the row is
    share = shorter["length_ft"] / lead["edge_ft"]
    done = type_in("record", str(book), "visit", "C0110", "--edge", f"house={all_ft * share}", "--today", TODAY.isoformat())  # fmt: skip
    assert done.exit_code == 0
    _, again = look(book, "C0110")
    prices = again.table("prices")
    prices = prices[prices["offer_id"] == lead["offer_id"]].set_index("finish")["price_cents"]
    assert {finish: shorter[finish] for finish in prices.index} == prices.to_dict()


def test_every_blank_that_is_printed_can_be_typed(visits, letters, book):
    printed = {box.text for box in letters["C0003"].boxes}
    names = [blank.name for blank in (*BLANKS, NOTE)] + [
        "length A",
        "depth A",
        "length B",
        "depth B",
    ]
    assert printed >= set(names)
    assert all(printed >= set(blank.words) for blank in BLANKS)
    values = {blank.name: blank.words[0] if blank.words else "2" for blank in BLANKS}
    values |= {
        "length A": "18",
        "depth A": "5",
        "length B": "16",
        "depth B": "5",
        "plant liked": "catmint",
        "note": "dog in the yard",
    }
    code, said = record(book, "C0003", *(f"{name}={value}" for name, value in values.items()))
    assert (code, "Recorded" in said) == (0, True)
    season = read_season(book)
    answers = season.answers.set_index("question")["answer"].to_dict()
    # two heads in the beds of the sheet, as typed
    number, *along = answers.pop("heads along edge").split()
    assert (number, along[0]) == ("2", "along")
    assert {*along[1:]} == {bed["bed_id"] for bed in visits["C0003"].beds}
    story = type_in("client", str(book), "C0003", "--today", TODAY.isoformat()).stdout
    assert "heads along edge: 2 along C0003-curb-" in story
    assert answers == {"slope percent": "0", "gate width in": "2", "sun": "sun", "plant": "catmint"}
    assert season.measurements[["along", "length_ft", "room_ft"]].to_numpy().tolist() == [
        ["curb", 18.0, 5.0], ["curb", 16.0, 5.0],
    ]  # fmt: skip
    note = season.visits["note"].iloc[0]
    assert note == (
        "soil soft; truck at the bed; water spigot near; lines seen gas; association yes; who decides 2; "
        "dog in the yard"
    )


def edges_of(found: Scan) -> list[float]:
    """Lengths of the two curb beds of C0003."""
    beds = found.table("beds").set_index("bed_id")
    return beds["edge_ft"][["C0003-curb-1", "C0003-curb-2"]].tolist()


def sheet_of(book: Path, read: Book, found: Scan) -> tuple[list[int], str]:
    """Lengths on the sheet of C0003, whose beds keep their letters, and the bed that leads."""
    sheet = gather_visit(read, pipeline.open_season(book), found, "C0003")[0]
    assert [bed["bed_id"] for bed in sheet.beds] == ["C0003-curb-1", "C0003-curb-2"]
    assert "Shaded: as measured." in " ".join(box.text for box in draw_visit(sheet, "letter").boxes)
    offer = found.offers.query("phase == 1").iloc[0]
    drawn = found.table("offer_beds")
    of_offer = drawn.loc[drawn["offer_id"] == offer["offer_id"], "bed_id"].tolist()
    assert of_offer == sorted(of_offer)
    return [round(bed["edge_ft"]) for bed in sheet.beds], offer["bed_ids"].split()[0]


def test_beds_measured_one_after_the_other_come_out_as_typed_and_keep_their_letters(book):
    # drawn 17.6 and 16.1 ft
    code, told = record(book, "C0003", "length A=20")
    assert (code, "A, 18 ft along the curb, is 20 ft from now on, longer than it is drawn" in told) == (0, True)  # fmt: skip
    assert read_season(book).measurements["length_ft"].tolist() == [20]

    # a plant that no list has is told, and the rest recorded
    code, told = record(book, "C0003", "length A=19.5", "depth A=3.9", "plant liked=day lily", "slope=flat")  # fmt: skip
    assert code == 1
    assert "is 19.5 ft, at most 3.9 ft deep, from now on.\n" in told
    assert "'day lily' is not in plants.toml; did you mean daylily?: it is on record" in told
    season = read_season(book)
    own = season.answers[season.answers["client_id"] == "C0003"]
    assert dict(zip(own["question"], own["answer"], strict=True))["plant"] == "day lily"
    sheet = type_in("visit", str(book), "C0003", "--out", str(book / "out"), "--today", TODAY.isoformat())  # fmt: skip
    assert sheet.exit_code == 1
    assert "the client likes 'day lily'" in sheet.stdout + sheet.stderr
    assert (book / "out" / "visit-C0003.pdf").is_file()
    # a bed that was not measured stays as drawn
    assert edges_of(look(book, "C0003")[1]) == pytest.approx([19.5, 16.144], abs=0.001)

    # measured another day, the first stays as it was measured: the latest measuring of a kind counts.
    # Both together are as long as they are drawn, 33.7 ft, and each is as it was measured
    assert "B, 16 ft along the curb, is 14.2 ft from now on." in record(book, "C0003", "length B=14.2")[1]  # fmt: skip
    edges = read_season(book).measurements.set_index("bed_id")
    assert edges["length_ft"].to_dict() == {"C0003-curb-1": 19.5, "C0003-curb-2": 14.2}
    assert edges.loc["C0003-curb-1", "room_ft"] == 3.9
    read, found = look(book, "C0003")
    assert edges_of(found) == pytest.approx([19.5, 14.2], abs=0.01)
    area = found.table("beds").set_index("bed_id")["area_ft2"]["C0003-curb-1"]
    assert area == pytest.approx(19.5 * 3.9, abs=0.1)
    feet, first = sheet_of(book, read, found)
    assert feet == [20, 14]

    # by the names of the beds
    typed = ("length c0003-curb-1=15", "length C0003-curb-2=20")
    assert record(book, "C0003", *typed)[0] == 0
    read, found = look(book, "C0003")
    assert edges_of(found) == pytest.approx([15, 20], abs=0.01)
    feet, second = sheet_of(book, read, found)
    assert feet == [15, 20]
    assert {first, second} == {"C0003-curb-1", "C0003-curb-2"}


@pytest.mark.parametrize(
    ("typed", "said"),
    [("length A=40", "40 ft is more than half as long again as C0003-curb-1 (18 ft)"),
     ("length C=10", "length C: C0003 has no bed C now; it has A (C0003-curb-1), B (C0003-curb-2), or by name C0003-curb-1, "),
     ("depth A=4", "a depth needs the length of its bed beside it")],
)  # fmt: skip
def test_what_cannot_be_measured_is_one_sentence_and_nothing_is_recorded(book, typed, said):
    code, told = record(book, "C0003", typed, "slope=flat")
    assert code == 1
    assert told.count("\n") == 2  # whom it is about, and what is wrong
    assert said in told
    assert read_season(book).visits.empty
    assert read_season(book).answers.empty


@pytest.mark.parametrize(
    ("typed", "said"),
    [("slope=bumpy", "'bumpy' does not stand beside slope: flat, some, steep"),
     ("slope", "'slope' is no name and value"), ("colour=red", "'colour' is no blank of the sheet")],
)  # fmt: skip
def test_names_and_words_are_those_of_the_sheet(book, typed, said):
    code, told = record(book, "C0003", typed)
    assert (code, said in told) == (2, True)


@pytest.mark.parametrize(
    ("typed", "command"),
    [("write the quote=few plants", "quote BOOK WHO --finish FINISH"),
     ("call back on=May 4", "record BOOK calls WHO call back --next DATE"),
     ("Not now, because=a wedding", "record BOOK calls WHO not now --note TEXT"),
     ("no, because=too dear", "record BOOK calls WHO no --note TEXT"),
     ("visited by=Kim", "record BOOK visit WHO --by NAME")],
)  # fmt: skip
def test_how_a_visit_ended_is_sent_to_its_command(book, typed, command):
    code, told = record(book, "C0003", typed, "slope=flat")
    name = typed.partition("=")[0]
    assert (code, f"'{name}' is not recorded with the blanks: {command} records it" in told) == (2, True)  # fmt: skip
    assert read_season(book).visits.empty


def test_all_that_can_be_written_on_the_sheet_is_listed(letters, book):
    told = " ".join(record(book, "C0003", "colour=red")[1].split())
    printed = {box.text for box in letters["C0003"].boxes}
    assert printed >= {*ENDINGS, NOTE.name}
    for name in (*ENDINGS, NOTE.name, "who decides", "length A", "depth A", "Day and hour"):
        assert name in told


def test_the_sheet_is_written_and_whoever_has_no_offer_is_told(seen, book):
    out = book.parent / "out"
    with finding(seen[1]):
        done, none = (
            type_in("visit", str(book), who, "--out", str(out), "--today", TODAY.isoformat())
            for who in ("308-555-0103", NO_OFFER)
        )
    assert (done.exit_code, done.stdout) == (0, f"{out / 'visit-C0003.pdf'}\n")
    # its two beds, with no figure that might be typed as it stands
    assert 'visit C0003 "length A=FEET" "length B=FEET" slope=flat' in done.stderr
    assert none.exit_code == 1
    assert none.stderr.startswith(f"Cannot go on: {NO_OFFER}: nothing is offered there")


def test_a_kind_is_measured_by_letter_or_as_a_whole(book):
    done = type_in("record", str(book), "visit", "C0003", "length A=16", "--edge", "curb=30", "--today", TODAY.isoformat())  # fmt: skip
    assert done.exit_code == 2
    assert "measured by letter and by --edge: type it one way" in " ".join(done.stderr.split())
    assert read_season(book).visits.empty
