"""Edges measured on foot with a wheel or a tape: measured.csv."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pandas as pd

from scanner.errors import BookError
from scanner.schema.edge_kinds import STREET_SIDE
from scanner.schema.tables import ALONG, MEASURED, check_table, empty_table
from scanner.sheets.client_ids import match_ids
from scanner.sheets.problems import Problem, fault, list_problems, note, shown
from scanner.sheets.reader import read_rows
from scanner.sheets.values import Where, read_numbers, read_words
from scanner.units import IN_PER_FT

MAX_LENGTH_FT = 5_000.0
"""A length that no lot has (starting value, no source)."""

MAX_FRONTAGES = 3.0
"""So many times a lot's frontage may be measured along its streets before it is asked about."""

_FEET = re.compile(
    r"^(\d+(?:\.\d+)?)\s*(?:'|′|ft\.?|feet|foot)\s*(?:(\d+(?:\.\d+)?)\s*(?:\"|″|in\.?|inch|inches)?)?$",
    re.IGNORECASE,
)
_COLUMNS = tuple(name for name in MEASURED.columns if name != "row")
_NUMBERS = ("length_ft", "room_ft", "openings_ft")


def read_measured(path: Path, clients: pd.DataFrame) -> tuple[pd.DataFrame, pd.DataFrame]:
    r"""
    Read the edges measured on foot; faulty rows are listed and left out.

    Parameters
    ----------
    path
        ``measured.csv``; no such file is no edge, not a fault.
    clients
        Table `CLIENTS`: whose edges can be used.

    Returns
    -------
    measured
        Table `MEASURED` in the order of the file.
    problems
        Table `PROBLEMS`.

    Examples
    --------
    >>> import tempfile
    >>> clients = pd.DataFrame({"client_id": ["A"], "name": ["Ada"]})
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     path = Path(folder) / "measured.csv"
    ...     _ = path.write_text("client_id,along,length_ft\nA,curb,60\nA,curb,none\n")
    ...     measured, problems = read_measured(path, clients)
    >>> measured["length_ft"].tolist(), problems["feature"].tolist()
    ([60.0], ['row 3'])
    """
    if not path.is_file():
        return empty_table(MEASURED), list_problems([])
    try:
        rows, problems = read_rows(path, _COLUMNS)
    except BookError as err:
        remedy = "save it again with the columns client_id, along, length_ft, or delete the file"
        return empty_table(MEASURED), list_problems([fault(path.name, "", str(err), remedy)])
    measured, found = check_edges(rows, clients, file=path.name)
    return measured, list_problems([*problems, *found])


def check_edges(
    rows: pd.DataFrame, clients: pd.DataFrame, *, file: str
) -> tuple[pd.DataFrame, list[Problem]]:
    """
    Check edges as somebody wrote them down.

    Parameters
    ----------
    rows
        Columns ``client_id along length_ft room_ft openings_ft note``, text; index: row in
        the file.
    clients
        Table `CLIENTS`: whose edges can be used.
    file
        Name of the file, for problems.

    Returns
    -------
    measured
        Table `MEASURED`, rows without a fault only.
    problems
        One fault a row left out, and questions.
    """
    rows = _as_meant(rows, clients)
    where = _locate(rows, file)
    # one fault a row says enough, so what the cells complain of is not repeated
    along, _ = read_words(rows["along"], where, words=ALONG)
    numbers = {
        name: read_numbers(rows[name], where, least=0.0, most=MAX_LENGTH_FT)[0] for name in _NUMBERS
    }
    edges = rows.assign(along=along, **numbers, row=rows.index)
    reasons = _find_reasons(edges, rows, clients)
    good = edges[reasons == ""]
    problems = _tell(rows, reasons, where) + _ask(good, clients, file)
    measured = good.assign(openings_ft=good["openings_ft"].fillna(0.0))
    return check_table(measured.reset_index(drop=True), MEASURED), problems


def _as_meant(rows: pd.DataFrame, clients: pd.DataFrame) -> pd.DataFrame:
    """Read ids that a spreadsheet turned into numbers, and lengths with their marks."""
    client_ids, _ = match_ids(rows["client_id"], clients)
    lengths = {name: rows[name].map(plain_feet) for name in _NUMBERS}
    return rows.assign(client_id=client_ids.where(client_ids != "", rows["client_id"]), **lengths)


def plain_feet(text: str) -> str:
    r"""
    Take the marks off a length that was written with them.

    Parameters
    ----------
    text
        As it was typed: 70, 70', 70 ft, 24' 6".

    Returns
    -------
    text
        Feet as a number alone; as it was typed where it is no length.

    Examples
    --------
    >>> [plain_feet(text) for text in ("70'", "55.5 ft", "24' 6\"", "70", "far", "24 6")]
    ['70', '55.5', '24.5', '70', 'far', '24 6']
    """
    found = _FEET.match(text.strip())
    if not found:
        return text
    feet, inches = found.groups()
    return f"{float(feet) + float(inches or 0) / IN_PER_FT:.6g}"


def _find_reasons(
    edges: pd.DataFrame, rows: pd.DataFrame, clients: pd.DataFrame
) -> np.ndarray[tuple[int], np.dtype[np.str_]]:
    """Say what keeps a row out, first reason; blank where nothing does."""
    is_broken = rows["openings_ft"].ne("") & edges["openings_ft"].isna()
    is_broken |= rows["room_ft"].ne("") & edges["room_ft"].isna()
    return np.select(
        [
            ~edges["client_id"].isin(clients["client_id"]),
            edges["along"] == "",
            ~(edges["length_ft"] > 0),
            is_broken,
            edges["room_ft"] == 0,
            edges["openings_ft"] >= edges["length_ft"],
        ],
        ["client", "along", "length", "number", "room", "openings"],
        default="",
    )


def _ask(edges: pd.DataFrame, clients: pd.DataFrame, file: str) -> list[Problem]:
    """Ask about street edges far longer than the client list says the lot's front is."""
    if "frontage_ft" not in clients:
        return []
    frontage_ft = edges["client_id"].map(clients.set_index("client_id")["frontage_ft"])
    is_long = edges["length_ft"] > MAX_FRONTAGES * frontage_ft
    long_edges = edges.assign(frontage_ft=frontage_ft)[is_long & edges["along"].isin(STREET_SIDE)]
    return [
        note(
            file, f"row {edge['row']}" if edge["row"] else "",
            f"length_ft is {edge['length_ft']:g}, more than {MAX_FRONTAGES:g} times the frontage of "
            f"{edge['frontage_ft']:g} ft in the client list; it is used as it stands",
            "look whether a digit slipped in, here or in frontage_ft",
            client_id=edge["client_id"],
        )
        for edge in long_edges.to_dict("records")
    ]  # fmt: skip


_SENTENCES = {
    "client": (
        "client_id {client_id} is not in the client list; the row is left out",
        "add the client to the client list, or put the id right",
    ),
    "along": (
        "along is {along}, which is none that is known; the row is left out",
        f"write one of {', '.join(ALONG)}",
    ),
    "length": (
        "length_ft is {length_ft}; it must be a number above 0 and at most "
        f"{MAX_LENGTH_FT:,.0f} ft (longer is a length that no lot has); the row is left out",
        "write the length in feet that the wheel showed, as a number alone",
    ),
    "number": (
        "room_ft {room_ft}, openings_ft {openings_ft}: each must be blank or a number from 0 to "
        f"{MAX_LENGTH_FT:,.0f} ft; the row is left out",
        "write feet as a number alone, or leave the cell blank",
    ),
    "room": (
        "room_ft is {room_ft}, so there is no lawn along this edge; the row is left out",
        "write the depth of lawn there, or leave room_ft blank where there is enough",
    ),
    "openings": (
        "openings_ft {openings_ft} is not less than length_ft {length_ft}; the row is left out",
        "openings are the drive and walk widths inside the length; put one of the two right",
    ),
}


def _tell(
    rows: pd.DataFrame, reasons: np.ndarray[tuple[int], np.dtype[np.str_]], where: Where
) -> list[Problem]:
    problems = []
    for at in np.flatnonzero(reasons != "").tolist():
        problem, remedy = _SENTENCES[str(reasons[at])]
        cells = {name: shown(rows[name].iloc[at]) for name in _COLUMNS}
        problems.append(fault(**where(at), problem=problem.format(**cells), remedy=remedy))
    return problems


def _locate(rows: pd.DataFrame, file: str) -> Where:
    ids = rows["client_id"].tolist()
    numbers = rows.index.tolist()

    def where(at: int) -> dict[str, str]:
        return {
            "file": file,
            "feature": f"row {numbers[at]}" if numbers[at] else "",
            "client_id": ids[at],
        }

    return where
