"""``order`` and ``jobsheet``: what is sold for a week, as csv and on paper, figure by figure."""

from __future__ import annotations

import csv
import io
import re
import shutil
from datetime import date
from pathlib import Path

import pandas as pd
import pytest
from click.testing import Result

from scanner.calls.entry_kinds import SCHEDULED, TICKET, Kind
from scanner.calls.log import open_log, read_season
from scanner.schema.documents import Scan
from tests.cli.desk import book_on_foot, finding, keeping_scans, type_in
from tests.paper_words import read_pages

pytestmark = pytest.mark.usefixtures("lots_scanned_once", "without_map")

TODAY = "2026-04-06"
WEEK = "2026-04-13"


@pytest.fixture(scope="module")
def sold(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Three lots that were measured on foot; A's and B's curb beds sold as jobs, C's on a call, all for one week."""
    folder = book_on_foot(
        tmp_path_factory.mktemp("build") / "elm",
        "client_id,name,address,phone,sprinklers",
        "A,Ada `Quill` <b>,1 Elm St,308-555-0101,no", "B,Bo,2 Elm St,,no", "C,Cy,3 Elm St,,no",
        curb_ft={"A": 60, "B": 33, "C": 20},
    )  # fmt: skip
    (folder / "local.toml").write_text(
        'state = "NE"\nzone = "5b"\n[company]\nphone = "308-555-0100"\n'
    )
    with keeping_scans() as scans:
        note(folder, "scan", day="2026-03-16")
    with finding(scans[0]):
        note(folder, "record", "job", "A-curb-1", "--sold", "2100", day="2026-04-01")
        note(folder, "record", "job", "B-curb-1", "--sold", "1500", "--finish", "planted", day="2026-04-01")  # fmt: skip
    note(folder, "record", "calls", "C", "sold", day="2026-04-03")
    for who, job_id in (("C", ""), ("B", "B-curb-1"), ("A", "A-curb-1")):
        write_down(folder, SCHEDULED, (who, job_id, WEEK))
    return folder


def write_down(book: Path, kind: Kind, row: tuple[str, ...]) -> None:
    """Record an entry as its command would."""
    with open_log(book, today=date.fromisoformat(TODAY)) as log:
        log.record(kind, pd.DataFrame([row], columns=list(kind.columns)))


@pytest.fixture(scope="module")
def ordered(sold: Path, tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Result, Scan]:
    """The same book once the order of the week is written, on the last day on which C may cancel, what was said and found."""
    book = shutil.copytree(sold, tmp_path_factory.mktemp("ordered") / "elm")
    with keeping_scans() as scans:
        told = note(book, "order", "--week", "2026-04-15", "--paper", "a4", day="2026-04-07")
    return book, told, scans[-1]


@pytest.fixture(scope="module")
def sheets(ordered: tuple[Path, Result, Scan]) -> dict[str, str]:
    """Sheets for two of its jobs, by client."""
    book, _, found = ordered
    with finding(found):
        for client in "AB":
            assert note(book, "jobsheet", client).exit_code == 0
    return {client: text_of(book / "out" / f"jobsheet-{client}.pdf") for client in "AB"}


def note(book: Path, command: str, *words: str, day: str = TODAY):
    out = () if command == "record" else ("--out", str(book / "out"))
    return type_in(command, str(book), *words, *out, "--today", day)


@pytest.fixture
def book(tmp_path: Path, sold: Path) -> Path:
    return shutil.copytree(sold, tmp_path / "elm")


def text_of(path: Path) -> str:
    return "\n".join(read_pages(path.read_bytes()))


def rows_of(book: Path) -> list[dict[str, str]]:
    content = (book / "out" / f"order-{WEEK}.csv").read_bytes().decode("utf-8-sig")
    return list(csv.DictReader(io.StringIO(content)))


def test_an_order_over_three_jobs(ordered):
    book, told, _ = ordered
    assert told.exit_code == 0, told.stderr
    assert "Week of 2026-04-13: materials for 3 jobs." in told.stderr
    rows = rows_of(book)
    sums = {row["material"]: row for row in rows if not row["job_id"]}
    # beds 4 ft deep, mulch 3 in, 10 % waste. A, 60 ft: 2.444 yd3, above the trailer's 2, so its estimate has it delivered.
    # B and C, 33 and 20 ft: 1.344 and 0.815 yd3, which their own estimates fetch by the half yard, 1.5 and 1
    told_of = {name: [sums[name][key] for key in ("needed", "order", "sold_as")] for name in sums}
    assert told_of["mulch"] == ["2.4", "3", "whole yards, delivered"]
    assert told_of["fetched mulch"] == ["2.2", "2.5", "yards, crew fetches"]
    # measured on foot: both ends are open, so 113 + 6 x 4 = 137 ft: 18 sticks of 8 ft, where jobs alone take 9 + 6 + 4 = 19
    assert (sums["edging"]["needed"], sums["edging"]["order"]) == ("137", "18")
    # A: 10 shrubs on 60 ft; C: 20/6 + 1/2 = 3; B, planted: rows of 16 and 15 or 16 at 24 in
    assert sums["catmint, 3 gal"]["needed"] == "13"
    assert {
        row["needed_by"] for row in rows if row["order"] and "crew fetches" not in row["sold_as"]
    } == {"2026-04-10"}
    for name, summed in sums.items():
        parts = [float(row["needed"]) for row in rows if row["material"] == name and row["job_id"]]
        assert sum(parts) == pytest.approx(float(summed["needed"]), abs=1e-9), name


def test_the_page_of_an_order_has_the_figures_of_its_csv(ordered):
    book = ordered[0]
    lines = text_of(book / "out" / f"order-{WEEK}.pdf").splitlines()
    rows = rows_of(book)
    for row in (row for row in rows if not row["job_id"]):
        start = row["material"][0].upper() + row["material"][1:]
        line = next(line for line in lines if line.startswith(f"{start} "))
        needed, order = float(row["needed"]), float(row["order"])
        assert f"{needed:g}" in line or f"{needed:.1f}" in line
        assert f" {order:g} {row['sold_as']}" in line
    # where it goes: heads, three jobs, their sum, in the order of the materials
    heads = next(line for line in lines if line.startswith("day job"))
    assert heads.split()[2:] == ["mulch", "fetched", "compost", "edging"]
    by_job = {
        row["name"]: f"{row['needed']} –" if row["material"] == "mulch" else f"– {row['needed']}"
        for row in rows if row["material"] in ("mulch", "fetched mulch") and row["job_id"]
    }  # fmt: skip
    table = [line for line in lines if line.split()[:1] in (["Mon"], ["Tue"], ["Wed"])]
    assert len(table) == 6  # seven materials are two tables
    for line in table[:3]:
        name = next(name for name in by_job if name.replace("`", "") in line.replace("`", ""))
        assert f"St {by_job[name]} " in line


def test_a_sheet_fetches_what_the_order_says_that_its_crew_fetches(ordered, sheets):
    book, shop = ordered[0], list[str]()
    rows = [row for row in rows_of(book) if row["job_id"]]
    for client, sheet in sheets.items():
        text = " ".join(sheet.split())
        own = next(row for row in rows if row["client_id"] == client and "mulch" in row["material"])
        assert bool(own["order"]) is (client == "B")  # A's is delivered
        comes = (
            f"{own['order']} yd³, fetch on the way" if own["order"] else "yd³ of what is delivered"
        )
        assert comes in text, client
        for row in rows:
            if row["client_id"] == client and row["material"] == "compost":
                shop += [re.search(r"compost ([\d.]+) yd³ from the shop", text)[1]]
    (compost,) = (
        row for row in rows_of(book) if row["material"] == "compost" and not row["job_id"]
    )
    assert compost["sold_as"] == "yards, to the shop"
    assert float(compost["order"]) == pytest.approx(sum(map(float, shop)))


def test_what_is_to_be_settled_before_ordering(ordered):
    # C said yes on Friday, April 3, 2026: Saturday, Monday and Tuesday are business days (16 CFR 429.1)
    text = text_of(ordered[0] / "out" / f"order-{WEEK}.pdf")
    assert (
        "Cy may cancel through Tuesday, April 7 (16 CFR 429): order the plants of this job after that day."
        in text.replace("\n", " ")
    )
    assert "Rented machines: tiller, 1 day (Bo)." in text


def test_order_and_sheet_begin_on_one_day_and_say_why(book):
    # without a ticket on Thursday, April 9: Friday and Monday between, so no earlier than Tuesday, April 14
    write_down(book, TICKET, ("B", "8", "2026-04-08", "2026-05-01"))
    assert note(book, "order", "--week", WEEK, day="2026-04-09").exit_code == 0
    text = " ".join(text_of(book / "out" / f"order-{WEEK}.pdf").split())
    held = "no ticket yet: earliest Tue Apr 14, with a call to 811 today"
    assert f"Marked lines: Ada `Quill` <b>, {held}; Cy, " in text
    assert "Mon Apr 13 Bo" in text
    assert "Tue Apr 14 Ada" in text
    assert "Right to cancel (16 CFR 429): over for every job." in text
    told = note(book, "jobsheet", "A", day="2026-04-09")
    assert f"Job A-curb-1: Tuesday, 2026-04-14 ({held})." in told.stderr
    text = " ".join(text_of(book / "out" / "jobsheet-A.pdf").split())
    assert "earliest Tue Apr 14" in text
    assert ": job A-curb-1" not in text  # the sale's own entry is nothing that anybody said


@pytest.mark.parametrize(
    ("words", "day", "sentence"),
    [
        (
            ("--week", "2026-04-20"),
            TODAY,
            "no job is scheduled for the week of 2026-04-20: record BOOK schedule",
        ),
        (("--week", "2026-03-30"), TODAY, "the week of 2026-03-30 is over"),
    ],
)
def test_a_week_without_an_order_is_a_sentence(book, words, day, sentence):
    told = note(book, "order", *words, day=day)
    assert told.exit_code == 1
    assert sentence in told.stderr
    assert not (book / "out" / "order-2026-04-20.csv").exists()


def test_what_stands_against_an_order_or_a_sheet_is_a_sentence_and_the_rest_is_done(book):
    """A bed that a crew has denied, too few free days, no species that fits, a state without a rule, and none."""
    (book / "seen.csv").write_text("client_id,seen_on,turf to curb\nB,2026-04-04,no\n")
    assert type_in("record", str(book), str(book / "seen.csv"), "--today", TODAY).exit_code == 0
    (book / "capacity.csv").write_text(f"week,crew,free_crew_days\n{WEEK},A,1\n")
    (book / "plants.toml").write_text(
        '[daylily]\noffered = "no"\n[catmint]\noffered = "no"\n[cranesbill]\noffered = "no"\n[coreopsis]\noffered = "no"\n'
    )
    (book / "local.toml").write_text('state = "WY"\nzone = "5b"\n')
    with keeping_scans() as scans:
        told = note(book, "order", "--week", WEEK)
    assert told.exit_code == 1
    denied = "bed B-curb-1 must not be dug: a crew saw no turf there; the job is left out"
    fits = "no species in plants.toml fits: zone 5b, sun, 36 in tall at most, 32 in wide at most, sold in 3 gal"
    for sentence in (denied, fits):
        assert sentence in told.stdout
    assert "capacity.csv has 1.0 free: move one with record BOOK schedule." in told.stderr
    assert (book / "out" / f"order-{WEEK}.pdf").exists()
    rows = rows_of(book)
    assert {row["client_id"] for row in rows} == {"", "A", "C"}
    unnamed = [row for row in rows if row["material"] == "plant without a name, 3 gal"]
    assert {row["needed"] for row in unnamed if not row["job_id"]} == {"13"}

    for rules, sentence in (
        ('state = "WY"\n', "for WY no locating rule is known: call 811, the number of the whole country"),
        ("", "no state is set in local.toml, so no locating rule is known: call 811"),
    ):  # fmt: skip
        (book / "local.toml").write_text(f'{rules}zone = "5b"\n')
        with finding(scans[-1]):
            told = note(book, "jobsheet", "A")
        assert told.exit_code == 1
        assert sentence in told.stderr
        text = text_of(book / "out" / "jobsheet-A.pdf").replace("\n", " ")
        assert "none on record: call 811, dig only" in text


def test_a_sheet_for_the_crew(book):
    assert (
        note(
            book,
            "record",
            "ticket",
            "A",
            "26-1234",
            "--from",
            "2026-04-14",
            "--until",
            "2026-05-04",
        ).exit_code
        == 0
    )
    told = note(book, "jobsheet", "Ada `Quill` <b>")
    assert told.exit_code == 0, told.stderr
    # B and C may begin on Monday and follow each other; A's ticket allows Tuesday, and the crew is free on Wednesday
    assert "Job A-curb-1: Wednesday, 2026-04-15." in told.stderr
    text = text_of(book / "out" / "jobsheet-A.pdf")
    for words in (
        "Job: Ada `Quill` <b>", "Wednesday, April 15, 2026", "26-1234", "dig from April 14 to May 4, 2026", "10 catmint, 3 gal",
        "60 ft along the curb, 4 ft deep", "call the office 308-555-0100", "9 sticks of edging, 8 ft", "mulch 2.5 yd³ of what is delivered",
    ):  # fmt: skip
        assert words in text, words
    tasks = read_season(book).job_tasks
    planned = tasks[(tasks["job_id"] == "A-curb-1") & (tasks["estimated_hours"] > 0)]
    printed = {
        task: float(re.search(rf"^{re.escape(task)} (\d+\.\d) h", text, re.MULTILINE)[1])
        for task in planned["task"]
    }
    for task, hours in zip(planned["task"], planned["estimated_hours"], strict=True):
        assert printed[task] == pytest.approx(hours, abs=0.1), task
    whole = float(re.search(r"^all (\d+\.\d) h", text, re.MULTILINE)[1])
    assert sum(printed.values()) == pytest.approx(whole)
    assert whole == pytest.approx(planned["estimated_hours"].sum(), abs=0.05)


def test_hours_are_taken_back_by_the_names_on_the_sheet_and_a_job_without_a_ticket_is_cautioned_of(
    book, sheets
):
    # no ticket yet: the sheet says until when to call
    assert "call 811 by Wednesday, April 8" in sheets["A"].replace("\n", " ")
    write_down(book, TICKET, ("B", "8", "2026-04-08", "2026-05-01"))
    hours = ("--hours", "dig out by hand=4.5", "--hours", "set edging=2")
    for client, words, is_said in (("A", hours, True), ("B", (), False)):
        told = note(book, "record", "job", client, "--built", "2026-04-14", *words, day="2026-04-15")  # fmt: skip
        assert told.exit_code == 0, told.stderr
        assert (f"no locating ticket of {client} is on record" in told.stderr) is is_said
    tasks = read_season(book).job_tasks.set_index(["job_id", "task"])["actual_hours"]
    assert tasks["A-curb-1", "dig out by hand"] == 4.5
    assert tasks["A-curb-1", "set edging"] == 2
    later = note(book, "record", "job", "A-curb-1", "--hours", "set edging=3", day="2026-04-15")
    assert (later.exit_code, "ticket" in later.stderr) == (0, False)
    strange = note(book, "record", "job", "nobody", "--built", "2026-04-14", day="2026-04-15")
    assert strange.exit_code == 1
    assert "bed nobody is in no scan on record" in strange.stdout
    again = note(book, "jobsheet", "A", day="2026-04-15")
    assert again.exit_code == 1
    assert "nothing that A bought waits to be built: record the sale first" in again.stderr


@pytest.mark.parametrize(
    ("ticket", "words", "sentence"),
    [
        ((), ("--on", "2026-04-06"), "the locating law, with a call today, allows digging from 2026-04-09 on, not on 2026-04-06"),
        (("2026-04-14", "2026-05-04"), ("--on", "2026-04-13"), "ticket 9 allows digging from 2026-04-14 on, not on 2026-04-13"),
        (("2026-03-20", "2026-04-10"), (), "ticket 9 runs out on 2026-04-10, before the last day, 2026-04-13: call 811 again"),
        (("2026-04-07", "2026-05-04"), ("--on", "2026-04-20"), "its day, 2026-04-20, does not lie in its week of 2026-04-13"),
    ],
)  # fmt: skip
def test_what_stands_against_a_day_is_a_sentence_and_the_sheet_is_made(
    book, ticket, words, sentence
):
    if ticket:
        write_down(book, TICKET, ("A", "9", *ticket))
    told = note(book, "jobsheet", "A", *words)
    assert told.exit_code == 1
    assert f"Mind: {sentence}." in told.stderr
    assert (book / "out" / "jobsheet-A.pdf").exists()


def test_who_has_no_job_is_told(book):
    told = note(book, "jobsheet", "nobody at all")
    assert told.exit_code == 1
    assert "'nobody at all' is no id, name or phone number in the client list" in told.stderr
    assert note(book, "record", "undo", day=TODAY).exit_code == 0  # A's week
    told = note(book, "jobsheet", "A")
    assert told.exit_code == 1
    assert (
        "A-curb-1 has no week yet: record BOOK schedule WHO WEEK gives it one, or name its day with --on"
        in told.stderr
    )
    assert note(book, "jobsheet", "A", "--on", "2026-04-16").exit_code == 0
