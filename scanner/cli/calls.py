"""Call: ``calls`` lists whom to call today, promised call-backs first."""

from __future__ import annotations

from datetime import date
from textwrap import wrap
from typing import Any

import click
import pandas as pd

from scanner.book.settings import read_rates
from scanner.calls.history import DO_NOT_CALL, NOT_REACHED, add_history
from scanner.calls.law import COUNSEL, is_calling_time, word_relationships
from scanner.calls.log import read_last_scan
from scanner.calls.sales import SOLD, drop_sold
from scanner.calls.today import choose_calls, list_gone, list_offered, list_today
from scanner.calls.under_way import list_under_way
from scanner.cli.options import Asked, command, this_time
from scanner.cli.rows import print_rows
from scanner.cli.talk import counted, say
from scanner.schema.documents import RateBook
from scanner.schema.edge_kinds import ALONG
from scanner.schema.tables import LEFT_OUT
from scanner.sheets.cells import sheet_row
from scanner.sheets.description import Sheet
from scanner.sheets.lists import FILL_IN, STOP, plain
from scanner.units import CENTS_PER_USD, usd_said

TODAY = Sheet("Today", (
    *plain("place client_id name phone address route mow_day"), STOP, *plain("due_on to_do say offer bed_ids crew_days"),
    *plain("price_usd price_low_usd price_high_usd gross_profit_usd chance chance_low chance_high last_called_on"),
    *plain("last_outcome last_note reasons cautions relationship left_out"), *FILL_IN,
))  # fmt: skip


@command("today", "json")
@click.option("--route", metavar="NAME", help="Clients of this mowing route only.")
@click.option("--day", metavar="DAY", help="Clients who are mowed on this day only.")
@click.option("--kind", type=click.Choice(ALONG), help="Offers with a bed along this only.")
@click.option("--limit", type=click.IntRange(min=1), help="So many calls at most.")
@click.option("--due", "is_due_only", is_flag=True, help="Call-backs that are due only.")
@click.option("--all", "shows_all", is_flag=True, help="Those left out, too, and why.")
@click.option("--csv", "as_csv", is_flag=True, help="Print a list to be filled in and recorded.")
def calls(
    asked: Asked,
    route: str | None,
    day: str | None,
    kind: str | None,
    limit: int | None,
    is_due_only: bool,
    shows_all: bool,
    as_csv: bool,
) -> None:
    """List whom to call today for BOOK, from its last scan and its log.

    Call-backs that are due come first, longest due first, then the rest by rank. A
    table on a terminal, else csv, which can be filled in and recorded as it is.
    """
    today, season = asked.today, asked.season
    clients, rates = list_callees(asked)
    under_way = list_under_way(season, clients, today=today).set_index("client_id")["words"]
    clients = clients.assign(under_way=clients["client_id"].map(under_way).astype("str").fillna(""))
    listed, left = last_scan(asked)
    found = list_today(listed, left, clients, rates=rates, today=today)
    gone = list_gone(season.said, clients, rates=rates, today=today)
    chosen = choose_calls(found, route=route, day=day, kind=kind, is_due_only=is_due_only)
    to_call, left_out = chosen[chosen["left_out"] == ""], chosen[chosen["left_out"] != ""]
    shown = to_call.head(limit) if limit else to_call
    if shows_all:
        shown = pd.concat([shown, left_out, gone], ignore_index=True)
    words = dict(
        zip(clients["client_id"], word_relationships(clients, season, today=today), strict=True)
    )
    rows = [
        sheet_row(TODAY, call | {"place": call["place"] or None, "to_do": call["next_action"], "relationship": words.get(call["client_id"], "")})
        for call in shown.to_dict("records")
    ]  # fmt: skip
    print_rows(rows, TODAY, as_json=asked.as_json, as_csv=as_csv, on_screen=call_lines)
    _close(to_call, left_out, gone, (len(rows), today))


def list_callees(asked: Asked) -> tuple[pd.DataFrame, RateBook]:
    """Read the client list with what the log says of each, and the rate book."""
    rates = read_rates(asked.book / "rates.toml")[0]
    return add_history(asked.callees, asked.season, rates=rates), rates


def mind_sales(calls: pd.DataFrame, asked: Asked) -> None:
    """Say of whom a sale was told that a job of theirs is built already."""
    jobs = asked.season.jobs
    built = jobs[jobs["built_on"] != ""].groupby("client_id")["job_id"].agg(", ".join)
    for client_id in calls.loc[calls["outcome"] == SOLD, "client_id"].tolist():
        if client_id in built.index:
            say(f"{client_id} has {built[client_id]} built already: if this is the same sale, record BOOK undo takes it back.")  # fmt: skip


def tell_barred(calls: pd.DataFrame, asked: Asked) -> None:
    """Say who is left out for good, from now on or already."""
    is_barring = calls["outcome"] == DO_NOT_CALL
    for client_id in sorted(set(calls.loc[is_barring, "client_id"])):
        say(f"{client_id} asked not to be called: left out from now on, for good.")
    others = calls.loc[~is_barring, "client_id"]
    clients = asked.callees[asked.callees["client_id"].isin(others)]
    known = add_history(clients, asked.season, rates=read_rates(asked.book / "rates.toml")[0])
    for client_id in sorted(known.loc[known["do_not_call"] == "yes", "client_id"]):
        say(
            f"{client_id} is not to be called, by the client list or by an earlier call. What was said now is kept, and the "
            "client stays left out; if the client asked for it, take that back (undo, or the client list)."
        )


def last_scan(asked: Asked) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Give what the last scan offered and whom it left out; without a scan on record the book is scanned."""
    listed = asked.season.listed
    if len(listed):
        scanned_on = listed["scanned_on"].max()
        say(f"From the scan of {scanned_on}; what has changed in the book since is not in it.")
        return drop_sold(listed, asked.season.jobs), read_last_scan(asked.book, LEFT_OUT)
    from scanner.cli.keeping import scanned

    say("No scan is on record, so the book is scanned now.")
    with scanned(asked) as (_, _, found):
        listed = list_offered(found.calls, found.offers, found.beds, today=asked.today)
        return listed, found.left_out


def call_lines(row: dict[str, Any], width: int) -> list[str]:
    """Lay a call out in lines for a terminal: whom to call, what to say, what is next, what was said."""
    who = f"{row['name']} ({row['client_id']})" if row["name"] else row["client_id"]
    price = "" if row["price_usd"] is None else usd_said(int(row["price_usd"] * CENTS_PER_USD))
    stop = f"stop {row['stop']}" if row["stop"] else ""
    place = ", ".join(filter(None, (row["route"], row["mow_day"], stop)))
    due = f"due {row['due_on']}" if row["due_on"] else ""
    last = ", ".join(filter(None, (row["last_called_on"], row["last_outcome"])))
    head = f"{row['place'] or '':>3}  {who}"
    right = f"{row['phone'] or 'no phone'}  {price:>7}"
    lines = (
        "; ".join(filter(None, (row["address"], place))),
        row["left_out"] and f"Left out: {row['left_out']}",
        row["say"] or row["offer"],
        " ".join(filter(None, ("Next:" if due or row["to_do"] else "", due, row["to_do"]))),
        ": ".join(filter(None, ("Last" if last else "", last, row["last_note"]))),
    )
    wrapped = [part for line in lines for part in wrap(line, width - 5)]
    top = (
        [f"{head}{right:>{width - len(head)}}"]
        if len(head) + len(right) < width
        else [head, f"     {right}"]
    )
    return [*top, *(f"     {line}" for line in wrapped), ""]


def _close(
    to_call: pd.DataFrame, left_out: pd.DataFrame, gone: pd.DataFrame, report: tuple[int, date]
) -> None:
    shown_count, today = report
    is_due = to_call["due_on"] != ""
    tried_count = int((~is_due & to_call["last_outcome"].eq(NOT_REACHED)).sum())
    due_count, count = int(is_due.sum()), len(to_call)
    bare_count = int((left_out["offer_id"] == "").sum())
    bare = f", {bare_count:,} of them without an offer" if bare_count else ""
    say(
        f"{counted(count, 'client')} to call: {due_count:,} promised a call by now, {tried_count:,} not reached last time, "
        f"{count - due_count - tried_count:,} others; {counted(shown_count, 'row')} shown, {counted(len(left_out), 'client')} left out{bare}"
        " (--all lists them with the reason)."
    )
    if len(gone):
        ids = ", ".join(gone["client_id"])
        say(
            f"Promised a call and not in the client list any more: {ids}. What was said stays on record."
        )
    for sentence in COUNSEL:
        say(sentence)
    now = this_time()
    if now.date() == today and not is_calling_time(now.time()):
        say(f"It is {now:%H:%M} here, outside these hours.")
