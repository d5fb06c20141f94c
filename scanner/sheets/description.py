"""What a sheet is: its columns, each with type, limits, look, and who fills it in."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from itertools import chain
from math import inf
from typing import Any

from scanner.schema.columns import Column as TableColumn
from scanner.schema.columns import TableSchema

TEXT, NUMBER, WHOLE, WORD, DATE, DAY = "text", "number", "whole", "word", "date", "day"
"""Kinds of cells: a date is ISO and may be a year alone; a day is one of the calendar, however people write it."""

YES_NO = ("yes", "no")
YEARS_BUILT = (1600, 2200)
"""Years in which a house may have been built."""
USUAL_WIDTH = 13.0
MONEY_LOOK, DAY_LOOK, TEXT_LOOK = '"$"#,##0.00', "yyyy-mm-dd", "@"


@dataclass(frozen=True)
class Column:
    """A column of a sheet.

    ``least`` and ``most`` are in the unit that the name ends in. A number may carry the marks of ``unit``.
    ``doubtful`` is what a word that can't be read is taken for, ``also`` are other
    headings that people write above it. ``width`` is in letters, ``look`` a
    spreadsheet's number format. What is ``filled_in`` is shaded and has a drop-down or a check behind it.
    """

    name: str
    kind: str = TEXT
    least: float | None = 0.0
    most: float = inf
    choices: tuple[str, ...] = ()
    doubtful: str = ""
    unit: str = ""
    heading: str = ""
    also: tuple[str, ...] = ()
    hint: str = ""
    width: float = USUAL_WIDTH
    look: str = ""
    is_filled_in: bool = False
    is_wrapped: bool = False
    is_folded: bool = False

    @property
    def number_format(self) -> str:
        """How a spreadsheet shows its cells."""
        usual = MONEY_LOOK if self.name.endswith("_usd") else "General"
        return self.look or (DAY_LOOK if self.kind == DAY else usual)


@dataclass(frozen=True)
class Sheet:
    """A sheet: columns in order, those by which it is known (all of ``needs``, one of ``needs_one``), and how it prints.

    The first ``kept_count`` columns stay in sight when it is scrolled; it is ``pages_wide`` on paper. Rows
    with a height of their own [points] are boxes to write in. The same records may come back in other ``forms``.
    """

    title: str
    columns: tuple[Column, ...]
    needs: tuple[str, ...] = ()
    needs_one: tuple[str, ...] = ()
    kept_count: int = 3
    pages_wide: int = 1
    row_height: float | None = None
    forms: tuple[Form, ...] = ()

    @cached_property
    def names(self) -> tuple[str, ...]:
        """Columns by name."""
        return tuple(column.name for column in self.columns)

    @cached_property
    def filled_in(self) -> tuple[str, ...]:
        """Columns that people fill in."""
        return tuple(column.name for column in self.columns if column.is_filled_in)

    @cached_property
    def by_heading(self) -> dict[str, str]:
        """Columns by their names as they are compared."""
        return {plain_heading(name): name for name in self.names}

    @cached_property
    def by_other_heading(self) -> dict[str, str]:
        """Columns by what else people write above them."""
        return {other: column.name for column in self.columns for other in column.also}

    def fits(self, headings: Iterable[str]) -> bool:
        """Whether a sheet with these headings is one of these, or one of its forms."""
        return self.form(headings) is not None

    def form(self, headings: Iterable[str]) -> Form | None:
        """Tell in which form a sheet with these headings has the records; None: it has none."""
        headings = list(headings)
        found = self._found(headings)
        if set(self.needs) <= found and (not self.needs_one or bool(found & {*self.needs_one})):
            return Form(self)
        return next((form for form in self.forms if form.sheet.fits(headings)), None)

    def knows(self, headings: Iterable[str]) -> bool:
        """Whether one of these headings is a column's."""
        headings = list(headings)
        return bool(self._found(headings)) or any(form.sheet.knows(headings) for form in self.forms)

    def _found(self, headings: Iterable[str]) -> set[str]:
        plain = [plain_heading(heading) for heading in headings]
        known = self.by_other_heading | self.by_heading
        return {known[heading] for heading in plain if heading in known}

    def __getitem__(self, name: str) -> Column:
        """Give a column by its name; one that is unknown is plain text."""
        return next((column for column in self.columns if column.name == name), Column(name))


@dataclass(frozen=True)
class Form:
    """A sheet whose rows are records of another one: ``parts`` takes a row's cells apart into its columns."""

    sheet: Sheet
    parts: Callable[[Mapping[str, str]], dict[str, str]] | None = None


def plain_heading(heading: str) -> str:
    """Bring a heading into the form in which headings are compared.

    >>> plain_heading(" Called On"), plain_heading("Note:")
    ('called_on', 'note')
    """
    return "_".join(re.findall(r"[^\W_]+", heading.lower()))


def table_columns(schema: TableSchema, *special: Column) -> tuple[Column, ...]:
    """Give the columns of a table in its order: those described here, the others as the table has them."""
    described = {column.name: column for column in special}
    return tuple(described.get(name) or _plain(name, held) for name, held in schema.columns.items())


def _plain(name: str, held: TableColumn) -> Column:
    words = tuple(word for word in held.words if word)
    kind = NUMBER if held.dtype == "float64" else WORD if words else TEXT
    most = inf if held.most is None else held.most
    return Column(name, kind, least=held.least, most=most, choices=words)


def with_own(
    sheet: Sheet, rows: Iterable[Mapping[str, Any]]
) -> tuple[tuple[Column, ...], Iterator[Mapping[str, Any]]]:
    """Give the columns of a sheet and, behind them, those that its first row has beside; and the rows."""
    coming = iter(rows)
    first = next(coming, None)
    if first is None:
        return sheet.columns, coming
    own = tuple(sheet[name] for name in first if name not in sheet.names)
    return (*sheet.columns, *own), chain((first,), coming)
