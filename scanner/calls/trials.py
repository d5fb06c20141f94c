"""
What the calls on record came to, stage by stage: tries, talks and quotes.

A try is a call; a talk is what a client said in one calendar year; a quote begins with
*quoted*, or with a sale that had none, and ends sold or lost, at the latest after 60 days.
Kinds and signs rest on client-seasons: one client in one calendar year, however many calls it took, sold or not;
while more is to come it is pending and counts nowhere.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import groupby
from operator import itemgetter

import numpy as np
import numpy.typing as npt
import pandas as pd

from scanner.schema.edge_kinds import ALONG
from scanner.schema.log_tables import CALL_LOG
from scanner.schema.tables import check_table

TRIES = 3
"""A client is tried three times; a later try counts as a third."""

QUOTE_DAYS = 60
"""A quote that nobody answered for so many days is lost (our rule, no source)."""

SOLD, LOST, OPEN = "sold", "lost", "open"

AGREED = frozenset({"visit", "quoted", "sold"})
REFUSED = frozenset({"not now", "no", "do not call"})

QUOTE_COLUMNS = ("client_id", "quoted_on", "end", "open_days", "price_cents")


@dataclass(frozen=True)
class Trials:
    """What happened at each stage."""

    # first tries, second and later ones that reached somebody, and that did not
    reached_counts: npt.NDArray[np.int64]
    missed_counts: npt.NDArray[np.int64]
    # client-years that agreed to a visit, and that refused
    agreed_count: int
    refused_count: int
    # columns `QUOTE_COLUMNS`, one row a quote: `end` is sold, lost or open; no price told: 0
    quotes: pd.DataFrame
    # by client, tries this year that reached nobody, where nobody was reached yet
    tried_counts: pd.Series[int]
    called_back: frozenset[str] = frozenset()  # clients whose last word this year is to call again


def list_trials(calls: pd.DataFrame, *, today: date) -> Trials:
    """Sort what is on record, nothing of it after ``today``, into trials of each stage: tries, talks, quotes."""
    calls = check_table(calls, CALL_LOG)
    if calls.empty:
        return NO_TRIALS
    calls = calls.assign(year=calls["called_on"].str.slice(0, 4))
    calls = calls.sort_values(["client_id", "called_on", "entry_id"], ignore_index=True)
    season = [calls["client_id"], calls["year"]]
    is_reached = calls["outcome"] != "not reached"
    place = np.minimum(calls.groupby(season, sort=False).cumcount(), TRIES - 1)
    reached_so_far = is_reached.groupby(season, sort=False).cumsum()
    is_trial = (reached_so_far == 0) | (is_reached & (reached_so_far == 1))
    agreed = calls["outcome"].isin(AGREED).groupby(season, sort=False).any()
    refused = calls["outcome"].isin(REFUSED).groupby(season, sort=False).any()
    return Trials(
        np.bincount(place[is_trial & is_reached], minlength=TRIES),
        np.bincount(place[is_trial & ~is_reached], minlength=TRIES),
        int(agreed.sum()),
        int((refused & ~agreed).sum()),
        _list_quotes(calls, today),
        _count_tries(calls[calls["year"] == str(today.year)], is_reached),
        _called_back(calls[is_reached & (calls["year"] == str(today.year))]),
    )


_NONE = np.zeros(TRIES, dtype=np.int64)
NO_TRIALS = Trials(
    _NONE, _NONE, 0, 0, pd.DataFrame(columns=[*QUOTE_COLUMNS]), pd.Series(dtype="int64")
)
"""Of a log without a call."""


def keep_listed_prices(
    calls: pd.DataFrame, on_record: pd.DataFrame, listed: pd.DataFrame
) -> pd.DataFrame:
    """Let a quote that came without a price keep the one on the list, and so a sale without a quote before it.

    The next list may have another, and what was quoted stays what it was. ``calls`` are about to be
    recorded; what stands on record already is let be. ``listed``: table `LISTED`.
    """
    key = ["client_id", "called_on", "outcome"]
    known = {*on_record[key].itertuples(index=False, name=None)}
    quoted_on = defaultdict[str, list[str]](list)
    for client_id, day, outcome in (*known, *calls[key].itertuples(index=False, name=None)):
        if outcome == "quoted":
            quoted_on[client_id].append(day)

    def begins(client_id: str, called_on: str, outcome: str) -> bool:
        since = (date.fromisoformat(called_on) - timedelta(days=QUOTE_DAYS)).isoformat()
        return outcome == "quoted" or (
            outcome == SOLD and not any(since <= day <= called_on for day in quoted_on[client_id])
        )  # fmt: skip

    told = calls[key].itertuples(index=False, name=None)
    takes = calls["price_cents"].eq(0) & pd.Series(
        [one not in known and begins(*one) for one in told], index=calls.index, dtype=bool
    )
    of_list = calls["client_id"].map(listed.set_index("client_id")["price_cents"]).fillna(0)
    return calls.assign(price_cents=calls["price_cents"].mask(takes, of_list).astype("int64"))


def _count_tries(calls: pd.DataFrame, is_reached: pd.Series[bool]) -> pd.Series[int]:
    """Count this year's tries of each client who was not reached yet."""
    of_client = is_reached[calls.index].groupby(calls["client_id"])
    counts = of_client.size()[~of_client.any()]
    return counts.astype("int64")


def _called_back(talks: pd.DataFrame) -> frozenset[str]:
    last = talks.drop_duplicates("client_id", keep="last")
    return frozenset(last.loc[last["outcome"] == "call back", "client_id"])


def _list_quotes(calls: pd.DataFrame, today: date) -> pd.DataFrame:
    rows = list[tuple[str, date, str, int, int]]()
    decided = calls[calls["outcome"].isin({"quoted", *AGREED, *REFUSED} - {"visit"})]
    told = decided[["client_id", "called_on", "outcome", "price_cents"]].itertuples(index=False)
    for client_id, own in groupby(told, itemgetter(0)):
        said = [(date.fromisoformat(day), outcome, cents) for _, day, outcome, cents in own]
        rows += [(client_id, *quote) for quote in _quotes_of(said, today)]
    return pd.DataFrame(rows, columns=[*QUOTE_COLUMNS])


def _quotes_of(told: list[tuple[date, str, int]], today: date) -> list[tuple[date, str, int, int]]:
    """Follow one client's quotes; one made again while it is open is the same quote, at its new price."""
    rows = list[tuple[date, str, int, int]]()
    since: date | None = None
    price_cents = 0
    for day, outcome, told_cents in told:
        if since and (day - since).days > QUOTE_DAYS:
            rows.append((since, LOST, QUOTE_DAYS, price_cents))
            since, price_cents = None, 0
        price_cents = told_cents or price_cents
        if outcome == "quoted":
            since = since or day
            continue
        if since or outcome == SOLD:
            begun, end = since or day, SOLD if outcome == SOLD else LOST
            rows.append((begun, end, (day - begun).days, price_cents))
        since, price_cents = None, 0
    if since:
        open_days = (today - since).days
        end = OPEN if open_days <= QUOTE_DAYS else LOST
        rows.append((since, end, min(open_days, QUOTE_DAYS), price_cents))
    return rows


PENDING_DAYS = QUOTE_DAYS
"""What was begun is pending for as long."""

PENDING, NOT_SOLD = "pending", "not sold"
SEASON_COLUMNS = ("client_id", "year", "end", "along", "first_on", "last_on")


def list_seasons(calls: pd.DataFrame, *, today: date) -> pd.DataFrame:
    """Sum up the calls to each client in each year, none of them after ``today``.

    Columns `SEASON_COLUMNS`, one row a client and year: ``end`` is sold, pending or not sold;
    ``along`` is what the lead bed of the first offer runs along, blank where no call names a bed;
    ``first_on`` and ``last_on`` are ISO days.

    A sale settles the season. Else the last call that reached somebody decides: a quote is
    pending for `PENDING_DAYS`, a call back and an agreed visit until the year is out, and
    `PENDING_DAYS` at the least.
    """
    calls = check_table(calls, CALL_LOG)
    ordered = calls.assign(year=calls["called_on"].str.slice(0, 4)).sort_values(
        ["client_id", "called_on", "entry_id"], kind="stable"
    )
    rows = [
        (client_id, int(str(year)), _end(own, today), _along(own),
         own["called_on"].iloc[0], own["called_on"].iloc[-1])
        for (client_id, year), own in ordered.groupby(["client_id", "year"], sort=True)
    ]  # fmt: skip
    return pd.DataFrame(rows, columns=[*SEASON_COLUMNS])


def lead_along(bed_ids: str) -> str:
    """Tell by its name what the first of some beds, joined by blanks, runs along; blank where it does not say."""
    lead = bed_ids.split(" ", maxsplit=1)[0]
    words = [word for word in lead.split("-") if word in ALONG]
    return words[-1] if words else ""


def along_of(bed_ids: str) -> str:
    """Tell what each of some beds runs along, from their names, each once and sorted.

    >>> along_of("C7-house-1 C7-curb-2 C7-curb-1")
    'curb house'
    """
    return " ".join(sorted({lead_along(bed_id) for bed_id in bed_ids.split()}))


def _end(calls: pd.DataFrame, today: date) -> str:
    if calls["outcome"].eq(SOLD).any():
        return SOLD
    talks = calls[calls["outcome"] != "not reached"]
    if talks.empty:
        return NOT_SOLD
    last = talks.iloc[-1]
    is_open = today < _decided_on(last["outcome"], date.fromisoformat(last["called_on"]))
    return PENDING if is_open else NOT_SOLD


def _decided_on(outcome: str, called_on: date) -> date:
    """Give the first day on which an outcome is no longer pending."""
    patience = called_on + timedelta(days=PENDING_DAYS)
    if outcome == "quoted":
        return patience
    if outcome in ("call back", "visit"):
        return max(patience, date(called_on.year + 1, 1, 1))
    return called_on


def _along(calls: pd.DataFrame) -> str:
    return next((along for along in map(lead_along, calls["bed_ids"]) if along), "")


def beds_said(bed_ids: str) -> str:
    """Say what some beds are, from their names.

    >>> beds_said("C7-curb-1 C7-house-1 C7-curb-2"), beds_said("J-12")
    ('2 curb beds, house bed', 'bed')
    """
    counts = Counter(map(lead_along, bed_ids.split()))
    return ", ".join(
        f"{count} {along} beds" if count > 1 else f"{along} bed".strip()
        for along, count in counts.items()
    )
