"""``record forget``: a person is erased from every byte, and the number is left uncalled by a mark alone."""

from __future__ import annotations

import re
import shutil
import zipfile
from datetime import date
from pathlib import Path

import openpyxl
import pytest

from scanner.book.new import start_book
from scanner.book.own_files import take_out
from scanner.calls.entry_kinds import KINDS
from scanner.calls.forgotten import digits_of, leave_uncalled, mark_of
from scanner.calls.log import read_season
from scanner.pages.paper.sheet import Paper
from scanner.store.traces import find_traces, traces_of
from tests.calls.desk import record
from tests.cli.desk import leaving_map_out, type_in
from tests.small_scan import small_clients

MARCH = ("--today", "2027-03-10")
WORDS = (b"Nell", b"nell@example", b"12 Sample St", b"555-0101", b"5550101", b"tulips", b"pink house", b"555-0199", b"Wil was here")  # fmt: skip
ID = re.compile(rb"""(?:^|[\s",'>=])001(?:[\s",'<]|$|-[a-z]+-\d)""", re.MULTILINE)


@pytest.fixture(scope="module")
def told(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A book in which much is on record of its first client, with pages, lists, copies and strays."""
    folder = tmp_path_factory.mktemp("told")
    start_book(book := folder / "lawns")
    out = ("--out", str(folder / "maps" / "lawns"))
    with leaving_map_out():
        assert type_in("scan", str(book), *out, "--today", "2027-03-01").exit_code == 0
    wheel = ("--edge", "curb=40", "--note", "tulips at the curb", "--by", "Wil was here")
    visit = ("record", str(book), "visit", "Nell Example", *wheel, "--today", "2027-03-02")
    assert type_in(*visit).exit_code == 0
    for call in (
        ("001", "2027-03-03", "call back", "likes tulips", "", "2027-03-09"), ("001", "2027-03-04", "quoted", "a slip about tulips"),
    ):  # fmt: skip
        record(book, call, today=date.fromisoformat(call[1]))
    assert type_in("record", str(book), "undo", "--today", "2027-03-05").exit_code == 0
    record(book, ("002", "2027-03-06", "no", "Ben says no"), today=date(2027, 3, 6))
    sheet = folder / "maps" / "lawns" / "calls.xlsx"
    workbook = openpyxl.load_workbook(sheet)
    figures = workbook["Figures"]
    heads = {cell.value: cell.column for cell in figures[1]}
    row = next(line[0].row for line in figures.iter_rows(min_row=2) if line[1].value == "001")
    figures.cell(1, len(heads) + 1).value = "mark"
    figures.cell(row, len(heads) + 1).value = "pink house"
    figures.cell(row, heads["phone"]).value = "402-555-0199"
    workbook.save(sheet)
    assert type_in("scan", str(book), *out, "--today", "2027-03-10").exit_code == 0
    assert type_in("week", str(book), *out, "--today", "2027-03-10").exit_code == 0
    assert type_in("checklist", str(book), *out, "--today", "2027-03-10").exit_code == 0
    shutil.copy(sheet, sheet.with_name("calls-2027-03-01.xlsx"))
    for place in (book, sheet.parent):
        (place / ".unfinished-x").mkdir()
        (place / ".unfinished-x" / "calls.csv").write_text("001,Nell Example\n")
    (book / "unmatched.csv").write_text(
        "client_id,name,choice\n001,Nell Example,\n002,Ben Example,1\n"
    )
    (book / "copies" / "book-2027-03-01.part").write_bytes(b"Nell Example")
    return folder


@pytest.fixture
def office(told: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    folder = tmp_path / "office"
    shutil.copytree(told, folder)
    monkeypatch.chdir(folder)
    return folder


def bytes_of(folder: Path) -> dict[str, bytes]:
    """Every byte below a folder, names of files included, workbooks unpacked."""
    found = dict[str, bytes]()
    for path in folder.rglob("*"):
        name = str(path.relative_to(folder))
        found[f"name of {name}"] = name.encode()
        if path.is_file():
            found[name] = path.read_bytes()
        if path.suffix == ".xlsx":
            with zipfile.ZipFile(path) as packed:
                found |= {f"{name}!{member}": packed.read(member) for member in packed.namelist()}
    return found


def places_of(folder: Path) -> set[str]:
    """Where the first client stands, by a search of its own."""
    return {
        name
        for name, content in bytes_of(folder).items()
        if any(word.lower() in content.lower() for word in WORDS) or ID.search(content)
    }


def test_nothing_is_left_of_a_person_in_any_byte(office: Path) -> None:
    before = places_of(office)
    files = {name.partition("!")[0] for name in before}
    assert {
        "lawns/book.sqlite", "lawns/clients.csv", "lawns/sites/example.geojson", "lawns/unmatched.csv",
        "maps/lawns/calls.csv", "maps/lawns/calls.xlsx", "maps/lawns/calls-2027-03-01.xlsx", "maps/lawns/map.html",
        "maps/lawns/candidates.geojson", "maps/lawns/line_items.csv", "maps/lawns/checklist.html", "maps/lawns/checklist.xlsx",
        "maps/lawns/week.html", "lawns/.unfinished-x/calls.csv",
    } <= files  # fmt: skip
    assert any(name.startswith("lawns/copies/") for name in files)
    assert any(name.startswith("lawns/.scan/") for name in files)
    done = type_in("record", "lawns", "forget", "nell example", "--also-the-book", "--yes", *MARCH)
    assert (done.exit_code, places_of(office)) == (0, set()), done.stderr
    assert not [path for path in office.rglob("*") if path.name.startswith(".unfinished")]
    # The others are untouched
    season = read_season(office / "lawns")
    assert set(season.calls["note"]) == {"Ben says no"}
    assert "002,Ben Example,1" in (office / "lawns" / "unmatched.csv").read_text()
    rows = (office / "lawns" / "clients.csv").read_text().splitlines()
    assert [row.split(",")[0] for row in rows] == ["client_id", "002", "003"]


def test_who_comes_back_under_the_same_number_is_left_uncalled(office: Path) -> None:
    done = type_in("record", "lawns", "forget", "001", "--also-the-book", "--yes", *MARCH)
    assert done.exit_code == 0, done.stderr
    salt, *marks = read_season(office / "lawns").forgotten
    # both numbers, the one in the client list and the one put right
    assert set(marks) == {mark_of("402 555 0101", salt), mark_of("402 555 0199", salt)}
    with (office / "lawns" / "clients.csv").open("a") as clients:
        clients.write("N1,Eleonore E.,9 New St,,,,(402) 555 0199,,,,,,,,,,,,,,,,,,,,\n")
    (office / "lawns" / "measured.csv").write_text(
        "client_id,along,length_ft,room_ft\nN1,curb,60,30\n002,curb,60,30\n"
    )
    with leaving_map_out():
        assert type_in("scan", "lawns", *MARCH).exit_code == 0
    told = type_in("calls", "lawns", "--all", "--csv", *MARCH).stdout
    assert "asked not to be called" in next(row for row in told.splitlines() if "Eleonore" in row)


def test_files_of_the_offices_own_stay_unless_asked_for(office: Path) -> None:
    own = {
        name: (office / "lawns" / name).read_bytes()
        for name in ("clients.csv", "sites/example.geojson")
    }
    (office / "maps" / "lawns" / "letter to Nell.txt").write_text("Dear Nell Example")
    done = type_in("record", "lawns", "forget", "001", "--yes", *MARCH)
    assert done.exit_code == 1  # something is left for people to do
    assert {name: (office / "lawns" / name).read_bytes() for name in own} == own
    assert "Still named in clients.csv, sites/example.geojson" in done.stderr
    assert "letter to Nell.txt, which this program did not make" in done.stderr
    left = {name for name in places_of(office) if not name.startswith("name of")}
    assert left == {
        "lawns/clients.csv",
        "lawns/sites/example.geojson",
        "maps/lawns/letter to Nell.txt",
    }


def test_who_left_the_client_list_is_erased_by_the_id_on_record(office: Path) -> None:
    clients = office / "lawns" / "clients.csv"
    clients.write_text(
        "".join(
            line
            for line in clients.read_text().splitlines(keepends=True)
            if not line.startswith("001")
        )
    )
    done = type_in("record", "lawns", "forget", "001", "--also-the-book", "--yes", *MARCH)
    assert done.exit_code == 0, done.stderr
    for path in [office / "lawns" / "book.sqlite", *(office / "lawns" / "copies").iterdir()]:
        assert b"tulips" not in path.read_bytes()
        assert b"001-curb" not in path.read_bytes()


def test_nothing_is_erased_unless_it_is_said_and_while_a_list_holds_unrecorded_words(
    office: Path,
) -> None:
    sheet = office / "maps" / "lawns" / "calls.xlsx"
    mailing = sheet.with_name("mailing.csv")
    mailing.write_text("client_id,name,wave_on,sent_on,asked_on\n002,Ben,2027-03-01,2027-03-04,\n")
    held = type_in("record", "lawns", "forget", "001", "--yes", *MARCH)
    assert (held.exit_code, mailing.is_file()) == (1, True)
    assert "mailing.csv holds days that are not on record yet. Record it first" in held.stderr
    mailing.unlink()
    before = places_of(office)
    asked = type_in("record", "lawns", "forget", "001", *MARCH)
    assert asked.exit_code == 1
    assert "Erase 001, Nell Example, 12 Sample St" in asked.stderr
    workbook = openpyxl.load_workbook(sheet)
    figures = workbook["Figures"]
    heads = {cell.value: cell.column for cell in figures[1]}
    row = figures.max_row
    for name, text in (
        ("called_on", "2027-03-02"),
        ("outcome", "visit"),
        ("note", "not on record"),
    ):
        figures.cell(row, heads[name]).value = text
    workbook.save(sheet)
    refused = type_in("record", "lawns", "forget", "001", "--yes", *MARCH)
    assert refused.exit_code == 1
    assert "is not on record yet, and it would be lost with the list" in refused.stderr
    assert {name for name in before if ".unfinished" not in name} <= places_of(office)


def test_each_kind_of_entry_names_its_client() -> None:
    """What names nobody by his id could not be erased."""
    assert [kind.name for kind in KINDS.values() if "client_id" not in kind.columns] == []


@pytest.mark.parametrize(
    "written", ["(402) 555-0101", "+1 402 555 0101", "14025550101", "402.555.0101 ext 3"]
)
def test_a_number_has_one_mark_however_it_is_written(written: str) -> None:
    assert digits_of(written) == "4025550101"
    assert (
        mark_of(written, "salt")
        == mark_of("402-555-0101", "salt")
        != mark_of("402-555-0102", "salt")
    )


def test_a_mark_leaves_alone_who_has_no_number_or_another() -> None:
    clients = small_clients()
    marked = leave_uncalled(clients, ("salt", mark_of("308-555-0101", "salt")))
    changed = marked["do_not_call"] != clients["do_not_call"]
    assert clients.loc[changed, "client_id"].tolist() == ["C0001"]
    assert leave_uncalled(clients.assign(phone=""), ("salt",)).equals(clients.assign(phone=""))


@pytest.mark.parametrize(
    ("content", "kept"),
    [
        (b"client_id,name\n7,Ada\n8,Bo\n", b"client_id,name\n8,Bo\n"),
        (b"\xef\xbb\xbfname;Client ID\r\nAda;7\r\n\"B;o\";8\r\n", b"\xef\xbb\xbfname;Client ID\r\n\"B;o\";8\r\n"),
        (b"client_id,note\n7,\"two\nlines\"\n8,caf\xc3\xa9 \xc2\x85 x\n", b"client_id,note\n8,caf\xc3\xa9 \xc2\x85 x\n"),
        (b"a title\nclient_id,name\n'7,Ada\n77,Bo", b"a title\nclient_id,name\n'7,Ada\n77,Bo"),
        (b"no,such,column\n7,7,7\n", b"no,such,column\n7,7,7\n"),
    ],
)  # fmt: skip
def test_rows_are_taken_out_and_the_rest_stays_byte_for_byte(
    tmp_path: Path, content: bytes, kept: bytes
) -> None:
    path = tmp_path / "a.csv"
    path.write_bytes(content)
    take_out(path, "7")
    assert path.read_bytes() == kept


def test_rows_of_a_plain_workbook_are_blanked_and_others_are_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "clients.xlsx"

    def write(*more: object) -> bytes:
        workbook = openpyxl.Workbook()
        workbook.active.append(["Our clients"])
        for row in (
            ["client id", "name", "annual $"],
            ["7", "Ada Quill", 900],
            ["77", "Bo", *more],
            ["007", "Cy", 1.5],
        ):
            workbook.active.append(row)
        workbook.save(path)
        return path.read_bytes()

    write(5)
    assert take_out(path, "7") == 1
    rows = [*openpyxl.load_workbook(path).active.values]
    assert rows[2:] == [(None, None, None), ("77", "Bo", 5), ("007", "Cy", 1.5)]
    with zipfile.ZipFile(path) as packed:
        assert not any(b"Ada" in packed.read(name) for name in packed.namelist())
    whole = write("=1+1")  # its result would be lost
    assert (take_out(path, "7"), path.read_bytes()) == (0, whole)
    path.write_bytes(b"no workbook")
    assert take_out(path, "7") == 0


def test_traces_are_found_in_what_is_packed(tmp_path: Path) -> None:
    """A workbook, and a printed page as the library writes it: packed, in letters and digits."""
    from reportlab.pdfgen.canvas import Canvas  # noqa: PLC0415

    page = Canvas(str(tmp_path / "quote.pdf"))
    page.drawString(72, 72, "For Ada (Quill)")
    page.save()
    paper = Paper(title="Quote")
    paper.text(72, 72, "José Núñez")
    (tmp_path / "visit.pdf").write_bytes(paper.finish())
    paper = Paper(title="Letters")
    paper.text(72, 72, "Łukasz Żak")
    (tmp_path / "letters.pdf").write_bytes(paper.finish())
    workbook = openpyxl.Workbook()
    workbook.active.append(["Ada (Quill)"])
    workbook.save(tmp_path / "a.xlsx")
    (tmp_path / "b.txt").write_text("Ada's quill")
    found = find_traces(tmp_path, traces_of(["Ada (Quill)"], [], ""))
    assert [path.name for path in found] == ["a.xlsx", "quote.pdf"]
    for name, file in (("José Núñez", "visit.pdf"), ("Łukasz Żak", "letters.pdf")):
        assert [path.name for path in find_traces(tmp_path, traces_of([name], [], ""))] == [file]
