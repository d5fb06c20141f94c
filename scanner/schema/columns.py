"""Words that columns are made of, and how a column is described: unit, meaning, checks."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

UTILITIES = ("transformer", "gas_meter", "electric_meter", "water_meter", "pole")
LAWN_SOURCES = ("drawn", "inferred", "")
EDGE_SOURCES = ("measured", "drawn", "surveyed", "centerline")
SKIP_REASONS = {
    "denied": "a crew saw no turf there", "built": "it is left beside a built bed", "sold": "it is sold already",
    "cut off": "it is cut off from its edge", "too shallow": "it is too shallow", "too short": "it is too short",
    "too small": "it is too small",
}  # fmt: skip
"""Why a bed is not offered, and how that is said."""

FLAGS = ("yes", "no", "")
SPRINKLERS = ("yes", "no", "unknown", "")
SEVERITIES = ("fault", "note")
METHODS = ("hand", "sod cutter", "loader", "cutter and loader")

DType = Literal["str", "float64", "int64", "bool", "geometry"]


@dataclass(frozen=True)
class Column:
    """A column of a table: what it holds, in which unit, and which values are allowed."""

    dtype: DType  # type as pandas names it
    meaning: str  # what it holds
    unit: str = ""  # unit of its values; blank for text and flags
    # least, most: least and greatest value allowed, of a text the least length; None: any
    least: float | None = None
    most: float | None = None
    words: tuple[str, ...] = ()  # the only words allowed; none: any
    # is_nullable, is_unique, is_required: whether a value may be missing, may stand once only, the
    # column must be there
    is_nullable: bool = False
    is_unique: bool = False
    is_required: bool = True


@dataclass(frozen=True)
class TableSchema:
    """A table: its columns by name; columns beyond them are allowed."""

    name: str  # name of the table
    meaning: str  # what a row is
    columns: Mapping[str, Column]  # columns in their order
    unique: tuple[str, ...] = ()  # columns that together name a row; none: nothing does


def text_column(
    meaning: str, *, least: int | None = None, unique: bool = False, required: bool = True
) -> Column:
    """Describe a column of text."""
    return Column("str", meaning, least=least, is_unique=unique, is_required=required)


def word_column(meaning: str, words: tuple[str, ...]) -> Column:
    """Describe a column that holds one of some words."""
    return Column("str", meaning, words=words)


def number_column(
    unit: str,
    meaning: str,
    *,
    least: float | None = 0.0,
    most: float | None = None,
    known: bool = True,
) -> Column:
    """Describe a column of measured numbers; where not all are known, NaN stands for the rest."""
    return Column("float64", meaning, unit, least, most, is_nullable=not known)


def count_column(meaning: str, *, least: int = 0) -> Column:
    """Describe a column of whole counts."""
    return Column("int64", meaning, "count", least)


def cents_column(meaning: str, *, least: int | None = 0) -> Column:
    """Describe a column of money [cents]."""
    return Column("int64", meaning, "cents", least)


def flag_column(meaning: str) -> Column:
    """Describe a column of true and false."""
    return Column("bool", meaning)


def shape_column(meaning: str, unit: str = "ft", *, required: bool = True) -> Column:
    """Describe a column of shapes; the unit is that of their coordinates."""
    return Column("geometry", meaning, unit, is_required=required)


def select(table: TableSchema, names: str) -> dict[str, Column]:
    """Take columns of another table over, so that each is described once."""
    return {name: table.columns[name] for name in names.split()}
