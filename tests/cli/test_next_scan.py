"""What an office does between two scans comes back with the second: one book, a client for each story."""

from __future__ import annotations

import contextlib
import csv
import json
import re
import shutil
from functools import partial
from operator import add
from pathlib import Path

import numpy as np
import openpyxl
import pytest
import shapely

from scanner.book.new import start_book
from scanner.calls.entry_kinds import JOB
from scanner.calls.log import open_log, read_season
from scanner.cli.keeping import why_kept
from tests.calls.desk import DAY, job_of, record, task_of
from tests.cli.desk import fill, finding, keeping_scans, type_in

TODAY = ("--today", "2027-03-02")
LATER = ("--today", "2027-03-10")

ON_FOOT = ("due", "dog", "noted", "rests", "roses", "pencil", "refused", "gone", "ported")
DRAWN = ("moved", "wheel", "sold", "built", "undone", "named")
"""Lots like that of the new book's first client, half a mile apart; ids are words, so that a story is known by its client."""

LOT_DEGREES = 0.01
"""From one drawn lot to the next."""


def phone_of(client_id: str) -> str:
    return f"402-555-02{(*ON_FOOT, *DRAWN).index(client_id):02d}"


def add_clients(book: Path) -> None:
    """Put the clients of the stories beside those of a new book."""
    clients = book / "clients.csv"
    heads = clients.read_text(encoding="utf-8").splitlines()[0].split(",")
    with clients.open("a", encoding="utf-8", newline="") as file:
        csv.DictWriter(file, heads, lineterminator="\n").writerows(
            {"client_id": one, "name": one, "phone": phone_of(one)} for one in (*ON_FOOT, *DRAWN)
        )
    with (book / "measured.csv").open("a", encoding="utf-8") as file:
        file.writelines(f"{client_id},curb,40,20,,\n" for client_id in ON_FOOT)
    draw_lots(book)


def draw_lots(book: Path, *, curb_north: float = 0) -> None:
    """Draw the lots, each like that of the new book's example; the curb of ``moved`` so many degrees further north."""
    example = json.loads((book / "sites" / "example.geojson").read_text(encoding="utf-8"))
    features = list[dict[str, object]]()
    for at, client_id in enumerate(DRAWN):
        for feature in example["features"]:
            tags, shape = feature["properties"], feature["geometry"]
            own = {"client_id": client_id} if "client_id" in tags else {}
            north = curb_north if (client_id, tags["kind"]) == ("moved", "street") else 0
            corners = shapely.transform(
                shapely.geometry.shape(shape), partial(add, np.array([at * LOT_DEGREES, north]))
            )
            features.append(feature | {"properties": tags | own, "geometry": corners.__geo_interface__})  # fmt: skip
    document = json.dumps(example | {"features": features})
    (book / "sites" / "lots.geojson").write_text(document, encoding="utf-8")


def beds_of(office: Path, *client_ids: str) -> dict[str, str]:
    """Why a bed is skipped, blank where it is offered, by the bed's name."""
    rows = [row for row in features_of(office) if row["client_id"] in client_ids]
    return {row["bed_id"]: row["skip_reason"] for row in rows}


def features_of(office: Path) -> list[dict]:
    document = json.loads((office / "maps" / "lawns" / "candidates.geojson").read_text("utf-8"))
    return [feature["properties"] for feature in document["features"]]


def sheet_of(office: Path) -> Path:
    return office / "maps" / "lawns" / "calls.xlsx"


def rows_of(office: Path) -> dict[str, dict[str, str]]:
    """The text list by client."""
    lines = sheet_of(office).with_suffix(".csv").read_text("utf-8").splitlines()
    return {row["client_id"]: row for row in csv.DictReader(lines)}


def do(*words: str, today: tuple[str, str] = TODAY) -> str:
    told = type_in("record", "lawns", *words, *today)
    assert told.exit_code == 0, told.stdout
    return told.stderr


def typed_between(sheet: Path) -> dict[str, str]:
    """Type what an office types between two scans: what was said, by client."""
    fill(sheet, {"client_id": "noted", "note": "gate code 4711"}, {"client_id": "rests", "next_date": "2027-03-20"})  # fmt: skip
    kept = why_kept(sheet, book=Path("lawns"), today=DAY)
    fill(
        sheet,
        {"client_id": "moved", "called_on": "2027-03-02", "outcome": "visit", "note": "gate"},
        {"client_id": "roses", "called_on": "2027-03-02", "outcome": "quoted", "note": "likes roses"},
        {"client_id": "gone", "called_on": "2027-03-02", "outcome": "visit"},
    )  # fmt: skip
    told = {"kept": kept, "calls.xlsx": do("calls.xlsx")}
    record(
        Path("lawns"),
        ("due", "2027-03-02", "call back", "gate code 4711, ask for Ms. Nuñez", "bring the sketch", "2027-03-09"),
        ("dog", "2027-03-02", "call back", "=dog, mornings only"),
        ("refused", "2027-03-02", "no"),
    )  # fmt: skip
    # Later, and still in a list that was never put away
    told["calls.xlsx again"] = do("calls.xlsx", today=LATER)
    told["noted"] = do("calls", "noted", "note", "--note", "two dogs", today=LATER)
    wheel = ("--edge", "curb=42.5", "--edge", "curb=18", "--room", "curb=20")
    told["wheel"] = do("visit", "wheel", "--on", "2027-03-01", "--by", "Kim", *wheel)
    do("job", "named", "--sold", "4200", "--built", "2027-03-02")
    for client_id, built_on in (("sold", ""), ("built", "2027-03-02"), ("undone", ""), ("undone", "2027-03-02")):  # fmt: skip
        job_id = f"{client_id}-curb-3"
        job = job_of(job_id, client_id=client_id, bed_ids=job_id, built_on=built_on)
        with open_log(Path("lawns"), today=DAY) as log:
            log.record(JOB, job, task_of(job_id))
    for _ in range(2):
        told["undone"] = do("undo")
    return told


def write_beside_calls(sheet: Path) -> None:
    """Write columns of one's own into two sheets of a list, and put a phone number right."""
    workbook = openpyxl.load_workbook(sheet)
    for title, cells in (
        ("Figures", {"pencil": "ring twice", "dog": "=moody", "refused": "no dogs"}),
        ("Left out", {"003": "sister of 001"}),
    ):
        page = workbook[title]
        header = [cell.value for cell in page[1]]
        page.cell(1, len(header) + 1).value = "Our notes"
        for line in page.iter_rows(min_row=2):
            mine = line[header.index("client_id")].value
            if mine in cells:
                page.cell(line[0].row, len(header) + 1).value = cells[mine]
                page.cell(line[0].row, len(header) + 1).data_type = "s"
            if mine == "pencil":
                line[header.index("phone")].value = "402-555-0199"
    workbook.save(sheet)


@pytest.fixture(scope="module")
def told() -> dict[str, str]:
    """What was said meanwhile, by what was typed."""
    return {}


@pytest.fixture(scope="module")
def scanned_again(tmp_path_factory: pytest.TempPathFactory, told: dict[str, str]) -> Path:
    """A book that was scanned, of which the office recorded and changed much, and that was scanned again."""
    folder = tmp_path_factory.mktemp("office")
    start_book(book := folder / "lawns")
    add_clients(book)
    with contextlib.chdir(folder):
        with keeping_scans() as scans:
            assert type_in("scan", "lawns", *TODAY).exit_code == 0
        sheet = sheet_of(folder)
        shutil.copy(sheet, "first.xlsx")
        shutil.copy(sheet.with_name("candidates.geojson"), "first.geojson")
        with pytest.MonkeyPatch.context() as patch, finding(scans[0]):  # a job is drawn up from it
            patch.setattr("scanner.pipeline.read_book", lambda *_, **__: None)
            told |= typed_between(sheet)
        write_beside_calls(sheet)
        # 0.2 ft of 364,600 ft a degree of latitude
        draw_lots(book, curb_north=0.2 / 364_600)
        clients = (book / "clients.csv").read_text("utf-8")
        lines = [line for line in clients.splitlines(keepends=True) if not line.startswith("gone")]
        ported = "".join(lines).replace(phone_of("ported"), "402-555-0777")
        (book / "clients.csv").write_text(ported, "utf-8")
        told["scan"] = type_in("scan", "lawns", *LATER).stderr
    return folder


@pytest.fixture
def office(scanned_again: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Sit down there, to read."""
    monkeypatch.chdir(scanned_again)
    return scanned_again


@pytest.fixture
def own_office(scanned_again: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Sit down at a copy, to go on."""
    folder = Path(shutil.copytree(scanned_again, tmp_path / "office"))
    monkeypatch.chdir(folder)
    return folder


def test_words_come_back_with_the_next_list(office: Path) -> None:
    """Notes recorded: whoever phones next finds them in the text list and in the spreadsheet."""
    sheet = openpyxl.load_workbook(sheet_of(office))["Figures"]
    header, *lines = [[str(cell or "") for cell in row] for row in sheet.iter_rows(values_only=True)]  # fmt: skip
    figures = [dict(zip(header, line, strict=True)) for line in lines]
    columns = ("last_contact", "last_outcome", "last_note", "due_action", "due_date")
    for rows in (rows_of(office), {row["client_id"]: row for row in figures}):
        assert [rows["due"][name] for name in columns] == [
            "2027-03-02", "call back", "gate code 4711, ask for Ms. Nuñez", "bring the sketch", "2027-03-09",
        ]  # fmt: skip
        # Without a day a call back is due after the rates' seven days
        assert rows["dog"]["last_note"].removeprefix("'") == "=dog, mornings only"
        assert [rows["dog"][name] for name in columns[3:]] == ["", "2027-03-09"]


def test_a_note_without_a_call_comes_back_and_is_no_call(
    own_office: Path, told: dict[str, str]
) -> None:
    """A gate code and a day to ring, filled in without an answer: both stand on everything that is read before a call."""
    assert re.fullmatch(r"sheet Figures, row \d+ is not on record yet", told["kept"])
    # moved, roses and gone were called
    assert "Recorded 5 new calls and notes." in told["calls.xlsx"]
    # No news, and nothing keeps the list
    assert "Recorded 0 new calls and notes, 5 on record already." in told["calls.xlsx again"]
    assert "Recorded 1 new note." in told["noted"]
    assert "kept as it is" not in told["scan"]

    season = read_season(own_office / "lawns")
    assert not {"noted", "rests"} & {*season.calls["client_id"]}
    assert season.notes["called_on"].tolist() == ["2027-03-02", "2027-03-02", "2027-03-10"]
    folder = own_office / "maps" / "lawns"
    # Six calls, one visit and three sales, and no note
    assert json.loads((folder / "summary.json").read_text())["chance_attempts"] == 6 + 1 + 3
    for page in ("calls.csv", "map.html"):
        assert "two dogs; gate code 4711" in (folder / page).read_text("utf-8")
    printed = openpyxl.load_workbook(sheet_of(own_office))["Calls"]
    assert any("two dogs; gate code 4711" in str(row) for row in printed.values)
    listed = type_in("calls", "lawns", *LATER).stdout
    assert "two dogs; gate code 4711" in listed
    assert "rests" not in listed
    every = {row["client_id"]: row for row in csv.DictReader(type_in("calls", "lawns", "--all", *LATER).stdout.splitlines())}  # fmt: skip
    assert every["rests"]["left_out"] == "noted, rests until 2027-03-20"
    due = type_in("calls", "lawns", "--due", "--today", "2027-03-20").stdout
    assert "rests" in [row["client_id"] for row in csv.DictReader(due.splitlines())]
    story = type_in("client", "lawns", "noted", *LATER).stdout
    number = re.search(r"2027-03-02 note: gate code 4711 \[number (\d+)\]", story)
    assert number, story
    week = json.loads(type_in("week", "lawns", "--json", "--today", "2027-03-18").stdout)
    assert ["call back", "rests"] in [[line["section"], line["client_id"]] for line in week["lines"]]  # fmt: skip

    do("undo", number[1], today=LATER)
    assert "two dogs; gate code" not in type_in("calls", "lawns", *LATER).stdout


def test_a_quote_of_a_list_stands_in_the_next_one(office: Path) -> None:
    standing = openpyxl.load_workbook(sheet_of(office))["Calls"]
    assert any("Quoted on Mar 2" in str(row) and "likes roses" in str(row) for row in standing.values)  # fmt: skip


def test_what_the_office_adds_outlives_the_list(office: Path, told: dict[str, str]) -> None:
    """Columns of its own on any sheet and a phone number put right come back with every list."""
    assert "kept as it is" not in told["scan"]
    rows = rows_of(office)
    assert (rows["pencil"]["Our notes"], rows["pencil"]["phone"]) == ("ring twice", "402-555-0199")
    assert rows["dog"]["Our notes"].removeprefix("'") == "=moody"
    drawn = (office / "maps" / "lawns" / "map.html").read_text("utf-8")
    assert "402-555-0199" in drawn
    assert phone_of("pencil") not in drawn
    listed = csv.DictReader(type_in("calls", "lawns", *LATER).stdout.splitlines())
    assert {row["client_id"]: row["phone"] for row in listed}["pencil"] == "402-555-0199"
    # Whoever rests moved to the other sheet, and his words with him
    left_out = [*openpyxl.load_workbook(sheet_of(office))["Left out"].values]
    ours = {row[0]: row[left_out[0].index("Our notes")] for row in left_out[1:]}
    assert {client_id: words for client_id, words in ours.items() if words} == {
        "refused": "no dogs", "003": "sister of 001",
    }  # fmt: skip


def test_an_old_list_puts_no_phone_number_right(own_office: Path) -> None:
    """The client list changes after a list was printed; that list still has the old number."""
    told = type_in("record", "lawns", "first.xlsx", *LATER)
    old = f"phone '{phone_of('ported')}' is what stood there once; what stands now is kept"
    assert old in told.stdout
    remarks = read_season(own_office / "lawns").remarks
    assert "ported" not in {*remarks["client_id"]}
    # A number put right holds until the client list says another one
    fill(Path("first.xlsx"), {"client_id": "ported", "phone": "402-555-0888"})
    assert "Kept 1 cell" in type_in("record", "lawns", "first.xlsx", *LATER).stderr

    def listed() -> str:
        rows = csv.DictReader(type_in("calls", "lawns", "--all", *LATER).stdout.splitlines())
        return {row["client_id"]: row["phone"] for row in rows}["ported"]

    assert listed() == "402-555-0888"
    clients = own_office / "lawns" / "clients.csv"
    clients.write_text(clients.read_text("utf-8").replace("402-555-0777", "402-555-0999"), "utf-8")
    assert listed() == "402-555-0999"


def test_an_entry_of_a_client_who_is_gone_is_a_problem(office: Path) -> None:
    problems = (office / "maps" / "lawns" / "problems.csv").read_text(encoding="utf-8")
    assert "1 entry on record for a client who is not in the client list any more" in problems
    assert "gone" in {*read_season(office / "lawns").calls["client_id"]}


def test_a_bed_sold_or_built_is_not_found_again_and_one_taken_back_is(
    office: Path, told: dict[str, str]
) -> None:
    assert "job undone-curb-3" in told["undone"]
    assert beds_of(office, "sold")["sold-curb-3"] == "sold"
    assert beds_of(office, "built").get("built-curb-3", "built") == "built"
    assert beds_of(office, "undone")["undone-curb-3"] == ""


def test_a_name_stands_for_the_built_job_also_where_another_bed_is_offered(
    own_office: Path,
) -> None:
    listed = read_season(own_office / "lawns").listed.set_index("client_id")["bed_ids"]["named"]
    job = read_season(own_office / "lawns").jobs.set_index("client_id").loc["named"]
    assert not {*listed.split()} & {*job["bed_ids"].split()}
    hours = do("job", "named", "--hours", "set edging=2", today=LATER)
    assert "Recorded 0 new jobs, 1 changed." in hours.splitlines()


def test_case_12_curb_moved_and_scanned_again_keeps_name_and_outcome(office: Path) -> None:
    """The street drawn 0.2 ft further north: same bed_id, outcomes intact."""
    before = json.loads((office / "first.geojson").read_text("utf-8"))["features"]
    rows = [one["properties"] for one in before if one["properties"]["client_id"] == "moved"]
    assert beds_of(office, "moved") == {row["bed_id"]: row["skip_reason"] for row in rows}
    calls = read_season(office / "lawns").calls.query("client_id == 'moved'")
    assert calls[["outcome", "note"]].to_numpy().tolist() == [["visit", "gate"]]
    assert set(calls["bed_ids"].item().split()) <= {row["bed_id"] for row in rows}
    problems = sheet_of(office).with_name("problems.csv").read_text(encoding="utf-8")
    assert "matches nothing" not in problems
    told = next(str(row) for row in openpyxl.load_workbook(sheet_of(office))["Calls"].values if "moved" in str(row[1]))  # fmt: skip
    assert "Mar 2, visit: gate" in told


def test_visit_sizes_the_bed_of_the_next_scan(office: Path, told: dict[str, str]) -> None:
    assert "Recorded 2 new visits and measurings." in told["wheel"]
    beds = [bed for bed in features_of(office) if bed["client_id"] == "wheel"]
    curb = [bed for bed in beds if bed["along"] == "curb"]
    # The lot is drawn: its curb beds are scaled to 42.5 + 18 ft in all, 4 ft deep
    assert sum(bed["edge_ft"] for bed in curb) == pytest.approx(60.5, abs=0.05)
    assert sum(bed["area_ft2"] for bed in curb) == pytest.approx(242, abs=0.1)
    assert {bed["edge_source"] for bed in curb} == {"measured"}


def test_a_forecast_between_two_scans_lets_the_pages_stand(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    start_book(tmp_path / "lawns")
    for command in ("scan", "scan", "forecast"):  # the second scan knows the beds by the log
        assert type_in(command, "lawns", *TODAY).exit_code == 0
    page = tmp_path / "maps" / "lawns" / "map.html"
    drawn = page.stat().st_ino
    assert type_in("scan", "lawns", *TODAY).exit_code == 0
    assert page.stat().st_ino == drawn
    page.unlink()
    assert type_in("scan", "lawns", *TODAY).exit_code == 0
    assert page.exists()
