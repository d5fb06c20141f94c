"""Columns of a layer: found by name, made text, and listed for a sentence."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

from scanner.book.layers.attributes import text_of
from scanner.errors import SiteError

_SHOWN_COUNT = 30


def read_texts(column: pd.Series) -> pd.Series[str]:
    """Make text of a column; a whole number stays whole, null is blank.

    Same index, trimmed, single blanks.

    >>> read_texts(pd.Series([7.0, None, 2.5])).tolist(), read_texts(pd.Series([" 0 7 ", None])).tolist()
    (['7', '', '2.5'], ['0 7', ''])
    """
    return pd.Series(
        [" ".join(text_of(value).split()) for value in column], index=column.index, dtype="str"
    )


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
    """List names in a sentence, not more than a few dozen.

    >>> list_names(["a", "b"]), list_names([])
    ('a, b', 'none')
    """
    texts = [str(name) for name in names]
    more = f" and {len(texts) - _SHOWN_COUNT:,} more" if len(texts) > _SHOWN_COUNT else ""
    return ", ".join(texts[:_SHOWN_COUNT]) + more or "none"
