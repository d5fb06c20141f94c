"""
What is sold, has its week and is not built: the jobs of a week, and their days.

A sale of which only the call is on record is a job too: the lead of the last list, under the name
of its first bed.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Any

import pandas as pd

from scanner.calls.dig_days import SOURCE, WorkDays, dig_days, last_day_to_cancel, latest_call
from scanner.schema.documents import Season
from scanner.units import DAYS_PER_WEEK

ONE_DAY = timedelta(days=1)

DAYS_TASK = "set up and clean up"
"""Task whose quantity is the days on a job."""
WAITING = "job_id client_id bed_ids finish sold_cents sold_on week day_count is_told"
"""Columns of a job that waits to be built."""


def list_to_build(season: Season) -> pd.DataFrame:
    """List what is sold and not built, by client: columns `WAITING`.

    ``week`` is blank where none is on record; ``is_told`` where the job itself is, with its estimate.
    """
    jobs = season.jobs[season.jobs["built_on"] == ""].assign(is_told=True)
    schedule = season.schedule.set_index(["client_id", "job_id"])["week"].to_dict()
    sold = season.calls[season.calls["outcome"] == "sold"].sort_values(["called_on", "entry_id"])
    last = sold.drop_duplicates("client_id", keep="last").set_index("client_id")
    lacking = last[~last.index.isin(season.jobs["client_id"])]
    tasks = season.job_tasks[season.job_tasks["task"] == DAYS_TASK].set_index("job_id")["quantity"]
    rows = [
        *(job | {"day_count": tasks.get(job["job_id"], 1.0)} for job in jobs.to_dict("records")),
        *_sales(lacking, season.listed),
    ]
    listed = [
        row | {"sold_on": last["called_on"].get(row["client_id"], ""),
               "week": schedule.get((row["client_id"], row["job_id"] if row["is_told"] else ""), "")}
        for row in rows
    ]  # fmt: skip
    table = pd.DataFrame(listed, columns=WAITING.split()).astype(
        {"day_count": int, "is_told": bool}
    )
    return table.sort_values(["client_id", "job_id"], ignore_index=True)


def _sales(sold: pd.DataFrame, listed: pd.DataFrame) -> Iterator[dict[Any, Any]]:
    """Take what the last list offered for what a sale on a call was about."""
    offered = listed.drop_duplicates("client_id").set_index("client_id").to_dict("index")
    for client_id, call in sold.to_dict("index").items():
        offer = offered.get(client_id)
        if offer is not None:
            bed_ids = call["bed_ids"] or offer["bed_ids"]
            yield {
                "job_id": bed_ids.split()[0], "client_id": client_id, "bed_ids": bed_ids, "finish": "", "is_told": False,
                "sold_cents": int(call["price_cents"] or offer["price_cents"]), "day_count": max(1, int(offer["crew_days"] + 0.5)),
            }  # fmt: skip


@dataclass(frozen=True)
class BuildDays:
    """On which days a job is built, what its ticket says, and what stands against them, in sentences."""

    days: tuple[date, ...]
    ticket: str  # its number; blank: none on record
    dig_from: date | None  # None: not known; without a ticket as after a call today
    dig_until: date | None
    # last day on which to call for a ticket; None: there is one, or nobody knows
    call_by: date | None
    cancel_until: date | None  # None: nobody knows when it was sold
    week: date | None  # Monday of its week; None: it has none
    against: tuple[str, ...] = ()
    is_held: bool = False  # whether the marks, and nothing else, keep it from an earlier day

    @property
    def ticket_words(self) -> str:
        """Say that a ticket is lacking, or that it sets the day; blank: neither.

        An order and a job's sheet that are printed days apart may have other days, and both say why.
        """
        if self.ticket:
            return f"ticket {self.ticket}: earliest {_short(self.dig_from)}" if self.is_held else ""
        if self.is_held:
            return f"no ticket yet: earliest {_short(self.dig_from)}, with a call to 811 today"
        return f"no ticket yet: call 811{f' by {_short(self.call_by)}' if self.call_by else ''}"

    @property
    def is_astray(self) -> bool:
        """Whether its days do not all lie in its week."""
        if self.week is None:
            return False
        end = self.week + DAYS_PER_WEEK * ONE_DAY
        return not self.week <= self.days[0] <= self.days[-1] < end


def plan_week(
    jobs: pd.DataFrame, tickets: pd.DataFrame, work: WorkDays,
    *, today: date, crew_count: int = 1, begin: Mapping[str, date] | None = None,
) -> dict[str, BuildDays]:  # fmt: skip
    """Plan the days of a week's jobs, by job: each on the first days that all allows and on which a crew is free.

    ``jobs``: rows of `list_to_build`; ``tickets``: table `TICKETS`; ``begin``: first day of a job where somebody set it.
    What may begin first comes first, then what takes fewer days. The days of a job follow each other, working days all.
    """
    free, plans = [date.min] * max(crew_count, 1), dict[str, BuildDays]()
    waiting = [(_earliest(job, tickets, work, today), job) for job in jobs.to_dict("records")]
    # Short ones first: more of them end in their week
    for earliest, job in sorted(
        waiting, key=lambda of: (of[0], of[1]["day_count"], of[1]["job_id"])
    ):
        crew = free.index(min(free))
        set_day = (begin or {}).get(job["job_id"])
        days = [set_day or work.on_or_after(max(earliest, free[crew]))]
        while len(days) < job["day_count"]:
            days.append(work.after(days[-1]))
        free[crew] = max(free[crew], days[-1] + ONE_DAY)
        plans[job["job_id"]] = _plan(job, tuple(days), tickets, work, today)
    return plans


def _earliest(job: dict[Any, Any], tickets: pd.DataFrame, work: WorkDays, today: date) -> date:
    """Give the first day on which a job may begin: of its week, by its ticket, after the right to cancel."""
    _, dig_from, _ = _ticket(job["client_id"], tickets, work, today)
    return max(filter(None, (_unmarked(job, today), dig_from)))


def _unmarked(job: dict[Any, Any], today: date) -> date:
    """Give the first day on which a job might begin if no line had to be marked."""
    cancel = _cancel_until(job)
    monday = date.fromisoformat(job["week"]) if job["week"] else today
    return max(filter(None, (monday, today, cancel + ONE_DAY if cancel else None)))


def _cancel_until(job: dict[Any, Any]) -> date | None:
    return last_day_to_cancel(date.fromisoformat(job["sold_on"])) if job["sold_on"] else None


def _plan(
    job: dict[Any, Any], days: tuple[date, ...], tickets: pd.DataFrame, work: WorkDays, today: date
) -> BuildDays:
    ticket, dig_from, dig_until = _ticket(job["client_id"], tickets, work, today)
    call_by = None if ticket else latest_call(days[0], work)
    week = date.fromisoformat(job["week"]) if job["week"] else None
    is_held = days[0] == dig_from and _unmarked(job, today) < dig_from
    plan = BuildDays(days, ticket, dig_from, dig_until, call_by, _cancel_until(job), week)
    return replace(plan, against=(*_against(plan, work.state, today),), is_held=is_held)


def _short(day: date | None) -> str:
    return f"{day:%a %b} {day.day}" if day else ""


def _ticket(
    client_id: str, tickets: pd.DataFrame, work: WorkDays, today: date
) -> tuple[str, date | None, date | None]:
    """Give the number of a client's latest ticket and its days, else those after a call today."""
    own = tickets[tickets["client_id"] == client_id].sort_values(["dig_from", "ticket"])
    if own.empty:
        return "", *(dig_days(today, work) or (None, None))
    last = own.iloc[-1]
    first, end = (date.fromisoformat(last[name]) for name in ("dig_from", "dig_until"))
    return str(last["ticket"]), first, end


def _against(plan: BuildDays, state: str, today: date) -> Iterator[str]:
    """Say what stands against the days of a plan."""
    first, last = plan.days[0], plan.days[-1]
    if not plan.ticket and plan.dig_from is None:
        where = (
            f"for {state} no locating rule is known"
            if state
            else "no state is set in local.toml, so no locating rule is known"
        )
        yield f"{where}: call 811, the number of the whole country, ask for the first and last day of digging, and record its ticket"
    elif plan.dig_from and first < plan.dig_from:
        what = f"ticket {plan.ticket}" if plan.ticket else "the locating law, with a call today,"
        yield f"{what} allows digging from {plan.dig_from} on, not on {first}"
    if plan.ticket and plan.dig_until and last > plan.dig_until:
        yield f"ticket {plan.ticket} runs out on {plan.dig_until}, before the last day, {last}: call 811 again"
    if plan.cancel_until and first <= plan.cancel_until:
        yield f"the sale may be canceled through {plan.cancel_until} ({SOURCE}): begin no earlier than the day after"
    if first < today:
        yield f"its first day, {first}, is over"
    if plan.is_astray:
        days = (
            f"its days, {first} to {last}, do not all lie"
            if first < last
            else f"its day, {first}, does not lie"
        )
        yield f"{days} in its week of {plan.week}"
