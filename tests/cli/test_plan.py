"""``promo`` and ``forecast``: the page, the sentence and the JSON say the same; bad input is a sentence."""

from __future__ import annotations

import json
import re
import shutil
from datetime import date
from html import unescape
from pathlib import Path

import pytest

from tests.calls.desk import record
from tests.cli.desk import type_in

pytestmark = pytest.mark.usefixtures("scanned_once", "without_map")

NAMES = ["Ada Quill", "Bo <b>Tansy</b>", "Cy Verbena", "Di Yarrow", "Ed Zinnia", "Flo Aster"]


@pytest.fixture(scope="module")
def book(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Six lots that were measured on foot, four weeks of April with two free days each."""
    folder = tmp_path_factory.mktemp("plan") / "elm"
    folder.mkdir()
    clients = [
        f"C{n},{name},{n} Elm St,308-555-010{n},East,Monday,{n}" for n, name in enumerate(NAMES)
    ]
    (folder / "clients.csv").write_text(
        "\n".join(["client_id,name,address,phone,route,mow_day,stop", *clients])
    )
    edges = [f"C{n},curb,{40 + 5 * n},30" for n in range(len(NAMES))]
    (folder / "measured.csv").write_text("\n".join(["client_id,along,length_ft,room_ft", *edges]))
    weeks = [f"2026-04-{day:02d},A,2" for day in (6, 13, 20, 27)]
    (folder / "capacity.csv").write_text("\n".join(["week,crew,free_crew_days", *weeks]))
    return folder


def run(book: Path, out: Path, *words: str):
    return type_in(*words[:1], str(book), *words[1:], "--out", str(out))


def test_the_promotion_of_april(book, tmp_path):
    words = ("promo", "--weeks", "2026-04-06..2026-04-27", "--today", "2026-03-02")
    told = run(book, tmp_path, *words, "--json")
    assert told.exit_code == 0
    html = (tmp_path / "promo.html").read_text(encoding="utf-8")
    figures = json.loads(told.stdout)
    assert figures["answer"] in told.stderr
    assert figures["answer"] in unescape(html)
    # All six fit into eight days; none of the waits
    assert "No more are called because nobody else is on the list." in figures["answer"]
    assert "a job may start up to 3 weeks later than it could" in html
    assert [client["wave"] for client in figures["clients"]] == [0] * 6
    assert html.count('class="tick"') == 6
    assert "Bo &lt;b&gt;Tansy&lt;/b&gt;" in html
    assert figures["weeks"][-1]["free_so_far_days"] == 8.0
    likely = sum(client["expected_days"] for client in figures["clients"])
    assert figures["likely_days"] == pytest.approx(likely, abs=1e-3)


def test_a_job_that_has_an_earlier_week_takes_none_of_the_free_days(book, tmp_path):
    own = shutil.copytree(book, tmp_path / "elm")
    day = ("--today", "2026-03-02")
    run(own, tmp_path, "scan", *day)
    words = ("promo", "--weeks", "2026-04-06..2026-04-27", *day)
    assert type_in("record", str(own), "job", "C0-curb-1", "--sold", "2000", *day).exit_code == 0

    def sold() -> list[float]:
        weeks = json.loads(run(own, tmp_path, *words, "--json").stdout)["weeks"]
        return [week["sold_days"] for week in weeks]

    waiting = sold()
    assert waiting[-1] > 0  # without a week it has to go somewhere
    for week, last in (("2026-03-23", 0.0), ("2026-04-13", waiting[-1])):
        assert type_in("record", str(own), "schedule", "C0", week, *day).exit_code == 0
        scheduled = sold()
        assert scheduled[-1] == last, week
    # March 2 is week 0, so April 13 is week 6: nothing of it before
    assert scheduled == [0.0] * 6 + [waiting[-1]] * 3


def test_few_calls_a_week_make_waves(book, tmp_path):
    words = (
        "promo",
        "--weeks",
        "2026-04-06..2026-04-27",
        "--today",
        "2026-03-02",
        "--calls-a-week",
        "2",
        "--json",
    )
    figures = json.loads(run(book, tmp_path, *words).stdout)
    assert "No more are called because you make 2 calls a week." in figures["answer"]
    # 2, then 2 - 0.65 × 2 = 0.7, then 2 - 0.65 × 0.7 - 0.4875 × 2 = 0.57: sums 2, 2.7, 3.27
    assert [client["wave"] for client in figures["clients"]][:3] == [0, 0, 1]


@pytest.mark.parametrize(
    ("words", "code", "sentence"),
    [
        (("promo", "--weeks", "2026-04-27..2026-04-06", "--today", "2026-03-02"), 2, "comes after"),
        (("promo", "--weeks", "April", "--today", "2026-03-02"), 2, "no span of weeks"),
        (("promo", "--weeks", "2026-02-02..2026-02-09", "--today", "2026-03-02"), 1, "are over"),
        # 0.40 of the sales may start through the fourth week, 0.61 through the fifth
        (("promo", "--weeks", "2026-04-06..2026-04-27", "--today", "2026-04-27"), 1, "that of 2026-05-25 or later"),
        (("promo", "--weeks", "2026-06-01..2026-06-08", "--today", "2026-03-02"), 1, "has a free crew-day"),
        (("forecast", "--until", "2026-01-01", "--today", "2026-03-02"), 2, "not within two years"),
        (("forecast", "--until", "soon", "--today", "2026-03-02"), 2, "is no day"),
        (("forecast", "--calls-a-week", "-1", "--today", "2026-03-02"), 2, "-1"),
    ],
)  # fmt: skip
def test_what_cannot_be_planned_is_told_in_a_sentence(book, tmp_path, words, code, sentence):
    told = run(book, tmp_path, *words)
    assert told.exit_code == code
    assert sentence in told.output


def test_a_last_week_without_a_free_day_stops_no_call(book, tmp_path):
    words = ("promo", "--weeks", "2026-04-06..2026-05-11", "--today", "2026-03-02")
    told = run(book, tmp_path, *words)
    assert told.exit_code == 0
    assert "Call 6 new clients this week" in told.stderr
    assert "No day is free after the week of April 27, 2026" in told.stderr


def test_a_promotion_needs_the_free_days(book, tmp_path):
    bare = tmp_path / "bare" / book.name
    bare.mkdir(parents=True)
    for name in ("clients.csv", "measured.csv"):
        (bare / name).write_text((book / name).read_text())
    told = run(
        bare, tmp_path, "promo", "--weeks", "2026-04-06..2026-04-27", "--today", "2026-03-02"
    )
    assert told.exit_code == 1
    assert "week (a Monday), crew, free_crew_days" in told.stderr
    ahead = run(bare, tmp_path, "forecast", "--today", "2026-03-02")
    assert ahead.exit_code == 0
    assert "nothing caps what is built" in ahead.stderr


def test_the_forecast_says_the_same_everywhere(book, tmp_path):
    words = ("forecast", "--until", "2026-06-30", "--today", "2026-03-02", "--calls-a-week", "20")
    told = run(book, tmp_path, *words, "--json")
    figures = json.loads(told.stdout)
    html = (tmp_path / "forecast.html").read_text(encoding="utf-8")
    assert figures["answer"] in told.stderr
    assert figures["answer"] in unescape(html)
    assert [row["month"] for row in figures["months"]] == [
        "2026-03",
        "2026-04",
        "2026-05",
        "2026-06",
    ]
    # Months and routes are parts of the whole
    total = figures["stages"][-1]["profit_cents"]
    assert sum(row["profit_cents"] for row in figures["months"]) == pytest.approx(total, abs=3)
    assert figures["routes"][0]["profit_cents"] == total
    shown = {int(text.replace(",", "")) for text in re.findall(r"\$([\d,]+)", html)}
    assert {round(row["profit_cents"] / 100) for row in figures["months"]} <= shown
    # Built never passes what is free
    assert all(row["built_high_days"] <= row["free_days"] + 1e-9 for row in figures["months"])


def test_what_is_on_record_stands_at_its_stage(book, tmp_path):
    played = tmp_path / "played"
    played.mkdir()
    for file in book.iterdir():
        if file.is_file() and file.suffix == ".csv":
            (played / file.name).write_text(file.read_text())
    said = [("C0", "quoted"), ("C1", "visit"), ("C2", "not reached"), ("C3", "no")]
    calls = [(client, "2026-03-01", outcome) for client, outcome in said]
    record(played, *calls, today=date(2026, 3, 2))
    figures = json.loads(
        run(played, tmp_path, "forecast", "--today", "2026-03-02", "--json").stdout
    )
    counts = {row["name"]: row["client_count"] for row in figures["stages"]}
    assert counts == {
        "quote open": 1,
        "visit agreed": 1,
        "tried in vain": 1,
        "not called yet": 2,
        "all": 5,
    }
    # The share of buyers is that of the three who are still to be called; quote and visit are no calls
    jobs = sum(
        row["jobs"]
        for row in figures["stages"]
        if row["name"] in ("tried in vain", "not called yet")
    )
    html = (tmp_path / "forecast.html").read_text(encoding="utf-8")
    assert f"about {round(100 * jobs / 3)} of 100 clients who are still to be called" in html
