"""Words that columns are made of, and how a column is described: unit, meaning, checks."""

from __future__ import annotations

import pandera.pandas as pa

FEATURE_KINDS = (
    "property", "lawn", "house", "outbuilding", "street", "sidewalk", "drive", "walk",
    "patio", "street_centerline", "bed", "water", "easement", "wildfire_area", "edge",
    "tree", "hydrant", "mailbox", "utility",
)  # fmt: skip
ALONG = ("curb", "house", "sidewalk", "drive", "walk", "patio", "fence")
UTILITIES = ("transformer", "gas_meter", "electric_meter", "water_meter", "pole")
LAWN_SOURCES = ("drawn", "inferred", "")
EDGE_SOURCES = ("measured", "drawn", "surveyed", "centerline")
SKIP_REASONS = (
    "denied", "built", "sold", "cut off", "too shallow", "too short", "too small",
)  # fmt: skip
FLAGS = ("yes", "no", "")
SPRINKLERS = ("yes", "no", "unknown", "")
SEVERITIES = ("fault", "note")
METHODS = ("hand", "sod cutter", "loader")


def text_column(
    meaning: str, *checks: pa.Check, unique: bool = False, required: bool = True
) -> pa.Column:
    """
    Describe a column of text.

    Parameters
    ----------
    meaning
        What the column holds.
    *checks
        What values must satisfy.
    unique
        Whether no value may stand twice.
    required
        Whether the column must be there.

    Returns
    -------
    column
        A column of a schema.
    """
    return pa.Column("str", list(checks), description=meaning, unique=unique, required=required)


def word_column(meaning: str, words: tuple[str, ...], *, required: bool = True) -> pa.Column:
    """
    Describe a column that holds one of some words.

    Parameters
    ----------
    meaning
        What the column holds.
    words
        Words allowed.
    required
        Whether the column must be there.

    Returns
    -------
    column
        A column of a schema.
    """
    return text_column(meaning, pa.Check.isin(words), required=required)


def number_column(
    unit: str, meaning: str, *, least: float | None = 0.0, known: bool = True, required: bool = True
) -> pa.Column:
    """
    Describe a column of measured numbers.

    Parameters
    ----------
    unit
        Unit of the values.
    meaning
        What the column holds.
    least
        Least value allowed; None: any.
    known
        Whether a value must be given.
    required
        Whether the column must be there.

    Returns
    -------
    column
        A column of a schema.
    """
    checks = [] if least is None else [pa.Check.ge(least)]
    return pa.Column(
        float,
        checks,
        nullable=not known,
        description=meaning,
        metadata={"unit": unit},
        required=required,
    )


def count_column(meaning: str) -> pa.Column:
    """
    Describe a column of whole counts.

    Parameters
    ----------
    meaning
        What the column holds.

    Returns
    -------
    column
        A column of a schema.
    """
    return pa.Column(int, [pa.Check.ge(0)], description=meaning, metadata={"unit": "count"})


def cents_column(meaning: str, *, least: int | None = 0) -> pa.Column:
    """
    Describe a column of money [cents].

    Parameters
    ----------
    meaning
        What the column holds.
    least
        Least value allowed; None: any.

    Returns
    -------
    column
        A column of a schema.
    """
    checks = [] if least is None else [pa.Check.ge(least)]
    return pa.Column(int, checks, description=meaning, metadata={"unit": "cents"})


def flag_column(meaning: str) -> pa.Column:
    """
    Describe a column of true and false.

    Parameters
    ----------
    meaning
        What the column holds.

    Returns
    -------
    column
        A column of a schema.
    """
    return pa.Column(bool, description=meaning)


def shape_column(meaning: str, unit: str = "ft", *, required: bool = True) -> pa.Column:
    """
    Describe a column of shapes.

    Parameters
    ----------
    meaning
        What the column holds.
    unit
        Unit of the coordinates.
    required
        Whether the column must be there.

    Returns
    -------
    column
        A column of a schema.
    """
    return pa.Column("geometry", description=meaning, metadata={"unit": unit}, required=required)


def table_schema(
    name: str, meaning: str, columns: dict[str, pa.Column], *, unique: list[str] | None = None
) -> pa.DataFrameSchema:
    """
    Describe a table; columns beyond those named are allowed.

    Parameters
    ----------
    name
        Name of the table.
    meaning
        What a row is.
    columns
        Its columns by name.
    unique
        Columns that together name a row.

    Returns
    -------
    schema
        A table's schema.
    """
    return pa.DataFrameSchema(
        columns, name=name, description=meaning, strict=False, coerce=True, unique=unique
    )
