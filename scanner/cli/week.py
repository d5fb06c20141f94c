"""Call: ``week`` makes the page that a week is opened with."""

from __future__ import annotations

from datetime import date, timedelta

import pandas as pd

from scanner.book.capacity import read_capacity
from scanner.book.settings import read_rules
from scanner.calls.remarks import spoken
from scanner.calls.today import list_today
from scanner.calls.week_lines import list_week
from scanner.cli.calls import last_scan, list_callees
from scanner.cli.options import Asked, command
from scanner.cli.talk import counted, say, tell
from scanner.pages.publish import publish_files
from scanner.pages.week_page import SECTIONS, WEEK_COUNT, WeekTables, week_html, week_rows
from scanner.sheets.cells import json_value
from scanner.sheets.days import coming_monday
from scanner.sheets.problems import faults_of
from scanner.units import DAYS_PER_WEEK

PAGE = "week.html"


@command("out", "today", "json")
def week(asked: Asked) -> int:
    """Make the page that the week of BOOK is opened with, from its last scan and its log.

    On a weekend that is the week to come. Call-backs that are due with the last words said, visits, quotes open for longer than ten
    days, what is sold and not built, hours that are missing, free crew-days, the best new calls.
    Writes week.html.
    """
    book, today, season = asked.book, asked.today, asked.season
    clients, rates = list_callees(asked)
    listed, left_out = last_scan(asked)
    calls = list_today(listed, left_out, clients, rates=rates, today=today)
    to_call = calls[(calls["left_out"] == "") & (calls["offer_id"] != "")]
    lines, young = list_week(season, to_call, clients, rates=rates, today=today)
    capacity, problems = read_capacity(book)
    monday = coming_monday(today)
    noted = spoken(season.said, season.jobs).sort_values(["called_on", "entry_id"])
    is_open = (season.jobs["built_on"] == "") & season.jobs["client_id"].isin(clients["client_id"])
    open_jobs = season.jobs[is_open]
    hours = season.job_tasks.groupby("job_id")["estimated_hours"].sum()
    days = open_jobs["job_id"].map(hours).fillna(0.0) / rates.crew_day_hours
    weeks = open_jobs["job_id"].map(season.schedule.set_index("job_id")["week"].to_dict())
    tables = WeekTables(
        book=book.resolve().name, path=book.as_posix(), company=read_rules(book / "local.toml")[0].company.name,
        today=today, monday=monday, scanned_on=listed["scanned_on"].max() if len(listed) else "",
        lines=lines, clients=clients, listed=listed,
        said={call["client_id"]: (call["called_on"], call["note"]) for call in noted.to_dict("records")},
        free_days=_free_days(capacity, days.groupby(weeks).sum(), monday),
        sold_days=float(days.sum()),
        sold_count=len(open_jobs), young_quotes=young,
    )  # fmt: skip
    file = publish_files({PAGE: week_html(tables).encode()}, asked.folder)[0]
    tell(
        json_value({"week": monday.isoformat(), "lines": week_rows(tables)})
        if asked.as_json
        else str(file)
    )
    counts = [(int((lines["section"] == name).sum()), words) for name, _, _, words, *_ in SECTIONS]
    report = ", ".join(f"{number} {words[number != 1]}" for number, words in counts)
    say(f"Week of {monday}: {report}.")
    for problem in problems.itertuples():
        say(f"{problem.file}, {problem.feature}: {problem.problem}")
    if not len(lines):
        say(f"Nothing is on record and nobody is on the list of {counted(len(clients), 'client')}.")
    return len(faults_of(problems))


def _free_days(
    capacity: pd.DataFrame, sold: pd.Series[float], monday: date
) -> list[tuple[date, float, float]]:
    """Give of each week its Monday, the free crew-days and those sold for it; nothing where no free days are known."""
    free = capacity.groupby("week")["free_crew_days"].sum()
    mondays = [monday + timedelta(days=DAYS_PER_WEEK * number) for number in range(WEEK_COUNT)]
    names = [day.isoformat() for day in mondays]
    told = zip(mondays, free.reindex(names, fill_value=0.0), sold.reindex(names, fill_value=0.0), strict=True)  # fmt: skip
    return [*told] if len(free) else []
