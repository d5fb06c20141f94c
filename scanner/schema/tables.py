"""
The tables that flow from room to room, in the order of the story.

Every column states its unit and its meaning, and the tables in ``shared/`` are
generated from here. ``check_table`` is called where a table enters a room and where it
leaves it. The checks are our own, because a library for them brings the geometry along
with it, which half of the commands do without.

Conventions: text is never null, blank is ``""``; flags are ``"yes"``, ``"no"`` or
``""`` (not known) in what people write, real booleans in what we compute; numbers
that nobody gave are NaN; money is whole cents in ``_cents``; geometry is in
degrees in `FEATURES` only, elsewhere in feet in the plane named by ``frame``.
Several sentences in one column are joined by ``"; "``.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import TypeVar

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from scanner.errors import SchemaError
from scanner.schema.book_tables import CLIENTS, FEATURES, MEASURED, PROBLEMS
from scanner.schema.columns import (
    EDGE_SOURCES,
    FLAGS,
    LAWN_SOURCES,
    METHODS,
    SEVERITIES,
    SKIP_REASONS,
    SPRINKLERS,
    UTILITIES,
    Column,
    TableSchema,
)
from scanner.schema.edge_kinds import ALONG
from scanner.schema.feature_kinds import FEATURE_KINDS
from scanner.schema.ground_tables import (
    BED_LIST,
    BEDS,
    EDGES,
    LAYERS,
    LOT_LIST,
    LOTS,
    OFFER_BEDS,
    PLAN_LAYERS,
    PLAN_SHAPES,
    SHAPES,
)
from scanner.schema.job_tables import (
    CALLS,
    CHOSEN_PLANTS,
    LEFT_OUT,
    LINE_ITEMS,
    OFFERS,
    ORDER,
    PLANT_COUNTS,
    PLANTS,
    PRICES,
    QUANTITIES,
    TOTALS,
)

# The columns of a scan are short: arrow's strings took a quarter of a scan of six lots, 7 % at 1,000
pd.set_option("mode.string_storage", "python")

Table = TypeVar("Table", bound=pd.DataFrame)

TABLES = (
    CLIENTS, FEATURES, MEASURED, PROBLEMS, LOTS, EDGES, BEDS, OFFER_BEDS,
    QUANTITIES, PLANTS, PLANT_COUNTS, CHOSEN_PLANTS, ORDER, LINE_ITEMS, PRICES, OFFERS, CALLS, LEFT_OUT, TOTALS, SHAPES,
    PLAN_SHAPES,
)  # fmt: skip


def check_table(table: Table, schema: TableSchema) -> Table:
    """
    Check a table against its schema and give it the schema's types.

    Parameters
    ----------
    table
        Any number of rows; columns beyond the schema's are kept.
    schema
        One of `TABLES`.

    Returns
    -------
    checked
        A copy of the table with the schema's types.

    Raises
    ------
    SchemaError
        If a column is missing or a value breaks its check; the message lists all.

    Examples
    --------
    >>> check_table(empty_table(LOT_LIST), LOT_LIST).columns.tolist()
    ['client_id', 'lawn_source', 'lawn_ft2']
    """
    faults, changed = list[str](), dict[str, pd.Series]()
    for name, column in schema.columns.items():
        if name not in table:
            faults += [f"{name}: the column is missing"] if column.is_required else []
            continue
        values = table[name]
        try:
            typed = _typed(values, column)
        except (TypeError, ValueError) as err:
            faults.append(f"{name}: not {column.dtype}: {err}")
            continue
        if typed is not values:
            changed[name] = typed
        faults += [
            f"{name}: {words}: {typed[is_wrong].iloc[0]!r} in {int(is_wrong.sum())} of {len(table)} rows"
            for words, is_wrong in (_checks(typed, column) if len(table) else ())
            if is_wrong.any()
        ]
    keys = zip(*(table[name].to_numpy() for name in schema.unique if not faults), strict=True)
    if schema.unique and not faults and len({*keys}) < len(table):
        faults.append(f"{' '.join(schema.unique)}: a row stands twice")
    if faults:
        message = f"table {schema.name} breaks its schema:\n" + "\n".join(faults)
        raise SchemaError(message)
    return table.assign(**changed)


def empty_table(schema: TableSchema) -> pd.DataFrame:
    """
    Make a table without rows that has all the columns and types of a schema.

    >>> len(empty_table(CALLS)), "rank" in empty_table(CALLS)
    (0, True)
    """
    # To make one takes longer than many a table of rows
    kind = (schema.name, *schema.columns)
    if kind not in _EMPTY:
        nothing = pd.Series(dtype=object)
        columns = {name: _typed(nothing, column) for name, column in schema.columns.items()}
        _EMPTY[kind] = pd.DataFrame(columns)
    return _EMPTY[kind].copy()


_EMPTY = dict[tuple[str, ...], pd.DataFrame]()
"""Tables without rows by their name and columns, made once."""


def _typed(values: pd.Series, column: Column) -> pd.Series:
    """Give a column its type; raises ValueError or TypeError where it can't have it."""
    if values.dtype == column.dtype:
        return values
    if column.dtype == "geometry":
        from geopandas import GeoSeries  # noqa: PLC0415  # tables without shapes do without it

        return GeoSeries(values)
    typed = values.astype(column.dtype)
    if column.dtype == "int64" and values.dtype.kind == "f" and (typed != values).any():
        message = "not all are whole"
        raise ValueError(message)
    return typed


def _checks(values: pd.Series, column: Column) -> Iterator[tuple[str, NDArray[np.bool_]]]:
    """Name what is wrong, and in which rows."""
    cells = values.to_numpy()
    if not column.is_nullable and column.dtype not in ("bool", "int64"):
        yield "is missing", pd.isna(cells)
    if column.is_unique and len({*cells}) < len(cells):
        yield "stands twice", values.duplicated().to_numpy()
    if column.words and not {*cells} <= {*column.words}:
        yield f"is none of {column.words}", ~values.array.isin(column.words)
    if column.least is not None:
        sizes = values.str.len().to_numpy() if column.dtype == "str" else cells
        yield f"is less than {column.least:g}", sizes < column.least
    if column.most is not None:
        yield f"is more than {column.most:g}", cells > column.most
