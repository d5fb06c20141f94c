"""One description of a column for the reader, the writer and the blank templates."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest

from scanner.sheets.description import NUMBER, WHOLE
from scanner.sheets.filled import (
    CHECKLIST,
    CLIENT_SHEET,
    JOB_SHEET,
    KINDS,
    MEASURED_SHEET,
    VISIT_SHEET,
)
from scanner.sheets.lists import CALL_LIST
from scanner.sheets.values import read_cells

TEMPLATES = Path(__file__).parents[2] / "shared" / "templates"
SHEETS = {
    "clients": CLIENT_SHEET, "measured": MEASURED_SHEET, "visits": VISIT_SHEET, "jobs": JOB_SHEET,
    "checklist": CHECKLIST,
}  # fmt: skip
COLUMNS = {
    f"{sheet.title}: {column.name}": column
    for sheet in (CALL_LIST, CHECKLIST, VISIT_SHEET, JOB_SHEET, CLIENT_SHEET)
    for column in sheet.columns
}
WITH_CHOICES = [name for name, column in COLUMNS.items() if column.choices]
WITH_LIMITS = [name for name, column in COLUMNS.items() if column.kind in (NUMBER, WHOLE)]


def read(column, *typed):
    texts = pd.Series(typed, name=column.name, dtype="str")
    values, problems = read_cells(texts, column, lambda at: {"file": "a.csv", "feature": f"row {at}"})  # fmt: skip
    return values.tolist(), len(problems)


@pytest.mark.parametrize("name", SHEETS)
def test_blank_template_has_the_columns(name):
    header = (TEMPLATES / f"{name}.csv").read_text(encoding="utf-8").splitlines()[0]
    assert sorted(header.split(",")) == sorted(SHEETS[name].names)


@pytest.mark.parametrize("name", WITH_CHOICES)
def test_what_a_drop_down_offers_is_read_as_itself(name):
    column = COLUMNS[name]
    values, faults = read(column, *column.choices)
    kept = [float(choice) for choice in column.choices] if column.kind == WHOLE else [*column.choices]  # fmt: skip
    assert (values, faults) == (kept, 0)


@pytest.mark.parametrize("name", WITH_LIMITS)
def test_limits_are_allowed_and_what_lies_beyond_is_not(name):
    column = COLUMNS[name]
    inside, faults = read(column, f"{column.least:.0f}", f"{column.most:.0f}")
    assert (inside, faults) == ([column.least, column.most], 0)
    assert read(column, f"{column.least - 1:.0f}", f"{column.most + 1:.0f}")[1] == 2


def test_every_sheet_that_is_handed_back_is_known_by_its_columns_alone():
    for kind, sheet in KINDS.items():
        fitting = [name for name, other in KINDS.items() if other.fits(sheet.names)]
        assert fitting[0] == kind
