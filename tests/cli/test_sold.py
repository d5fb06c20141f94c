"""``record``'s words between a quote and its job, and what week and client make of them."""

from __future__ import annotations

import json
import re
import shutil
from datetime import date
from pathlib import Path

import pytest
from click.testing import Result

from scanner.book.settings import read_rates
from scanner.calls.entry_kinds import CALL, QUOTE
from scanner.calls.log import open_log, read_season
from tests.calls.desk import calls_of, quote_of, quote_task_of
from tests.cli.desk import book_on_foot, type_in

pytestmark = pytest.mark.usefixtures("without_map")

TODAY = ("--today", "2027-03-10")  # a Wednesday


@pytest.fixture(scope="module")
def scanned(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two lots that were measured on foot, scanned, with one quote on record."""
    folder = book_on_foot(
        tmp_path_factory.mktemp("sold") / "elm",
        "client_id,name,address,phone,route",
        "A,Ada,1 Elm St,308-555-0101,East", "B,Bo,2 Elm St,,East",
        curb_ft={"A": 60, "B": 50},
    )  # fmt: skip
    assert type_in("scan", str(folder), "--out", str(folder / "out"), *TODAY).exit_code == 0
    with open_log(folder, today=date(2027, 3, 2)) as log:
        log.record(QUOTE, quote_of(), quote_task_of())
    return folder


@pytest.fixture
def book(tmp_path: Path, scanned: Path) -> Path:
    return shutil.copytree(scanned, tmp_path / "elm")


def week_of(book: Path, today: str = "2027-03-10") -> Result:
    return type_in("week", str(book), "--out", str(book / "out"), "--json", "--today", today)


def lines_of(book: Path, today: str = "2027-03-10") -> list[tuple[str, str, str]]:
    return lines_in(week_of(book, today), book)


def lines_in(told: Result, book: Path) -> list[tuple[str, str, str]]:
    lines = json.loads(told.stdout)["lines"]
    start = f"bed-scanner record {book.as_posix()} "
    return [
        (line["section"], line["next_step"], line["command"].removeprefix(start))
        for line in lines if line["client_id"] == "A"
    ]  # fmt: skip


def type_record(book: Path, *words: str, today: str = "2027-03-10"):
    return type_in("record", str(book), *words, "--today", today)


def next_of(told: Result) -> str:
    """Give the command that is named as the next step."""
    return told.stderr.splitlines()[-1].partition(": bed-scanner ")[2]


def test_from_quote_to_hours_and_the_week_tells_each_next_step(book):
    """It counts apart, too, what has no week and what is not marked."""
    (book / "capacity.csv").write_text("week,crew,free_crew_days\n2027-03-22,A,2\n")
    page = book / "out" / "week.html"
    assert lines_of(book, "2027-03-12") == []  # ten days old: it can wait
    assert lines_of(book, "2027-03-13") == [("quote", "Call and ask", "quote Q2027-001 won|lost")]
    assert lines_of(book, "2027-04-02") == [
        (
            "quote",
            "Its price lapsed on Apr 1: call, and write it anew",
            f"bed-scanner quote {book.as_posix()} A",
        )
    ]
    told = type_record(book, "quote", "q2027-001", "won")
    assert told.exit_code == 0
    assert told.stderr.splitlines()[:2] == [
        "Sold. Before you build: locating service: call 811 at least 2 to 3 working days, ask 811 which, before anyone "
        "digs, by hand too, and wait for the marks.",
        "Signed at the client's home, it may be canceled to midnight of Saturday, March 13, 2027 (16 CFR 429; ask counsel): "
        "begin later, and order no plants before.",
    ]
    week = week_of(book)
    assert "1 to schedule, 0 without a ticket, 0 to build" in week.stderr
    assert lines_in(week, book) == [
        (
            "sold",
            "Give it a week; ask for the locating marks before that",
            "schedule Q2027-001 MONDAY",
        )
    ]
    assert next_of(told) == f"record {book} schedule Q2027-001 MONDAY"
    told = type_record(book, "schedule", "Q2027-001", "2027-03-24")
    assert told.exit_code == 0
    assert next_of(told) == f"record {book} ticket A NUMBER --from DATE --until DATE"
    assert read_season(book).schedule["week"].tolist() == ["2027-03-22"]
    call_811 = "Call 811 for the marks: nobody may dig in the week of Mar 22 without them"
    week = week_of(book)
    assert "0 to schedule, 1 without a ticket, 0 to build" in week.stderr
    assert [line[:2] for line in lines_in(week, book)] == [("not marked", call_811)]
    ticket = ("ticket", "Ada", "TX-77", "--from", "2027-03-20", "--until", "2027-04-03")
    told = type_record(book, *ticket)
    assert (told.exit_code, next_of(told)) == (0, f"jobsheet {book} A")
    week = week_of(book)
    assert "0 to schedule, 0 without a ticket, 0 to build" in week.stderr
    assert lines_in(week, book) == []
    html = page.read_text(encoding="utf-8")
    assert "crew-days of 1 job, 1 of them scheduled for a later week" in html
    week = week_of(book, "2027-03-22")
    assert "0 to schedule, 0 without a ticket, 1 to build" in week.stderr
    assert "crew-days of 1 job. Then" in page.read_text(encoding="utf-8")
    assert lines_in(week, book) == [
        ("to build", "Build it this week", "job Q2027-001 --built DATE")
    ]
    assert lines_of(book, "2027-03-29")[0][1].startswith("Its week, that of Mar 22, is over")
    built = type_record(book, "job", "Q2027-001", "--built", "2027-03-24", today="2027-03-25")
    assert (built.exit_code, next_of(built)) == (
        0,
        f"record {book} job Q2027-001 --hours TASK=HOURS",
    )
    assert lines_of(book, "2027-03-29") == [
        ("built", "Ask the crew for the hours", "job Q2027-001 --hours TASK=HOURS")
    ]
    story = json.loads(type_in("client", str(book), "A", "--json", *TODAY).stdout)
    assert (story["next"]["to_do"], story["offer"]) == ("Ask the crew for the hours", {})
    assert [(row["entry_id"], row["what"]) for row in story["said_and_done"]] == [
        (1, "quote Q2027-001"), (2, "quote Q2027-001 won"), (3, "job Q2027-001 to be built"),
        (4, "locating ticket TX-77"), (5, "job Q2027-001, mulch, built"),
    ]  # fmt: skip
    for words in (
        "job Q2027-001 of A",
        "ticket TX-77 for A",
        "week of 2027-03-22 for Q2027-001 of A",
        "quote Q2027-001 to A won",
    ):
        assert f"Taken back: {words}" in type_record(book, "undo").stderr
    assert lines_of(book, "2027-03-13")[0][0] == "quote"


def test_a_price_that_was_said_stands_with_its_own_beds_or_with_none(book):
    """B is offered 50 ft today; on March 1 and 2 the office said prices, first without beds, then of one bed."""

    def what(*, today: str) -> str:
        told = type_in("week", str(book), "--out", str(book / "out"), "--json", "--today", today)
        return next(line["what"] for line in json.loads(told.stdout)["lines"] if line["client_id"] == "B")  # fmt: skip

    # 2,130 is what a client hears of 2,123.71
    for day, cents, bed_id, told in (
        (1, 133_000, "", "about $1,330, the beds are not on record"), (2, 212_371, "B-curb-1", "curb bed, about $2,130"),
    ):  # fmt: skip
        call = calls_of(("B", f"2027-03-0{day}", "quoted")).assign(
            price_cents=cents, bed_ids=bed_id
        )
        with open_log(book, today=date(2027, 3, day)) as log:
            log.record(CALL, call)
        assert what(today="2027-03-20") == told
    told = json.loads(type_in("client", str(book), "B", "--json", *TODAY).stdout)["said_and_done"]
    assert [row["what"] for row in told] == [
        "quoted about $1,330 for beds not on record", "quoted about $2,130 for curb bed",
    ]  # fmt: skip


def test_a_quote_that_is_written_again_is_listed_once(book):
    """The same quote with another estimate behind it: two entries, one quote, under the number of the newer."""
    with open_log(book, today=date(2027, 3, 3)) as log:
        log.record(QUOTE, quote_of(), quote_task_of().assign(estimated_hours=9.5))
    told = json.loads(type_in("client", str(book), "A", "--json", *TODAY).stdout)["said_and_done"]
    assert [(row["entry_id"], row["what"]) for row in told] == [(2, "quote Q2027-001")]


def test_a_sale_without_a_number_goes_on_working(book):
    assert type_record(book, "calls", "B", "sold", "--price", "1650").exit_code == 0
    lines = json.loads(
        type_in("week", str(book), "--out", str(book / "out"), "--json", *TODAY).stdout
    )
    (line,) = [line for line in lines["lines"] if line["client_id"] == "B"]
    assert line["command"].endswith("schedule B MONDAY")
    assert type_record(book, "schedule", "B", "2027-03-22").exit_code == 0
    assert read_season(book).schedule[["client_id", "job_id"]].to_numpy().tolist() == [["B", ""]]
    assert read_season(book).calls.query("client_id == 'B'")["price_cents"].tolist() == [165_000]


def test_a_sale_told_again_after_its_job_is_built_is_doubted_and_what_is_known_is_not_sold_again(
    book,
):
    assert "Sold. Before you build" in type_record(book, "quote", "Q2027-001", "won").stderr
    assert "Sold." not in type_record(book, "quote", "Q2027-001", "won").stderr
    assert type_record(book, "job", "Q2027-001", "--built", "2027-03-02").exit_code == 0
    told = type_record(book, "calls", "A", "sold", "--price", "1650").stderr
    assert (
        "A has Q2027-001 built already: if this is the same sale, record BOOK undo takes it back."
        in told
    )


def test_a_price_is_known_until_it_changes(book):
    quoted = ("calls", "B", "quoted", "--price")
    with open_log(book, today=date(2027, 3, 10)) as log:
        log.record(CALL, calls_of(("B", "2027-03-10", "quoted")).assign(price_cents=165_000))
    assert "1 on record already" in type_record(book, *quoted, "1650").stderr
    assert "1 changed" in type_record(book, *quoted, "1600").stderr
    assert "1 on record already" in type_record(book, "calls", "B", "quoted").stderr
    assert read_season(book).calls.query("client_id == 'B'")["price_cents"].tolist() == [160_000]


def test_letters_sent_and_asked(book):
    assert type_record(book, "letter", "Bo", "asked").exit_code == 1
    assert type_record(book, "letter", "Bo", "sent", "--on", "2027-03-01").exit_code == 0
    assert type_record(book, "letter", "Bo", "asked").exit_code == 0
    assert read_season(book).letters.to_numpy().tolist() == [
        ["B", "2027-03-01", "asked", "2027-03-10"], ["B", "2027-03-01", "sent", "2027-03-01"],
    ]  # fmt: skip
    assert "letter of 2027-03-01 to B: asked" in type_record(book, "undo").stderr


@pytest.mark.parametrize(
    ("words", "code", "sentence"),
    [
        (("quote", "Q2027-009", "won"), 1, "no quote has the number Q2027-009"),
        (("quote", "Q2027-001", "won", "--on", "2027-03-01"), 1, "before quote Q2027-001 was written, on 2027-03-02"),
        (("quote", "Q2027-001", "lost", "--on", "2027-03-11"), 1, "2027-03-11 is after today"),
        (("schedule", "A", "2027-03-22"), 1, "nothing that A bought waits to be built"),
        (("schedule", "q2027-001", "2027-03-22"), 1, "Q2027-001 is not won yet"),
        (("schedule", "Q2027-099", "2027-03-22"), 1, "no quote has the number Q2027-099"),
        (("ticket", "A", "7", "--from", "2027-03-20", "--until", "2027-04-03"), 1, "Nothing that A bought waits to be built"),
        (("schedule", "A", "soon"), 2, "'soon' is no day"),
        (("schedule", "A", "2027-03-01"), 1, "the week of 2027-03-01 is over"),
        (("ticket", "A", "7", "--from", "2027-03-20"), 2, "give both days of the ticket"),
        (("letter", "A", "asked"), 1, "no letter to A is on record"),
        (("calls", "A", "visit", "--price", "900"), 2, "--price goes with one of quoted, sold"),
        (("calls", "A", "quoted", "--price", "0"), 2, "'--price'"),
    ],
)  # fmt: skip
def test_one_sentence_for_what_cannot_be(book, words, code, sentence):
    told = type_record(book, *words)
    assert told.exit_code == code
    assert sentence in told.stderr
    assert len(read_season(book).quotes.query("outcome != ''")) == 0


def test_a_quote_that_lapsed_is_not_won(book):
    told = type_record(book, "quote", "Q2027-001", "won", today="2027-04-02")
    assert told.exit_code == 1
    assert "lapsed on 2027-04-01: its price holds no longer" in told.stderr
    signed = ("quote", "Q2027-001", "won", "--on", "2027-04-01")
    assert type_record(book, *signed, today="2027-04-12").exit_code == 0


def test_a_bed_is_sold_once(book):
    """Of two open quotes for one bed one may be won; once that sale is taken back, the other."""
    with open_log(book, today=date(2027, 3, 2)) as log:
        other = quote_of("Q2027-002", bed_ids="A-curb-2 A-curb-1", finish="accent")
        log.record(QUOTE, other, quote_task_of("Q2027-002"))
    assert type_record(book, "quote", "Q2027-001", "won").exit_code == 0
    told = type_record(book, "quote", "Q2027-002", "won")
    assert told.exit_code == 1
    assert "bed A-curb-1 of quote Q2027-002 is sold already with Q2027-001" in told.stderr
    assert read_season(book).jobs["job_id"].tolist() == ["Q2027-001"]
    assert type_record(book, "quote", "Q2027-001", "won").exit_code == 0
    assert type_record(book, "undo").exit_code == 0
    assert type_record(book, "quote", "Q2027-002", "won").exit_code == 0
    assert type_record(book, "quote", "Q2027-001", "lost").exit_code == 0
    told = type_record(book, "schedule", "Q2027-001", "2027-03-22")
    assert "Q2027-001 is lost: nothing is to be built" in told.stderr


def test_a_week_within_the_days_to_cancel_is_refused(book):
    # Sold on Thursday, March 11: Friday, Saturday, Monday March 15 to midnight
    assert type_record(book, "quote", "Q2027-001", "won", today="2027-03-11").exit_code == 0
    told = type_record(book, "schedule", "A", "2027-03-11", today="2027-03-11")
    assert told.exit_code == 1
    assert "may be canceled through 2027-03-15 (16 CFR 429): begin no earlier" in told.stderr
    told = type_record(book, "schedule", "A", "2027-03-15", today="2027-03-11")
    assert told.exit_code == 0
    assert "begin after that day" in told.stderr


SALES = "job_id,client_id,name,outcome,ended_on,why,week,ticket,dig_from,dig_until\n"


def test_a_sheet_of_sales_is_recorded_as_its_words_would_be(book):
    sheet = book / "sales.csv"
    sheet.write_text(
        f"{SALES}Q2027-001,A,Ada,Won,3/9/2027,,3/24/2027,TX-77,3/20/2027,4/3/2027\n"
        "Q2027-009,,,lost,3/9/2027,too dear,,,,\n,B,Bo,,,,2027-03-22,,,\n,B,Bo,,,,,TX-9,2027-03-20,\n,B,Bo,,,,,,,\n"
        "Q2027-001,A,Ada,kept,,,,,,\n"
    )
    told = type_record(book, str(sheet))
    assert told.exit_code == 1
    assert (
        "Recorded 2 new ends of quotes, weeks and tickets, 1 changed. 4 rows need fixing."
        in told.stderr
    )
    for words in (
        "no quote has the number Q2027-009", "nothing that B bought waits to be built",
        "dig_until is blank", "outcome is 'kept', one of won, lost, lapsed is allowed",
    ):  # fmt: skip
        assert words in told.stdout + told.stderr
    season = read_season(book)
    assert season.quotes[["outcome", "ended_on"]].to_numpy().tolist() == [["won", "2027-03-09"]]
    assert season.jobs["job_id"].tolist() == ["Q2027-001"]
    assert season.schedule.to_numpy().tolist() == [["A", "Q2027-001", "2027-03-22"]]
    assert season.tickets.to_numpy().tolist() == [["A", "TX-77", "2027-03-20", "2027-04-03"]]
    # once more, when that week is over: known, and nothing is refused that stands
    sheet.write_text(f"{SALES}Q2027-001,A,Ada,Won,3/9/2027,,3/24/2027,TX-77,3/20/2027,4/3/2027\n")
    again = type_record(book, str(sheet), today="2027-04-20")
    assert again.exit_code == 0
    assert "Recorded 0 new ends of quotes, weeks and tickets, 3 on record already." in again.stderr
    assert "Taken back: ticket TX-77 for A" in type_record(book, "undo", "4").stderr
    rest = type_record(book, "undo").stderr
    assert "Taken back: 2 entries recorded together: quote Q2027-001 to A won" in rest
    season = read_season(book)
    assert (season.quotes["outcome"].tolist(), len(season.schedule)) == ([""], 0)


def test_the_weeks_tell_what_is_sold_for_each(book):
    """The one job sold is given the week of March 22: its hours by the crew's are taken off the free days there, and no other week's."""
    (book / "capacity.csv").write_text(
        "week,crew,free_crew_days\n2027-03-15,A,1.5\n2027-03-22,A,2\n"
    )
    sheet = book / "sales.csv"
    sheet.write_text(f"{SALES}Q2027-001,A,Ada,Won,3/9/2027,,3/24/2027,,,\n")
    assert type_record(book, str(sheet)).exit_code == 0
    out = ("--out", str(book / "out"), "--today", "2027-03-15")
    assert type_in("week", str(book), *out).exit_code == 0
    html = (book / "out" / "week.html").read_text(encoding="utf-8")
    season, rates = read_season(book), read_rates(None)[0]
    tasks = season.job_tasks[season.job_tasks["job_id"] == "Q2027-001"]
    days = tasks["estimated_hours"].sum() / (rates.crew_count.value * rates.day_hours.value)
    assert days > 0.05
    told = re.findall(
        r"<th scope=\"row\">(Mar \d+|Six weeks)</th>.*?</td><td>([\d.]+)</td><td>([\d.]+)</td><td>(?:<b>)?([-\d.]+)",
        html,
    )
    assert told[0] == ("Mar 15", "1.5", "0.0", "1.5")
    assert told[1] == ("Mar 22", "2.0", f"{days:.1f}", f"{2 - days:.1f}")
    assert told[-1] == ("Six weeks", "3.5", f"{days:.1f}", f"{3.5 - days:.1f}")


def test_the_blank_sheet_of_sales_is_the_one_that_is_read(book):
    template = Path("shared/templates/sales.csv")
    assert template.read_text(encoding="utf-8") == SALES
    assert type_record(book, str(template)).exit_code == 0
