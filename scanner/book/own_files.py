"""What the office's own files say of a client: rows of its csv and xlsx files, features of its drawings, taken out on request."""

from __future__ import annotations

import csv
import json
import re
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from scanner.sheets.cells import unguard
from scanner.sheets.description import plain_heading
from scanner.sheets.workbooks import blank_rows
from scanner.store.private import write_anew

ID_HEADING = plain_heading("client_id")
GROUND = ("kind", "along", "curbed", "parking", "pavement_ft", "dbh_in", "drives_known", "what")
"""What of a feature says nothing of a person: the drawing of a lot stays, without its client."""

_ONE_BYTE = "latin-1"  # gives every byte back as it was
_UTF_8_MARK = "\ufeff".encode().decode(_ONE_BYTE)


def take_out(path: Path, client_id: str) -> int:
    """Take a client out of a file of ours or the office's, if it is a csv, plain xlsx or GeoJSON; gives how many rows or features it were.

    All other rows of a csv stay byte for byte, in an xlsx blank rows are left; features of a drawing stay as ground
    that is nobody's.
    """
    kind = path.suffix.lower()
    if kind == ".csv":
        return _take_out_rows(path, client_id)
    if kind == ".xlsx":
        return blank_rows(path, client_id, heading=ID_HEADING)
    return _take_out_features(path, client_id) if kind == ".geojson" else 0


def _take_out_rows(path: Path, client_id: str) -> int:
    wanted = client_id.encode().decode(_ONE_BYTE)
    lines = re.findall(r"[^\n]*\n|[^\n]+", path.read_bytes().decode(_ONE_BYTE))
    records = list(_records(lines))
    place, mark, kept = -1, ",", list[str]()
    for record in records:
        if place < 0:
            place, mark = _find_heading(record)
        cells = next(csv.reader([record], delimiter=mark), [])
        told = cells[place].strip() if 0 <= place < len(cells) else ""
        if not told or unguard(told) != wanted:
            kept.append(record)
    if gone := len(records) - len(kept):
        write_anew(path, "".join(kept).encode(_ONE_BYTE))
    return gone


def _records(lines: Iterable[str]) -> Iterable[str]:
    """Put together the lines of each record: a cell may go over several."""
    record = ""
    for line in lines:
        record += line
        if record.count('"') % 2 == 0:
            yield record
            record = ""
    if record:
        yield record


def _find_heading(record: str) -> tuple[int, str]:
    """Find the column of the ids, and what stands between cells; -1: this is no row of headings with one."""
    for mark in ",;\t":
        told = next(csv.reader([record.removeprefix(_UTF_8_MARK)], delimiter=mark), [])
        cells = [plain_heading(cell) for cell in told]
        if ID_HEADING in cells:
            return cells.index(ID_HEADING), mark
    return -1, ","


def _take_out_features(path: Path, client_id: str) -> int:
    try:
        drawn: Any = json.loads(path.read_bytes())
        features = [one for one in drawn["features"] if str(one["properties"].get("client_id")) == client_id]  # fmt: skip
    except (ValueError, KeyError, TypeError, AttributeError):
        return 0
    for feature in features:
        feature.pop("id", None)
        feature["properties"] = {
            name: value for name, value in feature["properties"].items() if name in GROUND
        }
    if features:
        write_anew(path, json.dumps(drawn, ensure_ascii=False).encode())
    return len(features)
