"""The client list: one row a client, from a csv, xlsx or ods file."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd

from scanner.book.places import find_misplaced
from scanner.errors import BookError
from scanner.schema.tables import CLIENTS, check_table
from scanner.sheets.filled import CLIENT_SHEET
from scanner.sheets.problems import Problem, fault, first_faults, list_problems, places, shown
from scanner.sheets.reader import read_sheet
from scanner.sheets.values import read_columns

CLIENT_FILES = ("clients.csv", "clients.xlsx", "clients.ods")
"""What a client list may be called; the first that is there is read."""


def read_client_list(folder: Path) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Read the client list of a book and nothing else of it: tables `CLIENTS` and `PROBLEMS`."""
    return read_clients(next(iter(client_files(folder)), folder / CLIENT_FILES[0]))


def client_files(folder: Path) -> list[Path]:
    """List the client lists of a book that are there; the first is the one that is read."""
    return [folder / name for name in CLIENT_FILES if (folder / name).is_file()]


def read_clients(path: Path) -> tuple[pd.DataFrame, pd.DataFrame]:
    r"""Read the client list: table `CLIENTS` in the order of the file, and table `PROBLEMS`.

    Faulty rows and cells are listed, the rest is kept; other columns are carried along. A file that is
    missing, empty, no table, without ``client_id`` or without one usable row is a `BookError`.
    """
    if not path.is_file():
        message = (
            f"{path.name} is not there: a book needs a client list, clients.csv or clients.xlsx"
        )
        raise BookError(message)
    rows, problems = read_sheet(path, CLIENT_SHEET)
    rows, id_problems = _keep_ids(rows, path.name)
    clients, cell_problems = read_columns(rows, CLIENT_SHEET.columns, places(rows, path.name))
    clients, place_problems = _check_places(clients, rows, path.name)
    every = [*problems, *id_problems, *cell_problems, *place_problems]
    clients = check_table(clients.reset_index(drop=True), CLIENTS)
    return clients, list_problems(every)


def _keep_ids(rows: pd.DataFrame, file: str) -> tuple[pd.DataFrame, list[Problem]]:
    ids = rows["client_id"]
    if (ids == "").all():
        message = f"{file} has no client_id in it: give each client an id of its own in a column client_id"
        raise BookError(message)
    first = {client_id: row for row, client_id in reversed(list(ids.items()))}
    doubled = (
        "client_id "
        + ids.map(shown)
        + " stands in row "
        + ids.map(first).astype("str")
        + " already"
    )
    in_beds = ids.str.split().str.join("_")
    other = in_beds.map({name: one for one, name in reversed([*zip(ids, in_beds, strict=True)])})
    alike = (
        "client_id "
        + ids.map(shown)
        + " and "
        + other.map(shown)
        + " would give their beds the same names"
    )
    causes = (
        (ids == "", "client_id is blank", "give the client an id of its own"),
        (ids.duplicated(), doubled, "give each client an id of its own, or delete the row that is there twice"),
        (ids != other, alike, "tell them apart by more than a blank and a line"),
    )  # fmt: skip
    is_faulty, problems = first_faults(rows, causes, places(rows, file))
    return rows[~is_faulty], problems


def _check_places(
    clients: pd.DataFrame, rows: pd.DataFrame, file: str
) -> tuple[pd.DataFrame, list[Problem]]:
    where = places(clients, file)
    lon, lat = clients["lon"].to_numpy(), clients["lat"].to_numpy()
    reasons = find_misplaced(lon, lat)
    is_half = (rows["lon"] == "").to_numpy() != (rows["lat"] == "").to_numpy()
    reasons = np.where(is_half, "only one of lon and lat is given", reasons)
    problems = [
        fault(
            **where(at),
            problem=(
                f"lon {shown(rows['lon'].iloc[at])}, lat {shown(rows['lat'].iloc[at])}: {reasons[at]}; "
                "both are taken as blank"
            ),
            remedy="lon is the east-west number (negative in America), lat the north-south one; put both right or leave both blank",
        )
        for at in np.flatnonzero(reasons != "").tolist()
    ]
    # one that can't be read was told of; the other is no use alone
    is_good = pd.Series((reasons == "") & ~np.isnan(lon) & ~np.isnan(lat), index=clients.index)
    placed = {name: clients[name].where(is_good) for name in ("lon", "lat")}
    return clients.assign(**placed), problems
