"""Edges measured on foot with a wheel or a tape: measured.csv, and visit sheets."""

from __future__ import annotations

from datetime import date
from difflib import get_close_matches
from pathlib import Path

import pandas as pd

from scanner.errors import BookError
from scanner.schema.book_tables import MAX_LENGTH_FT
from scanner.schema.edge_kinds import STREET_SIDE
from scanner.schema.log_tables import MEASUREMENTS
from scanner.schema.tables import ALONG, MEASURED, check_table, empty_table
from scanner.sheets.client_ids import match_rows
from scanner.sheets.filled import EDGE_CELLS, MEASURED_SHEET
from scanner.sheets.problems import (
    Cause,
    Problem,
    fault,
    first_faults,
    list_problems,
    note,
    places,
    row_words,
    shown,
)
from scanner.sheets.reader import read_sheet
from scanner.sheets.values import day_causes, has_any, read_columns, read_days

MAX_FRONTAGES = 3.0
"""So many times a lot's frontage may be measured along its streets before it is asked about."""


def read_measured(path: Path, clients: pd.DataFrame) -> tuple[pd.DataFrame, pd.DataFrame]:
    r"""Read the edges measured on foot: tables `MEASURED` and `PROBLEMS`; no such file is no edge, not a fault."""
    if not path.is_file():
        return empty_table(MEASURED), list_problems([])
    try:
        rows, problems = read_sheet(path, MEASURED_SHEET)
    except BookError as err:
        remedy = "save it again with the columns client_id, along, length_ft, or delete the file"
        return empty_table(MEASURED), list_problems([fault(path.name, "", str(err), remedy)])
    measured, found = check_edges(rows, clients, file=path.name)
    return measured.reset_index(drop=True), list_problems([*problems, *found])


def check_edges(
    rows: pd.DataFrame, clients: pd.DataFrame, *, file: str
) -> tuple[pd.DataFrame, list[Problem]]:
    """Check edges as somebody wrote them down: table `MEASURED` of rows without a fault, indexed as they came; faults and questions."""
    rows, _ = match_rows(rows, clients)
    where = places(rows, file)
    # one fault a row says enough, so what the cells complain of is not repeated
    edges, _ = read_columns(rows, MEASURED_SHEET.columns, where)
    # a row of a copied sheet has a label that is no number
    edges = edges.assign(row=[label if isinstance(label, int) else 0 for label in rows.index])
    is_faulty, problems = first_faults(rows, _causes(edges, rows, clients), where)
    good = edges[~is_faulty]
    # only a visit's sheet tells of single beds
    beds = rows.loc[~is_faulty, "bed_id"].to_numpy() if "bed_id" in rows else ""
    measured = good.assign(openings_ft=good["openings_ft"].fillna(0.0), bed_id=beds, measured_on="")
    asked = _ask(good, clients, file)
    return check_table(measured, MEASURED), [*problems, *asked]


def _causes(edges: pd.DataFrame, rows: pd.DataFrame, clients: pd.DataFrame) -> tuple[Cause, ...]:
    is_broken = rows["openings_ft"].ne("") & edges["openings_ft"].isna()
    is_broken |= rows["room_ft"].ne("") & edges["room_ft"].isna()
    most = f"{MAX_LENGTH_FT:,.0f} ft"
    return (
        (
            ~edges["client_id"].isin(clients["client_id"]),
            "client_id {client_id} is not in the client list",
            "add the client to the client list, or put the id right",
        ),
        (
            edges["along"] == "",
            "along is {along}, which is none that is known",
            f"write one of {', '.join(ALONG)}",
        ),
        (
            ~(edges["length_ft"] > 0),
            f"length_ft is {{length_ft}}; it must be a number above 0 and at most {most} (longer is a length that no lot has)",
            "write the length in feet that the wheel showed, as a number alone",
        ),
        (
            is_broken,
            f"room_ft {{room_ft}}, openings_ft {{openings_ft}}: each must be blank or a number from 0 to {most}",
            "write feet as a number alone, or leave the cell blank",
        ),
        (
            edges["room_ft"] == 0,
            "room_ft is {room_ft}, so there is no lawn along this edge",
            "write the depth of lawn there, or leave room_ft blank where there is enough",
        ),
        (
            edges["openings_ft"] >= edges["length_ft"],
            "openings_ft {openings_ft} is not less than length_ft {length_ft}",
            "openings are the drive and walk widths inside the length; put one of the two right",
        ),
    )


def _ask(edges: pd.DataFrame, clients: pd.DataFrame, file: str) -> list[Problem]:
    """Ask about street edges far longer than the client list says the lot's front is."""
    if "frontage_ft" not in clients:
        return []
    frontage_ft = (
        edges["client_id"].map(clients.set_index("client_id")["frontage_ft"]).astype(float)
    )
    is_long = edges["length_ft"] > MAX_FRONTAGES * frontage_ft
    long_edges = edges.assign(frontage_ft=frontage_ft)[is_long & edges["along"].isin(STREET_SIDE)]
    return [
        note(
            file, row_words(label),
            f"length_ft is {edge['length_ft']:g}, more than {MAX_FRONTAGES:g} times the frontage of "
            f"{edge['frontage_ft']:g} ft in the client list; it is used as it stands",
            "look whether a digit slipped in, here or in frontage_ft",
            client_id=edge["client_id"],
        )
        for label, edge in zip(long_edges.index, long_edges.to_dict("records"), strict=True)
    ]  # fmt: skip


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
    return _visits(good), check_table(edges, MEASUREMENTS), [*problems, *found]


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
