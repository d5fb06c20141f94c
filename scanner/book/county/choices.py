"""``unmatched.csv``: clients without a lot, filled in by a person and read back."""

from __future__ import annotations

import codecs
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pandas as pd
import shapely

from scanner.book.county.indexing import Index
from scanner.book.county.lots import Lots, plain_id
from scanner.book.county.matching import Match
from scanner.errors import BookError
from scanner.plane.frame import to_degrees, to_feet
from scanner.sheets.cells import sheet_csv
from scanner.sheets.filled import CHOICES, LIKELY
from scanner.sheets.problems import Problem, fault, row_words, shown
from scanner.sheets.reader import read_sheet

FILE = "unmatched.csv"
CHOSEN = "matched by your choice"
NOTHING_TYPED: Mapping[str, str] = {}
NUMBERS = tuple(str(number) for number in range(1, len(LIKELY) + 1))

_PLACE = re.compile(r"^\(?(-?\d{1,2}\.\d{3,}) *[, ] *(-?\d{1,3}\.\d{3,})\)?$")
_REMEDY = "write 1, 2 or 3, a parcel's id as the county has it, or latitude, longitude as a map shows them"


@dataclass(frozen=True)
class Choices:
    """What somebody filled in."""

    # lot of each client, where the choice fits one
    lots: Mapping[str, int] = field(default_factory=dict)
    # what stands there for each client; of a number of the list, what it stood for
    typed: Mapping[str, str] = field(default_factory=dict)
    problems: list[Problem] = field(default_factory=list)  # choices that fit none, one fault each


def read_choices(
    path: Path, clients: pd.DataFrame, lots: Lots, index: Index, *, frame: str
) -> Choices:
    """Read which lots somebody chose."""
    rows = read_sheet(path, CHOICES)[0]
    unknown = rows.loc[~rows["client_id"].isin(clients["client_id"]), "client_id"]
    if len(unknown):
        message = (
            f"{path.name}, {row_words(unknown.index[0])}: the client list has no client {shown(unknown.iloc[0])}: "
            "put the id right, or take the row out"
        )
        raise BookError(message)
    found: dict[str, int] = {}
    typed: dict[str, str] = {}
    problems: list[Problem] = []
    filled = rows[rows["choice"] != ""]
    doubled = set(filled.loc[filled["client_id"].duplicated(), "client_id"])
    for row, cells in filled.iterrows():
        client_id = str(cells["client_id"])
        typed[client_id] = _spell_out(cells)
        lot, reason = _find_lot(cells, lots, index, frame)
        if client_id in doubled:
            reason = "the client stands there twice with a choice"
        if reason:
            problem = f"choice {shown(cells['choice'])}: {reason}; the client stays unmatched"
            problems.append(fault(path.name, row_words(row), problem, _REMEDY, client_id=client_id))
        else:
            found[client_id] = lot
    return Choices(found, typed, problems)


def list_taken(choices: Choices, clients: pd.DataFrame, matches: list[Match]) -> list[Problem]:
    """List choices that name the lot of another client."""
    return [
        fault(FILE, "", f"choice {shown(choices.typed[client_id])}: {match.reason}; the client stays unmatched",
              "choose another lot, or put the id or address of the other client right", client_id=client_id)
        for client_id, match in zip(clients["client_id"], matches, strict=True)
        if client_id in choices.lots and not match.way
    ]  # fmt: skip


def refuse_filled(path: Path) -> None:
    """Refuse to write over a list that somebody filled in and that was not read."""
    if not path.is_file():
        return
    filled = read_sheet(path, CHOICES)[0].query("choice != ''")
    if len(filled):
        message = (
            f"{path.name} has a choice filled in ({row_words(filled.index[0])}, client {filled['client_id'].iloc[0]}) that "
            f"would be lost: add --matches {path.name} to use it, or move the file to another folder"
        )
        raise BookError(message)


def unmatched_csv(
    clients: pd.DataFrame,
    matches: list[Match],
    likely: list[tuple[int, ...]],
    lots: Lots,
    *,
    frame: str,
    typed: Mapping[str, str] = NOTHING_TYPED,
) -> bytes | None:
    """Write the clients without a lot, each with its likeliest lots, to be filled in; None without a row.

    Clients matched by a choice stand there too, so that the file can be read again next time.
    """
    names = _name_lots({lot for at in likely for lot in at} | _chosen(matches), lots, frame)
    rows = []
    cells = clients[["client_id", "name", "address", "parcel_id"]].itertuples(index=False)
    for client, match, at in zip(cells, matches, likely, strict=True):
        if match.way not in ("", "choice"):
            continue
        choice = names[match.lots[0]] if match.way else typed.get(str(client[0]), "")
        told = [part for lot in at for part in (names[lot], lots.table["address"].iloc[lot])]
        row = (*client, CHOSEN if match.way else match.reason, choice, *told)
        rows.append(dict(zip(CHOICES.names, map(str, row), strict=False)))
    return codecs.BOM_UTF8 + sheet_csv(CHOICES, rows) if rows else None


def _find_lot(cells: pd.Series[str], lots: Lots, index: Index, frame: str) -> tuple[int, str]:
    """Find the lot that a choice names, and what is wrong with it; blank where nothing is."""
    choice = " ".join(str(cells["choice"]).split())
    if choice in NUMBERS:
        named = str(cells.get(f"likely_{choice}", ""))
        if plain_id(choice) in index.by_id and plain_id(named) != plain_id(choice):
            return -1, "it is a parcel's id as well as a number of the list"
        choice = named
    if not choice:
        return -1, "no lot stands under that number"
    if found := _PLACE.match(choice):
        return _lot_at(float(found[1]), float(found[2]), lots, frame)
    key = plain_id(choice)
    if key in lots.no_lot_ids:
        return -1, f"it stands for no lot: {lots.no_lot_ids[key]}"
    return (index.by_id[key], "") if key in index.by_id else (-1, "no parcel has this id")


def _spell_out(cells: pd.Series[str]) -> str:
    """Give what a choice stands for: next time the numbers name other lots."""
    choice = str(cells["choice"]).strip()
    return (str(cells.get(f"likely_{choice}", "")) or choice) if choice in NUMBERS else choice


def _lot_at(lat: float, lon: float, lots: Lots, frame: str) -> tuple[int, str]:
    point = to_feet(np.array([shapely.Point(lon, lat)], object), frame)
    _, holding = lots.meet(point)
    holding = holding[~lots.table["is_right_of_way"].to_numpy(bool)[holding]]
    if len(holding) == 1:
        return int(holding[0]), ""
    return -1, "several lots lie there" if len(holding) else "no lot lies there"


def _chosen(matches: list[Match]) -> set[int]:
    return {match.lots[0] for match in matches if match.way == "choice"}


def _name_lots(wanted: set[int], lots: Lots, frame: str) -> dict[int, str]:
    """Name lots by id; one without by a place in it, which no spreadsheet changes."""
    order = np.array(sorted(wanted), dtype=int)
    ids = lots.table["parcel_id"].to_numpy()
    points = to_degrees(shapely.point_on_surface(lots.shapes[order]), frame)
    return {
        lot: str(ids[lot]) or f"{shapely.get_y(point):.6f}, {shapely.get_x(point):.6f}"
        for lot, point in zip(order.tolist(), points, strict=True)
    }
