"""The one reader of csv, xlsx and ods: tables read whole as text, so that ids stay as they are."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from itertools import zip_longest
from pathlib import Path
from typing import Any

import pandas as pd

from scanner.errors import BookError
from scanner.sheets.cells import unguard
from scanner.sheets.description import Form, Sheet, plain_heading
from scanner.sheets.grids import Grid, has_comments, read_grids
from scanner.sheets.problems import Problem, fault, note, row_words, shown
from scanner.store.ceilings import MAX_CELLS

_TOLD = 30

OPEN_MARKS = (("~$", ""), (".~lock.", "#"))
"""What the usual spreadsheet programs put before and after the name of an open file."""


def read_sheet(path: Path, sheet: Sheet) -> tuple[pd.DataFrame, list[Problem]]:
    """Read a csv, xlsx or ods file as text, one row a record; a file that is no such table is a `BookError`.

    In a workbook all sheets that fit are read, whatever they are called and wherever they stand: people
    copy them. A column that is missing is blank, others are carried along behind the known ones. The
    index is the row in the file (2 is the first below the headings), with the sheet's name from the second
    sheet on. A cell that was kept from running as a formula has its own text back.
    """
    grids, problems = read_grids(path, (sheet,))
    if not any(cell.strip() for cell in grids[0].headings):
        message = f"{path.name} is empty: a header row with the column names belongs on top"
        raise BookError(message)
    forms = [sheet.form(grid.headings) for grid in grids] if sheet.needs else [Form(sheet)]
    tables: list[pd.DataFrame] = []
    for grid, form in zip(grids, forms, strict=False):
        if form is not None:
            table, found = _table(grid, form.sheet, path.name, is_copy=bool(tables))
            tables.append(_in_parts(table, form, sheet))
            problems += found
    if not tables:
        raise BookError(_missing(path, sheet, grids[0].headings))
    rows = pd.concat(tables).fillna("") if len(tables) > 1 else tables[0]
    if rows.empty and not problems and not sheet.needs:
        problems = [
            note(path.name, "", "the table has a header and no rows", "add one row a record")
        ]
    return rows, problems


def _in_parts(table: pd.DataFrame, form: Form, sheet: Sheet) -> pd.DataFrame:
    """Take the cells of another form apart into the columns of the sheet; the office's own stand behind."""
    if form.parts is None:
        return table
    own = [name for name in table.columns if name not in form.sheet.names]
    records: list[dict[Any, Any]] = table.to_dict("records")
    parts = pd.DataFrame([form.parts(row) for row in records], index=table.index, dtype="str")
    known = parts.reindex(columns=[*sheet.names], fill_value="").fillna("")
    return pd.concat([known.astype("str"), table[own]], axis=1)


def read_beside(
    path: Path, sheet: Sheet, others: tuple[Sheet, ...], notes: Collection[str]
) -> tuple[list[pd.DataFrame], list[str]]:
    """Read what a file holds beside the rows of a sheet: those of its other sheets, and in words what is none of theirs.

    That is text above the headings, cells' comments, and sheets but those that `notes` names.
    """
    grids = read_grids(path, (sheet, *others))[0]
    tables, strange = list[pd.DataFrame](), list[str]()
    for grid in grids:
        fitting = [one for one in (sheet, *others) if one.needs and one.fits(grid.headings)]
        has_text = any(text.strip() for row in grid.cells for text in row)
        if fitting and fitting[0] is not sheet:
            tables.append(_table(grid, fitting[0], path.name, is_copy=True)[0])
        if fitting and any(text.strip() for row in grid.cells[: grid.top] for text in row):
            strange.append("text above the headings")
        if fitting and any(_without_heading(grid, row) for row in grid.cells[grid.top + 1 :]):
            strange.append("text without a heading above it")
        if not fitting and has_text and grid.name not in notes:
            strange.append(f"a sheet {grid.name} of your own")
    return tables, strange + ["comments on cells"] * has_comments(path)


def _without_heading(grid: Grid, row: list[str]) -> bool:
    headed = [bool(heading.strip()) for heading in grid.headings]
    return any(
        text.strip() for text, is_headed in zip_longest(row, headed) if text and not is_headed
    )


def read_headings(path: Path, sheets: Iterable[Sheet]) -> list[list[str]]:
    """Read the headings of each sheet of a file, to tell which of some sheets it is."""
    return [grid.headings for grid in read_grids(path, tuple(sheets))[0]]


def open_elsewhere(path: Path) -> str:
    """Name the mark that a spreadsheet program leaves beside a file that it has open; blank: none, as far as can be told."""
    marks = [f"{mark}{path.name}{end}" for mark, end in OPEN_MARKS]
    return next((mark for mark in marks if path.with_name(mark).exists()), "")


def _missing(path: Path, sheet: Sheet, headings: list[str]) -> str:
    known = {sheet.by_heading.get(plain_heading(heading)) for heading in headings}
    missing = [name for name in sheet.needs if name not in known] or list(sheet.needs_one)
    there = [heading for heading in headings if heading.strip()]
    more = f" and {len(there) - _TOLD:,} more" if len(there) > _TOLD else ""
    return (
        f"{path.name} has no column {' and no column '.join(missing)}; the columns that are there: "
        f"{', '.join(there[:_TOLD])}{more}"
    )


def _table(
    grid: Grid, sheet: Sheet, file: str, *, is_copy: bool
) -> tuple[pd.DataFrame, list[Problem]]:
    header, problems = _name_columns(grid.headings, file, sheet)
    if (count := len(header) * sum(map(any, grid.cells))) > MAX_CELLS:
        message = f"{file} has {count:,} cells below its headings, more than {MAX_CELLS:,}: take out columns that nobody needs"
        raise BookError(message)
    records, labels, found = _cut_rows(grid, header, file, is_copy=is_copy)
    rows = pd.DataFrame(records, columns=header, index=pd.Index(labels, name="row"), dtype="str")
    rows = rows.loc[:, [name for name in header if name]]
    others = [name for name in rows.columns if name not in sheet.names]
    rows = rows.reindex(columns=[*sheet.names, *others], fill_value="").astype("str")
    return rows, [*problems, *found]


def typed_rows(sheet: Sheet, *rows: Mapping[str, str]) -> pd.DataFrame:
    """Put what was typed on the command line into the rows of a sheet; they stand in no file."""
    filled = [[row.get(name, "").strip() for name in sheet.names] for row in rows]
    return pd.DataFrame(filled, columns=[*sheet.names], dtype="str", index=[0] * len(filled))


def _name_columns(cells: list[str], file: str, sheet: Sheet) -> tuple[list[str], list[Problem]]:
    """Name the columns by their headings; a heading of somebody's own counts where ours is missing."""
    names = [sheet.by_heading.get(plain_heading(cell), unguard(cell.strip())) for cell in cells]
    others = [sheet.by_other_heading.get(plain_heading(cell), "") for cell in cells]
    header: list[str] = []
    problems: list[Problem] = []
    for own, other in zip(names, others, strict=True):
        name = other if other and other not in names and others.count(other) == 1 else own
        if name and name in header:
            problem = f"the column {shown(name)} stands there twice; the first is used"
            problems.append(fault(file, "row 1", problem, "delete or rename one of the two"))
            name = ""
        header.append(name)
    return header, problems


def _cut_rows(
    grid: Grid, header: list[str], file: str, *, is_copy: bool
) -> tuple[list[list[str]], list[object], list[Problem]]:
    """Cut the rows below the headings to the columns: records, their labels, rows left out."""
    records: list[list[str]] = []
    labels: list[object] = []
    problems: list[Problem] = []
    width = len(header)
    for row, cells in enumerate(grid.cells[grid.top + 1 :], start=grid.top + 2):
        texts = [unguard(text) if text[:1] == "'" else text for text in map(str.strip, cells)]
        if not any(texts):
            continue
        label = f"sheet {grid.name}, row {row}" if is_copy else row
        # In a workbook it is what somebody wrote beside the table; in a text, a comma too many
        if any(texts[width:]) and not grid.name:
            problem = f"{len(texts)} cells came where the header has {width}; the row is left out"
            remedy = "put quotation marks round a cell that holds a comma, or save again from the spreadsheet"
            problems.append(fault(file, row_words(label), problem, remedy))
            continue
        records.append(texts[:width] + [""] * (width - len(texts)))
        labels.append(label)
    return records, labels, problems
