"""
Entries that are known by a key and told in details: what is news, and what all say together.

Details typed later add to an entry: the newest that is not blank counts, so that a blank
never wipes out a note. Whoever says no more than an entry on record says nothing new.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import pandas as pd


def judge_told(
    rows: pd.DataFrame, standing: pd.DataFrame, *, key: Sequence[str], details: Sequence[str]
) -> pd.Series[str]:
    """
    Tell which rows are new, which change what is on record, and which are known.

    Parameters
    ----------
    rows
        Columns `key` and `details`, text, n rows in the order of typing.
    standing
        The same columns: every entry on record that was not taken back.
    key
        Columns by which an entry is known.
    details
        Columns that may be told later.

    Returns
    -------
    verdicts
        ``"added"``, ``"changed"`` or ``"known"``, on the index of `rows`; a row that stands
        in `rows` twice is known the second time.

    Examples
    --------
    >>> one = pd.DataFrame([("A", "gate")], columns=["client_id", "note"])
    >>> more = pd.concat([one, one.assign(note=""), one.assign(note="dog")])
    >>> judge_told(more, one.iloc[:0], key=["client_id"], details=["note"]).tolist()
    ['added', 'known', 'changed']
    """
    versions: dict[tuple[str, ...], list[tuple[str, ...]]] = {}
    for name, told in zip(_tuples(standing, key), _tuples(standing, details), strict=True):
        versions.setdefault(name, []).append(told)
    verdicts = []
    for name, told in zip(_tuples(rows, key), _tuples(rows, details), strict=True):
        before = versions.setdefault(name, [])
        is_known = any(_says_no_more(told, version) for version in before)
        verdicts.append("known" if is_known else "changed" if before else "added")
        if not is_known:
            before.append(told)
    return pd.Series(verdicts, index=rows.index, dtype="str", name="verdict")


def add_up(entries: pd.DataFrame, *, key: Sequence[str], details: Sequence[str]) -> pd.DataFrame:
    """
    Put the entries of each key together.

    Parameters
    ----------
    entries
        Any columns with `key` and `details` among them, in the order of recording.
    key
        Columns by which an entry is known.
    details
        Columns of which the newest that is not blank counts.

    Returns
    -------
    rows
        The same columns, one row a key, in the order of first recording; what is no detail
        stands as in the first entry.

    Examples
    --------
    >>> entries = pd.DataFrame([(1, "A", "gate"), (2, "A", ""), (3, "A", "dog")], columns=["n", "id", "note"])
    >>> add_up(entries, key=["id"], details=["note"]).values.tolist()
    [[1, 'A', 'dog']]
    """
    rows: dict[tuple[str, ...], dict[str, Any]] = {}
    for entry in entries.to_dict("records"):
        plain = {str(name): value for name, value in entry.items()}
        row = rows.setdefault(tuple(plain[name] for name in key), dict(plain))
        for name in details:
            row[name] = plain[name] or row[name]
    return pd.DataFrame(list(rows.values()), columns=[*entries.columns])


def _tuples(table: pd.DataFrame, columns: Sequence[str]) -> list[tuple[str, ...]]:
    return list(table[[*columns]].itertuples(index=False, name=None))


def _says_no_more(told: tuple[str, ...], version: tuple[str, ...]) -> bool:
    return all(new in {"", old} for new, old in zip(told, version, strict=True))
