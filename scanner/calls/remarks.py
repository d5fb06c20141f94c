"""
What the office writes into its lists beside the calls: columns of its own, a phone number put right.

Both outlive the list. What puts the client list right holds until the client list itself says
something else there than it did then.
"""

from __future__ import annotations

from datetime import date

import numpy as np
import pandas as pd

from scanner.schema.documents import Season
from scanner.schema.log_tables import PRINTED, REMARKS
from scanner.schema.tables import CLIENTS, check_table
from scanner.sheets.days import short_day

PUT_RIGHT = "phone"
"""The column of the client list that people put right in a call list."""


def with_remarks(clients: pd.DataFrame, remarks: pd.DataFrame) -> pd.DataFrame:
    """Put right in the client list what the office put right in a call list."""
    right: dict[str, pd.Series[str]] = {}
    for heading, own in remarks.groupby("heading", sort=True):
        if heading in clients:
            of_client = (
                own.set_index("client_id").reindex(clients["client_id"]).set_axis(clients.index)
            )
            holds = of_client["instead_of"] == clients[heading]
            right[str(heading)] = clients[heading].mask(holds, of_client["text"])
    return clients.assign(**right)


def own_columns(clients: pd.DataFrame, remarks: pd.DataFrame) -> pd.DataFrame:
    """Give the columns that the client list has of its own and those that the office added, by client."""
    listed = clients.set_index("client_id")[
        [name for name in clients if name not in CLIENTS.columns]
    ]
    added = remarks[~remarks["heading"].isin([*listed.columns, PUT_RIGHT])]
    table = added.set_index(["client_id", "heading"])["text"].unstack()  # noqa: PD010  # one cell each
    return listed.join(table).fillna("").astype("str")


def known_of(clients: pd.DataFrame, season: Season, client_id: str, *, today: date) -> list[str]:
    """Say what whoever goes to a lot has to know: notes of the client list, the office's own columns, the last two things noted.

    For the company's own sheets only: a client never reads them.
    """
    client = clients[clients["client_id"] == client_id]
    remarks = season.remarks[season.remarks["client_id"] == client_id]
    own = own_columns(client, remarks).loc[client_id]
    visits = season.visits.rename(columns={"visited_on": "called_on"})
    said = pd.concat(
        [table[["client_id", "called_on", "entry_id", "note"]] for table in (season.said, visits)]
    )
    said = spoken(said[said["client_id"] == client_id], season.jobs)
    said = said.drop_duplicates(["called_on", "note"])
    last = said.sort_values(["called_on", "entry_id"]).tail(2)[["called_on", "note"]]
    return [
        *filter(None, client["notes"]),
        *(f"{heading}: {text}" for heading, text in own.items() if text),
        *(f"{short_day(day, today)}: {note}" for day, note in last.to_numpy().tolist()),
    ]


def spoken(said: pd.DataFrame, jobs: pd.DataFrame) -> pd.DataFrame:
    """Leave out what has no note, and the number of a job that stands for one: nobody said that."""
    numbers = {*jobs["job_id"]}
    is_number = said["note"].map(lambda note: {*note.removeprefix("job ").split(", ")} <= numbers)
    return said[said["note"].ne("") & ~is_number.astype(bool)]


def find_remarks(
    cells: pd.DataFrame, clients: pd.DataFrame, remarks: pd.DataFrame, printed: pd.DataFrame
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Tell what of the cells of a list the office wrote there: table `REMARKS`, and cells of an older list.

    ``client_id heading text`` of cells, blank ones passed over. What lists have shown of the client
    list's own columns is no news; where something else stands there now, it is an older one's.
    """
    stated = _as_cells(clients).set_index(["client_id", "heading"])["text"]
    shows = _as_cells(with_remarks(clients, remarks))
    cells = cells[cells["text"] != ""]
    is_now = _is_in(cells, shows)
    is_old = ~is_now & _is_in(cells, printed)
    # One sheet of a list may be put right, and the next beside it still as it was printed
    fresh = pd.MultiIndex.from_frame(cells.loc[~is_old, ["client_id", "heading"]])
    is_old &= ~pd.MultiIndex.from_frame(cells[["client_id", "heading"]]).isin(fresh)
    news = cells[~is_now & ~_is_in(cells, printed)]
    was = stated.reindex(pd.MultiIndex.from_frame(news[["client_id", "heading"]])).fillna("")
    news = news.assign(instead_of=was.to_numpy("str"))[[*REMARKS.columns]]
    once = news.drop_duplicates(["client_id", "heading"], keep="last", ignore_index=True)
    return check_table(once, REMARKS), cells[is_old]


def list_printed(clients: pd.DataFrame) -> pd.DataFrame:
    """List what call lists show of the client list's own columns and of what is put right: `PRINTED`."""
    return check_table(_as_cells(clients), PRINTED)


def _as_cells(clients: pd.DataFrame) -> pd.DataFrame:
    names = [PUT_RIGHT, *(name for name in clients if name not in CLIENTS.columns)]
    return clients.melt(["client_id"], names, var_name="heading", value_name="text").astype("str")


def _is_in(cells: pd.DataFrame, known: pd.DataFrame) -> np.ndarray:
    """Whether cells say the same as known ones, whatever marks a spreadsheet put between digits."""
    names = [*PRINTED.columns]
    plain = (
        table[names].assign(text=table["text"].str.casefold().str.replace(r"\W", "", regex=True))
        for table in (cells, known)
    )
    own, other = (pd.MultiIndex.from_frame(table) for table in plain)
    return own.isin(other)
