"""Columns of a layer: found by name, made text, and listed for a sentence."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from scanner.book.layers.attributes import CELLS, MAX_DBH_IN, MAX_PAVEMENT_FT, text_of
from scanner.errors import SiteError
from scanner.sheets.description import YEARS_BUILT
from scanner.sheets.problems import Problem, Where, note, shown
from scanner.sheets.values import read_cells

_SHOWN_COUNT = 30

_SAYING = ("property", "street", "street_centerline", "tree")
_WANTED = {
    "pavement_ft": f"width from 0 to {MAX_PAVEMENT_FT:g} ft",
    "year_built": f"year from {YEARS_BUILT[0]} to {YEARS_BUILT[1]}",
    "dbh_in": f"trunk from 0 to {MAX_DBH_IN:g} in",
}


def read_texts(column: pd.Series) -> pd.Series[str]:
    """Make text of a column, with single blanks; a whole number stays whole, null is blank.

    >>> read_texts(pd.Series([7.0, None, 2.5])).tolist(), read_texts(pd.Series([" 0 7 ", None])).tolist()
    (['7', '', '2.5'], ['0 7', ''])
    """
    return pd.Series(
        [" ".join(text_of(value).split()) for value in column], index=column.index, dtype="str"
    )


def read_said(
    kind: str, fields: pd.DataFrame, place: Where, file: str
) -> tuple[pd.DataFrame, list[Problem]]:
    """Read what a layer says beside its shapes: the columns `CELLS`, and a note a column with cells that say nothing."""
    there = {str(name).lower(): name for name in fields.columns}
    said, notes = dict[str, pd.Series](), list[Problem]()
    for column, kinds in CELLS:
        name = there.get(column.name) if kind in kinds and kind in _SAYING else None
        texts = pd.Series("", index=fields.index, dtype="str")
        texts = texts if name is None else read_texts(fields[name])
        said[column.name], unread = read_cells(texts, column, place)
        if unread:
            at = int(np.flatnonzero(texts.ne("") & said[column.name].replace("", None).isna())[0])
            count = "1 cell holds" if len(unread) == 1 else f"{len(unread):,} cells hold"
            wanted = _WANTED.get(column.name, "yes or no")
            problem = f"{name}: {count} no {wanted} (the first {shown(texts.iloc[at])}); that counts as not known"
            remedy = (
                f"nothing to do if it does not matter; else write {wanted} in a copy of the layer"
            )
            notes.append(note(file, place(at)["feature"], problem, remedy))
    return pd.DataFrame(said, index=fields.index), notes


def find_column(fields: pd.DataFrame, name: str, file: str) -> pd.Series:
    """Find a column by its name; capitals matter only where two differ in nothing else."""
    near = [column for column in fields.columns if str(column).lower() == name.lower()]
    if name in fields.columns or len(near) == 1:
        return fields[name if name in fields.columns else near[0]]
    message = (
        f"{file} has no column '{name}'; the columns that are there: {list_names(fields.columns)}"
    )
    raise SiteError(message)


def list_names(names: Sequence[object] | pd.Index) -> str:
    """List names in a sentence, not more than a few dozen."""
    texts = [str(name) for name in names]
    more = f" and {len(texts) - _SHOWN_COUNT:,} more" if len(texts) > _SHOWN_COUNT else ""
    return ", ".join(texts[:_SHOWN_COUNT]) + more or "none"
