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
from operator import attrgetter, itemgetter
from typing import NamedTuple

import numpy as np
import numpy.typing as npt
import pandas as pd

from scanner.schema.edge_kinds import ALONG

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


class _Call(NamedTuple):
    client_id: str
    called_on: str
    entry_id: int
    outcome: str
    price_cents: int
    bed_ids: str

    @property
    def season(self) -> tuple[str, str]:
        return self.client_id, self.called_on[:4]


def _in_order(calls: pd.DataFrame) -> list[_Call]:
    told = map(_Call, *(calls[name].tolist() for name in _Call._fields))
    return sorted(told, key=itemgetter(0, 1, 2))


def list_trials(calls: pd.DataFrame, *, today: date) -> Trials:
    """Sort what is on record, nothing of it after ``today``, into trials of each stage: tries, talks, quotes."""
    told = _in_order(calls)
    reached, missed = np.zeros((2, TRIES), dtype=np.int64)
    agreed_count = refused_count = 0
    tried, called_back = dict[str, int](), set[str]()
    for (client_id, year), own in groupby(told, attrgetter("season")):
        outcomes = [call.outcome for call in own]
        talks = [outcome for outcome in outcomes if outcome != "not reached"]
        first = outcomes.index(talks[0]) if talks else len(outcomes)
        np.add.at(missed, np.minimum(np.arange(first), TRIES - 1), 1)
        reached[min(first, TRIES - 1)] += bool(talks)
        is_agreed = not AGREED.isdisjoint(talks)
        agreed_count += is_agreed
        refused_count += not is_agreed and not REFUSED.isdisjoint(talks)
        if year == str(today.year):
            tried |= {} if talks else {client_id: len(outcomes)}
            called_back |= {client_id} if talks[-1:] == ["call back"] else set()
    return Trials(
        reached, missed, agreed_count, refused_count, _list_quotes(told, today),
        pd.Series(tried, dtype="int64"), frozenset(called_back),
    )  # fmt: skip


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


def _list_quotes(told: list[_Call], today: date) -> pd.DataFrame:
    rows = list[tuple[str, date, str, int, int]]()
    decided = [call for call in told if call.outcome in (AGREED | REFUSED) - {"visit"}]
    for client_id, own in groupby(decided, itemgetter(0)):
        said = [
            (date.fromisoformat(call.called_on), call.outcome, call.price_cents) for call in own
        ]
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
    rows = list[tuple[str, int, str, str, str, str]]()
    for (client_id, year), calls_of in groupby(_in_order(calls), attrgetter("season")):
        own = [*calls_of]
        along = next(filter(None, (lead_along(call.bed_ids) for call in own)), "")
        days = own[0].called_on, own[-1].called_on
        rows.append((client_id, int(year), _end(own, today), along, *days))
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


def _end(calls: list[_Call], today: date) -> str:
    if any(call.outcome == SOLD for call in calls):
        return SOLD
    talks = [call for call in calls if call.outcome != "not reached"]
    decided_on = [_decided_on(call.outcome, date.fromisoformat(call.called_on)) for call in talks]
    return PENDING if decided_on and today < decided_on[-1] else NOT_SOLD


def _decided_on(outcome: str, called_on: date) -> date:
    """Give the first day on which an outcome is no longer pending."""
    patience = called_on + timedelta(days=PENDING_DAYS)
    if outcome == "quoted":
        return patience
    if outcome in ("call back", "visit"):
        return max(patience, date(called_on.year + 1, 1, 1))
    return called_on


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
