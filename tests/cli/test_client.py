"""``client``: one client's whole story."""

from __future__ import annotations

import json
import shutil
from datetime import date
from pathlib import Path

import pandas as pd
import pytest

from scanner.calls.entry_kinds import JOB, REMARK
from scanner.calls.log import open_log
from scanner.calls.today import list_offered
from scanner.pages.geojson import beds_geojson
from scanner.schema.log_tables import LISTED, REMARKS
from scanner.schema.tables import LEFT_OUT
from tests.calls.desk import job_of, record, stored_of, task_of
from tests.cli.desk import type_in
from tests.small_scan import TODAY, small_clients, small_scan

DAY = ("--today", "2026-02-16")


@pytest.fixture(scope="module")
def scanned(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The small scan's clients with that scan on record and its beds in the usual folder."""
    office, scan = tmp_path_factory.mktemp("client"), small_scan()
    folder = office / "lawns"
    folder.mkdir()
    clients = small_clients().map(lambda cell: f"'{cell}" if str(cell).startswith("=") else cell)
    clients.to_csv(folder / "clients.csv", index=False)
    with open_log(folder, today=TODAY) as log:
        log.store_last_scan(LISTED, list_offered(scan.calls, scan.offers, scan.beds, today=TODAY))
        log.store_last_scan(LEFT_OUT, scan.left_out)
    out = office / "maps" / "lawns"
    out.mkdir(parents=True)
    (out / "candidates.geojson").write_bytes(b"".join(beds_geojson(scan, iter(scan.parts))))
    return office


@pytest.fixture
def book(scanned: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    office = shutil.copytree(scanned, tmp_path / "office")
    monkeypatch.chdir(office)
    return office / "lawns"


def told(*words: str) -> dict:
    result = type_in("client", "lawns", *words, *DAY, "--json")
    assert result.exit_code == 0, result.stderr
    return json.loads(result.stdout)


def test_every_word_comes_back_in_the_order_of_the_days(book: Path) -> None:
    record(
        book,
        ("C0003", "2026-02-10", "call back", "gate code 12#", "ring after five", "2026-02-16"),
        ("C0003", "2026-01-05", "not now", "new roof first"),
        today=TODAY,
    )
    record(book, ("C0003", "2026-02-10", "call back", "her sister decides"), today=TODAY)
    story = told("C0003")
    assert [(row["day"], row["words"]) for row in story["said_and_done"]] == [
        ("2026-01-05", "new roof first"), ("2026-02-10", "gate code 12#"), ("2026-02-10", "her sister decides"),
    ]  # fmt: skip
    assert story["next"] == {"due_on": "2026-02-16", "to_do": "ring after five"}
    # A sidewalk bed of 50 by 4 ft, and a piece of 10 ft that is too short
    beds = {
        bed["bed_id"]: (bed["edge_ft"], bed["area_ft2"], bed["skip_reason"])
        for bed in story["beds"]
    }
    assert beds["C0003-sidewalk-1"] == (50, 200, "")
    assert beds["C0003-sidewalk-2"][2] == "too short"


def test_what_was_built_is_told_and_what_is_left_beside_it_is_no_bed(book: Path) -> None:
    """A curb bed of 200 ft² built on May 12; the scan's short piece of sidewalk is what is left beside one."""
    file = Path("maps/lawns/candidates.geojson")
    file.write_text(file.read_text().replace('"too short"', '"built"'))
    with open_log(book, today=date(2027, 5, 14)) as log:
        log.store_beds(stored_of(C0003_curb_9=None))
        log.record(JOB, job_of("J-1", client_id="C0003", bed_ids="C0003-curb-9"), task_of("J-1"))
    lines = type_in("client", "lawns", "C0003", "--today", "2027-05-14").stdout.splitlines()
    built, offered = [line.split(None, 1)[1] for line in lines if line.startswith("Bed")]
    assert built == "C0003-curb-9, along the curb: 200 ft², built on 2027-05-12"
    assert offered.startswith("C0003-sidewalk-1, along the sidewalk: 50 ft, 200 ft², about $")
    # its own row of the scan before it was built is not told once more
    with open_log(book, today=date(2027, 5, 14)) as log:
        log.store_beds(stored_of(C0003_sidewalk_1=None))
        row = job_of("J-2", client_id="C0003", bed_ids="C0003-sidewalk-1")
        log.record(JOB, row, task_of("J-2"))
    text = type_in("client", "lawns", "C0003", "--today", "2027-05-14").stdout
    assert text.count("\nBed ") == 2
    assert "C0003-sidewalk-1, along the sidewalk: 200 ft², built on 2027-05-12" in text


def test_what_the_office_added_in_columns_of_its_own_is_told(book: Path) -> None:
    remarks = [("C0003", "dog", "two, bite", ""), ("C0001", "dog", "none", "")]
    with open_log(book, today=TODAY) as log:
        log.record(REMARK, pd.DataFrame(remarks, columns=[*REMARKS.columns]))
    assert told("C0003")["client"]["dog"] == "two, bite"
    assert "dog two, bite" in type_in("client", "lawns", "C0003", *DAY).stdout


@pytest.mark.usefixtures("book")
def test_who_is_an_id_a_name_or_a_number_and_two_that_fit_are_listed() -> None:
    assert (
        told("c0009")["client"]["client_id"]
        == told("+1 308 555 0109")["client"]["client_id"]
        == "C0009"
    )
    assert told("cy verbena")["client"]["client_id"] == "C0003"
    twice = small_clients().assign(name="Ada Quill")
    twice.to_csv("lawns/clients.csv", index=False)
    refused = type_in("client", "lawns", "quill", *DAY)
    assert refused.exit_code == 1
    assert "C0001" in refused.stderr
    assert "C0002" in refused.stderr


@pytest.mark.usefixtures("book")
def test_who_is_left_out_is_told_why() -> None:
    """Whoever is not to be called first of all, and without a sentence to say."""
    barred, curbless = told("C0005"), told("C0007")
    assert (barred["left_out"], barred["offer"]) == ("asked not to be called", {})
    lines = type_in("client", "lawns", "C0005", *DAY).stdout.splitlines()
    assert lines[0].strip() == "DO NOT CALL: asked not to be called"
    assert not [line for line in lines if line.startswith(("Say", "Price")) or "chance" in line]
    assert curbless["left_out"].startswith("no lawn touches a curb")
    assert not curbless["offer"]


def test_whoever_was_quoted_or_buys_is_told_the_next_step_and_no_offer(book: Path) -> None:
    assert told("C0001")["offer"]
    record(book, ("C0001", "2026-02-10", "quoted"), today=TODAY)
    story = told("C0001")
    assert (story["offer"], story["next"]["to_do"]) == ({}, "Call and ask")
    record(book, ("C0001", "2026-02-12", "sold"), today=TODAY)
    story = told("C0001")
    assert (story["offer"], story["left_out"]) == ({}, "under way: sold on Feb 12, not built yet")
    assert story["next"]["to_do"] == "Give it a week; ask for the locating marks before that"
    # A visit is made with the offer in hand
    record(book, ("C0002", "2026-02-10", "visit"), today=TODAY)
    story = told("C0002")
    assert (bool(story["offer"]), story["next"]["to_do"]) == (True, "Call; settle a day for the visit")  # fmt: skip


@pytest.mark.usefixtures("book")
def test_one_screen_of_lines() -> None:
    lines = type_in("client", "lawns", "C0001", *DAY).stdout.splitlines()
    assert len(lines) <= 40
    assert max(map(len, lines)) <= 100
    text = "\n".join(lines)
    assert "DO NOT CALL" not in text
    for words in (
        "Ada Quill (C0001)",
        "100 Prairie Lane",
        "C0001-curb-1, along the curb: 52 ft, 208 ft²",
        "nothing on record",
    ):
        assert words in text
