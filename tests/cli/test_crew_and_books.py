"""The crews' eyes and the year's end, typed as a person would: checklist, calibrate, care."""

from __future__ import annotations

import json
import shutil
from datetime import date
from pathlib import Path

import pytest
from openpyxl import load_workbook

from scanner.book.proposals import PROPOSED_FILE
from scanner.calls.entry_kinds import JOB
from scanner.calls.log import open_log, read_season
from tests.calls.calls_on_record import job_tasks, jobs
from tests.cli.desk import type_in
from tests.sites import Drawing, features_of, street_south
from tests.test_on_foot import box, rows_of

pytestmark = pytest.mark.usefixtures("without_map")

TODAY = "2027-02-20"
CLIENTS = """client_id,name,address,route,mow_day,stop,sprinklers
A,Ada Sample,1 Sample St,North,Tuesday,1,no
B,Bo Sample,2 Sample St,North,Tuesday,2,no
C,Cy Sample,3 Sample St,South,Friday,1,no
"""
TOWN = (
    Drawing()
    .add("property", box(0, 0, 80, 100), "A")
    .add("property", box(80, 0, 160, 100), "B")
    .add("street", street_south(0), "")
    .add("house", box(20, 50, 60, 80), "A")
    .add("house", box(100, 50, 140, 80), "B")
    .add("bed", box(142, 90, 152, 99.72), "B")
)


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("crew") / "lawns"
    (folder / "sites").mkdir(parents=True)
    (folder / "clients.csv").write_text(CLIENTS, encoding="utf-8")
    shapes = features_of(TOWN)[["kind", "client_id", "geometry"]]
    (folder / "sites" / "town.geojson").write_text(shapes.to_json(), encoding="utf-8")
    return folder


@pytest.fixture
def book(written: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(written, tmp_path / "lawns"))


def out_of(book: Path) -> Path:
    return book.parent / "out"


def run(command: str, book: Path, *words: str):
    return type_in(command, str(book), *words, "--out", str(out_of(book)), "--today", TODAY)


def fill(book: Path, **told: dict[str, str]) -> Path:
    """Fill the spreadsheet in: answers by question, by client."""
    path = out_of(book) / "checklist.xlsx"
    workbook = load_workbook(path)
    sheet = workbook.worksheets[0]
    header = [cell.value for cell in sheet[1]]
    for row in sheet.iter_rows(min_row=2):
        for question, answer in told.get(row[header.index("client_id")].value, {}).items():
            row[header.index(question)].value = answer
    workbook.save(path)
    return path


SEEN = {"seen_on": "2027-02-18"}


def beds_of(book: Path) -> dict[str, dict[str, object]]:
    found = json.loads((out_of(book) / "candidates.geojson").read_text("utf-8"))["features"]
    return {bed["properties"]["bed_id"]: bed["properties"] for bed in found}


def summary_of(book: Path) -> dict[str, object]:
    return json.loads((out_of(book) / "summary.json").read_text("utf-8"))


def test_checklist_writes_a_page_and_a_sheet(book):
    result = run("checklist", book, "--route", "north")
    assert result.exit_code == 0
    assert result.stdout.splitlines() == [
        str(out_of(book) / name) for name in ("checklist.html", "checklist.xlsx")
    ]
    assert result.stderr.startswith("2 lots in 1 round. Open ")
    assert "3 Sample St" not in (out_of(book) / "checklist.html").read_text("utf-8")


def test_checklist_names_the_routes_there_are(book):
    result = run("checklist", book, "--route", "West", "--day", "Friday")
    assert result.exit_code == 2
    assert "Routes in the client list: North, South. Days: Friday, Tuesday." in result.stderr
    assert not out_of(book).exists()


def test_checklist_tells_of_a_client_who_is_on_no_sheet(book):
    (book / "clients.csv").write_text(f"{CLIENTS}A,Al Double,9 Sample St,North,Tuesday,9,no\n")
    result = run("checklist", book)
    assert result.exit_code == 1
    assert f"1 record needs fixing. To see them: bed-scanner check {book}\n" in result.stderr
    page = (out_of(book) / "checklist.html").read_text("utf-8")
    assert "1 Sample St" in page
    assert "9 Sample St" not in page


def test_unconfirmed_beds_are_totalled_apart_until_answers_take_effect_in_the_next_scan(book):
    result = run("scan", book)
    assert "Of these, 2 offers worth $" in result.stderr
    assert "rest on turf that nobody has seen yet" in result.stderr
    summary = summary_of(book)
    # A and B each: a curb bed beside a guessed drive and a house bed from an inferred lawn
    assert summary["unconfirmed_beds"] == 4
    assert summary["unconfirmed_area_ft2"] == pytest.approx(2 * (56 * 4 + 40 * 4), abs=0.1)
    assert summary["unconfirmed_price_usd"] == summary["price_usd"]
    assert {name: bed["confirmed"] for name, bed in beds_of(book).items()}["A-house-1"] is False
    assert summary["unconfirmed"] == 2
    run("checklist", book)
    sheet = fill(
        book,
        A=SEEN | {"turf to curb": "no", "turf to house": "yes", "house condition": "3"},
        B=SEEN | {"turf to curb": "yes", "turf to house": "yes", "drive width ft": "10", "has bed": "yes"},
        X={},
    )  # fmt: skip
    recorded = type_in("record", str(book), str(sheet), "--today", TODAY)
    assert recorded.exit_code == 0
    assert "Recorded 7 new answers." in recorded.stderr
    run("scan", book)
    beds = beds_of(book)
    assert beds["A-curb-1"]["skip_reason"] == "denied"
    assert beds["A-house-1"]["confirmed"] is True
    # 80 ft of curb less a drive of 10 ft, 24 ft before
    assert beds["B-curb-1"]["edge_ft"] == pytest.approx(70, abs=0.1)
    assert beds["B-curb-1"]["confirmed"] is True
    assert "saw a bed on this lot already" in beds["B-curb-1"]["cautions"]
    assert summary_of(book)["unconfirmed"] == 0
    assert summary_of(book)["unconfirmed_beds"] == 0
    calls = rows_of(out_of(book) / "calls.csv")
    assert "the crew saw a bad edge along the house on 2027-02-18: 3 of 3" in calls["A"]["reasons"]
    problems = (out_of(book) / "problems.csv").read_text("utf-8")
    assert "the crew saw on 2027-02-18 that no turf runs up to the curb" in problems


def test_recording_a_checklist_twice_changes_nothing(book):
    run("checklist", book)
    sheet = fill(book, A=SEEN | {"curbed": "yes", "slope percent": "4"})
    type_in("record", str(book), str(sheet), "--today", TODAY)
    first = read_season(book).answers
    again = type_in("record", str(book), str(sheet), "--today", "2027-03-05")
    assert "0 new answers, 2 on record already" in again.stderr
    assert read_season(book).answers.equals(first)


def test_a_faulty_row_is_named_and_the_rest_recorded(book):
    run("checklist", book)
    sheet = fill(book, A=SEEN | {"curbed": "perhaps"}, B=SEEN | {"curbed": "no"})
    result = type_in("record", str(book), str(sheet), "--today", TODAY)
    assert result.exit_code == 1
    assert "fault: checklist.xlsx, row 2, client A: curbed: 'perhaps' came" in result.stdout
    assert read_season(book).answers["client_id"].tolist() == ["B"]


def test_a_filled_checklist_is_not_written_over(book):
    run("checklist", book)
    sheet = fill(book, A=SEEN | {"curbed": "yes"})
    before = sheet.read_bytes()
    result = run("checklist", book)
    assert result.exit_code == 1
    assert "holds 1 answer not on record yet" in result.stderr
    assert sheet.read_bytes() == before
    type_in("record", str(book), str(sheet), "--today", TODAY)
    assert run("checklist", book).exit_code == 0
    assert "seen 2027-02-18" in (out_of(book) / "checklist.html").read_text("utf-8")


DIG = "dig_hand_hours_per_yd3*labor_usd_per_hour"


def record_jobs(book: Path, count: int) -> None:
    built = jobs(*((f"J{n}", 1600, 1200, 2300, {"client_id": "A", "bed_ids": f"A-curb-{n}"})
                   for n in range(1, count + 1)))  # fmt: skip
    tasks = job_tasks(*((f"J{n}", "dig", DIG, 10.0, 15.0, 280, None) for n in range(1, count + 1)))
    with open_log(book, today=date(2027, 7, 1)) as log:
        log.record(JOB, built, tasks)


def test_calibrate_waits_for_five_jobs(book):
    record_jobs(book, 4)
    result = type_in("calibrate", str(book))
    assert result.exit_code == 0
    assert "4 built jobs with hours or costs on record; from 5 on, rates are compared." in result.stderr  # fmt: skip
    assert "in 4 of 4 jobs" in result.stderr
    assert not (book / PROPOSED_FILE).exists()


def test_calibrate_after_five_jobs(book):
    (book / "rates.toml").write_text("labor_usd_per_hour = 30\n", encoding="utf-8")
    record_jobs(book, 5)
    result = type_in("calibrate", str(book), "--json")
    (row,) = json.loads(result.stdout)
    assert (row["task"], row["job_count"], row["estimated"], row["actual"]) == ("dig", 5, 50, 75)
    # All five ratios are 1.5, so the interval is 1.5 alone; 1.75 × 1.5
    assert (row["ratio"], row["ratio_low"], row["ratio_high"]) == (1.5, 1.5, 1.5)
    assert row["rate_suggested"] == 2.625
    proposed = (book / PROPOSED_FILE).read_text("utf-8")
    assert "dig_hand_hours_per_yd3 = { value = 2.62" in proposed
    assert "labor_usd_per_hour = 30" in proposed
    assert (book / "rates.toml").read_text("utf-8") == "labor_usd_per_hour = 30\n"


def test_a_jobs_own_breakdown_from_the_first_job_on(book):
    record_jobs(book, 5)
    result = type_in("calibrate", str(book), "--job", "J2", "--json")
    assert json.loads(result.stdout) == [
        {"job_id": "J2", "task": "dig", "measure": "h", "estimated": 10, "actual": 15}
    ]
    assert "Job J2 " in result.stderr
    assert "estimated 10.0 h, took 15.0 h" in result.stderr
    assert " per crew-hour." in result.stderr
    assert type_in("calibrate", str(book), "--job", "J9").exit_code == 2


def test_calibrate_names_a_loss(book):
    built = jobs(("J1", 300, 1200, 2300, {"client_id": "A", "bed_ids": "A-curb-1"}))
    with open_log(book, today=date(2027, 7, 1)) as log:
        log.record(JOB, built, job_tasks(("J1", "dig", DIG, 10.0, 15.0, 280, None)))
    result = type_in("calibrate", str(book))
    assert "Lost money: job J1 (A-curb-1, client A) brought in $300.00 and cost $420.00, $120.00 more." in result.stderr  # fmt: skip
    assert "in 0 of 1 job " in result.stderr


def test_care_of_what_is_there(book):
    result = run("care", book)
    assert result.exit_code == 0
    assert result.stdout == (out_of(book) / "care.csv").read_text("utf-8").replace("\r\n", "\n")
    (row,) = rows_of(out_of(book) / "care.csv").values()
    # 10 × 9.72 = 97.2 ft²: 0.3 yd³ an inch deep; (0.2 + 0.1944) × 28 + 0.33 × 38, ÷ 0.55
    assert (row["client_id"], row["area_ft2"], row["mulch_yd3"]) == ("B", "97.20", "0.30")
    assert row["price_usd"] == "42.88"
    # Ordered 0.5 yd³; delivery 136.36
    assert "Spring 2027, North: 1 bed; order 0.5 yd³ of mulch, 0.4 h, $179.24 with delivery." in result.stderr  # fmt: skip
    # Whoever spreads a pesticide for hire is certified: 40 CFR 171; states license by it
    assert "takes an applicator's license" in " ".join(result.stderr.split())


def test_care_of_nothing(book):
    result = run("care", book, "--route", "South", "--json")
    assert json.loads(result.stdout) == []
    assert "No bed is on record" in result.stderr
