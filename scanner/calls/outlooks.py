"""A forecast in tables: where it stands, by month and by route, and what of it can be built."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
import pandas as pd

from scanner.calls.chance import Floats
from scanner.calls.forecast import PATH_SHARES, Forecast, Outlook, follow_work
from scanner.calls.totals import RANGE_SHARES, rounded_outward
from scanner.schema.plan_tables import MONTHS, OUTLOOKS, SOLD, STAGES
from scanner.schema.tables import check_table
from scanner.sheets.days import monday_of
from scanner.units import DAYS_PER_WEEK

ALL = "all"


@dataclass(frozen=True)
class Weeks:
    """The weeks that are looked at."""

    today: date  # day of the forecast
    until: date  # its last day

    @property
    def monday(self) -> date:
        """Monday of the first week."""
        return monday_of(self.today)

    @property
    def count(self) -> int:
        """Count the weeks, the last one whole."""
        return (self.until - self.monday).days // DAYS_PER_WEEK + 1

    @property
    def mondays(self) -> list[date]:
        """List them by name."""
        return [self.monday + timedelta(days=DAYS_PER_WEEK * week) for week in range(self.count)]

    def months(self) -> list[tuple[date, date]]:
        """List the months in part or whole, as first day and the day after the last."""
        months, first = list[tuple[date, date]](), self.today
        while first <= self.until:
            turn = (first.replace(day=1) + timedelta(days=32)).replace(day=1)
            after = min(turn, self.until + timedelta(days=1))
            months.append((first, after))
            first = after
        return months

    def day(self, day: date) -> int:
        """Count a day from the first Monday."""
        return (day - self.monday).days


def free_by_week(capacity: pd.DataFrame, weeks: Weeks) -> Floats:
    """Add up the free crew-days of each week; a week that is not on file has none."""
    by_week = capacity.groupby("week")["free_crew_days"].sum()
    return np.array([float(by_week.get(monday.isoformat(), 0.0)) for monday in weeks.mondays])


def free_and_on(capacity: pd.DataFrame, weeks: Weeks) -> Floats:
    """Add up the same, their mean going on after the last week on file; infinite where no week is."""
    if capacity.empty:
        return np.full(weeks.count, np.inf)
    is_after = np.array([monday.isoformat() > capacity["week"].max() for monday in weeks.mondays])
    mean = capacity.groupby("week")["free_crew_days"].sum().mean()
    return np.where(is_after, mean, free_by_week(capacity, weeks))


def list_outlooks(forecast: Forecast, weeks: Weeks, *, by: str) -> pd.DataFrame:
    """Tell what is sold until the end by ``stage`` or ``route``, the last row being all: table `OUTLOOKS`."""
    leads, shares = forecast.leads, forecast.shares([weeks.day(weeks.until) + 1])
    names = STAGES if by == "stage" else sorted(set(leads["route"]))
    groups = [(name, (leads[by] == name).to_numpy()) for name in names]
    rows = [
        _sum_up(forecast, shares, rows, name) for name, rows in groups if rows.any()
    ] + [_sum_up(forecast, shares, np.ones(len(leads), bool), ALL)]  # fmt: skip
    return check_table(pd.DataFrame(rows), OUTLOOKS)


def _sum_up(forecast: Forecast, shares: Floats, rows: np.ndarray, name: str) -> dict[str, object]:
    profit = forecast.outlook(shares, rows=rows)
    means = forecast.expected(shares)[0]
    by_stage = {
        f"{stage.replace(' ', '_')}_cents": round(means[rows & (forecast.leads["stage"] == stage)].sum())
        for stage in STAGES
    }  # fmt: skip
    return {
        "name": name,
        "client_count": int(rows.sum()),
        "jobs": forecast.outlook(shares, gain="jobs", rows=rows).mean[0],
        **_range(profit, 0),
        "nothing_chance": 0.0 if name == SOLD else profit.spread.nothing[0],
        **by_stage,
    }


def _range(profit: Outlook, period: int) -> dict[str, int]:
    mean = round(profit.mean[period])
    low, high = rounded_outward(*profit.quantiles(RANGE_SHARES)[:, period])
    # What is sold has no range
    low, high = (low, high) if profit.spread.mean[period] > 0 else (mean, mean)
    return {"profit_cents": mean, "profit_low_cents": low, "profit_high_cents": high}


def list_months(forecast: Forecast, weeks: Weeks, free_days: Floats) -> pd.DataFrame:
    """Tell what is sold in each month, and what is built through its end.

    Table `MONTHS`. Built is told at the end of the last week that begins in the month, along 99
    quantiles of the work that is ready, of which no week builds more than its free days.
    """
    months = weeks.months()
    ends = [weeks.day(first) for first, _ in months] + [weeks.day(months[-1][1])]
    stands = forecast.shares(ends)
    profit = forecast.outlook(np.diff(stands, axis=0))
    week_ends = DAYS_PER_WEEK * np.arange(1, weeks.count + 1)
    ready_shares = forecast.shares(week_ends, is_ready=True)
    ready = forecast.outlook(ready_shares, gain="crew_days")
    paths = np.maximum.accumulate(ready.quantiles(PATH_SHARES), axis=1)
    built = follow_work(paths, free_days)
    low, high = np.quantile(built, RANGE_SHARES, axis=0)
    free = np.cumsum(free_days)
    ready_profit = forecast.outlook(ready_shares).quantiles(PATH_SHARES)
    part = np.divide(built, paths, out=np.ones_like(built), where=paths > 0)
    built_profit = (ready_profit * part).mean(axis=0)
    rows = []
    for place, (first, after) in enumerate(months):
        last = (weeks.day(after) - 1) // DAYS_PER_WEEK
        rows.append({
            "month": first.isoformat()[:7],
            **_range(profit, place),
            "nothing_chance": profit.spread.nothing[place],
            "built_days": built[:, last].mean(),
            "built_low_days": low[last],
            "built_high_days": high[last],
            "free_days": free[last],
            "waiting_days": (paths[:, last] - built[:, last]).mean(),
            "built_profit_cents": round(built_profit[last]),
        })  # fmt: skip
    return check_table(pd.DataFrame(rows), MONTHS)


def sold_cents(forecast: Forecast) -> int:
    """Gross profit of what is sold and waits to be built [cents]."""
    leads = forecast.leads
    return int(leads.loc[leads["stage"] == SOLD, "profit_cents"].sum())
