"""Columns of words: put where they apply, said once for each different value, joined."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
import pandas as pd


def text_where(sentence: str, applies: pd.Series) -> pd.Series:
    """Put a sentence where it applies, a blank elsewhere."""
    return pd.Series(np.where(applies, sentence, ""), index=applies.index, dtype="str")


def say_each(values: pd.Series, say: Callable[[Any], str]) -> pd.Series:
    """
    Say each value; those that stand in many rows are put into words once.

    >>> say_each(pd.Series([2, 1, 2]), "{} ft".format).tolist()
    ['2 ft', '1 ft', '2 ft']
    """
    place, different = pd.factorize(values, use_na_sentinel=False)
    words = pd.array([say(value) for value in different], dtype="str")
    return pd.Series(words.take(place), index=values.index)


def join_texts(texts: Sequence[pd.Series], *, by: str = "; ") -> pd.Series:
    """
    Join columns of sentences, blanks left out.

    >>> join_texts([pd.Series(["a", "", ""]), pd.Series(["b", "c", ""])]).tolist()
    ['a; b', 'c', '']
    """
    joined = [
        by.join(filter(None, row)) for row in zip(*(text.tolist() for text in texts), strict=True)
    ]
    return pd.Series(joined, index=texts[0].index, dtype="str")
