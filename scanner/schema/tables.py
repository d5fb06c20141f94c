"""
The tables that flow from room to room, in the order of the story.

Each is a pandera schema; every column states its unit and its meaning, and the
tables in ``shared/`` are generated from here. ``check_table`` is called where a
table enters a room and where it leaves it.

Conventions: text is never null, blank is ``""``; flags are ``"yes"``, ``"no"`` or
``""`` (not known) in what people write, real booleans in what we compute; numbers
that nobody gave are NaN; money is whole cents in ``_cents``; geometry is in
degrees in `FEATURES` only, elsewhere in feet in the plane named by ``frame``.
Several sentences in one column are joined by ``"; "``.
"""

from __future__ import annotations

from typing import TypeVar, cast

import pandas as pd
import pandera.errors
import pandera.pandas as pa

from scanner.errors import SchemaError
from scanner.schema.book_tables import (
    CLIENTS,
    FEATURES,
    MEASURED,
    PROBLEMS,
)
from scanner.schema.columns import (
    ALONG,
    EDGE_SOURCES,
    FEATURE_KINDS,
    FLAGS,
    LAWN_SOURCES,
    METHODS,
    SEVERITIES,
    SKIP_REASONS,
    SPRINKLERS,
    UTILITIES,
)
from scanner.schema.ground_tables import (
    BED_ORDER,
    BEDS,
    EDGES,
    LAYERS,
    LOTS,
    OFFER_BEDS,
    SHAPES,
)
from scanner.schema.job_tables import (
    CALLS,
    LINE_ITEMS,
    OFFERS,
    PLANTS,
    PRICES,
    QUANTITIES,
)

__all__ = [
    "ALONG",
    "BEDS",
    "BED_ORDER",
    "CALLS",
    "CLIENTS",
    "EDGES",
    "EDGE_SOURCES",
    "FEATURES",
    "FEATURE_KINDS",
    "FLAGS",
    "LAWN_SOURCES",
    "LAYERS",
    "LINE_ITEMS",
    "LOTS",
    "MEASURED",
    "METHODS",
    "OFFERS",
    "OFFER_BEDS",
    "PLANTS",
    "PRICES",
    "PROBLEMS",
    "QUANTITIES",
    "SEVERITIES",
    "SHAPES",
    "SKIP_REASONS",
    "SPRINKLERS",
    "TABLES",
    "UTILITIES",
    "check_table",
    "empty_table",
]

Table = TypeVar("Table", bound=pd.DataFrame)

TABLES = (
    CLIENTS, FEATURES, MEASURED, PROBLEMS, LOTS, EDGES, BEDS, BED_ORDER, OFFER_BEDS,
    QUANTITIES, PLANTS, LINE_ITEMS, PRICES, OFFERS, CALLS, SHAPES,
)  # fmt: skip


def check_table(table: Table, schema: pa.DataFrameSchema) -> Table:
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
    >>> check_table(empty_table(BED_ORDER), BED_ORDER).columns.tolist()
    ['client_id', 'bed_id', 'place']
    """
    try:
        return cast("Table", schema.validate(table, lazy=True))
    except pandera.errors.SchemaErrors as err:
        message = f"table {schema.name} breaks its schema:\n{err.failure_cases.head(20)}"
        raise SchemaError(message) from err


def empty_table(schema: pa.DataFrameSchema) -> pd.DataFrame:
    """
    Make a table without rows that has all the columns of a schema.

    Parameters
    ----------
    schema
        One of `TABLES`.

    Returns
    -------
    table
        No rows, the schema's columns and types.

    Examples
    --------
    >>> len(empty_table(CALLS)), "rank" in empty_table(CALLS)
    (0, True)
    """
    return schema.validate(pd.DataFrame({name: pd.Series(dtype=object) for name in schema.columns}))
