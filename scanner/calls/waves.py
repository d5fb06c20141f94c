"""
Whom a promotion calls this week, a preview of the later waves, and what then stands in each week.

Sold jobs, open quotes, agreed visits, letters that are out and clients tried before fill the weeks
first; then new clients are taken from the top of the list while every span of weeks holds, and
last, where it is asked for, those are written to whom no call of a useful week reaches.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import numpy as np
import numpy.typing as npt
import pandas as pd

from scanner.calls.chance import Floats, Stages
from scanner.calls.forecast import Delays, Forecast, follow_ups
from scanner.calls.outlooks import Weeks
from scanner.calls.promotion import Orders, Promises, list_spans, list_springs, promised_by
from scanner.calls.totals import RANGE_SHARES, Prospects
from scanner.calls.trials import TRIES
from scanner.errors import BookError
from scanner.schema.documents import RateBook
from scanner.schema.plan_tables import CALL, LETTER, NEW, SOLD, TRIED, WAVES, WEEKS, Promotion
from scanner.schema.tables import check_table
from scanner.units import DAYS_PER_WEEK

HALF = 0.5
"""A wave is useful while so much of what it sells may start in time."""

WAITING = -1

MOST_WEEKS = 200
"""Longer than any delay that the rate book allows."""


def plan_promotion(
    leads: pd.DataFrame, stages: Stages, weeks: Weeks, free_days: Floats, *, rates: RateBook, is_near: bool = False
) -> Promotion:  # fmt: skip
    """Work out whom to call or write to this week so that what they order fits.

    Waves and weeks. ``leads``: table `LEADS`: what is under way, and the list in the order in which
    it is called; letters without a day may be sent. ``is_near``: whole routes first among the next
    clients of each wave. `BookError`: if no week has a free day, or more than half of what is sold
    now would start too late.
    """
    delays = Delays.of(stages, rates)
    is_letter = ((leads["stage"] == LETTER) & leads["day"].isna()).to_numpy()
    is_new = (leads["stage"] == NEW).to_numpy() | is_letter

    def forecast(days: npt.ArrayLike) -> Forecast:
        """Take new clients as asked on these days, and the others as they stand."""
        own = leads["day"].where(~is_new, days)
        return Forecast(
            leads.assign(day=own), stages, delays, today=weeks.day(weeks.today),
            calls_a_week=calls_a_week, week_count=weeks.count,
        )  # fmt: skip

    starts, calls_a_week = useful_starts(delays, weeks, free_days), rates.calls_a_week.value
    ahead = forecast(np.inf)
    promises, orders = _promises(free_days, rates), _orders(ahead)
    missing = _fill_with_what_stands(promises, orders, ahead)
    too_much_now = max((work.too_much_chance for work in promises.work), default=0.0)
    near = ahead.expected(np.ones((1, len(leads))))[0] if is_near else None
    wave, limit = _choose_waves(
        promises, orders, ahead, starts, calls_a_week=calls_a_week, near=near
    )
    comes = weeks.day(weeks.today) + rates.post_days.value
    ready = _ready_of_letters(delays, weeks, comes)
    if is_in_time := ready.sum() >= HALF:
        orders.ready[is_letter] = ready
        wave[promises.choose(orders, np.flatnonzero(is_letter).tolist())] = 0
    days = np.where(wave < 0, np.inf, np.where(is_letter, comes, wave * float(DAYS_PER_WEEK)))
    called = forecast(days)
    shares = np.stack([called.ready_by_week().sum(axis=1), np.isfinite(called.leads["day"])])
    expected, everything = called.expected(shares, gain="crew_days")
    clients = leads.assign(wave=wave, by=np.where(is_letter, LETTER, CALL), expected_days=expected)[
        is_new
    ]
    return Promotion(
        check_table(clients[[*WAVES.columns]].reset_index(drop=True), WAVES),
        _weeks(called, weeks, free_days, promises),
        int((leads["stage"] == TRIED).sum()), too_much_now,
        float((everything - expected)[(leads["stage"] != SOLD).to_numpy()].sum()),
        missing, limit, bool(not is_in_time and is_letter.any()),
    )  # fmt: skip


def useful_starts(delays: Delays, weeks: Weeks, free_days: Floats) -> list[Floats]:
    """Tell for calls of each useful week in which weeks the work of their sales may start."""
    if not free_days.sum():
        message = f"no week until that of {weeks.mondays[-1]} has a free crew-day in capacity.csv"
        raise BookError(message)
    starts = list[Floats]()
    for week in range(weeks.count):
        ends = DAYS_PER_WEEK * np.arange(1 - week, weeks.count + 1 - week) - delays.start_days
        ready = np.diff(delays.sold(ends, 0), prepend=0.0)
        if ready.sum() < HALF:
            break
        starts.append(ready)
    if not starts:
        needed = next(
            n
            for n in range(1, MOST_WEEKS)
            if delays.sold(n * DAYS_PER_WEEK - delays.start_days, 0) >= HALF
        )
        first = weeks.monday + timedelta(days=DAYS_PER_WEEK * (needed - 1))
        message = (
            f"too late to call for the weeks until {weeks.mondays[-1]}: more than half of what is sold now would start "
            f"after them; name weeks that end with that of {first} or later"
        )
        raise BookError(message)
    return starts


def _promises(free_days: Floats, rates: RateBook) -> Promises:
    promise_weeks = round(rates.promise_weeks.value)
    return Promises(
        list_spans(free_days, promise_weeks), promised_by(free_days, promise_weeks),
        overbook_chance=rates.overbook_chance.value,
    )  # fmt: skip


def _ready_of_letters(delays: Delays, weeks: Weeks, comes: float) -> Floats:
    """Tell in which weeks the work of their sales may start, of letters that come on this day."""
    ends = DAYS_PER_WEEK * np.arange(1, weeks.count + 1) - delays.start_days - comes
    ready: Floats = np.diff(delays.written(ends), prepend=0.0)
    return ready


def _orders(ahead: Forecast) -> Orders:
    leads = ahead.leads
    lead, upgrade = list_springs(ahead.stages, _unsold(ahead))
    days = leads["crew_days"].to_numpy(float)
    more = leads["upgrade_crew_days"].to_numpy(float)
    # A quote stands as it is: nothing is added to it
    is_same = (more == days) | ahead.is_quote
    return Orders(lead, np.where(is_same, 0.0, upgrade), days, more, ahead.ready_by_week())


def _unsold(ahead: Forecast) -> Prospects:
    """Leads whose chance counts; a job that is sold adds nothing to what is uncertain."""
    prospects = ahead.prospects("crew_days")
    is_sold = (ahead.leads["stage"] == SOLD).to_numpy()
    return replace(prospects, factor=np.where(is_sold, 0.0, prospects.factor))


def _fill_with_what_stands(promises: Promises, orders: Orders, ahead: Forecast) -> float:
    """Add what is sold, quoted, agreed and tried; gives the crew-days sold that do not fit."""
    stage, week_count = ahead.leads["stage"].to_numpy(), orders.ready.shape[1]
    for client in np.flatnonzero(stage == SOLD):
        week = int(max(0.0, ahead.leads["day"].iloc[client]) // DAYS_PER_WEEK)
        if week < week_count:
            promises.add_sold(float(orders.lead_days[client]), week)
    missing = max((float(work.mean.mean()) - work.free_days for work in promises.work), default=0.0)
    is_open = ~np.isin(stage, [SOLD, NEW]) & np.isfinite(ahead.leads["day"].to_numpy(float))
    for client in np.flatnonzero(is_open):
        promises.add(orders, int(client))
    return max(0.0, missing)


def _choose_waves(
    promises: Promises, orders: Orders, ahead: Forecast, starts: list[Floats], *, calls_a_week: float,
    near: Floats | None,
) -> tuple[npt.NDArray[np.int64], str]:  # fmt: skip
    """Take new clients week by week, tries again first; gives each client's week, or `WAITING`, and what ends the first."""
    stage, tried = ahead.leads["stage"].to_numpy(), ahead.leads["tried_count"].to_numpy(int)
    chain = follow_ups(ahead.delays.miss)
    due = np.zeros(len(starts) + TRIES)
    for client in np.flatnonzero((stage == TRIED) & np.isfinite(ahead.leads["day"])):
        week = int(ahead.leads["day"].iloc[client] // DAYS_PER_WEEK)
        if week < len(starts):
            due[week] += 1.0
            due[week + 1 : week + TRIES] += chain[min(tried[client], TRIES - 1)]
    wave, limit = np.full(len(stage), WAITING), ""
    queue, done, room = np.flatnonzero(stage == NEW).tolist(), 0, 0.0
    for week, ready in enumerate(starts):
        # Half a client stays over from week to week, as the sum of what there is room for has it
        room += max(0.0, calls_a_week - due[week])
        orders.ready[queue] = ready
        count = int(room + HALF) - done
        if near is not None:
            queue = _by_route(queue, ahead.leads["route"].tolist(), near, 2 * count)
        chosen = promises.choose(orders, queue[:count])
        wave[chosen] = week
        limit = limit or (
            "list" if len(chosen) == len(queue) else "calls" if len(chosen) == count else "chance"
        )
        queue = queue[len(chosen) :]
        due[week + 1 : week + TRIES] += chain[0] * len(chosen)
        done += len(chosen)
        room = min(room, float(done) + HALF)
    return wave, limit


def _by_route(queue: list[int], routes: list[str], profit: Floats, count: int) -> list[int]:
    """Put whole routes first among the next so many clients, by the profit to expect there.

    >>> _by_route([0, 1, 2, 3, 4], ["N", "S", "N", "S", "S"], np.array([5.0, 4.0, 3.0, 6.0, 9.0]), 4)
    [1, 3, 0, 2, 4]
    """
    of_route: dict[str, float] = {}
    for client in queue[:count]:
        of_route[routes[client]] = of_route.get(routes[client], 0.0) + float(profit[client])
    near = sorted(
        queue[:count], key=lambda client: (-of_route[routes[client]], routes[client] or "~")
    )
    return near + queue[count:]


def _weeks(called: Forecast, weeks: Weeks, free_days: Floats, promises: Promises) -> pd.DataFrame:
    shares = called.ready_by_week().cumsum(axis=1).T
    outlook = called.outlook(shares, gain="crew_days")
    low, high = outlook.quantiles(RANGE_SHARES)
    chances = [(span.first, span.last, work.too_much_chance)
               for span, work in zip(promises.spans, promises.work, strict=True)]  # fmt: skip
    table = pd.DataFrame({
        "week": [monday.isoformat() for monday in weeks.mondays],
        "free_days": free_days,
        "free_so_far_days": np.cumsum(free_days),
        "sold_days": outlook.sold,
        "likely_days": outlook.mean,
        "low_days": low,
        "high_days": high,
        "too_much_chance": [
            max((chance for first, last, chance in chances if first <= week <= last), default=0.0)
            for week in range(weeks.count)
        ],
    })  # fmt: skip
    return check_table(table, WEEKS)
