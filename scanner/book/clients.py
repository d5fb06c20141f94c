"""The client list: one row a client, from a csv or xlsx file."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd

from scanner.book.places import find_misplaced
from scanner.errors import BookError
from scanner.schema.tables import CLIENTS, FLAGS, SPRINKLERS, check_table
from scanner.sheets.problems import Problem, fault, list_problems, shown
from scanner.sheets.reader import read_rows
from scanner.sheets.values import Where, read_dates, read_flags, read_numbers

CLIENT_FILES = ("clients.csv", "clients.xlsx")
"""What a client list may be called; the first that is there is read."""

_NUMBERS = {
    "lon": (-180.0, 180.0),
    "lat": (-180.0, 180.0),  # as wide as lon, so that two exchanged are told for what they are
    "stop": (0.0, 1e6),
    "visits_per_year": (0.0, 366.0),
    "annual_usd": (0.0, 1e7),
    "frontage_ft": (0.0, 5_000.0),
    "mowed_ft2": (0.0, 1e8),
}
"""Least and most that make sense, in the unit that the column's name ends in."""

_FLAG_COLUMNS = ("renter", "past_due", "bought_before", "do_not_call")
_DATE_COLUMNS = ("client_since", "last_contact")


def read_client_list(folder: Path) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Read the client list of a book and nothing else of it: tables `CLIENTS` and `PROBLEMS`."""
    return read_clients(next(iter(client_files(folder)), folder / CLIENT_FILES[0]))


def client_files(folder: Path) -> list[Path]:
    """List the client lists of a book that are there; the first is the one that is read."""
    return [folder / name for name in CLIENT_FILES if (folder / name).is_file()]


def read_clients(path: Path) -> tuple[pd.DataFrame, pd.DataFrame]:
    r"""
    Read the client list; faulty rows and cells are listed, the rest is kept.

    Parameters
    ----------
    path
        ``clients.csv`` or ``clients.xlsx``.

    Returns
    -------
    clients
        Table `CLIENTS` in the order of the file; other columns carried along.
    problems
        Table `PROBLEMS`.

    Raises
    ------
    BookError
        If the file is missing, empty, no table, has no column ``client_id`` or
        not one usable row.

    Examples
    --------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     path = Path(folder) / "clients.csv"
    ...     _ = path.write_text("client_id,name\n007,NA\n,Ann\n")
    ...     clients, problems = read_clients(path)
    >>> clients["client_id"].tolist(), clients["name"].tolist(), problems["feature"].tolist()
    (['007'], ['NA'], ['row 3'])
    """
    if not path.is_file():
        message = (
            f"{path.name} is not there: a book needs a client list, clients.csv or clients.xlsx"
        )
        raise BookError(message)
    rows, problems = read_rows(path, tuple(CLIENTS.columns))
    rows, id_problems = _keep_ids(rows, path.name)
    clients, cell_problems = _read_cells(rows, path.name)
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
    is_missing = ids == ""
    is_doubled = ids.duplicated() & ~is_missing
    missing = [
        fault(
            file,
            f"row {row}",
            "client_id is blank; the row is left out",
            "give the client an id of its own",
        )
        for row in rows.index[is_missing]
    ]
    doubled = [
        fault(
            file,
            f"row {row}",
            f"client_id {shown(ids[row])} stands in row {first[ids[row]]} already; this row is left out",
            "give each client an id of its own, or delete the row that is there twice",
            client_id=ids[row],
        )
        for row in rows.index[is_doubled]
    ]
    return rows[~is_missing & ~is_doubled], [*missing, *doubled]


def _read_cells(rows: pd.DataFrame, file: str) -> tuple[pd.DataFrame, list[Problem]]:
    where = _locate(rows, file)
    columns: dict[str, pd.Series] = {}
    problems: list[Problem] = []
    for name, (least, most) in _NUMBERS.items():
        columns[name], found = read_numbers(rows[name], where, least=least, most=most)
        problems += found
    for name in _FLAG_COLUMNS:
        # a do-not-call that can't be read must not lead to a call
        doubtful = "yes" if name == "do_not_call" else ""
        columns[name], found = read_flags(rows[name], where, words=FLAGS, doubtful=doubtful)
        problems += found
    columns["sprinklers"], found = read_flags(rows["sprinklers"], where, words=SPRINKLERS)
    problems += found
    for name in _DATE_COLUMNS:
        columns[name], found = read_dates(rows[name], where)
        problems += found
    return rows.assign(**columns), problems


def _check_places(
    clients: pd.DataFrame, rows: pd.DataFrame, file: str
) -> tuple[pd.DataFrame, list[Problem]]:
    where = _locate(clients, file)
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


def _locate(rows: pd.DataFrame, file: str) -> Where:
    ids = rows["client_id"].tolist()
    numbers = rows.index.tolist()

    def where(at: int) -> dict[str, str]:
        return {"file": file, "feature": f"row {numbers[at]}", "client_id": ids[at]}

    return where
