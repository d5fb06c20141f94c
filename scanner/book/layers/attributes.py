"""What the columns of a layer say about its features: kind, client, and what goes with the kind."""

from __future__ import annotations

from collections.abc import Callable
from difflib import get_close_matches

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from scanner.schema.tables import ALONG, FEATURE_KINDS, UTILITIES
from scanner.sheets.description import NUMBER, WORD, YES_NO, Column
from scanner.sheets.problems import Problem, Where, fault, shown
from scanner.sheets.values import read_cells

COLUMNS = (
    "kind", "client_id", "along", "curbed", "parking", "pavement_ft", "dbh_in", "drives_known", "what",
)  # fmt: skip

MAX_PAVEMENT_FT = 200.0
MAX_DBH_IN = 240.0
"""Wider streets and thicker trunks are a slip of the pen (starting values, no source)."""

_SHAPEFILE_LETTERS = 10
_EXACT_INTEGER = 2.0**53
"""Beyond this a number with a comma has lost digits, and an id with them its meaning."""

_Rows = NDArray[np.bool_] | pd.Series


def name_fields(fields: pd.DataFrame) -> pd.DataFrame:
    """Pick the columns that are known and make them text.

    Capitals don't matter, and a name cut to ten letters, as a Shapefile does it, is known again. A
    whole number stays whole: 7.0 is ``7``.

    Columns `COLUMNS`, same rows, text without nulls.

    >>> fields = pd.DataFrame({"KIND": ["street_centerline"], "pavement_f": [36.0]})
    >>> name_fields(fields)[["kind", "pavement_ft", "client_id"]].iloc[0].tolist()
    ['street_centerline', '36', '']
    """
    known = {name[:_SHAPEFILE_LETTERS]: name for name in COLUMNS} | {name: name for name in COLUMNS}
    found: dict[str, pd.Series] = {}
    for column in fields.columns:
        name = known.get(str(column).strip().lower())
        if name and name not in found:
            found[name] = pd.Series([text_of(value) for value in fields[column]], dtype="str")
    texts = pd.DataFrame(found, index=range(len(fields)))
    return texts.reindex(columns=list(COLUMNS), fill_value="").astype("str")


def read_attributes(
    texts: pd.DataFrame, where: Where, ids: pd.Series[str]
) -> tuple[pd.DataFrame, NDArray[np.object_], list[Problem]]:
    """Read what the columns say; cells that go with another kind are passed over.

    attributes: Columns `COLUMNS` with the types of `FEATURES`. reasons: What keeps a feature out
    and the remedy, parted by a line break; blank where nothing does. problems: Faults of cells that
    were taken as blank.
    """
    kinds = _plain(texts["kind"])
    columns: dict[str, pd.Series] = {
        "kind": kinds,
        "along": _plain(texts["along"]).where(kinds == "edge", ""),
    }
    columns["what"] = _plain(texts["what"]).where(kinds == "utility", "")
    problems: list[Problem] = []
    streets = ("street", "street_centerline")
    for name, of in (("curbed", streets), ("parking", streets), ("drives_known", ("property",))):
        flags = texts[name].where(kinds.isin(of), "")
        # most layers leave most columns blank, and there is nothing to read in them
        if (flags == "").all():
            columns[name] = flags
            continue
        columns[name], found = read_cells(flags, Column(name, WORD, choices=YES_NO), where)
        problems += found
    for name, of, most in (
        ("dbh_in", ("tree",), MAX_DBH_IN),
        ("pavement_ft", ("street_centerline", "sidewalk"), MAX_PAVEMENT_FT),
    ):
        cells = texts[name].where(kinds.isin(of), "")
        if (cells == "").all():
            columns[name] = pd.Series(np.nan, index=cells.index)
            continue
        columns[name], found = read_cells(cells, Column(name, NUMBER, most=most), where)
        # a centerline without its width is left out whole, which says it all
        problems += found if name == "dbh_in" else []
    attributes = texts.assign(**columns)
    return attributes, _find_reasons(attributes, texts, ids), problems


def _find_reasons(
    attributes: pd.DataFrame, texts: pd.DataFrame, ids: pd.Series[str]
) -> NDArray[np.object_]:
    reasons = np.full(len(texts), "", dtype=object)

    def mark(is_wrong: _Rows, name: str, sentence: Callable[[str], str]) -> None:
        for at in np.flatnonzero(np.asarray(is_wrong) & (reasons == "")):
            reasons[at] = sentence(texts[name].iloc[at])

    kinds = attributes["kind"]
    mark(~kinds.isin(FEATURE_KINDS), "kind", _tell_kind)
    ids_given = attributes["client_id"]
    mark((ids_given != "") & ~ids_given.isin(ids), "client_id", _tell_client)
    mark((kinds == "edge") & ~attributes["along"].isin(ALONG), "along", _tell_word("along", ALONG))
    mark(
        (kinds == "utility") & ~attributes["what"].isin(UTILITIES),
        "what",
        _tell_word("what", UTILITIES),
    )
    mark(
        (kinds == "street_centerline") & ~(attributes["pavement_ft"] > 0),
        "pavement_ft",
        _tell_pavement,
    )
    return reasons


def _tell_kind(came: str) -> str:
    near = get_close_matches(came.lower(), FEATURE_KINDS, n=1)
    remedy = f"write {near[0]}" if near else f"write one of {', '.join(FEATURE_KINDS)}"
    return f"kind is {shown(came)}, which is none that is known; it is left out\n{remedy}"


def _tell_client(came: str) -> str:
    return (
        f"client_id {shown(came)} is not in the client list; it is left out\n"
        "add the client to the client list, or put the id right"
    )


def _tell_word(name: str, words: tuple[str, ...]) -> Callable[[str], str]:
    named = ", ".join(words)

    def tell(came: str) -> str:
        return f"{name} is {shown(came)}; one of {named} belongs there; it is left out\nwrite one of {named}"

    return tell


def _tell_pavement(came: str) -> str:
    return (
        f"pavement_ft is {shown(came)}; a street drawn as a line needs its paved width, above 0 and at most "
        f"{MAX_PAVEMENT_FT:g} ft; it is left out\nwrite the width from curb to curb in feet, as a number alone"
    )


def unknown_kinds(count: int, file: str, layer: str) -> list[Problem]:
    """Say once that none of a whole layer's features has a kind; nothing of no features."""
    if not count:
        return []
    problem = f"no feature has a kind; all are left out ({count:,})"
    remedy = f"add a column kind with one of {', '.join(FEATURE_KINDS)}"
    return [fault(file, f"layer {layer}" if layer else "", problem, remedy)]


def _plain(texts: pd.Series[str]) -> pd.Series[str]:
    return texts.str.lower().str.replace(r"[\s-]+", "_", regex=True)


def text_of(value: object) -> str:
    """Make text of a cell: a whole number stays whole, a flag is yes or no, null is blank.

    >>> [text_of(value) for value in (7.0, 2.5, True, None, " 07 ")]
    ['7', '2.5', 'yes', '', '07']
    """
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
    return str(value).strip()
