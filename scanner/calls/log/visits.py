"""Visits and measurings in the log: written as entries, read as they stand."""

from __future__ import annotations

import pandas as pd

from scanner.calls.entries import Counts, count_verdicts
from scanner.calls.log.file import Store
from scanner.calls.log.rows import STANDING, add_entry, placeholders, plain_rows, write_all
from scanner.calls.visits import (
    EDGE_COLUMNS,
    MEASUREMENT_KEY,
    VISIT_DETAILS,
    VISIT_KEY,
    group_edges,
    judge_visits,
)
from scanner.schema.log_tables import MEASUREMENTS, VISITS


def add_visits(store: Store, visits: pd.DataFrame, edges: pd.DataFrame, *, today: str) -> Counts:
    """
    Record visits and the edges measured on them; what is on record is passed over.

    Parameters
    ----------
    store
        The log's tables, in a transaction.
    visits
        Columns ``client_id visited_on visited_by note``.
    edges
        Table `MEASUREMENTS`: all edges of a kind that were measured on a lot that day.
    today
        Day of the recording, ISO.

    Returns
    -------
    counts
        Visits and measurings: new, telling more, known already.

    Raises
    ------
    LogError
        If they cannot be written.
    """
    columns = (*VISIT_KEY, *VISIT_DETAILS)
    verdicts = judge_visits(visits, visit_entries(store))
    for visit in visits.loc[verdicts.ne("known"), [*columns]].itertuples(index=False):
        add_entry(store, "visit", "visits", dict(zip(columns, visit, strict=True)), today=today)
    return count_verdicts([*verdicts, *_add_edges(store, edges, today=today)])


def visit_entries(store: Store) -> pd.DataFrame:
    """
    List every entry about a visit that was not taken back.

    Parameters
    ----------
    store
        An open log.

    Returns
    -------
    entries
        Columns of `VISITS`, in the order of recording.
    """
    names = [*VISITS.columns]
    query = f"SELECT {', '.join(names)} FROM visits JOIN entries USING (entry_id) WHERE {STANDING} ORDER BY 1"  # noqa: S608
    return pd.DataFrame(store.rows(query), columns=names)


def edge_entries(store: Store) -> pd.DataFrame:
    """
    List the edges of every measuring that was not taken back.

    Parameters
    ----------
    store
        An open log.

    Returns
    -------
    entries
        ``entry_id`` and the columns of `MEASUREMENTS`, in the order of recording.
    """
    names = ["entry_id", *MEASUREMENTS.columns]
    query = f"SELECT {', '.join(names)} FROM measured_edges JOIN measurements USING (entry_id) WHERE {STANDING} ORDER BY 1, place"  # noqa: S608
    return pd.DataFrame(store.rows(query), columns=names)


def _add_edges(store: Store, edges: pd.DataFrame, *, today: str) -> list[str]:
    """Record each measuring that is not on record just so; gives what came of each."""
    told: dict[tuple[str, ...], list[list[tuple[object, ...]]]] = {}
    standing = edge_entries(store)
    for _, entry in standing.groupby("entry_id", sort=True):
        for key, own in group_edges(entry):
            told.setdefault(key, []).append(plain_rows(own, EDGE_COLUMNS))
    verdicts = []
    columns = ("entry_id", "place", *EDGE_COLUMNS)
    for key, own in group_edges(edges):
        before, rows = told.setdefault(key, []), plain_rows(own, EDGE_COLUMNS)
        verdicts.append("known" if rows in before else "changed" if before else "added")
        if rows not in before:
            before.append(rows)
            values = dict(zip(MEASUREMENT_KEY, key, strict=True))
            entry_id = add_entry(store, "measurement", "measurements", values, today=today)
            numbered = own.assign(entry_id=entry_id, place=range(len(own)))
            write_all(
                store,
                f"INSERT INTO measured_edges {placeholders(columns)}",
                plain_rows(numbered, columns),
            )
    return verdicts
