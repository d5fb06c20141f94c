"""
Visits as somebody wrote them down: who went when, and what was measured.

One row an edge; a row without an edge is a visit on which nothing was measured. Faulty
rows are listed, the rest is kept.
"""

from __future__ import annotations

from datetime import date
from difflib import get_close_matches

import pandas as pd

from scanner.book.measured import check_edges
from scanner.schema.log_tables import MEASUREMENTS
from scanner.schema.tables import check_table
from scanner.sheets.client_ids import match_rows
from scanner.sheets.filled import EDGE_CELLS
from scanner.sheets.problems import Cause, Problem, first_faults, places, shown
from scanner.sheets.values import day_causes, has_any, read_days

VISIT_COLUMNS = ("client_id", "visited_on", "visited_by", "note")


def check_visits(
    rows: pd.DataFrame,
    clients: pd.DataFrame,
    *,
    today: date,
    file: str,
    stored: pd.DataFrame | None = None,
) -> tuple[pd.DataFrame, pd.DataFrame, list[Problem]]:
    """Check visits as they were typed, one row an edge: `VISIT_COLUMNS` by client and day, the table `MEASUREMENTS`, a fault a row left out.

    ``stored``: beds of the scans on record; none: a bed's name is taken as it is.
    """
    # A row that only names the client is a line of the blank sheet
    rows = rows[has_any(rows, ("visited_on", "visited_by", "note", *EDGE_CELLS))]
    rows, stranger = match_rows(rows, clients)
    days = read_days(rows["visited_on"], today=today)
    causes = (
        stranger,
        _strange_beds(rows, stored),
        *day_causes(rows["visited_on"], days, today, what="of the visit"),
    )
    is_faulty, problems = first_faults(rows, causes, places(rows, file))
    good = rows.assign(visited_on=days)[~is_faulty]
    is_edge = has_any(good, EDGE_CELLS)
    measured, found = check_edges(good[is_edge], clients, file=file)
    # A row whose edge is faulty is left out whole
    good = good[~is_edge | good.index.isin(measured.index)]
    day_of_row = good["visited_on"].to_dict()
    edges = measured.assign(measured_on=[day_of_row[label] for label in measured.index])
    edges = edges[[*MEASUREMENTS.columns]].reset_index(drop=True)
    return (
        _visits(good),
        check_table(edges, MEASUREMENTS),
        [*problems, *found],
    )


def _strange_beds(rows: pd.DataFrame, stored: pd.DataFrame | None) -> Cause:
    """Find names of beds that are none of the client's, each with the nearest that is."""
    own = {} if stored is None else stored.groupby("client_id")["bed_id"].agg(list).to_dict()
    near = [
        "" if not own or not bed or bed in (beds := own.get(client, []))
        else ", ".join(get_close_matches(bed, beds, n=1, cutoff=0.0)) or "none"
        for client, bed in zip(rows["client_id"], rows["bed_id"], strict=True)
    ]  # fmt: skip
    nearest = pd.Series(near, index=rows.index, dtype="str")
    words = "bed_id " + rows["bed_id"].map(shown) + " is no bed of " + rows["client_id"]
    remedy = "write a bed's name as list and map have it, or leave bed_id blank"
    return nearest != "", words + "; nearest to it is " + nearest, remedy


def _visits(rows: pd.DataFrame) -> pd.DataFrame:
    visits = rows[[*VISIT_COLUMNS]].replace("", None)
    # The first of each column that is not missing
    first = visits.groupby(["client_id", "visited_on"], sort=True).first().reset_index()
    return first[[*VISIT_COLUMNS]].astype(object).fillna("").astype("str")
