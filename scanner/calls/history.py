"""
What the log says of each client: the last call, how long they rest, when they are due again.

A "do not call" holds for good. Otherwise the last talk decides: a day named in it, else
the rest that the rate book gives its outcome. A try that reached nobody adds its own
short rest and takes nothing back.
"""

from __future__ import annotations

from datetime import date, timedelta
from itertools import groupby, takewhile
from operator import itemgetter
from typing import Any

import pandas as pd

from scanner.calls.post import WANTS_VISIT, asked_letters, open_letters
from scanner.calls.texts import join_texts, say_each
from scanner.schema.documents import RateBook, Season
from scanner.schema.log_tables import NOTE, NOTED
from scanner.sheets.days import short_day
from scanner.sheets.problems import list_problems, note

NOT_REACHED, CALL_BACK, DO_NOT_CALL = "not reached", "call back", "do not call"

_NO_TALKS = (NOT_REACHED, NOTE)

HISTORY_COLUMNS = (
    "client_id", "last_called_on", "last_outcome", "last_note", "next_action", "free_on", "due_on", "is_barred",
)  # fmt: skip
REMEMBERED = {
    "last_outcome": "last_outcome", "last_note": "last_note", "due_action": "next_action", "due_date": "due_on",
}  # fmt: skip
"""What a caller wants to know, by the column of the clients' history in which it stands."""

HISTORY_FILE = "book.sqlite"


def tell_history(said: pd.DataFrame, *, rates: RateBook) -> pd.DataFrame:
    """Tell of each client on record how the last call ended and when the next may be, by table `SAID`.

    Columns `HISTORY_COLUMNS`, one row a client, by id. ``last_note``: what was said in the last talk
    and the tries and notes since, newest first, else the newest note before. ``free_on``: first day on which a call
    is right again; ``due_on``: day on which one is expected, blank for none; ``is_barred``:
    asked not to be called, ever.
    """
    ordered = said.sort_values(["client_id", "called_on", "entry_id"], kind="stable")
    rows = [
        _of_client(str(client_id), [*own], rates)
        for client_id, own in groupby(ordered.to_dict("records"), itemgetter("client_id"))
    ]
    return pd.DataFrame(rows, columns=[*HISTORY_COLUMNS])


def add_history(
    clients: pd.DataFrame,
    season: Season,
    *,
    rates: RateBook,
    is_near_built: pd.Series[bool] | None = None,
) -> pd.DataFrame:
    """Put beside each client what the log knows of them.

    Table `CLIENTS` with ``do_not_call`` and ``last_contact`` brought up to date, and
    ``last_called_on last_outcome last_note next_action free_on due_on neighbor_built written_on``.
    """
    said = season.said[season.said["client_id"].isin(clients["client_id"])]
    history = tell_history(said, rates=rates).set_index("client_id")
    of_client = {
        name: clients["client_id"].map(history[name]).astype("str").fillna("")
        for name in HISTORY_COLUMNS[1:-1]
    }
    barred = history.index[history["is_barred"].astype(bool)]
    later = clients["last_contact"].where(
        clients["last_contact"] > of_client["last_called_on"], of_client["last_called_on"]
    )
    written = open_letters(season.letters, season.calls)
    asked = clients["client_id"].map(asked_letters(season.letters, season.calls)).astype("str")
    for name, told in (("due_on", asked), ("free_on", asked), ("next_action", WANTS_VISIT)):
        of_client[name] = of_client[name].mask(asked.notna(), told)
    return clients.assign(
        do_not_call=clients["do_not_call"].mask(clients["client_id"].isin(barred), "yes"),
        last_contact=later,
        written_on=clients["client_id"].map(written).astype("str").fillna(""),
        neighbor_built=False if is_near_built is None else is_near_built,
        **of_client,
    )


def tell_last(callees: pd.DataFrame, today: date) -> dict[str, pd.Series]:
    """Say what was last; a contact that the client list alone knows of stands before what the log has."""
    if "last_called_on" not in callees:
        callees = callees.assign(**dict.fromkeys(("last_called_on", *REMEMBERED.values()), ""))
    told = {name: callees[known] for name, known in REMEMBERED.items()}
    is_noted = callees["last_contact"] > callees["last_called_on"]
    called_on = say_each(callees["last_called_on"], lambda day: short_day(day, today))
    before = join_texts([called_on, told["last_outcome"], told["last_note"]], by=", ")
    return told | {
        "last_outcome": told["last_outcome"].mask(is_noted, NOTED),
        "last_note": told["last_note"].mask(is_noted, before),
    }


def list_orphans(season: Season, beds: pd.DataFrame, clients: pd.DataFrame) -> pd.DataFrame:
    """List what is on record and fits nothing in the book any more.

    Table `PROBLEMS`, notes: clients who are gone with calls on record, and beds that an outcome
    names and no bed of this scan is.
    """
    calls, said, known = season.calls, season.said, set(clients["client_id"])
    if said.empty:
        return list_problems([])
    gone = said[~said["client_id"].isin(known)].groupby("client_id", sort=True).size()
    rows = [
        note(HISTORY_FILE, "", f"{count} on record for a client who is not in the client list any more",
              "put the client back into the list if that was a mistake; what is on record stays", client_id=str(client_id))
        for client_id, count in gone.map(lambda size: f"{size} {'entry' if size == 1 else 'entries'}").items()
    ]  # fmt: skip
    found = set(beds["bed_id"]) | set(season.stored.loc[season.stored["built_on"] != "", "bed_id"])
    # An empty table takes on the index of whatever is assigned to it, so nothing longer may be
    named = calls[calls["client_id"].isin(known)]
    named = named.assign(bed_id=named["bed_ids"].str.split())
    named = named.explode("bed_id").dropna(subset=["bed_id"])
    lost = named[~named["bed_id"].isin(found)].sort_values(["bed_id", "called_on", "entry_id"])
    rows += [
        note(HISTORY_FILE, "", f"bed {call['bed_id']}, with an outcome on record ({call['outcome']}, "
              f"{call['called_on']}), matches nothing in this scan",
              "look whether its edge was drawn away or is just cut off; what is on record stays", client_id=call["client_id"])
        for call in lost.drop_duplicates("bed_id", keep="last").to_dict("records")
    ]  # fmt: skip
    return list_problems(rows)


def with_recorded(clients: pd.DataFrame, entries: pd.DataFrame) -> pd.DataFrame:
    """Add to ids and names of a client list whoever has calls on record and is not in it any more.

    >>> clients = pd.DataFrame({"client_id": ["A"], "name": ["Ada"]})
    >>> with_recorded(clients, pd.DataFrame({"client_id": ["B", "A", "B"]}))["client_id"].tolist()
    ['A', 'B']
    """
    gone = entries.loc[~entries["client_id"].isin(clients["client_id"]), "client_id"].unique()
    more = pd.DataFrame({"client_id": gone, "name": ""}, dtype="str")
    return pd.concat([clients[["client_id", "name"]], more], ignore_index=True)


def rest_days(outcome: str, rates: RateBook) -> int | None:
    """Tell how long a client rests after an outcome."""
    if outcome == DO_NOT_CALL:
        return None
    return round(getattr(rates, f"rest_{outcome.replace(' ', '_')}_days").value)


def _of_client(client_id: str, calls: list[dict[Any, Any]], rates: RateBook) -> dict[str, object]:
    """Sum up one client's calls, oldest first."""
    talks = [call for call in calls if call["outcome"] not in _NO_TALKS]
    since = [*takewhile(lambda call: call["outcome"] in _NO_TALKS, reversed(calls))][::-1]
    report = [*talks[-1:], *since]
    words = [call["note"] for call in reversed(report) if call["note"]]
    own = [call for call in calls if call["outcome"] != NOTE]
    last = own[-1] if own else {"called_on": "", "outcome": ""}
    if not words:  # what was said before stands with its own day
        words = [
            f"{call['note']} ({short_day(call['called_on'], date.fromisoformat(last['called_on'] or call['called_on']))})"
            for call in reversed(calls) if call["note"]
        ][:1]  # fmt: skip
    # A note that names no day leaves the one that was promised
    tries = [call for call in since if call["outcome"] != NOTE or call["next_date"]]
    dues = [call["next_date"] for call in tries[-1:] if call["next_date"]]
    if not dues and talks and (_due(talks[-1], rates)):
        dues = [max([_due(talks[-1], rates), *(_free(call, rates) for call in tries)])]
    is_barred = any(call["outcome"] == DO_NOT_CALL for call in calls)
    return {
        "client_id": client_id,
        "last_called_on": last["called_on"],
        "last_outcome": DO_NOT_CALL if is_barred else last["outcome"],
        "last_note": "; ".join(dict.fromkeys(words)),
        "next_action": next((call["next_action"] for call in reversed(report) if call["next_action"]), ""),
        "free_on": max(_free(call, rates) for call in report),
        "due_on": "" if is_barred or not dues else dues[0],
        "is_barred": is_barred,
    }  # fmt: skip


def _free(call: dict[Any, Any], rates: RateBook) -> str:
    """Give the first day on which a call is right again."""
    if call["next_date"]:
        return str(call["next_date"])
    if call["outcome"] == NOTE:
        return ""
    days = rest_days(call["outcome"], rates)
    if days is None:
        return date.max.isoformat()
    return (date.fromisoformat(call["called_on"]) + timedelta(days=days)).isoformat()


def _due(talk: dict[Any, Any], rates: RateBook) -> str:
    """Give the day on which a call was promised, blank for none."""
    is_promised = talk["next_date"] or talk["outcome"] == CALL_BACK
    return _free(talk, rates) if is_promised else ""
