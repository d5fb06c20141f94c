"""What the columns of a layer say about its features: kind, client, and what goes with the kind."""

from __future__ import annotations

import re
from collections.abc import Collection, Set
from difflib import get_close_matches
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from scanner.schema.tables import ALONG, FEATURE_KINDS, FEATURES, UTILITIES
from scanner.sheets.cells import only_text
from scanner.sheets.description import NUMBER, WHOLE, WORD, YEARS_BUILT, YES_NO, Column
from scanner.sheets.problems import Cause, Problem, Where, fault, first_faults
from scanner.sheets.values import Texts, read_plain

COLUMNS = tuple(name for name in FEATURES.columns if name not in ("feature_id", "file", "geometry"))

MAX_PAVEMENT_FT = 200.0
MAX_DBH_IN = 240.0
"""Wider streets and thicker trunks are a slip of the pen (starting values, no source)."""

_STREETS = ("street", "street_centerline")
CELLS = (
    (Column("curbed", WORD, choices=YES_NO), _STREETS),
    (Column("parking", WORD, choices=YES_NO), _STREETS),
    (Column("drives_known", WORD, choices=YES_NO), ("property",)),
    (Column("year_built", WHOLE, *YEARS_BUILT), ("property",)),
    (Column("dbh_in", NUMBER, most=MAX_DBH_IN), ("tree",)),
    (Column("pavement_ft", NUMBER, most=MAX_PAVEMENT_FT), ("street_centerline", "sidewalk")),
)
"""Columns that are not plain text, and the kinds of features that they go with."""

_SHAPEFILE_LETTERS = 10
_EXACT_INTEGER = 2.0**53
"""Beyond this a number with a comma has lost digits, and an id with them its meaning."""


def name_fields(fields: pd.DataFrame) -> pd.DataFrame:
    """Pick the columns that are known and make them text: `COLUMNS`.

    Capitals don't matter, and a name cut to ten letters, as a Shapefile does it, is known again.

    >>> fields = pd.DataFrame({"KIND": ["street_centerline"], "pavement_f": [36.0]})
    >>> name_fields(fields)[["kind", "pavement_ft", "client_id"]].iloc[0].tolist()
    ['street_centerline', '36', '']
    """
    known = {name[:_SHAPEFILE_LETTERS]: name for name in COLUMNS} | {name: name for name in COLUMNS}
    texts = dict.fromkeys(COLUMNS, [""] * len(fields))
    for column in reversed(fields.columns):  # of two that mean the same the first counts
        if name := known.get(str(column).strip().lower()):
            texts[name] = [text_of(value) for value in fields[column]]
    return pd.DataFrame(texts, dtype="str")


def read_attributes(
    texts: pd.DataFrame, where: Where, ids: Set[str]
) -> tuple[pd.DataFrame, pd.Series[bool], list[Problem]]:
    """Read what the columns say; cells that go with another kind are passed over.

    Columns of `FEATURES`; which features are faulty; a fault for each, and for each cell taken as blank.
    """
    kinds = _plain(texts["kind"])
    columns: dict[str, NDArray[Any]] = {
        "kind": kinds,
        "along": np.where(kinds == "edge", _plain(texts["along"]), ""),
        "what": np.where(kinds == "utility", _plain(texts["what"]), ""),
    }
    problems: list[Problem] = []
    for column, of in CELLS:
        cells = np.where(_are_among(kinds, of), texts[column.name], "")
        columns[column.name], found = read_plain(cells, column, where)
        # a centerline without its width is left out whole, which says it all
        problems += [] if column.name == "pavement_ft" else found
    attributes = texts.assign(**columns)
    causes = _causes(attributes, ids)
    is_faulty, faults = first_faults(texts, causes, where, end="it is left out")
    return attributes, is_faulty, [*problems, *faults]


def _causes(attributes: pd.DataFrame, ids: Set[str]) -> tuple[Cause, ...]:
    kinds, given, along, what = (
        attributes[name].to_numpy(object) for name in ("kind", "client_id", "along", "what")
    )
    named = {kind: _name_kind(kind) for kind in {*kinds}.difference(FEATURE_KINDS)}
    alongs, utilities = ", ".join(ALONG), ", ".join(UTILITIES)
    return (
        (_are_among(kinds, named), "kind is {kind}, which is none that is known", attributes["kind"].map(named)),
        (_are_among(given, {*given} - ids - {""}), "client_id {client_id} is not in the client list",
         "add the client to the client list, or put the id right"),
        ((kinds == "edge") & ~_are_among(along, ALONG),
         f"along is {{along}}; one of {alongs} belongs there", f"write one of {alongs}"),
        ((kinds == "utility") & ~_are_among(what, UTILITIES),
         f"what is {{what}}; one of {utilities} belongs there", f"write one of {utilities}"),
        ((kinds == "street_centerline") & ~(attributes["pavement_ft"].to_numpy() > 0),
         "pavement_ft is {pavement_ft}; a street drawn as a line needs its paved width, above 0 and at most "
         f"{MAX_PAVEMENT_FT:g} ft", "write the width from curb to curb in feet, as a number alone"),
    )  # fmt: skip


def _name_kind(came: str) -> str:
    near = get_close_matches(came, FEATURE_KINDS, n=1) or [f"one of {', '.join(FEATURE_KINDS)}"]
    return f"write {near[0]}"


def unknown_kinds(count: int, file: str, layer: str) -> list[Problem]:
    """Say once that none of a whole layer's features has a kind; nothing of no features."""
    if not count:
        return []
    problem = f"no feature has a kind; all are left out ({count:,})"
    remedy = f"add a column kind with one of {', '.join(FEATURE_KINDS)}"
    return [fault(file, f"layer {layer}" if layer else "", problem, remedy)]


def _plain(texts: pd.Series[str]) -> Texts:
    return np.array([re.sub(r"[\s-]+", "_", text.lower()) for text in texts], dtype=object)


def _are_among(words: Texts, some: Collection[str]) -> NDArray[np.bool_]:
    # Not the libraries' own ways, which take a hundred times as long over a few words
    return np.fromiter((word in some for word in words), bool, len(words))


def text_of(value: object) -> str:
    """Make text of a cell: a whole number stays whole, a flag is yes or no, null is blank.

    >>> [text_of(value) for value in (7.0, 2.5, True, None, " 07 ")]
    ['7', '2.5', 'yes', '', '07']
    """
    if isinstance(value, str | dict | list):
        return only_text(value).strip() if isinstance(value, str) else "(several values)"
    if value is None or value is pd.NA or value is pd.NaT:
        return ""
    if isinstance(value, bool | np.bool_):
        return "yes" if value else "no"
    if isinstance(value, float | np.floating):
        if np.isnan(value):
            return ""
        number = float(value)
        is_whole = number.is_integer() and abs(number) < _EXACT_INTEGER
        return str(int(number)) if is_whole else str(number)
    return only_text(str(value)).strip()
