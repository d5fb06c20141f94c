"""Undoing: the last entry that stands is taken back by adding its reversal."""

from __future__ import annotations

from scanner.calls.log.file import Store
from scanner.calls.log.rows import STANDING


def take_back_last(store: Store, *, today: str) -> str:
    """
    Take the last entry back.

    Parameters
    ----------
    store
        The log's tables, in a transaction.
    today
        Day of the reversal, ISO.

    Returns
    -------
    words
        What was taken back; blank where nothing is left to take back.

    Raises
    ------
    LogError
        If the reversal cannot be written.
    """
    last = store.rows(
        f"SELECT max(entry_id), kind FROM entries WHERE kind <> 'reversal' AND {STANDING}"  # noqa: S608
    )
    entry_id, kind = last[0]
    if entry_id is None:
        return ""
    words = {
        "call": "SELECT 'call to ' || client_id || ' on ' || called_on || ': ' || outcome FROM calls",
        "answer": "SELECT 'answer for ' || client_id || ' of ' || seen_on || ': ' || question || ' ' || answer FROM answers",
        "visit": "SELECT 'visit to ' || client_id || ' on ' || visited_on FROM visits",
        "measurement": "SELECT 'measurement of ' || client_id || ' on ' || measured_on || ': ' || along FROM measurements",
        "job": "SELECT 'job ' || job_id || ' of ' || client_id FROM jobs",
    }[kind]  # fmt: skip
    told = store.rows(f"{words} WHERE entry_id = ?", (entry_id,))
    store.write(
        "INSERT INTO entries (kind, recorded_on, takes_back) VALUES ('reversal', ?, ?)",
        (today, entry_id),
    )
    return str(told[0][0])
