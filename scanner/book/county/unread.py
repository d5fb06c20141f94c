"""What a layer says beside its shapes and is not used: told once a column, never passed over."""

from __future__ import annotations

import re
from collections.abc import Callable

import numpy as np
import pandas as pd

from scanner.book.county.columns import list_names, read_texts
from scanner.book.county.kinds import HOUSE
from scanner.book.county.layers import LayerFeatures
from scanner.book.layers.attributes import MAX_DBH_IN, MAX_PAVEMENT_FT
from scanner.sheets.description import NUMBER, WORD, YES_NO, Column
from scanner.sheets.problems import Problem, note, shown
from scanner.sheets.values import read_cells

_Read = Callable[["pd.Series[str]", LayerFeatures], pd.Series]

_ROOF = re.compile(
    r"\b(?:canop(?:y|ies)|porch(?:es)?|decks?|overhangs?|awnings?|carports?|pergolas?|gazebos?|balcon(?:y|ies)"
    r"|stoops?|steps|stairs?)\b",
    re.IGNORECASE,
)
"""Words for what a layer of buildings holds that has no wall at the ground (common practice, no source)."""

_LOOKED_AT = 1000
_MOST_WORDS = 40
"""A column with more different words than this sorts no buildings: it names owners or streets."""


def note_columns(layers: list[LayerFeatures]) -> list[Problem]:
    """Name the columns that hold what cannot be used, or tell buildings apart that are all used."""
    unread = [
        problem
        for things in layers
        for name, (kinds, read, wanted) in _TAKEN.items()
        if things.kind.name in kinds
        for problem in _note_column(things, name, read, wanted)
    ]
    roofs = [
        problem
        for things in layers
        if things.kind is HOUSE
        for column in things.fields.columns
        for problem in _note_roofs(things, column)
    ]
    return [*unread, *roofs]


def _note_roofs(things: LayerFeatures, column: str) -> list[Problem]:
    cells = things.fields[column].dropna()
    # ids and names are told by their first rows: a county has a hundred thousand buildings
    first = cells.head(_LOOKED_AT).astype("str")
    if pd.api.types.is_numeric_dtype(cells) or first.nunique() > _MOST_WORDS:
        return []
    counts = cells.astype("str").value_counts().sort_index(kind="stable").drop("", errors="ignore")
    is_roof = counts.index.str.replace(r"[_-]", " ", regex=True).str.contains(_ROOF)
    if len(counts) > _MOST_WORDS or not is_roof.any():
        return []
    words, others = counts.index[is_roof], counts.index[~is_roof]
    count = int(counts[is_roof].sum())
    verb = "is no house" if count == 1 else "are no houses"
    problem = (
        f"{column}: {count:,} of {len(things):,} {verb} by their own words ({list_names(words)}), and their edges "
        "count as house walls"
    )
    picks = " ".join(f'--only "house={column}:{word}"' for word in others)
    remedy = f"leave them out with {picks}" if picks else "leave the layer out"
    return [note(things.source.name, "", problem, remedy)]


def _note_column(things: LayerFeatures, name: str, read: _Read, wanted: str) -> list[Problem]:
    columns = {str(column).lower(): column for column in things.fields.columns}
    if name not in columns:
        return []
    texts = read_texts(things.fields[columns[name]]).rename(name)
    understood = read(texts, things)
    unread = np.flatnonzero((texts != "") & ((understood == "") | understood.isna()))
    if not len(unread):
        return []
    count = "1 cell holds" if len(unread) == 1 else f"{len(unread):,} cells hold"
    problem = (
        f"{columns[name]}: {count} no {wanted} (the first {shown(texts.iloc[unread[0]])}); "
        "that counts as not known"
    )
    remedy = f"nothing to do if it does not matter; else write {wanted} in a copy of the layer"
    return [note(**things.place(int(unread[0])), problem=problem, remedy=remedy)]


def _flags(texts: pd.Series[str], things: LayerFeatures) -> pd.Series:
    return read_cells(texts, Column(str(texts.name), WORD, choices=YES_NO), things.place)[0]


def _feet(texts: pd.Series[str], things: LayerFeatures) -> pd.Series:
    return read_cells(texts, Column("pavement_ft", NUMBER, most=MAX_PAVEMENT_FT), things.place)[0]


def _inches(texts: pd.Series[str], things: LayerFeatures) -> pd.Series:
    return read_cells(texts, Column("dbh_in", NUMBER, most=MAX_DBH_IN), things.place)[0]


_STREETS = ("street", "street_centerline")
_TAKEN: dict[str, tuple[tuple[str, ...], _Read, str]] = {
    "curbed": (_STREETS, _flags, "yes or no"),
    "parking": (_STREETS, _flags, "yes or no"),
    "pavement_ft": (("street_centerline",), _feet, f"width from 0 to {MAX_PAVEMENT_FT:g} ft"),
    "dbh_in": (("tree",), _inches, f"trunk from 0 to {MAX_DBH_IN:g} in"),
}
"""By column: kinds of layers that it is taken from, how it is read, what belongs there."""
