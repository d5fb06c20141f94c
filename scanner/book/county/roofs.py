"""Buildings that their layer tells apart and that are all used: told, never passed over."""

from __future__ import annotations

import re

import pandas as pd

from scanner.book.county.layer_columns import list_names
from scanner.book.county.layer_kinds import HOUSE
from scanner.book.county.layers import LayerFeatures
from scanner.sheets.problems import Problem, note

_ROOF = re.compile(
    r"\b(?:canop(?:y|ies)|porch(?:es)?|decks?|overhangs?|awnings?|carports?|pergolas?|gazebos?|balcon(?:y|ies)"
    r"|stoops?|steps|stairs?)\b",
    re.IGNORECASE,
)
"""Words for what a layer of buildings holds that has no wall at the ground (common practice, no source)."""

_LOOKED_AT = 1000
_MOST_WORDS = 40
"""A column with more different words than this sorts no buildings: it names owners or streets."""


def note_roofs(layers: list[LayerFeatures]) -> list[Problem]:
    """Name what a layer of buildings holds that has no wall at the ground, by its own words."""
    return [
        problem
        for things in layers
        if things.kind is HOUSE
        for column in things.fields.columns
        for problem in _note_roofs(things, column)
    ]


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
