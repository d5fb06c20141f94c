"""
Who is under way: a visit agreed, a quote open, a job sold and not built.

No call opens with an offer there: they follow the ranked list, each with the next step.
"""

from __future__ import annotations

from datetime import date

import pandas as pd

from scanner.calls.history import tell_last
from scanner.calls.next_steps import BUILT, job_lines, quote_lines
from scanner.calls.trials import OPEN, list_trials
from scanner.schema.documents import Season
from scanner.schema.plan_tables import QUOTE, SOLD, UNDER_WAY, VISIT
from scanner.schema.tables import check_table, empty_table
from scanner.sheets.days import short_day

VISITED, VISIT_DUE = "visited", "visit due"
STEPS = {
    VISIT: "Call; settle a day for the visit", VISIT_DUE: "Take wheel and price sheet along", VISITED: "Visited; write the quote",
}  # fmt: skip
"""The next step of a visit where the log names none."""

_WORDS = {
    VISIT: "visit agreed on {day}", VISIT_DUE: "visit agreed on {day}", VISITED: "visited on {day}, the quote is to be written",
    QUOTE: "quoted on {day}, open for {days} day{s}", SOLD: "sold on {day}, not built yet",
}  # fmt: skip


def last_talks(season: Season, today: date) -> pd.DataFrame:
    """Give the last talk of this year with each client, by client."""
    calls = season.calls[season.calls["called_on"] >= f"{today.year}"]
    talks = calls[calls["outcome"] != "not reached"].sort_values(["called_on", "entry_id"])
    return talks.groupby("client_id").last()


def find_stages(
    season: Season, clients: pd.DataFrame, quotes: pd.DataFrame, *, today: date
) -> pd.DataFrame:
    """Tell who is under way, by client: ``stage`` and since which ``day``.

    ``clients``: table `CLIENTS` with what the log says of each; ``quotes``: those of the trials.
    Whoever must not be called is under way where something is sold, not for a visit or a quote.
    """
    quoted = quotes[quotes["end"] == OPEN].set_index("client_id")["quoted_on"]
    talks = last_talks(season, today)
    is_barred = (clients[["do_not_call", "renter", "past_due"]] == "yes").any(axis=1)
    may_buy = set(clients.loc[~is_barred, "client_id"])
    open_jobs = {*season.jobs.loc[season.jobs["built_on"] == "", "client_id"]}
    sold = season.calls[season.calls["outcome"] == "sold"].groupby("client_id")["called_on"].max()
    # A sale with its job on record is that job: sold until it is built, then none
    new_sales = {*talks.index[talks["outcome"] == "sold"]} - {*season.jobs["client_id"]}
    stages = {
        **{name: (VISIT, day) for name, day in talks.loc[talks["outcome"] == "visit", "called_on"].items() if name in may_buy},
        **{name: (QUOTE, day.isoformat()) for name, day in quoted.items() if name in may_buy},
        **{name: (SOLD, sold.get(name, "")) for name in open_jobs | new_sales},
    }  # fmt: skip
    found = pd.DataFrame.from_dict(stages, "index", columns=["stage", "day"], dtype="str")
    return found[found.index.isin(clients["client_id"])]


def list_under_way(season: Season, clients: pd.DataFrame, *, today: date) -> pd.DataFrame:
    """List who is under way, as table `UNDER_WAY`: sold first, then quotes, then visits, longest first."""
    if season.calls.empty and season.jobs.empty:
        return empty_table(UNDER_WAY)
    trials = list_trials(season.calls, today=today).quotes
    stages = find_stages(season, clients, trials, today=today)
    if stages.empty:
        return empty_table(UNDER_WAY)
    rows = clients.merge(stages, left_on="client_id", right_index=True)
    made = season.visits.groupby("client_id")["visited_on"].max()
    visited_on = rows["client_id"].map(made).astype("str").fillna("")
    is_made = (rows["stage"] == VISIT) & (visited_on >= rows["day"])
    last = tell_last(rows, today)
    has_day = (rows["stage"] == VISIT) & (rows["due_on"] != "")
    step = rows["stage"].mask(has_day, VISIT_DUE).mask(is_made, VISITED)
    lines = {SOLD: job_lines(season, today), QUOTE: quote_lines(trials[trials["end"] == OPEN], season, today)}  # fmt: skip
    own = [
        [line for line in lines.get(stage, ()) if line.client_id == client_id and line.section != BUILT]
        for client_id, stage in zip(rows["client_id"], rows["stage"], strict=True)
    ]  # fmt: skip
    words = [
        "; ".join(filter(None, (_say(stage, day, today), *(line.about for line in of))))
        for stage, day, of in zip(step, rows["day"].mask(is_made, visited_on), own, strict=True)
    ]
    steps = step.map(STEPS).fillna(pd.Series(["; ".join(dict.fromkeys(line.next_step for line in of)) for of in own], rows.index, dtype="str"))  # fmt: skip
    told = pd.DataFrame({
        "client_id": rows["client_id"], "stage": rows["stage"], "day": rows["day"], "words": words,
        "last_contact": rows["last_contact"], **last,
        "due_action": last["due_action"].where(last["due_action"] != "", steps),
    })  # fmt: skip
    place = told["stage"].map({SOLD: 0, QUOTE: 1, VISIT: 2})
    ordered = told.assign(_place=place).sort_values(["_place", "day", "client_id"])
    return check_table(ordered[[*UNDER_WAY.columns]].reset_index(drop=True), UNDER_WAY)


def _say(stage: str, day: str, today: date) -> str:
    """Say where a client stands.

    >>> _say(QUOTE, "2027-03-04", date(2027, 3, 5)), _say(SOLD, "", date(2027, 3, 5))
    ('quoted on Mar 4, open for 1 day', 'sold, not built yet')
    """
    days = (today - date.fromisoformat(day)).days if day else 0
    words = _WORDS[stage].format(day=short_day(day, today), days=days, s="s" * (days != 1))
    words = words if day else words.replace(" on ", "", 1)
    return words if days else words.partition(", open")[0]
